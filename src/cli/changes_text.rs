//! What changed between two versions, as lines: axes with how far they moved, and which passes to keep.

use std::path::Path;

use super::wrap;
use crate::check::changes::{AxisChange, Changes};
use crate::check::words::counted;
use crate::number::figures::figure;

/// The changes as lines; the longest ones alone unless `all`.
pub(super) fn lines(changes: &Changes, new: &Path, all: bool) -> String {
    let new = shot_of(new);
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
        if let Some([first, last]) = p.frames.filter(|_| !p.good) {
            let command = format!("movewright rows {new} --pass {} --frames {first}..{last} --rate HZ --out FILE", p.pass);
            wrap::line(&mut text, &format!("  frames {first} to {last} alone: {command}"), 4);
        }
    }
    text
}

/// The shot file that rows are written from; what a written folder calls it is not known here.
fn shot_of(new: &Path) -> String {
    if new.is_dir() { "SHOT".to_owned() } else { new.display().to_string() }
}

/// How far, where that is known.
fn far(a: &AxisChange) -> String {
    let (Some(units), Some(steps), Some(frame)) = (a.max_units, a.max_steps, a.at_frame) else { return String::new() };
    let px = a.max_px.map_or_else(String::new, |px| format!("; worth up to {} in the picture", figure(px, "px")));
    format!(", up to {} ({}) at frame {frame}{px}", figure(units, a.unit), counted(usize::try_from(steps).unwrap_or(usize::MAX), "step"))
}

/// Axes shown without `--all`.
const FEW_AXES: usize = 10;
