//! The shaper of every axis of a pass, move by move: that of its group's pendulum at the mean of its lengths before and after the move, and of its further modes.
//!
//! Invariant: all axes of a group are split alike. Limits: while the length changes the shaper is that of one length.

use super::shaper::Shaper;
use crate::compile::Compiled;
use crate::mechanism::{Mechanism, OutOfReach};
use crate::motion::pendulum::length;
use crate::shot::{Pass, Shaping};
use crate::stage::{AxisId, Stage, Swing};

/// The shapers of a pass.
#[derive(Debug, Clone)]
pub(super) struct Shapers<'a> {
    stage: &'a Stage,
    is_shaped: bool,
}

impl<'a> Shapers<'a> {
    /// Of a pass.
    pub(super) fn of(compiled: &'a Compiled, pass: &Pass) -> Shapers<'a> {
        Shapers { stage: compiled.stage(), is_shaped: pass.shaping() == Shaping::ZeroVibration }
    }

    /// The pendulum of an axis's group, where the pass is shaped and the group swings.
    pub(super) fn swing(&self, axis: AxisId) -> Option<&'a Swing> {
        let bodies = self.stage.bodies().iter().filter(|_| self.is_shaped);
        bodies.filter(|body| self.stage.group(body.group()).has(axis)).find_map(|body| body.swing())
    }

    /// The shaper of a move of the axis between two places of all axes.
    pub(super) fn between(&self, axis: AxisId, from: &dyn Fn(AxisId) -> f64, to: &dyn Fn(AxisId) -> f64) -> Shaper {
        let Some(swing) = self.swing(axis) else { return Shaper::default() };
        shaper(swing, 0.5 * (length_at(self.stage, swing, from) + length_at(self.stage, swing, to)))
    }
}

/// The shaper of a group whose pendulum has this length.
pub(super) fn shaper(swing: &Swing, mean: f64) -> Shaper {
    let modes = swing.modes.iter().map(|[period, damping]| (length(*period), *damping));
    Shaper::zero_vibration(core::iter::once((mean, swing.damping)).chain(modes))
}

/// The length of a pendulum with every axis at a place; that at home where a mechanism cannot take the place, of which the check says more.
pub(super) fn length_at(stage: &Stage, swing: &Swing, axis: &dyn Fn(AxisId) -> f64) -> f64 {
    let Some(change) = swing.change else { return swing.length };
    let forward = |mechanism: &dyn Mechanism, axes: &[f64], channels: &mut [f64]| mechanism.to_channels_at_rest(axes, channels);
    let values = stage.channel_values(&[change.channel], &|id| Ok::<f64, OutOfReach>(axis(id)), &forward).unwrap_or_default();
    let value = values.first().copied().unwrap_or(change.home);
    let found = swing.length + change.per_unit * (value - change.home);
    if found > 0.0 { found } else { swing.length }
}
