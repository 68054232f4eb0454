//! The document of `compare --json`, format 1.

use schemars::JsonSchema;
use serde::Serialize;

use super::compare_hand_off::HandedOff;
use crate::measure::{Comparison, FittingPass};
use crate::output::schemas;
use crate::output::takes::PassRecord;

/// A comparison with what is said beside it.
#[derive(Serialize, JsonSchema)]
pub(super) struct Document<'a> {
    pub(super) format: u32,
    pub(super) pass: &'a str,
    pub(super) note: &'static str,
    #[serde(flatten)]
    pub(super) comparison: &'a Comparison,
    pub(super) fitting_passes: &'a [FittingPass],
    pub(super) tables_not_read: &'a [String],
    pub(super) record: Option<&'a PassRecord>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) hand_off: Option<&'a HandedOff>,
    pub(super) notice: &'static str,
}

/// Its JSON Schema.
#[must_use]
pub(super) fn schema() -> serde_json::Value {
    schemas::of::<Document<'_>>("movewright compare --json")
}
