//! The size of a job: axes x frames x passes, what every table of it grows with; and the pairs that must keep their clearance in every pass.

use crate::shot::{Exposure, Shot};
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
    /// Held passes among them.
    pub held: u64,
    /// Pairs of bodies with envelopes, and of such a body with an obstacle or box, and bodies with limbs that could meet.
    pub pairs: u64,
}

impl Counts {
    /// The size of a shot on its stage.
    #[must_use]
    pub(crate) fn of(stage: &Stage, shot: &Shot) -> Counts {
        let of = |n: usize| u64::try_from(n).unwrap_or(u64::MAX);
        let bodies = of(stage.bodies().iter().filter(|b| !b.solids().is_empty()).count());
        let figures = of(stage.bodies().iter().filter(|b| !b.own_pairs().is_empty()).count());
        let standing = of(stage.surroundings().obstacles.len() + stage.surroundings().keep_out.len());
        Counts {
            axes: of(stage.axes().len()),
            frames: of(shot.frames().count()),
            passes: of(shot.passes().len()),
            held: of(shot.passes().iter().filter(|p| p.exposure() == Exposure::Held).count()),
            pairs: bodies * bodies.saturating_sub(1) / 2 + bodies * standing + figures,
        }
    }

    /// Frames x held passes: exposures between which all axes move and stop.
    #[must_use]
    pub(crate) fn stations(self) -> u64 {
        self.frames.saturating_mul(self.held)
    }

    /// Pairs x passes.
    #[must_use]
    pub(crate) fn all_pairs(self) -> u64 {
        self.pairs.saturating_mul(self.passes)
    }

    /// Axes x frames x passes.
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
