//! The front door of the library: builders with names that are checked, jobs that were approved, rows one by one.
//!
//! Invariant: everything here returns the one [`Error`]; nothing is written that was not checked first.

mod axis;
mod error;
mod folder;
mod job;
mod rows;
mod shot;
mod stage;
mod verify;

pub use axis::AxisBuilder;
pub use error::Error;
pub use folder::Folder;
pub use job::{Approved, CompiledAxis};
pub use rows::{Row, RowTable, Rows};
pub use shot::{CycleBuilder, PassBuilder, ShotBuilder, TrackBuilder};
pub use stage::StageBuilder;
pub use verify::verify;
