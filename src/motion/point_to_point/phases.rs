//! The phases of a double-S move from rest to rest.
//!
//! Source of the names: L. Biagiotti, C. Melchiorri, Trajectory Planning for Automatic Machines and Robots, Springer 2008, sec. 3.4.

/// Durations of the phases in seconds, and what is reached in them. The ramp down mirrors the ramp up.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Phases {
    /// Tj: time over which the acceleration of a ramp builds up, and again over which it ceases. Unit: s.
    pub blend: f64,
    /// Ta, Td: a whole ramp, from rest to the greatest speed or from it to rest. Unit: s.
    pub ramp: f64,
    /// Tv: time at the greatest speed. Unit: s.
    pub cruise: f64,
    /// vlim: the greatest speed, with the sign of the move. Unit: length/s.
    pub speed: f64,
    /// alim: greatest acceleration of the first ramp, with its sign. Unit: length/s^2.
    pub acceleration: f64,
}
