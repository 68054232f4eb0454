//! Whether every axis can stop before it meets something, whenever a fault comes.
//!
//! What: at every instant from the run-up to the run-down, or on the moves between held exposures, the way that an axis still goes after a fault (see `motion::stop`) is compared with what is left of its
//! travel, and on a rail with what is left to the next carriage beyond the gap that both must keep. There both stop alike, each to the farthest point it reaches: the neighbour that stands still at once
//! is never worse than that. An axis that leaves its travel is not looked at: it is reported for that.
//! Tolerance: the least margin is found to 1e-6 of the travel's length; room that is lacking may be lacking by more elsewhere where finding that out would cost more than a piece may.
//! Invariant: work is counted; an axis that was not looked at has no entry, which a note says.
//! Limits: not the move to start and the return home; carriages that a mechanism moves along their rail are compared with their travel alone.

pub(crate) mod against;
pub(crate) mod found;
mod held;
mod looks;
pub(crate) mod power;
mod search;
mod slope;

use std::collections::BTreeMap;

use super::clearance::enclosure::Enclosure;
use super::clearance::{self, rail};
use super::exceeded::finding;
use super::notes::{Note, NoteKind};
use super::sections::{self, Section};
use super::violation::{At, Cause, Limit, Part, Subject, Violation};
use crate::bounds::Effort;
use crate::compile::{Compiled, Edge, frame_time};
use crate::motion::stop::Braking;
use crate::program::Program;
use crate::stage::{AxisId, GroupId, PerAxis, Stage, Utilisation};
use crate::time::FrameTime;
use against::Against;
use found::Stopping;
use looks::{Known, Neighbours, pair_in, travel_in};
use search::{Halt, Wanted};

/// The least margin of every axis that a pass moves, in stage order; `None` for one that was not looked at, because the budget of work is used up.
pub(super) fn stops(program: &Program, effort: Effort) -> Vec<(AxisId, Option<Stopping>)> {
    let stage = program.compiled().stage();
    let braking = PerAxis::new(stage, |id| braking(stage, id));
    let halts = PerAxis::new(stage, |id| Some(if program.parks(id) { Halt::Stands } else { Halt::Stops(&braking[id]) }));
    least(program, effort, &halts, &rails(program))
}

/// True where none of these axes lacks room to stop; it costs what trials may.
pub(super) fn have_room(program: &Program, wanted: &dyn Fn(AxisId) -> bool) -> bool {
    tried(program, wanted).iter().all(|(_, s)| s.is_some_and(|s| !s.utilisation().is_exceeded()))
}

/// True where these axes have room to stop in a pass, or lacked it there before; it costs what trials may.
pub(super) fn keep_room(program: &Program, before: &Compiled, wanted: &dyn Fn(AxisId) -> bool) -> bool {
    let lacked = || Program::one(before, program.index()).ok().flatten().is_some_and(|old| lack_room(&old, wanted));
    have_room(program, wanted) || lacked()
}

/// True where one of these axes is reported for lacking room to stop.
fn lack_room(program: &Program, wanted: &dyn Fn(AxisId) -> bool) -> bool {
    tried(program, wanted).iter().any(|(_, s)| s.is_some_and(|s| s.utilisation().is_exceeded()))
}

fn tried(program: &Program, wanted: &dyn Fn(AxisId) -> bool) -> Vec<(AxisId, Option<Stopping>)> {
    let stage = program.compiled().stage();
    let braking = PerAxis::new(stage, |id| braking(stage, id));
    let rails: Vec<Neighbours> = rails(program).into_iter().filter(|pair| wanted(pair.below) || wanted(pair.above)).collect();
    let needed = |id: AxisId| wanted(id) || rails.iter().any(|pair| pair.below == id || pair.above == id);
    let halts = PerAxis::new(stage, |id| needed(id).then(|| if program.parks(id) { Halt::Stands } else { Halt::Stops(&braking[id]) }));
    least(program, Effort::TrialStops, &halts, &rails).into_iter().filter(|(id, _)| wanted(*id)).collect()
}

/// The same without power, for every axis of which it is known how it coasts; against its travel alone.
pub(super) fn coasts(program: &Program, effort: Effort) -> Vec<(AxisId, Option<Stopping>)> {
    let stage = program.compiled().stage();
    let halts = PerAxis::new(stage, |id| power::slows(stage.axis(id)).filter(|_| !program.parks(id)).map(Halt::Coasts));
    if halts.iter().all(Option::is_none) { Vec::new() } else { least(program, effort, &halts, &[]) }
}

