//! Motion as pure mathematics: quintic pieces, curves made of them, exact extremes, and laws from point to point.
//!
//! Invariant: nothing here knows of stages, shots, files or frame rates. A curve's variable is called frame time; the point-to-point
//! laws count seconds.

pub mod bernstein;
pub mod curve;
pub mod extremes;
pub mod point_to_point;
pub mod quintic;
pub mod signal;

pub use curve::Curve;
pub use extremes::{Extreme, Peaks};
pub use quintic::Quintic;
