//! How many rows there are per second of stage time, and when each row is.
//!
//! Invariant: a rate is an exact ratio; row k is at k / rate seconds by one division, never a running sum. Its `t_s` is a decimal that reads back as exactly
//! that number: of fixed length where every k / rate is a decimal fraction (1000, 250, 12.5 rows per second), otherwise the shortest that does.
//! The last row is the first one at or after the end of the program, found in whole numbers: the pace counts as the decimal that is written.
//! Limits: at most 1e6 rows per second and 1e12 rows; numerator and denominator at most 1e9.

use super::format::Text;
use super::{Extent, RowsError};
use crate::bounds::{MOST_ROWS, ROW_RATE};
use crate::number::whole;
use crate::program::Program;

/// Rows in a second of stage time. Range: more than 0, at most 1,000,000.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct RowRate {
    numerator: u64,
    denominator: u64,
    ticks: Option<Ticks>,
}

/// Row k is at `k * step / 10^decimals` seconds, exactly.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Ticks {
    step: u64,
    decimals: u32,
}

/// Greatest numerator and denominator of a rate.
const MOST_TERM: u64 = 1_000_000_000;

/// Nanoseconds of a second.
const NANO: f64 = 1e9;

impl RowRate {
    /// Reads a rate: a whole number, a decimal (taken as it is written) or a ratio such as `30000/1001`.
    ///
    /// # Errors
    /// [`RowsError::Rate`] for what is no such number, or out of range.
    pub(crate) fn parse(text: &str) -> Result<RowRate, RowsError> {
        let wrong = || RowsError::Rate { found: text.to_owned() };
        let digits = |t: &str| t.bytes().all(|b| b.is_ascii_digit()).then(|| t.parse::<u64>().ok()).flatten();
        let (numerator, denominator) = match text.split_once('/') {
            Some((n, d)) => (digits(n).ok_or_else(wrong)?, digits(d).ok_or_else(wrong)?),
            None => decimal(text).ok_or_else(wrong)?,
        };
        RowRate::ratio(numerator, denominator).ok_or_else(wrong)
    }

    fn ratio(numerator: u64, denominator: u64) -> Option<RowRate> {
        if numerator == 0 || denominator == 0 {
            return None;
        }
        let common = u64::try_from(whole::common_divisor(numerator.into(), denominator.into())).ok()?;
        let (numerator, denominator) = (numerator / common, denominator / common);
        let fits = numerator <= MOST_TERM && denominator <= MOST_TERM && ROW_RATE.contains(real(numerator) / real(denominator));
        fits.then(|| RowRate { numerator, denominator, ticks: Ticks::of(numerator, denominator) })
    }

    /// Rows per second, to the nearest number.
    #[must_use]
    pub(crate) fn hz(self) -> f64 {
        real(self.numerator) / real(self.denominator)
    }

    /// Stage time of a row. Unit: s. One division, while the product is exact.
    #[must_use]
    pub(crate) fn seconds(self, row: u64) -> f64 {
        const EXACT: u128 = 1 << 53;
        let ticks = u128::from(row) * u128::from(self.denominator);
        let n = u128::from(self.numerator);
        let whole = |x: u128| real(u64::try_from(x).unwrap_or(u64::MAX));
        if ticks < EXACT { whole(ticks) / whole(n) } else { whole(ticks / n) + whole(ticks % n) / whole(n) }
    }

    /// How many rows a program has: from 0 to the first row that is not before the end of its extent.
    ///
    /// # Errors
    /// [`RowsError::TooMany`] over 1e12 rows.
    pub(crate) fn rows_of(self, program: &Program, extent: Extent) -> Result<u64, RowsError> {
        let too_many = || RowsError::TooMany { rows: program.duration().0 * self.hz(), most: MOST_ROWS };
        let last = self.last_row(program, extent).ok_or_else(too_many)?;
        if real(last) < MOST_ROWS { Ok(last + 1) } else { Err(too_many()) }
    }

    /// The least k with k / rate >= begin + frames x pace + return home, as far as the extent goes, in whole numbers; `None` beyond 128 bits. The return home
    /// counts to the nearest nanosecond: its last one moves nothing.
    fn last_row(self, program: &Program, extent: Extent) -> Option<u64> {
        let clock = program.clock();
        let (running, mut per) = match (extent, clock.running_micros()) {
            (Extent::ToStart, _) => (0, 1),
            (_, Some(micros)) => (u128::from(micros), 1_000_000),
            (_, None) => {
                let (pace, per) = decimal_wide(&clock.pace().get().to_string())?;
                (u128::from(clock.frames()).checked_mul(pace)?, per)
            }
        };
        let mut end = u128::from(clock.begin_seconds()).checked_mul(per)?.checked_add(running)?;
        if extent == Extent::ReturnHome {
            let back = u128::try_from(whole::nearest(program.way().back().0 * NANO)?).ok()?;
            let nanos = 1_000_000_000;
            end = end.checked_mul(nanos)?.checked_add(back.checked_mul(per)?)?;
            per = per.checked_mul(nanos)?;
        }
        let rows = end.checked_mul(u128::from(self.numerator))?;
        u64::try_from(rows.div_ceil(per.checked_mul(u128::from(self.denominator))?)).ok()
    }

