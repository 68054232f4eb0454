//! `movewright compare`.

use std::path::PathBuf;

use super::args::{CompareArgs, LogUnits};
use super::compare_fits::{self, Tables};
use super::compare_folder::{Failure, WrittenFolder, opened, wrong};
use super::compare_hand_off::{self, HandedOff};
use super::compare_json;
use super::take;
use super::terminal::{self, Progress};
use super::{Outcome, wrap};
use crate::bounds::{Code, TOLERANCE};
use crate::check::pixels::pixels;
use crate::check::words::{axes, count, counted};
use crate::compile::Compiled;
use crate::measure::{
    self, AxisComparison, AxisFacts, Comparison, Figures, Options, TOLERANCE_PIXELS, TOLERANCE_STEPS, compare, deviations,
};
use crate::number::figures::figure;
use crate::output::manifest::NOTICE;
use crate::output::takes::PassRecord;
use crate::stage::{Body, Stage};

/// What the figures are, said with every result.
const NOTE: &str = "repeatability: max(4 s); accuracy: max(mean + 2 s) - min(mean - 2 s); mean range: range of the means. These are the formulas of \
ISO 230-2 applied to frames; the standard prescribes its own test cycle";

pub(super) fn run(args: &CompareArgs) -> Outcome {
    let progress = Progress::start("comparing");
    let result = compared(args);
    drop(progress);
    let compared = match result {
        Ok(compared) => compared,
        Err(failure) => return failure.printed(),
    };
    let comparison = &compared.comparison;
    let verdict = if comparison.within_tolerance { Outcome::Fine } else { Outcome::Over };
    if !args.json {
        return terminal::result(&text(args, &compared), verdict);
    }
    let document = compare_json::Document {
        format: 1,
        pass: pass_name(args),
        note: NOTE,
        comparison,
        fitting_passes: &compared.fits.passes,
        tables_not_read: &compared.fits.not_read,
        record: compared.record.as_ref().map(|(_, record)| record),
        hand_off: compared.handed.as_ref(),
        notice: NOTICE,
    };
    match serde_json::to_string_pretty(&document) {
        Ok(text) => terminal::json(&format!("{text}\n"), verdict),
        Err(error) => {
            terminal::error(Code::WriteFailed, format!("the comparison could not be written as JSON: {error}"));
            Outcome::Wrong
        }
    }
}

/// The pass that was asked for; the call is refused without one.
fn pass_name(args: &CompareArgs) -> &str {
    args.pass.as_deref().unwrap_or_default()
}

/// What came of it, and what is said beside it.
struct Compared {
    comparison: Comparison,
    fits: compare_fits::Fits,
    /// The record of takes beside the folder and what it says of the pass, where there is one.
    record: Option<(PathBuf, PassRecord)>,
    handed: Option<HandedOff>,
}

fn compared(args: &CompareArgs) -> Result<Compared, Failure> {
    for (name, tolerance) in [("--tolerance-steps", args.tolerance_steps), ("--tolerance-px", args.tolerance_px)] {
        if let Some(t) = tolerance.filter(|t| !TOLERANCE.contains(*t)) {
            return Err(wrong(Code::OutOfRange, format!("{name}: found {t}, allowed {TOLERANCE}")));
        }
    }
    if args.hand_off.is_some() && args.logs.len() != 1 {
        let found = counted(args.logs.len(), "log");
        return Err(wrong(
            Code::WrongCount,
            format!("--hand-off: found {found}, allowed one: positions of several takes cannot be handed over together"),
        ));
    }
    let folder = WrittenFolder::open(&args.dir, pass_name(args))?;
    let units = match args.log_units {
        LogUnits::Steps => measure::LogUnits::Steps,
        LogUnits::Units => measure::LogUnits::Units,
    };
    let columns = folder.columns(units)?;
    let stage = &folder.loaded.stage;
    let mut axes = folder.axes();
    // What was written once may be read, whatever it cost.
    let compiled = (args.hand_off.is_some() || stage.bodies().iter().any(|b| b.lens().is_some())).then(|| folder.compiled()).transpose()?;
    if let Some(compiled) = &compiled {
        in_pixels(compiled, &mut axes);
    }
    if args.tolerance_px.is_some() && axes.iter().all(|a| a.pixels_per_unit.is_none()) {
        let without = nothing_in_pixels(stage);
        return Err(wrong(without.0, format!("--tolerance-px: {}; use --tolerance-steps", without.1)));
    }
    let record = record(args, &folder)?;
    let takes = args.logs.iter().map(|log| opened(log)).collect::<Result<Vec<_>, _>>()?;
    let options = Options { units, tolerance_steps: args.tolerance_steps, tolerance_pixels: args.tolerance_px };
    let tables = Tables { folder: &folder, axes: &axes, pass: pass_name(args), units };
    let comparison =
        compare(opened(&columns)?, takes, &axes, &options).map_err(|error| wrong(Code::InvalidLog, tables.with_fits(args, &error)))?;
    let fits = tables.fits(args, &comparison)?;
    let handed = match (&args.hand_off, &compiled, args.logs.first()) {
        (Some(target), Some(compiled), Some(log)) => {
            let found = deviations(opened(&columns)?, opened(log)?, &axes, units).map_err(|e| wrong(Code::InvalidLog, e))?;
            Some(compare_hand_off::write(target, &folder, compiled, "log", &[log], found)?)
        }
        _ => None,
    };
    Ok(Compared { comparison, fits, record, handed })
}

