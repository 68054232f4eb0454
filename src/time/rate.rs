//! How many frames of the finished film pass in a second, as an exact ratio.
//!
//! Units: frames per second. Invariant: the ratio is in lowest terms, over 0 and at most 1000, and only 30000/1001 and 60000/1001 can
//! count in drop-frame timecode.
//!
//! Source: the names 23.976, 23.98, 29.97 and 59.94 for 24000/1001, 30000/1001 and 60000/1001 are common practice, no source; that the
//! last two drop labels and the first does not is SMPTE ST 12-1, from memory.
//!
//! Limits: no other decimal stands for a 1001 rate. "47.952" is 47.952 exactly; write "48000/1001" for the other.

use std::fmt;
use std::str::FromStr;

use crate::bounds::{MOST_FRAMES_PER_SECOND, MOST_RATE_DECIMALS};

/// A frame rate. Unit: frames per second, exact. Range: over 0, at most 1000.
///
/// ```
/// use movewright::time::FrameRate;
///
/// let rate = FrameRate::parse("23.976")?;
/// assert_eq!((rate.numerator(), rate.denominator()), (24_000, 1001));
/// assert_eq!(rate.seconds(24_000), 1001.0);
/// assert!(FrameRate::parse("29.97")?.is_drop_frame());
/// assert!(!FrameRate::parse("30000/1001")?.is_drop_frame());
/// assert!(FrameRate::parse("0").is_err());
/// # Ok::<(), movewright::time::RateError>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct FrameRate {
    numerator: u32,
    denominator: u32,
    drop_frame: bool,
}

/// Why a text or a ratio is not a frame rate.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum RateError {
    /// Neither a whole number, nor a decimal, nor a ratio.
    #[error("frame rate: found {found:?}, allowed {ALLOWED}")]
    NotARate {
        /// What was written.
        found: String,
    },
    /// Zero, or over 1000.
    #[error("frame rate: found {found:?}, allowed more than 0 and at most {MOST_FRAMES_PER_SECOND} frames per second")]
    OutOfRange {
        /// What was written.
        found: String,
    },
    /// More decimals than are read.
    #[error(
        "frame rate: found {found:?} with {decimals} decimals, allowed at most {MOST_RATE_DECIMALS}; an exact ratio such as \"30000/1001\" has no such limit"
    )]
    TooManyDecimals {
        /// What was written.
        found: String,
        /// How many decimals it has.
        decimals: usize,
    },
}

const ALLOWED: &str = "a whole number (\"24\"), a decimal (\"23.976\") or a ratio (\"30000/1001\") of frames per second";

impl FrameRate {
    /// The rate `numerator / denominator`, in non-drop timecode.
    ///
    /// # Errors
    /// [`RateError::OutOfRange`] unless both are over 0 and the ratio is at most 1000.
    pub fn new(numerator: u32, denominator: u32) -> Result<FrameRate, RateError> {
        let in_range =
            0 < numerator && 0 < denominator && u64::from(numerator) <= u64::from(MOST_FRAMES_PER_SECOND) * u64::from(denominator);
        if !in_range {
            return Err(RateError::OutOfRange { found: format!("{numerator}/{denominator}") });
        }
        Ok(FrameRate::reduced(numerator, denominator, false))
    }

