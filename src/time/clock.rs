//! Seconds on the stage clock, instants in frame time, and the pace that joins the two.
//!
//! Units: seconds, frames, seconds per frame. Invariant: frame time and seconds never mix; a pace is from 0.001 to 86 400 seconds per frame.
//!
//! Source: stage time = frame time x pace + a constant is the definition of a moving pass; nothing published is used here.
//!
//! Limits: nothing here reads a real clock.

use std::fmt;

use crate::bounds::PACE;

/// An instant or a distance in frame time; frame n is exposed around n. Unit: frames. Any value is legal.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct FrameTime(pub f64);

/// An instant on the stage clock, or a duration. Unit: seconds. Any value is legal. Shown to people as in `1 h 08 min 20 s`.
///
/// Frame time and seconds are different types: one becomes the other by a pace alone.
///
/// ```compile_fail
/// use movewright::time::{FrameTime, Seconds};
/// let wrong: Seconds = FrameTime(12.0);
/// ```
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Seconds(pub f64);

/// How long a frame takes while a pass is photographed. Unit: seconds per frame. Range: 0.001 to 86 400.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub(crate) struct Pace(f64);

/// A number that is not allowed in its place.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{what}: found {found:?}, allowed {allowed}")]
pub(crate) struct ClockError {
    /// Name of the quantity.
    pub what: &'static str,
    /// The number.
    pub found: f64,
    /// The range in words, with its unit.
    pub allowed: String,
}

impl FrameTime {
    /// The middle of a frame.
    #[must_use]
    #[allow(clippy::cast_precision_loss, reason = "frames lie within 1e8 of zero")]
    pub fn of_frame(frame: i64) -> FrameTime {
        FrameTime(frame as f64)
    }
}

impl core::ops::Add for Seconds {
    type Output = Seconds;

    fn add(self, other: Seconds) -> Seconds {
        Seconds(self.0 + other.0)
    }
}

impl core::ops::Sub for Seconds {
    type Output = Seconds;

    fn sub(self, other: Seconds) -> Seconds {
        Seconds(self.0 - other.0)
    }
}

impl Pace {
    /// A pace. Unit: seconds per frame.
    ///
    /// # Errors
    /// [`ClockError`] unless from 0.001 to 86 400 seconds per frame.
    pub(crate) fn new(seconds_per_frame: f64) -> Result<Pace, ClockError> {
        if PACE.contains(seconds_per_frame) {
            Ok(Pace(seconds_per_frame))
        } else {
            Err(ClockError { what: "pace", found: seconds_per_frame, allowed: PACE.to_string() })
        }
    }

    /// Unit: seconds per frame.
    #[must_use]
    pub(crate) fn get(self) -> f64 {
        self.0
    }

    /// How long `frames` frames of a pass take, fractions allowed. Unit: seconds. One multiplication.
    #[must_use]
    pub(crate) fn seconds_of(self, frames: f64) -> f64 {
        frames * self.0
    }
}

/// A duration as text: "1 h 08 min 20 s", "3 min 05 s", "41.7 s".
///
/// `seconds` is rounded to whole seconds, below a minute to tenths; a tie goes to the even one. From 2^53 s on, and for what is not
/// finite, the number itself is shown with its unit.
#[must_use]
pub(crate) fn hms(seconds: f64) -> String {
    let size = seconds.abs();
    let sign = if seconds < 0.0 { "-" } else { "" };
    let tenths = (size * 10.0).round_ties_even();
    if tenths < 600.0 {
        let sign = if tenths == 0.0 { "" } else { sign };
        return format!("{sign}{:.1} s", tenths / 10.0);
    }
    let Some(whole) = count(size.round_ties_even()) else {
        return format!("{seconds:?} s");
    };
    let (hours, minutes, seconds) = (whole / 3600, whole / 60 % 60, whole % 60);
    if hours == 0 { format!("{sign}{minutes} min {seconds:02} s") } else { format!("{sign}{hours} h {minutes:02} min {seconds:02} s") }
}

