//! Required clearances that are not kept: as violations of a pass, as notes on its way there and home.
//!
//! Invariant: one for every pair that is not shown to keep its clearance.

use super::clearance::{Against, ClearanceReport, Nearest, Proof};
use super::exceeded::first_to_look_at;
use super::keys_around;
use super::notes::{Note, NoteKind};
use super::report::PassReport;
use super::violation::{At, Cause, Limit, Part, Subject, Violation};
use crate::compile::frame_time;
use crate::program::Program;
use crate::stage::{AxisId, Driver, GroupId, Stage};
use crate::time::{FrameTime, Seconds};

/// The violations of a pass's clearance. A figure with an axis beyond the range that its mechanism has, which is among the violations `known`, is not called too near as well where nothing
/// shows that it is: beyond that range it has no place that could be bounded.
pub(super) fn violations(program: &Program, report: Option<&ClearanceReport>, known: &[Violation]) -> Vec<Violation> {
    let stage = program.compiled().stage();
    let lost = |group: GroupId| {
        let driven = axes(stage, group, false);
        let has_range = |axis: AxisId| matches!(stage.driver(axis), Driver::Machine(machine, _) if machine.has_ranges());
        let out_of_reach = |v: &&Violation| matches!(v.cause, Cause::OutOfReach(Some(_))) && has_range(v.subject.axis());
        known.iter().filter(out_of_reach).any(|v| driven.contains(&v.subject.axis()))
    };
    let follows = |n: &Nearest| {
        let other = if let Against::Group(other) = n.against { Some(other) } else { None };
        n.proof == Proof::Bound && core::iter::once(n.group).chain(other).any(lost)
    };
    let pairs = report.into_iter().flat_map(|r| &r.pairs);
    pairs.filter(|n| !n.is_kept() && !follows(n)).filter_map(|n| violation(program, n)).collect()
}

/// What is not kept on the way of a pass: no limit of the move itself, and no rows are written for it.
pub(super) fn notes(report: &PassReport) -> Vec<Note> {
    let mut found = Vec::new();
    for (leg, clearance) in report.way_clearance.iter() {
        for n in clearance.iter().flat_map(|c| &c.pairs).filter(|n| !n.is_kept()) {
            found.push(Note {
                axis: candidates(report.program.compiled().stage(), n).first().copied(),
                frame: None,
                value: n.gap.is_finite().then_some(n.gap),
                kind: NoteKind::WayClearance { pass: report.name().to_owned(), leg: *leg, nearest: *n, at: Seconds(n.at) },
            });
        }
    }
    found
}

/// Said where a gap is neither proven to be kept nor known not to be.
pub(super) fn not_proven(passes: &[PassReport]) -> Option<Note> {
    let ways = passes.iter().flat_map(|p| p.way_clearance.iter()).flat_map(|(_, c)| c);
    let mut all = passes.iter().flat_map(|p| &p.clearance).chain(ways).flat_map(|c| &c.pairs);
    let open = all.any(|n| n.proof == Proof::Bound && !n.is_kept());
    open.then_some(Note { axis: None, frame: None, value: None, kind: NoteKind::GapsNotProven })
}

/// The axes that move a group's body, or its carriage on a rail.
fn axes(stage: &Stage, group: GroupId, on_rail: bool) -> Vec<AxisId> {
    let Some(body) = stage.body_of(group) else { return Vec::new() };
    let channels = if on_rail { body.rail().map(|r| r.channel).into_iter().collect() } else { body.every_channel().to_vec() };
    channels.into_iter().flat_map(|c| stage.axes_of(c)).collect()
}

/// The axes that move what is too near.
fn candidates(stage: &Stage, n: &Nearest) -> Vec<AxisId> {
    let on_rail = matches!(n.against, Against::Rail(_));
    let mut candidates = axes(stage, n.group, on_rail);
    if let Against::Group(other) | Against::Rail(other) = n.against {
        candidates.extend(axes(stage, other, on_rail));
    }
    candidates
}

fn violation(program: &Program, n: &Nearest) -> Option<Violation> {
    let compiled = program.compiled();
    let candidates = candidates(compiled.stage(), n);
    let axis = first_to_look_at(program, &candidates)?;
    let (from, to) = compiled.shot().frames().photographed();
    let held = program.stations().is_some();
    let part = match held {
        false if n.at < from => Part::RunUp,
        false if n.at > to => Part::RunDown,
        _ => Part::Photographed,
    };
    let span = if held {
        // The exposures before and after.
        let exposed = program.clock().exposed();
        let (first, step) = (frame_time(exposed.first()), frame_time(exposed.step()));
        let moves = (n.at - first) / step;
        (first + moves.floor() * step, first + moves.ceil() * step)
    } else {
        compiled.motion(axis).curve().piece_at(n.at).map_or((n.at, n.at), |p| (p.start, p.end))
    };
    let frame = FrameTime(n.at);
    Some(Violation {
        subject: Subject::Pair(*n, axis),
        limit: Limit::Clearance,
        part,
        at: At::Frame(frame),
        span,
        value: n.gap,
        allowed: n.required,
        between: keys_around::between(compiled, axis, frame),
        cause: Cause::Gap,
        fixes: Vec::new(),
    })
}
