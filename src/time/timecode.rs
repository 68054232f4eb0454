//! The label of a frame: hours, minutes, seconds and frames since midnight.
//!
//! Unit: frames counted from 00:00:00:00 of one day. Invariant: the count is inside the day, and each count has exactly one label.
//! After the last label of the day comes 00:00:00:00 again.
//!
//! Drop-frame: at the start of every minute that 10 does not divide, the labels `;00` and `;01` (29.97) or `;00` to `;03` (59.94) are
//! left out, so that 17 982 or 35 964 frames carry ten minutes of labels. No frame is dropped. Source: SMPTE ST 12-1, from memory.
//! Non-drop labels count the nominal rate: at 24000/1001 they lag behind the clock by one part in 1000, and at 25/2 the labels have
//! 13 frames per second.
//!
//! Limits: no user bits, no field marks; days are not counted.

use super::FrameRate;
use std::fmt;

/// A frame of the day, under a rate. Written `HH:MM:SS:FF`, in drop-frame `HH:MM:SS;FF`; from 100 frames per second on, `FFF`.
///
/// ```
/// use movewright::time::{FrameRate, Timecode};
///
/// let rate = FrameRate::parse("29.97")?;
/// assert_eq!(Timecode::from_count(1800, rate).to_string(), "00:01:00;02");
/// assert_eq!(Timecode::parse("00:01:00;02", rate)?.count(), 1800);
/// assert_eq!(
///     Timecode::parse("00:01:00;00", rate).unwrap_err().to_string(),
///     "timecode \"00:01:00;00\": found a label that drop-frame leaves out, allowed 00:01:00;02 or later"
/// );
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Timecode {
    rate: FrameRate,
    count: u64,
}

/// Why a text is not a label of this rate.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum TimecodeError {
    /// Not groups of digits with separators between.
    #[error("timecode: found {found:?}, allowed {allowed} with two digits in each part{}", digits_note(allowed))]
    Shape {
        /// What was written.
        found: String,
        /// The shape of a label of this rate.
        allowed: &'static str,
    },
    /// A drop-frame separator under a rate that drops nothing.
    #[error("timecode {found:?}: found \";\" before the frame, allowed \":\" (the rate {rate} is not drop-frame)")]
    NotDropFrame {
        /// What was written.
        found: String,
        /// The rate it was read for.
        rate: FrameRate,
    },
    /// Hour, minute, second or frame too high.
    #[error("timecode {found:?}: found {part} {value}, allowed 0 to {highest}")]
    OutOfRange {
        /// What was written.
        found: String,
        /// Which part of the label.
        part: &'static str,
        /// The value of that part.
        value: u64,
        /// The highest value of that part under this rate.
        highest: u64,
    },
    /// A label that drop-frame counting leaves out.
    #[error("timecode {found:?}: found a label that drop-frame leaves out, allowed {next} or later")]
    Dropped {
        /// What was written.
        found: String,
        /// The first label after the gap.
        next: Timecode,
    },
}

fn digits_note(shape: &str) -> &'static str {
    if shape.ends_with("FFF") { " and three for the frame" } else { "" }
}

impl Timecode {
    /// The label of frame `count`, counted from 00:00:00:00. Any count; whole days are taken off.
    #[must_use]
    pub fn from_count(count: u64, rate: FrameRate) -> Timecode {
        Timecode { rate, count: count % Timecode::frames_per_day(rate) }
    }

    /// How many frames a day of labels has at `rate`: 24 x 3600 nominal seconds, less the labels left out.
    #[must_use]
    pub fn frames_per_day(rate: FrameRate) -> u64 {
        u64::from(frames_per_day(rate))
    }

    /// Reads a label of `rate`. In drop-frame both `;` and `:` may stand before the frame.
    ///
    /// # Errors
    /// [`TimecodeError`] when the shape is another, a part is too high, or drop-frame leaves the label out. Nothing is carried over:
    /// minute 60 is refused, not read as an hour.
    pub fn parse(text: &str, rate: FrameRate) -> Result<Timecode, TimecodeError> {
        let wrong_shape = || TimecodeError::Shape { found: text.to_owned(), allowed: shape(rate) };
        let [h1, h2, b':', m1, m2, b':', s1, s2, separator @ (b':' | b';'), frame @ ..] = text.as_bytes() else {
            return Err(wrong_shape());
        };
        if frame.len() != frame_digits(rate) {
            return Err(wrong_shape());
        }
        let hour = number(&[*h1, *h2]).ok_or_else(wrong_shape)?;
        let minute = number(&[*m1, *m2]).ok_or_else(wrong_shape)?;
        let second = number(&[*s1, *s2]).ok_or_else(wrong_shape)?;
        let frame = number(frame).ok_or_else(wrong_shape)?;
        if *separator == b';' && !rate.is_drop_frame() {
            return Err(TimecodeError::NotDropFrame { found: text.to_owned(), rate });
        }
        let nominal = u64::from(rate.nominal());
        for (part, value, highest) in [("hour", hour, 23), ("minute", minute, 59), ("second", second, 59), ("frame", frame, nominal - 1)] {
            if value > highest {
                return Err(TimecodeError::OutOfRange { found: text.to_owned(), part, value, highest });
            }
        }
        let dropped = u64::from(dropped_per_minute(rate));
        let minutes = hour * 60 + minute;
        let at = |frame: u64| Timecode { rate, count: (minutes * 60 + second) * nominal + frame - dropped * (minutes - minutes / 10) };
        if second == 0 && frame < dropped && minute % 10 != 0 {
            return Err(TimecodeError::Dropped { found: text.to_owned(), next: at(dropped) });
        }
        Ok(at(frame))
    }

