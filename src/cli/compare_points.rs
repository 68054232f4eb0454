//! `movewright compare DIR --pass NAME --points FIRST SECOND`.

use std::path::Path;

use schemars::JsonSchema;
use serde::Serialize;

use super::args::CompareArgs;
use super::compare::names;
use super::compare_folder::{Failure, WrittenFolder, opened, wrong};
use super::compare_hand_off::{self, HandedOff};
use super::{Outcome, terminal, wrap};
use crate::bounds::Code;
use crate::check::mark_shifts::{Mark, NoSight, per_step};
use crate::check::words::{axes, count, counted};
use crate::measure::{AxisFacts, Deviations, Loss, Losses, Marks, Shift, TOLERANCE_PIXELS, losses};
use crate::number::figures::figure;
use crate::output::manifest::NOTICE;
use crate::output::schemas;
use crate::stage::Stage;

/// The criterion, said with every result.
const NOTE: &str = "a loss is one axis off by the same steps from one frame to the last. It is named where it lowers the Bayesian information criterion by 2 ln(100 x axes); an axis that \
explains it as well (likelihood ratio up to 100) cannot be distinguished with these marks";

pub(super) fn run(args: &CompareArgs, first: &Path, second: &Path) -> Outcome {
    let document = match compared(args, first, second) {
        Ok(document) => document,
        Err(failure) => return failure.printed(),
    };
    let verdict = if document.no_steps_lost && document.unexplained_px <= TOLERANCE_PIXELS { Outcome::Fine } else { Outcome::Over };
    if !args.json {
        return terminal::result(&text(args, &document), verdict);
    }
    match serde_json::to_string_pretty(&document) {
        Ok(text) => terminal::json(&format!("{text}\n"), verdict),
        Err(error) => wrong(Code::WriteFailed, format!("the comparison could not be written as JSON: {error}")).printed(),
    }
}

/// What marks in two runs of a pass say, format 1.
#[derive(Serialize, JsonSchema)]
struct Document {
    format: u32,
    pass: String,
    note: &'static str,
    /// True where no axis lost steps.
    no_steps_lost: bool,
    /// Marks that both runs have.
    marks: usize,
    /// Places that only one of the runs has.
    places_in_one_run_only: usize,
    /// Root mean square of the shifts to the right and down, pixels.
    shift_px: f64,
    /// The same of what no loss explains.
    unexplained_px: f64,
    /// Losses, the one that explains most first.
    losses: Vec<LossEntry>,
    /// Frame by frame.
    frames: Vec<FrameEntry>,
    /// What no loss explains, mark by mark, most first.
    unexplained: Vec<MarkEntry>,
    /// Axes that a mark shows.
    axes: Vec<AxisEntry>,
    /// Axes that no mark shows: nothing is known of them.
    not_seen: Vec<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    hand_off: Option<HandedOff>,
    notice: &'static str,
}

#[derive(Serialize, JsonSchema)]
struct LossEntry {
    axis: String,
    /// First frame in which the steps are missing.
    frame: i64,
    /// Steps of positive travel, second run less first.
    steps: f64,
    standard_error: f64,
    /// The same in full steps of the motor.
    full_steps: f64,
    units: f64,
    unit: &'static str,
    /// Worst shift of a mark that it makes, pixels.
    px: f64,
    /// Axes that explain it as well.
    or: Vec<AlikeEntry>,
}

#[derive(Serialize, JsonSchema)]
struct AlikeEntry {
    axis: String,
    frame: i64,
    steps: f64,
}

#[derive(Serialize, JsonSchema)]
struct FrameEntry {
    frame: i64,
    marks: usize,
    shift_px: f64,
    unexplained_px: f64,
    /// Steps of each axis that are missing in it.
    lost: Vec<LostEntry>,
}

#[derive(Serialize, JsonSchema)]
struct LostEntry {
    axis: String,
    steps: f64,
}

#[derive(Serialize, JsonSchema)]
struct MarkEntry {
    point: String,
    px: f64,
    /// The frame in which it is most.
    frame: i64,
}

#[derive(Serialize, JsonSchema)]
struct AxisEntry {
    axis: String,
    /// The least loss before the first frame that these marks would show, steps.
    least_steps: f64,
}

/// Its JSON Schema.
#[must_use]
pub(super) fn schema() -> serde_json::Value {
    schemas::of::<Document>("movewright compare --points --json")
}