    /// Writes `t_s` of a row.
    pub(super) fn write(self, row: u64, text: &mut Text) {
        match self.ticks.and_then(|t| Some((row.checked_mul(t.step)?, t.decimals))) {
            Some((ticks, decimals)) => text.decimal(ticks, decimals),
            None => text.shortest(self.seconds(row)),
        }
    }
}

/// As [`RowRate::parse`] reads it back.
impl core::fmt::Display for RowRate {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match (self.denominator, self.ticks) {
            (1, _) => write!(f, "{}", self.numerator),
            _ if decimal(&self.hz().to_string()).and_then(|(n, d)| RowRate::ratio(n, d)) == Some(*self) => write!(f, "{}", self.hz()),
            (d, _) => write!(f, "{}/{d}", self.numerator),
        }
    }
}

impl Ticks {
    /// The fewest decimals, up to nine, with which the time between rows is a whole number of ticks.
    fn of(numerator: u64, denominator: u64) -> Option<Ticks> {
        let mut ten = 1_u64;
        for decimals in 0..=9 {
            let ticks = denominator * ten;
            if ticks.is_multiple_of(numerator) {
                return Some(Ticks { step: ticks / numerator, decimals });
            }
            ten *= 10;
        }
        None
    }
}

/// A decimal of digits and at most one point, as a ratio.
fn decimal(text: &str) -> Option<(u64, u64)> {
    let (n, d) = decimal_wide(text)?;
    let common = whole::common_divisor(n, d);
    Some((u64::try_from(n / common).ok()?, u64::try_from(d / common).ok()?))
}

fn decimal_wide(text: &str) -> Option<(u128, u128)> {
    let (units, decimals) = text.split_once('.').unwrap_or((text, "0"));
    if units.is_empty() || decimals.is_empty() || !units.bytes().chain(decimals.bytes()).all(|b| b.is_ascii_digit()) {
        return None;
    }
    let per = 10_u128.checked_pow(u32::try_from(decimals.len()).ok()?)?;
    Some((units.parse::<u128>().ok()?.checked_mul(per)?.checked_add(decimals.parse().ok()?)?, per))
}

/// A row number as an f64: exact, since rows stay below [`MOST_ROWS`].
#[allow(clippy::cast_precision_loss, reason = "rows stay below 1e12 by construction, terms of a rate below 1e9")]
pub(super) fn real(row: u64) -> f64 {
    row as f64
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    #[test]
    fn seconds_of_a_row_are_one_division() {
        assert_eq!(RowRate::parse("1000").unwrap().seconds(1_234_567), 1234.567);
        assert_eq!(RowRate::parse("30000/1001").unwrap().seconds(30_000), 1001.0);
        assert!(RowRate::parse("0").is_err() && RowRate::parse("12 Hz").is_err());
    }

    fn shown(hz: f64, row: u64) -> String {
        let mut text = Text::default();
        RowRate::parse(&hz.to_string()).unwrap().write(row, &mut text);
        String::from_utf8(text.bytes().to_vec()).unwrap()
    }

    #[test]
    fn decimal_rates_have_the_fewest_decimals_that_are_exact() {
        for (hz, row, want) in [
            (1000.0, 0, "0.000"),
            (1000.0, 5_400_001, "5400.001"),
            (1.0, 17, "17"),
            (0.5, 17, "34"),
            (250.0, 3, "0.012"),
            (12.5, 3, "0.24"),
            (64.0, 1, "0.015625"),
            (512.0, 1, "0.001953125"),
            (1e6, 1_000_001, "1.000001"),
            (0.000_976_562_5, 2, "2048"),
        ] {
            assert_eq!(shown(hz, row), want);
        }
    }

    #[test]
    fn every_time_reads_back_as_row_over_rate() {
        for hz in [1000.0, 24.0, 30.0, 29.97, 0.1, 1e-5, 48_000.0, 44_100.0, 12.5, 512.0, 999_999.0, 7.141_59] {
            let rate = RowRate::parse(&hz.to_string()).unwrap();
            for row in [0, 1, 2, 3, 7, 1000, 4097, 1_000_003, 86_399_999, 999_999_999_999] {
                let back: f64 = shown(hz, row).parse().unwrap();
                assert_eq!(back.to_bits(), rate.seconds(row).to_bits(), "{hz} {row}");
                assert!((rate.seconds(row) - row as f64 / hz).abs() <= 4e-16 * rate.seconds(row), "{hz} {row}");
            }
        }
    }

    #[test]
    fn ratios_are_exact_and_read_back() {
        let film = RowRate::parse("30000/1001").unwrap();
        assert_eq!(film.seconds(30_000 * 3600), 1001.0 * 3600.0);
        for text in ["30000/1001", "1000", "12.5", "0.001", "29.97", "1/3", "1000000"] {
            let rate = RowRate::parse(text).unwrap();
            assert_eq!(rate.to_string(), text);
            assert_eq!(RowRate::parse(&rate.to_string()).unwrap(), rate);
        }
        assert_eq!(RowRate::parse("2000/2").unwrap(), RowRate::parse("1000").unwrap());
    }

    #[test]
    fn rates_out_of_range_and_other_words_are_refused() {
        for text in
            ["0", "-1", "1000000.1", "1000001", "NaN", "inf", "", "/", "1/0", "0/1", "1e3", " 24", "24 Hz", "1/2/3", "3.14159265358979"]
        {
            assert!(RowRate::parse(text).is_err(), "{text}");
        }
    }
}
