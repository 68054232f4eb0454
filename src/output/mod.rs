//! What is written: columns, rows, manifest, JSON, what is handed off, and the staged writer for folders and files.
//!
//! Invariant: output reads the move and the report and computes no motion of its own; the bytes depend on the input alone.

#[cfg(feature = "cli")]
pub(crate) mod changes_json;
pub(crate) mod channels;
pub(crate) mod check_json;
pub(crate) mod columns;
mod decimals;
pub(crate) mod export;
mod fits;
pub(crate) mod handoff;
pub(crate) mod manifest;
#[cfg(feature = "cli")]
pub(crate) mod measured;
pub(crate) mod pace_json;
pub(crate) mod pass_list;
pub(crate) mod rig_json;
pub(crate) mod routine_text;
pub(crate) mod rows;
#[cfg(feature = "cli")]
pub(crate) mod schemas;
pub(crate) mod staged;
pub(crate) mod study_json;
pub(crate) mod takes;
pub(crate) mod used;

pub(crate) use export::{Export, ExportError};
pub use staged::Written;