/// The least margin of every axis that comes to stand somehow, none of them parked.
fn least(program: &Program, effort: Effort, halts: &PerAxis<Option<Halt<'_>>>, rails: &[Neighbours]) -> Vec<(AxisId, Option<Stopping>)> {
    let stage = program.compiled().stage();
    // What leaves its travel is reported for that, and has no room to compare with.
    let halts = &PerAxis::new(stage, |id| halts[id].filter(|_| program.parks(id) || !leaves_travel(program, id)));
    let rails: Vec<&Neighbours> = rails.iter().filter(|pair| halts[pair.below].is_some() && halts[pair.above].is_some()).collect();
    let mut least: BTreeMap<AxisId, Known> = BTreeMap::new();
    match program.stations() {
        Some(stations) => held::moves(program, stations, halts, &rails, effort, &mut least),
        None => {
            // What a glance at every piece has seen, most pieces cannot beat. Trials ask for no more than a verdict.
            let hows: &[Wanted] = if effort == Effort::TrialStops { &[Wanted::Verdict] } else { &[Wanted::Glance, Wanted::Least] };
            for how in hows {
                sections::each(program, &mut |section| {
                    if !matches!(section.timing.part, Part::MoveToStart | Part::ReturnHome) {
                        in_section(program, section, halts, &rails, (*how, effort), &mut least);
                    }
                });
            }
        }
    }
    let moved = stage.axis_ids().filter(|id| !program.parks(*id) && halts[*id].is_some());
    moved
        .map(|id| match least.get(&id) {
            // What is known to lack room does, though another instant may lack more.
            Some(known) if known.is_lost && !known.found.is_some_and(|s| s.utilisation().is_exceeded()) => (id, None),
            Some(Known { found: Some(found), .. }) => (id, Some(*found)),
            _ => (id, Some(standing(program, id))),
        })
        .map(|(id, found): (AxisId, Option<Stopping>)| (id, found.map(|s| Stopping { beyond: beyond(program, &s), ..s })))
        .collect()
}

/// How far an axis is beyond an end of its travel, where that is no more than is allowed.
fn beyond(program: &Program, s: &Stopping) -> f64 {
    // Only where the room is not enough it matters.
    if s.room - s.distance >= 0.0 {
        return 0.0;
    }
    let (travel, (least, greatest)) = (program.compiled().stage().axis(s.axis).travel(), extremes(program, s.axis));
    (travel.lower - least).max(greatest - travel.upper).clamp(0.0, Utilisation::slack(travel.upper - travel.lower))
}

/// An axis of a held pass in which nothing moves.
fn standing(program: &Program, axis: AxisId) -> Stopping {
    let compiled = program.compiled();
    let (travel, frame) = (compiled.stage().axis(axis).travel(), FrameTime::of_frame(compiled.shot().frames().first()));
    let at = compiled.motion(axis).at(frame).unwrap_or(travel.lower);
    let room = (travel.upper - at).min(at - travel.lower);
    Stopping {
        axis,
        distance: 0.0,
        room,
        against: Against::Travel,
        at: At::Frame(frame),
        part: Part::Photographed,
        seconds: 0.0,
        travel: travel.upper - travel.lower,
        beyond: 0.0,
    }
}

/// Where an axis is at least and at most in a pass, its run-up and run-down included.
fn extremes(program: &Program, axis: AxisId) -> (f64, f64) {
    let m = program.compiled().motion(axis);
    let Some(stations) = program.stations() else {
        let edges = [Edge::RunUp, Edge::RunDown].map(|edge| m.edge_peaks(edge));
        let all = || core::iter::once(m.peaks()).chain(edges.iter().flatten());
        return (
            all().map(|p| p.least.value).fold(f64::INFINITY, f64::min),
            all().map(|p| p.greatest.value).fold(f64::NEG_INFINITY, f64::max),
        );
    };
    let all = stations.positions(m.curve());
    all.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), x| (lo.min(*x), hi.max(*x)))
}

/// True where an axis leaves its travel, and is reported for that.
fn leaves_travel(program: &Program, axis: AxisId) -> bool {
    let (least, greatest) = extremes(program, axis);
    Utilisation::of_travel(least, greatest, program.compiled().stage().axis(axis).travel()).is_exceeded()
}

/// True where two carriages come nearer than they may, and are reported for that.
fn is_too_near(program: &Program, known: &[Violation], s: &Stopping) -> bool {
    let stage = program.compiled().stage();
    let has = |group: GroupId| stage.group(group).has(s.axis);
    let is_theirs = |v: &Violation| match v.subject {
        Subject::Pair(n, _) => matches!(n.against, clearance::Against::Rail(other) if has(n.group) || has(other)),
        _ => false,
    };
    matches!(s.against, Against::Carriage(_)) && known.iter().any(is_theirs)
}

