//! What would help, tried by compiling again: nothing is offered that was not seen to work.

use super::fastest::fastest;
use super::report::{Between, Limit, Part, Violation};
use super::torque::Torque;
use crate::compile::{Edge, Move, SLACK, within};
use crate::number::whole;
use crate::shot::{Exposure, Pass, Shape, Shot};
use crate::stage::Stage;
use crate::time::Pace;

/// Adds advice to the violations of one moving pass.
pub fn advise(stage: &Stage, shot: &Shot, mv: &Move, pass: &Pass, violations: &mut [Violation]) {
    if violations.is_empty() {
        return;
    }
    let by_pace = violations.iter().any(|v| v.limit != Limit::Position || v.part != Part::Photographed);
    let pace = if by_pace { pace_that_holds(stage, shot, mv, pass) } else { None };
    for v in violations.iter_mut().take(MOST_ADVISED) {
        // Jerk without bound has no pace; slack and clearance are not what these trials look at.
        if v.value.is_infinite() || matches!(v.limit, Limit::Slack | Limit::Clearance) {
            continue;
        }
        let at_rest_in_travel = v.limit == Limit::Position && v.part == Part::Photographed;
        if let (Some(t), false) = (pace, at_rest_in_travel) {
            v.advice.push(format!(
                "run the pass at {t} s a frame or slower: every speed, acceleration, jerk and run-up is then within its limits"
            ));
        }
        if at_rest_in_travel {
            v.advice.extend(other_shape(stage, shot, mv, pass, v));
        } else if v.part != Part::Photographed {
            v.advice.extend(rests_at_the_edge(stage, shot, mv, v));
        } else {
            v.advice.extend(v.between.and_then(|b| later_key(stage, shot, mv, pass, v.axis, &b)));
        }
    }
}

/// Violations that get advice: compiling again has its price, and after the first few a person starts over anyway.
const MOST_ADVISED: usize = 32;

/// The fastest pace that was seen to hold, rounded up to three digits: the closed form's, or slower where run-up and run-down ask for it.
fn pace_that_holds(stage: &Stage, shot: &Shot, mv: &Move, pass: &Pass) -> Option<f64> {
    let live = |i: usize| !pass.parks(stage, i);
    if mv.axes().iter().enumerate().any(|(i, m)| live(i) && !m.breaks().is_empty()) {
        return None;
    }
    let start = rounded_up(fastest(stage, mv.axes(), &live).seconds_per_frame.max(pass.pace().get()));
    let mut t = start;
    let mut below = start;
    while !holds_at(stage, shot, pass, t) {
        below = t;
        t = rounded_up(t * 1.25);
        // Slower than thirty times is no advice.
        if t > 30.0 * start {
            return None;
        }
    }
    for _ in 0..6 {
        let mid = rounded_up(0.5 * (below + t));
        if below < mid && mid < t {
            if holds_at(stage, shot, pass, mid) {
                t = mid;
            } else {
                below = mid;
            }
        }
    }
    Some(t)
}

/// Compiles the shot with this pass alone at another pace and holds every axis to its limits; travel in the photographed span, which
/// no pace changes, is left out.
fn holds_at(stage: &Stage, shot: &Shot, pass: &Pass, t: f64) -> bool {
    let Some(again) = at_pace(stage, shot, pass, t).and_then(|s| Move::compile(stage, &s).ok()) else { return false };
    again.axes().iter().zip(stage.axes()).enumerate().all(|(i, (m, axis))| {
        pass.parks(stage, i)
            || (limits_hold(axis, m.peaks(), t)
                && [Edge::RunUp, Edge::RunDown].iter().all(|e| m.edge_peaks(*e).is_none_or(|p| within(axis, &p, t)))
                && Torque::of(axis).and_then(|q| q.worst(m.curve().pieces(), t)).is_none_or(|w| w.demand <= w.available * (1.0 + SLACK)))
    })
}

/// Limits but for travel.
fn limits_hold(axis: &crate::stage::Axis, peaks: &crate::motion::Peaks, pace: f64) -> bool {
    let travel = axis.travel();
    let mut p = *peaks;
    p.least.value = p.least.value.max(travel.lower);
    p.greatest.value = p.greatest.value.min(travel.upper);
    within(axis, &p, pace)
}

