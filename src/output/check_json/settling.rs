//! How long figures must rest before the exposures of a held pass, as JSON.
//!
//! Invariant: what an hour does not bring is null. Units: s, frames.

use schemars::JsonSchema;
use serde::Serialize;

use crate::check::PassReport;
use crate::check::swing::settling::Settling;

/// What a hanging figure with a limit of swing needs from the end of each move on; null where an hour is not enough.
#[derive(Serialize, JsonSchema)]
pub(super) struct SettlingJson {
    body: String,
    /// Which of the further modes, counted from 1; null for the pendulum.
    mode: Option<usize>,
    longest_s: Option<f64>,
    longest_frame: i64,
    /// The longest with a period 10 % longer or shorter, and with half the damping.
    longer_period_s: Option<f64>,
    shorter_period_s: Option<f64>,
    half_damping_s: Option<f64>,
    /// Of each exposed frame.
    frames_s: Vec<Option<f64>>,
}

/// Every figure with a limit in a held pass.
pub(super) fn needs(p: &PassReport) -> Vec<SettlingJson> {
    let some = |seconds: f64| seconds.is_finite().then_some(seconds);
    let of = |s: &Settling| {
        let [longer, shorter, less] = s.guessed.map(some);
        SettlingJson {
            body: p.program.compiled().stage().group_name(s.group).to_owned(),
            mode: s.mode.map(|mode| mode + 1),
            longest_s: some(s.longest.0),
            longest_frame: s.longest.1,
            longer_period_s: longer,
            shorter_period_s: shorter,
            half_damping_s: less,
            frames_s: s.frames.iter().copied().map(some).collect(),
        }
    };
    p.settling.iter().map(of).collect()
}
