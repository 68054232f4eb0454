//! An exceeded limit of one axis, with the keys that it lies between.

use super::keys_around;
use super::limits::Over;
use super::violation::{At, Cause, Limit, Part, Subject, Violation};
use crate::compile::Compiled;
use crate::program::Program;
use crate::stage::{AxisId, Body};

/// The axis to look at first of several: the first that moves at all in this pass; of those where nothing moves, any.
pub(super) fn first_to_look_at(program: &Program, candidates: &[AxisId]) -> Option<AxisId> {
    let moves = |a: &&AxisId| !program.parks(**a) && !program.compiled().motion(**a).never_moves();
    candidates.iter().find(moves).or(candidates.first()).copied().or(program.compiled().stage().axis_ids().next())
}

/// The same of the axes that move a body.
pub(super) fn axis_of_body(program: &Program, body: &Body) -> Option<AxisId> {
    let stage = program.compiled().stage();
    let all: Vec<AxisId> = body.channels().iter().flat_map(|c| stage.axes_of(*c)).collect();
    first_to_look_at(program, &all)
}

/// An exceeded limit of one axis.
pub(super) fn violation(compiled: &Compiled, axis: AxisId, over: &Over, cause: Cause) -> Violation {
    finding(compiled, axis, over.limit, over.part, (At::Frame(over.frame), over.span), (over.value, over.allowed), cause)
}

/// An exceeded limit of one axis at an instant on either clock: `(instant, span)` and `(value, allowed)`.
pub(super) fn finding(
    compiled: &Compiled,
    axis: AxisId,
    limit: Limit,
    part: Part,
    (at, span): (At, (f64, f64)),
    (value, allowed): (f64, f64),
    cause: Cause,
) -> Violation {
    let between = at.frame().and_then(|frame| keys_around::between(compiled, axis, frame));
    Violation { subject: Subject::Axis(axis), limit, part, at, span, value, allowed, between, cause, fixes: Vec::new() }
}
