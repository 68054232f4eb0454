//! A held pass: whether every move fits between exposures, and what it asks of its axis.
//!
//! Invariant: a move within its axis's limits takes its shortest time; stretched to the common time its peaks fall by (own / common)^k.

use rayon::prelude::*;

use super::exceeded::violation;
use super::limits::Over;
use super::moving::parked;
use super::reach;
use super::verdict::{AxisReport, Peak, Reach, StretchReport, Tightest};
use super::violation::{Cause, Limit, Part, Violation};
use crate::bounds::Effort;
use crate::compile::frame_time;
use crate::motion::point_to_point::Binding;
use crate::program::rest_move::{Moved, RestMove};
use crate::program::{HeldMove, Program, Stations, Torque, TorqueUse};
use crate::stage::{Axis, AxisId, PerAxis, Utilisation};
use crate::time::{FrameTime, Seconds};

/// Every axis's figures, and every limit that is exceeded.
pub(super) fn check(program: &Program, stations: &Stations, effort: Effort) -> (PerAxis<AxisReport>, Vec<Violation>) {
    let compiled = program.compiled();
    let stage = compiled.stage();
    let ids: Vec<AxisId> = stage.axis_ids().collect();
    let checked: Vec<(AxisReport, Vec<Violation>)> = ids
        .par_iter()
        .map(|id| if program.parks(*id) { (parked(compiled, *id), Vec::new()) } else { axis(program, stations, *id) })
        .collect();
    let beside: Vec<Violation> = reach::with_slack(program, effort);
    let mut violations: Vec<Violation> = Vec::new();
    let mut rest = checked.into_iter();
    let axes = PerAxis::new(stage, |id| match rest.next() {
        Some((report, found)) => {
            let beside_peaks = Tightest::beside_peaks(found.iter().chain(beside.iter().filter(|v| v.subject.axis() == id)));
            violations.extend(found);
            AxisReport { beside_peaks, ..report }
        }
        None => parked(compiled, id),
    });
    violations.extend(beside);
    (axes, violations)
}

/// True where a move of this length fits between two exposures.
pub(super) fn fits(seconds: f64, available: Seconds) -> bool {
    seconds == 0.0 || !Utilisation::of(seconds, available.0).is_exceeded()
}

/// One axis's figures, and the limits that it exceeds.
pub(super) fn axis(program: &Program, stations: &Stations, id: AxisId) -> (AxisReport, Vec<Violation>) {
    let compiled = program.compiled();
    let a = compiled.stage().axis(id);
    let curve = compiled.motion(id).curve();
    // What stands within its travel stands at every station as at the first.
    let still = curve.still().filter(|x| a.travel().lower <= *x && *x <= a.travel().upper);
    let positions = still.map_or_else(|| stations.positions(curve), |x| vec![x]);
    let photographed = peaks(a, id, &positions, stations);
    let torque = torque(a, id, &positions, stations);
    let mut found = too_long(program, stations, id, &positions);
    let report =
        AxisReport { parked: false, photographed, run_up: None, run_down: None, torque, jerk_unbounded: false, beside_peaks: None };
    let beyond =
        too_weak(program, stations, id, &positions, torque).into_iter().chain(off_travel(program, id, &positions, &photographed.position));
    found.extend(beyond.map(|over| violation(compiled, id, &over, Cause::Curve)));
    (report, found)
}

/// Neighbours joined: what is exceeded at one exposed frame after the other is one stretch, at its worst. Each comes with its frame and the next one.
fn joined(each: impl Iterator<Item = ([i64; 2], Over)>, worse: impl Fn(&Over, &Over) -> bool) -> Vec<Over> {
    let mut runs: Vec<(i64, Over)> = Vec::new();
    for ([n, next], over) in each {
        match runs.last_mut() {
            Some((expected, known)) if *expected == n => {
                let span = (known.span.0, over.span.1);
                *known = Over { span, ..if worse(&over, known) { over } else { *known } };
                *expected = next;
            }
            _ => runs.push((next, over)),
        }
    }
    runs.into_iter().map(|(_, over)| over).collect()
}

