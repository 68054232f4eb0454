//! Carriages on one rail keep their order and their gap, from the start of the run-up to the end of the run-down.
//!
//! Invariant: where both positions are axes of their own the least gap is exact: the difference of two piecewise quintics is a
//! piecewise quintic over the knots of both, and its extremes are found as those of any axis. Where a mechanism is between axis and
//! position the gap is bounded and halved as for envelopes. The order is that at the start of the pass; neighbours that keep theirs
//! keep everybody's. Tolerance: 2^-40 of the sum of the coefficients' sizes, for the rounding of the difference;
//! 1e-6 of the positions' size where bounds are used.

use super::enclosure::Enclosure;
use super::gap::{Against, Nearest, Proof};
use super::interval::Range;
use super::search::{Cell, least};
use crate::compile::frame_time;
use crate::motion::curve::Piece;
use crate::motion::{Peaks, Quintic};
use crate::number::elementary::two_to_the;
use crate::stage::{AxisId, ChannelId, GroupId, Rail};
use crate::time::FrameSpan;

/// The least gap of every two neighbours on every rail.
#[must_use]
pub(super) fn gaps(driven: &Enclosure<'_>, stations: Option<FrameSpan>) -> Vec<Nearest> {
    let mut found = Vec::new();
    let on: Vec<(GroupId, &Rail)> = driven.stage().bodies().iter().filter_map(|b| b.rail().map(|r| (b.group(), r))).collect();
    let start = stations.map_or(driven.span().0, |frames| frame_time(frames.first()));
    let mut names: Vec<&str> = Vec::new();
    for (_, rail) in &on {
        if names.contains(&rail.name.as_str()) {
            continue;
        }
        names.push(&rail.name);
        let mut carriages: Vec<(f64, GroupId, &Rail)> = on
            .iter()
            .filter(|(_, r)| r.name == rail.name)
            // A carriage whose place cannot be told comes last; its gap is then not bounded either.
            .map(|(group, r)| (driven.channel_jet(r.channel, start).map_or(f64::INFINITY, |j| j.p), *group, *r))
            .collect();
        carriages.sort_by(|a, b| a.0.total_cmp(&b.0));
        for ((_, below, a), (_, above, b)) in carriages.iter().zip(carriages.iter().skip(1)) {
            let gap = match stations {
                None => moving(driven, a.channel, b.channel),
                Some(frames) => held(driven, frames, a.channel, b.channel),
            };
            let ([_, up], [down, _]) = (a.reach, b.reach);
            let required = a.gap.max(b.gap);
            found.push(Nearest {
                group: *below,
                against: Against::Rail(*above),
                gap: gap.least - down - up,
                at: gap.at,
                required,
                proof: gap.proof,
                tolerance: gap.tolerance + two_to_the(-40) * (up + down),
                scale: if required > 0.0 { required } else { (up + down).max(1.0) },
            });
        }
    }
    found
}

/// The least of one position less another.
struct Difference {
    least: f64,
    at: f64,
    proof: Proof,
    tolerance: f64,
}

fn moving(driven: &Enclosure<'_>, below: ChannelId, above: ChannelId) -> Difference {
    let (from, to) = driven.span();
    if let (Some(below), Some(above)) = (driven.stage().own_axis(below), driven.stage().own_axis(above)) {
        return exact(driven, below, above, from, to);
    }
    let look = |from: f64, to: f64| {
        let (middle, h) = (0.5 * (from + to), 0.5 * (to - from));
        let apart = |t| Some((driven.channel_jet(above, t)?, driven.channel_jet(below, t)?));
        let here = apart(middle).map(|(b, a)| b - a).filter(|d| d.is_finite());
        let Some(here) = here else { return Cell { from, to, lower: f64::NEG_INFINITY, middle: f64::INFINITY } };
        let ranges = driven.channel_within(above, from, to).zip(driven.channel_within(below, from, to)).map(|(b, a)| b - a);
        let lower = ranges.map_or(f64::NEG_INFINITY, |w| {
            let second = here.p - here.v.abs() * h - 0.5 * w.a.size() * h * h;
            w.p.lo.max(here.p - w.v.size() * h).max(second)
        });
        Cell { from, to, lower, middle: here.p }
    };
    let size = [from, 0.5 * (from + to), to]
        .iter()
        .filter_map(|t| Some(driven.channel_jet(above, *t)?.p.abs() + driven.channel_jet(below, *t)?.p.abs()))
        .fold(1e-3, f64::max);
    let tolerance = 1e-6 * size;
    let n = ((to - from) / 4.0).ceil().max(1.0);
    let cells = core::iter::successors(Some(0.0), |i| (*i + 1.0 < n).then_some(*i + 1.0)).map(|i| {
        let cut = |i: f64| if i < n { from + (to - from) * (i / n) } else { to };
        look(cut(i), cut(i + 1.0))
    });
    let found = least(cells, 0.5 * tolerance, f64::INFINITY, &look);
    let proof = if found.tight { Proof::Tight } else { Proof::Bound };
    Difference { least: found.lower - two_to_the(-40) * size, at: found.at, proof, tolerance }
}

