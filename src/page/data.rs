//! What the page's script reads: the pieces of every curve, the map's numbers, and what marks them, as compact JSON.
//!
//! Invariant: curves go in as the pieces that become steps, to nine significant digits, so that the page draws them exactly and at any width;
//! nothing is sampled. `<` never occurs in the text, so no name can end the element that holds it.

use serde::Serialize;

use super::page_error::PageError;
use super::scene::{BodyData, Scene, scene};
use crate::check::clearance::{Against, Nearest, Proof};
use crate::check::usage::usage;
use crate::check::{PassReport, Report, words};
use crate::compile::Compiled;
use crate::motion::curve::Curve;
use crate::output::channels::{self, ChannelError};
use crate::signal::SourceKind;
use crate::stage::{AxisId, ChannelId, Stage, Utilisation};
use crate::time::FrameTime;

#[derive(Serialize)]
struct Data<'a> {
    first: i64,
    last: i64,
    axes: &'a [AxisData],
    channels: Vec<ChannelData>,
    passes: Vec<PassData>,
    scene: Option<Scene<'a>>,
}

#[derive(Serialize, Clone, PartialEq)]
pub(super) struct AxisData {
    name: String,
    unit: &'static str,
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

/// A channel that a mechanism turns into axes.
#[derive(Serialize)]
struct ChannelData {
    name: String,
    unit: &'static str,
    /// Frames of keys of its layers.
    keys: Vec<f64>,
    /// At mid-exposure of every frame.
    values: Vec<f64>,
}

/// Two bodies at their least gap.
#[derive(Serialize)]
struct NearData {
    /// In words.
    text: String,
    kept: bool,
    frame: f64,
    /// Names of the bodies that are marked in the views.
    bodies: Vec<String>,
}

#[derive(Serialize)]
struct PassData {
    name: String,
    held: bool,
    pace: f64,
    /// Part of a frame for which the shutter is open.
    open: f64,
    parked: Vec<usize>,
    /// Names of the groups that are parked.
    park: Vec<String>,
    /// Thousandths of the tightest limit; one row an axis.
    usage: Vec<Vec<u32>>,
    over: Vec<OverData>,
    near: Vec<NearData>,
}

#[derive(Serialize)]
struct OverData {
    axis: usize,
    limit: &'static str,
    from: f64,
    to: f64,
    message: String,
}

/// The data as text that is allowed in a `script` element; curves and places are there already.
pub(super) fn text(report: &Report, axes: &[AxisData], bodies: &[BodyData]) -> Result<String, PageError> {
    let compiled = &report.compiled;
    let frames = compiled.shot().frames();
    let passes = report.passes.iter().map(|r| pass(compiled, r)).collect();
    let channels = channel_data(compiled, &channels::of_mechanisms(compiled.stage()))?;
    let data = Data { first: frames.first(), last: frames.last(), axes, channels, passes, scene: scene(compiled, bodies)? };
    Ok(escaped(serde_json::to_string(&data)?))
}

/// `<` never occurs.
pub(super) fn escaped(json: String) -> String {
    json.replace('<', "\\u003c")
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

fn pass(compiled: &Compiled, report: &PassReport) -> PassData {
    let program = &report.program;
    let rows = usage(report);
    PassData {
        name: report.name().to_owned(),
        held: program.stations().is_some(),
        pace: program.clock().pace().get(),
        open: program.clock().open(),
        parked: compiled.stage().axis_ids().filter(|id| program.parks(*id)).map(AxisId::index).collect(),
        park: program.pass().park().iter().map(|g| compiled.stage().group_name(*g).to_owned()).collect(),
        usage: rows.iter().map(|row| row.iter().copied().map(Utilisation::thousandths).collect()).collect(),
        over: report
            .violations
            .iter()
            .map(|v| OverData {
                axis: v.subject.axis().index(),
                limit: v.limit.name(),
                from: v.span.0,
                to: v.span.1,
                message: words::violation(compiled, v),
            })
            .collect(),
        near: near(compiled.stage(), report),
    }
}

/// Pairs of each pass that the views mark.
const NEAR: usize = 4;

/// The pairs that have least room beyond what is required, over the photographed span.
fn near(stage: &Stage, report: &PassReport) -> Vec<NearData> {
    // Of a gap that is only known to be enough, the place says nothing.
    let has_place = |n: &&Nearest| n.proof == Proof::Tight || !n.is_kept();
    let mut pairs: Vec<&Nearest> = report.clearance.iter().flat_map(|c| &c.pairs).filter(has_place).collect();
    pairs.sort_by(|a, b| (a.gap - a.required).total_cmp(&(b.gap - b.required)));
    let bodies = |n: &Nearest| {
        let other = match n.against {
            Against::Group(g) | Against::Rail(g) => Some(stage.group_name(g).to_owned()),
            _ => None,
        };
        core::iter::once(stage.group_name(n.group).to_owned()).chain(other).collect()
    };
    let of = |n: &&Nearest| NearData {
        text: words::nearest(stage, n, &format!("frame {:.2}", n.at)),
        kept: n.is_kept(),
        frame: short(n.at),
        bodies: bodies(n),
    };
    pairs.iter().take(NEAR).map(of).collect()
}

/// Every channel that a mechanism turns into axes, frame by frame.
fn channel_data(compiled: &Compiled, made: &[ChannelId]) -> Result<Vec<ChannelData>, PageError> {
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
fn short(x: f64) -> f64 {
    format!("{x:.8e}").parse().unwrap_or(x)
}
