//! Elementary functions with the same bits everywhere: the one place that computes a sine, a root, an angle.
//!
//! The standard library documents its trigonometric functions, powers, `cbrt` and `hypot` as of unspecified precision,
//! varying with platform and compiler. These are the pure-Rust ones of the `libm` crate; a lint list in `tests/lint`
//! refuses the others. `sqrt` is correctly rounded by IEEE 754 and may be used from anywhere.

/// A full turn in radians, 2 pi.
pub(crate) const TURN: f64 = core::f64::consts::TAU;

/// Sine of an angle in radians.
#[must_use]
pub(crate) fn sin(x: f64) -> f64 {
    libm::sin(x)
}

/// Cosine of an angle in radians.
#[must_use]
pub(crate) fn cos(x: f64) -> f64 {
    libm::cos(x)
}

/// Sine and cosine of an angle in radians: the same bits as each alone, for one reduction of the angle.
#[must_use]
pub(crate) fn sin_and_cos(x: f64) -> (f64, f64) {
    libm::sincos(x)
}

/// Tangent of an angle in radians.
#[cfg(test)]
pub(crate) fn tan(x: f64) -> f64 {
    libm::tan(x)
}

/// Angle in radians whose sine is `x`; NaN outside -1 to 1.
#[must_use]
pub(crate) fn asin(x: f64) -> f64 {
    libm::asin(x)
}

/// Angle in radians whose cosine is `x`; NaN outside -1 to 1.
#[must_use]
pub(crate) fn acos(x: f64) -> f64 {
    libm::acos(x)
}

/// Angle in radians of the point (`x`, `y`) seen from the origin, -pi to pi.
#[must_use]
pub(crate) fn atan2(y: f64, x: f64) -> f64 {
    libm::atan2(y, x)
}

/// e to the power `x`.
#[must_use]
pub(crate) fn exp(x: f64) -> f64 {
    libm::exp(x)
}

/// Natural logarithm.
#[must_use]
pub(crate) fn ln(x: f64) -> f64 {
    libm::log(x)
}

/// Cube root.
#[must_use]
pub(crate) fn cbrt(x: f64) -> f64 {
    libm::cbrt(x)
}

/// `2` to the power `x`.
#[must_use]
pub(crate) fn exp2(x: f64) -> f64 {
    libm::exp2(x)
}

/// `2` to the power `n`, exact within the exponents of an f64.
#[must_use]
pub(crate) fn two_to_the(n: i32) -> f64 {
    libm::ldexp(1.0, n)
}

/// Degrees to radians.
#[must_use]
pub(crate) fn radians(degrees: f64) -> f64 {
    degrees * (TURN / 360.0)
}

/// Radians to degrees.
#[must_use]
pub(crate) fn degrees(radians: f64) -> f64 {
    radians * (360.0 / TURN)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::number::Generator;

    /// The counts of shots that are photographed already hang on it.
    #[test]
    fn sine_and_cosine_together_have_the_bits_of_each_alone() {
        let mut g = Generator::new(11);
        let small = (0..4096_u32).map(|i| f64::from_bits(((0x3e30_0000 + u64::from(i) * 0x400) << 32) | 0x9abc_def1));
        let others = (0..100_000).map(|_| g.between(-1.0, 1.0) * exp2(g.between(-40.0, 40.0)));
        let edges = [0.0, -0.0, f64::MIN_POSITIVE, 0.25 * core::f64::consts::PI, core::f64::consts::PI, TURN, 1e300, f64::INFINITY];
        for x in small.chain(others.collect::<Vec<_>>()).chain(edges) {
            let (s, c) = sin_and_cos(x);
            assert_eq!((s.to_bits(), c.to_bits()), (sin(x).to_bits(), cos(x).to_bits()), "{x:e}");
        }
    }
}
