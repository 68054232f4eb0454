//! Point-to-point laws: one axis, from one position to another, as fast as its limits allow or in a given time.
//!
//! Three laws: [`Trapezoid`] (velocity and acceleration limited), [`SevenSegment`] (jerk limited too, also called double-S) and
//! [`MinimumJerk`] (the rest-to-rest quintic). Positions are counted from the start of the move.
//!
//! Units: any one unit of length, here called "length", and seconds. Invariants: a profile starts at position 0 exactly, ends at its
//! distance bit for bit, and is computed in its own units of length and time, so that multiplying every length by a power of two
//! gives the same bits, scaled, and turning the move round gives the same bits, negated (as long as nothing leaves the normal
//! range of `f64`). Outside `0..=duration` a profile has no value: nothing is clamped.
//!
//! Limits: a move goes one way only. End speeds that would need overrunning or backing up are refused.

pub mod limits;
pub mod minimum_jerk;
mod own_units;
pub mod profile_error;
mod s_ramp;
pub mod seven_segment;
mod seven_segment_course;
mod seven_segment_phases;
mod seven_segment_timing;
pub mod trapezoid;

pub use limits::{Limits, TrapezoidLimits};
pub use minimum_jerk::MinimumJerk;
pub use profile_error::{End, ProfileError};
pub use seven_segment::{SevenSegment, synchronise};
pub use seven_segment_phases::SevenSegmentPhases;
pub use trapezoid::{Trapezoid, TrapezoidPhases, TrapezoidState};

pub(crate) use profile_error::{along_the_move, finite, positive};

/// How much too short, relative to itself, a distance may be and still count as the least distance.
///
/// The least distance is a sum of products of the inputs. The caller works it out with about a dozen roundings of 2^-53 each, and we
/// again in other units: 2 x 12 x 2^-53 < 2^-48. Without this a least distance that we print could be refused when it is asked for.
pub(crate) const LEAST_DISTANCE_SLACK: f64 = 1.0 / 281_474_976_710_656.0;

/// Where a profile is at an instant. Velocity and acceleration are continuous; where the jerk steps, it is the one that follows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct State {
    /// Distance from the start, with its sign. Unit: length.
    pub position: f64,
    /// Unit: length/s.
    pub velocity: f64,
    /// Unit: length/s^2.
    pub acceleration: f64,
    /// Unit: length/s^3.
    pub jerk: f64,
}

/// The limit that shapes a profile: raising this one would make it faster.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Binding {
    /// The velocity limit is reached.
    Velocity,
    /// The velocity limit is not reached, the acceleration limit is.
    Acceleration,
    /// Neither is reached: only the jerk limit holds the move back.
    Jerk,
}