/// What the record of takes beside the folder says of the pass.
fn record(args: &CompareArgs, folder: &WrittenFolder) -> Result<Option<(PathBuf, PassRecord)>, Failure> {
    let mut passes = take::passes(&folder.manifest).unwrap_or_default();
    passes.retain(|(name, _)| *name == pass_name(args));
    let found = take::beside(&args.dir, &passes).map_err(|flaw| wrong(flaw.code, flaw))?;
    Ok(found.and_then(|(path, records)| Some((path, records.into_iter().next()?))))
}

/// Why no axis has a figure in pixels.
fn nothing_in_pixels(stage: &Stage) -> (Code, String) {
    let group = |b: &Body| stage.group_name(b.group()).to_owned();
    let cameras: Vec<String> = stage.bodies().iter().filter(|b| b.lens().is_some()).map(group).collect();
    let figures: Vec<String> = stage.bodies().iter().filter(|b| b.lens().is_none()).map(group).collect();
    if cameras.is_empty() {
        return (Code::MissingLens, "the stage has no lens, so nothing can be compared in pixels".to_owned());
    }
    let cameras = cameras.join(", ");
    let why = if figures.is_empty() {
        format!("the stage has a lens ({cameras}) and no figure in front of it, so nothing can be compared in pixels")
    } else {
        format!(
            "the lens of {cameras} never has {} in its picture at any frame of the shot, so nothing can be compared in pixels",
            figures.join(" or ")
        )
    };
    (Code::NotInPicture, why)
}

/// What a unit of each axis is worth in the picture, at its worst over the shot.
fn in_pixels(compiled: &Compiled, axes: &mut [AxisFacts]) {
    for p in pixels(compiled) {
        let Some(facts) = axes.get_mut(p.axis.index()) else { continue };
        let per_unit = p.step * compiled.stage().axis(p.axis).drive().steps_per_unit();
        facts.pixels_per_unit = Some(facts.pixels_per_unit.map_or(per_unit, |known| known.max(per_unit)));
    }
}

