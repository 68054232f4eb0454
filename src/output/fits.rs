//! The curves near recordings: what `check --json` and the manifest say of them.
//!
//! Units: frames, the channel's unit, per frame and per frame^2. Invariant: in the order of the shot file; the knots are the compiled curve's own, bit for bit.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::compile::Compiled;
use crate::shot::recording::ENDS;

/// A curve with its knots.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub(crate) struct FitEntry {
    /// Channel.
    pub channel: String,
    /// How far the curve may miss a sample.
    pub within: f64,
    /// `straight` or `rest`.
    pub ends: String,
    /// Number of samples.
    pub samples: usize,
    /// Farthest miss of a sample.
    pub worst: f64,
    /// Root of the mean square of all misses.
    pub rms: f64,
    /// Frame, value, velocity and acceleration at each knot.
    pub knots: Vec<[f64; 4]>,
}

/// The same as a figure of the check.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct FitJson {
    channel: String,
    samples: usize,
    keys: usize,
    within: f64,
    worst: f64,
    rms: f64,
}

/// Every recording of a compiled shot.
pub(super) fn entries(compiled: &Compiled) -> Vec<FitEntry> {
    let (stage, shot) = (compiled.stage(), compiled.shot());
    let entry = |r: &crate::shot::Recording| {
        // A compiled shot has a curve for each.
        let fit = r.known_fit()?;
        Some(FitEntry {
            channel: stage.channel_name(r.channel()).to_owned(),
            within: r.within(),
            ends: ENDS.iter().find(|(_, e)| *e == r.ends()).map_or("", |(name, _)| name).to_owned(),
            samples: r.samples().len(),
            worst: fit.worst,
            rms: fit.rms,
            knots: fit.nodes.iter().map(|(f, n)| [*f, n.p, n.v, n.a]).collect(),
        })
    };
    shot.recordings().iter().filter_map(entry).collect()
}

/// The figures of the check.
pub(super) fn figures(compiled: &Compiled) -> Vec<FitJson> {
    let figure =
        |e: FitEntry| FitJson { channel: e.channel, samples: e.samples, keys: e.knots.len(), within: e.within, worst: e.worst, rms: e.rms };
    entries(compiled).into_iter().map(figure).collect()
}
