//! Frames, labels and seconds: the only place where a frame number becomes a time of day or a duration.
//!
//! Concepts: [`FrameRate`] (how fast the finished film runs), [`Timecode`] (the label of a frame), [`FrameSpan`] (which frames are photographed); shutter
//! and pace of a pass (which part of frame time is exposed, and how long a frame takes).
//!
//! Frame time is a real number; frame n is exposed around n. The rate of the finished film and the pace of a pass have nothing to do
//! with one another: a film at 24 frames per second may be photographed at 12 seconds per frame.
//!
//! Invariants: a rate is an exact ratio, a label belongs to exactly one frame of the day, and a duration is one product or one
//! quotient of what it depends on, never a running sum. This module imports nothing of the crate but `bounds`.

mod clock;
mod exposed;
mod exposure;
mod rate;
mod timecode;

pub(crate) use clock::{ClockError, Pace, hms};
pub use clock::{FrameTime, Seconds};
pub(crate) use exposed::ExposedFrames;
pub use exposure::FrameSpan;
pub(crate) use exposure::{ExposureError, Shutter};
pub use rate::{FrameRate, RateError};
pub use timecode::{Timecode, TimecodeError};