/// The exact least of the difference of two axes, over the knots of both.
fn exact(driven: &Enclosure<'_>, below: AxisId, above: AxisId, from: f64, to: f64) -> Difference {
    let mut knots: Vec<f64> = [below, above].iter().filter_map(|a| driven.curve(*a).ok()).flat_map(|c| c.knots().iter().copied()).collect();
    knots.extend([from, to]);
    knots.sort_by(f64::total_cmp);
    knots.dedup();
    let part = |axis: AxisId, a: f64, b: f64| {
        let curve = match driven.curve(axis) {
            Ok(curve) => curve,
            Err(home) => return Quintic::hold(home),
        };
        let Some(piece) = curve.piece_at(0.5 * (a + b)) else { return Quintic::hold(curve.last()) };
        let local = |t: f64| ((t - piece.start) / piece.length()).clamp(0.0, 1.0);
        piece.quintic.part(local(a), local(b))
    };
    let mut found = Difference { least: f64::INFINITY, at: driven.span().0, proof: Proof::Tight, tolerance: 0.0 };
    for (a, b) in knots.iter().zip(knots.iter().skip(1)) {
        let (Quintic(x), Quintic(y)) = (part(above, *a, *b), part(below, *a, *b));
        let mut difference = x;
        let mut size = 0.0;
        for (d, y) in difference.iter_mut().zip(y) {
            size += d.abs() + y.abs();
            *d -= y;
        }
        let difference = Quintic(difference);
        let peaks = Peaks::of_piece(&Piece { index: 0, start: *a, end: *b, quintic: &difference });
        found.tolerance = found.tolerance.max(two_to_the(-40) * size);
        if !(found.least <= peaks.least.value) {
            (found.least, found.at) = (peaks.least.value, peaks.least.at);
        }
    }
    found
}

/// At the stations exactly; between them either carriage may be anywhere between its two.
fn held(driven: &Enclosure<'_>, frames: FrameSpan, below: ChannelId, above: ChannelId) -> Difference {
    let at = |channel, n: i64| driven.channel_jet(channel, frame_time(n)).map(|j| j.p);
    let mut found = Difference { least: f64::INFINITY, at: driven.span().0, proof: Proof::Tight, tolerance: 0.0 };
    let mut take = |gap: f64, frame: f64, proof: Proof, size: f64| {
        if !(found.least <= gap) {
            (found.least, found.at, found.proof) = (if gap.is_nan() { f64::NEG_INFINITY } else { gap }, frame, proof);
        }
        found.tolerance = found.tolerance.max(two_to_the(-40) * size);
    };
    for n in frames.frames() {
        let (Some(a), Some(b)) = (at(below, n), at(above, n)) else {
            take(f64::NEG_INFINITY, frame_time(n), Proof::Bound, 0.0);
            continue;
        };
        take(b - a, frame_time(n), Proof::Tight, a.abs() + b.abs());
        if n < frames.last() {
            let (t, whole) = (frame_time(n), Range::WHOLE);
            let range = |axis: AxisId| Range::between(driven.jet(axis, t).p, driven.jet(axis, t + 1.0).p);
            let over = |channel| driven.channel_anywhere(channel, &range).unwrap_or(whole);
            take(over(above).lo - over(below).hi, frame_time(n) + 0.5, Proof::Bound, a.abs() + b.abs());
        }
    }
    found
}
