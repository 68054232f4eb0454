//! Numbers as people compare them: four significant digits, no power of ten, always with the unit.
//!
//! Invariant: a bound that is printed is still a bound; a value beyond its limit never reads as the limit.

use super::directed::{self, Places};

/// A number with its unit, to four significant digits, which is what a person compares by.
#[must_use]
pub(crate) fn figure(value: f64, unit: &str) -> String {
    shown(&directed::nearest(value, Places::Decimals(decimals(value))), unit)
}

/// The same rounded down: for what is at least so much.
#[must_use]
pub(crate) fn least(value: f64, unit: &str) -> String {
    shown(&directed::down(value, Places::Decimals(decimals(value))), unit)
}

/// The same rounded up: for what is at most so much.
#[must_use]
pub(crate) fn most(value: f64, unit: &str) -> String {
    shown(&directed::up(value, Places::Decimals(decimals(value))), unit)
}

/// An instant or a duration to the millisecond, where four digits would not do.
#[must_use]
pub(crate) fn seconds(value: f64) -> String {
    shown(&directed::nearest(value, Places::Decimals(3)), "s")
}

/// A value and what it is compared with, to four digits, or to as many as distinguish them.
#[must_use]
pub(crate) fn distinct(value: f64, allowed: f64, unit: &str) -> (String, String) {
    let places = decimals(value);
    let at = |extra: usize| [value, allowed].map(|x| shown(&directed::nearest(x, Places::Decimals(decimals(x).min(places) + extra)), unit));
    // No two numbers agree in seventeen digits.
    let found = (0..=13).map(at).find(|[a, b]| a != b || value == allowed);
    let [a, b] = found.unwrap_or_else(|| at(13));
    (a, b)
}

/// The places after the point that show four significant digits.
fn decimals(value: f64) -> usize {
    let size = value.abs();
    let (mut decimals, mut bound) = (3_usize, 10.0);
    while decimals > 0 && size >= bound {
        bound *= 10.0;
        decimals -= 1;
    }
    bound = 1.0;
    while decimals < 20 && size != 0.0 && size < bound {
        bound /= 10.0;
        decimals += 1;
    }
    decimals
}

/// Without zeros at the end or a minus before nothing, with the unit.
fn shown(text: &str, unit: &str) -> String {
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { text };
    let text = if text == "-0" { "0" } else { text };
    if unit.is_empty() { text.to_owned() } else { format!("{text} {unit}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bound_is_printed_as_a_bound() {
        assert_eq!(least(299.999_97, "mm"), "299.9 mm");
        assert_eq!(figure(299.999_97, "mm"), "300 mm");
        assert_eq!(most(0.500_01, "mm"), "0.5001 mm");
    }

    #[test]
    fn seconds_are_told_to_the_millisecond() {
        assert_eq!([826.250_000_1, 10_833.333_333, 12.0, -0.0].map(seconds), ["826.25 s", "10833.333 s", "12 s", "0 s"]);
    }

    #[test]
    fn four_digits_no_power_of_ten_and_no_minus_before_zero() {
        let all = [433_490.4, 1061.81, 10.4569, 0.012_345_6, 4.567e-7, -0.0, 0.0, -3.0].map(|x| figure(x, "mm"));
        assert_eq!(all, ["433490 mm", "1062 mm", "10.46 mm", "0.01235 mm", "0.0000004567 mm", "0 mm", "0 mm", "-3 mm"]);
    }

    #[test]
    fn a_value_beyond_its_limit_never_reads_as_the_limit() {
        assert_eq!(distinct(300.000_001, 300.0, "mm/s"), ("300.000001 mm/s".to_owned(), "300 mm/s".to_owned()));
        assert_eq!(distinct(310.0, 300.0, "mm/s"), ("310 mm/s".to_owned(), "300 mm/s".to_owned()));
        assert_eq!(distinct(300.0, 300.0, "steps").0, "300 steps");
    }
}
