//! How hand-off files number their frames, and at which instants of a frame they say where things are.
//!
//! Invariant: a frame's first sample is when the shutter opens and its last when it closes, of the first moving pass; one sample is the middle. Where every pass is held nothing moves
//! while the shutter is open, so all samples are the middle. Limits: passes with other shutters have other samples; the manifest says which shutter it is.

use crate::compile::frame_time;
use crate::shot::{Exposure, Shot};
use crate::time::FrameTime;

/// What is asked of the hand-off files.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) struct Wishes {
    /// Write camera, figures and scene at the size of the real thing too.
    pub full_size: bool,
    /// Number of the first photographed frame; the shot's own where it is left out.
    pub first_frame: Option<i64>,
    /// Samples of each frame in the tables; one where it is left out.
    pub samples: Option<u8>,
}

/// Numbers and samples of a shot's frames.
#[derive(Debug, Clone, PartialEq)]
#[cfg_attr(test, derive(Default))]
pub(crate) struct Sampling {
    shift: i64,
    /// Frames from the middle of the exposure, rising.
    offsets: Vec<f64>,
    shutter: Option<f64>,
}

impl Sampling {
    /// What a shot and the wishes make.
    #[must_use]
    pub(crate) fn new(shot: &Shot, wishes: Wishes) -> Sampling {
        let shift = wishes.first_frame.map_or(0, |first| first.saturating_sub(shot.frames().first()));
        let shutter = shot.passes().iter().find(|p| p.exposure() == Exposure::Moving).map(|p| p.shutter());
        let open = shutter.map_or(0.0, |s| s.fraction());
        let spaces = wishes.samples.unwrap_or(1).max(1) - 1;
        let offsets = match spaces {
            0 => vec![0.0],
            n => (0..=n).map(|k| open * (f64::from(k) / f64::from(n) - 0.5)).collect(),
        };
        Sampling { shift, offsets, shutter: shutter.filter(|_| spaces > 0).map(|s| s.degrees()) }
    }

    /// The number under which a frame stands in the files.
    #[must_use]
    pub(crate) fn number(&self, frame: i64) -> i64 {
        frame.saturating_add(self.shift)
    }

    /// Samples of a frame, frames from its middle.
    #[must_use]
    pub(crate) fn offsets(&self) -> &[f64] {
        &self.offsets
    }

    /// True where a frame has more than one sample.
    #[must_use]
    pub(crate) fn is_within_frames(&self) -> bool {
        self.offsets.len() > 1
    }

    /// Shutter angle of the samples, degrees, where there are several and a pass moves.
    #[must_use]
    pub(crate) fn shutter(&self) -> Option<f64> {
        self.shutter
    }

    /// Every instant of a frame.
    pub(crate) fn instants(&self, frame: i64) -> impl Iterator<Item = FrameTime> + '_ {
        self.offsets.iter().map(move |offset| FrameTime(frame_time(frame) + offset))
    }
}
