//! Signals: what a channel does, as a function of frame time that returns a value with its first three derivatives.
//!
//! Invariant: see [`Signal`], which tracks, cycles, drifts and signals of a caller's own implement alike. A channel adds its
//! layers and asks them at its group's choreography time; a mechanism's axis is a formula over its channels.

pub(crate) mod aimed;
pub(crate) mod axis;
mod bends;
pub(crate) mod blended;
pub(crate) mod channel;
pub(crate) mod cycle;
pub(crate) mod drift;
mod focused;
pub(crate) mod keyed;
pub(crate) mod knots;
pub(crate) mod layers;
pub(crate) mod minimum_jerk;
pub(crate) mod monotone;
pub(crate) mod natural_cubic;
pub(crate) mod retiming;
pub(crate) mod sources;
mod sum;
mod term;
mod time_map;

pub(crate) use axis::{AxisSignal, NoPlace};
pub(crate) use layers::Layers;
pub(crate) use retiming::{Retiming, on_film};
pub(crate) use sources::{Source, SourceKind, Sources};

pub use crate::motion::curve::{Curve, CurveBuilder, CurveError, Piece};
pub use crate::motion::quintic::{Node, Quintic};
pub use crate::motion::signal::{Knot, Signal, SignalError, Stretch};
pub use crate::motion::stay_near::CannotFit;
pub use crate::number::Jet;
