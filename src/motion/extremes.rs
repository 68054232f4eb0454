//! Exact extremes of a curve's position, velocity, acceleration and jerk.
//!
//! What: on each piece the extremes of a derivative lie at the ends, taken from either side, or where the next derivative is zero.
//! The zeros come from [`super::bernstein`], which misses none; a piece whose coefficient hull cannot beat what is known is left
//! without looking for zeros at all (the hull holds every value: convex hull property of the Bernstein basis). No sampling.
//! Limits: relative error of a peak is a few 2^-50 of the piece's coefficients.

use super::bernstein::{self, Bernstein};
use super::curve::{Curve, Piece};

/// A value and the frame time at which it is taken.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Extreme {
    /// The value; for the peaks of derivatives its absolute value.
    pub value: f64,
    /// Frame time.
    pub at: f64,
}

/// The extremes of a stretch of curve. Units: unit, unit/frame, unit/frame^2, unit/frame^3.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Peaks {
    /// Least position.
    pub least: Extreme,
    /// Greatest position.
    pub greatest: Extreme,
    /// Greatest speed, absolute.
    pub velocity: Extreme,
    /// Greatest acceleration, absolute.
    pub acceleration: Extreme,
    /// Greatest jerk, absolute.
    pub jerk: Extreme,
}

impl Peaks {
    /// Nothing seen yet.
    const NONE: Peaks = {
        let zero = Extreme { value: -1.0, at: f64::NAN };
        Peaks {
            least: Extreme { value: f64::INFINITY, at: f64::NAN },
            greatest: Extreme { value: f64::NEG_INFINITY, at: f64::NAN },
            velocity: zero,
            acceleration: zero,
            jerk: zero,
        }
    };

    /// Extremes of the pieces `range` of `curve`; `None` where the range holds no piece.
    #[must_use]
    pub(crate) fn of(curve: &Curve, range: core::ops::Range<usize>) -> Option<Peaks> {
        let mut peaks = Peaks::NONE;
        let n = range.len();
        for piece in curve.pieces().skip(range.start).take(n) {
            peaks.take_in(&piece, piece.index + 1 == range.end || piece.index + 1 == curve.len());
        }
        peaks.velocity.at.is_finite().then_some(peaks)
    }

    /// Least and greatest position of the pieces `range`, a part of the pieces whose extremes are `whole`; `None` where the range holds no piece.
    #[must_use]
    pub(crate) fn positions(curve: &Curve, range: core::ops::Range<usize>, whole: &Peaks) -> Option<[Extreme; 2]> {
        // No derivative is greater than in the whole: none is looked for.
        let mut peaks = Peaks { least: Peaks::NONE.least, greatest: Peaks::NONE.greatest, ..*whole };
        for piece in curve.pieces().skip(range.start).take(range.len()) {
            peaks.take_in(&piece, piece.index + 1 == range.end || piece.index + 1 == curve.len());
        }
        peaks.least.at.is_finite().then_some([peaks.least, peaks.greatest])
    }

    /// Extremes of one piece.
    #[must_use]
    pub(crate) fn of_piece(piece: &Piece<'_>) -> Peaks {
        let mut peaks = Peaks::NONE;
        peaks.take_in(piece, true);
        peaks
    }

    /// The same with each of `other`'s extremes where it is further out; of equals, the earlier.
    #[must_use]
    pub(crate) fn joined(mut self, other: &Peaks) -> Peaks {
        low(&mut self.least, other.least.value, other.least.at);
        high(&mut self.greatest, other.greatest.value, other.greatest.at);
        high(&mut self.velocity, other.velocity.value, other.velocity.at);
        high(&mut self.acceleration, other.acceleration.value, other.acceleration.at);
        high(&mut self.jerk, other.jerk.value, other.jerk.at);
        self
    }

