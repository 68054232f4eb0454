//! What is written: columns, manifest, JSON, and folders that are whole or not there.
//!
//! Invariant: output reads the move and the report and computes no motion of its own; the bytes depend on the input alone.

pub mod check_json;
pub mod columns;
mod decimals;
pub mod export;
pub mod folder;
pub mod gltf;
pub mod handoff;
pub mod manifest;
pub mod outline;
pub mod own_file;
pub mod place;
pub mod rods;
pub mod rows;

pub use export::{Export, ExportError, Written};
