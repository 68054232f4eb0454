//! When each row of a program is, and which is the last: in whole numbers, from the manifest's rate as it is written and the pace as a decimal.
//!
//! Row k is at k / rate seconds. The program ends `begin + frames x pace` seconds after its start; the last row is the first one that is not before the end.
//! Invariant: no comparison of a row with the end is rounded. Limits: terms of a rate up to 1e9, a pace as the shortest decimal that reads back as it.

/// The rows of one program on its clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct RowClock {
    /// Rows per second: numerator and denominator.
    rate: (u128, u128),
    /// End of the program in seconds: numerator and denominator.
    end: (u128, u128),
}

/// Largest numerator and denominator of a rate.
const MOST_TERM: u128 = 1_000_000_000;

impl RowClock {
    /// A move to start of `begin` seconds, then `frames` at `pace` seconds each. `None` where the rate is no number, ratio or decimal above 0, or the end
    /// is beyond what 128 bits hold.
    pub(super) fn new(rate: &str, begin: u64, frames: u64, pace: f64) -> Option<RowClock> {
        let rate = match rate.split_once('/') {
            Some((n, d)) => (digits(n)?, digits(d)?),
            None => decimal(rate)?,
        };
        if !(0 < rate.0 && 0 < rate.1 && rate.0 <= MOST_TERM && rate.1 <= MOST_TERM) {
            return None;
        }
        // A number is printed as the shortest decimal that reads back as it, without an exponent.
        let (pace, per) = decimal(&pace.to_string())?;
        let end = u128::from(begin).checked_mul(per)?.checked_add(u128::from(frames).checked_mul(pace)?)?;
        // What `is_over` compares with must fit.
        end.checked_mul(rate.0)?;
        Some(RowClock { rate, end: (end, per) })
    }

    /// The same, ending so many microseconds after the move to start.
    pub(super) fn ending(self, begin: u64, micros: u64) -> Option<RowClock> {
        let end = u128::from(begin).checked_mul(1_000_000)?.checked_add(u128::from(micros))?;
        end.checked_mul(self.rate.0)?;
        Some(RowClock { end: (end, 1_000_000), ..self })
    }

    /// Rows per second, to the nearest number.
    #[allow(clippy::cast_precision_loss, reason = "terms are at most 1e9")]
    pub(super) fn hz(&self) -> f64 {
        self.rate.0 as f64 / self.rate.1 as f64
    }

    /// End of the program, to a few units in the last place. Unit: s.
    #[allow(clippy::cast_precision_loss, reason = "for distances in time, not for comparisons")]
    pub(super) fn end(&self) -> f64 {
        self.end.0 as f64 / self.end.1 as f64
    }

    /// The instant of a row: the nearest number while row x denominator is below 2^53. Unit: s.
    #[allow(clippy::cast_precision_loss, reason = "says so")]
    pub(super) fn seconds(&self, row: u64) -> f64 {
        (u128::from(row) * self.rate.1) as f64 / self.rate.0 as f64
    }

    /// True where [`seconds`](Self::seconds) is the nearest number.
    pub(super) fn is_exact(&self, row: u64) -> bool {
        u128::from(row) * self.rate.1 < 1 << 53
    }

    /// True where a row is at the end or after it.
    pub(super) fn is_over(&self, row: u64) -> bool {
        let end = self.end.0 * self.rate.0;
        // What does not fit into 128 bits is more than what does.
        u128::from(row).checked_mul(self.rate.1).and_then(|t| t.checked_mul(self.end.1)).is_none_or(|t| end <= t)
    }
}

/// A whole number of digits alone.
fn digits(text: &str) -> Option<u128> {
    if text.is_empty() || !text.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    text.parse().ok()
}

/// Digits with at most one point between them, as a ratio.
fn decimal(text: &str) -> Option<(u128, u128)> {
    let Some((units, decimals)) = text.split_once('.') else { return Some((digits(text)?, 1)) };
    let per = 10_u128.checked_pow(u32::try_from(decimals.len()).ok()?)?;
    Some((digits(units)?.checked_mul(per)?.checked_add(digits(decimals)?)?, per))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    #[test]
    fn the_end_is_compared_in_whole_numbers() {
        // 3 frames of 0.1 s end at 0.3 s exactly, though 3.0 x 0.1 > 0.3.
        let clock = RowClock::new("10", 0, 3, 0.1).unwrap();
        assert!(clock.is_over(3) && !clock.is_over(2));
        // 30 x 4.1 + 7 = 130 s: at 30000/1001 rows per second row 3896 is at 129.996 s, row 3897 at 130.03 s.
        let clock = RowClock::new("30000/1001", 7, 30, 4.1).unwrap();
        assert!(clock.is_over(3897) && !clock.is_over(3896));
        assert!((clock.end() - 130.0).abs() < 1e-12 && (clock.hz() - 29.97).abs() < 1e-3);
        let clock = RowClock::new("12.5", 2, 1, 0.04).unwrap();
        assert!(clock.is_over(26) && !clock.is_over(25));
        // A pace of seventeen decimals, and a row whose product is beyond 128 bits.
        let clock = RowClock::new("29.625", 610, 32, 0.123_456_789_012_345_67).unwrap();
        assert!(clock.is_over(u64::MAX) && clock.is_over(18_189) && !clock.is_over(18_188), "{clock:?}");
        let clock = RowClock::new("12.5", 2, 1, 0.04).unwrap();
        assert!(clock.is_exact(26) && clock.seconds(26).to_bits() == 2.08_f64.to_bits());
    }

    #[test]
    fn what_is_no_rate_is_none() {
        for text in ["", "0", "0/1", "1/0", "-1", "+1", "1e3", "nan", ".5", "5.", "1/2/3", " 24", "1000000001", "1/1000000001"] {
            assert_eq!(RowClock::new(text, 0, 1, 1.0), None, "{text}");
        }
        assert!(RowClock::new("1", u64::MAX, u64::MAX, 1e300).is_none());
    }
}
