//! The smallest pace at which no axis is over a limit: closed form, but for torque.
//!
//! Slowing a whole move by k divides velocity by k, acceleration by k^2, jerk by k^3; so the least pace of an axis is
//! max(v'/V, sqrt(a''/A), cbrt(j'''/J)) of its peaks per frame. Torque depends on speed and acceleration together; since supply never rises
//! with speed, slower is never worse, and the border is found by halving.

use super::report::{Fastest, Limit};
use super::torque::Torque;
use crate::compile::{AxisMove, SLACK};
use crate::number::elementary::cbrt;
use crate::stage::{Axis, Stage};

/// The smallest pace of the live axes over the photographed span.
#[must_use]
pub fn fastest(stage: &Stage, axes: &[AxisMove], live: &dyn Fn(usize) -> bool) -> Fastest {
    let mut best = Fastest { seconds_per_frame: 0.0, limited_by: None };
    let mut raise = |pace: f64, axis: usize, limit: Limit| {
        if pace > best.seconds_per_frame {
            best = Fastest { seconds_per_frame: pace, limited_by: Some((axis, limit)) };
        }
    };
    let moves = || stage.axes().iter().zip(axes).enumerate().filter(|(i, _)| live(*i));
    for (i, (axis, mv)) in moves() {
        for (limit, pace) in closed_form(axis, mv) {
            raise(pace, i, limit);
        }
    }
    for (i, (axis, mv)) in moves() {
        let Some(torque) = Torque::of(axis) else { continue };
        if let Some(pace) = torque_pace(&torque, mv, best.seconds_per_frame) {
            best = Fastest { seconds_per_frame: pace, limited_by: Some((i, Limit::Torque)) };
        }
    }
    best
}

/// The pace each limit alone would allow.
fn closed_form(axis: &Axis, mv: &AxisMove) -> [(Limit, f64); 4] {
    let (l, p) = (axis.limits(), mv.peaks());
    let rate = p.velocity.value * axis.drive().steps_per_unit();
    [
        (Limit::Velocity, p.velocity.value / l.velocity),
        (Limit::Acceleration, (p.acceleration.value / l.acceleration).sqrt()),
        (Limit::Jerk, cbrt(p.jerk.value / l.jerk)),
        (Limit::StepRate, l.step_rate.map_or(0.0, |r| rate / r)),
    ]
}

/// The pace torque asks for, where it asks for more than `pace`; `None` where `pace` will do, or no pace does.
fn torque_pace(torque: &Torque, mv: &AxisMove, pace: f64) -> Option<f64> {
    if mv.never_moves() {
        return None;
    }
    let pieces = || mv.curve().pieces().skip(mv.photographed().start).take(mv.photographed().len());
    let holds = |t: f64| torque.worst(pieces(), t).is_none_or(|w| w.demand <= w.available * (1.0 + SLACK));
    let least = pace.max(f64::MIN_POSITIVE);
    if pace > 0.0 && holds(pace) {
        return None;
    }
    let mut above = least.max(1e-3);
    // Doubling past the slowest pace there is: a load the motor cannot even carry at rest has no pace, and is a violation elsewhere.
    while !holds(above) {
        above *= 2.0;
        if above > 1e9 {
            return None;
        }
    }
    let mut below = pace.min(above);
    for _ in 0..200 {
        let mid = 0.5 * (below + above);
        if !(below < mid && mid < above) || above - below <= 1e-12 * above {
            break;
        }
        if holds(mid) {
            above = mid;
        } else {
            below = mid;
        }
    }
    (above > pace).then_some(above)
}
