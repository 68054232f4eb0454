//! The check as JSON, format 1.
//!
//! Keys and units are a contract: figures of a moving pass are exact extremes over the photographed span, in units and seconds; run-up and
//! run-down stand beside them under keys of their own. Numbers that do not exist are null, never zero.

use serde::Serialize;

use crate::check::clearance::{Nearest, Proof};
use crate::check::meeting;
use crate::check::pixels::PixelReport;
use crate::check::register::Pair;
use crate::check::report::{Finding, Peak, Reach, StretchReport};
use crate::check::{AxisReport, PassReport, Report, Violation};
use crate::shot::Shot;
use crate::stage::Stage;

/// The JSON text of a report, ending in a line feed.
///
/// # Errors
/// None that a checked report can cause; passed on from the JSON library.
pub fn text(stage: &Stage, shot: &Shot, report: &Report) -> Result<String, serde_json::Error> {
    let mut text = serde_json::to_string_pretty(&document(stage, shot, report))?;
    text.push('\n');
    Ok(text)
}

/// The same as a value, for writing into another document.
#[must_use]
pub fn document(stage: &Stage, shot: &Shot, report: &Report) -> impl Serialize + use<> {
    Document {
        format: 1,
        shot: shot.name().to_owned(),
        stage: stage.name().to_owned(),
        frames: [shot.frames().first(), shot.frames().last()],
        frame_rate: shot.frame_rate().to_string(),
        within_limits: report.within_limits(),
        passes: report.passes.iter().map(|p| pass(stage, p)).collect(),
        findings: report.findings.iter().map(|f| finding(stage, f)).collect(),
        rotor_lag: report
            .lag_between_paces
            .iter()
            .zip(stage.axes())
            .enumerate()
            .map(|(i, (steps, a))| LagJson {
                axis: stage.axis_name(i).to_owned(),
                microstep_torque_share: crate::check::lag::microstep_torque(a.drive().microsteps()),
                between_paces_steps: *steps,
                between_paces_pixels: steps.zip(pixels_of_a_step(report, i)).map(|(s, p)| s * p),
            })
            .collect(),
        registration: report.registration.pairs.iter().map(|p| pair(stage, shot, p)).collect(),
        reversals: report
            .reversals
            .iter()
            .enumerate()
            .filter(|(_, frames)| !frames.is_empty())
            .map(|(i, frames)| ReversalsJson {
                axis: stage.axis_name(i).to_owned(),
                backlash: stage.axes().get(i).and_then(crate::stage::Axis::backlash),
                frames: frames.clone(),
            })
            .collect(),
        pixels: report.pixels.iter().map(|p| pixels(stage, p)).collect(),
        notice: super::manifest::NOTICE,
    }
}

#[derive(Serialize)]
struct Document {
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
    pixels: Vec<PixelsJson>,
    notice: &'static str,
}

/// What a step of an axis is worth at most in any camera's picture.
fn pixels_of_a_step(report: &Report, axis: usize) -> Option<f64> {
    report.pixels.iter().filter(|p| p.axis == axis).map(|p| p.step).reduce(f64::max)
}

/// Stepper facts of an axis: what one microstep has of the holding torque, and by how many steps lag can set passes of different pace apart.
#[derive(Serialize)]
struct LagJson {
    axis: String,
    microstep_torque_share: f64,
    between_paces_steps: Option<f64>,
    between_paces_pixels: Option<f64>,
}

#[derive(Serialize)]
struct PairJson {
    passes: [String; 2],
    registers: bool,
    live_axes: usize,
    parked: Vec<String>,
    same_blur: bool,
    misses: Vec<MissJson>,
    approached_differently: Vec<ApproachedJson>,
}

#[derive(Serialize)]
struct MissJson {
    axis: String,
    frame: i64,
    instant: &'static str,
    counts: [Option<i64>; 2],
    frames: usize,
}