fn text(args: &CompareArgs, compared: &Compared) -> String {
    let (pass, all, c, fits) = (pass_name(args), args.all, &compared.comparison, &compared.fits);
    let mut text = String::new();
    wrap::line(&mut text, &format!("pass {pass}: {}, {}", count(c.frames, "frame"), counted(c.takes.len(), "take")), 2);
    for t in &c.takes {
        let mut take = format!("  {}: {}", t.log, count(t.frames, "frame"));
        if t.frames_missing > 0 {
            take.push_str(&format!(", {} of the pass missing", count(t.frames_missing, "frame")));
        }
        if !t.axes_missing.is_empty() {
            take.push_str(&format!(", no column for {}", wrap::names(&t.axes_missing, all)));
        }
        wrap::line(&mut text, &take, 2);
    }
    if !c.not_logged.is_empty() {
        wrap::line(&mut text, &format!("  not in any log: {}", wrap::names(&c.not_logged, all)), 2);
    }
    // The furthest off first; axes that stood where they should are one line.
    let mut off: Vec<&AxisComparison> = c.axes.iter().filter(|a| a.units.largest_deviation != Some(0.0)).collect();
    off.sort_by(|a, b| b.steps.largest_deviation.unwrap_or(f64::INFINITY).total_cmp(&a.steps.largest_deviation.unwrap_or(f64::INFINITY)));
    // What is over the tolerance is shown in any case.
    let over = off.iter().rposition(|a| a.frames_over > 0).map_or(0, |last| last + 1);
    let shown = if all { off.len() } else { off.len().min(FEW_AXES.max(over)) };
    if shown > 0 {
        let heads: String =
            ["repeat.", "accuracy", "mean range", "largest", "take to take"].iter().map(|head| format!(" {head:>13}")).collect();
        text.push_str(&format!("axis     {heads}\n"));
    }
    for a in off.iter().take(shown) {
        axis(&mut text, a);
    }
    if shown < off.len() {
        wrap::line(&mut text, &format!("{}, deviating less (--all)", counted(off.len() - shown, "more axis")), 2);
    }
    if off.len() < c.axes.len() {
        let exact = c.axes.len() - off.len();
        wrap::line(&mut text, &format!("no deviation on {}", if off.is_empty() { axes(exact) } else { counted(exact, "more axis") }), 2);
    }
    // First of all: causes mean little in a log of another pass.
    fits.lines(&mut text, c);
    let likely = if all { c.causes.len() } else { c.causes.len().min(FEW_CAUSES) };
    for cause in c.causes.iter().take(likely) {
        wrap::line(&mut text, &format!("likely: {}, {}: {}", cause.axis, cause.log, cause.message), 8);
    }
    if likely < c.causes.len() {
        wrap::line(&mut text, &format!("{} (--all)", counted(c.causes.len() - likely, "more likely cause")), 2);
    }
    for t in c.takes.iter().filter(|t| !t.unexplained.is_empty()) {
        wrap::line(&mut text, &format!("no known cause: {}: {}", t.log, wrap::names(&t.unexplained, all)), 2);
    }
    let unseen: Vec<String> = c.axes.iter().filter(|a| a.pixels.is_none()).map(|a| a.axis.clone()).collect();
    if args.tolerance_px.is_some() && args.tolerance_steps.is_none() && !unseen.is_empty() {
        wrap::line(&mut text, &format!("not compared in pixels, because never in the picture: {}", wrap::names(&unseen, all)), 2);
    }
    let verdict = if c.within_tolerance { "within tolerance" } else { "tolerance exceeded" };
    wrap::line(&mut text, &format!("{verdict} ({})", tolerance(args, c)), 2);
    if let Some(handed) = &compared.handed {
        handed.add_to(&mut text, all);
    }
    if let Some((path, record)) = &compared.record {
        wrap::line(&mut text, &format!("takes in {}: {}: {}", path.display(), record.pass, record.said()), 2);
    }
    wrap::line(&mut text, NOTE, 0);
    wrap::line(&mut text, NOTICE, 0);
    text
}

/// The tolerance that positions were judged by.
fn tolerance(args: &CompareArgs, c: &Comparison) -> String {
    let (pixels, steps) = (figure(TOLERANCE_PIXELS, "px"), figure(TOLERANCE_STEPS, "step"));
    let seen = c.axes.iter().filter(|a| a.pixels.is_some()).count();
    match (args.tolerance_steps, args.tolerance_px) {
        (None, None) if seen == 0 => steps,
        (None, None) if seen == c.axes.len() => pixels,
        (None, None) => format!("{pixels}; {steps} for axes that are never in the picture"),
        (Some(s), None) => figure(s, "steps"),
        (None, Some(p)) => figure(p, "px"),
        (Some(s), Some(p)) => format!("{} and {}", figure(s, "steps"), figure(p, "px")),
    }
}

/// The axis by name, then its figures in every unit they are known in.
fn axis(text: &mut String, a: &AxisComparison) {
    let mut title = a.axis.clone();
    if let Some(frame) = a.largest_deviation_frame {
        title.push_str(&format!(", largest at frame {frame}"));
    }
    if a.frames_over > 0 {
        title.push_str(&format!(", {} beyond tolerance", count(a.frames_over, "frame")));
    }
    wrap::line(text, &title, 2);
    let mut figures = |unit: &str, f: &Figures, decimals: usize| {
        let each = [f.repeatability, f.accuracy, f.mean_range, f.largest_deviation, f.pass_to_pass];
        let cells: String = each.iter().map(|x| format!(" {:>13}", x.map_or("-".to_owned(), |x| wrap::number(x, 13, decimals)))).collect();
        text.push_str(&format!("    {unit:5}{cells}\n"));
    };
    figures(a.unit, &a.units, 5);
    figures("steps", &a.steps, 2);
    if let Some(p) = &a.pixels {
        figures("px", p, 3);
    }
}

/// Likely causes shown without `--all`.
const FEW_CAUSES: usize = 20;

/// Axes shown without `--all`, and what is over the tolerance besides.
const FEW_AXES: usize = 10;
