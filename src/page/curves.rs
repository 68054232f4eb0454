//! Curves as a page draws them: every axis as the pieces that become steps, the channels of mechanisms frame by frame, and where keys mark them.
//!
//! Invariant: pieces go in to nine significant digits, so that they are drawn exactly and at any width; nothing is sampled.

use serde::Serialize;

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
    /// At mid-exposure of every frame.
    pub(super) values: Vec<f64>,
}

/// Every axis with its curve.
pub(super) fn axes(compiled: &Compiled) -> Vec<AxisData> {
    let stage = compiled.stage();
    let made = channels::of_mechanisms(stage);
    stage
        .each_axis()
        .map(|(id, axis)| {
            let (l, curve) = (axis.limits(), compiled.motion(id).curve());
            let channels: Vec<usize> = stage.channels_of(id).iter().filter_map(|c| made.iter().position(|m| m == c)).collect();
            AxisData {
                name: stage.axis_name(id).to_owned(),
                unit: axis.unit().symbol(),
                travel: [axis.travel().lower, axis.travel().upper],
                limits: [l.velocity, l.acceleration, l.jerk],
                keys: if channels.is_empty() { keys(compiled, id) } else { Vec::new() },
                channels,
                knots: curve.knots().iter().map(|k| short(*k)).collect(),
                pieces: pieces(curve),
            }
        })
        .collect()
}

/// Every channel that a mechanism turns into axes, frame by frame.
pub(super) fn channel_data(compiled: &Compiled, made: &[ChannelId]) -> Result<Vec<ChannelData>, PageError> {
    let stage = compiled.stage();
    let mut all: Vec<ChannelData> = made
        .iter()
        .map(|c| ChannelData {
            name: stage.channel_name(*c).to_owned(),
            unit: stage.channel_unit(*c),
            keys: keys_of(compiled, &[*c]),
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
    let time = channels.first().and_then(|c| compiled.time_of(*c));
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
