//! Looks at pieces on behalf of one axis, or of two neighbours on a rail: what they leave of room, and the least of it so far.
//!
//! Invariant: work is counted; an axis that was not looked at to the end is lost.

use std::collections::BTreeMap;

use super::against::Against;
use super::found::{CLOSE, Stopping};
use super::search::{Halt, Looked, Moment, Moved, Wanted};
use crate::bounds::Effort;
use crate::check::sections::Timing;
use crate::motion::Quintic;
use crate::motion::bernstein::Bernstein;
use crate::motion::curve::Piece;
use crate::program::Program;
use crate::stage::{AxisId, PerAxis, Stage};

/// What is known of an axis so far.
#[derive(Debug, Clone, Copy)]
pub(super) struct Known {
    /// The least margin seen.
    pub(super) least: f64,
    /// Where that is.
    pub(super) found: Option<Stopping>,
    /// True where it was not looked at to the end.
    pub(super) is_lost: bool,
}

impl Default for Known {
    fn default() -> Self {
        Known { least: f64::INFINITY, found: None, is_lost: false }
    }
}

/// Two carriages next to each other, and what of the difference of their positions is no room: their ends, and the gap that they must keep.
pub(super) struct Neighbours {
    pub(super) below: AxisId,
    pub(super) above: AxisId,
    pub(super) taken: f64,
}

/// An axis against its travel. A piece so far inside it that the greatest reach leaves more room than is known to be least is not looked at.
pub(super) fn travel_in<'p>(
    program: &Program,
    timing: Timing,
    (id, halt, reach): (AxisId, Halt<'_>, f64),
    pieces: impl Iterator<Item = Piece<'p>>,
    (wanted, effort): (Wanted, Effort),
    known: &mut Known,
) {
    let (travel, work) = (program.compiled().stage().axis(id).travel(), program.compiled().work());
    let length = travel.upper - travel.lower;
    for piece in pieces {
        let (lo, hi) = Bernstein::from_power(piece.quintic.0).hull();
        let seen = if (travel.upper - hi).min(lo - travel.lower) - reach >= known.least {
            Some(1)
        } else {
            let looked = Looked::Travel(Moved { piece: *piece.quintic, halt }, travel);
            look(timing, &piece, (&looked, wanted), length, &mut [(id, Against::Travel, &mut *known)])
        };
        if seen.is_none_or(|looks| work.spend(effort, looks).is_err()) {
            known.is_lost = true;
            break;
        }
    }
}

/// The pieces of both carriages of a pair.
pub(super) type Lines<'p> = [(AxisId, Vec<Piece<'p>>); 2];

/// Two carriages against each other.
pub(super) fn pair_in(
    program: &Program,
    timing: Timing,
    (pair, halts): (&Neighbours, &PerAxis<Option<Halt<'_>>>),
    lines: Lines<'_>,
    (wanted, effort): (Wanted, Effort),
    least: &mut BTreeMap<AxisId, Known>,
) {
    let (stage, work) = (program.compiled().stage(), program.compiled().work());
    let length = |id: AxisId| stage.axis(id).travel().upper - stage.axis(id).travel().lower;
    let of = |id: AxisId, least: &BTreeMap<AxisId, Known>| least.get(&id).copied().unwrap_or_default();
    let (mut a, mut b) = (of(pair.below, least), of(pair.above, least));
    let length = length(pair.below).min(length(pair.above));
    for (piece, both) in together(stage, &lines) {
        let [below, above] = both.map(|(id, piece)| Moved { piece, halt: halts[id].unwrap_or(Halt::Stands) });
        let piece = Piece { quintic: &below.piece, ..piece };
        let looked = Looked::Carriages([below, above], pair.taken);
        let mut sides = [(pair.below, Against::Carriage(pair.above), &mut a), (pair.above, Against::Carriage(pair.below), &mut b)];
        let seen = look(timing, &piece, (&looked, wanted), length, &mut sides);
        if seen.is_none_or(|looks| work.spend(effort, looks).is_err()) {
            (a.is_lost, b.is_lost) = (true, true);
            break;
        }
    }
    least.extend([(pair.below, a), (pair.above, b)]);
}

/// Looks over one piece on behalf of these axes: how many parts were looked at, `None` where that was not enough.
fn look(
    timing: Timing,
    piece: &Piece<'_>,
    (looked, wanted): (&Looked<'_>, Wanted),
    travel: f64,
    sides: &mut [(AxisId, Against, &mut Known)],
) -> Option<u64> {
    let length = piece.end - piece.start;
    // Where two axes share a look, the one with more room so far decides how far it goes.
    let mut most = sides.iter().map(|(_, _, known)| known.least).fold(f64::NEG_INFINITY, f64::max);
    let mut see = |moment: Moment| {
        for (axis, against, known) in sides.iter_mut().filter(|(_, _, known)| !(moment.margin() >= known.least)) {
            known.least = moment.margin();
            known.found = Some(Stopping {
                axis: *axis,
                distance: moment.distance,
                room: moment.room,
                against: *against,
                at: timing.at(piece.start + moment.u * length),
                part: timing.part,
                seconds: looked.seconds(moment.u, length * timing.pace),
                travel,
                beyond: 0.0,
            });
        }
    };
    looked.take_in(length * timing.pace, (CLOSE * travel, wanted), &mut most, &mut see)
}

/// Both carriages of a pair over stretches within one piece of each.
fn together<'s>(stage: &Stage, lines: &Lines<'s>) -> Vec<(Piece<'s>, [(AxisId, Quintic); 2])> {
    static HOLD: Quintic = Quintic::hold(0.0);
    let mut knots: Vec<f64> = lines.iter().flat_map(|(_, line)| line.iter().flat_map(|p| [p.start, p.end])).collect();
    knots.sort_by(f64::total_cmp);
    knots.dedup();
    let part = |(id, line): &(AxisId, Vec<Piece<'s>>), from: f64, to: f64| {
        let i = line.partition_point(|p| p.end <= from);
        let quintic = match line.get(i) {
            Some(p) => p.quintic.stretch((from - p.start) / (p.end - p.start), (to - from) / (p.end - p.start)),
            None => Quintic::hold(stage.axis(*id).home()),
        };
        (*id, quintic)
    };
    let stretches = knots.iter().zip(knots.iter().skip(1)).filter(|(from, to)| from < to);
    stretches
        .enumerate()
        .map(|(index, (from, to))| {
            let [below, above] = lines;
            (Piece { index, start: *from, end: *to, quintic: &HOLD }, [part(below, *from, *to), part(above, *from, *to)])
        })
        .collect()
}