#[derive(Serialize)]
struct ApproachedJson {
    axis: String,
    frame: i64,
    frames: usize,
    backlash: Option<f64>,
}

fn pair(stage: &Stage, shot: &Shot, p: &Pair) -> PairJson {
    let pass = |i: usize| shot.passes().get(i).map_or("", |p| p.name()).to_owned();
    let axis = |i: usize| stage.axis_name(i).to_owned();
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

#[derive(Serialize)]
struct ReversalsJson {
    axis: String,
    backlash: Option<f64>,
    frames: Vec<f64>,
}

#[derive(Serialize)]
struct PassJson {
    pass: String,
    exposure: &'static str,
    seconds_per_frame: f64,
    duration_s: f64,
    within_limits: bool,
    fastest_seconds_per_frame: f64,
    limited_by: Option<LimitedBy>,
    run_up_frames: u32,
    run_down_frames: u32,
    take_up: TakeUpJson,
    #[serde(skip_serializing_if = "Option::is_none")]
    held: Option<HeldJson>,
    axes: Vec<AxisJson>,
    violations: Vec<ViolationJson>,
    clearance: Option<Vec<GapJson>>,
}

#[derive(Serialize)]
struct PixelsJson {
    axis: String,
    camera: String,
    step_px: f64,
    backlash_px: Option<f64>,
    frame: f64,
}

#[derive(Serialize)]
struct GapJson {
    kind: &'static str,
    first: String,
    second: String,
    gap_mm: Option<f64>,
    kept_mm: f64,
    frame: f64,
    is_kept: bool,
    /// False where the true gap may be greater than the one shown.
    is_least: bool,
    tolerance_mm: f64,
}

#[derive(Serialize)]
struct TakeUpJson {
    to_approach_s: f64,
    to_start_s: f64,
    back_home_s: f64,
    axes: Vec<ApproachJson>,
    /// Gaps on the way, `frame` in its seconds.
    clearance: Option<Vec<GapJson>>,
}

#[derive(Serialize)]
struct ApproachJson {
    axis: String,
    start: f64,
    approach_from: f64,
    end: f64,
    has_room: bool,
}

#[derive(Serialize)]
struct LimitedBy {
    axis: String,
    limit: &'static str,
}

#[derive(Serialize)]
struct HeldJson {
    available_s: f64,
    moves: Vec<MoveJson>,
}

#[derive(Serialize)]
struct MoveJson {
    from_frame: i64,
    seconds: f64,
    slowest: Option<String>,
}

#[derive(Serialize)]
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

#[derive(Serialize)]
struct StretchJson {
    position: ReachJson,
    velocity: PeakJson,
    acceleration: PeakJson,
    jerk: PeakJson,
    step_rate: PeakJson,
}

#[derive(Serialize)]
struct ReachJson {
    min: f64,
    max: f64,
    lower: f64,
    upper: f64,
    min_frame: f64,
    max_frame: f64,
}

#[derive(Serialize)]
struct PeakJson {
    peak: f64,
    limit: Option<f64>,
    frame: f64,
}

#[derive(Serialize)]
struct ViolationJson {
    axis: String,
    limit: &'static str,
    part: &'static str,
    frame: f64,
    from_frame: f64,
    to_frame: f64,
    value: f64,
    allowed: f64,
    keys: Option<[Option<f64>; 2]>,
    message: String,
    advice: Vec<String>,
}

#[derive(Serialize)]
struct FindingJson {
    kind: &'static str,
    axis: String,
    frame: Option<f64>,
    value: Option<f64>,
    message: String,
}

fn pass(stage: &Stage, p: &PassReport) -> PassJson {
    PassJson {
        pass: p.name.clone(),
        exposure: p.exposure.name(),
        seconds_per_frame: p.seconds_per_frame,
        duration_s: p.duration,
        within_limits: p.within_limits(),
        fastest_seconds_per_frame: p.fastest.seconds_per_frame,
        limited_by: p.fastest.limited_by.map(|(axis, limit)| LimitedBy { axis: stage.axis_name(axis).to_owned(), limit: limit.name() }),
        run_up_frames: p.run_up,
        run_down_frames: p.run_down,
        take_up: TakeUpJson {
            to_approach_s: p.take_up.to_approach,
            to_start_s: p.take_up.to_start,
            back_home_s: p.take_up.back,
            axes: p
                .take_up
                .axes
                .iter()
                .map(|a| ApproachJson {
                    axis: stage.axis_name(a.axis).to_owned(),
                    start: a.start,
                    approach_from: a.from,
                    end: a.end,
                    has_room: a.has_room,
                })
                .collect(),
            clearance: p.way_clearance.as_ref().map(|c| c.pairs.iter().map(|n| gap(stage, n)).collect()),
        },
        held: p.held.as_ref().map(|h| HeldJson {
            available_s: h.available,
            moves: h
                .moves
                .iter()
                .map(|m| MoveJson { from_frame: m.from, seconds: m.seconds, slowest: m.slowest.map(|a| stage.axis_name(a).to_owned()) })
                .collect(),
        }),
        axes: p.axes.iter().map(|a| axis(stage, a)).collect(),
        violations: p.violations.iter().map(|v| violation(stage, v)).collect(),
        clearance: p.clearance.as_ref().map(|c| c.pairs.iter().map(|n| gap(stage, n)).collect()),
    }
}

fn pixels(stage: &Stage, p: &PixelReport) -> PixelsJson {
    let camera = stage.groups().get(p.camera).map_or(String::new(), |g| g.name().to_owned());
    PixelsJson { axis: stage.axis_name(p.axis).to_owned(), camera, step_px: p.step, backlash_px: p.backlash, frame: p.frame }
}

fn gap(stage: &Stage, n: &Nearest) -> GapJson {
    let (first, second) = meeting::pair(stage, n);
    GapJson {
        kind: n.against.name(),
        first,
        second,
        gap_mm: n.gap.is_finite().then_some(n.gap),
        kept_mm: n.kept,
        frame: n.frame,
        is_kept: n.is_kept(),
        is_least: n.proof == Proof::Tight,
        tolerance_mm: n.tolerance,
    }
}

fn axis(stage: &Stage, a: &AxisReport) -> AxisJson {
    let s = &a.photographed;
    AxisJson {
        axis: stage.axis_name(a.axis).to_owned(),
        unit: stage.axes().get(a.axis).map_or("", |x| x.unit().symbol()),
        parked: a.parked,
        position: reach(&s.position),
        velocity: peak(&s.velocity),
        acceleration: peak(&s.acceleration),
        jerk: peak(&s.jerk),
        step_rate: peak(&s.step_rate),
        torque: a.torque.map(|t| PeakJson { peak: t.demand, limit: Some(t.available), frame: t.frame }),
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
    ReachJson { min: r.min, max: r.max, lower: r.lower, upper: r.upper, min_frame: r.min_frame, max_frame: r.max_frame }
}

fn peak(p: &Peak) -> PeakJson {
    PeakJson { peak: p.value, limit: p.limit, frame: p.frame }
}

fn violation(stage: &Stage, v: &Violation) -> ViolationJson {
    ViolationJson {
        axis: stage.axis_name(v.axis).to_owned(),
        limit: v.limit.name(),
        part: v.part.name(),
        frame: v.frame,
        from_frame: v.span.0,
        to_frame: v.span.1,
        value: v.value,
        allowed: v.allowed,
        keys: v.between.map(|b| [b.before.map(|k| k.1), b.after.map(|k| k.1)]),
        message: v.message.clone(),
        advice: v.advice.clone(),
    }
}

fn finding(stage: &Stage, f: &Finding) -> FindingJson {
    FindingJson { kind: f.kind, axis: stage.axis_name(f.axis).to_owned(), frame: f.frame, value: f.value, message: f.message.clone() }
}
