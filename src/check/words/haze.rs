//! Sentences about haze.
//!
//! Form: no full stop at the end; numbers with their unit. Invariant: nothing is judged here.

use crate::check::figures::{figure, least};
use crate::check::haze::HazeReport;
use crate::number::elementary::exp;
use crate::shot::{Haze, Veiled};

/// A figure that loses much of its light.
pub(super) fn lost(body: &str, stops: f64, frame: f64) -> String {
    let share = exp(-stops * core::f64::consts::LN_2);
    // Beyond, nobody counts.
    let share = if share >= 1e-3 { percent(share) } else { "less than 0.1 %".to_owned() };
    format!(
        "{body}: haze takes {} at frame {frame:.0}: {share} of its light arrives; use thinner haze, or bring it nearer",
        figure(stops, "stops")
    )
}

/// A share in per cent.
#[must_use]
pub(crate) fn percent(share: f64) -> String {
    format!("{} %", figure(100.0 * share, ""))
}

/// What the columns of the table say.
pub(crate) const LEGEND: &str = "density: a change of the smoke by so much moves the figure by 0.1 stop";

/// What to measure on the stage, in two sentences.
#[must_use]
pub(crate) fn measure(report: &HazeReport) -> [String; 2] {
    let haze = &report.haze;
    [
        format!(
            "haze: measure a visibility of {} on the stage ({} at full size)",
            figure(haze.visibility(), "m"),
            figure(haze.full_size_visibility(), "m")
        ),
        format!(
            "  extinction {} per m; an instrument for 5 % contrast reads {}",
            figure(haze.extinction(), ""),
            figure(haze.visibility_at_five_percent(), "m")
        ),
    ]
}

/// What bands of colour lose more or less in the real air than a figure shows on the stage.
#[must_use]
pub(crate) fn bands(figure: &str, haze: &Haze, veiled: Veiled, frame: f64) -> String {
    let each = |(band, factor): &(String, f64)| format!("{band} {:+.2} stops", veiled.correction(*factor));
    let all: Vec<String> = haze.bands().iter().map(each).collect();
    format!("colour, {figure} at frame {frame:.0}: the real air takes {}; correct lamps or compositing", all.join(", "))
}

/// By how much the density may change.
#[must_use]
pub(crate) fn within(per_cent: Option<f64>) -> String {
    per_cent.map_or_else(|| "any".to_owned(), |p| format!("{} %", least(p, "")))
}
