//! A hand-off with measured positions: everything in it that was made from them is worked out anew.
//!
//! What: the plan by its manifest and `source/`, of which the folder has copies; how far each axis was from it, from the table of positions; then every file of the hand-off, and the shifts in the
//! picture, as they follow from axes that are so far off. Limits: the positions themselves are what was logged or found from marks, and only their hash vouches for them.

use std::collections::BTreeSet;
use std::path::Path;

use serde::Deserialize;

use super::columns::Positions;
use super::expected::{self, Requests};
use super::fault::{FaultKind, Faults};
use super::handed::HandedOver;
use super::oracle::{Oracle, steps_per_unit};
use super::overlay::MEASURED;
use super::record::{FileRecord, Record};
use super::scope::Scope;
use super::shifts::{self, Shifts};
use super::source::{ReadSource, below};
use super::verdict::Verdict;
use super::{facts, inventory, recorded};
use crate::bounds::MOST_MANIFEST_BYTES;
use crate::files;
use crate::shot::{Pass, Shot};
use crate::stage::{AxisId, Stage};

/// What the folder was made from.
pub(super) const ENTRY: &str = "measured.json";

/// The manifest of the plan.
const PLAN: &str = "plan.json";

#[derive(Debug, Deserialize)]
struct Entry {
    format: u32,
    kind: String,
    shot: String,
    pass: String,
    folder_hash: String,
    source: String,
    measured_from: Vec<String>,
    axes_as_planned: Vec<String>,
    files: Vec<FileRecord>,
    cautions: Vec<String>,
}

/// Verifies a folder that has an entry.
pub(super) fn verify(dir: &Path, read: &ReadSource<'_>, verdict: &mut Verdict, faults: &mut Faults) {
    let entry: Entry = match files::read(&dir.join(ENTRY), MOST_MANIFEST_BYTES)
        .map_err(|e| format!("cannot be read: {e}"))
        .and_then(|text| serde_json::from_slice(&text).map_err(|e| format!("is not what a measured hand-off was made from: {e}")))
    {
        Ok(entry) => entry,
        Err(what) => return faults.file(FaultKind::Manifest, ENTRY, what),
    };
    alone(&entry, faults);
    verdict.files = entry.files.len();
    let there = inventory::check(dir, ENTRY, &entry.files, faults);
    let Some(record) = plan(dir, &entry, faults) else { return };
    facts::alone(&record, faults);
    sources(&entry, &record, faults);
    let shot_file = format!("source/{}", record.source);
    let source = match read(&dir.join(&shot_file)) {
        Ok(source) => source,
        Err(what) => return faults.file(FaultKind::Source, &shot_file, what),
    };
    let used: BTreeSet<String> = source.files.iter().filter_map(|f| below(dir, f)).collect();
    for name in used.iter().filter(|n| !there.contains(*n)) {
        faults.file(FaultKind::Source, name, format!("the shot needs it, and {ENTRY} does not list it"));
    }
    let (stage, shot) = (&source.stage, &source.shot);
    facts::against(&record, stage, shot, faults);
    if entry.shot != shot.name() {
        faults.file(FaultKind::Manifest, ENTRY, format!("shot: found `{}`, expected `{}`", entry.shot, shot.name()));
    }
    let Some(pass) = shot.passes().iter().find(|p| p.name() == entry.pass) else {
        return faults.file(FaultKind::Manifest, ENTRY, format!("pass: the shot has no pass `{}`", entry.pass));
    };
    let one = match shot.with_passes(stage, vec![pass.clone()]) {
        Ok(one) => one,
        Err(_) => return faults.file(FaultKind::Source, &shot_file, format!("pass {} alone makes no shot", pass.name())),
    };
    let requests = Requests::of(&record, &there);
    expected_files(&entry, (stage, &one), requests, faults);
    let curves = recorded::check(&record, stage, shot, faults);
    let (plan, over) = match (Oracle::new(stage, shot, curves.clone()), Oracle::new(stage, shot, curves)) {
        (Ok(plan), Ok(over)) => (plan, over),
        (Err(what), _) | (_, Err(what)) => return faults.file(FaultKind::Source, &shot_file, what),
    };
    let of = Of { dir, entry: &entry, stage, shot, pass };
    let measured = over.with_measured(of.deviations(&plan, faults));
    (verdict.passes, verdict.axes, verdict.frames) = (1, stage.axes().len(), shot.frames().count());
    let has = |end: &str| there.iter().any(|n| n.ends_with(end));
    verdict.scope = Scope {
        measured: true,
        poses: true,
        rods: has(".rods.csv"),
        silhouettes: has(".silhouettes.csv"),
        haze: shot.haze().is_some(),
        sources: used.len(),
        ..Scope::default()
    };
    let mut handed = HandedOver::open(dir, &there, (&record, requests), (stage, &one), faults);
    let mut shifts = Shifts::open(dir, stage, faults);
    let first = record.hand_off.as_ref().map_or(0, |h| h.first_frame.saturating_sub(shot.frames().first()));
    for frame in shot.frames().frames() {
        handed.frame(&measured, frame, faults);
        shifts.frame([&plan, &measured], (frame, frame.saturating_add(first)), faults);
    }
    handed.end(faults);
    shifts.end(faults);
    let named = stage.axis_ids().zip(stage.axis_names());
    verdict.not_computed = named.filter(|(i, _)| !plan.is_known(*i)).map(|(_, n)| n.clone()).collect();
}

