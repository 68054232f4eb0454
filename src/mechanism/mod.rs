//! Machines between what is seen and what turns: plates on three actuators, wires to limbs, drums, joints, aim and lens.
//!
//! What: rigid geometry in millimetres and degrees, written once over [`Real`], so that the same formula gives a plain number
//! and a jet whose three derivatives are exact. Invariant: every mechanism passed its constructor, which refuses geometry that
//! cannot turn; what a checked one still cannot do at some moment is an [`OutOfReach`] with the range it can do. This room
//! reads no file and knows no stage or shot: channels are numbers that the caller names. Limits: nothing bends, nothing has
//! play; what gravity, play and stretch do is reported beside the geometry, not inside it.
//!
//! Space is right-handed with Y up, as in glTF, in millimetres; a positive turn follows the right hand about its axis.

pub mod aim;
pub mod drum;
pub mod joint;
pub mod lens;
pub mod limb_wire;
mod miss;
pub mod real;
mod rods;
mod sight;
pub mod space;
pub mod swashplate;

use crate::number::directed::{Places, down, up};

pub use aim::{Aim, AimTrouble};
pub use drum::{Drum, DrumSpec, Hung, Rope, Spool};
pub use joint::{Chain, JointKind, JointSpec};
pub use lens::{BehindCamera, Lens, LensSpec, Pixel};
pub use limb_wire::{Limb, LimbWire, LimbWireSpec, Pull};
pub use real::Real;
pub use rods::CarriedFrom;
pub use space::{Pose, Turn, Vector};
pub use swashplate::{Swashplate, SwashplateSpec};

/// Ranges are told to four decimals, rounded inwards: what is told can be reached.
const FOUR: Places = Places::Decimals(4);

/// Standard gravity. Unit: m/s2. Source: 3rd General Conference on Weights and Measures, 1901.
pub const GRAVITY: f64 = 9.806_65;

/// A place that a mechanism cannot take, with what it can.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum OutOfReach {
    /// One quantity is outside the range that it can have while the others are as they are.
    #[error("{quantity} is out of reach at {found} {unit}, reachable are {} to {} {unit}", up(*least, FOUR), down(*most, FOUR))]
    Range {
        /// What is out of reach: `pitch`, `roll`, `angle`, `paid out`, `height`, `turn`.
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
}
