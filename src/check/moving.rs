//! A moving pass: every axis over run-up, photographed span and run-down.

use rayon::prelude::*;

use super::exceeded::violation;
use super::limits::{self, Over};
use super::reach;
use super::verdict::{AxisReport, Tightest};
use super::violation::{Cause, Limit, Part, Violation};
use crate::bounds::Effort;
use crate::compile::{AxisMove, Compiled, Edge, WORTH_A_THREAD};
use crate::motion::{Extreme, Peaks};
use crate::program::{Program, Torque};
use crate::stage::{Axis, AxisId, PerAxis, Utilisation};
use crate::time::FrameTime;

/// Every axis's figures, and every limit that is exceeded.
pub(super) fn check(program: &Program, effort: Effort) -> (PerAxis<AxisReport>, Vec<Violation>) {
    let compiled = program.compiled();
    let stage = compiled.stage();
    let ids: Vec<AxisId> = stage.axis_ids().collect();
    let pieces: usize = ids.iter().map(|id| compiled.motion(*id).curve().len()).sum();
    let at_once = if pieces < WORTH_A_THREAD { ids.len() } else { 16 };
    let checked: Vec<(AxisReport, Vec<Violation>)> = ids.par_iter().with_min_len(at_once.max(1)).map(|id| axis(program, *id)).collect();
    let beside: Vec<Violation> = reach::with_slack(program, effort);
    let mut violations: Vec<Violation> = Vec::new();
    let mut rest = checked.into_iter();
    let axes = PerAxis::new(stage, |id| match rest.next() {
        Some((report, found)) => {
            violations.extend(found);
            AxisReport { beside_peaks: Tightest::beside_peaks(beside.iter().filter(|v| v.subject.axis() == id)), ..report }
        }
        None => parked(compiled, id),
    });
    violations.extend(beside);
    for v in &mut violations {
        let edge = v.part.edge();
        if v.cause == Cause::Curve && edge.is_some_and(|e| compiled.no_room().iter().any(|n| n.edge == e && n.axis == v.subject.axis())) {
            v.cause = Cause::NoRoom;
        }
    }
    (axes, violations)
}

/// What is said of an axis that stands at home.
pub(super) fn parked(compiled: &Compiled, id: AxisId) -> AxisReport {
    let axis = compiled.stage().axis(id);
    let at = |value| Extreme { value, at: FrameTime::of_frame(compiled.shot().frames().first()).0 };
    let still = Peaks { least: at(axis.home()), greatest: at(axis.home()), velocity: at(0.0), acceleration: at(0.0), jerk: at(0.0) };
    let photographed = limits::stretch(axis, &still, 1.0);
    AxisReport { parked: true, photographed, run_up: None, run_down: None, torque: None, jerk_unbounded: false, beside_peaks: None }
}

/// One axis's figures, and the limits that it exceeds.
pub(super) fn axis(program: &Program, id: AxisId) -> (AxisReport, Vec<Violation>) {
    let compiled = program.compiled();
    if program.parks(id) {
        return (parked(compiled, id), Vec::new());
    }
    let (axis, m, pace) = (compiled.stage().axis(id), compiled.motion(id), program.clock().pace().get());
    let part = |edge| m.edge_peaks(edge).map(|p| limits::stretch(axis, &p, pace));
    let report = AxisReport {
        parked: false,
        photographed: limits::stretch(axis, m.peaks(), pace),
        run_up: part(Edge::RunUp),
        run_down: part(Edge::RunDown),
        torque: Torque::of(axis).and_then(|t| t.worst(m.curve().pieces(), pace)),
        jerk_unbounded: !m.breaks().is_empty(),
        beside_peaks: None,
    };
    let mut found: Vec<Violation> = Vec::new();
    for (which, s) in report.stretches() {
        found.extend(limits::stretches(axis, m, which, s, pace).iter().map(|o| violation(compiled, id, o, Cause::Curve)));
    }
    found.extend(torque(axis, m, &report, pace).iter().map(|o| violation(compiled, id, o, Cause::Curve)));
    found.extend(steps(axis, m).iter().map(|o| violation(compiled, id, o, Cause::Step)));
    (report, found)
}

/// Every stretch of pieces over which the motor is too weak.
fn torque(axis: &Axis, m: &AxisMove, report: &AxisReport, pace: f64) -> Vec<Over> {
    let Some(model) = Torque::of(axis).filter(|_| report.torque.is_some_and(|t| t.utilisation().is_exceeded())) else {
        return Vec::new();
    };
    let mut found: Vec<Over> = Vec::new();
    for piece in m.curve().pieces() {
        let Some(t) = model.worst(core::iter::once(piece), pace).filter(|t| t.utilisation().is_exceeded()) else { continue };
        let part = match piece.index {
            i if m.edge(Edge::RunUp).contains(&i) => Part::RunUp,
            i if m.edge(Edge::RunDown).contains(&i) => Part::RunDown,
            _ => Part::Photographed,
        };
        let jet = piece.quintic.jet(0.0, piece.length());
        let at_knot = Utilisation::of(model.demand(jet.a / (pace * pace)), model.available(jet.v / pace));
        match found.last_mut() {
            Some(o) if o.part == part && o.span.1 == piece.start && at_knot.is_exceeded() => {
                o.span.1 = piece.end;
                if t.demand * o.allowed > o.value * t.available {
                    (o.frame, o.value, o.allowed) = (FrameTime(t.at), t.demand, t.available);
                }
            }
            _ => {
                let (frame, span) = (FrameTime(t.at), (piece.start, piece.end));
                found.push(Over { limit: Limit::Torque, part, frame, span, value: t.demand, allowed: t.available });
            }
        }
    }
    found
}

/// A step in acceleration is jerk without bound: it exceeds any limit.
fn steps(axis: &Axis, m: &AxisMove) -> Vec<Over> {
    let allowed = axis.limits().jerk;
    let over = |at: f64| Over {
        limit: Limit::Jerk,
        part: Part::Photographed,
        frame: FrameTime(at),
        span: (at, at),
        value: f64::INFINITY,
        allowed,
    };
    m.breaks().iter().map(|b| over(b.at)).collect()
}
