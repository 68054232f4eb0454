//! Limits along a curve: peaks in seconds, and every stretch of pieces over which a limit is exceeded.
//!
//! Invariant: a stretch is reported once, at its worst instant, with the frames between which its pieces lie; nothing is decided by
//! samples.

use super::verdict::StretchReport;
use super::violation::{Limit, Part};
use crate::compile::AxisMove;
use crate::motion::curve::Piece;
use crate::motion::{Extreme, Peaks};
use crate::stage::{Axis, PacedPeaks};
use crate::time::FrameTime;

/// One stretch over which one limit is exceeded.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Over {
    /// What is exceeded.
    pub(super) limit: Limit,
    /// Where in the pass.
    pub(super) part: Part,
    /// The worst instant.
    pub(super) frame: FrameTime,
    /// Frame times of the first and last piece's ends.
    pub(super) span: (f64, f64),
    /// The worst value.
    pub(super) value: f64,
    /// What is allowed.
    pub(super) allowed: f64,
}

/// Peaks per frame as a report in seconds, at `pace` seconds per frame.
pub(super) fn stretch(axis: &Axis, peaks: &Peaks, pace: f64) -> StretchReport {
    StretchReport::new(axis, &PacedPeaks::new(peaks, pace))
}

/// A value beyond its limit: which, when, the value, what is allowed.
type Beyond = (Limit, FrameTime, f64, f64);

/// What one report exceeds; each kind of limit has its own place in the list.
pub(super) fn exceeded(s: &StretchReport) -> [Option<Beyond>; 6] {
    let [low, high] =
        s.position.ends().map(|(value, frame, allowed, used)| used.is_exceeded().then_some((Limit::Position, frame, value, allowed)));
    let [velocity, acceleration, jerk, step_rate] = s.rates().map(|(limit, peak)| {
        let over = peak.utilisation().is_some_and(|u| u.is_exceeded());
        peak.limit.filter(|_| over).map(|allowed| (limit, peak.frame, peak.value, allowed))
    });
    [low, high, velocity, acceleration, jerk, step_rate]
}

/// Every stretch of `part` over which a limit is exceeded at `pace`. `known` is the part's report: where it exceeds nothing no piece is looked at.
pub(super) fn stretches(axis: &Axis, mv: &AxisMove, part: Part, known: &StretchReport, pace: f64) -> Vec<Over> {
    let mut found: Vec<Over> = Vec::new();
    if exceeded(known).iter().all(Option::is_none) {
        return found;
    }
    let range = part.edge().map_or(mv.photographed(), |edge| mv.edge(edge));
    // For each kind the stretch that is still open: its index in `found` and the piece it ended with.
    let mut open: [Option<(usize, usize)>; 6] = [None; 6];
    for piece in mv.curve().pieces().skip(range.start).take(range.len()) {
        let report = stretch(axis, &Peaks::of_piece(&piece), pace);
        for (slot, kind) in open.iter_mut().zip(exceeded(&report)) {
            let Some((limit, frame, value, allowed)) = kind else {
                *slot = None;
                continue;
            };
            // One stretch only where the limit is exceeded on the knot between the two pieces as well.
            let at_knot = stretch(axis, &at_start(&piece), pace);
            let goes_on = exceeded(&at_knot).iter().flatten().any(|(l, _, _, a)| *l == limit && *a == allowed);
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

/// The instant at which a piece starts, as peaks.
fn at_start(piece: &Piece<'_>) -> Peaks {
    let jet = piece.quintic.jet(0.0, piece.length());
    let at = |value| Extreme { value, at: piece.start };
    Peaks { least: at(jet.p), greatest: at(jet.p), velocity: at(jet.v.abs()), acceleration: at(jet.a.abs()), jerk: at(jet.j.abs()) }
}
