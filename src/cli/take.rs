//! `movewright take`: one more line in the record of takes beside an output folder.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use clap::{ArgGroup, Args as ClapArgs};

use super::coded::Coded;
use super::{Outcome, examples, part, terminal};
use crate::bounds::{self, Code, Flaw, MOST_MANIFEST_BYTES};
use crate::files;
use crate::measure::{self, Input};
use crate::output::manifest::{Manifest, PassEntry};
use crate::output::staged::{self, StagedError};
use crate::output::takes::{self, PassRecord, Take};
use crate::shot::Shot;
use crate::time::{ExposedFrames, FrameSpan};

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
    let passes = passes(&manifest).ok_or_else(|| {
        let clock = &manifest.clock;
        let flaw = Flaw::new(Code::InvalidManifest, "", format!("manifest.json of {shown} has no such frames"));
        flaw.found(
            format!("{} to {}", clock.first_frame, clock.last_frame),
            "a first frame before the last, and no more than a shot may have",
        )
    })?;
    let (mut take, exposed) = described(args, &manifest, &passes)?;
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
        takes::span(take.frames, exposed),
        as_typed(&args.dir, &record).display()
    );
    text.push_str(&lines(&of_folder(&all, &take.folder, &take.folder_hash, &passes)));
    Ok(text)
}

/// A pass by its name, and the frames that it exposes.
pub(super) type Exposing<'p> = (&'p str, ExposedFrames);

/// The passes of a shot.
pub(super) fn passes_of(shot: &Shot) -> Vec<Exposing<'_>> {
    shot.passes().iter().map(|pass| (pass.name(), pass.exposed(shot.frames()))).collect()
}

/// The passes of a written folder; `None` where its frames are none of a shot.
pub(super) fn passes(manifest: &Manifest) -> Option<Vec<Exposing<'_>>> {
    let frames = FrameSpan::new(manifest.clock.first_frame, manifest.clock.last_frame).ok()?;
    let exposed = |pass: &PassEntry| match &pass.wedge {
        Some(wedge) => ExposedFrames::one(wedge.frame, frames),
        None => ExposedFrames::new(frames, pass.every.unwrap_or(1)),
    };
    Some(manifest.passes.iter().map(|pass| (pass.name.as_str(), exposed(pass))).collect())
}

/// The take without what the record and the folder say, and the frames that its pass exposes.
fn described(args: &TakeArgs, manifest: &Manifest, passes: &[Exposing<'_>]) -> Result<(Take, ExposedFrames), Flaw> {
    let Some((_, exposed)) = passes.iter().copied().find(|(name, _)| *name == args.pass) else {
        let names: Vec<&str> = passes.iter().map(|(name, _)| *name).collect();
        let flaw = Flaw::new(Code::UnknownPass, "--pass", "the folder has no such pass");
        return Err(flaw.found(format!("`{}`", args.pass.chars().take(80).collect::<String>()), names.join(", ")));
    };
    let whole = [manifest.clock.first_frame, manifest.clock.last_frame];
    let frames = match &args.frames {
        None => [exposed.first(), exposed.last()],
        Some(text) => {
            let span = part::first_and_last(text);
            let inside = |[first, last]: &[i64; 2]| whole[0] <= *first && first <= last && *last <= whole[1];
            let found = || format!("`{}`", text.chars().take(80).collect::<String>());
            let span = span.filter(inside).ok_or_else(|| {
                Flaw::new(Code::InvalidFrameSpan, "--frames", "these are not frames of the folder")
                    .found(found(), format!("first and last frame as 118..140, within {}..{}", whole[0], whole[1]))
            })?;
            if exposed.between(span[0], span[1]) == 0 {
                let allowed = match exposed.count() {
                    1 => format!("a span with frame {}", exposed.first()),
                    _ => format!(
                        "a span with one of frames {}, {}, ... {}",
                        exposed.first(),
                        exposed.first() + exposed.step(),
                        exposed.last()
                    ),
                };
                return Err(Flaw::new(Code::InvalidFrameSpan, "--frames", "the pass exposes none of these frames").found(found(), allowed));
            }
            span
        }
    };
    let stop = args.stop.map(|stop| bounds::F_NUMBER.check("--stop", stop)).transpose()?;
    let axes: Vec<&str> = manifest.columns.iter().map(|c| c.axis.as_str()).collect();
    let take = Take {
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
    };
    Ok((take, exposed))
}

/// The counts of a file `axis,steps`, one for each axis that has one, as one text.
fn home(path: &Path, axes: &[&str]) -> Result<String, Flaw> {
    let shown = path.display().to_string();
    let reader = files::open(path).map_err(|why| Flaw::new(why.code(), "--home", format!("cannot read {shown}: {why}")))?;
    let wrong = |what: String| Flaw::new(Code::InvalidLog, "--home", what);
    let counts = measure::counts(Input { name: shown.clone(), reader }, axes).map_err(|e| wrong(e.to_string()))?;
    let mut texts = Vec::new();
    for (axis, counts) in axes.iter().zip(&counts) {
        match counts.as_slice() {
            [] => {}
            [count] => texts.push(format!("{axis}={count}")),
            many => return Err(wrong(format!("{shown}: {axis} has {} counts, expected one for each axis", many.len()))),
        }
    }
    if texts.is_empty() {
        return Err(wrong(format!("{shown}: has no count, expected a line for each home switch that was read")));
    }
    Ok(texts.join(" "))
}

/// What takes of a folder say of its passes: a folder is known by its name, or by its hash under another name.
fn of_folder(takes: &[Take], folder: &str, hash: &str, passes: &[Exposing<'_>]) -> Vec<PassRecord> {
    let own: Vec<&Take> = takes.iter().filter(|t| t.folder == folder || t.folder_hash == hash).collect();
    passes.iter().map(|(pass, exposed)| PassRecord::of(pass, *exposed, &own, &|t: &Take| t.folder_hash == hash)).collect()
}

/// One line for each pass.
pub(super) fn lines(records: &[PassRecord]) -> String {
    records.iter().map(|r| format!("  {}: {}\n", r.pass, r.said())).collect()
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
pub(super) fn beside(dir: &Path, passes: &[Exposing<'_>]) -> Result<Option<(PathBuf, Vec<PassRecord>)>, Flaw> {
    let (Ok(real), Some(hash)) = (fs::canonicalize(dir), takes::hash_of(dir)) else { return Ok(None) };
    let (record, name) = (takes::beside(&real), real.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default());
    let all = takes::read(&record)?;
    Ok((!all.is_empty()).then(|| (as_typed(dir, &record), of_folder(&all, &name, &hash, passes))))
}

/// What a record says of these passes, each take compared with the folder of its name beside the record.
///
/// # Errors
/// A record that is missing or cannot be read.
pub(super) fn in_record(record: &Path, passes: &[Exposing<'_>]) -> Result<Vec<PassRecord>, Flaw> {
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
    Ok(passes.iter().map(|(pass, exposed)| PassRecord::of(pass, *exposed, &every, &is_now)).collect())
}
