//! A written folder compared with its manifest, its stage and shot, and its passes with each other, by a path that shares nothing with the compiler; a hand-off with measured positions with its plan.
//!
//! What: hashes and lengths of every file; which files there must be; manifest, clocks and columns against the stage and shot in `source/`; every count, position, row, pose, rod
//! and number of the scene against a slow, obvious evaluation of the shot; passes against each other; limits, at instants that are stated.
//! So damage is found also where its hash was put right. [`Scope`] says how far a folder was looked at.
//! Invariant: of this crate only `stage` with its geometry, `time` and the description of a shot are used; reading `source/` is handed in. Nothing is changed, nothing outside
//! the folder is opened but what the reader of `source/` opens.
//! Limits: with its hash put right, damage below the floor cannot be distinguished from rounding: in units columns of a fitted axis a sixteenth of a step, in both
//! tables of all passes at once, and what that is worth in a pose; a signal or mechanism of a caller's own, which no file of `source/` describes, is not
//! recomputed; and text nobody computes with (names of cautions, comments in `source/`).
//! A limit that is exceeded between the instants looked at is not found: that none is, is proven by the check, on the curve.

mod beat;
mod between;
mod channels;
mod choreography;
mod columns;
mod dense;
mod edge;
mod expected;
mod exposed;
mod facts;
mod fault;
mod figure;
mod gaps;
mod handed;
mod haze;
mod haze_record;
mod inventory;
mod judge;
mod law;
mod limb;
mod limits;
mod line;
mod measured;
mod moves;
mod openings;
mod oracle;
mod overlay;
mod parts;
mod picture;
mod plan;
mod posed;
mod poses;
mod programs;
mod pull;
mod record;
mod recorded;
mod rods;
mod row_clock;
mod rows;
mod runs;
mod scene;
mod scope;
mod shapes;
mod shifts;
mod sight;
mod silhouettes;
mod sine;
mod size;
mod source;
mod spline;
mod split;
mod state;
mod stations;
mod stretched;
mod sweep;
mod table;
mod timeline;
mod torque;
mod triangles;
mod usd;
mod used;
mod verdict;
mod wander;

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::{fs, io};

use columns::{Against, Columns};
use dense::INSTANTS;
use expected::Requests;
use fault::{Faults, MANIFEST};
use handed::HandedOver;
use judge::Judge;
use oracle::Oracle;
use record::Record;
use source::below;

use crate::bounds::MOST_MANIFEST_BYTES;
use crate::files;

pub use fault::{Fault, FaultKind};
pub use scope::Scope;
pub(crate) use source::{ReadSource, Source};
pub use verdict::Verdict;

/// Why there is nothing to verify.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub(crate) enum NotAFolder {
    /// Nothing there, or no folder.
    #[error("{0} is not a folder; name one that movewright wrote")]
    NoFolder(PathBuf),
    /// A folder of something else.
    #[error("{0} holds neither a manifest nor columns; name a folder that movewright wrote")]
    NotOurs(PathBuf),
    /// The system refused; what it said.
    #[error("cannot look into {0}: {1}; check the permissions")]
    Refused(PathBuf, String),
}

/// Verifies the folder `dir`; `read` reads the shot in its `source/`.
///
/// # Errors
/// [`NotAFolder`] where there is nothing that could be verified. Damage is no error: it is in the verdict.
pub(crate) fn verify(dir: &Path, read: &ReadSource<'_>) -> Result<Verdict, NotAFolder> {
    let no_folder = || NotAFolder::NoFolder(dir.to_owned());
    let refused = |error: io::Error| match error.kind() {
        io::ErrorKind::NotFound | io::ErrorKind::NotADirectory => no_folder(),
        _ => NotAFolder::Refused(dir.to_owned(), error.to_string()),
    };
    if !fs::metadata(dir).map_err(refused)?.is_dir() {
        return Err(no_folder());
    }
    let ours = holds_our_names(dir).map_err(refused)?;
    // The reader of the sources may resolve links on the way to the folder; then so must we.
    let dir = &dir.canonicalize().map_err(refused)?;
    let mut faults = Faults::default();
    let mut verdict =
        Verdict { faults: Vec::new(), files: 0, passes: 0, axes: 0, frames: 0, not_computed: Vec::new(), scope: Scope::default() };
    if !dir.join(MANIFEST).exists() && dir.join(measured::ENTRY).exists() {
        measured::verify(dir, read, &mut verdict, &mut faults);
        verdict.faults = faults.into_list();
        return Ok(verdict);
    }
    match manifest(dir) {
        Ok(record) => {
            facts::alone(&record, &mut faults);
            verdict.files = record.files.len();
            let there = inventory::check(dir, MANIFEST, &record.files, &mut faults);
            contents(dir, &record, &there, read, &mut verdict, &mut faults);
        }
        Err(what) => {
            if !ours {
                return Err(NotAFolder::NotOurs(dir.to_owned()));
            }
            faults.file(FaultKind::Manifest, MANIFEST, what);
        }
    }
    verdict.faults = faults.into_list();
    Ok(verdict)
}