/// Moves for which the motor is too weak; where it cannot hold its load at standstill, the whole span at its worst.
fn too_weak(program: &Program, stations: &Stations, id: AxisId, positions: &[f64], worst: Option<TorqueUse>) -> Vec<Over> {
    let compiled = program.compiled();
    let (Some(model), Some(worst)) = (Torque::of(compiled.stage().axis(id)), worst.filter(|t| t.utilisation().is_exceeded())) else {
        return Vec::new();
    };
    let over = |t: TorqueUse, span| Over {
        limit: Limit::Torque,
        part: Part::Photographed,
        frame: FrameTime(t.at),
        span,
        value: t.demand,
        allowed: t.available,
    };
    if model.standing(0.0).utilisation().is_exceeded() {
        return vec![over(worst, compiled.shot().frames().photographed())];
    }
    let each = stations.laws(id, positions).filter_map(|(common, law)| {
        let law = law.stretched(common.seconds.0).ok().filter(|s| s.duration() > 0.0)?;
        let t = law.torque(&model, common.frame_after(0.5).0).filter(|t| t.utilisation().is_exceeded())?;
        Some(([common.from, common.to], over(t, (frame_time(common.from), frame_time(common.to)))))
    });
    joined(each, |a, b| a.value * b.allowed > b.value * a.allowed)
}

/// Stations beyond either end of the travel.
fn off_travel(program: &Program, id: AxisId, positions: &[f64], reach: &Reach) -> Vec<Over> {
    if reach.ends().iter().all(|(.., used)| !used.is_exceeded()) {
        return Vec::new();
    }
    let compiled = program.compiled();
    let travel = compiled.stage().axis(id).travel();
    let at_end = |end: usize| {
        let exposed = program.clock().exposed();
        let each = exposed.frames().zip(positions).filter_map(move |(n, x)| {
            let frame = FrameTime::of_frame(n);
            let reach = Reach { min: *x, min_frame: frame, max: *x, max_frame: frame, travel };
            let (value, frame, allowed, _) = reach.ends().into_iter().nth(end).filter(|(.., used)| used.is_exceeded())?;
            Some((
                [n, n + exposed.step()],
                Over { limit: Limit::Position, part: Part::Photographed, frame, span: (frame.0, frame.0), value, allowed },
            ))
        });
        joined(each, |a, b| (a.value - a.allowed).abs() > (b.value - b.allowed).abs())
    };
    [0, 1].into_iter().flat_map(at_end).collect()
}

/// Moves that do not fit, those of neighbouring frames as one, at the slowest.
fn too_long(program: &Program, stations: &Stations, id: AxisId, positions: &[f64]) -> Vec<Violation> {
    let Some(available) = stations.available() else { return Vec::new() };
    let mut runs: Vec<(u64, [i64; 2], HeldMove, RestMove)> = Vec::new();
    for (common, law) in stations.laws(id, positions).filter(|(_, law)| !fits(law.duration(), available)) {
        match runs.last_mut() {
            Some((moves, [_, last], worst, slowest)) if *last == common.from => {
                (*moves, *last) = (*moves + 1, common.to);
                if law.duration() > slowest.duration() {
                    (*worst, *slowest) = (*common, law);
                }
            }
            _ => runs.push((1, [common.from, common.to], *common, law)),
        }
    }
    runs.into_iter()
        .map(|(moves, [first, last], worst, law)| {
            let over = in_the_time(program.compiled().stage().axis(id), &law, available);
            let over = Over { frame: worst.frame_after(0.5), span: (frame_time(first), frame_time(last)), ..over };
            let cause = Cause::TooLong {
                from: worst.from,
                to: worst.to,
                stretch: (first, last),
                moves,
                seconds: Seconds(law.duration()),
                available,
            };
            violation(program.compiled(), id, &over, cause)
        })
        .collect()
}

