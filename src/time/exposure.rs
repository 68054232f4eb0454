//! Which part of frame time is exposed: the shutter of one frame, and the run of photographed frames.
//!
//! Units: frames and frame time (frame n is exposed around n), degrees of shutter. Invariant: a shutter opens for more than nothing and
//! no longer than a whole frame; a span has at least one frame and at most 1 000 000, none of them over 100 000 000 from zero.
//!
//! Source: exposure = angle / 360 / frame rate, common practice of the rotating disc shutter; published rows in the tests.
//!
//! Limits: every frame of a pass has the same shutter; the blades themselves, which open gradually, are not modelled.

use crate::bounds::{FRAME_NUMBER, MOST_FRAMES, SHUTTER};

/// How long the shutter is open, as the opening of a disc that turns once a frame. Unit: degrees. Range: over 0, at most 360.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub(crate) struct Shutter {
    degrees: f64,
}

/// The photographed frames of a shot, first and last included. Unit: frames.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct FrameSpan {
    first: i64,
    last: i64,
    count: usize,
}

/// Why there is no such shutter or span.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub(crate) enum ExposureError {
    /// The shutter angle is not over 0 and at most 360.
    #[error("shutter: found {found:?} degrees, allowed {SHUTTER}")]
    Shutter {
        /// The angle asked for. Unit: degrees.
        found: f64,
    },
    /// A frame number too far from zero.
    #[error("frames: found frame {found}, allowed {FRAME_NUMBER}")]
    FrameNumber {
        /// The frame number.
        found: i64,
    },
    /// The last frame comes before the first.
    #[error("frames: found last frame {last}, allowed {first} (the first frame) or later")]
    Backwards {
        /// First frame asked for.
        first: i64,
        /// Last frame asked for.
        last: i64,
    },
    /// Too many frames in one shot.
    #[error("frames: found {found} frames from {first} to {last}, allowed at most {MOST_FRAMES}")]
    TooMany {
        /// First frame asked for.
        first: i64,
        /// Last frame asked for.
        last: i64,
        /// How many frames that is.
        found: u64,
    },
}

impl Shutter {
    /// A shutter that opens for `degrees` of 360.
    ///
    /// # Errors
    /// [`ExposureError::Shutter`] unless over 0 and at most 360.
    pub(crate) fn new(degrees: f64) -> Result<Shutter, ExposureError> {
        if SHUTTER.contains(degrees) { Ok(Shutter { degrees }) } else { Err(ExposureError::Shutter { found: degrees }) }
    }

    /// The opening. Unit: degrees.
    #[must_use]
    pub(crate) fn degrees(self) -> f64 {
        self.degrees
    }

    /// The part of a frame for which the shutter is open. Range: over 0 (0 only by underflow), at most 1.
    #[must_use]
    pub(crate) fn fraction(self) -> f64 {
        self.degrees / 360.0
    }

    /// When the shutter opens and closes for `frame`: half of [`Shutter::fraction`] to either side. Unit: frame time.
    ///
    /// Each end is rounded once, to within 2^-27 of a frame at frame 100 000 000, the furthest of a [`FrameSpan`].
    #[must_use]
    pub(crate) fn window(self, frame: i64) -> (f64, f64) {
        let middle = frame as f64;
        let half = self.fraction() / 2.0;
        (middle - half, middle + half)
    }
}

impl FrameSpan {
    /// The frames `first` to `last`, both included.
    ///
    /// # Errors
    /// [`ExposureError`] when a frame is over 100 000 000 from zero, `last` comes before `first`, or there are over 1 000 000 frames.
    pub(crate) fn new(first: i64, last: i64) -> Result<FrameSpan, ExposureError> {
        for found in [first, last] {
            if !FRAME_NUMBER.contains(found) {
                return Err(ExposureError::FrameNumber { found });
            }
        }
        if last < first {
            return Err(ExposureError::Backwards { first, last });
        }
        let found = first.abs_diff(last) + 1;
        match usize::try_from(found) {
            Ok(count) if found <= MOST_FRAMES => Ok(FrameSpan { first, last, count }),
            _ => Err(ExposureError::TooMany { first, last, found }),
        }
    }

    /// The first photographed frame.
    #[must_use]
    pub fn first(self) -> i64 {
        self.first
    }

    /// The last photographed frame.
    #[must_use]
    pub fn last(self) -> i64 {
        self.last
    }

    /// This frame alone: of a frame that is not photographed the nearest that is.
    #[must_use]
    pub(crate) fn only(self, frame: i64) -> FrameSpan {
        let frame = frame.clamp(self.first, self.last);
        FrameSpan { first: frame, last: frame, count: 1 }
    }

    /// The same from so many frames earlier on, as far as `within` has them.
    #[must_use]
    pub(crate) fn with_frames_before(self, frames: u32, within: FrameSpan) -> FrameSpan {
        let first = (self.first - i64::from(frames)).max(within.first).min(self.first);
        FrameSpan::new(first, self.last).unwrap_or(self)
    }

    /// How many frames. Range: 1 to 1 000 000.
    #[must_use]
    pub fn count(self) -> usize {
        self.count
    }

    /// Whether `frame` is photographed.
    #[must_use]
    pub fn contains(self, frame: i64) -> bool {
        self.first <= frame && frame <= self.last
    }

    /// The frames in order.
    pub fn frames(self) -> std::ops::RangeInclusive<i64> {
        self.first..=self.last
    }

