//! Held passes: between exposures every axis makes a rest-to-rest jerk-limited move, all ending together on the slowest.
//!
//! Invariant: each move is the seven-segment law in its shortest time under the axis's limits, stretched to the slowest axis's time; so a
//! stretched axis runs at (its own time / the common time)^k of its peaks. Every axis stands still during exposures.

use rayon::prelude::*;

use super::report::{HeldMove, HeldReport, Limit, Peak, Reach, StretchReport, TorqueReport};
use super::torque::Torque;
use crate::compile::{Move, SLACK, frame_time};
use crate::motion::Quintic;
use crate::motion::curve::{Piece, Walk};
use crate::motion::point_to_point::{Binding, Limits, SevenSegment};
use crate::shot::{Pass, Shot};
use crate::stage::{Axis, Stage};

/// A move that does not fit between exposures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TooLong {
    /// Index of the axis.
    pub axis: usize,
    /// Frame it leaves.
    pub from: i64,
    /// First frame of the run of moves it stands for.
    pub first: i64,
    /// The limit that makes it as slow as it is.
    pub limit: Limit,
    /// What that limit's quantity would have to be for the move to fit.
    pub value: f64,
    /// The limit.
    pub allowed: f64,
    /// Seconds it takes.
    pub seconds: f64,
}

/// Peaks of one axis over all its moves, and what was found.
pub struct HeldCheck {
    /// Moves and times.
    pub report: HeldReport,
    /// Peaks of every axis.
    pub axes: Vec<StretchReport>,
    /// Moves that do not fit, by axis and frame.
    pub too_long: Vec<TooLong>,
    /// Torque of every axis at the worst instant of its moves, where motor and load are given; the frame is that of the move's middle.
    pub torque: Vec<Option<TorqueReport>>,
}

/// Seconds between the close of one exposure and the opening of the next, settling taken off.
#[must_use]
pub fn available(pass: &Pass) -> f64 {
    pass.pace().get() * (1.0 - pass.shutter().fraction()) - pass.settle()
}

/// Plans every move of a held pass. Memory grows with the frames, not with frames times axes: laws are formed twice instead of kept.
#[must_use]
pub fn plan(stage: &Stage, shot: &Shot, pass: &Pass, mv: &Move) -> HeldCheck {
    let room = available(pass);
    let first = shot.frames().first();
    let mut slowest: Vec<HeldMove> = (first..shot.frames().last()).map(|from| HeldMove { from, seconds: 0.0, slowest: None }).collect();
    for (i, axis) in stage.axes().iter().enumerate() {
        for (law, common) in laws(axis, &stations(shot, pass, stage, mv, i)).zip(&mut slowest) {
            let seconds = law.map_or(0.0, |s| s.duration());
            if seconds > common.seconds {
                (common.seconds, common.slowest) = (seconds, Some(i));
            }
        }
    }
    let checked: Vec<Checked> = stage
        .axes()
        .par_iter()
        .enumerate()
        .map(|(i, axis)| {
            let p = stations(shot, pass, stage, mv, i);
            let too_long = laws(axis, &p)
                .zip(&slowest)
                .filter_map(|(law, common)| {
                    law.filter(|s| !(s.duration() <= room * (1.0 + SLACK))).map(|s| does_not_fit(i, axis, &s, common.from, room))
                })
                .collect();
            Checked { peaks: peaks(axis, &p, &slowest, first), too_long, torque: torque(axis, &p, &slowest) }
        })
        .collect();
    let mut all =
        HeldCheck { report: HeldReport { available: room, moves: slowest }, axes: Vec::new(), too_long: Vec::new(), torque: Vec::new() };
    for c in checked {
        all.axes.push(c.peaks);
        all.too_long.extend(c.too_long);
        all.torque.push(c.torque);
    }
    all
}

/// What was found of one axis.
struct Checked {
    peaks: StretchReport,
    too_long: Vec<TooLong>,
    torque: Option<TorqueReport>,
}

/// Torque over an axis's moves. Greatest acceleration at greatest speed bounds each move from above; only moves that bound does not clear,
/// and the one with the worst bound, are followed exactly.
fn torque(axis: &Axis, p: &[f64], slowest: &[HeldMove]) -> Option<TorqueReport> {
    let model = Torque::of(axis)?;
    let mut worst: Option<TorqueReport> = None;
    let mut worst_bound: Option<(f64, SevenSegment, f64)> = None;
    let mut follow = |law: &SevenSegment, frame: f64| {
        let exact = exact_torque(&model, law, frame);
        if let Some(t) = exact
            && worst.is_none_or(|w| t.demand * w.available > w.demand * t.available)
        {
            worst = Some(t);
        }
    };
    for (law, common) in laws(axis, p).zip(slowest) {
        let Some(law) = law.and_then(|s| s.stretched(common.seconds).ok()).filter(|s| s.duration() > 0.0) else { continue };
        let frame = frame_time(common.from) + 0.5;
        let (demand, available) = (model.demand(law.peak_acceleration()), model.available(law.peak_velocity()));
        if demand > available {
            follow(&law, frame);
        }
        let share = if available > 0.0 { demand / available } else { f64::INFINITY };
        if worst_bound.as_ref().is_none_or(|(s, ..)| share > *s) {
            worst_bound = Some((share, law, frame));
        }
    }
    if let Some((_, law, frame)) = worst_bound {
        follow(&law, frame);
    }
    // Standing still asks for something too: what hangs must be held.
    worst.or(Some(TorqueReport { demand: model.demand(0.0), available: model.available(0.0), frame: frame_time(slowest.first()?.from) }))
}

