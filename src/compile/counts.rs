//! The size of a job: axes x frames x passes, what every table of it grows with.

use crate::shot::Shot;
use crate::stage::Stage;

/// Axes, frames and passes of a job.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Counts {
    /// Axes of the stage.
    pub axes: u64,
    /// Photographed frames.
    pub frames: u64,
    /// Passes of the shot.
    pub passes: u64,
}

impl Counts {
    /// The size of a shot on its stage.
    #[must_use]
    pub(crate) fn of(stage: &Stage, shot: &Shot) -> Counts {
        let of = |n: usize| u64::try_from(n).unwrap_or(u64::MAX);
        Counts { axes: of(stage.axes().len()), frames: of(shot.frames().count()), passes: of(shot.passes().len()) }
    }

    /// All three multiplied.
    #[must_use]
    pub(crate) fn product(self) -> u64 {
        self.axes.saturating_mul(self.frames).saturating_mul(self.passes)
    }
}

impl core::fmt::Display for Counts {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        write!(f, "{} axes x {} frames x {} passes, {} counts", self.axes, self.frames, self.passes, self.product())
    }
}