fn compared(args: &CompareArgs, first: &Path, second: &Path) -> Result<Document, Failure> {
    let pass_name = args.pass.as_deref().unwrap_or_default();
    let folder = WrittenFolder::open(&args.dir, pass_name)?;
    let read = |path: &Path| Marks::read(opened(path)?).map_err(|e| wrong(Code::InvalidLog, e));
    let (first, second) = (read(first)?, read(second)?);
    let both: Vec<(&(i64, String), [f64; 2], [f64; 2])> =
        first.at.iter().filter_map(|(key, at)| Some((key, *at, *second.at.get(key)?))).collect();
    let alone = first.at.len() + second.at.len() - 2 * both.len();
    if both.is_empty() {
        let what = format!("{} has no point in a frame that {} has too; expected the same points in both", second.name, first.name);
        return Err(wrong(Code::InvalidLog, what));
    }
    let compiled = folder.compiled()?;
    let stage = compiled.stage();
    let Some(pass) = folder.pass() else { return Err(wrong(Code::UnknownPass, "--pass: the shot in the folder does not have it")) };
    let marks: Vec<Mark<'_>> =
        both.iter().map(|((frame, name), at, _)| Mark { frame: *frame, owner: Marks::owner(name), at: *at }).collect();
    let sights =
        per_step(&compiled, pass, &marks).map_err(|flaws| Failure::Coded(flaws.iter().map(|f| (code(f), f.to_string())).collect()))?;
    let shifts: Vec<Shift> = both
        .iter()
        .zip(sights)
        .map(|(((frame, name), was, is), per_step)| Shift {
            frame: *frame,
            mark: name.clone(),
            px: [is[0] - was[0], is[1] - was[1]],
            per_step: per_step.into_iter().map(|(axis, by)| (axis.index(), by)).collect(),
        })
        .collect();
    let found = losses(&shifts);
    let facts = folder.axes();
    let mut document = document(pass_name, &found, &facts, alone);
    if let Some(target) = &args.hand_off {
        let frames: Vec<i64> = compiled.shot().frames().frames().collect();
        let files = args.points.iter().flatten().map(std::path::PathBuf::as_path).collect::<Vec<_>>();
        let deviations = deviations(stage, &found, &frames, &document.not_seen);
        document.hand_off = Some(compare_hand_off::write(target, &folder, &compiled, "points", &files, deviations)?);
    }
    Ok(document)
}

fn code(flaw: &NoSight) -> Code {
    match flaw {
        NoSight::NoLens => Code::MissingLens,
        NoSight::Unknown { .. } => Code::UnknownPlace,
        NoSight::NoFrame { .. } => Code::OutOfRange,
        NoSight::Unseen { .. } => Code::NotInPicture,
    }
}

/// What the losses leave each axis off, in the unit of the axis, frame by frame.
fn deviations(stage: &Stage, found: &Losses, frames: &[i64], not_seen: &[String]) -> Deviations {
    let by_axis = stage.each_axis().map(|(id, axis)| {
        let own: Vec<&Loss> = found.losses.iter().filter(|l| l.axis == id.index()).collect();
        if own.is_empty() {
            return Vec::new();
        }
        let off =
            |frame: &i64| own.iter().filter(|l| l.frame <= *frame).map(|l| l.steps).sum::<f64>() / axis.drive().steps_per_unit().abs();
        frames.iter().map(off).collect()
    });
    Deviations { by_axis: by_axis.collect(), not_logged: not_seen.to_vec() }
}

