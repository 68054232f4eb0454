//! How much of a limit is used, and whether it is exceeded: the one place that decides so.
//!
//! What: for an upper limit value / limit, exceeded above 1 + 1e-9. Two-sided and lower limits have a margin and a scale (the length of the travel, the
//! required clearance); they are exceeded where margin < -1e-9 x scale, and their utilisation is 1 - margin / scale.
//! Why 1e-9: peaks are computed to a few 2^-50 of a piece's coefficients and paces, cubed, to 2^-50; 1e-9 is a thousand times that, and far below
//! what a motor can resolve. Invariant: what is not a number exceeds every limit.

use super::{Axis, Travel};
use crate::motion::Peaks;

/// Share of a limit: 0 unused, 1 at the limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Utilisation {
    /// Share beyond 1; kept instead of the share, so that what lies near the limit keeps its digits.
    beyond: f64,
}

/// A limit is exceeded where its utilisation is above 1 by more than this.
const SLACK: f64 = 1e-9;

impl Utilisation {
    /// Nothing of a limit.
    pub(crate) const NONE: Utilisation = Utilisation { beyond: -1.0 };

    /// Just more than all of a limit: for what is exceeded though no size says by how much.
    pub(crate) const JUST_EXCEEDED: Utilisation = Utilisation { beyond: 2.0 * SLACK };

    /// Of an upper limit. A limit of 0 is exceeded by anything but 0.
    #[must_use]
    pub(crate) fn of(value: f64, limit: f64) -> Utilisation {
        if value == 0.0 && limit == 0.0 {
            return Utilisation::NONE;
        }
        Utilisation { beyond: (value - limit) / limit.max(0.0) }
    }

    /// Of a margin that may not be negative, compared with `scale` (> 0, the same unit).
    #[must_use]
    pub(crate) fn of_margin(margin: f64, scale: f64) -> Utilisation {
        Utilisation { beyond: -margin / scale }
    }

    /// How far beyond a limit on that scale nothing is exceeded yet.
    #[must_use]
    pub(crate) fn slack(scale: f64) -> f64 {
        SLACK * scale
    }

    /// Of the travel, by an axis that goes from `least` to `greatest`.
    #[must_use]
    pub(crate) fn of_travel(least: f64, greatest: f64, travel: Travel) -> Utilisation {
        Utilisation::of_margin((least - travel.lower).min(travel.upper - greatest), travel.upper - travel.lower)
    }

    /// Share of the limit, 1 at the limit; 0 or more.
    #[must_use]
    pub fn share(self) -> f64 {
        1.0 + self.beyond
    }

    /// True where the limit is exceeded.
    #[must_use]
    pub fn is_exceeded(self) -> bool {
        !(self.beyond <= SLACK)
    }

    /// The greater of two.
    #[must_use]
    pub(crate) fn max(self, other: Utilisation) -> Utilisation {
        if self.beyond.is_nan() || self.beyond >= other.beyond { self } else { other }
    }

    /// Thousandths of the limit as a whole number, at most 9,999: above 1,000 exactly where the limit is exceeded.
    #[must_use]
    pub(crate) fn thousandths(self) -> u32 {
        let n = (1000.0 * self.share()).round();
        if n.is_nan() {
            return 9_999;
        }
        let n = if self.is_exceeded() { n.max(1001.0) } else { n.min(1000.0) };
        crate::number::whole::nearest(n.min(9_999.0)).and_then(|n| u32::try_from(n).ok()).unwrap_or(9_999)
    }
}

/// Extremes of an axis on the stage's clock. Units: unit, unit/s^k; the instants stay those of the curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct PacedPeaks(Peaks);

impl PacedPeaks {
    /// Peaks per frame^k at a pace (seconds per frame), or per second^k at 1: time scaling is exact.
    #[must_use]
    pub(crate) fn new(peaks: &Peaks, seconds_per_frame: f64) -> PacedPeaks {
        let mut p = *peaks;
        p.velocity.value /= seconds_per_frame;
        p.acceleration.value /= seconds_per_frame * seconds_per_frame;
        p.jerk.value /= seconds_per_frame * seconds_per_frame * seconds_per_frame;
        PacedPeaks(p)
    }