    /// Reads a rate: a whole number, a decimal with at most 6 decimals, or a ratio of two whole numbers.
    ///
    /// "23.976" and "23.98" are 24000/1001. "29.97" is 30000/1001 and "59.94" is 60000/1001, both in drop-frame timecode; the ratios
    /// themselves count non-drop. Zeros at the end of a decimal change nothing. Any other decimal is taken exactly: "12.5" is 25/2.
    ///
    /// # Errors
    /// [`RateError`] for anything else: a sign, a space, an exponent, zero, more than 1000 frames per second.
    pub fn parse(text: &str) -> Result<FrameRate, RateError> {
        let not_a_rate = || RateError::NotARate { found: text.to_owned() };
        let out_of_range = || RateError::OutOfRange { found: text.to_owned() };
        if let Some((numerator, denominator)) = text.split_once('/') {
            let numerator = whole(numerator).ok_or_else(not_a_rate)?;
            let denominator = whole(denominator).ok_or_else(not_a_rate)?;
            return FrameRate::new(numerator, denominator).map_err(|_| out_of_range());
        }
        let Some((units, decimals)) = text.split_once('.') else {
            let units = whole(text).ok_or_else(not_a_rate)?;
            return FrameRate::new(units, 1).map_err(|_| out_of_range());
        };
        let units = whole(units).ok_or_else(not_a_rate)?;
        if decimals.is_empty() || !decimals.bytes().all(|byte| byte.is_ascii_digit()) {
            return Err(not_a_rate());
        }
        if decimals.len() > MOST_RATE_DECIMALS {
            return Err(RateError::TooManyDecimals { found: text.to_owned(), decimals: decimals.len() });
        }
        if units > MOST_FRAMES_PER_SECOND {
            return Err(out_of_range());
        }
        match (units, decimals.trim_end_matches('0')) {
            (23, "976" | "98") => return Ok(FrameRate::reduced(24_000, 1001, false)),
            (29, "97") => return Ok(FrameRate::reduced(30_000, 1001, true)),
            (59, "94") => return Ok(FrameRate::reduced(60_000, 1001, true)),
            _ => {}
        }
        // At most 1000 and 6 decimals: the numerator stays below 1001 x 10^6, inside a u32.
        let (numerator, denominator) = decimals
            .bytes()
            .fold((units, 1), |(numerator, denominator), digit| (numerator * 10 + u32::from(digit - b'0'), denominator * 10_u32));
        FrameRate::new(numerator, denominator).map_err(|_| out_of_range())
    }

    /// Numerator of the ratio in lowest terms.
    #[must_use]
    pub fn numerator(self) -> u32 {
        self.numerator
    }

    /// Denominator of the ratio in lowest terms.
    #[must_use]
    pub fn denominator(self) -> u32 {
        self.denominator
    }

    /// How many frame labels a second of timecode has: the rate, rounded up. Range: 1 to 1000.
    #[must_use]
    pub fn nominal(self) -> u32 {
        self.numerator.div_ceil(self.denominator)
    }

    /// Whether the timecode of this rate leaves labels out to keep up with the clock.
    #[must_use]
    pub fn is_drop_frame(self) -> bool {
        self.drop_frame
    }

    /// How long `frames` frames of the finished film run. Unit: seconds. Any count, negative too.
    ///
    /// The product with the denominator is exact, then there is one division: while it is below 2^53 the result is the nearest `f64`.
    #[must_use]
    pub fn seconds(self, frames: i64) -> f64 {
        let ticks = i128::from(frames) * i128::from(self.denominator);
        ticks as f64 / f64::from(self.numerator)
    }

    /// Lowest terms. Both must be over 0.
    fn reduced(numerator: u32, denominator: u32, drop_frame: bool) -> FrameRate {
        let (mut divisor, mut rest) = (numerator, denominator);
        while rest != 0 {
            (divisor, rest) = (rest, divisor % rest);
        }
        FrameRate { numerator: numerator / divisor, denominator: denominator / divisor, drop_frame }
    }
}

impl FromStr for FrameRate {
    type Err = RateError;

    fn from_str(text: &str) -> Result<FrameRate, RateError> {
        FrameRate::parse(text)
    }
}

/// As [`FrameRate::parse`] reads it back: "24", "25/2", "24000/1001", "29.97", "59.94".
impl fmt::Display for FrameRate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (self.drop_frame, self.numerator, self.denominator) {
            (true, 60_000, _) => f.write_str("59.94"),
            (true, _, _) => f.write_str("29.97"),
            (false, numerator, 1) => write!(f, "{numerator}"),
            (false, numerator, denominator) => write!(f, "{numerator}/{denominator}"),
        }
    }
}

/// A whole number of digits alone, no sign, that fits a `u32`.
fn whole(digits: &str) -> Option<u32> {
    if !digits.bytes().all(|byte| byte.is_ascii_digit()) {
        return None; // the standard parser would take a plus sign
    }
    digits.parse().ok()
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::float_cmp, reason = "a test may stop at the first surprise; equal means equal bit for bit")]
mod tests {
    use super::*;

    fn check(text: &str, numerator: u32, denominator: u32, drop_frame: bool, nominal: u32) {
        let rate = FrameRate::parse(text).unwrap();
        assert_eq!((rate.numerator(), rate.denominator()), (numerator, denominator), "{text}");
        assert_eq!(rate.is_drop_frame(), drop_frame, "{text}");
        assert_eq!(rate.nominal(), nominal, "{text}");
        assert_eq!(FrameRate::parse(&rate.to_string()), Ok(rate), "{text}");
    }

