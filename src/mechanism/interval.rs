//! Ranges that certainly hold a quantity with its first two derivatives: formulas of geometry over a whole interval of time at once.
//!
//! What: interval arithmetic (R. E. Moore, Interval Analysis, 1966; from memory) carried through the same [`Real`] formulas that give
//! pictures and motors, with the chain rule for the derivatives. Invariant: for every moment of the interval the true value,
//! velocity and acceleration lie in the three ranges, up to the rounding of a few operations; whoever uses the ranges as a
//! proof takes an allowance for that rounding off, as the check of clearance does. What cannot be bounded is the whole line.

use core::ops::{Add, Div, Mul, Neg, Sub};

use super::real::Real;
use crate::number::elementary::{self, TURN};

/// All numbers from `lo` to `hi`; either may be infinite.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Range {
    /// Lower end.
    pub lo: f64,
    /// Upper end.
    pub hi: f64,
}

impl Range {
    /// Every number.
    pub const WHOLE: Range = Range { lo: f64::NEG_INFINITY, hi: f64::INFINITY };
    /// Zero alone.
    pub const ZERO: Range = Range { lo: 0.0, hi: 0.0 };

    /// From the lesser to the greater of two numbers; everything where one is no number.
    #[must_use]
    pub fn between(a: f64, b: f64) -> Self {
        if a <= b {
            Range { lo: a, hi: b }
        } else if b <= a {
            Range { lo: b, hi: a }
        } else {
            Range::WHOLE
        }
    }

    /// All numbers up to `size` from zero.
    #[must_use]
    pub fn around_zero(size: f64) -> Self {
        Range::between(-size, size)
    }

    /// The least range that holds both.
    #[must_use]
    pub fn joined(self, o: Range) -> Self {
        Range { lo: self.lo.min(o.lo), hi: self.hi.max(o.hi) }
    }

    /// The greatest absolute value.
    #[must_use]
    pub fn size(self) -> f64 {
        self.lo.abs().max(self.hi.abs())
    }

    /// The middle; not a number where an end is infinite.
    #[must_use]
    pub fn middle(self) -> f64 {
        0.5 * (self.lo + self.hi)
    }

    /// The squares.
    #[must_use]
    pub fn square(self) -> Self {
        let (a, b) = (self.lo * self.lo, self.hi * self.hi);
        let least = if self.lo <= 0.0 && 0.0 <= self.hi { 0.0 } else { a.min(b) };
        Range { lo: least, hi: a.max(b) }
    }

    fn times(self, k: f64) -> Self {
        Range::between(product(self.lo, k), product(self.hi, k))
    }

    fn recip(self) -> Self {
        if self.lo > 0.0 || self.hi < 0.0 { Range::between(1.0 / self.hi, 1.0 / self.lo) } else { Range::WHOLE }
    }

    fn sqrt(self) -> Self {
        if self.hi >= 0.0 { Range { lo: self.lo.max(0.0).sqrt(), hi: self.hi.sqrt() } } else { Range::WHOLE }
    }

    /// Sines of angles in radians: those of the ends, and 1 and -1 where a crest or a trough lies between.
    fn sine(self) -> Self {
        if !(self.hi - self.lo < TURN) {
            return Range { lo: -1.0, hi: 1.0 };
        }
        let ends = Range::between(elementary::sin(self.lo), elementary::sin(self.hi));
        let holds = |crest: f64| crest + TURN * ((self.lo - crest) / TURN).ceil() <= self.hi;
        let hi = if holds(0.25 * TURN) { 1.0 } else { ends.hi };
        let lo = if holds(-0.25 * TURN) { -1.0 } else { ends.lo };
        Range { lo, hi }
    }

    /// Angles of the points (`x`, `self`): at the corners, where the rectangle leaves out the origin and the line behind it.
    fn atan2(self, x: Range) -> Self {
        let ahead = x.lo > 0.0 || self.lo > 0.0 || self.hi < 0.0;
        if !ahead {
            return Range::around_zero(0.5 * TURN);
        }
        let at = elementary::atan2;
        Range::between(at(self.lo, x.lo), at(self.lo, x.hi)).joined(Range::between(at(self.hi, x.lo), at(self.hi, x.hi)))
    }
}

/// A bound times a bound: zero times an infinite bound is zero, since the quantity bounded is finite.
fn product(a: f64, b: f64) -> f64 {
    if a == 0.0 || b == 0.0 { 0.0 } else { a * b }
}

impl Add for Range {
    type Output = Range;
    fn add(self, o: Range) -> Range {
        Range { lo: self.lo + o.lo, hi: self.hi + o.hi }
    }
}

impl Sub for Range {
    type Output = Range;
    fn sub(self, o: Range) -> Range {
        Range { lo: self.lo - o.hi, hi: self.hi - o.lo }
    }
}

