//! Curves as a page draws them: every axis as the pieces that become steps, the channels of mechanisms frame by frame, and where keys mark them.
//!
//! Invariant: pieces go in to nine significant digits, so that they are drawn exactly and at any width; nothing is sampled.

use serde::Serialize;

use super::handle::{Handle, Handles};
use super::page_error::PageError;
use crate::compile::Compiled;
use crate::motion::curve::Curve;
use crate::output::channels::{self, ChannelError};
use crate::signal::SourceKind;
use crate::stage::{AxisId, ChannelId};
use crate::time::FrameTime;

#[derive(Serialize, Clone, PartialEq)]
pub(super) struct AxisData {
    pub(super) name: String,
    pub(super) unit: &'static str,
    travel: [f64; 2],
    /// Velocity, acceleration, jerk; unit/s^k.
    limits: [f64; 3],
    /// Frames of its own keys; those of the channels that a mechanism makes it from are marked on them.
    keys: Vec<f64>,
    /// The same keys where they may be dragged.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    handles: Vec<Handle>,
    /// The channels that a mechanism makes it from.
    channels: Vec<usize>,
    /// Starts of pieces, and the end of the last.
    knots: Vec<f64>,
    /// Six coefficients a piece, in local time 0 to 1.
    pieces: Vec<[f64; 6]>,
}

impl AxisData {
    /// True where both have the same curve.
    pub(super) fn runs_like(&self, other: &AxisData) -> bool {
        self.knots == other.knots && self.pieces == other.pieces
    }
}

/// A channel that a mechanism turns into axes.
#[derive(Serialize)]
pub(super) struct ChannelData {
    pub(super) name: String,
    pub(super) unit: &'static str,
    /// Frames of keys of its layers.
    keys: Vec<f64>,
    /// The same keys where they may be dragged.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    handles: Vec<Handle>,
    /// At mid-exposure of every frame.
    pub(super) values: Vec<f64>,
}

/// Every axis with its curve.
pub(super) fn axes(compiled: &Compiled, handles: Option<&Handles>) -> Vec<AxisData> {
    let made = channels::of_mechanisms(compiled.stage());
    compiled.stage().axis_ids().map(|id| axis(compiled, id, &made, handles)).collect()
}

/// One axis with its curve; `made` are the channels that mechanisms turn into axes.
pub(super) fn axis(compiled: &Compiled, id: AxisId, made: &[ChannelId], handles: Option<&Handles>) -> AxisData {
    let (stage, curve) = (compiled.stage(), compiled.motion(id).curve());
    let (axis, of) = (stage.axis(id), stage.channels_of(id));
    let l = axis.limits();
    let channels: Vec<usize> = of.iter().filter_map(|c| made.iter().position(|m| m == c)).collect();
    let is_own = channels.is_empty();
    AxisData {
        name: stage.axis_name(id).to_owned(),
        unit: axis.unit().symbol(),
        travel: [axis.travel().lower, axis.travel().upper],
        limits: [l.velocity, l.acceleration, l.jerk],
        keys: if is_own { keys(compiled, id) } else { Vec::new() },
        handles: handles.filter(|_| is_own).map_or(Vec::new(), |h| h.of(compiled, &of)),
        channels,
        knots: curve.knots().iter().map(|k| short(*k)).collect(),
        pieces: pieces(curve),
    }
}

/// Every channel that a mechanism turns into axes, frame by frame.
pub(super) fn channel_data(compiled: &Compiled, made: &[ChannelId], handles: Option<&Handles>) -> Result<Vec<ChannelData>, PageError> {
    let stage = compiled.stage();
    let mut all: Vec<ChannelData> = made
        .iter()
        .map(|c| ChannelData {
            name: stage.channel_name(*c).to_owned(),
            unit: stage.channel_unit(*c),
            keys: keys_of(compiled, &[*c]),
            handles: handles.map_or(Vec::new(), |h| h.of(compiled, &[*c])),
            values: Vec::new(),
        })
        .collect();
    for frame in compiled.shot().frames().frames() {
        let values = compiled.channel_values_at(made, FrameTime::of_frame(frame)).map_err(|error| ChannelError::NoPose { frame, error })?;
        all.iter_mut().zip(values).for_each(|(c, v)| c.values.push(short(v)));
    }
    Ok(all)
}

/// Frames of every key that a layer of the axis's channels has, in order.
pub(super) fn keys(compiled: &Compiled, axis: AxisId) -> Vec<f64> {
    keys_of(compiled, &compiled.stage().channels_of(axis))
}

/// Frames of every key that a layer of these channels has, in order.
pub(super) fn keys_of(compiled: &Compiled, channels: &[ChannelId]) -> Vec<f64> {
    let shot = compiled.shot();
    let layers = channels.iter().flat_map(|c| compiled.sources_of(*c));
    let tracks = layers.filter(|s| s.kind == SourceKind::Track);
    let time = compiled.time_of_channels(channels);
    let mut frames: Vec<f64> = tracks
        .filter_map(|s| Some((shot.tracks().get(s.index)?, s.delay)))
        .flat_map(|(track, delay)| track.keys().iter().map(move |k| k.frame + delay))
        .filter_map(|frame| time.as_ref().map_or(Some(frame), |time| time.film(frame)))
        .collect();
    frames.sort_by(f64::total_cmp);
    frames.dedup();
    frames
}

fn pieces(curve: &Curve) -> Vec<[f64; 6]> {
    curve.pieces().map(|p| p.quintic.0.map(short)).collect()
}

/// Nine significant digits: far more than a screen has, and half of the text.
pub(super) fn short(x: f64) -> f64 {
    format!("{x:.8e}").parse().unwrap_or(x)
}
