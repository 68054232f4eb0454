//! Movewright compiles choreography for a miniature stage into stepper positions.

pub mod bounds;
pub mod check;
pub mod compile;
pub mod motion;
pub mod number;
pub mod output;
pub mod shot;
pub mod signal;
pub mod stage;
pub mod time;