/// For people, as in `1 h 08 min 20 s`. Width and alignment are obeyed.
impl fmt::Display for Seconds {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&hms(self.0))
    }
}

/// A whole number below 2^53 as an integer, exactly.
fn count(whole: f64) -> Option<u64> {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "the condition keeps it from 0 to 2^53")]
    (0.0..9_007_199_254_740_992.0).contains(&whole).then_some(whole as u64)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::float_cmp, reason = "a test may stop at the first surprise; equal means equal bit for bit")]
mod tests {
    use super::*;

    #[test]
    fn a_length_is_told_in_hours_minutes_and_seconds() {
        assert_eq!(hms(4100.0), "1 h 08 min 20 s");
    }

    #[test]
    fn a_pace_turns_frames_into_seconds() {
        let pace = Pace::new(12.0).unwrap();
        assert_eq!(pace.seconds_of(336.0), 4032.0);
        assert!(Pace::new(0.0).is_err());
    }

    #[test]
    fn durations_for_people() {
        for (seconds, expected) in [
            (0.0, "0.0 s"),
            (-0.0, "0.0 s"),
            (-0.04, "0.0 s"),
            (0.05, "0.0 s"),
            (0.15, "0.2 s"),
            (0.5, "0.5 s"),
            (41.7, "41.7 s"),
            (-41.7, "-41.7 s"),
            (59.94, "59.9 s"),
            (59.96, "1 min 00 s"),
            (60.0, "1 min 00 s"),
            (185.4, "3 min 05 s"),
            (3599.4, "59 min 59 s"),
            (3599.6, "1 h 00 min 00 s"),
            (4100.0, "1 h 08 min 20 s"),
            (4100.5, "1 h 08 min 20 s"),
            (4101.5, "1 h 08 min 22 s"),
            (-4100.0, "-1 h 08 min 20 s"),
            (5400.0, "1 h 30 min 00 s"),
            (86_400.0 * 365.0, "8760 h 00 min 00 s"),
            (9_007_199_254_740_991.0, "2501999792983 h 36 min 31 s"),
            (9_007_199_254_740_992.0, "9007199254740992.0 s"),
            (-1e300, "-1e300 s"),
            (f64::INFINITY, "inf s"),
            (f64::NAN, "NaN s"),
        ] {
            assert_eq!(hms(seconds), expected, "{seconds:?}");
        }
        assert_eq!(Seconds(4100.0).to_string(), "1 h 08 min 20 s");
    }

    #[test]
    fn paces_at_their_edges() {
        for right in [1e-3, 1.0 / 24.0, 12.0, 86_400.0] {
            assert_eq!(Pace::new(right).unwrap().get(), right);
        }
        for wrong in [0.0, -0.0, -12.0, 1e-3_f64.next_down(), 86_400.0_f64.next_up()] {
            assert_eq!(Pace::new(wrong).unwrap_err().to_string(), format!("pace: found {wrong:?}, allowed 0.001 to 86400 s per frame"));
        }
    }

    /// A take of two hours (a long one; common practice, no source) has at most 1440 frames at 5 s per frame and 342 at 21 s: 60 and 14 whole seconds
    /// of film at 24 frames/s.
    #[test]
    fn frames_that_fit_into_two_hours() {
        let take = 2.0 * 3600.0;
        for (seconds_per_frame, frames, of_film) in [(5.0, 1440.0, 60.0), (21.0, 342.0, 14.0)] {
            let pace = Pace::new(seconds_per_frame).unwrap();
            let whole_frames = (take / pace.get()).floor();
            assert_eq!(whole_frames, frames);
            assert_eq!((whole_frames / 24.0).floor(), of_film);
            let taken = pace.seconds_of(whole_frames);
            assert!(take - seconds_per_frame < taken && taken <= take);
        }
    }
}
