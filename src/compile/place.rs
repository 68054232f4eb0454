//! Where channels and bodies are, read back from the compiled curves: the same pieces that become steps.
//!
//! Invariant: a mechanism's channels come from its axes by its forward kinematics, so that pictures show what the motors do, not what was asked.

use super::Compiled;
use crate::mechanism::{OutOfReach, Pose, Vector};
use crate::shot::Pass;
use crate::stage::{AxisId, Body, ChannelId};
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

    /// Places of a body's joints and of the body at an instant, mm: see [`Chain::places`](crate::mechanism::joint::Chain::places).
    ///
    /// # Errors
    /// [`NoPose`].
    pub(crate) fn places_at(&self, pass: Option<&Pass>, body: &Body, t: FrameTime) -> Result<Vec<Vector>, NoPose> {
        Ok(body.places(&self.channels_at(pass, body.channels(), t)?))
    }

    fn channels_at(&self, pass: Option<&Pass>, wanted: &[ChannelId], t: FrameTime) -> Result<Vec<f64>, NoPose> {
        let stage = self.stage();
        let axis = |id: AxisId| match pass {
            Some(pass) if pass.parks(stage, id) => Ok(stage.axis(id).home()),
            _ => self.motion(id).at(t).ok_or(NoPose::Outside),
        };
        stage.channel_values(wanted, &axis, &|mechanism, axes: &[f64], channels| Ok(mechanism.to_channels_at_rest(axes, channels)?))
    }
}