    fn take_in(&mut self, piece: &Piece<'_>, is_last: bool) {
        let q = piece.quintic;
        let [c0, c1, c2, c3, c4, c5] = q.0;
        let h = piece.length();
        let (start, end) = (piece.start, piece.end);
        low(&mut self.least, c0, start);
        high(&mut self.greatest, c0, start);
        if q.is_hold() {
            high(&mut self.velocity, 0.0, start);
            high(&mut self.acceleration, 0.0, start);
            high(&mut self.jerk, 0.0, start);
            return;
        }
        // Position is continuous, and the piece that begins at a knot has it bit for bit: the end of this one counts only where it is the last.
        if is_last {
            let p1 = q.at(1.0);
            low(&mut self.least, p1, end);
            high(&mut self.greatest, p1, end);
        }
        let frame = |u: f64| start + u * h;
        let (r1, r2, r3) = (1.0 / h, 1.0 / (h * h), 1.0 / (h * h * h));

        // Jerk: quadratic; one turning point.
        let [j0, j1, j2] = q.jerk();
        high(&mut self.jerk, j0.abs() * r3, start);
        high(&mut self.jerk, (j0 + j1 + j2).abs() * r3, end);
        let turn = -j1 / (2.0 * j2);
        if 0.0 < turn && turn < 1.0 {
            high(&mut self.jerk, (j0 + turn * (j1 + turn * j2)).abs() * r3, frame(turn));
        }

        // Acceleration: cubic; turning points are the zeros of jerk.
        let [a0, a1, a2, a3] = q.acceleration();
        high(&mut self.acceleration, a0.abs() * r2, start);
        high(&mut self.acceleration, (a0 + a1 + a2 + a3).abs() * r2, end);
        let (lo, hi) = Bernstein::from_power([a0, a1, a2, a3, 0.0]).hull();
        if lo.abs().max(hi.abs()) * r2 > self.acceleration.value {
            bernstein::roots([j0, j1, j2, 0.0, 0.0], &mut |u| {
                high(&mut self.acceleration, (a0 + u * (a1 + u * (a2 + u * a3))).abs() * r2, frame(u));
            });
        }

        // Velocity: quartic; turning points are the zeros of acceleration.
        let [v0, v1, v2, v3, v4] = q.velocity();
        high(&mut self.velocity, v0.abs() * r1, start);
        high(&mut self.velocity, (v0 + v1 + v2 + v3 + v4).abs() * r1, end);
        let speed = Bernstein::from_power([v0, v1, v2, v3, v4]);
        let (lo, hi) = speed.hull();
        if lo.abs().max(hi.abs()) * r1 > self.velocity.value {
            bernstein::roots([a0, a1, a2, a3, 0.0], &mut |u| {
                high(&mut self.velocity, (v0 + u * (v1 + u * (v2 + u * (v3 + u * v4)))).abs() * r1, frame(u));
            });
        }

        // Position: between turning points lie only the ends, unless velocity changes sign.
        // No position is further from the start than the piece's greatest speed (per piece) times its length of one.
        let reach = lo.abs().max(hi.abs());
        if lo < 0.0 && hi > 0.0 && (c0 + reach > self.greatest.value || c0 - reach < self.least.value) {
            bernstein::roots([v0, v1, v2, v3, v4], &mut |u| {
                let p = c0 + u * (c1 + u * (c2 + u * (c3 + u * (c4 + u * c5))));
                low(&mut self.least, p, frame(u));
                high(&mut self.greatest, p, frame(u));
            });
        }
    }
}

fn high(best: &mut Extreme, value: f64, at: f64) {
    if value > best.value {
        *best = Extreme { value, at };
    }
}

