//! Numbers as text, rounded in one direction: a bound that is printed must still be a bound.
//!
//! Invariant: the text, read back, is not below (`up`) or not above (`down`) the number, and at most one unit of its last place away. Infinities and NaN stay what they are.

/// How many places are shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Places {
    /// After the point: `12.345`.
    Decimals(usize),
    /// After the point of the mantissa: `1.235e1`.
    Mantissa(usize),
}

/// The text of `x`, rounded to nearest.
#[must_use]
pub(crate) fn nearest(x: f64, places: Places) -> String {
    match places {
        Places::Decimals(n) => format!("{x:.n$}"),
        Places::Mantissa(n) => format!("{x:.n$e}"),
    }
}

/// The text of `x`, rounded up.
#[must_use]
pub(crate) fn up(x: f64, places: Places) -> String {
    directed(x, places, 1.0)
}

/// The text of `x`, rounded down.
#[must_use]
pub(crate) fn down(x: f64, places: Places) -> String {
    directed(x, places, -1.0)
}

fn directed(x: f64, places: Places, way: f64) -> String {
    let text = nearest(x, places);
    let short = text.parse::<f64>().is_ok_and(|shown| (x - shown) * way > 0.0);
    if !short || !x.is_finite() {
        return text;
    }
    let (exponent, digits) = match places {
        Places::Decimals(n) => (0, n),
        Places::Mantissa(n) => (text.split_once('e').and_then(|(_, e)| e.parse().ok()).unwrap_or(0), n),
    };
    let place: f64 = format!("1e{}", i64::from(exponent) - i64::try_from(digits).unwrap_or(i64::MAX)).parse().unwrap_or(0.0);
    // The nearest was at most half a place short: three quarters more lie beyond the half of the next place, and short of the one after it.
    nearest(x + way * 0.75 * place, places)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn a_number_is_told_rounded_to_the_careful_side() {
        assert_eq!(up(43_701.98, Places::Mantissa(3)), "4.371e4");
        assert_eq!(down(299.99, Places::Decimals(1)), "299.9");
        assert_eq!(up(0.5, Places::Decimals(3)), "0.500");
    }

    #[test]
    fn exact_numbers_stay_and_what_is_no_number_stays() {
        for places in [Places::Decimals(2), Places::Mantissa(2)] {
            for x in [0.0, 1.0, -2.5, 100.0, f64::INFINITY, f64::NEG_INFINITY] {
                assert_eq!((up(x, places), down(x, places)), (nearest(x, places), nearest(x, places)));
            }
            assert_eq!(up(f64::NAN, places), "NaN");
        }
        assert_eq!(up(9.9996, Places::Mantissa(3)), "1.000e1");
        assert_eq!(down(-0.001, Places::Decimals(2)), "-0.01");
    }

    proptest! {
        #[test]
        fn a_bound_stays_a_bound_and_moves_by_less_than_a_place(x in -1e6..1e6_f64, small in any::<bool>(), n in 0_usize..6, mantissa in any::<bool>()) {
            let x = if small { x * 1e-9 } else { x };
            let places = if mantissa { Places::Mantissa(n) } else { Places::Decimals(n) };
            let (above, below): (f64, f64) = (up(x, places).parse().unwrap(), down(x, places).parse().unwrap());
            prop_assert!(below <= x && x <= above, "{below} {x} {above}");
            let place: f64 = format!("1e-{n}").parse().unwrap();
            let size = if mantissa { x.abs() } else { 1.0 };
            prop_assert!(above - below <= 1.001 * place * size.max(1e-300), "{below} {x} {above}");
        }
    }
}
