//! `movewright changes`.

use std::path::Path;

use super::Outcome;
use super::args::ChangesArgs;
use super::prepared;
use super::terminal::{self, Progress};
use super::wrap;
use crate::bounds::{Budget, Code};
use crate::check::changes::{self, AxisChange, Changes};
use crate::check::words::counted;
use crate::compile::Compiled;
use crate::input::{self, Rejection};
use crate::number::figures::figure;

pub(super) fn run(args: &ChangesArgs) -> Outcome {
    let progress = Progress::start("compiling");
    let of = |path: &Path| compiled(path, args.size.budget());
    let read = (of(&args.old), of(&args.new));
    drop(progress);
    let (old, new) = match read {
        (Ok(old), Ok(new)) => (old, new),
        (old, new) => {
            for rejection in [old.err(), new.err()].into_iter().flatten() {
                terminal::rejection(&rejection);
            }
            return Outcome::Wrong;
        }
    };
    let changes = changes::between(&old, &new);
    let verdict = if changes.passes.iter().all(|p| p.good) { Outcome::Fine } else { Outcome::Over };
    if !args.json {
        return terminal::result(&lines(&changes, args.all), verdict);
    }
    match serde_json::to_string_pretty(&changes) {
        Ok(text) => terminal::json(&format!("{text}\n"), verdict),
        Err(error) => {
            terminal::error(Code::WriteFailed, format!("the changes could not be written as JSON: {error}"));
            Outcome::Wrong
        }
    }
}

fn compiled(path: &Path, budget: Budget) -> Result<Compiled, Rejection> {
    input::load(path).and_then(|loaded| prepared::compiled(loaded, budget)).map(|(compiled, _)| compiled)
}

/// The changes as lines; the longest ones alone unless `all`.
pub(super) fn lines(changes: &Changes, all: bool) -> String {
    let mut text = String::new();
    if changes.axes.is_empty() {
        text.push_str("no axis has changed\n");
    }
    // The longest change first; what has no frames, such as an axis that is new, before them all.
    let mut axes: Vec<_> = changes.axes.iter().collect();
    axes.sort_by_key(|a| (a.first_frame.is_some(), core::cmp::Reverse(a.frames)));
    let shown = if all { axes.len() } else { axes.len().min(FEW_AXES) };
    for a in axes.iter().take(shown) {
        match (a.first_frame, a.last_frame) {
            (Some(first), Some(last)) => wrap::line(
                &mut text,
                &format!("{}: {} from frame {first} to {last} ({}){}", a.axis, a.change, counted(a.frames, "frame"), far(a)),
                2,
            ),
            _ => wrap::line(&mut text, &format!("{}: {}", a.axis, a.change), 2),
        }
    }
    if shown < axes.len() {
        wrap::line(&mut text, &format!("{} (--all)", counted(axes.len() - shown, "more axis")), 2);
    }
    for p in &changes.passes {
        let verdict = if p.good { "keep" } else { "RESHOOT" };
        let why = if p.reasons.is_empty() { String::new() } else { format!(": {}", p.reasons.join("; ")) };
        wrap::line(&mut text, &format!("{verdict} {}{why}", p.pass), 2);
    }
    text
}

/// How far, where that is known.
fn far(a: &AxisChange) -> String {
    let (Some(units), Some(steps), Some(frame)) = (a.max_units, a.max_steps, a.at_frame) else { return String::new() };
    let px = a.max_px.map_or_else(String::new, |px| format!("; worth up to {} in the picture", figure(px, "px")));
    format!(", up to {} ({}) at frame {frame}{px}", figure(units, a.unit), counted(usize::try_from(steps).unwrap_or(usize::MAX), "step"))
}

/// Axes shown without `--all`.
const FEW_AXES: usize = 10;
