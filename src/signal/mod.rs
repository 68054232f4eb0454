//! Signals: what a channel does, as a function of frame time that returns a value with its first three derivatives.
//!
//! Invariant: see [`Signal`], which tracks, cycles, drifts and signals of a caller's own implement alike. A channel adds its
//! layers; a mechanism's axis is a formula over its channels.

pub mod aimed;
pub mod axis;
pub mod blended;
pub mod channel;
pub mod cycle;
pub mod drift;
pub mod keyed;
pub mod knots;
pub mod layers;
pub mod minimum_jerk;
pub mod monotone;
pub mod natural_cubic;
pub mod sources;
mod sum;

pub use axis::{AxisSignal, NoPlace};
pub use channel::ChannelSignal;
pub use keyed::{KeyedCurve, Outside};
pub use layers::Layers;
pub use sources::{Source, SourceKind, Sources};

pub use crate::motion::signal::{Knot, Signal, SignalError};
pub use crate::number::Jet;