    #[test]
    fn every_way_to_write_a_rate() {
        for whole in [1, 24, 25, 30, 48, 50, 60, 100, 1000] {
            check(&whole.to_string(), whole, 1, false, whole);
        }
        check("24/1", 24, 1, false, 24);
        check("48/2", 24, 1, false, 24);
        check("24.000000", 24, 1, false, 24);
        check("24000/1001", 24_000, 1001, false, 24);
        check("48000/2002", 24_000, 1001, false, 24);
        check("30000/1001", 30_000, 1001, false, 30);
        check("60000/1001", 60_000, 1001, false, 60);
        for text in ["23.976", "23.9760", "23.98", "23.980"] {
            check(text, 24_000, 1001, false, 24);
        }
        check("29.97", 30_000, 1001, true, 30);
        check("29.970", 30_000, 1001, true, 30);
        check("59.94", 60_000, 1001, true, 60);
        check("59.940000", 60_000, 1001, true, 60);
        check("12.5", 25, 2, false, 13);
        check("2997/100", 2997, 100, false, 30);
        check("29.971", 29_971, 1000, false, 30);
        check("47.952", 5994, 125, false, 48);
        check("0.000001", 1, 1_000_000, false, 1);
        check("999.999999", 999_999_999, 1_000_000, false, 1000);
        check("1000.000000", 1000, 1, false, 1000);
        check("4294967000/4294967", 4_294_967_000 / 4_294_967, 1, false, 1000);
        check("4294967295/4294967294", u32::MAX, u32::MAX - 1, false, 2);
    }

    #[test]
    fn what_is_not_a_rate_is_refused_with_found_and_allowed() {
        for text in [
            "",
            " ",
            "24 ",
            " 24",
            "+24",
            "-24",
            "-0.5",
            "+23.976",
            "NaN",
            "nan",
            "inf",
            "-inf",
            "1e2",
            "24.",
            ".5",
            ".",
            "/",
            "24/",
            "/24",
            "24/1/1",
            "24 / 1",
            "24.5/1",
            "24,5",
            "23.9.7",
            "2٤",
            "24fps",
            "0x18",
            "4294967296",
            "24/4294967296",
            "99999999999999999999",
            "29.97DF",
            "１２",
            "24.+5",
            "24.-5",
        ] {
            let error = FrameRate::parse(text).unwrap_err();
            assert!(matches!(error, RateError::NotARate { .. }), "{text:?}: {error}");
            let message = error.to_string();
            assert!(message.contains(&format!("found {text:?}")), "{message}");
            assert!(message.contains("allowed a whole number"), "{message}");
        }
        for text in [
            "0",
            "0.0",
            "0.000000",
            "0/1",
            "24/0",
            "0/0",
            "1001",
            "1001.5",
            "1000.000001",
            "1000001/1000",
            "4294967295",
            "4294967295/4294967",
            "4294967295.999999",
        ] {
            let error = FrameRate::parse(text).unwrap_err();
            assert!(matches!(error, RateError::OutOfRange { .. }), "{text:?}: {error}");
            assert_eq!(error.to_string(), format!("frame rate: found {text:?}, allowed more than 0 and at most 1000 frames per second"));
        }
        assert!(matches!(FrameRate::parse("23.9760239").unwrap_err(), RateError::TooManyDecimals { decimals: 7, .. }));
        assert!(FrameRate::parse("24.0000000").unwrap_err().to_string().contains("with 7 decimals, allowed at most 6"));
        assert!(FrameRate::new(0, 1).is_err() && FrameRate::new(1, 0).is_err());
        assert!(FrameRate::new(1001, 1).is_err() && FrameRate::new(1000, 1).is_ok());
    }

    #[test]
    fn seconds_are_one_division_whatever_the_count() {
        let film = FrameRate::parse("23.976").unwrap();
        assert_eq!(film.seconds(24_000), 1001.0);
        assert_eq!(film.seconds(-24_000), -1001.0);
        assert_eq!(film.seconds(0), 0.0);
        // i64::MAX x 1001 overflows an i64; 2^63 x 1001 / 24000 is the value to within three roundings of 2^-53.
        let expected = 9_223_372_036_854_775_808.0 * (1001.0 / 24_000.0);
        let relative = film.seconds(i64::MAX) / expected - 1.0;
        assert!(relative.abs() <= 2.0 * f64::EPSILON, "{relative:e}");
    }
}
