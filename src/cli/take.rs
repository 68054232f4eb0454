//! `movewright take`: one more line in the record of takes beside an output folder.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use clap::{ArgGroup, Args as ClapArgs};

use super::coded::Coded;
use super::{Outcome, examples, part, terminal};
use crate::bounds::{self, Code, Flaw, MOST_MANIFEST_BYTES};
use crate::files;
use crate::output::manifest::Manifest;
use crate::output::staged::{self, StagedError};
use crate::output::takes::{self, PassRecord, Take};

#[derive(Debug, ClapArgs)]
#[command(after_help = examples::TAKE, group = ArgGroup::new("verdict").required(true))]
pub(super) struct TakeArgs {
    /// The output folder that was run
    #[arg(value_name = "DIR")]
    dir: PathBuf,
    /// The pass that was run
    #[arg(long, value_name = "NAME")]
    pass: String,
    /// The take is good
    #[arg(long, group = "verdict")]
    good: bool,
    /// The take is not good
    #[arg(long, group = "verdict")]
    bad: bool,
    /// Slate
    #[arg(long, value_name = "TEXT", default_value = "")]
    slate: String,
    /// Number of the take; without it, the next one of this slate and pass
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..))]
    take: Option<u32>,
    /// Frames that were exposed, both included; without it, all frames of the pass
    #[arg(long, value_name = "N..M", allow_hyphen_values = true)]
    frames: Option<String>,
    /// Lens
    #[arg(long, value_name = "TEXT", default_value = "")]
    lens: String,
    /// Stop that was used
    #[arg(long, value_name = "F")]
    stop: Option<f64>,
    /// Filters
    #[arg(long, value_name = "TEXT", default_value = "")]
    filters: String,
    /// Reading of the haze, with its unit
    #[arg(long, value_name = "TEXT", default_value = "")]
    haze: String,
    /// Counts at which the home switches tripped: CSV with columns axis,steps
    #[arg(long, value_name = "FILE")]
    home: Option<PathBuf>,
    /// Note
    #[arg(long, value_name = "TEXT", default_value = "")]
    note: String,
}

/// Why no take was recorded.
enum Failure {
    Flaw(Flaw),
    Staged(StagedError),
}

impl From<StagedError> for Failure {
    fn from(error: StagedError) -> Failure {
        Failure::Staged(error)
    }
}

impl From<Flaw> for Failure {
    fn from(flaw: Flaw) -> Failure {
        Failure::Flaw(flaw)
    }
}

pub(super) fn run(args: &TakeArgs) -> Outcome {
    match recorded(args) {
        Ok(text) => terminal::result(&text, Outcome::Fine),
        Err(Failure::Flaw(flaw)) => terminal::refusal(&flaw),
        Err(Failure::Staged(error)) => {
            terminal::error(error.code(), error);
            Outcome::Wrong
        }
    }
}

fn recorded(args: &TakeArgs) -> Result<String, Failure> {
    let shown = args.dir.display().to_string();
    let not_a_folder = |why: String| Flaw::new(Code::NotAFolder, "", format!("cannot read the output folder {shown}: {why}"));
    // The folder's own name, also of `.`; the record is beside it.
    let dir = fs::canonicalize(&args.dir).map_err(|e| not_a_folder(e.to_string()))?;
    let bytes =
        files::read(&dir.join("manifest.json"), MOST_MANIFEST_BYTES).map_err(|why| not_a_folder(format!("manifest.json: {why}")))?;
    let manifest: Manifest = serde_json::from_slice(&bytes)
        .map_err(|e| Flaw::new(Code::InvalidManifest, "", format!("manifest.json of {shown} is not a manifest: {e}")))?;
    let whole = [manifest.clock.first_frame, manifest.clock.last_frame];
    let mut take = described(args, &manifest, whole)?;
    take.folder = takes::text("DIR", &dir.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default())?;
    take.folder_hash = blake3::hash(&bytes).to_hex().to_string();
    let record = takes::beside(&dir);
    let mut all = Vec::new();
    staged::append(&record, takes::MOST_BYTES, |was| {
        let known = takes::parse(&record.display().to_string(), was)?;
        take.take = args.take.unwrap_or_else(|| takes::next(&known, &take.slate, &take.pass));
        if known.iter().any(|t| (&t.slate, &t.pass, t.take) == (&take.slate, &take.pass, take.take)) {
            let flaw = Flaw::new(Code::DuplicateTake, "--take", "this take is on the record already");
            let next = takes::next(&known, &take.slate, &take.pass);
            return Err(Failure::Flaw(flaw.found(format!("take {}", take.take), format!("a number that is free; the next is {next}"))));
        }
        let cannot = |e: csv::Error| Flaw::new(Code::WriteFailed, "", format!("the take cannot be written as CSV: {e}"));
        let line = take.line(was.is_empty()).map_err(cannot)?;
        all = known;
        Ok::<_, Failure>(line)
    })?;
    all.push(take.clone());
    let verdict = if take.good { "good" } else { "not good" };
    let mut text = format!(
        "take {} of {}, {}, {verdict}: added to {}\n",
        take.take,
        take.pass,
        takes::span(take.frames),
        as_typed(&args.dir, &record).display()
    );
    let passes = manifest.passes.iter().map(|p| p.name.as_str());
    text.push_str(&lines(&of_folder(&all, &take.folder, &take.folder_hash, passes), whole));
    Ok(text)
}

