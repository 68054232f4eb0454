//! What would help, tried by compiling again: nothing is offered that was not seen to work.

use super::fastest::fastest;
use super::violation::{Between, Cause, Fix, Limit, Part, Violation};
use crate::compile::{Compiled, Edge};
use crate::number::whole;
use crate::program::{Program, Torque};
use crate::shot::{Exposure, Shape, Shot};
use crate::stage::{AxisId, PacedPeaks};
use crate::time::Pace;

/// Adds fixes to the violations of one moving pass.
pub(super) fn propose(program: &Program, violations: &mut [Violation]) {
    if violations.is_empty() {
        return;
    }
    let by_pace = violations.iter().any(|v| v.limit != Limit::Position || v.part != Part::Photographed);
    let pace = if by_pace { pace_that_holds(program) } else { None };
    for v in violations.iter_mut().take(MOST_TRIED) {
        // Jerk without bound has no pace; slack and clearance are not what these trials look at.
        if matches!(v.cause, Cause::Step | Cause::Slack | Cause::Gap) {
            continue;
        }
        let out_of_travel = v.limit == Limit::Position && v.part == Part::Photographed;
        if let (Some(t), false) = (pace, out_of_travel) {
            v.fixes.push(Fix::Pace(t));
        }
        let fix = if out_of_travel {
            other_shape(program, v)
        } else if let Some(edge) = v.part.edge() {
            rests_at_the_edge(program, v, edge)
        } else {
            v.between.and_then(|b| moved_key(program, v.subject.axis(), &b))
        };
        v.fixes.extend(fix);
    }
}

/// Violations that get fixes: compiling again has its price, and after the first few a person starts over anyway.
const MOST_TRIED: usize = 32;

/// The fastest pace that was seen to hold, rounded up to three digits: the closed form's, or slower where run-up and run-down ask for it.
fn pace_that_holds(program: &Program) -> Option<f64> {
    let start = rounded_up(fastest(program).seconds_per_frame?.max(program.clock().pace().get()));
    let mut t = start;
    let mut below = start;
    while !holds_at(program, t) {
        below = t;
        t = rounded_up(t * 1.25);
        // Slower than thirty times is no help.
        if t > 30.0 * start {
            return None;
        }
    }
    for _ in 0..6 {
        let mid = rounded_up(0.5 * (below + t));
        if below < mid && mid < t {
            if holds_at(program, mid) {
                t = mid;
            } else {
                below = mid;
            }
        }
    }
    Some(t)
}

/// Compiles the shot with this pass alone at another pace and judges every axis; travel in the photographed span, which no pace changes, is left out.
fn holds_at(program: &Program, t: f64) -> bool {
    let compiled = program.compiled();
    let Some(again) = at_pace(program, t).and_then(|s| compiled.with_shot(s).ok()) else { return false };
    compiled.stage().each_axis().all(|(id, axis)| {
        let m = again.motion(id);
        let edges = || [Edge::RunUp, Edge::RunDown].iter().filter_map(|e| m.edge_peaks(*e));
        program.parks(id)
            || (PacedPeaks::new(m.peaks(), t).rates_are_within(axis)
                && edges().all(|p| PacedPeaks::new(&p, t).are_within(axis))
                && Torque::of(axis).and_then(|q| q.worst(m.curve().pieces(), t)).is_none_or(|w| !w.utilisation().is_exceeded()))
    })
}

fn at_pace(program: &Program, t: f64) -> Option<Shot> {
    let (compiled, pass) = (program.compiled(), program.pass());
    if pass.exposure() != Exposure::Moving {
        return None;
    }
    // Other passes at faster paces would keep the run-up as it is: only this one is asked about.
    compiled.shot().with_passes(compiled.stage(), vec![pass.at_pace(Pace::new(t).ok()?)]).ok()
}

/// Up to three significant digits.
fn rounded_up(x: f64) -> f64 {
    if !(x > 0.0) {
        return x;
    }
    let mut unit = 1.0;
    while x / unit >= 1000.0 {
        unit *= 10.0;
    }
    let mut per_unit = 1.0;
    while x * per_unit < 100.0 && unit == 1.0 {
        per_unit *= 10.0;
    }
    if unit > 1.0 { (x / unit).ceil() * unit } else { (x * per_unit).ceil() / per_unit }
}

