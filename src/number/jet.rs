//! A value with its first three derivatives by frame time, carried exactly through formulas.
//!
//! What: third-order forward differentiation by the chain and product rules (any calculus textbook; Faa di Bruno for the
//! composition). Checked in the tests against the `num-dual` crate. Limits: as those of f64; nothing is clamped, a division by
//! zero shows as an infinity or NaN and is refused where signals are compiled.

use core::ops::{Add, Div, Mul, Neg, Sub};

use super::elementary;

/// Value, velocity, acceleration and jerk of a quantity. Units: the quantity's unit, per frame, per frame^2, per frame^3.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Jet {
    /// Value.
    pub p: f64,
    /// First derivative by frame time.
    pub v: f64,
    /// Second derivative.
    pub a: f64,
    /// Third derivative.
    pub j: f64,
}

impl Jet {
    /// A quantity that does not move.
    #[must_use]
    pub const fn constant(p: f64) -> Self {
        Jet { p, v: 0.0, a: 0.0, j: 0.0 }
    }

    /// Frame time itself at `t`: derivative one.
    #[must_use]
    pub const fn time(t: f64) -> Self {
        Jet { p: t, v: 1.0, a: 0.0, j: 0.0 }
    }

    /// `f(self)` where `f` has the value `f0` and the derivatives `f1`, `f2`, `f3` at `self.p`.
    #[must_use]
    pub fn through(self, f0: f64, f1: f64, f2: f64, f3: f64) -> Self {
        let Jet { v, a, j, .. } = self;
        Jet { p: f0, v: f1 * v, a: f2 * v * v + f1 * a, j: f3 * v * v * v + 3.0 * f2 * v * a + f1 * j }
    }

    /// Sine of an angle in radians.
    #[must_use]
    pub fn sin(self) -> Self {
        self.sin_and_cos().0
    }

    /// Cosine of an angle in radians.
    #[must_use]
    pub fn cos(self) -> Self {
        self.sin_and_cos().1
    }

    /// Sine and cosine of an angle in radians.
    #[must_use]
    pub(crate) fn sin_and_cos(self) -> (Self, Self) {
        let (s, c) = elementary::sin_and_cos(self.p);
        (self.through(s, c, -s, -c), self.through(c, -s, -c, s))
    }

    /// Square root; derivatives are infinite at zero.
    #[must_use]
    pub fn sqrt(self) -> Self {
        let r = self.p.sqrt();
        let d1 = 0.5 / r;
        let d2 = -0.5 * d1 / self.p;
        let d3 = -1.5 * d2 / self.p;
        self.through(r, d1, d2, d3)
    }

    /// One over the value.
    #[must_use]
    pub fn recip(self) -> Self {
        let r = 1.0 / self.p;
        let r2 = r * r;
        self.through(r, -r2, 2.0 * r2 * r, -6.0 * r2 * r2)
    }

    /// Angle in radians of the point (`x`, `self`), -pi to pi.
    #[must_use]
    pub fn atan2(self, x: Jet) -> Self {
        // The angle's derivative is (x y' - y x') / (x^2 + y^2); its own derivatives follow from jets of one order less.
        let y = self;
        let rate = (x * y.derivative() - y * x.derivative()) / (x * x + y * y);
        Jet { p: elementary::atan2(y.p, x.p), v: rate.p, a: rate.v, j: rate.a }
    }

    /// Angle in radians whose cosine is the value; derivatives are infinite at -1 and 1.
    #[must_use]
    pub fn acos(self) -> Self {
        let across = (Jet::constant(1.0) - self * self).sqrt();
        let mut angle = across.atan2(self);
        angle.p = elementary::acos(self.p);
        angle
    }

    /// Angle in radians whose sine is the value; derivatives are infinite at -1 and 1.
    #[must_use]
    pub fn asin(self) -> Self {
        let along = (Jet::constant(1.0) - self * self).sqrt();
        let mut angle = self.atan2(along);
        angle.p = elementary::asin(self.p);
        angle
    }

    /// True where all four numbers are finite.
    #[must_use]
    pub fn is_finite(self) -> bool {
        self.p.is_finite() && self.v.is_finite() && self.a.is_finite() && self.j.is_finite()
    }

