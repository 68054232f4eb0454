//! Carriages on one rail keep their order and their gap over a course.
//!
//! Invariant: where both positions are axes of their own the least gap is exact: the difference of two piecewise quintics is a
//! piecewise quintic over the knots of both, and its extremes are found as those of any axis. Where a mechanism is between axis and
//! position the gap is bounded and halved as for envelopes. The order is that at the start of the pass; neighbours that keep theirs
//! keep everybody's. Tolerance: 2^-40 of the sum of the coefficients' sizes, for the rounding of the difference;
//! 1e-6 of the positions' size where bounds are used.

use super::enclosure::Enclosure;
use super::gap::{Against, Nearest, Proof};
use super::search::{Cell, least};
use crate::motion::curve::Piece;
use crate::motion::{Peaks, Quintic};
use crate::number::elementary::two_to_the;
use crate::stage::{AxisId, ChannelId, GroupId, Rail};

/// The least gap of every two neighbours on every rail over a course.
#[must_use]
pub(super) fn gaps(driven: &Enclosure<'_>) -> Vec<Nearest> {
    neighbours(driven, driven.span().0).iter().map(|n| n.nearest(&n.over(driven))).collect()
}

/// Two carriages next to each other on a rail.
#[derive(Debug, Clone, Copy)]
pub(in crate::check) struct Neighbours<'a> {
    below: (GroupId, &'a Rail),
    above: (GroupId, &'a Rail),
}

/// Every two neighbours on every rail, in the order at an instant.
#[must_use]
pub(in crate::check) fn neighbours<'a>(driven: &Enclosure<'a>, start: f64) -> Vec<Neighbours<'a>> {
    let on: Vec<(GroupId, &Rail)> = driven.stage().bodies().iter().filter_map(|b| b.rail().map(|r| (b.group(), r))).collect();
    let mut found = Vec::new();
    let mut names: Vec<&str> = Vec::new();
    for (_, rail) in &on {
        if names.contains(&rail.name.as_str()) {
            continue;
        }
        names.push(&rail.name);
        let mut carriages: Vec<(f64, GroupId, &Rail)> = on
            .iter()
            .filter(|(_, r)| r.name == rail.name)
            // A carriage whose place is not known comes last; its gap is then not bounded either.
            .map(|(group, r)| (driven.channel_jet(r.channel, start).map_or(f64::INFINITY, |j| j.p), *group, *r))
            .collect();
        carriages.sort_by(|a, b| a.0.total_cmp(&b.0));
        let pairs = carriages.iter().zip(carriages.iter().skip(1));
        found.extend(pairs.map(|((_, below, a), (_, above, b))| Neighbours { below: (*below, *a), above: (*above, *b) }));
    }
    found
}

impl Neighbours<'_> {
    /// The channels that place them, the lower one first.
    pub(in crate::check) fn channels(&self) -> [ChannelId; 2] {
        [self.below.1.channel, self.above.1.channel]
    }

    /// What of the difference of their positions their ends take up, and the gap that they must keep, mm.
    pub(in crate::check) fn taken(&self) -> [f64; 2] {
        let ([_, up], [down, _]) = (self.below.1.reach, self.above.1.reach);
        [down + up, self.below.1.gap.max(self.above.1.gap)]
    }

    /// How far their positions are apart at least over a course.
    pub(super) fn over(&self, driven: &Enclosure<'_>) -> Difference {
        moving(driven, self.below.1.channel, self.above.1.channel)
    }

    /// How far they are apart at an instant.
    pub(super) fn at(&self, driven: &Enclosure<'_>, t: f64) -> Difference {
        let place = |rail: &Rail| driven.channel_jet(rail.channel, t).map(|j| j.p);
        match (place(self.below.1), place(self.above.1)) {
            (Some(a), Some(b)) => {
                let least = if (b - a).is_nan() { f64::NEG_INFINITY } else { b - a };
                Difference { least, at: t, proof: Proof::Tight, tolerance: two_to_the(-40) * (a.abs() + b.abs()) }
            }
            _ => Difference { least: f64::NEG_INFINITY, at: t, proof: Proof::Bound, tolerance: 0.0 },
        }
    }

    /// Their gap for a difference of positions.
    pub(super) fn nearest(&self, found: &Difference) -> Nearest {
        let ((below, _), (above, _)) = (self.below, self.above);
        let [ends, required] = self.taken();
        Nearest {
            group: below,
            against: Against::Rail(above),
            parts: [None; 2],
            gap: found.least - ends,
            swing: 0.0,
            at: found.at,
            required,
            proof: found.proof,
            tolerance: found.tolerance + two_to_the(-40) * ends,
            scale: if required > 0.0 { required } else { ends.max(1.0) },
        }
    }
}

/// The least of one position less another.
#[derive(Debug, Clone, Copy)]
pub(super) struct Difference {
    pub(super) least: f64,
    pub(super) at: f64,
    pub(super) proof: Proof,
    pub(super) tolerance: f64,
}

impl Difference {
    /// The lesser of two, of equals the first; the tolerance is that of both.
    pub(super) fn lesser(self, other: Difference) -> Difference {
        let tolerance = self.tolerance.max(other.tolerance);
        let lesser = if other.least < self.least { other } else { self };
        Difference { tolerance, ..lesser }
    }
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
        let ranges = driven.channel_range(above, from, to).zip(driven.channel_range(below, from, to)).map(|(b, a)| b - a);
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
    let cells = driven.stretches().map(|(a, b)| look(a, b));
    let found = least(cells, 0.5 * tolerance, f64::INFINITY, MOST_HALVINGS, &look);
    let proof = if found.tight { Proof::Tight } else { Proof::Bound };
    Difference { least: found.lower - two_to_the(-40) * size, at: found.at, proof, tolerance }
}

/// Halvings of a search where a mechanism lies between axis and position: the rest is left as a bound.
const MOST_HALVINGS: u64 = 2048;

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
