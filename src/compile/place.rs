//! Where channels and bodies are, read back from the compiled curves: the same pieces that become steps.
//!
//! Invariant: a mechanism's channels come from its axes by its own way back, so that pictures show what the motors do, not what was asked.

use super::Move;
use crate::mechanism::{OutOfReach, Pose};
use crate::shot::Pass;
use crate::stage::{Axis, Body, ChannelId, Stage};

impl Move {
    /// Value of a channel at frame time `t`; `None` outside the move, an error where its mechanism has no such pose.
    ///
    /// With a `pass`, axes that it parks stand at home.
    ///
    /// # Errors
    /// Positions no pose of the mechanism has.
    pub fn channel_at(&self, stage: &Stage, pass: Option<&Pass>, channel: ChannelId, t: f64) -> Result<Option<f64>, OutOfReach> {
        if channel.0 < stage.axes().len() {
            return Ok(self.axis_at(stage, pass, channel.0, t));
        }
        for machine in stage.machines() {
            let Some(which) = machine.channels().iter().position(|c| *c == channel) else { continue };
            let axes: Option<Vec<f64>> = machine.axes().iter().map(|a| self.axis_at(stage, pass, *a, t)).collect();
            let Some(axes) = axes else { return Ok(None) };
            return Ok(machine.work().channels(&axes)?.get(which).copied());
        }
        Ok(None)
    }

    fn axis_at(&self, stage: &Stage, pass: Option<&Pass>, axis: usize, t: f64) -> Option<f64> {
        if pass.is_some_and(|p| p.parks(stage, axis)) {
            return stage.axes().get(axis).map(Axis::home);
        }
        self.axes().get(axis)?.curve().at(t)
    }

    /// Pose of a body at frame time `t`: the end of its chain, in the stage's axes, mm. `None` outside the move.
    ///
    /// # Errors
    /// Positions no pose of a mechanism has.
    pub fn pose_at(&self, stage: &Stage, pass: Option<&Pass>, body: &Body, t: f64) -> Result<Option<Pose<f64>>, OutOfReach> {
        let mut values = Vec::with_capacity(body.channels().len());
        for channel in body.channels() {
            match self.channel_at(stage, pass, *channel, t)? {
                Some(v) => values.push(v),
                None => return Ok(None),
            }
        }
        Ok(Some(body.chain().pose(|i| values.get(i).copied().unwrap_or(f64::NAN))))
    }
}
