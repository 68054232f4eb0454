//! Movewright compiles choreography for a miniature stage into stepper positions.

pub mod bounds;
pub mod check;
#[cfg(feature = "cli")]
pub mod cli;
pub mod compile;
pub mod input;
pub mod measure;
pub mod mechanism;
pub mod motion;
pub mod number;
pub mod output;
pub mod shot;
pub mod signal;
pub mod stage;
pub mod time;
pub mod verify;