/// Everything that needs the sources.
fn contents(dir: &Path, record: &Record, there: &BTreeSet<String>, read: &ReadSource<'_>, verdict: &mut Verdict, faults: &mut Faults) {
    let shot_file = format!("source/{}", record.source);
    if !there.contains(&shot_file) {
        faults.file(FaultKind::Source, &shot_file, "the shot file is not among the listed files".to_owned());
        return;
    }
    let source = match read(&dir.join(&shot_file)) {
        Ok(source) => source,
        Err(what) => {
            faults.file(FaultKind::Source, &shot_file, what);
            return;
        }
    };
    let used: BTreeSet<String> = source.files.iter().filter_map(|f| below(dir, f)).collect();
    for name in there.iter().filter(|n| n.starts_with("source/") && !used.contains(*n)) {
        faults.file(FaultKind::Source, name, "nothing in the shot names it".to_owned());
    }
    for name in used.iter().filter(|n| !there.contains(*n)) {
        faults.file(FaultKind::Source, name, "the shot needs it, and the manifest does not list it".to_owned());
    }
    if used.len() < source.files.len() {
        faults.file(FaultKind::Source, &shot_file, "names files outside the folder".to_owned());
    }
    let (stage, shot) = (&source.stage, &source.shot);
    facts::against(record, stage, shot, faults);
    let requests = Requests::of(record, there);
    let listed: BTreeSet<String> = record.files.iter().map(|f| f.path.clone()).collect();
    expected::check(stage, shot, requests, &listed, faults);
    (verdict.passes, verdict.axes, verdict.frames) = (shot.passes().len(), stage.axes().len(), shot.frames().count());
    verdict.scope.stated = record.used.is_stated();
    verdict.scope.some_frames = shot.passes().iter().any(|p| p.every() > 1 || p.wedge().is_some());
    verdict.scope.sources = used.len();
    verdict.scope.swings = stage.bodies().iter().any(|b| b.swing().is_some());
    verdict.scope.hangs = stage.bodies().iter().any(|b| b.hang().is_some());
    match Oracle::new(stage, shot, recorded::check(record, stage, shot, faults)) {
        Err(what) => faults.file(FaultKind::Source, &shot_file, what),
        Ok(oracle) => {
            let what = Against { stage, shot, oracle: &oracle, within_limits: record.within_limits };
            recomputed(what, dir, there, record, requests, &mut verdict.scope, faults);
            let named = stage.axis_ids().zip(stage.axis_names());
            verdict.not_computed = named.filter(|(i, _)| !oracle.is_known(*i)).map(|(_, n)| n.clone()).collect();
        }
    }
}

/// Everything that is worked out anew: tables frame by frame, limits, rows.
fn recomputed(
    what: Against<'_>,
    dir: &Path,
    there: &BTreeSet<String>,
    record: &Record,
    requests: Requests,
    scope: &mut Scope,
    faults: &mut Faults,
) {
    let (stage, shot) = (what.stage, what.shot);
    let has = |end: &str| there.iter().any(|n| n.ends_with(end));
    *scope = Scope {
        columns: true,
        moves: has(".moves.csv"),
        rows: requests.rows.then(|| record.passes.iter().filter_map(|p| p.rows.as_ref()).map(|r| r.rows).sum()),
        poses: !stage.bodies().is_empty(),
        rods: has(".rods.csv"),
        silhouettes: has(".silhouettes.csv"),
        haze: shot.haze().is_some() && there.contains(haze::FILE),
        limits: record.within_limits,
        ..*scope
    };
    // A folder that says it exceeds limits is judged too, but what is found is no fault.
    let mut exceeded = Faults::default();
    let mut columns = Columns::open(what, dir, &|file| there.contains(file), record, faults);
    let mut handed = HandedOver::open(dir, there, (record, requests), (stage, shot), faults);
    let mut judge = Judge::new(what);
    for frame in shot.frames().frames() {
        let last = u16::from(frame == shot.frames().last());
        for k in 0..INSTANTS + last {
            let state = what.oracle.state(frame as f64 - 0.5 + f64::from(k) / f64::from(INSTANTS));
            judge.see(&state, if record.within_limits { faults } else { &mut exceeded });
        }
        columns.frame(frame, &what.oracle.state(frame as f64), faults);
        handed.frame(what.oracle, frame, faults);
    }
    columns.end(faults);
    handed.end(faults);
    let runs = (record.clock.run_up_frames, record.clock.run_down_frames);
    if record.within_limits {
        runs::check(&what, runs, faults);
        programs::judge(what, runs, requests.rows, faults);
    } else {
        programs::judge(what, runs, false, &mut exceeded);
        scope.exceeded = Some(!exceeded.into_list().is_empty());
    }
    rows::check(what, dir, there, record, faults);
}

fn manifest(dir: &Path) -> Result<Record, String> {
    let text = files::read(&dir.join(MANIFEST), MOST_MANIFEST_BYTES).map_err(|e| format!("cannot be read: {e}"))?;
    serde_json::from_slice(&text).map_err(|e| format!("is not a manifest: {e}"))
}

/// A folder without a manifest is ours where it holds what we write.
fn holds_our_names(dir: &Path) -> io::Result<bool> {
    let columns = |name: &str| {
        name == MANIFEST || name == measured::ENTRY || name == "source" || name.ends_with(".steps.csv") || name.ends_with(".units.csv")
    };
    for entry in fs::read_dir(dir)? {
        if columns(&entry?.file_name().to_string_lossy()) {
            return Ok(true);
        }
    }
    Ok(false)
}
