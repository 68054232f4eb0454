//! Student's t.
//!
//! What: its two-sided probability for whole degrees of freedom, a finite sum, and the t of a probability by halving. Source: M. Abramowitz, I. A. Stegun, Handbook of Mathematical Functions, 26.7.3 and 26.7.4 (from
//! memory; the tests compare with printed quantiles). Invariant: 0 to 1; NaN gives 1, so that nothing is found in it. Limits: below about 1e-15 a probability is 0 or noise.

use super::elementary::{TURN, atan2, cos, sin};
use super::whole;

/// Probability that |t| of `freedom` degrees is at least this.
#[must_use]
pub(crate) fn beyond(t: f64, freedom: usize) -> f64 {
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

/// The t that is exceeded, either way, with this probability.
#[must_use]
pub(crate) fn exceeded_by(freedom: usize, probability: f64) -> f64 {
    let (mut low, mut high) = (0.0, 1.0);
    while beyond(high, freedom) > probability {
        high *= 2.0;
    }
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if beyond(middle, freedom) > probability { low = middle } else { high = middle }
    }
    high
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
            let got = beyond(t, freedom);
            assert!((got / p - 1.0).abs() < 2e-3, "{freedom} {t}: {got}, printed {p}");
            assert_eq!(beyond(-t, freedom), got);
        }
    }

    /// Tables of Student's t, two-sided (textbooks, from memory): 5 % and 1 %.
    #[test]
    fn a_t_is_exceeded_as_often_as_the_tables_say() {
        for (freedom, five, one) in [
            (1, 12.706, 63.657),
            (2, 4.303, 9.925),
            (3, 3.182, 5.841),
            (4, 2.776, 4.604),
            (5, 2.571, 4.032),
            (10, 2.228, 3.169),
            (30, 2.042, 2.750),
            (120, 1.980, 2.617),
        ] {
            assert!((exceeded_by(freedom, 0.05) - five).abs() < 6e-4 && (exceeded_by(freedom, 0.01) - one).abs() < 6e-4, "{freedom}");
        }
    }
}
