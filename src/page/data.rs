//! What the page's script reads: the pieces of every curve, the map's numbers, and what marks them, as compact JSON.
//!
//! Invariant: curves go in as the pieces that become steps, to nine significant digits, so that the page draws them exactly and at any width;
//! nothing is sampled. `<` never stands in the text, so no name can end the element it stands in.

use serde::Serialize;

use super::PageError;
use super::scene::{Scene, scene};
use super::usage::usage;
use crate::check::{PassReport, Report};
use crate::compile::Move;
use crate::motion::curve::Curve;
use crate::shot::{Exposure, Pass, Shot};
use crate::signal::{SourceKind, sources};
use crate::stage::Stage;

#[derive(Serialize)]
struct Data {
    first: i64,
    last: i64,
    axes: Vec<AxisData>,
    passes: Vec<PassData>,
    scene: Option<Scene>,
}

#[derive(Serialize)]
struct AxisData {
    name: String,
    unit: &'static str,
    travel: [f64; 2],
    /// Velocity, acceleration, jerk; unit/s^k.
    limits: [f64; 3],
    /// Frames of keys of the channels that drive it.
    keys: Vec<f64>,
    /// Starts of pieces, and the end of the last.
    knots: Vec<f64>,
    /// Six coefficients a piece, in local time 0 to 1.
    pieces: Vec<[f64; 6]>,
}

#[derive(Serialize)]
struct PassData {
    name: String,
    held: bool,
    pace: f64,
    /// Part of a frame for which the shutter is open.
    open: f64,
    parked: Vec<usize>,
    /// Thousandths of the tightest limit; one row an axis.
    usage: Vec<Vec<u32>>,
    over: Vec<OverData>,
}

#[derive(Serialize)]
struct OverData {
    axis: usize,
    limit: &'static str,
    from: f64,
    to: f64,
    message: String,
}

/// The data as text that may stand in a `script` element.
pub(super) fn text(stage: &Stage, shot: &Shot, mv: &Move, report: &Report) -> Result<String, PageError> {
    let frames = shot.frames();
    let axes = stage
        .axes()
        .iter()
        .zip(mv.axes())
        .enumerate()
        .map(|(i, (axis, m))| {
            let l = axis.limits();
            AxisData {
                name: stage.axis_name(i).to_owned(),
                unit: axis.unit().symbol(),
                travel: [axis.travel().lower, axis.travel().upper],
                limits: [l.velocity, l.acceleration, l.jerk],
                keys: keys(stage, shot, i),
                knots: m.curve().knots().iter().map(|k| short(*k)).collect(),
                pieces: pieces(m.curve()),
            }
        })
        .collect();
    let passes = shot.passes().iter().zip(&report.passes).map(|(p, r)| pass(stage, shot, mv, p, r)).collect();
    let data = Data { first: frames.first(), last: frames.last(), axes, passes, scene: scene(stage, shot, mv)? };
    Ok(serde_json::to_string(&data)?.replace('<', "\\u003c"))
}

fn pass(stage: &Stage, shot: &Shot, mv: &Move, pass: &Pass, report: &PassReport) -> PassData {
    let rows = usage(stage, shot, mv, pass, report);
    PassData {
        name: pass.name().to_owned(),
        held: pass.exposure() == Exposure::Held,
        pace: pass.pace().get(),
        open: pass.shutter().fraction(),
        parked: (0..stage.axes().len()).filter(|i| pass.parks(stage, *i)).collect(),
        usage: rows.into_iter().map(|row| row.into_iter().map(thousandths).collect()).collect(),
        over: report
            .violations
            .iter()
            .map(|v| OverData { axis: v.axis, limit: v.limit.name(), from: v.span.0, to: v.span.1, message: v.message.clone() })
            .collect(),
    }
}

/// Frames of every key that a layer of the axis's channels has, in order.
pub(super) fn keys(stage: &Stage, shot: &Shot, axis: usize) -> Vec<f64> {
    let channels = stage.channels_of(axis);
    let layers = channels.into_iter().flat_map(|c| sources::of(stage, shot, c).unwrap_or_default());
    let tracks = layers.filter(|s| s.kind == SourceKind::Track);
    let mut frames: Vec<f64> = tracks
        .filter_map(|s| Some((shot.tracks().get(s.index)?, s.delay)))
        .flat_map(|(track, delay)| track.keys().iter().map(move |k| k.frame + delay))
        .collect();
    frames.sort_by(f64::total_cmp);
    frames.dedup();
    frames
}

/// Thousandths of a limit, rounded up where it is over, so that what is over shows as over.
fn thousandths(share: f64) -> u32 {
    let most = 9_999.0;
    if share.is_nan() {
        return 9_999;
    }
    let n = if share > 1.0 + crate::compile::SLACK { (share * 1000.0).ceil().max(1001.0) } else { (share * 1000.0).round().min(1000.0) };
    crate::number::whole::nearest(n.min(most)).and_then(|n| u32::try_from(n).ok()).unwrap_or(9_999)
}

fn pieces(curve: &Curve) -> Vec<[f64; 6]> {
    curve.pieces().map(|p| p.quintic.0.map(short)).collect()
}

/// Nine significant digits: far more than a screen has, and half of the text.
fn short(x: f64) -> f64 {
    format!("{x:.8e}").parse().unwrap_or(x)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_over_shows_as_over_and_what_is_at_the_limit_does_not() {
        assert_eq!([0.0, 0.5, 0.9996, 1.0, 1.0 + 1e-10].map(thousandths), [0, 500, 1000, 1000, 1000]);
        assert_eq!([1.000_001, 1.5, 50.0, f64::INFINITY, f64::NAN].map(thousandths), [1001, 1500, 9999, 9999, 9999]);
    }
}
