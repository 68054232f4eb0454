//! One piece of a curve: a polynomial of degree five in its own local time.
//!
//! Local time u runs from 0 to 1 over the piece, whatever its length in frames: so coefficients have the size of the
//! motion, no large powers of an absolute time cancel, and scaling every length by a power of two scales the bits.
//! Source of the end-condition formulas: elementary algebra (six conditions, six coefficients); checked in the tests.

use crate::number::Jet;

/// Position over local time u in 0..=1: `c0 + c1 u + ... + c5 u^5`. Unit: that of the motion (mm or deg).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Quintic(pub [f64; 6]);

/// Position, velocity and acceleration at one end of a piece. Units: unit, unit/frame, unit/frame^2.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Node {
    /// Position.
    pub p: f64,
    /// Velocity.
    pub v: f64,
    /// Acceleration.
    pub a: f64,
}

impl Node {
    /// Standing still at `p`.
    #[must_use]
    pub const fn rest(p: f64) -> Self {
        Node { p, v: 0.0, a: 0.0 }
    }
}

impl From<Jet> for Node {
    fn from(jet: Jet) -> Self {
        Node { p: jet.p, v: jet.v, a: jet.a }
    }
}

impl Quintic {
    /// A piece that stands still at `p`.
    #[must_use]
    pub const fn hold(p: f64) -> Self {
        Quintic([p, 0.0, 0.0, 0.0, 0.0, 0.0])
    }

    /// The one quintic that meets position, velocity and acceleration at both ends of a piece `h` frames long.
    ///
    /// Between equal resting ends every higher coefficient is exactly zero, so a hold cannot dither.
    #[must_use]
    pub fn between(from: Node, to: Node, h: f64) -> Self {
        let d = to.p - from.p;
        let (v0, v1) = (from.v * h, to.v * h);
        let (a0, a1) = (from.a * h * h, to.a * h * h);
        Quintic([
            from.p,
            v0,
            0.5 * a0,
            10.0 * d - 6.0 * v0 - 4.0 * v1 - 0.5 * (3.0 * a0 - a1),
            -15.0 * d + 8.0 * v0 + 7.0 * v1 + 0.5 * (3.0 * a0 - 2.0 * a1),
            6.0 * d - 3.0 * (v0 + v1) - 0.5 * (a0 - a1),
        ])
    }

    /// Position at local time `u`. At 0 this is the first coefficient bit for bit.
    #[must_use]
    pub fn at(&self, u: f64) -> f64 {
        let [c0, c1, c2, c3, c4, c5] = self.0;
        c0 + u * (c1 + u * (c2 + u * (c3 + u * (c4 + u * c5))))
    }

    /// Position and its derivatives by frame time at local time `u` of a piece `h` frames long.
    #[must_use]
    pub fn jet(&self, u: f64, h: f64) -> Jet {
        let [_, c1, c2, c3, c4, c5] = self.0;
        let r = 1.0 / h;
        let v = c1 + u * (2.0 * c2 + u * (3.0 * c3 + u * (4.0 * c4 + u * (5.0 * c5))));
        let a = 2.0 * c2 + u * (6.0 * c3 + u * (12.0 * c4 + u * (20.0 * c5)));
        let j = 6.0 * c3 + u * (24.0 * c4 + u * (60.0 * c5));
        Jet { p: self.at(u), v: v * r, a: a * r * r, j: j * r * r * r }
    }

    /// Coefficients of velocity in local time (unit per piece), degree four.
    #[must_use]
    pub(crate) fn velocity(&self) -> [f64; 5] {
        let [_, c1, c2, c3, c4, c5] = self.0;
        [c1, 2.0 * c2, 3.0 * c3, 4.0 * c4, 5.0 * c5]
    }

    /// Coefficients of acceleration in local time (unit per piece^2), degree three.
    #[must_use]
    pub(crate) fn acceleration(&self) -> [f64; 4] {
        let [_, _, c2, c3, c4, c5] = self.0;
        [2.0 * c2, 6.0 * c3, 12.0 * c4, 20.0 * c5]
    }

    /// Coefficients of jerk in local time (unit per piece^3), degree two.
    #[must_use]
    pub(crate) fn jerk(&self) -> [f64; 3] {
        let [_, _, _, c3, c4, c5] = self.0;
        [6.0 * c3, 24.0 * c4, 60.0 * c5]
    }

    /// True where the piece stands still: every coefficient after the first is exactly zero.
    #[must_use]
    pub(crate) fn is_hold(&self) -> bool {
        let [_, rest @ ..] = self.0;
        rest.iter().all(|c| *c == 0.0)
    }

    /// The part of the piece from local time `from` to `to`, as a piece of its own (Taylor's formula at `from`).
    #[must_use]
    pub(crate) fn part(&self, from: f64, to: f64) -> Self {
        self.stretch(from, to - from)
    }

    /// The stretch of the piece that begins at local time `from` and is `width` of it long, as a piece of its own.
    #[must_use]
    pub(crate) fn stretch(&self, from: f64, width: f64) -> Self {
        let [c0, c1, c2, c3, c4, c5] = self.0;
        let (x, w) = (from, width);
        if self.is_hold() {
            return *self;
        }
        let p = self.at(x);
        let d1 = c1 + x * (2.0 * c2 + x * (3.0 * c3 + x * (4.0 * c4 + x * (5.0 * c5))));
        let d2 = c2 + x * (3.0 * c3 + x * (6.0 * c4 + x * (10.0 * c5)));
        let d3 = c3 + x * (4.0 * c4 + x * (10.0 * c5));
        let d4 = c4 + x * (5.0 * c5);
        let w2 = w * w;
        if from == 0.0 {
            return Quintic([c0, d1 * w, d2 * w2, d3 * w2 * w, d4 * w2 * w2, c5 * w2 * w2 * w]);
        }
        Quintic([p, d1 * w, d2 * w2, d3 * w2 * w, d4 * w2 * w2, c5 * w2 * w2 * w])
    }

    /// Every coefficient times `k`.
    #[must_use]
    pub(crate) fn scaled(&self, k: f64) -> Self {
        Quintic(self.0.map(|c| c * k))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_piece_meets_its_six_end_conditions() {
        let from = Node { p: 3.0, v: -0.5, a: 0.25 };
        let to = Node { p: 11.0, v: 1.5, a: -0.75 };
        let h = 8.0;
        let q = Quintic::between(from, to, h);
        let (s, e) = (q.jet(0.0, h), q.jet(1.0, h));
        assert_eq!(Node::from(s), from);
        // Sums of six terms of at most 15 x 8: 2^-46 of that bounds their rounding.
        for (got, want) in [(e.p, to.p), (e.v, to.v), (e.a, to.a)] {
            assert!((got - want).abs() < 120.0 * 1.5e-14, "{got} {want}");
        }
    }

    #[test]
    fn trap_a_hold_between_equal_keys_never_dithers() {
        let q = Quintic::between(Node::rest(0.35), Node::rest(0.35), 17.0);
        assert!(q.is_hold());
        for i in 0..=1000 {
            assert_eq!(q.at(f64::from(i) / 1000.0).to_bits(), 0.35_f64.to_bits());
        }
    }

    #[test]
    fn a_part_is_the_same_polynomial() {
        let q = Quintic([1.0, -2.0, 3.0, 5.0, -7.0, 2.0]);
        let part = q.part(0.25, 0.75);
        for i in 0..=16 {
            let u = f64::from(i) / 16.0;
            assert!((part.at(u) - q.at(0.25 + 0.5 * u)).abs() < 1e-14);
        }
    }
}
