//! When the seven segments of a double-S move begin and end, so that it takes the least time.
//!
//! Everything here is in the profile's own units: the distance is 1 and speeds are >= 0. A move is one ramp from the start speed to a
//! turning speed w, a cruise at w, and one ramp from w to the end speed.
//!
//! Why this is the least time: the distances that can be covered in a time T, with these end speeds, form an interval, because the
//! constraints are convex and the distance is linear in the acceleration. Its top is reached by speeding up as much as T allows, its bottom by
//! slowing down as much. At the least T at all (one ramp, start to end speed) the interval is one point, `direct`. For a distance of
//! `direct` or more the first T whose interval holds it has it at the top: w is at or above both end speeds, and the distance grows with w. For
//! less, the first T has it at the bottom: w is below both. There the distance is a concave function of w (each ramp's (u + w)/2 x time
//! is: its second derivative has the sign of 3w - 5u while the acceleration limit is not reached, and is -1/a after), so it passes
//! through 1 once at most, and its least value without backing up is at w = 0 or is `direct`.
//!
//! The same choice is not made by the textbook's algorithm (L. Biagiotti, C. Melchiorri, Trajectory Planning for Automatic Machines and
//! Robots, Springer 2008, sec. 3.4), which keeps one acceleration limit for both ramps; our durations are never longer.
//! From rest to rest the closed forms of its sec. 3.4.3 are optimal and are used as they are.

use super::LEAST_DISTANCE_SLACK;
use super::s_ramp::SRamp;
use crate::number::elementary::cbrt;

/// The question, in own units: distance 1, speeds along the move.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Question {
    /// The lower and the higher end speed.
    pub(crate) lower: f64,
    /// See `lower`.
    pub(crate) higher: f64,
    /// higher - lower, without the rounding of either.
    pub(crate) change: f64,
    /// limit - higher, without the rounding of either.
    pub(crate) headroom: f64,
    /// Velocity limit.
    pub(crate) velocity: f64,
    /// Acceleration limit.
    pub(crate) acceleration: f64,
    /// Jerk limit.
    pub(crate) jerk: f64,
}

/// The answer: the two ramps, by the end speed that they belong to, and what lies between.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Timing {
    /// Ramp between the lower end speed and the turning speed.
    pub(crate) at_lower: SRamp,
    /// Ramp between the higher end speed and the turning speed.
    pub(crate) at_higher: SRamp,
    /// Time at the turning speed.
    pub(crate) cruise: f64,
    /// Turning speed.
    pub(crate) turning: f64,
    /// The same, as a difference from the higher end speed if above both, from the lower if below both. >= 0.
    pub(crate) excess: f64,
    /// Whether the turning speed is below both end speeds.
    pub(crate) dips: bool,
    /// Whether the turning speed is the velocity limit.
    pub(crate) at_limit: bool,
}

impl Question {
    /// Least time from rest to rest, in closed form. Source: Biagiotti and Melchiorri 2008, sec. 3.4.3, cases 1.a, 1.b, 2.a, 2.b.
    pub(crate) fn rest_to_rest(&self) -> Timing {
        let (v, a, j) = (self.velocity, self.acceleration, self.jerk);
        let symmetric = |ramp: SRamp, turning: f64, cruise: f64| Timing {
            at_lower: ramp,
            at_higher: ramp,
            cruise: cruise.max(0.0),
            turning,
            excess: turning,
            dips: false,
            at_limit: cruise >= 0.0,
        };
        let to_limit = SRamp::fastest(v, a, j);
        let cruise = 1.0 / v - to_limit.total;
        if cruise >= 0.0 {
            return symmetric(to_limit, v, cruise);
        }
        let blend = a / j;
        if 1.0 >= 2.0 * a * blend * blend {
            let total = blend / 2.0 + (blend * blend / 4.0 + 1.0 / a).sqrt();
            return symmetric(SRamp { blend, total, jerk: j, full: true }, a * (total - blend), -1.0);
        }
        let blend = cbrt(0.5 / j);
        symmetric(SRamp::triangle(blend, j), j * blend * blend, -1.0)
    }

    /// Least time between any end speeds.
    ///
    /// # Errors
    /// The least distance that would do, in own units (so > 1), if 1 is too short.
    pub(crate) fn fastest(&self) -> Result<Timing, f64> {
        let direct = self.length(0.0, false);
        if direct <= 1.0 + LEAST_DISTANCE_SLACK {
            return Ok(self.over());
        }
        // Slowing down to a stop first, and speeding up again from there.
        let deepest = (self.lower / self.jerk).sqrt();
        let by_stopping = self.length(deepest, true);
        if by_stopping <= 1.0 + LEAST_DISTANCE_SLACK {
            let z = boundary(deepest, |z| self.length(z, true) > 1.0);
            return Ok(self.timing(z, true));
        }
        Err(direct.min(by_stopping))
    }