/// The frame to which the key after the violation would have to go, or the key before.
fn moved_key(program: &Program, axis: AxisId, between: &Between) -> Option<Fix> {
    let compiled = program.compiled();
    let shot = compiled.shot();
    let track = shot.tracks().get(between.track)?;
    let last = whole::real(shot.frames().last());
    let pace = program.clock().pace().get();
    let holds = |index: usize, frame: f64| -> bool {
        let Ok(moved) = track.with_key_at(index, frame) else { return false };
        let Ok(m) = compiled.axis_of(&shot.with_track(between.track, moved), axis) else { return false };
        PacedPeaks::new(m.peaks(), pace).are_within(compiled.stage().axis(axis))
    };
    let fix = |key: usize, frame: f64, later: bool| Fix::KeyAt { track: between.track, key, frame, later };
    if let Some((index, _, _)) = between.after {
        let from = track.keys().get(index)?.frame;
        let end = track.keys().get(index + 1).map_or(last.max(from), |k| k.frame - 1.0);
        if let Some(frame) = nearest_that(from, end, 1.0, &|f| holds(index, f)) {
            return Some(fix(index, frame, true));
        }
    }
    let (index, _, _) = between.before?;
    let from = track.keys().get(index)?.frame;
    let end = match index.checked_sub(1) {
        Some(b) => track.keys().get(b)?.frame + 1.0,
        None => whole::real(shot.frames().first()).min(from),
    };
    nearest_that(from, end, -1.0, &|f| holds(index, f)).map(|frame| fix(index, frame, false))
}

/// The whole frame nearest to `from`, towards `end`, that `holds`: by doubling steps, then halving.
fn nearest_that(from: f64, end: f64, way: f64, holds: &dyn Fn(f64) -> bool) -> Option<f64> {
    let start = if way > 0.0 { from.floor() } else { from.ceil() };
    let most = (end - start) * way;
    let (mut bad, mut step) = (0.0, 1.0_f64);
    while bad < most {
        let n = step.min(most.floor());
        if n <= bad {
            return None;
        }
        if holds(start + way * n) {
            let (mut low, mut high) = (bad, n);
            while high - low > 1.0 {
                let mid = (0.5 * (low + high)).floor();
                if holds(start + way * mid) {
                    high = mid;
                } else {
                    low = mid;
                }
            }
            return Some(start + way * high);
        }
        bad = n;
        step *= 2.0;
    }
    None
}

/// For an axis that is moving at the cut: the shape that rests there, if the whole shot then has its run-up or run-down.
fn rests_at_the_edge(program: &Program, v: &Violation, edge: Edge) -> Option<Fix> {
    let b = v.between?;
    let compiled = program.compiled();
    let track = compiled.shot().tracks().get(b.track)?;
    let stuck = |c: &Compiled| c.no_room().iter().any(|n| n.axis == v.subject.axis() && n.edge == edge);
    if track.shape() == Shape::Monotone || !stuck(compiled) {
        return None;
    }
    let again = compiled.with_shot(compiled.shot().with_track(b.track, track.with_shape(Shape::Monotone).ok()?)).ok()?;
    (!stuck(&again)).then_some(Fix::Rests { track: b.track, shape: Shape::Monotone, edge })
}

/// For a curve that leaves the travel though its keys do not: the shape that stays between keys.
fn other_shape(program: &Program, v: &Violation) -> Option<Fix> {
    let b = v.between?;
    let compiled = program.compiled();
    let again = compiled.shot().tracks().get(b.track)?.with_shape(Shape::Monotone).ok()?;
    let axis = v.subject.axis();
    let m = compiled.axis_of(&compiled.shot().with_track(b.track, again), axis).ok()?;
    let paced = PacedPeaks::new(m.peaks(), program.clock().pace().get());
    paced.are_within(compiled.stage().axis(axis)).then_some(Fix::Monotone(b.track))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paces_are_rounded_up_to_three_digits() {
        for (x, want) in [(12.0, 12.0), (12.34, 12.4), (0.83221, 0.833), (1.0, 1.0), (1234.0, 1240.0), (99.91, 100.0)] {
            let got = rounded_up(x);
            assert!(got >= x && (got - want).abs() < 1e-9 * want, "{x} {got}");
        }
    }

    #[test]
    fn the_nearest_frame_that_holds_is_found_in_both_directions() {
        assert_eq!(nearest_that(100.0, 200.0, 1.0, &|f| f >= 137.0), Some(137.0));
        assert_eq!(nearest_that(100.0, 120.0, 1.0, &|f| f >= 137.0), None);
        assert_eq!(nearest_that(100.5, 1.0, -1.0, &|f| f <= 80.0), Some(80.0));
    }
}
