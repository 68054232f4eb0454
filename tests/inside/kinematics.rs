//! The textbook's double-S move between any end speeds, written out plainly: what worked examples need beyond moves from rest to rest, and a second way to those.
//!
//! Source: L. Biagiotti, C. Melchiorri, Trajectory Planning for Automatic Machines and Robots, Springer 2008, sec. 3.4; each ramp reaches what it can, where the
//! book lowers the limit of both. Limit: the greatest speed is not below an end speed, which needs a distance that is long enough.

/// The phases, by the book's names.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DoubleS {
    /// Ta.
    pub first: f64,
    /// Tv.
    pub cruise: f64,
    /// Td.
    pub second: f64,
    /// Tj1.
    pub first_jerk: f64,
    /// Tj2.
    pub second_jerk: f64,
    /// vlim.
    pub turning: f64,
}

/// The fastest move over a distance between two speeds, under limits of velocity, acceleration and jerk.
pub fn double_s(distance: f64, (from, to): (f64, f64), (v, a, j): (f64, f64, f64)) -> DoubleS {
    // Time of a change of speed, and of its acceleration's rise.
    let ramp = |change: f64| {
        if change >= a * (a / j) { (change / a + a / j, a / j) } else { (2.0 * (change / j).sqrt(), (change / j).sqrt()) }
    };
    let ramps = |w: f64| (from + w) / 2.0 * ramp(w - from).0 + (to + w) / 2.0 * ramp(w - to).0;
    let (mut low, mut high) = (from.max(to), v);
    assert!(ramps(low) <= distance, "{distance} is too short");
    if ramps(v) > distance {
        while low < 0.5 * (low + high) && 0.5 * (low + high) < high {
            let middle = 0.5 * (low + high);
            if ramps(middle) < distance { low = middle } else { high = middle }
        }
    }
    let turning = high;
    let ((first, first_jerk), (second, second_jerk)) = (ramp(turning - from), ramp(turning - to));
    let cruise = ((distance - ramps(turning)) / turning).max(0.0);
    DoubleS { first, cruise, second, first_jerk, second_jerk, turning }
}
