//! What most likely went wrong with one axis in one take: models of faults, compared by what they leave unexplained.
//!
//! What: each model says what the log would be if one thing were wrong, and leaves a sum of squares. With n rows, v = left / n + 1/12 (rounding to whole steps counts as
//! noise) and k parameters (the frame at which something begins counts as two), a model's score is n ln v + k ln n: the Bayesian information criterion (Schwarz,
//! Annals of Statistics 6(2) 1978, from memory).
//! A model is plain where (1) its score is below that of no fault by 2 ln(100 x 12 x axes), so that of a hundred good takes fewer than one gets a cause; (2) what it leaves is
//! at most three times the noise or a twentieth of the deviation, root mean square; (3) on the frames that it says are wrong it explains at least twice what it leaves.
//! Of the plain ones that with the least score is named, and with it every one that leaves as little: a likelihood ratio of at most 100. Of a model and
//! a special case of it that leaves as little only the special case is listed.
//! A hint where to look, never a verdict. Units: steps, in the direction of positive travel.

use super::sums::ROUNDING;
use crate::number::elementary::ln;

/// Models that are tried for each axis.
const MODELS: f64 = 12.0;

/// One good take in this many may get a cause; a model that is this many times less likely than the best explains less.
const RARE: f64 = 100.0;

/// What a plain model leaves, in times of noise, and as a share of the deviation, root mean square.
const LEAVES_NOISE: f64 = 3.0;
const LEAVES_SHARE: f64 = 0.05;

/// What a plain model explains, in times of what it leaves, mean square.
const EXPLAINS: f64 = 2.0;

/// Rounding of sums, as a share of the squares that were summed.
const SUMMED: f64 = 1e-13;

/// Kind of a cause.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum CauseKind {
    /// The same deviation throughout.
    Offset,
    /// Levels that jump.
    LostSteps,
    /// One level for either direction of travel.
    Backlash,
    /// A multiple of the position.
    Scale,
    /// The positions of some frames before or after.
    FrameShift,
    /// The opposite direction.
    Sign,
    /// The column of another axis.
    Swapped,
    /// It does not move.
    Frozen,
    /// A slow ramp.
    Drift,
    /// Units where steps are meant, or steps where units are.
    Units,
}

impl CauseKind {
    /// Its name in files.
    #[must_use]
    pub(super) fn name(self) -> &'static str {
        match self {
            CauseKind::Offset => "offset",
            CauseKind::LostSteps => "lost_steps",
            CauseKind::Backlash => "backlash",
            CauseKind::Scale => "scale",
            CauseKind::FrameShift => "frame_shift",
            CauseKind::Sign => "sign",
            CauseKind::Swapped => "swapped",
            CauseKind::Frozen => "frozen",
            CauseKind::Drift => "drift",
            CauseKind::Units => "units",
        }
    }

    /// What the amount of one counts.
    pub(super) fn unit(self) -> &'static str {
        match self {
            CauseKind::FrameShift => "frames",
            CauseKind::Scale | CauseKind::Sign | CauseKind::Units => "ratio",
            _ => "steps",
        }
    }

    /// Kinds that this one is a special case of.
    fn is_special_case_of(self, other: CauseKind) -> bool {
        use CauseKind::{Backlash, Frozen, LostSteps, Offset, Scale, Sign, Units};
        match self {
            Offset => matches!(other, LostSteps | Backlash),
            Sign | Units | Frozen => other == Scale,
            _ => false,
        }
    }
}

/// A model that was fitted to the deviations of one axis in one take.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Model {
    pub(super) kind: CauseKind,
    /// Sum of squares that it leaves.
    pub(super) left: f64,
    pub(super) parameters: f64,
    /// Rows that it says are wrong.
    pub(super) rows: f64,
    /// Frame at which that begins.
    pub(super) frame: i64,
    /// How much; see [`CauseKind::unit`].
    pub(super) amount: f64,
    /// Further jumps of lost steps: frame and how much.
    pub(super) further: Vec<(i64, f64)>,
    /// The axis whose column it is.
    pub(super) other: Option<usize>,
}

impl Model {
    pub(super) fn new(kind: CauseKind, left: f64, parameters: f64, rows: f64, frame: i64, amount: f64) -> Model {
        Model { kind, left: left.max(0.0), parameters, rows, frame, amount, further: Vec::new(), other: None }
    }
}

/// What models are compared with: no fault.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct NoFault {
    pub(super) rows: f64,
    /// Sum of squares of the deviations.
    pub(super) squares: f64,
    pub(super) noise: f64,
    /// Axes of takes that are tried at once.
    pub(super) tried: f64,
}

impl NoFault {
    fn mean_square(&self, left: f64) -> f64 {
        (left + SUMMED * self.squares) / self.rows + ROUNDING
    }

    /// Twice the logarithm of how much less likely it is, but for a constant.
    fn unlikely(&self, left: f64) -> f64 {
        self.rows * ln(self.mean_square(left))
    }

    fn score(&self, model: &Model) -> f64 {
        self.unlikely(model.left) + model.parameters * ln(self.rows)
    }

    /// The most that a plain model leaves.
    pub(super) fn most_left(&self) -> f64 {
        let noise = LEAVES_NOISE * LEAVES_NOISE * self.noise * self.noise * self.rows;
        noise.max(LEAVES_SHARE * LEAVES_SHARE * self.squares)
    }

    fn is_plain(&self, model: &Model) -> bool {
        let better = self.unlikely(self.squares) - self.score(model) >= 2.0 * ln(RARE * MODELS * self.tried.max(1.0));
        let explained = (self.squares - model.left) / model.rows;
        better && model.left <= self.most_left() && explained >= EXPLAINS * self.mean_square(model.left)
    }

    /// The plain models that explain best, the one with the best score first.
    pub(super) fn choose(&self, models: Vec<Model>) -> Vec<Model> {
        if !(self.rows >= 2.0) {
            return Vec::new();
        }
        let mut plain: Vec<Model> = models.into_iter().filter(|m| self.is_plain(m)).collect();
        plain.sort_by(|a, b| self.score(a).total_cmp(&self.score(b)));
        let Some(least) = plain.first().map(|m| self.unlikely(m.left)) else { return Vec::new() };
        plain.retain(|m| self.unlikely(m.left) <= least + 2.0 * ln(RARE));
        let kinds: Vec<CauseKind> = plain.iter().map(|m| m.kind).collect();
        plain.retain(|m| !kinds.iter().any(|k| k.is_special_case_of(m.kind)));
        let mut seen = Vec::new();
        plain.retain(|m| {
            let new = !seen.contains(&m.kind);
            seen.push(m.kind);
            new
        });
        plain
    }
}
