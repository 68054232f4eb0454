//! What the page's script reads: curves, the map's numbers, and what marks them, as compact JSON.
//!
//! Invariant: `<` never occurs in the text, so no name can end the element that holds it.

use serde::Serialize;

use super::before::{Before, before};
use super::curves::{AxisData, ChannelData, channel_data, short};
use super::handle::{Handles, SeenFile};
use super::load_curves::{LoadData, loads};
use super::page_error::PageError;
use super::scene::{BodyData, Scene, scene};
use super::seen::Picture;
use super::sharp::{SharpData, sharp};
use crate::check::clearance::{Against, Nearest, Proof};
use crate::check::usage::usage;
use crate::check::{PassReport, Report, Violation, words};
use crate::compile::Compiled;
use crate::output::channels;
use crate::stage::{AxisId, Stage, Utilisation};

#[derive(Serialize)]
struct Data<'a> {
    first: i64,
    last: i64,
    /// From a fault to the start of the stop, s.
    reaction: f64,
    axes: &'a [AxisData],
    channels: Vec<ChannelData>,
    passes: Vec<PassData>,
    scene: Option<Scene<'a>>,
    /// The old version, where the page compares with one.
    before: Option<Before>,
    /// Only where keys may be dragged.
    #[serde(skip_serializing_if = "Option::is_none")]
    files: Option<&'a [SeenFile]>,
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
    #[serde(skip_serializing_if = "Option::is_none")]
    sharp: Option<SharpData>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    loads: Vec<LoadData>,
}

#[derive(Serialize)]
pub(super) struct OverData {
    axis: usize,
    limit: &'static str,
    from: f64,
    to: f64,
    message: String,
}

impl OverData {
    pub(super) fn of(compiled: &Compiled, v: &Violation) -> OverData {
        let (axis, message) = (v.subject.axis().index(), words::violation(compiled, v));
        OverData { axis, limit: v.limit.name(), from: v.span.0, to: v.span.1, message }
    }
}

/// What is drawn already.
pub(super) struct Shown<'a> {
    pub(super) axes: &'a [AxisData],
    pub(super) bodies: &'a [BodyData],
    pub(super) handles: Option<&'a Handles>,
    pub(super) picture: Option<&'a Picture>,
}

/// The data as text that is allowed in a `script` element; curves and places are there already. With an old version, what is drawn elsewhere now.
pub(super) fn text(report: &Report, drawn: Shown<'_>, old: Option<&Compiled>) -> Result<String, PageError> {
    let Shown { axes, bodies, handles, picture } = drawn;
    let compiled = &report.compiled;
    let frames = compiled.shot().frames();
    let passes = report.passes.iter().map(|r| pass(compiled, r)).collect();
    let channels = channel_data(compiled, &channels::of_mechanisms(compiled.stage()), handles)?;
    let scene = scene(compiled, bodies, picture);
    let before = old.map(|old| before(old, compiled, (axes, &channels, picture))).transpose()?;
    let (reaction, files) = (compiled.stage().reaction(), handles.map(Handles::files));
    let data = Data { first: frames.first(), last: frames.last(), reaction, axes, channels, passes, scene, before, files };
    Ok(escaped(serde_json::to_string(&data)?))
}

/// `<` never occurs.
pub(super) fn escaped(json: String) -> String {
    json.replace('<', "\\u003c")
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
        usage: rows.iter().map(|row| thousandths(row)).collect(),
        over: report.violations.iter().map(|v| OverData::of(compiled, v)).collect(),
        near: near(compiled.stage(), report),
        sharp: sharp(compiled, program.pass()),
        loads: loads(report),
    }
}

/// Utilisations as the map has them.
pub(super) fn thousandths(row: &[Utilisation]) -> Vec<u32> {
    row.iter().copied().map(Utilisation::thousandths).collect()
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