    /// Frames since 00:00:00:00. Range: below [`Timecode::frames_per_day`].
    #[must_use]
    pub fn count(self) -> u64 {
        self.count
    }

    /// The rate that the label counts in.
    #[must_use]
    pub fn rate(self) -> FrameRate {
        self.rate
    }

    /// The label `frames` frames later, or earlier when negative, round midnight if need be.
    #[must_use]
    pub fn after(self, frames: i64) -> Timecode {
        let day = frames_per_day(self.rate);
        let later = frames.rem_euclid(i64::from(day)).unsigned_abs();
        Timecode::from_count(self.count + later, self.rate)
    }

    /// Writes the label at the end of `text`. Allocates only when `text` has to grow.
    pub(crate) fn append_to(self, text: &mut String) {
        let (label, frame) = self.digits();
        text.extend(label.iter().chain(frame.iter().skip(self.skipped())).map(|byte| char::from(*byte)));
    }

    /// `HH:MM:SS` with the separator that follows, and the frame in three digits.
    fn digits(self) -> ([u8; 9], [u8; 3]) {
        let nominal = u64::from(self.rate.nominal());
        let number = self.count + self.labels_left_out();
        let (seconds, frame) = (number / nominal, number % nominal);
        let (hour, minute, second) = (seconds / 3600, seconds / 60 % 60, seconds % 60);
        let before_frame = if self.rate.is_drop_frame() { b';' } else { b':' };
        (
            [digit(hour / 10), digit(hour), b':', digit(minute / 10), digit(minute), b':', digit(second / 10), digit(second), before_frame],
            [digit(frame / 100), digit(frame / 10), digit(frame)],
        )
    }

    /// How many of the three digits of the frame are not written.
    fn skipped(self) -> usize {
        3 - frame_digits(self.rate)
    }

    /// How many labels between midnight and this frame are left out.
    ///
    /// Ten minutes hold nine gaps. The first minute of the ten is whole, so its first `dropped` frames come before any gap; from there
    /// on each minute is short by one gap. Source: SMPTE ST 12-1, from memory; inverse of `parse` over the whole day in the tests.
    fn labels_left_out(self) -> u64 {
        let dropped = u64::from(dropped_per_minute(self.rate));
        let per_minute = 60 * u64::from(self.rate.nominal()) - dropped;
        let per_ten_minutes = 10 * per_minute + dropped;
        let (tens, rest) = (self.count / per_ten_minutes, self.count % per_ten_minutes);
        let gaps = if rest < dropped { 0 } else { (rest - dropped) / per_minute };
        dropped * (9 * tens + gaps)
    }
}

/// `HH:MM:SS:FF`, in drop-frame `HH:MM:SS;FF`. Width and alignment are obeyed.
impl fmt::Display for Timecode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut text = String::with_capacity(12);
        self.append_to(&mut text);
        f.pad(&text)
    }
}

fn shape(rate: FrameRate) -> &'static str {
    match (rate.is_drop_frame(), frame_digits(rate)) {
        (true, _) => "HH:MM:SS;FF",
        (false, 2) => "HH:MM:SS:FF",
        (false, _) => "HH:MM:SS:FFF",
    }
}

fn frame_digits(rate: FrameRate) -> usize {
    if rate.nominal() > 99 { 3 } else { 2 }
}

/// Labels left out at the start of a minute: 2 of 30, 4 of 60. Source: SMPTE ST 12-1, from memory.
fn dropped_per_minute(rate: FrameRate) -> u32 {
    if rate.is_drop_frame() { rate.nominal() / 15 } else { 0 }
}

/// At most 1000 x 86 400: no overflow.
fn frames_per_day(rate: FrameRate) -> u32 {
    rate.nominal() * 86_400 - dropped_per_minute(rate) * 9 * 6 * 24
}

fn number(digits: &[u8]) -> Option<u64> {
    digits.iter().try_fold(0, |number, byte| byte.is_ascii_digit().then(|| number * 10 + u64::from(byte - b'0')))
}

