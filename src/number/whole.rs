//! From real numbers to whole ones, in one place and never by silent truncation.
//!
//! Rounding is to the nearest integer, ties to the even one, everywhere: the rounding of IEEE 754 that favours no direction.

/// Integers of this size and below are exact as an f64: 2^53.
pub(crate) const EXACT: f64 = 9_007_199_254_740_992.0;

/// `x` rounded to the nearest integer, ties to even; `None` when NaN or beyond 2^53, where neighbours are no longer one apart.
#[must_use]
#[allow(clippy::cast_possible_truncation, reason = "bounded by EXACT just before")]
pub(crate) fn nearest(x: f64) -> Option<i64> {
    let r = x.round_ties_even();
    if (-EXACT..=EXACT).contains(&r) { Some(r as i64) } else { None }
}

/// The greatest integer not above `x`; `None` when NaN or beyond 2^53.
#[must_use]
pub(crate) fn floor(x: f64) -> Option<i64> {
    nearest(x.floor())
}

/// The least integer not below `x`; `None` when NaN or beyond 2^53.
#[must_use]
pub(crate) fn ceiling(x: f64) -> Option<i64> {
    nearest(x.ceil())
}

/// An integer as an f64. Exact below 2^53, which every frame and step count of a checked stage and shot is.
#[must_use]
#[allow(clippy::cast_precision_loss, reason = "frames and steps stay below 2^53 by construction")]
pub(crate) fn real(n: i64) -> f64 {
    n as f64
}

/// A count of things in memory as an f64; exact, since no memory holds 2^53 of them.
#[must_use]
#[allow(clippy::cast_precision_loss, reason = "no memory holds 2^53 things")]
pub(crate) fn count(n: usize) -> f64 {
    n as f64
}

/// The greatest whole number that divides both; the other one where one is 0.
#[must_use]
pub(crate) fn common_divisor(a: u128, b: u128) -> u128 {
    let (mut a, mut b) = (a, b);
    while let Some(rest) = a.checked_rem(b) {
        (a, b) = (b, rest);
    }
    a
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_integer_ties_to_even() {
        assert_eq!((nearest(2.5), nearest(-0.5), nearest(f64::NAN)), (Some(2), Some(0), None));
    }

    #[test]
    fn ties_go_to_the_even_neighbour_on_both_sides_of_zero() {
        for (x, n) in [(0.5, 0), (1.5, 2), (2.5, 2), (-0.5, 0), (-1.5, -2), (-2.5, -2), (0.500_000_1, 1)] {
            assert_eq!(nearest(x), Some(n), "{x}");
        }
    }

    #[test]
    fn common_divisors_by_hand() {
        let of = common_divisor;
        assert_eq!([of(12, 18), of(18, 12), of(7, 0), of(0, 7), of(0, 0), of(1 << 100, 1 << 90)], [6, 6, 7, 7, 0, 1 << 90]);
    }

    #[test]
    fn beyond_two_to_the_53_there_is_no_answer() {
        assert_eq!(nearest(EXACT), Some(9_007_199_254_740_992));
        assert_eq!(nearest(EXACT * 2.0), None);
        assert_eq!(nearest(f64::INFINITY), None);
    }
}
