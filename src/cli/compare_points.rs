//! `movewright compare DIR --pass NAME --points FIRST SECOND`.

use std::path::Path;

use super::args::CompareArgs;
use super::compare_folder::{Failure, WrittenFolder, opened, wrong};
use super::compare_hand_off;
use super::compare_points_json::{AxisEntry, Document, NOTE, document};
use super::{Outcome, terminal, wrap};
use crate::bounds::Code;
use crate::check::mark_shifts::{Mark, NoSight, per_step, pictured};
use crate::check::words::{axes, count, counted};
use crate::measure::{Deviations, Loss, Losses, Marks, Shift, TOLERANCE_PIXELS, losses};
use crate::number::figures::figure;
use crate::output::manifest::NOTICE;
use crate::stage::Stage;

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

fn compared(args: &CompareArgs, first: &Path, second: &Path) -> Result<Document, Failure> {
    let pass_name = args.pass.as_deref().unwrap_or_default();
    let folder = WrittenFolder::open(&args.dir, pass_name)?;
    let read = |path: &Path| Marks::read(opened(path)?).map_err(|e| wrong(Code::InvalidLog, e));
    let (first, second) = (read(first)?, read(second)?);
    let both: Vec<_> = first.at.iter().filter_map(|(key, at)| Some((key, *at, *second.at.get(key)?))).collect();
    let alone = first.at.len() + second.at.len() - 2 * both.len();
    if both.is_empty() {
        let what = format!("{} has no point in a frame that {} has too; expected the same points in both", second.name, first.name);
        return Err(wrong(Code::InvalidLog, what));
    }
    let compiled = folder.compiled()?;
    let stage = compiled.stage();
    let Some(pass) = folder.pass() else { return Err(wrong(Code::UnknownPass, "--pass: the shot in the folder does not have it")) };
    let refused = |flaws: Vec<NoSight>| Failure::Coded(flaws.iter().map(|f| (code(f), f.to_string())).collect());
    let mark = |frame: i64, name, at| Mark { frame, owner: Marks::owner(name), at };
    let [was, is]: [Vec<Mark<'_>>; 2] = [
        both.iter().map(|((frame, name), was, _)| mark(*frame, name, *was)).collect(),
        both.iter().map(|((frame, name), _, is)| mark(*frame, name, *is)).collect(),
    ];
    pictured(&compiled, pass, &is).map_err(refused)?;
    let sights = per_step(&compiled, pass, &was).map_err(refused)?;
    let pairs = both.iter().zip(sights);
    let shifts: Vec<Shift> = pairs.map(|(((frame, name), was, is), per_step)| Shift::of((*frame, name), *was, *is, per_step)).collect();
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
        NoSight::NoFrame { .. } | NoSight::Outside { .. } => Code::OutOfRange,
        NoSight::Parked { .. } => Code::NotInPicture,
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
        wrap::line(&mut text, &format!("  no mark shows {}: {}", axes(d.not_seen.len()), wrap::names(&d.not_seen, args.all)), 4);
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