/// Axes with less room than they need, but for carriages that are too near each other already.
pub(super) fn violations(program: &Program, stops: &[(AxisId, Option<Stopping>)], known: &[Violation]) -> Vec<Violation> {
    let exceeded = stops.iter().filter_map(|(_, s)| *s).filter(|s| s.utilisation().is_exceeded());
    let exceeded = exceeded.filter(|s| !is_too_near(program, known, s));
    exceeded
        .map(|s| {
            let instant = s.at.number();
            let (at, figures) = ((s.at, (instant, instant)), (s.distance, s.room));
            finding(program.compiled(), s.axis, Limit::Stopping, s.part, at, figures, Cause::Stopping(s.against))
        })
        .collect()
}

/// Axes that were not looked at, as notes.
pub(super) fn notes(program: &Program, stops: &[(AxisId, Option<Stopping>)]) -> Vec<Note> {
    let unknown = stops.iter().filter(|(_, found)| found.is_none());
    let kind = || NoteKind::StoppingUnknown { pass: program.pass().name().to_owned() };
    unknown.map(|(axis, _)| Note { axis: Some(*axis), frame: None, value: None, kind: kind() }).collect()
}

fn braking(stage: &Stage, id: AxisId) -> Braking {
    let l = stage.axis(id).limits();
    Braking { reaction: stage.reaction(), velocity: l.velocity, acceleration: l.acceleration, jerk: l.jerk }
}

/// Every two neighbours on every rail, each moved by an axis of its own.
fn rails(program: &Program) -> Vec<Neighbours> {
    let (stage, course) = (program.compiled().stage(), program.course());
    let driven = Enclosure::new(&course);
    // As the pass begins: at its first station, or with its run-up.
    let start = program.stations().map_or(driven.span().0, |stations| frame_time(stations.exposed().first()));
    let pairs = rail::neighbours(&driven, start).into_iter();
    let of = |pair: rail::Neighbours<'_>| {
        let [below, above] = pair.channels().map(|channel| stage.own_axis(channel));
        Some(Neighbours { below: below?, above: above?, taken: pair.taken().iter().sum() })
    };
    pairs.filter_map(of).collect()
}

fn in_section(
    program: &Program,
    section: &Section<'_>,
    halts: &PerAxis<Option<Halt<'_>>>,
    rails: &[&Neighbours],
    (wanted, effort): (Wanted, Effort),
    least: &mut BTreeMap<AxisId, Known>,
) {
    let stage = program.compiled().stage();
    let timing = section.timing;
    for id in stage.axis_ids().filter(|id| !program.parks(*id)) {
        let Some(halt) = halts[id] else { continue };
        // What the nearest places leave, few others do: their pieces come first.
        let first = if section.timing.part == Part::Photographed { nearest(program, id) } else { Vec::new() };
        let curve = section.course.curve(id).ok();
        let first = curve.into_iter().flat_map(|curve| first.iter().filter_map(|t| curve.piece_at(*t)));
        let (pieces, reach) = (first.chain(section.pieces(id)), reach(program, id, &halt));
        travel_in(program, timing, (id, halt, reach), pieces, (wanted, effort), least.entry(id).or_default());
    }
    for pair in rails {
        let lines = [pair.below, pair.above].map(|id| (id, section.pieces(id).collect()));
        pair_in(program, timing, (pair, halts), lines, (wanted, effort), least);
    }
}

/// Where an axis of a moving pass is nearest to either end of its travel, frame time.
fn nearest(program: &Program, id: AxisId) -> Vec<f64> {
    let peaks = program.compiled().motion(id).peaks();
    vec![peaks.least.at, peaks.greatest.at]
}

/// How far an axis of a moving pass runs on after any fault at most.
fn reach(program: &Program, id: AxisId, halt: &Halt<'_>) -> f64 {
    let (m, pace) = (program.compiled().motion(id), program.clock().pace().get());
    let edges = [Edge::RunUp, Edge::RunDown].map(|edge| m.edge_peaks(edge));
    let all = core::iter::once(m.peaks()).chain(edges.iter().flatten());
    let (v, a) = all.fold((0.0_f64, 0.0_f64), |(v, a), p| (v.max(p.velocity.value), a.max(p.acceleration.value)));
    // Extremes are found to the last digits, not beyond.
    halt.up(v / pace * (1.0 + 1e-9), a / (pace * pace) * (1.0 + 1e-9))
}