/// Torque along one move. Its second half mirrors the first, and demand and supply ask only for sizes: the first ramp and the cruise tell all.
pub(super) fn exact_torque(model: &Torque, law: &SevenSegment, frame: f64) -> Option<TorqueReport> {
    let phases = law.phases();
    let (tj, a) = (phases.first_jerk, phases.first_acceleration.abs());
    let steady = phases.first - 2.0 * tj;
    let (v1, v2) = (0.5 * a * tj, 0.5 * a * tj + a * steady);
    let cubic = |h: f64, v: f64, a: f64, rise: f64| Quintic([0.0, v * h, 0.5 * a * h * h, rise * h * h / 6.0, 0.0, 0.0]);
    let ramp = [(tj, cubic(tj, 0.0, 0.0, a)), (steady, cubic(steady, v1, a, 0.0)), (tj, cubic(tj, v2, a, -a))];
    let pieces = ramp.iter().filter(|(h, _)| *h > 0.0).map(|(h, q)| Piece { index: 0, start: 0.0, end: *h, quintic: q });
    model.worst(pieces, 1.0).map(|t| TorqueReport { frame, ..t })
}

/// Where an axis stands at each exposure: the move's position at mid-exposure, or home where parked.
fn stations(shot: &Shot, pass: &Pass, stage: &Stage, mv: &Move, axis: usize) -> Vec<f64> {
    let home = stage.axes().get(axis).map_or(0.0, Axis::home);
    match mv.axes().get(axis) {
        Some(a) if !pass.parks(stage, axis) => {
            let mut walk = Walk::new(a.curve());
            shot.frames().frames().map(|n| walk.at(frame_time(n)).unwrap_or(f64::NAN)).collect()
        }
        _ => vec![home; shot.frames().count()],
    }
}

/// The law of each move between neighbouring stations.
fn laws<'a>(axis: &Axis, stations: &'a [f64]) -> impl Iterator<Item = Option<SevenSegment>> + 'a {
    let limits = effective(axis);
    stations.iter().zip(stations.iter().skip(1)).map(move |(a, b)| limits.as_ref().and_then(|l| SevenSegment::rest_to_rest(b - a, l).ok()))
}

/// The axis's limits for moves from point to point, its step rate counted as a limit of velocity.
#[must_use]
pub fn effective(axis: &Axis) -> Option<Limits> {
    let l = axis.limits();
    let by_rate = l.step_rate.map_or(f64::INFINITY, |r| r / axis.drive().steps_per_unit());
    Limits::new(l.velocity.min(by_rate), l.acceleration, l.jerk).ok()
}

fn does_not_fit(axis: usize, a: &Axis, s: &SevenSegment, from: i64, room: f64) -> TooLong {
    let l = a.limits();
    // In room instead of its own time the quantity that binds would be (own / room)^k of its limit.
    let k = if room > 0.0 { s.duration() / room } else { f64::INFINITY };
    let (limit, allowed, power) = match s.binding() {
        Some(Binding::Velocity) | None => (Limit::Velocity, l.velocity, k),
        Some(Binding::Acceleration) => (Limit::Acceleration, l.acceleration, k * k),
        Some(Binding::Jerk) => (Limit::Jerk, l.jerk, k * k * k),
    };
    TooLong { axis, from, first: from, limit, value: (allowed * power).min(f64::MAX), allowed, seconds: s.duration() }
}

fn peaks(axis: &Axis, p: &[f64], slowest: &[HeldMove], first: i64) -> StretchReport {
    let (l, travel) = (axis.limits(), axis.travel());
    let zero = |limit| Peak { value: 0.0, limit, frame: frame_time(first) };
    let start = p.first().copied().unwrap_or(axis.home());
    let mut r = StretchReport {
        position: Reach {
            min: start,
            min_frame: frame_time(first),
            max: start,
            max_frame: frame_time(first),
            lower: travel.lower,
            upper: travel.upper,
        },
        velocity: zero(Some(l.velocity)),
        acceleration: zero(Some(l.acceleration)),
        jerk: zero(Some(l.jerk)),
        step_rate: zero(l.step_rate),
    };
    for (n, x) in (first..).zip(p) {
        if *x < r.position.min {
            (r.position.min, r.position.min_frame) = (*x, frame_time(n));
        }
        if *x > r.position.max {
            (r.position.max, r.position.max_frame) = (*x, frame_time(n));
        }
    }
    for (s, common) in laws(axis, p).zip(slowest) {
        let Some(s) = s else { continue };
        if s.duration() == 0.0 {
            continue;
        }
        let k = s.duration() / common.seconds;
        let frame = frame_time(common.from) + 0.5;
        let raise = |peak: &mut Peak, value: f64| {
            if value > peak.value {
                (peak.value, peak.frame) = (value, frame);
            }
        };
        raise(&mut r.velocity, s.peak_velocity() * k);
        raise(&mut r.acceleration, s.peak_acceleration() * k * k);
        raise(&mut r.jerk, s.peak_jerk() * k * k * k);
        raise(&mut r.step_rate, s.peak_velocity() * k * axis.drive().steps_per_unit());
    }
    r
}
