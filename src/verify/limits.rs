//! Whether any curve under an axis's limits could have made these counts.
//!
//! What: the k-th difference of a function over unit steps is its k-th derivative somewhere in between (mean value theorem for divided differences, any numerical
//! analysis textbook), so it cannot be larger than the limit of that derivative. Rounding to whole steps adds at most 2^(k-1):
//! half a step times the sum of the binomial factors. What is over limit and rounding together, no curve under the limits has made.
//! Limits: one-sided. Counts that pass may still come from a curve over a limit between frames; that is proven by the check, on the curve.

use super::oracle::steps_per_unit;
use crate::stage::Axis;

/// Comparisons of sums and products of a few roundings; the slack of the check itself.
const SLACK: f64 = 1e-9;

/// The last counts of one axis in one moving pass.
#[derive(Debug)]
pub(super) struct History {
    /// Most steps a frame, a frame^2, a frame^3.
    most: [f64; 3],
    last: [Option<f64>; 3],
}

impl History {
    /// An axis whose counts are so many seconds apart.
    pub(super) fn new(axis: &Axis, pace: f64) -> History {
        let (l, per_unit) = (axis.limits(), steps_per_unit(axis));
        let velocity = (l.velocity * per_unit).min(l.step_rate.unwrap_or(f64::INFINITY));
        let most = [velocity * pace, l.acceleration * per_unit * pace * pace, l.jerk * per_unit * pace * pace * pace];
        History { most, last: [None; 3] }
    }

    /// Takes in the count of the next frame; what it shows to be over a limit, in words.
    pub(super) fn next(&mut self, count: i64) -> Option<String> {
        let now = count as f64;
        let [a, b, c] = self.last;
        self.last = [Some(now), a, b];
        let first = a.map(|a| now - a);
        let second = a.zip(b).map(|(a, b)| now - 2.0 * a + b);
        let third = a.zip(b).zip(c).map(|((a, b), c)| now - 3.0 * a + 3.0 * b - c);
        let names = ["velocity", "acceleration", "jerk"];
        let noise = [1.0, 2.0, 4.0];
        [first, second, third].into_iter().zip(self.most).zip(names.into_iter().zip(noise)).find_map(
            |((difference, most), (name, noise))| {
                let size = difference?.abs();
                (!(size <= most * (1.0 + SLACK) + noise)).then(|| {
                    format!("changes by {size} in the difference for {name}; the limit allows {most:.3} steps and rounding {noise}")
                })
            },
        )
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::stage::{AxisSpec, Unit};

    #[test]
    fn counts_at_the_limit_pass_and_one_more_does_not() {
        // 200 steps per 360 mm: 1.8 mm a step. 18 mm/s at 1 s a frame: 10 steps a frame, and one for rounding.
        let axis = Axis::new(AxisSpec::new("track", Unit::Millimetre, [0.0, 9000.0], [18.0, 1e6, 1e6])).unwrap();
        let mut h = History::new(&axis, 1.0);
        assert_eq!(h.next(0), None);
        assert_eq!(h.next(11), None);
        assert!(h.next(23).unwrap().contains("velocity"));
        let axis = Axis::new(AxisSpec::new("track", Unit::Millimetre, [0.0, 9000.0], [1e6, 18.0, 1e6])).unwrap();
        let mut h = History::new(&axis, 1.0);
        assert_eq!([0, 50, 112, 187].map(|n| h.next(n).is_some()), [false, false, false, true]);
    }
}
