//! Where channels and bodies are, read back from the compiled curves: the same pieces that become steps.
//!
//! Invariant: a mechanism's channels come from its axes by its forward kinematics, so that pictures show what the motors do, not what was asked.

use super::Compiled;
#[cfg(test)]
use crate::mechanism::Pose;
use crate::mechanism::{Mechanism, OutOfReach, Vector};
use crate::number::Jet;
use crate::shot::Pass;
use crate::stage::{AxisId, Body, ChannelId, Posture};
use crate::time::FrameTime;

/// Why something has no place at an instant.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub(crate) enum NoPose {
    /// Positions that no pose of the mechanism has.
    #[error(transparent)]
    OutOfReach(#[from] OutOfReach),
    /// Before the run-up or after the run-down.
    #[error("the move does not reach that frame")]
    Outside,
}

impl Compiled {
    /// Value of a channel at an instant. With a `pass`, axes that it parks stand at home.
    ///
    /// # Errors
    /// [`NoPose`].
    #[cfg(test)]
    pub(crate) fn channel_at(&self, pass: Option<&Pass>, channel: ChannelId, t: FrameTime) -> Result<f64, NoPose> {
        self.channels_at(pass, &[channel], t)?.first().copied().ok_or(NoPose::Outside)
    }

    /// Pose of a body at an instant: the end of its chain, in the stage's axes, mm.
    ///
    /// # Errors
    /// [`NoPose`].
    #[cfg(test)]
    pub(crate) fn pose_at(&self, pass: Option<&Pass>, body: &Body, t: FrameTime) -> Result<Pose<f64>, NoPose> {
        Ok(body.pose(&self.channels_at(pass, body.channels(), t)?))
    }

    /// How a camera is focused at an instant, mm from the film plane; `None` where no channel says it.
    ///
    /// # Errors
    /// [`NoPose`].
    pub(crate) fn focus_at(&self, pass: Option<&Pass>, camera: &Body, t: FrameTime) -> Result<Option<f64>, NoPose> {
        let Some(channel) = camera.focus() else { return Ok(None) };
        Ok(self.channels_at(pass, &[channel], t)?.first().copied())
    }

    /// A figure at an instant: its body, its limbs, and the joints after which something is fixed.
    ///
    /// # Errors
    /// [`NoPose`].
    pub(crate) fn posture_at(&self, pass: Option<&Pass>, body: &Body, t: FrameTime) -> Result<Posture, NoPose> {
        Ok(body.posture(&self.channels_at(pass, body.every_channel(), t)?))
    }

    /// The same with one axis somewhere else; nothing parked.
    ///
    /// # Errors
    /// [`NoPose`].
    pub(crate) fn posture_with(&self, body: &Body, t: FrameTime, (moved, to): (AxisId, f64)) -> Result<Posture, NoPose> {
        let axis = |id: AxisId| if id == moved { Ok(to) } else { self.motion(id).at(t).ok_or(NoPose::Outside) };
        Ok(body.posture(&self.channels_by(body.every_channel(), axis)?))
    }

    /// A channel with its derivatives at an instant, per frame; `None` outside of the move and where a mechanism has no place.
    pub(crate) fn channel_jet_at(&self, channel: ChannelId, t: FrameTime) -> Option<Jet> {
        let axis = |id: AxisId| self.motion(id).curve().jet(t.0).ok_or(NoPose::Outside);
        let forward = |mechanism: &dyn Mechanism, axes: &[Jet], channels: &mut [Jet]| Ok(mechanism.to_channels(axes, channels)?);
        self.stage().channel_values(&[channel], &axis, &forward).ok()?.first().copied()
    }

    /// Values of channels at an instant, in their order.
    ///
    /// # Errors
    /// [`NoPose`].
    pub(crate) fn channel_values_at(&self, wanted: &[ChannelId], t: FrameTime) -> Result<Vec<f64>, NoPose> {
        self.channels_at(None, wanted, t)
    }

    /// Places of a body's joints and of the body, mm (see [`Chain::places`](crate::mechanism::joint::Chain::places)), and its posture, at one instant.
    ///
    /// # Errors
    /// [`NoPose`].
    pub(crate) fn figure_at(&self, pass: Option<&Pass>, body: &Body, t: FrameTime) -> Result<(Vec<Vector>, Posture), NoPose> {
        let values = self.channels_at(pass, body.every_channel(), t)?;
        Ok((body.places(&values), body.posture(&values)))
    }

    fn channels_at(&self, pass: Option<&Pass>, wanted: &[ChannelId], t: FrameTime) -> Result<Vec<f64>, NoPose> {
        let stage = self.stage();
        let axis = |id: AxisId| match pass {
            Some(pass) if pass.parks(stage, id) => Ok(stage.axis(id).home()),
            _ => self.motion(id).at(t).ok_or(NoPose::Outside),
        };
        self.channels_by(wanted, axis)
    }

    /// Values of channels with every axis where `axis` says.
    fn channels_by(&self, wanted: &[ChannelId], axis: impl Fn(AxisId) -> Result<f64, NoPose>) -> Result<Vec<f64>, NoPose> {
        let forward = |mechanism: &dyn Mechanism, axes: &[f64], channels: &mut [f64]| Ok(mechanism.to_channels_at_rest(axes, channels)?);
        self.stage().channel_values(wanted, &axis, &forward)
    }
}
