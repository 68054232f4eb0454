//! The frames that a pass exposes: the first one photographed, then every Nth; or one alone.
//!
//! Units: frames. Invariant: at least one frame; they rise evenly from the first frame of the span, and none lies beyond its last. A pass that exposes every frame has N = 1.
//!
//! Limits: exposures are counted from the span's first frame; a pass that exposes several cannot begin elsewhere.

use super::FrameSpan;

/// Frames that a pass exposes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct ExposedFrames {
    span: FrameSpan,
    step: u32,
}

impl ExposedFrames {
    /// One frame of a span in `step`, which is at least 1.
    #[must_use]
    pub(crate) fn new(span: FrameSpan, step: u32) -> ExposedFrames {
        ExposedFrames { span, step: step.max(1) }
    }

    /// One frame of a span alone: of a frame that is not in it the nearest.
    #[must_use]
    pub(crate) fn one(frame: i64, span: FrameSpan) -> ExposedFrames {
        ExposedFrames { span: span.only(frame), step: 1 }
    }

    /// From one to the next. Range: 1 or more.
    #[must_use]
    pub(crate) fn step(self) -> i64 {
        i64::from(self.step)
    }

    /// The first of them.
    #[must_use]
    pub(crate) fn first(self) -> i64 {
        self.span.first()
    }

    /// The last of them.
    #[must_use]
    pub(crate) fn last(self) -> i64 {
        self.span.last() - (self.span.last() - self.span.first()) % self.step()
    }

    /// How many. Range: 1 to 1 000 000.
    #[must_use]
    pub(crate) fn count(self) -> usize {
        usize::try_from(self.step).map_or(1, |step| self.span.count().div_ceil(step))
    }

    /// The frame of this number, counted from 0.
    #[must_use]
    pub(crate) fn frame(self, number: usize) -> Option<i64> {
        let frame = i64::try_from(number).ok()?.checked_mul(self.step())?.checked_add(self.first())?;
        (frame <= self.span.last()).then_some(frame)
    }

    /// How many of them lie between two frames, both included.
    #[must_use]
    pub(crate) fn between(self, first: i64, last: i64) -> u64 {
        let (first, last) = (first.max(self.first()), last.min(self.last()));
        if last < first {
            return 0;
        }
        let (from, to) = (first - self.first(), last - self.first());
        u64::try_from(to / self.step() - (from + self.step() - 1) / self.step() + 1).unwrap_or(0)
    }

    /// True where the frame is one of them.
    #[must_use]
    pub(crate) fn contains(self, frame: i64) -> bool {
        self.number(frame).is_some()
    }

    /// The number of a frame among them, counted from 0.
    #[must_use]
    pub(crate) fn number(self, frame: i64) -> Option<usize> {
        let since = frame.checked_sub(self.first())?;
        let is_one = self.span.contains(frame) && since % self.step() == 0;
        is_one.then(|| usize::try_from(since / self.step()).ok()).flatten()
    }

    /// All of them, in order.
    pub(crate) fn frames(self) -> impl Iterator<Item = i64> {
        let last = self.span.last();
        core::iter::successors(Some(self.first()), move |n| n.checked_add(i64::from(self.step))).take_while(move |n| *n <= last)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    #[test]
    fn the_first_and_every_nth() {
        for (first, last, step) in [(1, 336, 1), (1, 17, 8), (-5, 11, 8), (-5, 10, 8), (3, 3, 1), (1, 8, 8), (0, 9, 3)] {
            let all = ExposedFrames::new(FrameSpan::new(first, last).unwrap(), step);
            let frames: Vec<i64> = (first..=last).filter(|n| (n - first) % i64::from(step) == 0).collect();
            assert_eq!(all.frames().collect::<Vec<_>>(), frames);
            assert_eq!((all.count(), all.first(), all.last()), (frames.len(), first, *frames.last().unwrap()));
            for (i, n) in frames.iter().enumerate() {
                assert_eq!((all.frame(i), all.number(*n)), (Some(*n), Some(i)));
            }
            assert_eq!(all.frame(frames.len()), None);
            for n in first - 20..=last + 20 {
                assert_eq!(all.contains(n), frames.contains(&n), "{n}");
                for m in [n - 9, n, n + 1, n + 30] {
                    let inside = frames.iter().filter(|f| (n..=m).contains(*f)).count();
                    assert_eq!(all.between(n, m), inside as u64, "{n} to {m}");
                }
            }
        }
    }
}
