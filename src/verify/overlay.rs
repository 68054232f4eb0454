//! Measured positions laid over those of a plan: each axis is as far from its plan all through a frame as it was measured in it, and channels follow from their axes.

use super::state::State;
use crate::number::whole;
use crate::stage::{AxisId, ChannelId, Driver, Stage};

/// Half of the last of six decimals, and the rounding of what is written with them.
pub(super) const MEASURED: f64 = 0.6e-6;

/// How far each axis was from its plan.
#[derive(Debug)]
pub(super) struct Overlay {
    /// The first photographed frame.
    pub(super) first: f64,
    /// For each axis a number for each frame from the first on; empty for an axis that was not measured.
    pub(super) off: Vec<Vec<f64>>,
}

impl Overlay {
    /// True for an axis that was measured.
    pub(super) fn has(&self, axis: AxisId) -> bool {
        self.off.get(axis.index()).is_some_and(|of| !of.is_empty())
    }

    /// True for a channel that follows from an axis that was measured.
    pub(super) fn moves(&self, stage: &Stage, channel: ChannelId) -> bool {
        !self.off.is_empty() && stage.axes_of(channel).iter().any(|a| self.has(*a))
    }

    /// Lays it over a state.
    pub(super) fn lay_over(&self, stage: &Stage, state: &mut State) {
        if self.off.is_empty() {
            return;
        }
        for id in stage.axis_ids() {
            let Some(off) = self.at(id, state.t) else { continue };
            if let Some(position) = state.axes.get_mut(id.index()) {
                *position += off;
            }
            let position = state.axis(id);
            if let Driver::Own(channel) = stage.driver(id)
                && let Some(value) = state.channels.get_mut(channel.index())
            {
                *value = position;
            }
        }
        for machine in stage.machines().iter().filter(|m| m.axes().iter().any(|a| self.has(*a))) {
            let axes: Vec<f64> = machine.axes().iter().map(|a| state.axis(*a)).collect();
            let mut values = vec![f64::NAN; machine.channels().len()];
            let found = machine.mechanism().to_channels_at_rest(&axes, &mut values);
            for (channel, value) in machine.channels().iter().zip(values) {
                if let Some(slot) = state.channels.get_mut(channel.index()) {
                    *slot = if found.is_ok() { value } else { f64::NAN };
                }
            }
        }
    }

    /// How far an axis was from its plan in the frame of an instant; `None` where it was not measured.
    fn at(&self, axis: AxisId, t: f64) -> Option<f64> {
        let of = self.off.get(axis.index()).filter(|of| !of.is_empty())?;
        let number = whole::nearest((t - self.first + 0.5).floor()).and_then(|n| usize::try_from(n).ok());
        Some(number.and_then(|n| of.get(n)).copied().unwrap_or(0.0))
    }
}
