//! How probable a figure would be if there were noise alone.
//!
//! What: the probability of F with two numerator degrees, a finite formula; that of Student's t is [`student::beyond`].
//! Source: M. Abramowitz, I. A. Stegun, Handbook of Mathematical Functions, 26.6.4 (from memory; the tests compare with printed quantiles).
//! Invariant: 0 to 1; NaN gives 1, so that nothing is found in it. Limits: below about 1e-15 a probability is 0 or noise, far below what decides here.

use crate::number::elementary::{exp, ln};
use crate::number::whole;

/// A finding is less probable than this if there is noise alone.
pub(crate) const RARE: f64 = 5e-4;

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
    use crate::number::student;

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
        assert_eq!(
            [student::beyond(f64::NAN, 10), student::beyond(3.0, 0), of_two_columns(f64::NAN, 1.0, 5), of_two_columns(0.0, 0.0, 5)],
            [1.0; 4]
        );
        assert_eq!([student::beyond(f64::INFINITY, 7), of_two_columns(1.0, 0.0, 5)], [0.0; 2]);
        assert_eq!(student::beyond(0.0, 7), 1.0);
    }
}
