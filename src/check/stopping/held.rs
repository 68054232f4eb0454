//! The moves of a held pass: the least room is found without a look at most of them.
//!
//! What: on a move an axis stays between the stations that it leaves and reaches, no faster and with no more acceleration than its law, so room and reach of both give a bound. The moves at the stations that
//! lie nearest to an end come first; then only those are looked at whose bound is below what is known. Invariant: a bound, never a sample, decides what is passed over; work is counted.

use std::collections::BTreeMap;

use super::looks::{Known, Neighbours, pair_in, travel_in};
use super::search::{Halt, Wanted};
use crate::bounds::Effort;
use crate::check::sections::Timing;
use crate::motion::curve::Curve;
use crate::program::{HeldMove, Program, Stations};
use crate::stage::{AxisId, PerAxis};

/// Work of a bound.
const BOUND: u64 = 2;

/// Share of travel or distance by which positions on a move may be beyond its stations, by rounding.
const ROUNDED: f64 = 1e-12;

/// The least margin of every axis and every two neighbours over all moves.
pub(super) fn moves(
    program: &Program,
    stations: &Stations,
    halts: &PerAxis<Option<Halt<'_>>>,
    rails: &[&Neighbours],
    effort: Effort,
    least: &mut BTreeMap<AxisId, Known>,
) {
    let compiled = program.compiled();
    let of = |id: AxisId| Line::of(program, stations, id, halts[id].unwrap_or(Halt::Stands));
    let last = if effort == Effort::TrialStops { Wanted::Verdict } else { Wanted::Least };
    let hows: &[Wanted] = if effort == Effort::TrialStops { &[Wanted::Verdict] } else { &[Wanted::Glance, Wanted::Least] };
    let curve = |m: &HeldMove, id: AxisId| stations.curve(compiled, program.pass(), m, id);
    let alone = |m: &HeldMove, (id, halt): (AxisId, Halt<'_>), how: Wanted, known: &mut Known| {
        if let Some(curve) = curve(m, id) {
            travel_in(program, Timing::of_move(m), (id, halt, f64::INFINITY), curve.pieces(), (how, effort), known);
        }
    };
    let both = |m: &HeldMove, pair: &Neighbours, how: Wanted, least: &mut BTreeMap<AxisId, Known>| {
        let curves = [pair.below, pair.above].map(|id| (id, curve(m, id)));
        let lines = curves.each_ref().map(|(id, curve)| (*id, curve.iter().flat_map(Curve::pieces).collect()));
        pair_in(program, Timing::of_move(m), (pair, halts), lines, (how, effort), least);
    };
    let spend = || compiled.work().spend(effort, BOUND).is_ok();
    for id in compiled.stage().axis_ids().filter(|id| !program.parks(*id)) {
        let Some(halt) = halts[id] else { continue };
        let (line, travel) = (of(id), compiled.stage().axis(id).travel());
        let known = least.entry(id).or_default();
        let room = |x: f64| (travel.upper - x).min(x - travel.lower);
        for m in about(stations, line.stands.iter().map(|x| room(*x))) {
            hows.iter().for_each(|how| alone(m, (id, halt), *how, known));
        }
        for i in 0..stations.moves().len() {
            let Some((m, [lo, hi], reach)) = line.on(i) else { continue };
            // Where it stands it has no less room than at the station that leaves least.
            if lo == hi {
                continue;
            }
            if known.is_lost || !spend() {
                known.is_lost = true;
                break;
            }
            let bound = room(lo).min(room(hi)) - reach - ROUNDED * (travel.upper - travel.lower);
            if !(bound >= known.least) {
                alone(m, (id, halt), last, known);
            }
        }
    }
    for pair in rails {
        let (below, above) = (of(pair.below), of(pair.above));
        let apart = above.stands.iter().zip(&below.stands).map(|(q, p)| q - p);
        for m in about(stations, apart) {
            hows.iter().for_each(|how| both(m, pair, *how, least));
        }
        for i in 0..stations.moves().len() {
            let (Some((m, [_, top], reach)), Some((_, [bottom, _], other))) = (below.on(i), above.on(i)) else { continue };
            let known = [pair.below, pair.above].map(|id| least.get(&id).copied().unwrap_or_default());
            if known.iter().any(|known| known.is_lost) {
                break;
            }
            if !spend() {
                [pair.below, pair.above].into_iter().for_each(|id| least.entry(id).or_default().is_lost = true);
                break;
            }
            let bound = bottom - top - pair.taken - reach - other - ROUNDED * (top.abs() + bottom.abs());
            if !known.iter().all(|known| bound >= known.least) {
                both(m, pair, last, least);
            }
        }
    }
}

/// An axis from station to station.
struct Line<'a> {
    stations: &'a Stations,
    id: AxisId,
    halt: Halt<'a>,
    is_parked: bool,
    /// Where it stands at each exposure.
    stands: Vec<f64>,
}

impl<'a> Line<'a> {
    fn of(program: &'a Program, stations: &'a Stations, id: AxisId, halt: Halt<'a>) -> Line<'a> {
        let home = program.compiled().stage().axis(id).home();
        let is_parked = program.parks(id);
        let own = || stations.positions(program.compiled().motion(id).curve());
        let stands = if is_parked { vec![home; stations.moves().len() + 1] } else { own() };
        Line { stations, id, halt, is_parked, stands }
    }

    /// A move that takes time: between which positions it goes on, and how far it runs on after any fault at most.
    fn on(&self, i: usize) -> Option<(&'a HeldMove, [f64; 2], f64)> {
        let m = self.stations.moves().get(i).filter(|m| m.seconds.0 > 0.0)?;
        let (a, b) = (*self.stands.get(i)?, *self.stands.get(i + 1)?);
        if self.is_parked || a == b {
            return Some((m, [a, b], 0.0));
        }
        let law = self.stations.law(self.id, i, b - a).and_then(|law| law.stretched(m.seconds.0).ok());
        // A split move is a mean of instants of its law. What has no law is looked at.
        let reach = law.map_or(f64::INFINITY, |moved| self.halt.up(moved.law.peak_velocity(), moved.law.peak_acceleration()));
        Some((m, [a.min(b), a.max(b)], reach))
    }
}

/// The moves to and from the station that leaves least room.
fn about(stations: &Stations, rooms: impl Iterator<Item = f64>) -> impl Iterator<Item = &HeldMove> {
    let nearest = rooms.enumerate().min_by(|a, b| a.1.total_cmp(&b.1));
    let either = nearest.into_iter().flat_map(|(i, _)| [i.checked_sub(1), Some(i)]);
    either.flatten().filter_map(|i| stations.moves().get(i))
}
