//! The stage clock of a pass: from seconds of its program to frame time and back.
//!
//! A held pass whose frames take only as long as each needs has an opening of its own for each frame, in whole microseconds; between the closing of one frame's shutter and the opening of the next frame time
//! goes on evenly. So it does in a held test pass, which stands at one frame in several.
//! What: from 0 s the move to start; it ends, standing, on a whole second. There frame time is `start`, the beginning of the run-up of a moving pass
//! or of the first slot of a held one (frame n has the slot n - 1/2 to n + 1/2), and from there on frame time = start + (t - begin) / pace.
//! Invariant: each instant is one product and one sum of what it depends on, never a running sum.

use std::sync::Arc;

use super::way::Way;
use crate::compile::Compiled;
use crate::number::whole;
use crate::shot::{Exposure, Pass};
use crate::time::{ExposedFrames, FrameTime, Pace, Seconds};

/// From seconds to frames and back.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Clock {
    begin: u64,
    start: FrameTime,
    end: FrameTime,
    /// Frames from start to end.
    frames: u64,
    pace: Pace,
    exposed: ExposedFrames,
    held: bool,
    /// Part of a frame for which the shutter is open.
    open: f64,
    /// Where each frame takes only as long as it needs.
    shortest: Option<Arc<Openings>>,
}

/// When the shutter opens on each frame, and when it has closed on the last: microseconds since the end of the move to start, rising.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Openings {
    pub(super) opens: Vec<u64>,
    pub(super) end: u64,
    /// The exposures of a wedge: when each opens and closes, from the first opening to the end. Empty where a frame is exposed once.
    pub(super) wedge: Vec<[u64; 2]>,
}

/// Microseconds of a second.
pub(super) const MICRO: f64 = 1e6;

#[allow(clippy::cast_precision_loss, reason = "below 2^53: 1e6 frames of at most an hour and a half each")]
pub(super) fn seconds(micros: u64) -> f64 {
    micros as f64 / MICRO
}

impl Clock {
    pub(super) fn of(compiled: &Compiled, pass: &Pass, way: &Way, shortest: Option<Arc<Openings>>) -> Clock {
        let frames = compiled.shot().frames();
        let exposed = pass.exposed(frames);
        let (from, to) = frames.photographed();
        let held = pass.exposure() == Exposure::Held;
        let (up, down) = if held { (0, 0) } else { (compiled.run_up(), compiled.run_down()) };
        let middle = |frame: i64| FrameTime::of_frame(frame).0;
        let (from, to, slots) =
            if held { (middle(exposed.first()) - 0.5, middle(exposed.last()) + 0.5, exposed.count()) } else { (from, to, frames.count()) };
        Clock {
            begin: way.whole_seconds(),
            start: FrameTime(from - f64::from(up)),
            end: FrameTime(to + f64::from(down)),
            frames: slots as u64 + u64::from(up) + u64::from(down),
            pace: pass.pace(),
            exposed,
            held,
            open: pass.shutter().fraction(),
            shortest,
        }
    }

    /// True where each frame takes only as long as it needs.
    #[must_use]
    pub(crate) fn is_shortest(&self) -> bool {
        self.shortest.is_some()
    }

    /// True where frame time is found from the openings: between them it does not go on by a frame in each `pace`.
    fn is_stepped(&self) -> bool {
        self.is_shortest() || self.held && self.exposed.step() > 1
    }

    /// Microseconds from the end of the move to start to the end, where they are whole.
    #[must_use]
    pub(crate) fn running_micros(&self) -> Option<u64> {
        self.shortest.as_ref().map(|s| s.end)
    }

    /// Of a held pass: seconds since the end of the move to start at which the shutter opens on the frame of this number, counted from 0.
    #[must_use]
    pub(crate) fn opens(&self, i: usize) -> Seconds {
        match &self.shortest {
            Some(s) => Seconds(s.opens.get(i).map_or(f64::INFINITY, |t| seconds(*t))),
            None => Seconds((whole::count(i) + (0.5 - 0.5 * self.open)) * self.pace.get()),
        }
    }