fn low(best: &mut Extreme, value: f64, at: f64) {
    if value < best.value {
        *best = Extreme { value, at };
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::motion::curve::CurveBuilder;
    use crate::motion::quintic::{Node, Quintic};
    use proptest::prelude::*;

    fn unit(q: Quintic) -> Peaks {
        let mut b = CurveBuilder::starting_at(0.0, 1);
        b.push(1.0, q);
        Peaks::of(&b.finish().unwrap(), 0..1).unwrap()
    }

    /// T. Flash, N. Hogan, J. Neurosci. 5(7) 1985; peak coefficients as printed on the page "Smooth steps and minimal jerk",
    /// Radboud University, 2020: 1.875, 10/sqrt 3 (5.77), +60, -30 at the middle.
    #[test]
    fn minimum_jerk_peaks_are_the_published_ones() {
        let p = unit(Quintic::between(Node::rest(0.0), Node::rest(1.0), 1.0));
        assert!((p.velocity.value - 1.875).abs() < 1e-14);
        assert!((p.velocity.at - 0.5).abs() < 1e-12);
        assert!((p.acceleration.value - 10.0 / 3.0_f64.sqrt()).abs() < 1e-13);
        // Equal peaks stand at (3 - sqrt 3)/6 and mirrored at (3 + sqrt 3)/6.
        assert!(((p.acceleration.at - 0.5).abs() - 3.0_f64.sqrt() / 6.0).abs() < 1e-12);
        assert_eq!(p.jerk.value, 60.0);
        assert_eq!((p.least.value, p.greatest.value), (0.0, 1.0));
    }

    /// K. M. Lynch, F. C. Park, Modern Robotics (CUP 2017), 9.2.2.1: acceleration 6/T^2 at the start; 3/2 from memory.
    #[test]
    fn cubic_time_scaling_peaks_are_the_published_ones() {
        let p = unit(Quintic([0.0, 0.0, 3.0, -2.0, 0.0, 0.0]));
        assert_eq!(p.acceleration.value, 6.0);
        assert_eq!(p.velocity.value, 1.5);
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 1000, ..ProptestConfig::default() })]
        #[test]
        fn positions_of_a_part_are_the_same_where_nothing_else_is_looked_for(
            nodes in prop::collection::vec((-100.0..100.0_f64, -90.0..90.0_f64), 4),
            (from, to) in (0..4_usize, 0..4_usize),
        ) {
            let nodes: Vec<Node> = nodes.iter().map(|(p, v)| Node { p: *p, v: *v, a: 0.0 }).collect();
            let mut b = CurveBuilder::starting_at(0.0, 3);
            for (end, pair) in [1.0, 2.0, 3.0].into_iter().zip(nodes.windows(2)) {
                b.push(end, Quintic::between(*pair.first().unwrap(), *pair.last().unwrap(), 1.0));
            }
            let curve = b.finish().unwrap();
            let whole = Peaks::of(&curve, 0..3).unwrap();
            let found = Peaks::positions(&curve, from..to, &whole);
            prop_assert_eq!(found, Peaks::of(&curve, from..to).map(|p| [p.least, p.greatest]));
        }

        /// A parabola hides at most curvature x gap^2 / 8 between samples: the derivation of the second bound.
        #[test]
        fn dense_sampling_never_exceeds_a_peak_and_comes_close(
            c in prop::array::uniform6(-100.0..100.0_f64),
            h in 0.1..50.0_f64,
        ) {
            let q = Quintic(c);
            let mut b = CurveBuilder::starting_at(3.0, 1);
            b.push(3.0 + h, q);
            let curve = b.finish().unwrap();
            let h = curve.end() - curve.start();
            let p = Peaks::of(&curve, 0..1).unwrap();
            let n = 512;
            let mut s = Peaks::NONE;
            for i in 0..=n {
                let u = f64::from(i) / f64::from(n);
                let j = q.jet(u, h);
                low(&mut s.least, j.p, u);
                high(&mut s.greatest, j.p, u);
                high(&mut s.velocity, j.v.abs(), u);
                high(&mut s.acceleration, j.a.abs(), u);
                high(&mut s.jerk, j.j.abs(), u);
            }
            let size: f64 = q.0.iter().map(|c| c.abs()).sum();
            // Fifth-degree derivatives have factors up to 120; rounding of their sums is below 2^-46 of that.
            let eps = size * 120.0 * 1.5e-14;
            let gap = 1.0 / f64::from(n);
            let hidden = size * 120.0 * gap * gap / 8.0;
            for (peak, seen, k) in [
                (p.greatest.value, s.greatest.value, 1.0), (-p.least.value, -s.least.value, 1.0),
                (p.velocity.value, s.velocity.value, h), (p.acceleration.value, s.acceleration.value, h * h),
                (p.jerk.value, s.jerk.value, h * h * h),
            ] {
                prop_assert!(seen * k <= peak * k + eps, "{seen} over {peak}");
                prop_assert!(peak * k <= seen * k + hidden + eps, "{peak} far above {seen}");
            }
        }
    }
}
