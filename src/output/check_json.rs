//! The check as JSON, format 1.
//!
//! Keys and units are a contract: figures of a moving pass are exact extremes over the photographed span, in units and seconds; run-up and
//! run-down have keys of their own. Numbers that do not exist are null, never zero.

mod hang;
mod haze;
mod held;
mod settling;
mod stopping;
mod swing;
mod violation;
mod wedge;

use schemars::JsonSchema;
use serde::Serialize;

use crate::check::clearance::{Nearest, Proof};
use crate::check::pixels::PixelReport;
use crate::check::register::Pair;
use crate::check::{AxisReport, Note, PassReport, Peak, Reach, Report, StretchReport, words};
use crate::compile::Compiled;
use crate::program::Leg;
use crate::stage::{AxisId, Stage};

/// The JSON text of a report, ending in a line feed.
///
/// # Errors
/// None that a checked report can cause; passed on from the JSON library.
pub(crate) fn text(report: &Report) -> Result<String, serde_json::Error> {
    let mut text = serde_json::to_string_pretty(&document(report))?;
    text.push('\n');
    Ok(text)
}

/// The same as a value, for writing into another document.
#[must_use]
pub(crate) fn document(report: &Report) -> impl Serialize + use<> {
    let compiled = &report.compiled;
    let (stage, shot) = (compiled.stage(), compiled.shot());
    Document {
        format: 1,
        shot: shot.name().to_owned(),
        stage: stage.name().to_owned(),
        frames: [shot.frames().first(), shot.frames().last()],
        frame_rate: shot.frame_rate().to_string(),
        within_limits: report.within_limits(),
        passes: report.passes.iter().map(|p| pass(compiled, p)).collect(),
        findings: report.notes.iter().map(|n| finding(compiled, n)).collect(),
        rotor_lag: stage
            .each_axis()
            .map(|(id, a)| {
                let steps = report.lag_between_paces[id];
                LagJson {
                    axis: stage.axis_name(id).to_owned(),
                    microstep_torque_share: crate::check::lag::microstep_torque(a.drive().microsteps()),
                    between_paces_steps: steps,
                    between_paces_pixels: steps.zip(pixels_of_a_step(report, id)).map(|(s, p)| s * p),
                }
            })
            .collect(),
        registration: report.registration.pairs.iter().map(|p| pair(report, p)).collect(),
        reversals: stage
            .each_axis()
            .filter(|(id, _)| !report.reversals[*id].is_empty())
            .map(|(id, a)| ReversalsJson {
                axis: stage.axis_name(id).to_owned(),
                backlash: a.backlash(),
                frames: report.reversals[id].iter().map(|f| f.0).collect(),
            })
            .collect(),
        fits: super::fits::figures(compiled),
        pixels: report.pixels.iter().map(|p| pixels(stage, p)).collect(),
        haze: haze::haze(report),
        notice: super::manifest::NOTICE,
    }
}

#[derive(Serialize, JsonSchema)]
pub(super) struct Document {
    format: u32,
    shot: String,
    stage: String,
    frames: [i64; 2],
    frame_rate: String,
    within_limits: bool,
    passes: Vec<PassJson>,
    findings: Vec<FindingJson>,
    reversals: Vec<ReversalsJson>,
    registration: Vec<PairJson>,
    rotor_lag: Vec<LagJson>,
    fits: Vec<super::fits::FitJson>,
    pixels: Vec<PixelsJson>,
    #[serde(skip_serializing_if = "Option::is_none")]
    haze: Option<haze::HazeJson>,
    notice: &'static str,
}

/// What a step of an axis is worth at most in any camera's picture.
fn pixels_of_a_step(report: &Report, axis: AxisId) -> Option<f64> {
    report.pixels.iter().filter(|p| p.axis == axis).map(|p| p.step).reduce(f64::max)
}

/// Stepper facts of an axis: what one microstep has of the holding torque, and by how many steps lag can set passes of different pace apart.
#[derive(Serialize, JsonSchema)]
struct LagJson {
    axis: String,
    microstep_torque_share: f64,
    between_paces_steps: Option<f64>,
    between_paces_pixels: Option<f64>,
}

