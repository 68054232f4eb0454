//! What the camera needs between exposures.
//!
//! Invariant: numbers in their bounds. Limits: data only; `check` compares passes with it, rows open the shutter column earlier by the latency. Units: s.

use crate::bounds::{CAMERA_TIME, EXPOSURE, Flaw};

/// Times of a camera.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct CameraTiming {
    /// In each frame the shutter must be closed for at least as long: film advance or sensor read-out.
    pub dead: f64,
    /// From trigger to opening.
    pub latency: f64,
    /// The longest exposure it makes; `None` where there is no limit.
    pub longest: Option<f64>,
}

impl CameraTiming {
    /// A camera without limits.
    pub(crate) const NONE: CameraTiming = CameraTiming { dead: 0.0, latency: 0.0, longest: None };

    /// Checks the times.
    ///
    /// # Errors
    /// Every time out of its range.
    pub(crate) fn new(dead: f64, latency: f64, longest: Option<f64>) -> Result<CameraTiming, Vec<Flaw>> {
        let checks = [
            CAMERA_TIME.check("dead_s", dead),
            CAMERA_TIME.check("latency_s", latency),
            longest.map_or(Ok(0.0), |longest| EXPOSURE.check("longest_s", longest)),
        ];
        let flaws: Vec<Flaw> = checks.into_iter().filter_map(Result::err).collect();
        if flaws.is_empty() { Ok(CameraTiming { dead, latency, longest }) } else { Err(flaws) }
    }

    /// How long the shutter must be closed between two exposures: as long as the camera is busy, and no shorter than from one trigger to its opening.
    #[must_use]
    pub(crate) fn closed(&self) -> f64 {
        self.dead.max(self.latency)
    }
}