    /// The photographed stretch: half a frame before the first to half a frame after the last. Unit: frame time. Exact.
    #[must_use]
    pub(crate) fn photographed(self) -> (f64, f64) {
        (self.first as f64 - 0.5, self.last as f64 + 0.5)
    }
}

impl IntoIterator for FrameSpan {
    type Item = i64;
    type IntoIter = std::ops::RangeInclusive<i64>;

    fn into_iter(self) -> Self::IntoIter {
        self.frames()
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::float_cmp, reason = "a test may stop at the first surprise; equal means equal bit for bit")]
mod tests {
    use super::super::Pace;
    use super::*;

    #[test]
    fn a_span_holds_both_its_ends() {
        let span = FrameSpan::new(1, 336).unwrap();
        assert_eq!((span.count(), span.photographed()), (336, (0.5, 336.5)));
        assert_eq!(span.frames().sum::<i64>(), 336 * 337 / 2);
        assert!(FrameSpan::new(2, 1).is_err());
    }

    #[test]
    fn half_a_turn_is_open_for_half_a_frame() {
        let shutter = Shutter::new(180.0).unwrap();
        assert_eq!((shutter.fraction(), shutter.window(10)), (0.5, (9.75, 10.25)));
        assert!(Shutter::new(0.0).is_err());
    }

    /// t = angle / 360 / rate. Source: a cinematographers' forum (cinematography.com, topic 24017) and hgb-leipzig.de.
    #[test]
    fn published_shutter_times() {
        for (rate, degrees, one_over) in [
            (24.0, 360.0, 24.0),
            (24.0, 270.0, 32.0),
            (24.0, 180.0, 48.0),
            (24.0, 172.8, 50.0),
            (24.0, 144.0, 60.0),
            (24.0, 90.0, 96.0),
            (24.0, 72.0, 120.0),
            (6.0, 180.0, 12.0),
            (6.0, 90.0, 24.0),
            (6.0, 45.0, 48.0),
        ] {
            let open = Pace::new(1.0 / rate).unwrap().seconds_of(Shutter::new(degrees).unwrap().fraction());
            // Angle, quotient, pace, product and this comparison round once each, by 2^-53: 5 x 2^-53 < 3 x 2^-52.
            assert!((open * one_over - 1.0).abs() <= 3.0 * f64::EPSILON, "{degrees} at {rate}");
        }
    }

    #[test]
    fn a_window_is_centred_on_its_frame() {
        let check = |degrees, frame, window| assert_eq!(Shutter::new(degrees).unwrap().window(frame), window);
        check(360.0, 7, (6.5, 7.5));
        check(180.0, 0, (-0.25, 0.25));
        check(90.0, -1, (-1.125, -0.875));
        check(45.0, 100_000_000, (99_999_999.937_5, 100_000_000.062_5));
    }

    #[test]
    fn whole_shutters_meet_and_cover_the_photographed_stretch() {
        let span = FrameSpan::new(-3, 5).unwrap();
        let shutter = Shutter::new(360.0).unwrap();
        let (start, end) = span.photographed();
        let reached = span.into_iter().fold(start, |reached, frame| {
            let (open, close) = shutter.window(frame);
            assert_eq!(open, reached);
            close
        });
        assert_eq!(reached, end);
    }

    #[test]
    fn wrong_shutters_are_refused() {
        for degrees in [0.0, -0.0, -180.0, f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 360.0_f64.next_up()] {
            assert!(Shutter::new(degrees).is_err(), "{degrees}");
        }
        assert!(Shutter::new(f64::MIN_POSITIVE).is_ok());
        assert_eq!(Shutter::new(400.0).unwrap_err().to_string(), "shutter: found 400.0 degrees, allowed more than 0, at most 360 degrees");
    }

    #[test]
    fn spans_at_their_edges() {
        let span = FrameSpan::new(-2, 2).unwrap();
        assert_eq!(span.frames().collect::<Vec<_>>(), [-2, -1, 0, 1, 2]);
        assert_eq!((span.first(), span.last(), span.count()), (-2, 2, 5));
        assert!(span.contains(-2) && span.contains(2) && !span.contains(-3) && !span.contains(3));
        assert_eq!(FrameSpan::new(9, 9).unwrap().count(), 1);
        assert_eq!(FrameSpan::new(1, 1_000_000).unwrap().frames().count(), 1_000_000);
        let furthest = FrameSpan::new(100_000_000, 100_000_000).unwrap();
        assert_eq!(furthest.photographed(), (99_999_999.5, 100_000_000.5));
        assert!(FrameSpan::new(-100_000_000, -100_000_000).is_ok());
    }

    #[test]
    fn wrong_spans_are_refused() {
        let refused = |first, last, expected: &str| {
            assert_eq!(FrameSpan::new(first, last).unwrap_err().to_string(), expected);
        };
        refused(2, 1, "frames: found last frame 1, allowed 2 (the first frame) or later");
        refused(0, 1_000_000, "frames: found 1000001 frames from 0 to 1000000, allowed at most 1000000");
        refused(-100_000_000, 100_000_000, "frames: found 200000001 frames from -100000000 to 100000000, allowed at most 1000000");
        for frame in [100_000_001, i64::MAX] {
            let expected = format!("frames: found frame {frame}, allowed -100000000 to 100000000");
            refused(0, frame, &expected);
        }
        for frame in [-100_000_001, i64::MIN] {
            let expected = format!("frames: found frame {frame}, allowed -100000000 to 100000000");
            refused(frame, 0, &expected);
        }
    }
}
