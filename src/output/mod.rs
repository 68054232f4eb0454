//! What is written: columns, rows, manifest, JSON, what is handed off, and the staged writer for folders and files.
//!
//! Invariant: output reads the move and the report and computes no motion of its own; the bytes depend on the input alone.

pub mod check_json;
pub mod columns;
mod decimals;
pub mod export;
pub mod handoff;
pub mod manifest;
pub mod rows;
pub mod staged;

pub use export::{Export, ExportError};
pub use staged::Written;
