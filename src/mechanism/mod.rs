//! Machines between what is seen and what turns: plates on three actuators, wires to limbs, drums, measured tables, joints, aim and lens; the open trait [`Mechanism`].
//!
//! What: rigid geometry in millimetres and degrees, written once over [`Real`], so that the same formula gives a plain number,
//! a jet whose three derivatives are exact and, for proofs, a range. Invariant: every mechanism passed its constructor, which refuses geometry that
//! cannot turn; what a checked one still cannot do at some moment is an [`OutOfReach`] with the range it can do. This module
//! reads no file and knows no stage or shot: channels are numbers that the caller names. Limits: nothing bends, nothing has
//! play; what gravity, play and stretch do is reported beside the geometry, not inside it.
//!
//! Space is right-handed with Y up, as in glTF, in millimetres; a positive turn follows the right hand about its axis.

pub(crate) mod aim;
mod breathing;
pub(crate) mod convex;
pub(crate) mod distortion;
pub(crate) mod drum;
pub(crate) mod enclosed_inverse;
pub(crate) mod hanging;
pub(crate) mod interval;
pub(crate) mod joint;
pub(crate) mod kinematics;
pub(crate) mod lens;
pub(crate) mod limb_wire;
mod measured;
mod miss;
pub(crate) mod real;
mod rods;
pub(crate) mod rough_outline;
mod sight;
pub(crate) mod silhouette;
mod slots;
pub(crate) mod space;
pub(crate) mod swashplate;
pub(crate) mod thin_lens;
mod unit;

use crate::number::figures;

pub(crate) use aim::Aim;
pub use distortion::Brown;
pub use drum::{Drum, DrumSpec, Hung, Rope, Spool};
pub use enclosed_inverse::enclosed_inverse;
pub use hanging::{Hanging, Pull};
pub use interval::{IntervalJet, Range};
pub(crate) use joint::Chain;
pub use joint::{JointKind, JointSpec};
pub use kinematics::{Mechanism, Quantity, one_to_one};
pub(crate) use lens::Pixel;
pub use lens::{Lens, LensSpec, Optics};
pub use limb_wire::{Limb, LimbWire, LimbWireSpec};
pub use measured::{Measured, MeasuredSpec, Over};
pub use real::Real;
pub use rods::CarriedFrom;
pub(crate) use slots::Slots;
pub(crate) use space::Pose;
pub use space::Vector;
pub use swashplate::{Swashplate, SwashplateSpec};
pub use unit::Unit;

/// Standard gravity. Unit: m/s2. Source: 3rd General Conference on Weights and Measures, 1901.
pub(crate) const GRAVITY: f64 = 9.806_65;

/// A place that a mechanism cannot take, with what it can.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum OutOfReach {
    /// One quantity is outside the range that it can have while the others are as they are.
    #[error("{quantity} is out of reach at {found} {unit}; the mechanism reaches {} to {} {unit}", figures::most(*least, ""), figures::least(*most, ""))]
    Range {
        /// What is out of reach: `pitch`, `roll`, `angle`, `paid out`, `height`, `turn`, or what a mechanism of your own calls it.
        quantity: &'static str,
        /// Where it was asked to be.
        found: f64,
        /// Lower end of what can be reached.
        least: f64,
        /// Upper end of what can be reached.
        most: f64,
        /// Unit of the three numbers.
        unit: &'static str,
    },
    /// Three actuator positions that no tilt of the plate can have together.
    #[error("no pose of the plate has its actuators at {first}, {second} and {third} mm")]
    NoPose {
        /// First actuator, mm.
        first: f64,
        /// Second actuator, mm.
        second: f64,
        /// Third actuator, mm.
        third: f64,
    },
    /// Positions that no place of the mechanism has, in words of its own.
    #[error("{why}")]
    NoPlace {
        /// A clause without a full stop, such as `the two links do not meet`.
        why: &'static str,
    },
    /// A mechanism was asked with another number of channels or axes than it has. No mechanism of a stage is.
    #[error("a mechanism was called with the wrong number of channels or axes")]
    WrongCount,
}
