//! How far a piece may be from its signal.
//!
//! What: position within a sixteenth of a step; velocity, acceleration and jerk within a thousandth of the axis's limits at the piece's own pace: the pace, in seconds
//! per frame, at which the signal on this piece is at one of the limits. Nothing else goes in, no pass and no span: so no pass can move another.
//!
//! Why that is enough for every pass (D). At T seconds per frame a share of a limit is v/(T V), a/(T^2 A) or j/(T^3 J), with V, A, J the limits. The own pace T0 is the
//! largest of |v|/V, (|a|/A)^(1/2) and (|j|/J)^(1/3) on the piece. The fit is within V T0/1000, A T0^2/1000 and J T0^3/1000 of the signal, so a share is wrong by
//! 1/1000 (T0/T)^k at most, and half of that is demanded at the places looked at. A pass with T >= T0 has T0/T <= 1: no share on the piece is wrong by more than
//! 0.1 % of the limit, half of that at those places. A pass with T < T0 exceeds a limit on this piece, since one of the three shares is 1 at T0
//! and more at T: the verdict stands, and the largest share is right to a thousandth of itself.
//! Where a limit is out of all proportion, T0 is large with it: the fit follows the limit to a thousandth of the signal's own peak and no further.
//! Limits: of the first and last piece the span may show only a part; T0 is that of the whole piece, so a pass faster than it may be within limits on the part.

use super::ends;
use crate::bounds;
use crate::number::{Jet, elementary};
use crate::stage::Axis;

/// How far a piece may be from its signal. Units: unit, unit/frame, unit/frame^2, unit/frame^3.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Tolerance {
    /// Position.
    pub position: f64,
    /// Velocity.
    pub velocity: f64,
    /// Acceleration.
    pub acceleration: f64,
    /// Jerk.
    pub jerk: f64,
}

/// What a piece may be off by, where the signal on it is known at some places.
pub(crate) trait Allowance {
    /// The tolerance on a piece on which the signal was seen to do this.
    fn on(&self, seen: &[Jet]) -> Tolerance;
}

/// The same everywhere.
impl Allowance for Tolerance {
    fn on(&self, _: &[Jet]) -> Tolerance {
        *self
    }
}

/// The tolerance of an axis: see the module's text.
#[derive(Debug, Clone, Copy)]
pub(crate) struct AtOwnPace {
    position: f64,
    velocity: f64,
    acceleration: f64,
    jerk: f64,
    /// What is moved per frame where an axis counts as standing: of velocity and its derivatives no less is asked, so that rounding is not chased.
    nothing: f64,
}

impl AtOwnPace {
    /// The tolerance of this axis.
    #[must_use]
    pub(crate) fn of(axis: &Axis) -> AtOwnPace {
        let limits = axis.limits();
        let steps = axis.drive().steps_per_unit();
        // A limit on steps is a limit on velocity.
        let velocity = limits.step_rate.map_or(limits.velocity, |rate| limits.velocity.min(rate / steps));
        AtOwnPace {
            position: 1.0 / (16.0 * steps),
            velocity,
            acceleration: limits.acceleration,
            jerk: limits.jerk,
            nothing: ends::NOTHING / steps,
        }
    }
}

impl Allowance for AtOwnPace {
    fn on(&self, seen: &[Jet]) -> Tolerance {
        // What is no number drops out.
        let most = |of: fn(&Jet) -> f64| seen.iter().map(|j| of(j).abs()).fold(0.0, f64::max);
        // No pass is faster than the fastest that may be asked for.
        let pace =
            pace_at(most(|j| j.v), most(|j| j.a), most(|j| j.j), self.velocity, self.acceleration, self.jerk).max(bounds::PACE.least);
        Tolerance {
            position: self.position,
            velocity: (self.velocity * pace / 1000.0).max(self.nothing),
            acceleration: (self.acceleration * pace * pace / 1000.0).max(self.nothing),
            jerk: (self.jerk * pace * pace * pace / 1000.0).max(self.nothing),
        }
    }
}

/// Seconds per frame at which a velocity, an acceleration and a jerk (per frame^k) are within limits (per s^k): time scaling is exact.
#[must_use]
pub(crate) fn pace_at(v: f64, a: f64, j: f64, velocity: f64, acceleration: f64, jerk: f64) -> f64 {
    (v.abs() / velocity).max((a.abs() / acceleration).sqrt()).max(elementary::cbrt(j.abs() / jerk))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::stage::{AxisSpec, Unit};

    /// 100 steps a mm; 40 mm/s, 20 mm/s2, 80 mm/s3.
    fn allowed(step_rate: Option<f64>) -> AtOwnPace {
        let mut spec = AxisSpec::new("lift", Unit::Millimetre, [0.0, 100.0], [40.0, 20.0, 80.0]);
        spec.drive.travel_per_rev = 2.0;
        spec.limits.step_rate = step_rate;
        AtOwnPace::of(&Axis::new(spec).unwrap())
    }

    #[test]
    fn it_is_a_thousandth_of_the_limits_at_the_pace_at_which_one_of_them_is_reached() {
        // 640 mm/frame3 are 80 mm/s3 at 2 s per frame; 80 mm/frame2 are 20 mm/s2 at 2 s per frame as well; 40 mm/frame are 40 mm/s at 1 s.
        let seen = [Jet { p: 0.0, v: 40.0, a: 1.0, j: -640.0 }, Jet { p: 0.0, v: 0.0, a: -80.0, j: 0.0 }];
        let t = allowed(None).on(&seen);
        let close = |x: f64, y: f64| (x / y - 1.0).abs() < 1e-14;
        assert_eq!(t.position, 1.0 / 1600.0);
        assert!(close(t.velocity, 0.08) && close(t.acceleration, 0.08) && close(t.jerk, 0.64), "{t:?}");
        // 400 steps/s are 4 mm/s: 40 mm/frame are within that at 10 s per frame only, and velocity is looked at by this limit.
        let t = allowed(Some(400.0)).on(&seen);
        assert!(close(t.velocity, 0.04) && close(t.acceleration, 2.0), "{t:?}");
    }

    #[test]
    fn what_stands_or_is_not_finite_asks_for_nothing() {
        let nothing = ends::NOTHING / 100.0;
        let least = allowed(None).on(&[Jet::constant(3.0)]);
        assert_eq!((least.velocity, least.acceleration, least.jerk), (40.0 * 1e-3 / 1000.0, 20.0 * 1e-3 * 1e-3 / 1000.0, nothing));
        assert_eq!(allowed(None).on(&[Jet::constant(3.0), Jet::constant(f64::NAN) * f64::NAN]), least);
    }
}
