//! Where everything is at one frame time.

use crate::stage::{AxisId, ChannelId};

/// Everything at one frame time.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct State {
    /// Frame time.
    pub(super) t: f64,
    pub(super) channels: Vec<f64>,
    pub(super) axes: Vec<f64>,
}

impl State {
    /// Position of an axis, in units; NaN where its mechanism cannot stand so.
    pub(super) fn axis(&self, axis: AxisId) -> f64 {
        self.axes.get(axis.index()).copied().unwrap_or(f64::NAN)
    }

    /// Value of a channel.
    pub(super) fn channel(&self, channel: ChannelId) -> f64 {
        self.channels.get(channel.index()).copied().unwrap_or(f64::NAN)
    }

    /// Positions of all axes in stage order.
    pub(super) fn axes(&self) -> &[f64] {
        &self.axes
    }
}
