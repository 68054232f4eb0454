//! Measuring afterwards: logged positions of takes held against the pass they were.
//!
//! What: pass and logs are read in step, frame by frame; each axis gets the statistics of its deviations and, where it is plain, a likely cause.
//! Invariant: memory grows with axes and takes, never with rows. A number that does not exist is `None`, never zero.
//! Limits: a log says where the motor was commanded to be or where an encoder saw it; what neither sees, such as play behind the encoder, no statistics show.

mod cause;
mod compare;
mod log;
pub(crate) mod statistics;

pub use compare::{AxisComparison, AxisFacts, Comparison, Figures, Input, LikelyCause, LogUnits, Options, TakeFacts, compare};
pub use log::LogError;
