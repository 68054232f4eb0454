//! The smallest pace at which no axis exceeds a limit in the photographed span: closed form, but for torque.
//!
//! Slowing a whole move by k divides velocity by k, acceleration by k^2, jerk by k^3; so the least pace of an axis is
//! max(v'/V, sqrt(a''/A), cbrt(j'''/J)) of its peaks per frame. Torque depends on speed and acceleration together; since supply never rises
//! with speed, slower is never worse, and the border is found by halving. A load that cannot be held at standstill, and a step in acceleration, have none.

use super::violation::Limit;
use crate::compile::AxisMove;
use crate::number::elementary::cbrt;
use crate::program::{Program, Torque};
use crate::stage::{Axis, AxisId};

/// The smallest pace within the limits over the photographed span.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub struct Fastest {
    /// Seconds per frame; 0 where nothing moves, `None` where no pace helps.
    pub seconds_per_frame: Option<f64>,
    /// The axis that limits it, and its limit; `None` where nothing moves.
    pub limited_by: Option<(AxisId, Limit)>,
}

/// The smallest pace of the live axes over the photographed span.
pub(super) fn fastest(program: &Program) -> Fastest {
    let compiled = program.compiled();
    let live = || compiled.stage().each_axis().filter(|(id, _)| !program.parks(*id));
    if let Some(none) = live().find_map(|(id, axis)| no_pace(axis, compiled.motion(id)).map(|limit| (id, limit))) {
        return Fastest { seconds_per_frame: None, limited_by: Some(none) };
    }
    let (mut best, mut by): (f64, Option<(AxisId, Limit)>) = (0.0, None);
    for (id, axis) in live() {
        for (limit, pace) in closed_form(axis, compiled.motion(id)) {
            if pace > best {
                (best, by) = (pace, Some((id, limit)));
            }
        }
    }
    for (id, axis) in live() {
        let Some(torque) = Torque::of(axis) else { continue };
        if let Some(pace) = torque_pace(&torque, compiled.motion(id), best) {
            (best, by) = (pace, Some((id, Limit::Torque)));
        }
    }
    Fastest { seconds_per_frame: Some(best), limited_by: by }
}

/// The limit for whose sake no pace helps.
fn no_pace(axis: &Axis, mv: &AxisMove) -> Option<Limit> {
    if Torque::of(axis).is_some_and(|t| t.standing(0.0).utilisation().is_exceeded()) {
        return Some(Limit::Torque);
    }
    (!mv.breaks().is_empty()).then_some(Limit::Jerk)
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

/// The pace torque asks for, where it asks for more than `pace`; `None` where `pace` will do. At standstill the motor holds its load.
fn torque_pace(torque: &Torque, mv: &AxisMove, pace: f64) -> Option<f64> {
    if mv.never_moves() {
        return None;
    }
    let pieces = || mv.curve().pieces().skip(mv.photographed().start).take(mv.photographed().len());
    let holds = |t: f64| torque.worst(pieces(), t).is_none_or(|w| !w.utilisation().is_exceeded());
    if pace > 0.0 && holds(pace) {
        return None;
    }
    let mut above = pace.max(1e-3);
    // Doubling past the slowest pace there is: where the standing load alone is at the limit, moving at all may exceed it at any pace worth telling.
    while !holds(above) {
        above *= 2.0;
        if above > 1e12 {
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