/// The take without what the record and the folder say.
fn described(args: &TakeArgs, manifest: &Manifest, whole: [i64; 2]) -> Result<Take, Flaw> {
    if !manifest.passes.iter().any(|p| p.name == args.pass) {
        let names: Vec<&str> = manifest.passes.iter().map(|p| p.name.as_str()).collect();
        let flaw = Flaw::new(Code::UnknownPass, "--pass", "the folder has no such pass");
        return Err(flaw.found(format!("`{}`", args.pass.chars().take(80).collect::<String>()), names.join(", ")));
    }
    let frames = match &args.frames {
        None => whole,
        Some(text) => {
            let span = part::first_and_last(text);
            let inside = |[first, last]: &[i64; 2]| whole[0] <= *first && first <= last && *last <= whole[1];
            span.filter(inside).ok_or_else(|| {
                let found = format!("`{}`", text.chars().take(80).collect::<String>());
                Flaw::new(Code::InvalidFrameSpan, "--frames", "these are not frames of the folder")
                    .found(found, format!("first and last frame as 118..140, within {}..{}", whole[0], whole[1]))
            })?
        }
    };
    let stop = args.stop.map(|stop| bounds::F_NUMBER.check("--stop", stop)).transpose()?;
    let axes: Vec<&str> = manifest.columns.iter().map(|c| c.axis.as_str()).collect();
    Ok(Take {
        slate: takes::text("--slate", &args.slate)?,
        pass: args.pass.clone(),
        take: 0,
        folder: String::new(),
        folder_hash: String::new(),
        frames,
        lens: takes::text("--lens", &args.lens)?,
        stop: stop.map_or(String::new(), |stop| stop.to_string()),
        filters: takes::text("--filters", &args.filters)?,
        haze: takes::text("--haze", &args.haze)?,
        home: args.home.as_deref().map(|path| home(path, &axes)).transpose()?.unwrap_or_default(),
        good: args.good,
        note: takes::text("--note", &args.note)?,
    })
}

/// Most bytes of a file of counts: far beyond that of any stage.
const MOST_HOME_BYTES: u64 = 1024 * 1024;

