//! The point-to-point law: one axis, from rest at one position to rest at another, as fast as its limits allow or in a given time.
//!
//! [`SevenSegment`] limits velocity, acceleration and jerk (also called double-S). Positions are counted from the start of the move.
//!
//! Units: any one unit of length, here called "length", and seconds. Invariants: a profile starts at position 0 exactly, ends at its
//! distance bit for bit, and is computed in its own units of length and time, so that multiplying every length by a power of two
//! gives the same bits, scaled, and turning the move round gives the same bits, negated (as long as nothing leaves the normal
//! range of `f64`). Outside `0..=duration` a profile has no value: nothing is clamped.
//!
//! Limits: from rest to rest only.

mod course;
mod limits;
mod own_units;
mod phases;
mod profile_error;
mod s_ramp;
mod seven_segment;

pub(crate) use limits::Limits;
pub(crate) use phases::Phases;
pub(crate) use profile_error::ProfileError;
pub(crate) use seven_segment::SevenSegment;

/// Where a profile is at an instant. Velocity and acceleration are continuous; where the jerk steps, it is the one that follows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct State {
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
pub(crate) enum Binding {
    /// The velocity limit is reached.
    Velocity,
    /// The velocity limit is not reached, the acceleration limit is.
    Acceleration,
    /// Neither is reached: only the jerk limit holds the move back.
    Jerk,
}
