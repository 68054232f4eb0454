//! Frames, labels and seconds: the only place where a frame number becomes a time of day or a duration.
//!
//! Four concepts: [`FrameRate`] (how fast the finished film runs), [`Timecode`] (the label of a frame), [`Shutter`] and [`FrameSpan`]
//! (which part of frame time is exposed) and [`Pace`] (how long a frame takes while a pass is photographed).
//!
//! Frame time is a real number; frame n is exposed around n. The rate of the finished film and the pace of a pass have nothing to do
//! with one another: a film at 24 frames a second may be photographed at 12 seconds a frame.
//!
//! Invariants: a rate is an exact ratio, a label belongs to exactly one frame of the day, and a duration is one product or one
//! quotient of what it depends on, never a running sum. This module imports nothing of the crate but `bounds`.

pub mod clock;
pub mod exposure;
pub mod rate;
pub mod timecode;

pub use clock::{ClockError, FrameTime, Pace, Seconds, hms};
pub use exposure::{ExposureError, FrameSpan, Shutter};
pub use rate::{FrameRate, RateError};
pub use timecode::{Timecode, TimecodeError};