impl Mul for Range {
    type Output = Range;
    fn mul(self, o: Range) -> Range {
        let (a, b, c, d) = (self.lo * o.lo, self.lo * o.hi, self.hi * o.lo, self.hi * o.hi);
        // No number is zero times an infinite bound, here or in the sum: rare, so asked once.
        if ((a + b) + (c + d)).is_nan() {
            let by = |x: f64| Range::between(product(x, o.lo), product(x, o.hi));
            return by(self.lo).joined(by(self.hi));
        }
        let lesser = |a: f64, b: f64| if a < b { a } else { b };
        let greater = |a: f64, b: f64| if a > b { a } else { b };
        // Zero has one sign.
        Range { lo: lesser(lesser(a, b), lesser(c, d)) + 0.0, hi: greater(greater(a, b), greater(c, d)) + 0.0 }
    }
}

/// Ranges of a quantity, its velocity and its acceleration over an interval. Units: the quantity's, per frame, per frame^2.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct IntervalJet {
    /// The value.
    pub p: Range,
    /// First derivative.
    pub v: Range,
    /// Second derivative.
    pub a: Range,
}

impl IntervalJet {
    /// `f(self)` with the ranges of `f`, `f'` and `f''` over the values.
    #[must_use]
    pub fn through(self, f0: Range, f1: Range, f2: Range) -> Self {
        if self.is_still() {
            return IntervalJet { p: f0, v: Range::ZERO, a: Range::ZERO };
        }
        IntervalJet { p: f0, v: f1 * self.v, a: f2 * self.v.square() + f1 * self.a }
    }

    /// True where the value is a range and both derivatives are zero throughout: products with them are zero too, and need not be formed.
    fn is_still(self) -> bool {
        self.p.lo <= self.p.hi && self.v == Range::ZERO && self.a == Range::ZERO
    }

    fn recip(self) -> Self {
        let r = self.p.recip();
        let r2 = r.square();
        self.through(r, -r2, (r2 * r).times(2.0))
    }

    /// The derivative; its own second derivative is unknown.
    fn derivative(self) -> Self {
        IntervalJet { p: self.v, v: self.a, a: Range::WHOLE }
    }

    fn square(self) -> Self {
        self.through(self.p.square(), self.p.times(2.0), Range::between(2.0, 2.0))
    }
}

impl Neg for Range {
    type Output = Range;
    fn neg(self) -> Range {
        Range { lo: -self.hi, hi: -self.lo }
    }
}

impl Add for IntervalJet {
    type Output = IntervalJet;
    fn add(self, o: IntervalJet) -> IntervalJet {
        IntervalJet { p: self.p + o.p, v: self.v + o.v, a: self.a + o.a }
    }
}

impl Sub for IntervalJet {
    type Output = IntervalJet;
    fn sub(self, o: IntervalJet) -> IntervalJet {
        IntervalJet { p: self.p - o.p, v: self.v - o.v, a: self.a - o.a }
    }
}

impl Neg for IntervalJet {
    type Output = IntervalJet;
    fn neg(self) -> IntervalJet {
        IntervalJet { p: -self.p, v: -self.v, a: -self.a }
    }
}

impl Mul for IntervalJet {
    type Output = IntervalJet;
    fn mul(self, o: IntervalJet) -> IntervalJet {
        if self.is_still() && o.is_still() {
            return IntervalJet { p: self.p * o.p, v: Range::ZERO, a: Range::ZERO };
        }
        IntervalJet { p: self.p * o.p, v: self.v * o.p + self.p * o.v, a: self.a * o.p + (self.v * o.v).times(2.0) + self.p * o.a }
    }
}

impl Div for IntervalJet {
    type Output = IntervalJet;
    #[allow(clippy::suspicious_arithmetic_impl, reason = "division is multiplication by the reciprocal")]
    fn div(self, o: IntervalJet) -> IntervalJet {
        self * o.recip()
    }
}

impl Real for IntervalJet {
    fn constant(value: f64) -> Self {
        IntervalJet { p: Range::between(value, value), v: Range::ZERO, a: Range::ZERO }
    }

    /// The middle of the values: formulas read it only to refuse what is out of reach.
    fn value(self) -> f64 {
        self.p.middle()
    }

    fn times(self, factor: f64) -> Self {
        IntervalJet { p: self.p.times(factor), v: self.v.times(factor), a: self.a.times(factor) }
    }

    fn sine(self) -> Self {
        self.sine_and_cosine().0
    }

    fn cosine(self) -> Self {
        self.sine_and_cosine().1
    }

    fn sine_and_cosine(self) -> (Self, Self) {
        let (s, c) = (self.p.sine(), (self.p + Range::between(0.25 * TURN, 0.25 * TURN)).sine());
        (self.through(s, c, -s), self.through(c, -s, -c))
    }

