//! What is found of an axis that has to stop: data only.
//!
//! Invariant: distance and room are those of one instant. Units: of the axis, s.

use super::against::Against;
use crate::check::violation::{At, Part};
use crate::stage::{AxisId, Utilisation};

/// Stopping distance and room of an axis at the instant at which the room exceeds the distance least.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Stopping {
    /// The axis.
    pub axis: AxisId,
    /// From the fault to the farthest point reached; with a carriage, of both together.
    pub distance: f64,
    /// What there is.
    pub room: f64,
    /// What lies there.
    pub against: Against,
    /// The instant of the fault.
    pub at: At,
    /// Where in the pass.
    pub part: Part,
    /// From the fault until the axis stands, s.
    pub seconds: f64,
    /// Length of its travel; of two carriages, of the shorter one.
    pub travel: f64,
    /// How far the axis is beyond an end of its travel somewhere in the pass, where that is no more than is allowed: the end gives way by so much.
    pub beyond: f64,
}

impl Stopping {
    /// How much of the room is used. Where there is as much as is needed, nothing is exceeded, though there may be none.
    #[must_use]
    pub(crate) fn utilisation(&self) -> Utilisation {
        let room = if self.against == Against::Travel { self.room + self.beyond } else { self.room };
        let margin = room - self.distance;
        if margin >= 0.0 && room <= 0.0 {
            return Utilisation::NONE;
        }
        // Where an axis turns at the very end, or carriages touch, no room is left to be a share of: the travel is the scale there, as for positions.
        Utilisation::of_margin(margin, if room >= CLOSE * self.travel { room } else { self.travel })
    }
}

/// Share of the travel's length to which a margin is found.
pub(super) const CLOSE: f64 = 1e-6;