    /// The derivative as a jet; its third derivative is unknown and set to zero, and must not be read.
    fn derivative(self) -> Self {
        Jet { p: self.v, v: self.a, a: self.j, j: 0.0 }
    }
}

impl Add for Jet {
    type Output = Jet;
    fn add(self, o: Jet) -> Jet {
        Jet { p: self.p + o.p, v: self.v + o.v, a: self.a + o.a, j: self.j + o.j }
    }
}

impl Sub for Jet {
    type Output = Jet;
    fn sub(self, o: Jet) -> Jet {
        Jet { p: self.p - o.p, v: self.v - o.v, a: self.a - o.a, j: self.j - o.j }
    }
}

impl Neg for Jet {
    type Output = Jet;
    fn neg(self) -> Jet {
        Jet { p: -self.p, v: -self.v, a: -self.a, j: -self.j }
    }
}

impl Mul for Jet {
    type Output = Jet;
    fn mul(self, o: Jet) -> Jet {
        Jet {
            p: self.p * o.p,
            v: self.v * o.p + self.p * o.v,
            a: self.a * o.p + 2.0 * self.v * o.v + self.p * o.a,
            j: self.j * o.p + 3.0 * (self.a * o.v + self.v * o.a) + self.p * o.j,
        }
    }
}

impl Div for Jet {
    type Output = Jet;
    #[allow(clippy::suspicious_arithmetic_impl, reason = "division is multiplication by the reciprocal's jet")]
    fn div(self, o: Jet) -> Jet {
        let mut q = self * o.recip();
        q.p = self.p / o.p;
        q
    }
}

impl Add<f64> for Jet {
    type Output = Jet;
    fn add(self, o: f64) -> Jet {
        Jet { p: self.p + o, ..self }
    }
}

impl Sub<f64> for Jet {
    type Output = Jet;
    fn sub(self, o: f64) -> Jet {
        Jet { p: self.p - o, ..self }
    }
}

impl Mul<f64> for Jet {
    type Output = Jet;
    fn mul(self, o: f64) -> Jet {
        Jet { p: self.p * o, v: self.v * o, a: self.a * o, j: self.j * o }
    }
}

impl Div<f64> for Jet {
    type Output = Jet;
    fn div(self, o: f64) -> Jet {
        Jet { p: self.p / o, v: self.v / o, a: self.a / o, j: self.j / o }
    }
}

impl Sub<Jet> for f64 {
    type Output = Jet;
    fn sub(self, o: Jet) -> Jet {
        Jet::constant(self) - o
    }
}

impl PartialOrd for Jet {
    /// By value alone, so that a jet can be looked up among key times.
    fn partial_cmp(&self, other: &Self) -> Option<core::cmp::Ordering> {
        self.p.partial_cmp(&other.p)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use num_dual::{Dual3, Dual3_64, DualNum};

    fn same(mine: Jet, theirs: Dual3_64) {
        for (m, t) in [(mine.p, theirs.re), (mine.v, theirs.v1), (mine.a, theirs.v2), (mine.j, theirs.v3)] {
            // Both sum a handful of products: a few ulps of the largest term, bounded here by the values' own size.
            assert!((m - t).abs() <= 1e-13 * (1.0 + t.abs()), "{m} {t}");
        }
    }

    fn both(p: f64, v: f64, a: f64, j: f64) -> (Jet, Dual3_64) {
        (Jet { p, v, a, j }, Dual3::new(p, v, a, j))
    }

    #[test]
    fn formulas_agree_with_an_independent_library() {
        let (x, dx) = both(0.4, 1.3, -0.7, 0.2);
        let (y, dy) = both(0.9, -0.2, 0.5, 1.1);
        same(x * y + x, dx * dy + dx);
        same(x / y, dx / dy);
        same(x.sin(), dx.sin());
        same(x.cos(), dx.cos());
        same(y.sqrt(), dy.sqrt());
        same(x.atan2(y), dx.atan2(dy));
        same(x.acos(), dx.acos());
        same(x.asin(), dx.asin());
        same((x * x + y).sqrt() * (x - y).cos(), (dx * dx + dy).sqrt() * (dx - dy).cos());
    }

    #[test]
    fn derivatives_of_a_polynomial_are_the_textbook_ones() {
        let t = Jet::time(2.0);
        assert_eq!(t * t * t, Jet { p: 8.0, v: 12.0, a: 12.0, j: 6.0 });
    }
}
