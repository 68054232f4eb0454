//! How far hanging figures swing in a pass, as JSON.
//!
//! Invariant: what could not be computed is null, never zero. Units: s, mm, frames.

use schemars::JsonSchema;
use serde::Serialize;

use crate::check::PassReport;
use crate::check::swing::found::SwingReport;
use crate::time::Seconds;

/// How far a hanging figure swings; null where that could not be computed.
#[derive(Serialize, JsonSchema)]
pub(super) struct SwingJson {
    body: String,
    /// Which of the further modes, counted from 1; null for the pendulum.
    mode: Option<usize>,
    period_s: f64,
    peak_mm: Option<f64>,
    peak_s: Option<f64>,
    /// Null before the run-up.
    peak_frame: Option<f64>,
    exposed_mm: Option<f64>,
    exposed_frame: Option<f64>,
    /// Of the exposed swing; null where no lens sees the figure then.
    exposed_px: Option<f64>,
    limit_mm: Option<f64>,
    return_home_mm: Option<f64>,
}

/// Every swing of a pass.
pub(super) fn swings(p: &PassReport) -> Vec<SwingJson> {
    p.swings.iter().map(|s| swing(p, s)).collect()
}

fn swing(p: &PassReport, s: &SwingReport) -> SwingJson {
    let (clock, found) = (p.program.clock(), s.found.ok());
    let frame = |at: f64| (at >= clock.begin().0).then(|| clock.frame_at(Seconds(at)).0);
    SwingJson {
        body: p.program.compiled().stage().group_name(s.group).to_owned(),
        mode: s.mode.map(|mode| mode + 1),
        period_s: s.period,
        peak_mm: found.map(|f| f.peak.value),
        peak_s: found.map(|f| f.peak.at),
        peak_frame: found.and_then(|f| frame(f.peak.at)),
        exposed_mm: found.map(|f| f.exposed.value),
        exposed_frame: found.filter(|f| f.exposed.value > 0.0).and_then(|f| frame(f.exposed.at)),
        exposed_px: s.pixels,
        limit_mm: s.limit,
        return_home_mm: found.map(|f| f.return_home.value),
    }
}