    /// The same at which it has closed, of a wedge for the last time, and the move to the next frame begins.
    #[must_use]
    pub(crate) fn closes(&self, i: usize) -> Seconds {
        match &self.shortest {
            Some(s) if !s.wedge.is_empty() => Seconds(seconds(s.end)),
            Some(_) => self.opens(i) + Seconds(self.open * self.pace.get()),
            None => Seconds((whole::count(i) + (0.5 + 0.5 * self.open)) * self.pace.get()),
        }
    }

    /// How many frames' shutters have closed at `t` seconds of the program. Of a held pass.
    #[must_use]
    pub(crate) fn closed(&self, t: Seconds) -> usize {
        let since = self.since_begin(t).0;
        let count = match &self.shortest {
            Some(s) if !s.wedge.is_empty() => usize::from(seconds(s.end) <= since),
            Some(s) => s.opens.partition_point(|opens| seconds(*opens) + self.open * self.pace.get() <= since),
            None => {
                let index = whole::floor(since / self.pace.get() - (0.5 + 0.5 * self.open)).unwrap_or(-1);
                usize::try_from(index.saturating_add(1)).unwrap_or(0)
            }
        };
        count.min(self.exposed.count())
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

    /// Frames from there to the end: run-up, photographed frames, run-down; of a held pass those that it exposes.
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
        Seconds(self.shortest.as_ref().map_or(self.pace.seconds_of(self.frames as f64), |s| seconds(s.end)))
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
        if self.is_stepped() {
            return FrameTime(self.frame_between(self.since_begin(t).0).clamp(self.start.0, self.end.0));
        }
        FrameTime((self.start.0 + self.since_begin(t).0 / self.pace.get()).min(self.end.0))
    }

    /// The instant of a frame time.
    #[must_use]
    pub(crate) fn seconds_at(&self, frame: FrameTime) -> Seconds {
        if self.is_stepped() {
            return self.begin() + Seconds(self.since_of(frame.0));
        }
        self.begin() + Seconds((frame.0 - self.start.0) * self.pace.get())
    }

    /// Frame time since the end of the move to start, by the openings.
    fn frame_between(&self, since: f64) -> f64 {
        let half = 0.5 * self.open;
        let Some(i) = self.opened(since).checked_sub(1) else {
            // Before the first opening.
            let opens = self.opens(0).0;
            return self.start.0 + if opens > 0.0 { since / opens * (0.5 - half) } else { 0.5 - half };
        };
        let n = self.middle(i);
        let (opens, closes, next) = (self.opens(i).0, self.closes(i).0, self.next_opening(i));
        if since < closes {
            return n - half + (since - opens) / self.slowness(i);
        }
        if !next.is_finite() {
            let rest = if self.is_shortest() { 0.0 } else { (since - closes) / self.pace.get() };
            return n + half + rest;
        }
        if closes < next { n + half + (since - closes) / (next - closes) * (self.step() - self.open) } else { n + half }
    }

    /// The other way round.
    fn since_of(&self, frame: f64) -> f64 {
        let (half, first) = (0.5 * self.open, self.middle(0));
        let before = frame - self.start.0;
        if before < 0.5 - half {
            return self.opens(0).0 * (before / (0.5 - half)).max(0.0);
        }
        let i = whole::floor((frame - first) / self.step() + 0.5).and_then(|i| usize::try_from(i).ok()).unwrap_or(0);
        let i = i.min(self.exposed.count().saturating_sub(1));
        let since = frame - self.middle(i);
        let (opens, closes) = (self.opens(i).0, self.closes(i).0);
        if since < -half {
            let last = i.checked_sub(1).map_or(0.0, |i| self.closes(i).0);
            return opens + (since + half) / (self.step() - self.open) * (opens - last);
        }
        if since <= half {
            return opens + (since + half) * self.slowness(i);
        }
        let next = self.next_opening(i);
        if next.is_finite() {
            return closes + (since - half) / (self.step() - self.open) * (next - closes);
        }
        if self.is_shortest() { closes } else { closes + (since - half) * self.pace.get() }
    }

