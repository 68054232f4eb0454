//! Measuring afterwards: logged positions of takes held against the pass they were.
//!
//! What: pass and logs are read in step, frame by frame; each axis gets the statistics of its deviations. Where they are more than noise, both are read once more, and
//! models of faults are compared by what they leave unexplained.
//! Invariant: memory grows with axes and takes, never with rows. A number that does not exist is `None`, never zero.
//! Limits: a log says where the motor was commanded to be or where an encoder saw it; what neither sees, such as play behind the encoder, no statistics show.

mod cause;
mod compare;
mod deviations;
mod facts;
mod fit;
mod home;
mod jumps;
mod lanes;
mod log;
mod lost_steps;
mod marks;
mod recognise;
mod result;
mod rows;
mod said;
mod seen;
mod shifts;
mod sides;
pub(crate) mod statistics;
mod sums;
mod swaps;

pub use compare::compare;
#[cfg(test)]
pub(crate) use compare::compare_reading;
pub(crate) use deviations::{Deviations, deviations};
pub use facts::{AxisFacts, LogUnits, Options, TOLERANCE_PIXELS, TOLERANCE_STEPS};
pub(crate) use home::counts;
pub use home::{HomeAxis, HomeComparison, homes};
pub use log::LogError;
pub(crate) use lost_steps::{Loss, Losses, Shift, losses};
pub(crate) use marks::Marks;
pub(crate) use recognise::{Asked, Candidate, FittingPass, recognise};
pub use result::{AxisComparison, Comparison, Figures, LikelyCause, TakeFacts};
pub use rows::Input;
#[cfg(test)]
pub(crate) use rows::Reading;
