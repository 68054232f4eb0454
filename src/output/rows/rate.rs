//! How many rows a second of stage time has, and when each row is.
//!
//! Invariant: row k is at k / rate seconds by one division, never a running sum. Its `t_s` is a decimal that reads back as exactly that
//! number: of fixed length where every k / rate is a decimal fraction (1000, 250, 12.5 rows a second), otherwise the shortest that does.
//! Source: none needed. Limits: at most 1e6 rows a second and 1e12 rows.

use super::RowsError;
use super::format::Text;
use crate::number::whole;

/// Rows in a second of stage time. Range: more than 0, at most 1,000,000.
///
/// ```
/// use movewright::output::rows::RowRate;
/// let rate = RowRate::new(1000.0)?;
/// assert_eq!(rate.seconds(1_234_567), 1234.567);
/// assert_eq!(rate.rows_within(2.5)?, 2501); // 0.000 to 2.500: an end that falls on a row is a row
/// assert!(RowRate::new(f64::NAN).is_err());
/// # Ok::<(), movewright::output::rows::RowsError>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RowRate {
    hz: f64,
    ticks: Option<Ticks>,
}

/// Row k is at `k * step / 10^decimals` seconds, exactly.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Ticks {
    step: u64,
    decimals: u32,
}

/// Most rows a second.
pub const MOST_RATE: f64 = 1e6;

/// Most rows of one table: 31 years at 1,000 rows a second.
pub const MOST_ROWS: f64 = 1e12;

impl RowRate {
    /// A rate.
    ///
    /// # Errors
    /// [`RowsError::Rate`] unless more than 0 and at most 1e6 rows a second.
    pub fn new(hz: f64) -> Result<RowRate, RowsError> {
        if 0.0 < hz && hz <= MOST_RATE { Ok(RowRate { hz, ticks: Ticks::of(hz) }) } else { Err(RowsError::Rate { found: hz }) }
    }

    /// Rows a second.
    #[must_use]
    pub fn hz(self) -> f64 {
        self.hz
    }

    /// Stage time of a row. Unit: s. One division.
    #[must_use]
    pub fn seconds(self, row: u64) -> f64 {
        real(row) / self.hz
    }

    /// How many rows lie from 0 to `duration` seconds; one that falls on the end belongs to them.
    ///
    /// # Errors
    /// [`RowsError::TooMany`] over 1e12 rows.
    pub fn rows_within(self, duration: f64) -> Result<u64, RowsError> {
        let about = duration * self.hz;
        let too_many = RowsError::TooMany { rows: about, most: MOST_ROWS };
        if !(0.0..MOST_ROWS).contains(&about) {
            return Err(too_many);
        }
        let mut last = whole::floor(about).and_then(|n| u64::try_from(n).ok()).ok_or(too_many)?;
        // The product is rounded; the rows are judged by the division that places them.
        while last > 0 && self.seconds(last) > duration {
            last -= 1;
        }
        while self.seconds(last + 1) <= duration {
            last += 1;
        }
        Ok(last + 1)
    }

    /// Writes `t_s` of a row.
    pub(super) fn write(self, row: u64, text: &mut Text) {
        match self.ticks {
            // At most 1e12 rows of at most 5^9 or 2^19 ticks (what is left of 10^d / rate when no ten divides it): below 2^61.
            Some(Ticks { step, decimals }) => text.decimal(row * step, decimals),
            None => text.shortest(self.seconds(row)),
        }
    }
}

impl Ticks {
    /// The fewest decimals, up to nine, with which 1 / `hz` is a whole number of ticks; for rates that are whole multiples of 1/1024.
    fn of(hz: f64) -> Option<Ticks> {
        let parts = hz * 1024.0;
        let rate = whole::nearest(parts).filter(|n| *n > 0 && whole::real(*n) == parts).and_then(|n| u64::try_from(n).ok())?;
        let mut ten = 1_u64;
        for decimals in 0..=9 {
            let ticks = ten * 1024;
            if ticks.is_multiple_of(rate) {
                return Some(Ticks { step: ticks / rate, decimals });
            }
            ten *= 10;
        }
        None
    }
}

/// A row number as an f64: exact, since rows stay below [`MOST_ROWS`].
#[allow(clippy::cast_precision_loss, reason = "rows stay below 1e12 by construction")]
pub(super) fn real(row: u64) -> f64 {
    row as f64
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    fn shown(hz: f64, row: u64) -> String {
        let mut text = Text::new();
        RowRate::new(hz).unwrap().write(row, &mut text);
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
        for hz in [1000.0, 24.0, 30.0, 29.97, 0.1, 1e-5, 48_000.0, 44_100.0, 12.5, 512.0, 999_999.0, core::f64::consts::PI] {
            for row in [0, 1, 2, 3, 7, 1000, 4097, 1_000_003, 86_399_999, 999_999_999_999] {
                let back: f64 = shown(hz, row).parse().unwrap();
                assert_eq!(back.to_bits(), (row as f64 / hz).to_bits(), "{hz} {row}");
            }
        }
    }

    #[test]
    fn an_end_on_a_row_is_a_row_and_rounding_decides_nothing() {
        // 0.3 x 10 rounds up to 3, 4.35 x 100 down to 434.99999999999994; 3/10 and 435/100 are those very numbers.
        assert_eq!(RowRate::new(10.0).unwrap().rows_within(0.3).unwrap(), 4);
        assert_eq!(RowRate::new(100.0).unwrap().rows_within(4.35).unwrap(), 436);
        assert_eq!(RowRate::new(100.0).unwrap().rows_within(4.349_999).unwrap(), 435);
        // Just before row 5 of 24 a second, the product still rounds to 5.
        assert_eq!(RowRate::new(24.0).unwrap().rows_within(0.208_333_333_333_333_31).unwrap(), 5);
        assert_eq!(RowRate::new(0.001).unwrap().rows_within(999.0).unwrap(), 1);
    }

    #[test]
    fn rates_and_lengths_out_of_range_are_refused() {
        for hz in [0.0, -1.0, 1_000_000.1, f64::NAN, f64::INFINITY] {
            assert!(RowRate::new(hz).is_err(), "{hz}");
        }
        assert!(matches!(RowRate::new(1e6).unwrap().rows_within(1e6), Err(RowsError::TooMany { .. })));
        assert!(RowRate::new(1e6).unwrap().rows_within(f64::NAN).is_err());
    }
}