/// The counts of a file `axis,steps`, as one text.
fn home(path: &Path, axes: &[&str]) -> Result<String, Flaw> {
    let shown = path.display().to_string();
    let wrong = |line: usize, found: &str, allowed: &str| {
        let found = format!("`{}`", bounds::visible(&found.chars().take(80).collect::<String>()));
        Flaw::new(Code::InvalidLog, "--home", format!("{shown}:{line}: not a count of a home switch")).found(found, allowed)
    };
    let bytes = files::read(path, MOST_HOME_BYTES).map_err(|why| Flaw::new(why.code(), "--home", format!("cannot read {shown}: {why}")))?;
    let text = String::from_utf8(bytes).map_err(|_| Flaw::new(Code::NotUtf8, "--home", format!("{shown} is not UTF-8 text")))?;
    let mut lines = text.trim_start_matches('\u{feff}').lines().enumerate().map(|(i, line)| (i + 1, line.trim()));
    match lines.next() {
        Some((_, "axis,steps")) => {}
        other => return Err(wrong(1, other.map_or("", |(_, line)| line), "the header axis,steps")),
    }
    let mut counts: Vec<(&str, i64)> = Vec::new();
    for (number, line) in lines.filter(|(_, line)| !line.is_empty()) {
        let row = line.split_once(',').and_then(|(axis, steps)| Some((axis.trim(), steps.trim().parse::<i64>().ok()?)));
        let (name, steps) = row.ok_or_else(|| wrong(number, line, "an axis and a whole number of steps"))?;
        let axis = axes.iter().find(|axis| **axis == name).ok_or_else(|| wrong(number, name, "an axis of the folder"))?;
        if counts.iter().any(|(known, _)| known == axis) {
            return Err(wrong(number, name, "each axis once"));
        }
        counts.push((axis, steps));
    }
    if counts.is_empty() {
        return Err(wrong(1, "no count", "a line for each home switch that was read"));
    }
    Ok(counts.iter().map(|(axis, steps)| format!("{axis}={steps}")).collect::<Vec<_>>().join(" "))
}

/// What takes of a folder say of its passes: a folder is known by its name, or by its hash under another name.
fn of_folder<'p>(takes: &[Take], folder: &str, hash: &str, passes: impl Iterator<Item = &'p str>) -> Vec<PassRecord> {
    let own: Vec<&Take> = takes.iter().filter(|t| t.folder == folder || t.folder_hash == hash).collect();
    passes.map(|pass| PassRecord::of(pass, &own, &|t: &Take| t.folder_hash == hash)).collect()
}

/// One line for each pass.
pub(super) fn lines(records: &[PassRecord], whole: [i64; 2]) -> String {
    records.iter().map(|r| format!("  {}: {}\n", r.pass, r.said(takes::frames_in(whole)))).collect()
}

/// The record by the path that was typed, where that leads to it.
fn as_typed(dir: &Path, record: &Path) -> PathBuf {
    let typed = dir.file_name().map(|_| dir.with_file_name(takes::NAME));
    typed.filter(|typed| fs::canonicalize(typed).is_ok_and(|real| real == record)).unwrap_or_else(|| record.to_owned())
}

/// The record beside an output folder and what it says of these passes; `None` where the path is no such folder or has no record.
///
/// # Errors
/// A record that cannot be read.
pub(super) fn beside<'p>(dir: &Path, passes: impl Iterator<Item = &'p str>) -> Result<Option<(PathBuf, Vec<PassRecord>)>, Flaw> {
    let (Ok(real), Some(hash)) = (fs::canonicalize(dir), takes::hash_of(dir)) else { return Ok(None) };
    let (record, name) = (takes::beside(&real), real.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default());
    let all = takes::read(&record)?;
    Ok((!all.is_empty()).then(|| (as_typed(dir, &record), of_folder(&all, &name, &hash, passes))))
}

/// What a record says of these passes, each take compared with the folder of its name beside the record.
///
/// # Errors
/// A record that is missing or cannot be read.
pub(super) fn in_record<'p>(record: &Path, passes: impl Iterator<Item = &'p str>) -> Result<Vec<PassRecord>, Flaw> {
    if !record.exists() {
        return Err(Flaw::new(Code::MissingFile, "--takes", format!("there is no such file: {}", record.display())));
    }
    let all = takes::read(record)?;
    let folder = record.parent().unwrap_or(Path::new(""));
    let names: BTreeSet<&str> = all.iter().map(|t| t.folder.as_str()).collect();
    // A name with a folder in it was not written by this program, and leads nowhere.
    let now: BTreeMap<&str, Option<String>> =
        names.into_iter().map(|name| (name, takes::hash_of(&folder.join(Path::new(name).file_name().unwrap_or_default())))).collect();
    let is_now = |t: &Take| now.get(t.folder.as_str()).is_some_and(|hash| hash.as_deref() == Some(t.folder_hash.as_str()));
    let every: Vec<&Take> = all.iter().collect();
    Ok(passes.map(|pass| PassRecord::of(pass, &every, &is_now)).collect())
}
