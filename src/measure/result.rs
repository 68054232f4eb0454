//! What a comparison says: the documents of `compare --json`.
//!
//! Invariant: a number that does not exist is `None`, never zero. Deviations count in the direction of positive travel.

use serde::Serialize;

/// What came of it.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "cli", derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct Comparison {
    /// Rows of the pass.
    pub frames: u64,
    /// The takes, in order.
    pub takes: Vec<TakeFacts>,
    /// True where every position of every take is within its tolerance.
    pub within_tolerance: bool,
    /// What most likely happened, by axis and take; several of one axis and take where they explain alike.
    pub causes: Vec<LikelyCause>,
    /// Axes that at least one take has, in order of the stage.
    pub axes: Vec<AxisComparison>,
    /// Axes that no take has.
    pub not_logged: Vec<String>,
}

/// What a take covers.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "cli", derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct TakeFacts {
    /// Name of the log.
    pub log: String,
    /// Frames it has.
    pub frames: u64,
    /// Frames of the pass that it lacks.
    pub frames_missing: u64,
    /// Axes of the pass that it lacks.
    pub axes_missing: Vec<String>,
    /// Axes that deviate by more than noise, in a way that no cause explains.
    pub unexplained: Vec<String>,
    /// True where most axes that move deviate so: this is likely the log of another shot, pass or rate.
    pub another_move: bool,
}

/// One axis over all takes. Figures at the top are in units; numbers that need two takes are none with one.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "cli", derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct AxisComparison {
    /// Full name.
    pub axis: String,
    /// `mm` or `deg`.
    pub unit: &'static str,
    /// Takes that have it.
    pub takes: usize,
    /// Frames at which at least one take has it.
    pub frames: u64,
    /// The figures in units.
    #[serde(flatten)]
    pub units: Figures,
    /// How far it may be off, steps.
    pub tolerance_steps: Option<f64>,
    /// Frames at which a take exceeds that.
    pub frames_over: u64,
    /// Frame of the largest deviation.
    pub largest_deviation_frame: Option<i64>,
    /// Frame of the largest difference between two takes.
    pub pass_to_pass_frame: Option<i64>,
    /// The same figures in steps.
    pub steps: Figures,
    /// The same figures in pixels at the picture, where they are known.
    pub pixels: Option<Figures>,
}

/// The statistics of one axis in one unit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[cfg_attr(feature = "cli", derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct Figures {
    /// Greatest 4 s_i.
    pub repeatability: Option<f64>,
    /// Greatest mean_i + 2 s_i less least mean_i - 2 s_i.
    pub accuracy: Option<f64>,
    /// Greatest mean_i less least mean_i.
    pub mean_range: Option<f64>,
    /// Largest deviation of any take, absolute.
    pub largest_deviation: Option<f64>,
    /// Largest difference between two takes at one frame.
    pub pass_to_pass: Option<f64>,
}

/// A likely cause in one take.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "cli", derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct LikelyCause {
    /// Full name of the axis.
    pub axis: String,
    /// Name of the log.
    pub log: String,
    /// `offset`, `lost_steps`, `backlash`, `scale`, `frame_shift`, `sign`, `swapped`, `frozen`, `drift` or `units`.
    pub cause: &'static str,
    /// Frame at which it begins.
    pub frame: i64,
    /// How much.
    pub amount: f64,
    /// Of what: `steps`, `frames` or `ratio`.
    pub unit: &'static str,
    /// The axis whose column it is, where two are swapped.
    pub other_axis: Option<String>,
    /// One line as text.
    pub message: String,
}
