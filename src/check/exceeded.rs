//! An exceeded limit of one axis, with the keys that it lies between.

use super::keys_around;
use super::limits::Over;
use super::violation::{At, Cause, Limit, Part, Subject, Violation};
use crate::compile::Compiled;
use crate::stage::AxisId;

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
