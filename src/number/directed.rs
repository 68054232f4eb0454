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
    neighbour(&text, (x > 0.0) == (way > 0.0))
}

/// The next number with as many places, away from zero or towards it. In digits, since a place may be smaller than the distance of two floats, and a
/// mantissa has other places on the two sides of a power of ten.
fn neighbour(text: &str, away: bool) -> String {
    let (mantissa, exponent) = text.split_once('e').map_or((text, None), |(m, e)| (m, e.parse::<i32>().ok()));
    let (last, over) = if away { ('9', '0') } else { ('0', '9') };
    let mut carried = true;
    let digits: Vec<char> = mantissa
        .chars()
        .rev()
        .map(|c| match c.to_digit(10) {
            Some(_) if carried && c == last => over,
            Some(d) if carried => {
                carried = false;
                char::from_digit(if away { d + 1 } else { d - 1 }, 10).unwrap_or(c)
            }
            _ => c,
        })
        .collect();
    let mut digits: String = digits.into_iter().rev().collect();
    let lead = usize::from(digits.starts_with('-'));
    match exponent {
        None if carried => digits.insert(lead, '1'),
        None if !away && digits[lead..].starts_with('0') && digits[lead + 1..].starts_with(|c: char| c.is_ascii_digit()) => {
            digits.remove(lead);
        }
        None if !digits.contains(|c: char| ('1'..='9').contains(&c)) => digits = digits.replace('-', ""),
        None => {}
        Some(e) if carried => {
            digits.replace_range(lead..=lead, "1");
            return format!("{digits}e{}", e + 1);
        }
        // Below a power of ten there are nines only: the number rounded up to the power.
        Some(e) if digits[lead..].starts_with('0') => return format!("{}e{}", digits.replace(|c: char| c.is_ascii_digit(), "9"), e - 1),
        Some(e) => return format!("{digits}e{e}"),
    }
    digits
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "tests")]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn ten_to_the(n: i64) -> f64 {
        format!("1e{n}").parse().unwrap()
    }

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
        assert_eq!(up(-0.006, Places::Decimals(2)), "0.00");
    }

    #[test]
    fn powers_of_ten_and_places_below_the_distance_of_floats() {
        // Rounded to 1.1e5: one place less is 1.0e5, though three quarters of a place less lie below the power.
        assert_eq!(down(106_997.171_562_142_96, Places::Mantissa(1)), "1.0e5");
        assert_eq!(down(99_960.0, Places::Mantissa(1)), "9.9e4");
        assert_eq!(up(-99_960.0, Places::Mantissa(1)), "-9.9e4");
        assert_eq!(up(94_100.0, Places::Mantissa(0)), "1e5");
        assert_eq!(up(9.96, Places::Decimals(1)), "10.0");
        assert_eq!(up(-9.96, Places::Decimals(1)), "-9.9");
        assert_eq!(down(-999.96, Places::Decimals(1)), "-1000.0");
        // Neighbours of this float are a quarter away.
        let x = 1_125_899_906_842_624.0 + 0.25;
        assert_eq!((down(x, Places::Decimals(1)), up(x, Places::Decimals(1))), ("1125899906842624.2".into(), "1125899906842624.2".into()));
        let x = 1_125_899_906_842_624.0 + 0.75;
        assert_eq!((down(x, Places::Decimals(0)), up(x, Places::Decimals(0))), ("1125899906842624".into(), "1125899906842625".into()));
    }

    proptest! {
        #[test]
        fn a_bound_stays_a_bound_and_no_number_of_its_places_is_nearer(x in -1e6..1e6_f64, scale in -12..12_i64, n in 0_usize..6, mantissa in any::<bool>()) {
            let x = x * ten_to_the(scale);
            let places = if mantissa { Places::Mantissa(n) } else { Places::Decimals(n) };
            let texts = [up(x, places), down(x, places)];
            let [above, below] = [0, 1].map(|i: usize| texts[i].parse::<f64>().unwrap());
            prop_assert!(below <= x && x <= above, "{below} {x} {above}");
            // The place of the smaller of both: a mantissa has other places on the two sides of a power of ten.
            let exponent = texts.iter().map(|t| t.split_once('e').map_or(0, |(_, e)| e.parse::<i64>().unwrap())).min().unwrap();
            let place = ten_to_the(exponent - i64::try_from(n).unwrap());
            prop_assert!(above - below <= 1.000_001 * place + 2.0 * f64::EPSILON * x.abs(), "{below} {x} {above}");
        }
    }
}