/// What can be said of an entry alone.
fn alone(entry: &Entry, faults: &mut Faults) {
    let mut wrong = |what: &str, found: &str, expected: &str| {
        faults.file(FaultKind::Manifest, ENTRY, format!("{what}: found {found}, expected {expected}"));
    };
    if entry.format != 1 {
        wrong("format", &entry.format.to_string(), "1");
    }
    if entry.kind != "movewright measured hand-off" {
        wrong("kind", &format!("`{}`", entry.kind), "`movewright measured hand-off`");
    }
    if !matches!(entry.source.as_str(), "log" | "points") {
        wrong("source", &format!("`{}`", entry.source), "`log` or `points`");
    }
    if entry.measured_from.is_empty() {
        wrong("measured_from", "nothing", "the files with what was measured");
    }
    if entry.cautions.is_empty() || entry.cautions.iter().any(String::is_empty) {
        wrong("cautions", "none", "the cautions that every output carries");
    }
}

/// The plan's manifest, which must be the one whose hash the entry has.
fn plan(dir: &Path, entry: &Entry, faults: &mut Faults) -> Option<Record> {
    let bytes = match files::read(&dir.join(PLAN), MOST_MANIFEST_BYTES) {
        Ok(bytes) => bytes,
        Err(error) => {
            faults.file(FaultKind::Missing, PLAN, format!("cannot be read: {error}"));
            return None;
        }
    };
    let hash = blake3::hash(&bytes).to_hex().to_string();
    if hash != entry.folder_hash {
        faults.file(FaultKind::Manifest, ENTRY, format!("folder_hash: found {}, {PLAN} has {hash}", entry.folder_hash));
    }
    match serde_json::from_slice(&bytes) {
        Ok(record) => Some(record),
        Err(error) => {
            faults.file(FaultKind::Manifest, PLAN, format!("is not a manifest: {error}"));
            None
        }
    }
}

/// Every file below `source/` as the plan lists it, and no other.
fn sources(entry: &Entry, record: &Record, faults: &mut Faults) {
    let below = |files: &'_ [FileRecord]| -> BTreeSet<(String, u64, String)> {
        files.iter().filter(|f| f.path.starts_with("source/")).map(|f| (f.path.clone(), f.bytes, f.blake3.clone())).collect()
    };
    let (found, expected) = (below(&entry.files), below(&record.files));
    let names: BTreeSet<&String> = found.symmetric_difference(&expected).map(|(name, ..)| name).collect();
    for name in names {
        faults.file(FaultKind::Source, name, format!("{ENTRY} and {PLAN} do not list the same file"));
    }
}

/// Which files must be listed.
fn expected_files(entry: &Entry, (stage, one): (&Stage, &Shot), requests: Requests, faults: &mut Faults) {
    let listed: BTreeSet<String> = entry.files.iter().map(|f| f.path.clone()).collect();
    let mut expected = expected::handed_over(stage, one, requests);
    expected.extend([shifts::FILE.to_owned(), PLAN.to_owned()]);
    expected::compare(&expected, ENTRY, &listed, faults);
}

/// What is compared.
struct Of<'a> {
    dir: &'a Path,
    entry: &'a Entry,
    stage: &'a Stage,
    shot: &'a Shot,
    pass: &'a Pass,
}

impl Of<'_> {
    /// How far each axis was from its plan, for each frame; empty for one that was not measured. What the pass parks stands at home, and what was not measured as planned.
    fn deviations(&self, plan: &Oracle<'_>, faults: &mut Faults) -> Vec<Vec<f64>> {
        let Of { stage, shot, pass, .. } = *self;
        let unknown = self.entry.axes_as_planned.iter().filter(|name| !stage.axis_names().contains(name));
        for name in unknown {
            faults.file(FaultKind::Manifest, ENTRY, format!("axes_as_planned: the stage has no axis `{name}`"));
        }
        let mut positions = Positions::open(self.dir, pass, stage, faults);
        let stands = |id: AxisId, name: &String| pass.parks(stage, id) || self.entry.axes_as_planned.contains(name);
        let mut all = vec![Vec::new(); stage.axes().len()];
        for frame in shot.frames().frames() {
            let label = shot.timecode_start().after(frame - shot.frames().first()).to_string();
            let (row, state) = (positions.row(frame, &label, stage.axes().len(), faults), plan.state(frame as f64));
            for (((id, axis), name), (found, off)) in stage.each_axis().zip(stage.axis_names()).zip(row.into_iter().zip(&mut all)) {
                let planned = if pass.parks(stage, id) { axis.home() } else { state.axis(id) };
                let Some(found) = found else {
                    off.push(0.0);
                    continue;
                };
                if !stands(id, name) {
                    off.push(found - planned);
                    continue;
                }
                let room = MEASURED + 1e-12 * planned.abs() + plan.floor(id, &state) / steps_per_unit(axis);
                if plan.is_known(id) && !((found - planned).abs() <= room) {
                    let symbol = axis.unit().symbol();
                    faults.at(FaultKind::Position, positions.file(), Some(name), frame, || {
                        format!("stands at {found} {symbol}; it was not measured, and its plan has {planned:.6} {symbol}")
                    });
                }
            }
        }
        positions.end(faults);
        all
    }
}
