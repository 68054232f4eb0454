//! Samples with their values in multiples of the allowed miss.

/// Frames and scaled values, equally many, frames strictly rising.
#[derive(Debug, Clone, Copy)]
pub(super) struct Samples<'s> {
    frames: &'s [f64],
    values: &'s [f64],
}

impl<'s> Samples<'s> {
    /// Both lists; `None` where they do not belong together or hold fewer than two.
    pub(super) fn new(frames: &'s [f64], values: &'s [f64]) -> Option<Samples<'s>> {
        (frames.len() == values.len() && frames.len() >= 2).then_some(Samples { frames, values })
    }

    /// How many.
    pub(super) fn len(self) -> usize {
        self.frames.len()
    }

    /// Frame of sample `i`.
    #[allow(clippy::indexing_slicing, reason = "callers count below `len`")]
    pub(super) fn frame(self, i: usize) -> f64 {
        self.frames[i]
    }

    /// Value of sample `i`.
    #[allow(clippy::indexing_slicing, reason = "callers count below `len`")]
    pub(super) fn value(self, i: usize) -> f64 {
        self.values[i]
    }

    /// Values of the samples from one to before another.
    pub(super) fn values(self, from: usize, to: usize) -> &'s [f64] {
        self.values.get(from..to).unwrap_or_default()
    }

    /// Value of the sample at a frame or the next one after it; of the last one beyond the end.
    pub(super) fn nearest_value(self, frame: f64) -> f64 {
        self.value(self.frames.partition_point(|f| *f < frame).min(self.len() - 1))
    }
}