#[derive(Serialize, JsonSchema)]
struct PairJson {
    passes: [String; 2],
    registers: bool,
    live_axes: usize,
    parked: Vec<String>,
    same_blur: bool,
    misses: Vec<MissJson>,
    approached_differently: Vec<ApproachedJson>,
}

#[derive(Serialize, JsonSchema)]
struct MissJson {
    axis: String,
    frame: i64,
    instant: &'static str,
    counts: [Option<i64>; 2],
    frames: usize,
}

#[derive(Serialize, JsonSchema)]
struct ApproachedJson {
    axis: String,
    frame: i64,
    frames: usize,
    backlash: Option<f64>,
}

fn pair(report: &Report, p: &Pair) -> PairJson {
    let pass = |i: usize| report.passes.get(i).map(PassReport::name).unwrap_or_default().to_owned();
    let axis = |id: AxisId| report.compiled.stage().axis_name(id).to_owned();
    PairJson {
        passes: [pass(p.first), pass(p.second)],
        registers: p.misses.is_empty(),
        live_axes: p.live,
        parked: p.parked.iter().map(|a| axis(*a)).collect(),
        same_blur: p.same_blur,
        misses: p
            .misses
            .iter()
            .map(|m| MissJson {
                axis: axis(m.axis),
                frame: m.frame,
                instant: m.instant.name(),
                counts: [m.first, m.second],
                frames: m.frames,
            })
            .collect(),
        approached_differently: p
            .approaches
            .iter()
            .map(|a| ApproachedJson { axis: axis(a.axis), frame: a.frame, frames: a.frames, backlash: a.backlash })
            .collect(),
    }
}

#[derive(Serialize, JsonSchema)]
struct ReversalsJson {
    axis: String,
    backlash: Option<f64>,
    frames: Vec<f64>,
}

#[derive(Serialize, JsonSchema)]
struct PassJson {
    pass: String,
    exposure: &'static str,
    seconds_per_frame: f64,
    interval: Option<&'static str>,
    /// Of a test pass: one frame in how many is exposed.
    #[serde(skip_serializing_if = "Option::is_none")]
    every: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    wedge: Option<wedge::WedgeJson>,
    /// How often the shutter opens.
    exposures: usize,
    saved_s: Option<f64>,
    duration_s: f64,
    /// The whole program and the return home.
    program_s: f64,
    within_limits: bool,
    /// Null where no pace helps; `limited_by` then says for which axis and limit.
    fastest_seconds_per_frame: Option<f64>,
    limited_by: Option<LimitedBy>,
    /// The smallest pace at which the whole pass runs; null where none holds.
    fastest_runnable_seconds_per_frame: Option<f64>,
    /// What limits it, in words; null where nothing does.
    fastest_runnable_limited_by: Option<String>,
    run_up_frames: u32,
    run_down_frames: u32,
    move_to_start: MoveToStartJson,
    return_home: ReturnHomeJson,
    #[serde(skip_serializing_if = "Option::is_none")]
    held: Option<held::HeldJson>,
    axes: Vec<AxisJson>,
    violations: Vec<violation::ViolationJson>,
    swing: Vec<swing::SwingJson>,
    /// Of held passes.
    settling: Vec<settling::SettlingJson>,
    hang: Vec<hang::WireJson>,
    stopping: Vec<stopping::StoppingJson>,
    clearance: Option<Vec<GapJson>>,
}

#[derive(Serialize, JsonSchema)]
struct PixelsJson {
    axis: String,
    camera: String,
    step_px: f64,
    backlash_px: Option<f64>,
    frame: f64,
}

#[derive(Serialize, JsonSchema)]
struct GapJson {
    kind: &'static str,
    first: String,
    second: String,
    gap_mm: Option<f64>,
    /// Taken off it for what swings.
    swing_mm: f64,
    required_mm: f64,
    /// Null on the way to the start and home.
    frame: Option<f64>,
    /// Seconds of the program; null in frame time.
    time_s: Option<f64>,
    is_kept: bool,
    /// False where the true gap may be greater than the one shown.
    is_least: bool,
    tolerance_mm: f64,
}