fn document(pass: &str, found: &Losses, facts: &[AxisFacts], alone: usize) -> Document {
    let name = |axis: usize| facts.get(axis).map_or_else(String::new, |f| f.name.clone());
    let entry = |l: &Loss| LossEntry {
        axis: name(l.axis),
        frame: l.frame,
        steps: l.steps,
        standard_error: l.standard_error,
        full_steps: facts.get(l.axis).map_or(0.0, |f| l.steps / f64::from(f.microsteps)),
        units: facts.get(l.axis).map_or(0.0, |f| l.steps / f.steps_per_unit),
        unit: facts.get(l.axis).map_or("", |f| f.unit),
        px: l.px,
        or: l.alike.iter().map(|(axis, frame, steps)| AlikeEntry { axis: name(*axis), frame: *frame, steps: *steps }).collect(),
    };
    let frame = |(frame, (marks, shift_px, unexplained_px)): (&i64, &(usize, f64, f64))| FrameEntry {
        frame: *frame,
        marks: *marks,
        shift_px: *shift_px,
        unexplained_px: *unexplained_px,
        lost: found.losses.iter().filter(|l| l.frame <= *frame).map(|l| LostEntry { axis: name(l.axis), steps: l.steps }).collect(),
    };
    let mut unexplained: Vec<MarkEntry> =
        found.marks.iter().map(|(point, (px, frame))| MarkEntry { point: point.clone(), px: *px, frame: *frame }).collect();
    unexplained.sort_by(|a, b| b.px.total_cmp(&a.px));
    Document {
        format: 1,
        pass: pass.to_owned(),
        note: NOTE,
        no_steps_lost: found.losses.is_empty(),
        marks: found.marks.len(),
        places_in_one_run_only: alone,
        shift_px: found.shift_px,
        unexplained_px: found.unexplained_px,
        losses: found.losses.iter().map(entry).collect(),
        frames: found.frames.iter().map(frame).collect(),
        unexplained,
        axes: found.least.iter().map(|(axis, least)| AxisEntry { axis: name(*axis), least_steps: *least }).collect(),
        not_seen: facts.iter().enumerate().filter(|(i, _)| !found.least.contains_key(i)).map(|(_, f)| f.name.clone()).collect(),
        hand_off: None,
        notice: NOTICE,
    }
}

fn text(args: &CompareArgs, d: &Document) -> String {
    let mut text = String::new();
    let frames = count(u64::try_from(d.frames.len()).unwrap_or(u64::MAX), "frame");
    wrap::line(&mut text, &format!("pass {}: {} in {frames} of two runs", d.pass, counted(d.marks, "mark")), 2);
    if d.places_in_one_run_only > 0 {
        wrap::line(&mut text, &format!("  in one run only, not compared: {}", counted(d.places_in_one_run_only, "place")), 4);
    }
    let (shift, rest) = (figure(d.shift_px, "px"), figure(d.unexplained_px, "px"));
    wrap::line(&mut text, &format!("marks are off by {shift} (root mean square); {rest} of it unexplained"), 2);
    for l in &d.losses {
        let (steps, error, px) = (figure(l.steps, "steps"), figure(l.standard_error, "steps"), figure(l.px, "px"));
        let (units, full) = (figure(l.units, l.unit), figure(l.full_steps, "full steps"));
        let what = format!("lost: {}: {steps} ({units}; {full}) from frame {}", l.axis, l.frame);
        wrap::line(&mut text, &format!("{what}, standard error {error}; shifts marks by up to {px}"), 6);
        for other in &l.or {
            let steps = figure(other.steps, "steps");
            wrap::line(&mut text, &format!("  cannot be distinguished: {}, {steps} from frame {}", other.axis, other.frame), 4);
        }
    }
    if d.losses.is_empty() {
        wrap::line(&mut text, "no axis lost steps that these marks show", 2);
    }
    let worst = if args.all { d.unexplained.len() } else { d.unexplained.len().min(FEW) };
    for mark in d.unexplained.iter().take(worst).filter(|m| args.all || m.px > TOLERANCE_PIXELS) {
        let px = figure(mark.px, "px");
        wrap::line(&mut text, &format!("unexplained: {}: {px}, most in frame {}; check its track", mark.point, mark.frame), 2);
    }
    let mut least: Vec<&AxisEntry> = d.axes.iter().collect();
    least.sort_by(|a, b| b.least_steps.total_cmp(&a.least_steps));
    let shown = if args.all { least.len() } else { least.len().min(FEW) };
    for axis in least.iter().take(shown) {
        let steps = figure(axis.least_steps, "steps");
        wrap::line(&mut text, &format!("  {}: a loss of less than {steps} would not show", axis.axis), 4);
    }
    if shown < least.len() {
        wrap::line(&mut text, &format!("  {}, seen better (--all)", counted(least.len() - shown, "more axis")), 4);
    }
    if !d.not_seen.is_empty() {
        wrap::line(&mut text, &format!("  no mark shows {}: {}", axes(d.not_seen.len()), names(&d.not_seen, args.all)), 4);
    }
    if let Some(handed) = &d.hand_off {
        handed.add_to(&mut text, args.all);
    }
    wrap::line(&mut text, NOTE, 0);
    wrap::line(&mut text, NOTICE, 0);
    text
}

/// Axes and marks that are shown without `--all`.
const FEW: usize = 5;
