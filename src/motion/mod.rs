//! Motion as pure mathematics: quintic pieces, curves made of them, exact extremes, and laws from point to point.
//!
//! Invariant: nothing here knows of stages, shots, files or frame rates. A curve's variable is called frame time; the point-to-point
//! laws count seconds.

pub(crate) mod bernstein;
pub(crate) mod curve;
pub(crate) mod extremes;
pub(crate) mod pendulum;
pub(crate) mod point_to_point;
pub(crate) mod quintic;
pub(crate) mod signal;
pub(crate) mod stay_near;
pub(crate) mod stop;

pub(crate) use curve::Curve;
pub(crate) use extremes::{Extreme, Peaks};
pub(crate) use quintic::Quintic;
