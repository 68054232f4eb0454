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
    /// How much less room there may be at another instant.
    pub tolerance: f64,
}

impl Stopping {
    /// Room left over.
    #[must_use]
    pub(crate) fn margin(&self) -> f64 {
        self.room - self.distance
    }

    /// How much of the room is used. Where there is as much as is needed, nothing is exceeded, though there may be none.
    #[must_use]
    pub(crate) fn utilisation(&self) -> Utilisation {
        let margin = self.margin();
        if margin >= 0.0 && self.room <= 0.0 {
            Utilisation::NONE
        } else {
            Utilisation::of_margin(margin, self.room.abs().max(self.tolerance))
        }
    }
}