    /// Seconds for one frame while the shutter is open on the frame of this number; of a wedge from its first opening to its last closing.
    fn slowness(&self, i: usize) -> f64 {
        match &self.shortest {
            Some(s) if !s.wedge.is_empty() => (self.closes(i) - self.opens(i)).0 / self.open,
            _ => self.pace.get(),
        }
    }

    /// Exposures of each frame: when each opens and closes, since the end of the move to start; of a pass that exposes each frame once nothing.
    pub(crate) fn wedge(&self) -> impl Iterator<Item = [Seconds; 2]> + '_ {
        self.shortest.iter().flat_map(|s| &s.wedge).map(|exposure| exposure.map(|t| Seconds(seconds(t))))
    }

    /// How often the shutter opens.
    #[must_use]
    pub(crate) fn exposures(&self) -> usize {
        self.exposed.count().max(self.wedge().count())
    }

    /// How long it is open in all, s.
    #[must_use]
    pub(crate) fn exposed_seconds(&self) -> Seconds {
        let once = Seconds(whole::count(self.exposed.count()) * self.open * self.pace.get());
        self.wedge().map(|[opens, closes]| closes - opens).reduce(|a, b| a + b).unwrap_or(once)
    }

    /// How many frames' shutters have opened so long after the move to start.
    fn opened(&self, since: f64) -> usize {
        let count = match &self.shortest {
            Some(s) => s.opens.partition_point(|t| seconds(*t) <= since),
            None => {
                let index = whole::floor(since / self.pace.get() - (0.5 - 0.5 * self.open)).unwrap_or(-1);
                usize::try_from(index.saturating_add(1)).unwrap_or(0)
            }
        };
        count.min(self.exposed.count())
    }

    /// When the shutter opens after the exposure of this number; infinite after the last.
    fn next_opening(&self, i: usize) -> f64 {
        if i + 1 < self.exposed.count() { self.opens(i + 1).0 } else { f64::INFINITY }
    }

    /// Frame time in the middle of the exposure of this number.
    fn middle(&self, i: usize) -> f64 {
        FrameTime::of_frame(self.exposed.first()).0 + whole::count(i) * self.step()
    }

    /// Frames from one exposure to the next.
    fn step(&self) -> f64 {
        FrameTime::of_frame(self.exposed.step()).0
    }

    /// Seconds since the end of the move to start.
    #[must_use]
    pub(crate) fn since_begin(&self, t: Seconds) -> Seconds {
        t - self.begin()
    }

    /// The instant at which the shutter opens on the first frame.
    #[must_use]
    pub(crate) fn first_opening(&self) -> Seconds {
        if self.is_stepped() {
            return self.begin() + self.opens(0);
        }
        self.seconds_at(FrameTime(FrameTime::of_frame(self.exposed.first()).0 - 0.5 * self.open))
    }

    /// Part of a frame for which the shutter is open.
    #[must_use]
    pub(crate) fn open(&self) -> f64 {
        self.open
    }

    /// The frames that the pass exposes.
    #[must_use]
    pub(crate) fn exposed(&self) -> ExposedFrames {
        self.exposed
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
        if self.is_stepped() {
            let i = self.closed(t);
            let frame = self.exposed.frame(i)?;
            let since = self.since_begin(t).0;
            let dark = self.exposures() > self.exposed.count() && !self.wedge().any(|[opens, closes]| opens.0 <= since && since < closes.0);
            return (self.opens(i).0 <= since && !dark).then_some(frame);
        }
        let x = self.frame_at(t).0;
        let n = (x + 0.5).floor();
        let (since, half) = (x - n, 0.5 * self.open);
        let frame = whole::nearest(n)?;
        (self.exposed.contains(frame) && -half <= since && since < half).then_some(frame)
    }
}