fn at_pace(stage: &Stage, shot: &Shot, pass: &Pass, t: f64) -> Option<Shot> {
    let pace = Pace::new(t).ok()?;
    let passes = shot.passes().iter().map(|p| if p.name() == pass.name() { p.at_pace(pace) } else { p.clone() });
    // Other passes at faster paces would keep the run-up as it is: only this one is asked about.
    let passes = passes.filter(|p| p.name() == pass.name() && p.exposure() == Exposure::Moving).collect();
    shot.with_passes(stage, passes).ok()
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
fn later_key(stage: &Stage, shot: &Shot, mv: &Move, pass: &Pass, axis: usize, between: &Between) -> Option<String> {
    let track = shot.tracks().get(between.track)?;
    let last = whole::real(shot.frames().last());
    let pace = pass.pace().get();
    let holds = |index: usize, frame: f64| -> bool {
        let Ok(moved) = track.with_key_at(index, frame) else { return false };
        let Ok(m) = mv.axis_again(stage, &shot.with_track(between.track, moved), axis) else { return false };
        stage.axes().get(axis).is_some_and(|a| within(a, m.peaks(), pace))
    };
    let word = |index: usize, frame: f64, way: &str| {
        let of = stage.channel_name(track.channel());
        format!("put key {} of {of} at frame {frame} or {way}: {} is then within its limits", index + 1, stage.axis_name(axis))
    };
    if let Some((index, _, _)) = between.after {
        let from = track.keys().get(index)?.frame;
        let end = track.keys().get(index + 1).map_or(last.max(from), |k| k.frame - 1.0);
        if let Some(frame) = nearest_that(from, end, 1.0, &|f| holds(index, f)) {
            return Some(word(index, frame, "later"));
        }
    }
    let (index, _, _) = between.before?;
    let from = track.keys().get(index)?.frame;
    let end = match index.checked_sub(1) {
        Some(b) => track.keys().get(b)?.frame + 1.0,
        None => whole::real(shot.frames().first()).min(from),
    };
    nearest_that(from, end, -1.0, &|f| holds(index, f)).map(|frame| word(index, frame, "earlier"))
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

/// For an axis that is moving at the cut: the shape that rests there, if the whole shot then has its run-up and run-down.
fn rests_at_the_edge(stage: &Stage, shot: &Shot, mv: &Move, v: &Violation) -> Option<String> {
    let b = v.between?;
    let track = shot.tracks().get(b.track)?;
    let edge = if v.part == Part::RunUp { Edge::RunUp } else { Edge::RunDown };
    if track.shape() == Shape::Monotone || !mv.no_room().iter().any(|n| n.axis == v.axis && n.edge == edge) {
        return None;
    }
    let again = Move::compile(stage, &shot.with_track(b.track, track.with_shape(Shape::Monotone).ok()?)).ok()?;
    (!again.no_room().iter().any(|n| n.axis == v.axis && n.edge == edge)).then(|| {
        format!(
            "give the track of {} the shape `monotone`, which rests at its first and last key: {} then has its {}",
            stage.channel_name(track.channel()),
            stage.axis_name(v.axis),
            edge.name()
        )
    })
}

/// For a curve that leaves the travel though its keys do not: the shape that stays between keys.
fn other_shape(stage: &Stage, shot: &Shot, mv: &Move, pass: &Pass, v: &Violation) -> Option<String> {
    let b = v.between?;
    let track = shot.tracks().get(b.track)?;
    let again = track.with_shape(Shape::Monotone).ok()?;
    let m = mv.axis_again(stage, &shot.with_track(b.track, again), v.axis).ok()?;
    let axis = stage.axes().get(v.axis)?;
    within(axis, m.peaks(), pass.pace().get()).then(|| {
        format!(
            "give the track of {} the shape `monotone`, which stays between its keys: {} is then within its limits",
            stage.channel_name(track.channel()),
            stage.axis_name(v.axis)
        )
    })
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