    fn sqrt(self) -> Self {
        let r = self.p.sqrt();
        let d1 = r.recip().times(0.5);
        let d2 = (d1 * self.p.recip()).times(-0.5);
        let [d1, d2] = if r.lo > 0.0 { [d1, d2] } else { [Range::WHOLE, Range::WHOLE] };
        self.through(r, d1, d2)
    }

    fn atan2(self, x: Self) -> Self {
        // As for jets: the derivative is (x y' - y x') / (x^2 + y^2), and its own derivative follows one order lower.
        let y = self;
        let rate = (x * y.derivative() - y * x.derivative()) / (x.square() + y.square());
        IntervalJet { p: y.p.atan2(x.p), v: rate.p, a: rate.v }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::indexing_slicing, reason = "tests")]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::number::Jet;

    fn formula<T: Real>(x: T, y: T) -> [T; 5] {
        let two = T::constant(2.0);
        [x * y - x.times(0.3), x.sine() * y.cosine(), (x * x + y * y + two).sqrt(), x / (y * y + two), y.atan2(x * x + T::constant(0.1))]
    }

    proptest! {
        /// Whatever two quadratic motions do inside an interval, every formula's jet lies in its ranges; 1e-12 of their size is rounding.
        #[test]
        fn ranges_hold_every_moment(c in prop::array::uniform6(-2.0..2.0_f64), from in -1.0..1.0_f64, width in 0.0..1.0_f64, u in 0.0..1.0_f64) {
            let quadratic = |k: [f64; 3], t: f64| Jet { p: k[0] + t * (k[1] + t * k[2]), v: k[1] + 2.0 * t * k[2], a: 2.0 * k[2], j: 0.0 };
            let over = |k: [f64; 3]| {
                let (s, e) = (quadratic(k, from), quadratic(k, from + width));
                let v = Range::between(s.v, e.v);
                let p = Range { lo: s.p, hi: s.p } + Range { lo: v.lo.min(0.0) * width, hi: v.hi.max(0.0) * width };
                IntervalJet { p, v, a: Range::between(2.0 * k[2], 2.0 * k[2]) }
            };
            let (kx, ky) = ([c[0], c[1], c[2]], [c[3], c[4], c[5]]);
            let t = from + u * width;
            let (jets, ranges) = (formula(quadratic(kx, t), quadratic(ky, t)), formula(over(kx), over(ky)));
            for (j, w) in jets.into_iter().zip(ranges) {
                for (x, r) in [(j.p, w.p), (j.v, w.v), (j.a, w.a)] {
                    let room = 1e-12 * (1.0 + x.abs());
                    prop_assert!(r.lo - room <= x && x <= r.hi + room, "{x} outside {r:?}");
                }
            }
        }

        /// Ranges of a shrinking interval close in on the value: what makes halving end.
        #[test]
        fn ranges_shrink(x in -6.0..6.0_f64, y in -6.0..6.0_f64) {
            for w in formula(near(x), near(y)) {
                prop_assert!(w.p.hi - w.p.lo <= 1e-5, "{w:?}");
            }
        }
    }

    fn near(x: f64) -> IntervalJet {
        IntervalJet { p: Range::between(x - 1e-8, x + 1e-8), v: Range::ZERO, a: Range::ZERO }
    }

    #[test]
    fn a_crest_between_the_ends_counts() {
        assert_eq!(Range::between(1.0, 2.0).sine().hi, 1.0);
        assert_eq!(Range::between(4.0, 5.0).sine().lo, -1.0);
        assert!(Range::between(0.1, 0.2).sine().hi < 0.2);
        assert_eq!(Range::between(0.0, 7.0).sine(), Range { lo: -1.0, hi: 1.0 });
        assert_eq!(Range::between(1.0 + TURN, 2.0 + TURN).sine().hi, 1.0);
    }

    #[test]
    fn what_cannot_be_bounded_is_everything() {
        assert_eq!(Range::between(-1.0, 1.0).recip(), Range::WHOLE);
        assert_eq!(Range::between(f64::NAN, 1.0), Range::WHOLE);
        assert_eq!(Range::ZERO * Range::WHOLE, Range::ZERO);
        assert_eq!(Range::between(-1.0, 2.0) * Range { lo: 3.0, hi: f64::INFINITY }, Range::WHOLE);
        assert_eq!(Range::between(0.0, 2.0) * Range { lo: 3.0, hi: f64::INFINITY }, Range { lo: 0.0, hi: f64::INFINITY });
        assert_eq!(Range { lo: f64::NAN, hi: 1.0 } * Range::between(1.0, 2.0), Range::WHOLE);
        assert_eq!(near(0.0).sqrt().v, Range::ZERO);
        assert_eq!(IntervalJet { v: Range::between(1.0, 1.0), ..near(0.0) }.sqrt().v, Range::WHOLE);
    }
}