/// From home to the start, backlash removed.
#[derive(Serialize, JsonSchema)]
struct MoveToStartJson {
    to_approach_s: f64,
    to_start_s: f64,
    axes: Vec<ApproachJson>,
    clearance: Option<Vec<GapJson>>,
}

#[derive(Serialize, JsonSchema)]
struct ReturnHomeJson {
    /// `None` where a motor cannot hold its load at standstill.
    seconds: Option<f64>,
    clearance: Option<Vec<GapJson>>,
}

#[derive(Serialize, JsonSchema)]
struct ApproachJson {
    axis: String,
    start: f64,
    approach_from: f64,
    end: f64,
    has_room: bool,
}

#[derive(Serialize, JsonSchema)]
struct LimitedBy {
    axis: String,
    limit: &'static str,
}

#[derive(Serialize, JsonSchema)]
struct AxisJson {
    axis: String,
    unit: &'static str,
    parked: bool,
    position: ReachJson,
    velocity: PeakJson,
    acceleration: PeakJson,
    jerk: PeakJson,
    step_rate: PeakJson,
    torque: Option<PeakJson>,
    run_up: Option<StretchJson>,
    run_down: Option<StretchJson>,
}

#[derive(Serialize, JsonSchema)]
struct StretchJson {
    position: ReachJson,
    velocity: PeakJson,
    acceleration: PeakJson,
    jerk: PeakJson,
    step_rate: PeakJson,
}

#[derive(Serialize, JsonSchema)]
struct ReachJson {
    min: f64,
    max: f64,
    lower: f64,
    upper: f64,
    min_frame: f64,
    max_frame: f64,
}

#[derive(Serialize, JsonSchema)]
struct PeakJson {
    peak: f64,
    limit: Option<f64>,
    frame: f64,
}

#[derive(Serialize, JsonSchema)]
struct FindingJson {
    kind: &'static str,
    axis: Option<String>,
    frame: Option<f64>,
    value: Option<f64>,
    message: String,
}

fn pass(compiled: &Compiled, p: &PassReport) -> PassJson {
    let stage = compiled.stage();
    let (program, clock) = (&p.program, p.program.clock());
    let name = |id: AxisId| stage.axis_name(id).to_owned();
    let is_held = program.stations().is_some();
    let runs = if is_held { (0, 0) } else { (compiled.run_up(), compiled.run_down()) };
    let way = program.way();
    let approaches = stage.axis_ids().zip(way.approaches().iter()).filter_map(|(id, a)| a.as_ref().map(|a| (id, a)));
    PassJson {
        pass: p.name().to_owned(),
        exposure: program.pass().exposure().name(),
        seconds_per_frame: clock.pace().get(),
        interval: is_held.then(|| program.pass().interval().name()),
        every: Some(program.pass().every()).filter(|n| *n > 1),
        wedge: wedge::exposures(program),
        exposures: clock.exposures(),
        saved_s: program.saved().map(|s| s.0),
        duration_s: clock.running().0,
        program_s: program.duration().0,
        within_limits: p.within_limits(),
        fastest_seconds_per_frame: p.fastest.seconds_per_frame,
        limited_by: p.fastest.limited_by.map(|(axis, limit)| LimitedBy { axis: name(axis), limit: limit.name() }),
        fastest_runnable_seconds_per_frame: p.runnable.seconds_per_frame,
        fastest_runnable_limited_by: p.runnable.limited_by.as_ref().map(|h| words::hindrance(stage, h)),
        run_up_frames: runs.0,
        run_down_frames: runs.1,
        move_to_start: MoveToStartJson {
            to_approach_s: way.to_approach().0,
            to_start_s: way.to_start().0,
            axes: approaches
                .map(|(id, a)| ApproachJson { axis: name(id), start: a.start, approach_from: a.from, end: a.end, has_room: a.has_room })
                .collect(),
            clearance: on_the_way(stage, p, Leg::MoveToStart),
        },
        return_home: ReturnHomeJson {
            seconds: way.too_weak().is_none().then_some(way.back().0),
            clearance: on_the_way(stage, p, Leg::ReturnHome),
        },
        held: held::moves(p),
        axes: stage.axis_ids().zip(p.axes.iter()).map(|(id, a)| axis(stage, id, a)).collect(),
        violations: p.violations.iter().map(|v| violation::violation(compiled, v)).collect(),
        swing: swing::swings(p),
        settling: settling::needs(p),
        hang: hang::wires(p),
        stopping: stopping::stops(p),
        clearance: p.clearance.as_ref().map(|c| c.pairs.iter().map(|n| gap(stage, n, Some(n.at), None)).collect()),
    }
}

