//! Movewright compiles choreography for a miniature stage into stepper positions.

pub mod api;
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
pub mod page;
pub mod program;
pub mod shot;
pub mod signal;
pub mod stage;
pub mod time;
pub mod verify;

pub use api::{Error};
pub use compile::Compiled;
pub use shot::Shot;
pub use stage::{Axis, Stage};

/// The code of the page for integrators is run as a test.
#[cfg(doctest)]
#[doc = include_str!("../examples/feeding_a_controller/README.md")]
pub struct FeedingAController;
