//! `movewright compare DIR --home BEFORE AFTER`.

use std::path::Path;

use serde::Serialize;

use super::args::CompareArgs;
use super::compare_folder::{Failure, opened, wrong};
use super::{Outcome, terminal, wrap};
use crate::bounds::Code;
use crate::check::words::{axes, counted};
use crate::input;
use crate::measure::{AxisFacts, HomeAxis, HomeComparison, homes};
use crate::number::figures::figure;
use crate::output::manifest::NOTICE;

/// The criterion, said with every result.
const NOTE: &str = "steps are lost where the difference is beyond what the scatter of the switch makes: Student's t, 1 % over all axes; with one reading on each side, from one \
full step on";

pub(super) fn run(args: &CompareArgs, before: &Path, after: &Path) -> Outcome {
    let comparison = match compared(args, before, after) {
        Ok(comparison) => comparison,
        Err(failure) => return failure.printed(),
    };
    let verdict = if comparison.no_steps_lost { Outcome::Fine } else { Outcome::Over };
    if !args.json {
        return terminal::result(&text(args, &comparison), verdict);
    }
    let document = Document { format: 1, note: NOTE, comparison: &comparison, notice: NOTICE };
    match serde_json::to_string_pretty(&document) {
        Ok(text) => terminal::json(&format!("{text}\n"), verdict),
        Err(error) => wrong(Code::WriteFailed, format!("the comparison could not be written as JSON: {error}")).printed(),
    }
}

#[derive(Serialize)]
struct Document<'a> {
    format: u32,
    note: &'static str,
    #[serde(flatten)]
    comparison: &'a HomeComparison,
    notice: &'static str,
}

fn compared(args: &CompareArgs, before: &Path, after: &Path) -> Result<HomeComparison, Failure> {
    let loaded = input::load_written(&args.dir).map_err(|rejection| Failure::Rejected(Box::new(rejection)))?;
    let stage = &loaded.stage;
    let axes: Vec<AxisFacts> = stage.axes().iter().zip(stage.axis_names()).map(|(axis, name)| AxisFacts::of(name, axis)).collect();
    homes(opened(before)?, opened(after)?, &axes).map_err(|e| wrong(Code::InvalidLog, e))
}

fn text(args: &CompareArgs, c: &HomeComparison) -> String {
    let mut text = String::new();
    let lost = c.axes.iter().filter(|a| a.lost).count();
    let head =
        if lost > 0 { format!("steps lost on {} of {}", counted(lost, "axis"), axes(c.axes.len())) } else { "no steps lost".to_owned() };
    wrap::line(&mut text, &format!("{head}, by the home switches"), 2);
    for a in c.axes.iter().filter(|a| a.lost || args.all) {
        wrap::line(&mut text, &format!("  {}", line(a)), 4);
    }
    let within = c.axes.iter().filter(|a| !a.lost).count();
    if within > 0 && !args.all {
        wrap::line(&mut text, &format!("  within the scatter of the switch: {} (--all)", axes(within)), 4);
    }
    if !c.not_read.is_empty() {
        wrap::line(&mut text, &format!("  not in both files: {}", wrap::names(&c.not_read, args.all)), 4);
    }
    wrap::line(&mut text, NOTE, 0);
    wrap::line(&mut text, NOTICE, 0);
    text
}

fn line(a: &HomeAxis) -> String {
    let verdict = if a.lost {
        format!("lost {}", figure(a.difference_steps, "steps"))
    } else {
        format!("off by {}", figure(a.difference_steps, "steps"))
    };
    let full = if a.full_steps == 0 { String::new() } else { format!(", about {} full steps", a.full_steps) };
    let scatter = a.scatter_steps.map_or("scatter unknown".to_owned(), |s| format!("scatter {}", figure(s, "steps")));
    let readings = format!("{} readings before, {} after", a.readings_before, a.readings_after);
    let least = figure(a.least_steps, "steps");
    format!("{}: {verdict} ({}){full}; {scatter}, lost from {least} on; {readings}", a.axis, figure(a.difference_units, a.unit))
}
