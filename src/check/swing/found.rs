//! What is found of a swinging figure: data only.
//!
//! Invariant: a swing that is not known exceeds its limit. Units: mm, s.

use crate::motion::pendulum::greatest::Greatest;
use crate::program::hanging::hung::Unknown;
use crate::stage::{GroupId, Utilisation};

/// How one figure swings in a pass, as a pendulum or in one of its further modes.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct SwingReport {
    /// Its group.
    pub group: GroupId,
    /// Which of its further modes; `None` for the pendulum.
    pub mode: Option<usize>,
    /// Period at home, s.
    pub period: f64,
    /// Largest allowed during exposures, mm.
    pub limit: Option<f64>,
    /// How far it swings, or why that is not known.
    pub found: Result<Swung, Unknown>,
    /// What the largest swing during exposures is worth in the picture of a camera, pixels; `None` where no lens sees the figure then.
    pub pixels: Option<f64>,
}

/// How far something swings.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Swung {
    /// From the start to the end of the run-down, or of the last slot.
    pub peak: Greatest,
    /// While the shutter is open.
    pub exposed: Greatest,
    /// On the return home, swing that is left from before included.
    pub return_home: Greatest,
}

impl SwingReport {
    /// How much of its limit a swing uses; `None` without a limit.
    #[must_use]
    pub(crate) fn utilisation(&self) -> Option<Utilisation> {
        let swing = self.found.map_or(f64::INFINITY, |s| s.exposed.value);
        self.limit.map(|limit| Utilisation::of(swing, limit))
    }

    /// For an order by how much a swing asks for attention: the share of its limit, without a limit less than any such share.
    #[must_use]
    pub(crate) fn strain(&self) -> f64 {
        let mm = self.found.map_or(f64::INFINITY, |s| s.exposed.value);
        self.utilisation().map_or(mm / (1.0 + mm) - 1.0, Utilisation::share)
    }
}
