//! Sentences about focus.
//!
//! Form: no full stop at the end; numbers with their unit.

use crate::bounds::count;
use crate::number::whole;

/// Something that must be sharp and is not: passes and name, their stop, first and last frame and how many.
pub(super) fn soft((passes, what): (&[String], &str), stop: Option<f64>, (first, last, frames): (f64, i64, f64), chosen: bool) -> String {
    let frames = whole::nearest(frames).and_then(|n| u64::try_from(n).ok()).unwrap_or(0);
    let stop = stop.map_or_else(String::new, |stop| format!(" at f/{stop}"));
    let cure = if chosen { "focus follows something else there" } else { "use a smaller aperture, or let focus follow it" };
    format!("{what}: out of focus{stop} in {} from {first:.0} to {last} ({}); {cure}", count(frames, "frame"), passes.join(", "))
}
