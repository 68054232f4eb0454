//! Where channels and bodies are, read back from the compiled curves: the same pieces that become steps.
//!
//! Invariant: a mechanism's channels come from its axes by its own way back, so that pictures show what the motors do, not what was asked.

use super::Move;
use crate::mechanism::{OutOfReach, Pose, Vector};
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
        Ok(self.channels_at(stage, pass, &[channel], t)?.and_then(|v| v.first().copied()))
    }

    /// Pose of a body at frame time `t`: the end of its chain, in the stage's axes, mm. `None` outside the move.
    ///
    /// # Errors
    /// Positions no pose of a mechanism has.
    pub fn pose_at(&self, stage: &Stage, pass: Option<&Pass>, body: &Body, t: f64) -> Result<Option<Pose<f64>>, OutOfReach> {
        let values = self.channels_at(stage, pass, body.channels(), t)?;
        Ok(values.map(|v| body.chain().pose(|i| v.get(i).copied().unwrap_or(f64::NAN))))
    }

    /// Places of a body's joints and of the body at frame time `t`, mm: see [`Chain::places`](crate::mechanism::joint::Chain::places).
    ///
    /// # Errors
    /// Positions no pose of a mechanism has.
    pub fn places_at(&self, stage: &Stage, pass: Option<&Pass>, body: &Body, t: f64) -> Result<Option<Vec<Vector>>, OutOfReach> {
        let values = self.channels_at(stage, pass, body.channels(), t)?;
        Ok(values.map(|v| body.chain().places(|i| v.get(i).copied().unwrap_or(f64::NAN))))
    }

    fn channels_at(&self, stage: &Stage, pass: Option<&Pass>, wanted: &[ChannelId], t: f64) -> Result<Option<Vec<f64>>, OutOfReach> {
        // Curves of all axes cover the same span; who is parked stands at home at any time.
        let parked = |a: usize| pass.is_some_and(|p| p.parks(stage, a));
        let reaches = self.axes().first().is_some_and(|m| m.curve().start() <= t && t <= m.curve().end());
        if !reaches && !wanted.iter().flat_map(|c| stage.axes_of(*c)).all(parked) {
            return Ok(None);
        }
        let axis = |a: usize| {
            let at = if parked(a) { stage.axes().get(a).map(Axis::home) } else { self.axes().get(a).and_then(|m| m.curve().at(t)) };
            at.unwrap_or(f64::NAN)
        };
        stage.channel_values(wanted, &axis, &|work, axes: &[f64]| work.channels(axes)).map(Some)
    }
}
