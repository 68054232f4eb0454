//! How much of its tightest limit an axis uses in each frame: the numbers behind the map.
//!
//! What: of a moving pass the exact extremes of velocity, acceleration, jerk and step rate over [n - 1/2, n + 1/2], by the roots that the check
//! uses, each as a share of its limit; where the axis leaves its travel, 1 and by how much of the travel. Of a held pass the peaks of the
//! move that leaves frame n, or the time it needs as a share of the time there is where that is more. Parked axes use nothing.
//! Invariant: the greatest share of a row is the one the check reports for velocity, acceleration, jerk and step rate.
//! Limits: torque, clearance and registration are not shaded; the page marks what the check found of them.

use crate::check::PassReport;
use crate::check::held;
use crate::compile::{AxisMove, Move, frame_time};
use crate::motion::curve::{Curve, Piece};
use crate::motion::point_to_point::SevenSegment;
use crate::motion::{Peaks, Quintic};
use crate::shot::{Exposure, Pass, Shot};
use crate::stage::{Axis, Stage};

/// Shares of one pass: one row an axis in stage order, one number a photographed frame; 1 at the limit.
#[must_use]
pub fn usage(stage: &Stage, shot: &Shot, mv: &Move, pass: &Pass, report: &PassReport) -> Vec<Vec<f64>> {
    let frames = shot.frames();
    stage
        .axes()
        .iter()
        .zip(mv.axes())
        .enumerate()
        .map(|(i, (axis, m))| {
            if pass.parks(stage, i) {
                return vec![0.0; frames.count()];
            }
            match pass.exposure() {
                Exposure::Moving => frames.frames().map(|n| moving(axis, m, n, pass.pace().get())).collect(),
                Exposure::Held => between(axis, m, shot, pass, report),
            }
        })
        .collect()
}

fn moving(axis: &Axis, m: &AxisMove, frame: i64, pace: f64) -> f64 {
    let middle = frame_time(frame);
    let Some(peaks) = peaks(m.curve(), middle - 0.5, middle + 0.5) else { return 0.0 };
    let l = axis.limits();
    let speed = peaks.velocity.value / pace;
    let mut share = (speed / l.velocity).max(peaks.acceleration.value / (pace * pace) / l.acceleration);
    share = share.max(peaks.jerk.value / (pace * pace * pace) / l.jerk);
    if let Some(rate) = l.step_rate {
        share = share.max(speed * axis.drive().steps_per_unit() / rate);
    }
    let travel = axis.travel();
    let outside = (travel.lower - peaks.least.value).max(peaks.greatest.value - travel.upper);
    if outside > 0.0 { share.max(1.0 + outside / (travel.upper - travel.lower)) } else { share }
}

/// Extremes over a stretch of a curve; `None` where it has none of it.
fn peaks(curve: &Curve, from: f64, to: f64) -> Option<Peaks> {
    let mut found: Option<Peaks> = None;
    let range = curve.overlapping(from, to);
    for piece in curve.pieces().skip(range.start).take(range.len()) {
        let h = piece.length();
        let local = |t: f64| ((t - piece.start) / h).clamp(0.0, 1.0);
        let (a, b) = (local(from), local(to));
        if !(a < b) {
            continue;
        }
        let whole = a == 0.0 && b == 1.0;
        let part: Quintic = if whole { *piece.quintic } else { piece.quintic.part(a, b) };
        let part = Piece { index: 0, start: piece.start + a * h, end: piece.start + b * h, quintic: &part };
        let here = Peaks::of_piece(&part);
        found = Some(found.map_or(here, |f| f.joined(&here)));
    }
    found
}

fn between(axis: &Axis, m: &AxisMove, shot: &Shot, pass: &Pass, report: &PassReport) -> Vec<f64> {
    let frames = shot.frames();
    let room = held::available(pass);
    let l = axis.limits();
    let moves = report.held.iter().flat_map(|h| &h.moves);
    let mut shares: Vec<f64> = moves
        .map(|step| {
            let at = |n: i64| m.curve().at(frame_time(n)).unwrap_or(f64::NAN);
            let way = at(step.from + 1) - at(step.from);
            let law = held::effective(axis).and_then(|limits| SevenSegment::rest_to_rest(way, &limits).ok());
            let Some(law) = law.filter(|law| law.duration() > 0.0) else { return 0.0 };
            if !(law.duration() <= room) {
                return if room > 0.0 { law.duration() / room } else { f64::INFINITY };
            }
            let Ok(law) = law.stretched(step.seconds) else { return 0.0 };
            (law.peak_velocity() / l.velocity).max(law.peak_acceleration() / l.acceleration).max(law.peak_jerk() / l.jerk)
        })
        .collect();
    shares.resize(frames.count(), 0.0);
    shares
}
