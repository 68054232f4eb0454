//! Limits of a moving pass: peaks in seconds, and every stretch of pieces over a limit.
//!
//! Invariant: a stretch is reported once, at its worst instant, with the frames between which its pieces lie; nothing is decided by
//! samples.

use super::report::{Limit, Part, Peak, Reach, StretchReport};
use crate::compile::{AxisMove, SLACK};
use crate::motion::Peaks;
use crate::stage::Axis;

/// Peaks per frame as a report in seconds, at `pace` seconds a frame.
#[must_use]
pub fn stretch(axis: &Axis, peaks: &Peaks, pace: f64) -> StretchReport {
    let (l, travel) = (axis.limits(), axis.travel());
    let peak = |e: crate::motion::Extreme, scale: f64, limit| Peak { value: e.value * scale, limit, frame: e.at };
    let speed = 1.0 / pace;
    StretchReport {
        position: Reach {
            min: peaks.least.value,
            min_frame: peaks.least.at,
            max: peaks.greatest.value,
            max_frame: peaks.greatest.at,
            lower: travel.lower,
            upper: travel.upper,
        },
        velocity: Peak { value: peaks.velocity.value / pace, limit: Some(l.velocity), frame: peaks.velocity.at },
        acceleration: Peak { value: peaks.acceleration.value / (pace * pace), limit: Some(l.acceleration), frame: peaks.acceleration.at },
        jerk: Peak { value: peaks.jerk.value / (pace * pace * pace), limit: Some(l.jerk), frame: peaks.jerk.at },
        step_rate: peak(peaks.velocity, speed * axis.drive().steps_per_unit(), l.step_rate),
    }
}

/// One stretch over one limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Over {
    /// What is exceeded.
    pub limit: Limit,
    /// Where in the pass.
    pub part: Part,
    /// Frame time of the worst.
    pub frame: f64,
    /// Frame times of the first and last piece's ends.
    pub span: (f64, f64),
    /// The worst value.
    pub value: f64,
    /// What is allowed.
    pub allowed: f64,
}

/// The instant at which a piece starts, as peaks.
fn at_start(piece: &crate::motion::curve::Piece<'_>) -> Peaks {
    let jet = piece.quintic.jet(0.0, piece.length());
    let at = |value| crate::motion::Extreme { value, at: piece.start };
    Peaks { least: at(jet.p), greatest: at(jet.p), velocity: at(jet.v.abs()), acceleration: at(jet.a.abs()), jerk: at(jet.j.abs()) }
}

/// Values over their limits in one report.
fn over(s: &StretchReport) -> [Option<(Limit, f64, f64, f64)>; 6] {
    let room = SLACK * (s.position.upper - s.position.lower);
    let peak = |limit, p: &Peak| p.limit.filter(|l| !(p.value <= l * (1.0 + SLACK))).map(|l| (limit, p.frame, p.value, l));
    [
        (!(s.position.lower - room <= s.position.min)).then_some((Limit::Position, s.position.min_frame, s.position.min, s.position.lower)),
        (!(s.position.max <= s.position.upper + room)).then_some((Limit::Position, s.position.max_frame, s.position.max, s.position.upper)),
        peak(Limit::Velocity, &s.velocity),
        peak(Limit::Acceleration, &s.acceleration),
        peak(Limit::Jerk, &s.jerk),
        peak(Limit::StepRate, &s.step_rate),
    ]
}

/// Every stretch of `part` over a limit at `pace`. `known` is the part's report: where it is within limits no piece is looked at.
#[must_use]
pub fn stretches(axis: &Axis, mv: &AxisMove, part: Part, known: &StretchReport, pace: f64) -> Vec<Over> {
    let mut found: Vec<Over> = Vec::new();
    if over(known).iter().all(Option::is_none) {
        return found;
    }
    let range = match part {
        Part::RunUp => 0..mv.photographed().start,
        Part::Photographed => mv.photographed(),
        Part::RunDown => mv.photographed().end..mv.curve().len(),
    };
    // For each kind the stretch that is still open: its index in `found` and the piece it ended with.
    let mut open: [Option<(usize, usize)>; 6] = [None; 6];
    for piece in mv.curve().pieces().skip(range.start).take(range.len()) {
        let report = stretch(axis, &Peaks::of_piece(&piece), pace);
        for (slot, kind) in open.iter_mut().zip(over(&report)) {
            let Some((limit, frame, value, allowed)) = kind else {
                *slot = None;
                continue;
            };
            // One stretch only where the limit is exceeded on the knot between the two pieces as well.
            let at_knot = stretch(axis, &at_start(&piece), pace);
            let goes_on = over(&at_knot).iter().flatten().any(|(l, _, _, a)| *l == limit && *a == allowed);
            let running = slot.filter(|(_, last)| last + 1 == piece.index && goes_on).map(|(i, _)| i);
            match running.and_then(|i| found.get_mut(i).map(|o| (i, o))) {
                Some((i, o)) => {
                    o.span.1 = piece.end;
                    let worse =
                        if limit == Limit::Position { (value - allowed).abs() > (o.value - allowed).abs() } else { value > o.value };
                    if worse {
                        (o.value, o.frame) = (value, frame);
                    }
                    *slot = Some((i, piece.index));
                }
                None => {
                    found.push(Over { limit, part, frame, span: (piece.start, piece.end), value, allowed });
                    *slot = Some((found.len() - 1, piece.index));
                }
            }
        }
    }
    found
}
