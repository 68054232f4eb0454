//! The phases of a double-S move, for people and tests.
//!
//! Source of the names: L. Biagiotti, C. Melchiorri, Trajectory Planning for Automatic Machines and Robots, Springer 2008, sec. 3.4.

/// Durations of the phases in seconds, and what is reached in them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SevenSegmentPhases {
    /// Tj1: time over which the acceleration of the first ramp builds up, and again over which it ceases. Unit: s.
    pub first_jerk: f64,
    /// Ta: whole first ramp, from the start speed to the turning speed. Unit: s.
    pub first: f64,
    /// Tv: time at the turning speed. Unit: s.
    pub cruise: f64,
    /// Tj2: as `first_jerk`, for the second ramp. Unit: s.
    pub second_jerk: f64,
    /// Td: whole second ramp, from the turning speed to the end speed. Unit: s.
    pub second: f64,
    /// vlim: the turning speed, with the sign of the move. Unit: length/s.
    pub turning_speed: f64,
    /// Greatest acceleration of the first ramp, with its sign. Unit: length/s^2.
    pub first_acceleration: f64,
    /// Greatest acceleration of the second ramp, with its sign. Unit: length/s^2.
    pub second_acceleration: f64,
}