    /// The extremes, in seconds.
    #[must_use]
    pub(crate) fn get(&self) -> &Peaks {
        &self.0
    }

    /// Greatest step rate of an axis. Unit: steps/s.
    #[must_use]
    pub(crate) fn step_rate(&self, axis: &Axis) -> f64 {
        self.0.velocity.value * axis.drive().steps_per_unit()
    }

    /// Utilisation of velocity, acceleration, jerk and step rate, where the axis has one.
    #[must_use]
    pub(crate) fn of_limits(&self, axis: &Axis) -> [Option<Utilisation>; 4] {
        let l = axis.limits();
        [
            Some(Utilisation::of(self.0.velocity.value, l.velocity)),
            Some(Utilisation::of(self.0.acceleration.value, l.acceleration)),
            Some(Utilisation::of(self.0.jerk.value, l.jerk)),
            l.step_rate.map(|rate| Utilisation::of(self.step_rate(axis), rate)),
        ]
    }

    /// Utilisation of the travel.
    #[must_use]
    pub(crate) fn of_travel(&self, axis: &Axis) -> Utilisation {
        Utilisation::of_travel(self.0.least.value, self.0.greatest.value, axis.travel())
    }

    /// True where travel, velocity, acceleration, jerk and step rate hold.
    #[must_use]
    pub(crate) fn are_within(&self, axis: &Axis) -> bool {
        !self.of_travel(axis).is_exceeded() && self.rates_are_within(axis)
    }

    /// True where velocity, acceleration, jerk and step rate hold: all that a slower pace can mend.
    #[must_use]
    pub(crate) fn rates_are_within(&self, axis: &Axis) -> bool {
        self.of_limits(axis).iter().flatten().all(|u| !u.is_exceeded())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_limit_is_exceeded_above_it_and_by_no_number() {
        assert!(!Utilisation::of(300.0, 300.0).is_exceeded());
        assert!(Utilisation::of(300.1, 300.0).is_exceeded());
        assert_eq!(Utilisation::of(75.0, 300.0).share(), 0.25);
        assert_eq!(Utilisation::of_margin(-2.0, 8.0).share(), 1.25);
        assert!(Utilisation::of(f64::NAN, 300.0).is_exceeded());
    }

    #[test]
    fn a_limit_is_exceeded_from_a_billionth_on() {
        for limit in [3.297_706_775_5, 1e-12, 1.0, 7e8] {
            for (times, exceeded) in [(0.0, false), (1.0 - 1e-12, false), (1.0, false), (1.0 + 1e-10, false), (1.0 + 1e-8, true)] {
                assert_eq!(Utilisation::of(limit * times, limit).is_exceeded(), exceeded, "{limit} x {times}");
                let margin = limit * (1.0 - times);
                assert_eq!(Utilisation::of_margin(margin, limit).is_exceeded(), exceeded, "margin {margin} of {limit}");
            }
        }
        assert!(Utilisation::of(1.0, 0.0).is_exceeded() && !Utilisation::of(0.0, 0.0).is_exceeded());
        assert!(Utilisation::JUST_EXCEEDED.is_exceeded());
        assert!(Utilisation::of(f64::INFINITY, 1.0).is_exceeded() && Utilisation::of_margin(f64::NAN, 1.0).is_exceeded());
    }

    #[test]
    fn thousandths_pass_a_thousand_exactly_where_a_limit_is_exceeded() {
        let of = |x: f64| Utilisation::of(x, 1.0).thousandths();
        assert_eq!([0.0, 0.5, 0.9996, 1.0, 1.0 + 1e-10].map(of), [0, 500, 1000, 1000, 1000]);
        assert_eq!([1.000_001, 1.5, 50.0, f64::INFINITY, f64::NAN].map(of), [1001, 1500, 9999, 9999, 9999]);
    }

    #[test]
    fn nan_is_the_greater_of_two() {
        let (nan, half) = (Utilisation::of(f64::NAN, 1.0), Utilisation::of(0.5, 1.0));
        assert!(nan.max(half).is_exceeded() && half.max(nan).is_exceeded());
    }
}
