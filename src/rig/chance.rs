//! How probable a figure would be if there were noise alone.
//!
//! What: two-sided probability of Student's t for whole degrees of freedom, and of F with two numerator degrees; both are finite formulas.
//! Source: M. Abramowitz, I. A. Stegun, Handbook of Mathematical Functions, 26.7.3, 26.7.4 and 26.6.4 (from memory; the tests compare with printed quantiles).
//! Invariant: 0 to 1; NaN gives 1, so that nothing is found in it. Limits: below about 1e-15 a probability is 0 or noise, far below what decides here.

use crate::number::elementary::{TURN, atan2, cos, exp, ln, sin};
use crate::number::whole;

/// A finding is less probable than this if there is noise alone.
pub(crate) const RARE: f64 = 5e-4;

/// Probability that |t| of `freedom` degrees is at least this.
#[must_use]
pub(crate) fn of_t(t: f64, freedom: usize) -> f64 {
    if t.is_nan() || freedom == 0 {
        return 1.0;
    }
    let angle = atan2(t.abs(), whole::count(freedom).sqrt());
    let (s, c) = (sin(angle), cos(angle));
    let odd = freedom % 2 == 1;
    // Terms 1, 1/2 c2, 1/2 3/4 c2^2, ... of even degrees; c, 2/3 c3, 2/3 4/5 c5, ... of odd ones.
    let (mut term, mut sum, mut k) = (if odd { c } else { 1.0 }, 0.0, if odd { 1 } else { 0 });
    while k + 2 <= freedom {
        sum += term;
        term *= whole::count(k + 1) / whole::count(k + 2) * c * c;
        k += 2;
    }
    let inside = if odd { 4.0 / TURN * (angle + s * sum) } else { s * sum };
    (1.0 - inside).clamp(0.0, 1.0)
}

/// Probability that two more columns reduce a sum of squares from `before` to `after` or below; `freedom` is what is left with them.
#[must_use]
pub(crate) fn of_two_columns(before: f64, after: f64, freedom: usize) -> f64 {
    // 1 + 2F/m = before/after, and P(F > f) = (1 + 2f/m)^(-m/2).
    if !(0.0 < before) || freedom == 0 {
        return 1.0;
    }
    if !(0.0 < after) {
        return if after == 0.0 { 0.0 } else { 1.0 };
    }
    exp(0.5 * whole::count(freedom) * ln(after / before)).clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Quantiles of Student's t as printed in every table: two-sided 0.05, 0.01, 0.001.
    #[test]
    fn probabilities_are_those_of_the_tables() {
        for (freedom, t, p) in [
            (1, 12.706, 0.05),
            (1, 63.657, 0.01),
            (2, 4.303, 0.05),
            (2, 31.599, 0.001),
            (3, 5.841, 0.01),
            (5, 6.869, 0.001),
            (10, 2.228, 0.05),
            (10, 4.587, 0.001),
            (29, 2.756, 0.01),
            (30, 3.646, 0.001),
            (120, 2.617, 0.01),
        ] {
            let got = of_t(t, freedom);
            assert!((got / p - 1.0).abs() < 2e-3, "{freedom} {t}: {got}, printed {p}");
            assert_eq!(of_t(-t, freedom), got);
        }
    }

    /// Upper quantiles of F with 2 and m degrees as printed: 0.01.
    #[test]
    fn two_columns_are_judged_by_f() {
        for (m, f) in [(10_usize, 7.559), (20, 5.849), (60, 4.977)] {
            let after = 1.0 / (1.0 + 2.0 * f / whole::count(m));
            let got = of_two_columns(1.0, after, m);
            assert!((got / 0.01 - 1.0).abs() < 1e-3, "{m}: {got}");
        }
    }

    #[test]
    fn nothing_is_found_in_what_is_no_number() {
        assert_eq!([of_t(f64::NAN, 10), of_t(3.0, 0), of_two_columns(f64::NAN, 1.0, 5), of_two_columns(0.0, 0.0, 5)], [1.0; 4]);
        assert_eq!([of_t(f64::INFINITY, 7), of_two_columns(1.0, 0.0, 5)], [0.0; 2]);
        assert_eq!(of_t(0.0, 7), 1.0);
    }
}
