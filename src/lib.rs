//! Movewright compiles choreography for a miniature stage into stepper positions.

pub mod bounds;
pub mod motion;
pub mod number;
pub mod shot;
pub mod stage;
pub mod time;
