//! The stage clock of a pass: from seconds of its program to frame time and back.
//!
//! What: from 0 s the move to start; it ends, standing, on a whole second. There frame time is `start`, the beginning of the run-up of a moving pass
//! or of the first slot of a held one (frame n has the slot n - 1/2 to n + 1/2), and from there on frame time = start + (t - begin) / pace.
//! Invariant: each instant is one product and one sum of what it depends on, never a running sum.

use super::way::Way;
use crate::compile::Compiled;
use crate::number::whole;
use crate::shot::{Exposure, Pass};
use crate::time::{FrameTime, Pace, Seconds};

/// From seconds to frames and back.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Clock {
    begin: u64,
    start: FrameTime,
    end: FrameTime,
    /// Frames from start to end.
    frames: u64,
    pace: Pace,
    first: i64,
    last: i64,
    /// Part of a frame for which the shutter is open.
    open: f64,
}

impl Clock {
    pub(super) fn of(compiled: &Compiled, pass: &Pass, way: &Way) -> Clock {
        let frames = compiled.shot().frames();
        let (from, to) = frames.photographed();
        let (up, down) = match pass.exposure() {
            Exposure::Moving => (compiled.run_up(), compiled.run_down()),
            Exposure::Held => (0, 0),
        };
        Clock {
            begin: way.whole_seconds(),
            start: FrameTime(from - f64::from(up)),
            end: FrameTime(to + f64::from(down)),
            frames: frames.count() as u64 + u64::from(up) + u64::from(down),
            pace: pass.pace(),
            first: frames.first(),
            last: frames.last(),
            open: pass.shutter().fraction(),
        }
    }

    /// End of the move to start: where the run-up, or the first slot of a held pass, begins. A whole number of seconds.
    #[must_use]
    #[allow(clippy::cast_precision_loss, reason = "below 2^53: from a number of that size")]
    pub(crate) fn begin(&self) -> Seconds {
        Seconds(self.begin as f64)
    }

    /// The same as the whole number it is.
    #[must_use]
    pub(crate) fn begin_seconds(&self) -> u64 {
        self.begin
    }

    /// Frames from there to the end: run-up, photographed frames, run-down.
    #[must_use]
    pub(crate) fn frames(&self) -> u64 {
        self.frames
    }

    /// The pace.
    #[must_use]
    pub(crate) fn pace(&self) -> Pace {
        self.pace
    }

    /// Run-up, exposures and run-down together; of a held pass all slots.
    #[must_use]
    #[allow(clippy::cast_precision_loss, reason = "a span has at most 1e6 frames, a run 4096")]
    pub(crate) fn running(&self) -> Seconds {
        Seconds(self.pace.seconds_of(self.frames as f64))
    }

    /// End of the run-down, or of the last slot.
    #[must_use]
    pub(crate) fn end(&self) -> Seconds {
        self.begin() + self.running()
    }

    /// Frame time at which the run-up, or the first slot, begins.
    #[cfg(test)]
    pub(crate) fn start_frame(&self) -> FrameTime {
        self.start
    }

    /// Frame time at both ends.
    pub(super) fn span(&self) -> (f64, f64) {
        (self.start.0, self.end.0)
    }

    /// Frame time at an instant from [`begin`](Self::begin) on. Rounding may not lead it past the end.
    #[must_use]
    pub(crate) fn frame_at(&self, t: Seconds) -> FrameTime {
        FrameTime((self.start.0 + self.since_begin(t).0 / self.pace.get()).min(self.end.0))
    }

    /// The instant of a frame time.
    #[must_use]
    pub(crate) fn seconds_at(&self, frame: FrameTime) -> Seconds {
        self.begin() + Seconds((frame.0 - self.start.0) * self.pace.get())
    }

    /// Seconds since the end of the move to start.
    #[must_use]
    pub(crate) fn since_begin(&self, t: Seconds) -> Seconds {
        t - self.begin()
    }

    /// The instant at which the shutter opens on the first frame.
    #[must_use]
    pub(crate) fn first_opening(&self) -> Seconds {
        self.seconds_at(FrameTime(FrameTime::of_frame(self.first).0 - 0.5 * self.open))
    }

    /// Part of a frame for which the shutter is open.
    #[must_use]
    pub(crate) fn open(&self) -> f64 {
        self.open
    }

    /// First and last photographed frame.
    #[must_use]
    pub(crate) fn photographed(&self) -> (i64, i64) {
        (self.first, self.last)
    }

    /// True while a frame is exposed: from the instant at which the shutter opens to just before it closes.
    #[must_use]
    pub(crate) fn is_open(&self, t: Seconds) -> bool {
        self.exposed_frame(t).is_some()
    }

    /// The frame that is exposed at an instant, if one is.
    #[must_use]
    pub(crate) fn exposed_frame(&self, t: Seconds) -> Option<i64> {
        if !(self.begin().0 <= t.0) {
            return None;
        }
        let x = self.frame_at(t).0;
        let n = (x + 0.5).floor();
        let (since, half) = (x - n, 0.5 * self.open);
        let frame = whole::nearest(n)?;
        (self.first <= frame && frame <= self.last && -half <= since && since < half).then_some(frame)
    }
}
