//! A limb on a wire: whether gravity turns it as fast as the wire is paid out, so that the wire stays taut.
//!
//! Invariant: a certified margin is never above that of any motion within the ranges it is given, up to rounding; where it is above 0 the wire is taut. Limits: one
//! axis, the wire's; a limb that swings or a wire that sticks is not modelled.

use core::fmt::Debug;

use super::interval::IntervalJet;
use crate::number::Jet;

/// A limb that hangs on the wire of a mechanism of one axis. The check named `slack` asks it.
pub trait Hanging: Debug + Send + Sync {
    /// Gravity and the wire at one moment, for the wire's axis (by frame) run at `seconds_per_frame`; `None` where the limb has no place.
    fn pull(&self, axis: Jet, seconds_per_frame: f64) -> Option<Pull>;

    /// A margin (deg/s2, as [`Pull::margin`]) that no motion is below whose axis stays within `axis` (by frame) at `seconds_per_frame`; `None` where none can be
    /// certified. Narrow ranges must give a margin near the true one, or the search does not end in a proof.
    fn certified_margin(&self, axis: IntervalJet, seconds_per_frame: f64) -> Option<f64>;

    /// Mass (kg), distance of the centre of mass from the joint (m) and moment of inertia about it (kg m2) of a stiff limb that turns about one joint: what a
    /// manifest states and a verification judges by. Default: none.
    fn parts(&self) -> Option<[f64; 3]> {
        None
    }

    /// The same limb with other parts, as a trial of a weight needs it; `None` where no limb has them. Default: none.
    fn with_parts(&self, _parts: [f64; 3]) -> Option<Box<dyn Hanging>> {
        None
    }

    /// From the joint to where the wire is tied, m. Default: none.
    fn arm(&self) -> Option<f64> {
        None
    }
}

/// What gravity can do and what the wire asks for, at one moment; both in the direction in which wire is paid out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pull {
    /// Largest angular acceleration that gravity can follow, deg/s2.
    pub gravity: f64,
    /// Angular acceleration that the paid-out wire asks for, deg/s2.
    pub wanted: f64,
    /// Tension of the wire, N; below 0 stands for a wire that would have to push.
    pub tension: f64,
}

impl Pull {
    /// How much faster gravity could turn the limb, deg/s2; the wire is slack at 0 and below.
    #[must_use]
    pub fn margin(&self) -> f64 {
        self.gravity - self.wanted
    }
}
