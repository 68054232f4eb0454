//! What changed between two versions, and what was shot of the old one, as JSON, format 1.

use schemars::JsonSchema;
use serde::Serialize;

use super::takes::PassRecord;
use crate::check::changes::Changes;

/// The document.
#[derive(Serialize, JsonSchema)]
pub(super) struct Document<'a> {
    #[serde(flatten)]
    changes: &'a Changes,
    takes: &'a [PassRecord],
}

/// The JSON text, ending in a line feed.
///
/// # Errors
/// None that finite numbers can cause; passed on from the JSON library.
pub(crate) fn text(changes: &Changes, takes: &[PassRecord]) -> Result<String, serde_json::Error> {
    serde_json::to_string_pretty(&Document { changes, takes }).map(|text| text + "\n")
}
