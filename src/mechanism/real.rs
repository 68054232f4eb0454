//! What a formula of this module may be computed with: a plain number, or a jet that carries three derivatives.
//!
//! Invariant: every function named here is one of `crate::number`, so that a formula has the same bits on every machine. The
//! tests add a third kind, the dual numbers of the `num-dual` crate, as an independent oracle for the derivatives.

use core::ops::{Add, Div, Mul, Neg, Sub};

use crate::number::{Jet, elementary};

/// A number that formulas of geometry can be computed with.
pub trait Real:
    Copy + Add<Output = Self> + Sub<Output = Self> + Mul<Output = Self> + Div<Output = Self> + Neg<Output = Self> + core::fmt::Debug
{
    /// A quantity that does not move.
    #[must_use]
    fn constant(value: f64) -> Self;
    /// The value without its derivatives.
    #[must_use]
    fn value(self) -> f64;
    /// The quantity times a plain number.
    #[must_use]
    fn times(self, factor: f64) -> Self;
    /// Sine of an angle in radians.
    #[must_use]
    fn sine(self) -> Self;
    /// Cosine of an angle in radians.
    #[must_use]
    fn cosine(self) -> Self;
    /// Both of an angle in radians: what takes one of them for derivatives anyway gives the other with it.
    #[must_use]
    fn sine_and_cosine(self) -> (Self, Self) {
        (self.sine(), self.cosine())
    }
    /// Square root.
    #[must_use]
    fn sqrt(self) -> Self;
    /// Angle in radians, -pi to pi, of the point (`x`, `self`).
    #[must_use]
    fn atan2(self, x: Self) -> Self;

    /// Degrees to radians.
    #[must_use]
    fn to_radians_of_degrees(self) -> Self {
        self.times(elementary::TURN / 360.0)
    }

    /// Radians to degrees.
    #[must_use]
    fn to_degrees_of_radians(self) -> Self {
        self.times(360.0 / elementary::TURN)
    }
}

impl Real for f64 {
    fn constant(value: f64) -> Self {
        value
    }
    fn value(self) -> f64 {
        self
    }
    fn times(self, factor: f64) -> Self {
        self * factor
    }
    fn sine(self) -> Self {
        elementary::sin(self)
    }
    fn cosine(self) -> Self {
        elementary::cos(self)
    }
    fn sqrt(self) -> Self {
        self.sqrt()
    }
    fn atan2(self, x: Self) -> Self {
        elementary::atan2(self, x)
    }
}

impl Real for Jet {
    fn constant(value: f64) -> Self {
        Jet::constant(value)
    }
    fn value(self) -> f64 {
        self.p
    }
    fn times(self, factor: f64) -> Self {
        self * factor
    }
    fn sine(self) -> Self {
        self.sin()
    }
    fn cosine(self) -> Self {
        self.cos()
    }
    fn sine_and_cosine(self) -> (Self, Self) {
        self.sin_and_cos()
    }
    fn sqrt(self) -> Self {
        self.sqrt()
    }
    fn atan2(self, x: Self) -> Self {
        self.atan2(x)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::indexing_slicing, reason = "tests")]
pub(super) mod oracle {
    //! The third kind of number, and the comparison of jets with it, for the tests of this module.

    use num_dual::{Dual3, Dual3_64, DualNum};

    use super::Real;
    use crate::number::Jet;

    impl Real for Dual3_64 {
        fn constant(value: f64) -> Self {
            Dual3::from_re(value)
        }
        fn value(self) -> f64 {
            self.re
        }
        fn times(self, factor: f64) -> Self {
            self * factor
        }
        fn sine(self) -> Self {
            DualNum::sin(&self)
        }
        fn cosine(self) -> Self {
            DualNum::cos(&self)
        }
        fn sqrt(self) -> Self {
            DualNum::sqrt(&self)
        }
        fn atan2(self, x: Self) -> Self {
            DualNum::atan2(&self, x)
        }
    }

    /// The same moving quantity for both libraries.
    pub(in crate::mechanism) fn both(p: f64, v: f64, a: f64, j: f64) -> (Jet, Dual3_64) {
        (Jet { p, v, a, j }, Dual3::new(p, v, a, j))
    }

    /// All four numbers agree, to `rounding` of the size of the numbers that were added up.
    pub(in crate::mechanism) fn same(mine: Jet, theirs: Dual3_64, rounding: f64) {
        for (m, t) in [(mine.p, theirs.re), (mine.v, theirs.v1), (mine.a, theirs.v2), (mine.j, theirs.v3)] {
            assert!((m - t).abs() <= rounding * (1.0 + t.abs()), "{mine:?} {theirs:?}");
        }
    }

    /// All four numbers of two jets agree, to `rounding` of `size`.
    pub(in crate::mechanism) fn close(one: Jet, other: Jet, rounding: f64) {
        for (m, t) in [(one.p, other.p), (one.v, other.v), (one.a, other.a), (one.j, other.j)] {
            assert!((m - t).abs() <= rounding * (1.0 + t.abs()), "{one:?} {other:?}");
        }
    }
}