/// What the quantity that binds would have to be for the move to fit: in the time there is instead of its own it is (own / there is)^k of its limit.
fn in_the_time(axis: &Axis, law: &RestMove, available: Seconds) -> Over {
    let l = axis.limits();
    // What the split adds stays as it is.
    let left = available.0 - law.delay();
    let k = if left > 0.0 { law.law.duration() / left } else { f64::INFINITY };
    let (limit, allowed, power) = match law.law.binding() {
        Some(Binding::Velocity) | None => (Limit::Velocity, l.velocity, k),
        Some(Binding::Acceleration) => (Limit::Acceleration, l.acceleration, k * k),
        Some(Binding::Jerk) => (Limit::Jerk, l.jerk, k * k * k),
    };
    let value = (allowed * power).min(f64::MAX);
    Over { limit, part: Part::Photographed, frame: FrameTime(0.0), span: (0.0, 0.0), value, allowed }
}

/// The greatest share of torque over an axis's moves, at the middle of the worst. Greatest acceleration at greatest speed bounds each move from above; every
/// move whose bound is above the greatest share found so far is followed exactly. Standing still asks for something too: what hangs must be held.
fn torque(axis: &Axis, id: AxisId, positions: &[f64], stations: &Stations) -> Option<TorqueUse> {
    let model = Torque::of(axis)?;
    let mut worst = model.standing(frame_time(stations.moves().first().map_or(0, |m| m.from)));
    let bounded = |(common, law): (&HeldMove, RestMove)| -> Option<(TorqueUse, Moved)> {
        let moved = law.stretched(common.seconds.0).ok().filter(|s| s.duration() > 0.0)?;
        let (demand, available) = (model.demand(moved.law.peak_acceleration()), model.available(moved.law.peak_velocity()));
        Some((TorqueUse { demand, available, at: common.frame_after(0.5).0 }, moved))
    };
    // The move with the greatest bound first: it clears most of the others.
    let moves = || stations.laws(id, positions).filter_map(bounded);
    let hardest = moves().reduce(|a, b| if b.0.utilisation().share() > a.0.utilisation().share() { b } else { a });
    for (bound, law) in hardest.into_iter().chain(moves()) {
        if bound.utilisation().share() > worst.utilisation().share()
            && let Some(t) = law.torque(&model, bound.at)
        {
            worst = worst.worse(t);
        }
    }
    Some(worst)
}

/// Peaks over all moves, stretched to the time that all axes take.
fn peaks(axis: &Axis, id: AxisId, positions: &[f64], stations: &Stations) -> StretchReport {
    let l = axis.limits();
    let first = FrameTime(frame_time(stations.moves().first().map_or(0, |m| m.from)));
    let zero = |limit| Peak { value: 0.0, limit, frame: first };
    let start = positions.first().copied().unwrap_or(axis.home());
    let mut r = StretchReport {
        position: Reach { min: start, min_frame: first, max: start, max_frame: first, travel: axis.travel() },
        velocity: zero(Some(l.velocity)),
        acceleration: zero(Some(l.acceleration)),
        jerk: zero(Some(l.jerk)),
        step_rate: zero(l.step_rate),
    };
    let frames = stations.exposed().frames().map(FrameTime::of_frame);
    for (x, frame) in positions.iter().zip(frames) {
        if *x < r.position.min {
            (r.position.min, r.position.min_frame) = (*x, frame);
        }
        if *x > r.position.max {
            (r.position.max, r.position.max_frame) = (*x, frame);
        }
    }
    for (common, s) in stations.laws(id, positions).filter(|(_, s)| s.duration() != 0.0) {
        let Ok(moved) = s.stretched(common.seconds.0) else { continue };
        let [v, a, j] = moved.peaks();
        let frame = common.frame_after(0.5);
        let raise = |peak: &mut Peak, value: f64| {
            if value > peak.value {
                (peak.value, peak.frame) = (value, frame);
            }
        };
        raise(&mut r.velocity, v);
        raise(&mut r.acceleration, a);
        raise(&mut r.jerk, j);
        raise(&mut r.step_rate, v * axis.drive().steps_per_unit());
    }
    r
}