    /// The turning speed is above both end speeds.
    fn over(&self) -> Timing {
        let highest = (self.headroom / self.jerk).sqrt();
        let mut at_limit = self.timing(highest, false);
        at_limit.turning = self.velocity;
        at_limit.excess = self.headroom;
        at_limit.at_limit = true;
        let ramps = self.length(highest, false);
        if ramps <= 1.0 {
            // A cruise that is lost in the sum of the times is none.
            let cruise = (1.0 - ramps) / self.velocity;
            let ramp_times = at_limit.at_lower.total + at_limit.at_higher.total;
            at_limit.cruise = if ramp_times + cruise > ramp_times { cruise } else { 0.0 };
            return at_limit;
        }
        if highest == 0.0 {
            return at_limit;
        }
        let z = boundary(highest, |z| self.length(z, false) < 1.0);
        self.timing(z, false)
    }

    /// The two ramps when the turning speed differs by jerk x z^2 from the nearer end speed. Counting it by z keeps its square root,
    /// a ramp's time, exact however near to that end speed it is.
    fn timing(&self, z: f64, dips: bool) -> Timing {
        let excess = self.jerk * z * z;
        let near = if excess >= self.acceleration * (self.acceleration / self.jerk) {
            SRamp::fastest(excess, self.acceleration, self.jerk)
        } else {
            SRamp::triangle(z, self.jerk)
        };
        let far = SRamp::fastest(excess + self.change, self.acceleration, self.jerk);
        let (at_lower, at_higher) = if dips { (near, far) } else { (far, near) };
        let turning = if dips { (self.lower - excess).max(0.0) } else { self.higher + excess };
        Timing { at_lower, at_higher, cruise: 0.0, turning, excess, dips, at_limit: false }
    }

    /// Distance of the two ramps.
    fn length(&self, z: f64, dips: bool) -> f64 {
        let timing = self.timing(z, dips);
        (self.lower + timing.turning) / 2.0 * timing.at_lower.total + (self.higher + timing.turning) / 2.0 * timing.at_higher.total
    }
}

/// The last `z` in `0..=end` at which `before` still holds; it holds at 0 and not from some `z` on. Halving, until no `f64` lies between.
fn boundary(end: f64, before: impl Fn(f64) -> bool) -> f64 {
    let (mut low, mut high) = (0.0, end);
    // From 2^1023 down to 2^-1074 and through 53 bits: more halvings than these are not possible.
    for _ in 0..2200 {
        let middle = low + (high - low) / 2.0;
        if middle <= low || middle >= high {
            break;
        }
        if before(middle) {
            low = middle;
        } else {
            high = middle;
        }
    }
    // Of the two neighbours, the one beyond: what is left over is then never short of the distance.
    high
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;

    fn question(start: f64, finish: f64) -> Question {
        let (lower, higher) = (start.min(finish), start.max(finish));
        Question { lower, higher, change: higher - lower, headroom: 4.0 - higher, velocity: 4.0, acceleration: 3.0, jerk: 5.0 }
    }

    #[test]
    fn the_boundary_is_found_to_the_last_bit() {
        assert_eq!(boundary(4.0, |z| z * z < 2.0), 2.0_f64.sqrt());
        assert_eq!(boundary(1e300, |z| z < 1e-300), 1e-300);
    }

    #[test]
    fn the_search_agrees_with_the_closed_form() {
        let time = |t: &Timing| t.at_lower.total + t.cruise + t.at_higher.total;
        for velocity in [0.1, 0.9, 1.0, 1.1, 8.0] {
            for acceleration in [0.2_f64, 1.0, 4.0, 30.0] {
                // The acceleration limit is just reached, if the speed allows, where j^2 = 2 a^3.
                let just = (2.0 * acceleration).sqrt() * acceleration;
                for jerk in [0.1, 3.0, 40.0, 0.95 * just, 0.999 * just, 1.001 * just, 1.05 * just] {
                    let asked = Question { lower: 0.0, higher: 0.0, change: 0.0, headroom: velocity, velocity, acceleration, jerk };
                    let (closed, searched) = (asked.rest_to_rest(), asked.fastest().unwrap());
                    // Some twenty roundings on either side.
                    assert!((time(&closed) - time(&searched)).abs() <= time(&closed) * 40.0 * f64::EPSILON, "{asked:?}");
                    assert_eq!(closed.at_lower.full, searched.at_lower.full, "{asked:?}");
                }
            }
        }
    }

    /// A second, slow way: of all turning speeds on a grid, none is faster and covers the distance.
    #[test]
    fn no_other_turning_speed_is_faster() {
        for (start, finish) in [(0.0, 1.0), (1.1, 0.2), (0.7, 0.7), (0.001, 1.75), (1.74, 0.002)] {
            let asked = question(start, finish);
            let Ok(best) = asked.fastest() else { continue };
            let least = best.at_lower.total + best.cruise + best.at_higher.total;
            for i in 0..=4000 {
                let w = f64::from(i) / 1000.0;
                let ramp = |u: f64| SRamp::fastest((w - u).abs(), 3.0, 5.0);
                let (first, second) = (ramp(start), ramp(finish));
                let rest = 1.0 - (start + w) / 2.0 * first.total - (finish + w) / 2.0 * second.total;
                if rest >= 0.0 && w > 0.0 {
                    assert!(first.total + second.total + rest / w >= least * (1.0 - 1e-14), "{start} {finish} at {w}");
                }
            }
        }
    }
}
