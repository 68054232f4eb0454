//! Which layers drive a channel, directly and through copies, and by how much later and larger.
//!
//! Invariant: copies run in no circle (the shot is checked), so the walk ends; it is cut off at a number of layers no shot can mean.

use crate::motion::signal::SignalError;
use crate::shot::Shot;
use crate::stage::{ChannelId, Stage};

/// Kind of a layer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SourceKind {
    /// A keyed track.
    Track,
    /// A beat.
    Cycle,
    /// Wandering.
    Drift,
    /// A caller's own signal.
    Own,
}

/// A layer of the shot as one channel has it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Source {
    /// Kind.
    pub kind: SourceKind,
    /// Index within the shot's list of that kind.
    pub index: usize,
    /// Frames by which it runs later.
    pub delay: f64,
    /// Factor on its value.
    pub scale: f64,
}

/// Most layers of one channel.
pub const MOST_LAYERS: usize = 10_000;

/// The layers of `channel`, the direct ones first, in the order of the file.
///
/// # Errors
/// [`SignalError::TooManyLayers`] beyond [`MOST_LAYERS`].
pub fn of(stage: &Stage, shot: &Shot, channel: ChannelId) -> Result<Vec<Source>, SignalError> {
    let mut found = Vec::new();
    let mut waiting = vec![(channel, 0.0, 1.0)];
    let mut next = 0;
    while let Some((channel, delay, scale)) = waiting.get(next).copied() {
        next += 1;
        if waiting.len() + found.len() > MOST_LAYERS {
            return Err(SignalError::TooManyLayers { most: MOST_LAYERS });
        }
        let mut take = |kind, index| found.push(Source { kind, index, delay, scale });
        for (i, _) in shot.tracks_of(channel) {
            take(SourceKind::Track, i);
        }
        for (i, _) in shot.cycles().iter().enumerate().filter(|(_, c)| c.channel() == channel) {
            take(SourceKind::Cycle, i);
        }
        for (i, _) in shot.drifts().iter().enumerate().filter(|(_, d)| d.channel() == channel) {
            take(SourceKind::Drift, i);
        }
        for (i, _) in shot.own_signals().iter().enumerate().filter(|(_, (c, _))| *c == channel) {
            take(SourceKind::Own, i);
        }
        let full = stage.channel_name(channel);
        let Some((group, name)) = full.split_once('.') else { continue };
        let Some(group) = stage.group_of_name(group) else { continue };
        for copy in shot.copies().iter().filter(|c| c.to() == group) {
            if let Some(source) = stage.channel(&format!("{}.{name}", stage.group_name(copy.from()))) {
                waiting.push((source, delay + copy.delay(), scale * copy.scale_of(name)));
            }
        }
    }
    Ok(found)
}
