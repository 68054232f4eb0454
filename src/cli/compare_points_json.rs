//! The document of `compare --points --json`, format 1.

use schemars::JsonSchema;
use serde::Serialize;

use super::compare_hand_off::HandedOff;
use crate::measure::{AxisFacts, Loss, Losses};
use crate::output::manifest::NOTICE;
use crate::output::schemas;

/// The criterion, said with every result.
pub(super) const NOTE: &str = "a loss is one axis off by the same steps from one frame to the last. It is named where it lowers the Bayesian information criterion by 2 ln(100 x axes); an axis that \
explains it as well (likelihood ratio up to 100) cannot be distinguished with these marks";

/// What marks in two runs of a pass say, format 1.
#[derive(Serialize, JsonSchema)]
pub(super) struct Document {
    pub(super) format: u32,
    pub(super) pass: String,
    pub(super) note: &'static str,
    /// True where no axis lost steps.
    pub(super) no_steps_lost: bool,
    /// Marks that both runs have.
    pub(super) marks: usize,
    /// Places that only one of the runs has.
    pub(super) places_in_one_run_only: usize,
    /// Root mean square of the shifts to the right and down, pixels.
    pub(super) shift_px: f64,
    /// The same of what no loss explains.
    pub(super) unexplained_px: f64,
    /// Losses, the one that explains most first.
    pub(super) losses: Vec<LossEntry>,
    /// Frame by frame.
    pub(super) frames: Vec<FrameEntry>,
    /// What no loss explains, mark by mark, most first.
    pub(super) unexplained: Vec<MarkEntry>,
    /// Axes that a mark shows.
    pub(super) axes: Vec<AxisEntry>,
    /// Axes that no mark shows: nothing is known of them.
    pub(super) not_seen: Vec<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) hand_off: Option<HandedOff>,
    pub(super) notice: &'static str,
}

#[derive(Serialize, JsonSchema)]
pub(super) struct LossEntry {
    pub(super) axis: String,
    /// First frame in which the steps are missing.
    pub(super) frame: i64,
    /// Steps of positive travel, second run less first.
    pub(super) steps: f64,
    pub(super) standard_error: f64,
    /// The same in full steps of the motor.
    pub(super) full_steps: f64,
    pub(super) units: f64,
    pub(super) unit: &'static str,
    /// Worst shift of a mark that it makes, pixels.
    pub(super) px: f64,
    /// Axes that explain it as well.
    pub(super) or: Vec<AlikeEntry>,
}

#[derive(Serialize, JsonSchema)]
pub(super) struct AlikeEntry {
    pub(super) axis: String,
    pub(super) frame: i64,
    pub(super) steps: f64,
}

#[derive(Serialize, JsonSchema)]
pub(super) struct FrameEntry {
    pub(super) frame: i64,
    pub(super) marks: usize,
    pub(super) shift_px: f64,
    pub(super) unexplained_px: f64,
    /// Steps of each axis that are missing in it.
    pub(super) lost: Vec<LostEntry>,
}

#[derive(Serialize, JsonSchema)]
pub(super) struct LostEntry {
    pub(super) axis: String,
    pub(super) steps: f64,
}

#[derive(Serialize, JsonSchema)]
pub(super) struct MarkEntry {
    pub(super) point: String,
    pub(super) px: f64,
    /// The frame in which it is most.
    pub(super) frame: i64,
}

#[derive(Serialize, JsonSchema)]
pub(super) struct AxisEntry {
    pub(super) axis: String,
    /// The least loss before the first frame that these marks would show, steps.
    pub(super) least_steps: f64,
}

/// Its JSON Schema.
#[must_use]
pub(super) fn schema() -> serde_json::Value {
    schemas::of::<Document>("movewright compare --points --json")
}

/// What losses of steps say, with the names of axes.
pub(super) fn document(pass: &str, found: &Losses, facts: &[AxisFacts], alone: usize) -> Document {
    let name = |axis: usize| facts.get(axis).map_or_else(String::new, |f| f.name.clone());
    let entry = |l: &Loss| LossEntry {
        axis: name(l.axis),
        frame: l.frame,
        steps: l.steps,
        standard_error: l.standard_error,
        full_steps: facts.get(l.axis).map_or(0.0, |f| l.steps / f64::from(f.microsteps)),
        units: facts.get(l.axis).map_or(0.0, |f| l.steps / f.steps_per_unit),
        unit: facts.get(l.axis).map_or("", |f| f.unit),
        px: l.px,
        or: l.alike.iter().map(|(axis, frame, steps)| AlikeEntry { axis: name(*axis), frame: *frame, steps: *steps }).collect(),
    };
    let frame = |(frame, (marks, shift_px, unexplained_px)): (&i64, &(usize, f64, f64))| FrameEntry {
        frame: *frame,
        marks: *marks,
        shift_px: *shift_px,
        unexplained_px: *unexplained_px,
        lost: found.losses.iter().filter(|l| l.frame <= *frame).map(|l| LostEntry { axis: name(l.axis), steps: l.steps }).collect(),
    };
    let mut unexplained: Vec<MarkEntry> =
        found.marks.iter().map(|(point, (px, frame))| MarkEntry { point: point.clone(), px: *px, frame: *frame }).collect();
    unexplained.sort_by(|a, b| b.px.total_cmp(&a.px));
    Document {
        format: 1,
        pass: pass.to_owned(),
        note: NOTE,
        no_steps_lost: found.losses.is_empty(),
        marks: found.marks.len(),
        places_in_one_run_only: alone,
        shift_px: found.shift_px,
        unexplained_px: found.unexplained_px,
        losses: found.losses.iter().map(entry).collect(),
        frames: found.frames.iter().map(frame).collect(),
        unexplained,
        axes: found.least.iter().map(|(axis, least)| AxisEntry { axis: name(*axis), least_steps: *least }).collect(),
        not_seen: facts.iter().enumerate().filter(|(i, _)| !found.least.contains_key(i)).map(|(_, f)| f.name.clone()).collect(),
        hand_off: None,
        notice: NOTICE,
    }
}