/// The last digit of a number, in ASCII.
fn digit(number: u64) -> u8 {
    b'0' + (number % 10) as u8
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;

    fn refused(text: &str, rate: &str, expected: &str) {
        let rate = FrameRate::parse(rate).unwrap();
        assert_eq!(Timecode::parse(text, rate).unwrap_err().to_string(), expected);
    }

    #[test]
    fn refusals_say_what_was_found_and_what_is_allowed() {
        refused("00:60:00:00", "24", r#"timecode "00:60:00:00": found minute 60, allowed 0 to 59"#);
        refused("24:00:00:00", "24", r#"timecode "24:00:00:00": found hour 24, allowed 0 to 23"#);
        refused("00:00:99:00", "24", r#"timecode "00:00:99:00": found second 99, allowed 0 to 59"#);
        refused("00:00:00:24", "24", r#"timecode "00:00:00:24": found frame 24, allowed 0 to 23"#);
        refused("00:00:00:24", "23.98", r#"timecode "00:00:00:24": found frame 24, allowed 0 to 23"#);
        refused("00:00:00;30", "29.97", r#"timecode "00:00:00;30": found frame 30, allowed 0 to 29"#);
        refused("00:00:00:120", "120", r#"timecode "00:00:00:120": found frame 120, allowed 0 to 119"#);
        refused(
            "00:00:00;00",
            "30000/1001",
            r#"timecode "00:00:00;00": found ";" before the frame, allowed ":" (the rate 30000/1001 is not drop-frame)"#,
        );
        refused(
            "23:59:00:01",
            "29.97",
            r#"timecode "23:59:00:01": found a label that drop-frame leaves out, allowed 23:59:00;02 or later"#,
        );
        refused(
            "00:09:00;03",
            "59.94",
            r#"timecode "00:09:00;03": found a label that drop-frame leaves out, allowed 00:09:00;04 or later"#,
        );
        refused("1:00:00:00", "24", r#"timecode: found "1:00:00:00", allowed HH:MM:SS:FF with two digits in each part"#);
        refused("01:00:00;0", "29.97", r#"timecode: found "01:00:00;0", allowed HH:MM:SS;FF with two digits in each part"#);
        refused(
            "01:00:00:00",
            "100",
            r#"timecode: found "01:00:00:00", allowed HH:MM:SS:FFF with two digits in each part and three for the frame"#,
        );
    }

    #[test]
    fn every_other_shape_is_refused() {
        for text in [
            "",
            ":",
            "::::",
            "00:00:00",
            "00:00:00:",
            "00:00:00:0",
            "00:00:00:000",
            "00:00:00:00:00",
            "0:0:0:0",
            "00:00:00:00 ",
            " 00:00:00:00",
            "00;00:00:00",
            "00:00;00:00",
            "00.00.00.00",
            "00:00:00.00",
            "00:00:00,00",
            "-1:00:00:00",
            "+1:00:00:00",
            "00:00:00:-1",
            "aa:bb:cc:dd",
            "00:00:00:0é",
            "é:00:00:00",
            "00000000000",
            "00:0 :00:00",
            "00:00:00:0\u{0}",
            "٠٠:00:00:00",
        ] {
            for rate in ["24", "29.97", "30000/1001", "59.94"] {
                let error = Timecode::parse(text, FrameRate::parse(rate).unwrap()).unwrap_err();
                assert!(matches!(error, TimecodeError::Shape { .. }), "{text:?} at {rate}: {error}");
            }
        }
    }

    #[test]
    fn every_way_out_writes_the_same_label() {
        for (rate, count, label) in [
            ("29.97", 17_982, "00:10:00;00"),
            ("24", 86_399, "00:59:59:23"),
            ("99", 98, "00:00:00:98"),
            ("100", 99, "00:00:00:099"),
            ("1000", 86_399_999, "23:59:59:999"),
            ("1/3", 59, "00:00:59:00"),
        ] {
            let timecode = Timecode::from_count(count, FrameRate::parse(rate).unwrap());
            let mut text = String::from(",");
            timecode.append_to(&mut text);
            assert_eq!(text, format!(",{label}"));
            assert_eq!(timecode.to_string(), label);
            assert_eq!(format!("{timecode:>13}"), format!("{label:>13}"));
            assert_eq!(Timecode::parse(label, timecode.rate()), Ok(timecode));
        }
    }

    #[test]
    fn labels_go_round_midnight_both_ways() {
        for rate in ["24", "23.976", "29.97", "59.94", "12.5", "1000"] {
            let rate = FrameRate::parse(rate).unwrap();
            let day = Timecode::frames_per_day(rate);
            let midnight = Timecode::from_count(0, rate);
            assert_eq!(Timecode::from_count(day, rate), midnight);
            assert_eq!(midnight.after(-1).count(), day - 1);
            assert_eq!(midnight.after(-1).after(1), midnight);
            assert_eq!(midnight.after(i64::MIN).after(i64::MAX), midnight.after(-1));
            assert_eq!(Timecode::from_count(u64::MAX, rate).count(), u64::MAX % day);
        }
    }
}