/// Gaps on a leg, in seconds of the program: the return home begins where the run-down ends.
fn on_the_way(stage: &Stage, p: &PassReport, leg: Leg) -> Option<Vec<GapJson>> {
    let begins = if leg == Leg::ReturnHome { p.program.end().0 } else { 0.0 };
    let found = p.way_clearance.iter().find(|(l, _)| *l == leg).and_then(|(_, c)| c.as_ref())?;
    Some(found.pairs.iter().map(|n| gap(stage, n, None, Some(begins + n.at))).collect())
}

fn pixels(stage: &Stage, p: &PixelReport) -> PixelsJson {
    let camera = stage.group_name(p.camera).to_owned();
    PixelsJson { axis: stage.axis_name(p.axis).to_owned(), camera, step_px: p.step, backlash_px: p.backlash, frame: p.frame.0 }
}

fn gap(stage: &Stage, n: &Nearest, frame: Option<f64>, time_s: Option<f64>) -> GapJson {
    let (first, second) = words::pair(stage, n);
    GapJson {
        kind: n.against.name(),
        first,
        second,
        gap_mm: n.gap.is_finite().then_some(n.gap),
        swing_mm: n.swing,
        required_mm: n.required,
        frame,
        time_s,
        is_kept: n.is_kept(),
        is_least: n.proof == Proof::Tight,
        tolerance_mm: n.tolerance,
    }
}

fn axis(stage: &Stage, id: AxisId, a: &AxisReport) -> AxisJson {
    let s = &a.photographed;
    AxisJson {
        axis: stage.axis_name(id).to_owned(),
        unit: stage.axis(id).unit().symbol(),
        parked: a.parked,
        position: reach(&s.position),
        velocity: peak(&s.velocity),
        acceleration: peak(&s.acceleration),
        jerk: peak(&s.jerk),
        step_rate: peak(&s.step_rate),
        torque: a.torque.map(|t| PeakJson { peak: t.demand, limit: Some(t.available), frame: t.at }),
        run_up: a.run_up.as_ref().map(stretch),
        run_down: a.run_down.as_ref().map(stretch),
    }
}

fn stretch(s: &StretchReport) -> StretchJson {
    StretchJson {
        position: reach(&s.position),
        velocity: peak(&s.velocity),
        acceleration: peak(&s.acceleration),
        jerk: peak(&s.jerk),
        step_rate: peak(&s.step_rate),
    }
}

fn reach(r: &Reach) -> ReachJson {
    ReachJson { min: r.min, max: r.max, lower: r.travel.lower, upper: r.travel.upper, min_frame: r.min_frame.0, max_frame: r.max_frame.0 }
}

fn peak(p: &Peak) -> PeakJson {
    PeakJson { peak: p.value, limit: p.limit, frame: p.frame.0 }
}

fn finding(compiled: &Compiled, n: &Note) -> FindingJson {
    FindingJson {
        kind: n.kind.name(),
        axis: n.axis.map(|id| compiled.stage().axis_name(id).to_owned()),
        frame: n.frame.map(|f| f.0),
        value: n.value,
        message: words::note(compiled, n),
    }
}
