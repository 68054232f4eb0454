//! JSON Schema of the documents that are written, from their own types.
//!
//! Invariant: what a document always holds its schema requires; keys may be added, so a schema allows others.

use schemars::generate::SchemaSettings;
use schemars::transform::RecursiveTransform;
use schemars::{JsonSchema, Schema};
use serde_json::{Value, json};

use super::changes_json;
use super::check_json;
use super::manifest::Manifest;
use super::pace_json;

/// Of `check --json`.
#[must_use]
pub(crate) fn check() -> Value {
    of::<check_json::Document>("movewright check --json")
}

/// Of `pace --json`.
#[must_use]
pub(crate) fn pace() -> Value {
    of::<pace_json::Document>("movewright pace --json")
}

/// Of `changes --json`.
#[must_use]
pub(crate) fn changes() -> Value {
    of::<changes_json::Document<'_>>("movewright changes --json")
}

/// Of `manifest.json`.
#[must_use]
pub(crate) fn manifest() -> Value {
    of::<Manifest>("manifest.json of movewright compile")
}

/// Of a type, under this title.
#[must_use]
pub(crate) fn of<T: JsonSchema>(title: &str) -> Value {
    // Ranges of whole numbers are stated by `minimum` and `maximum`; formats such as `double` are no keywords of the standard.
    let plain = RecursiveTransform(|schema: &mut Schema| {
        schema.remove("format");
    });
    let settings = SchemaSettings::draft2020_12().for_serialize().with(|s| s.inline_subschemas = true).with_transform(plain);
    let mut schema = settings.into_generator().into_root_schema_for::<T>();
    schema.insert("title".to_owned(), json!(title));
    schema.to_value()
}
