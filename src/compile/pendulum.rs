//! Pendulums whose length a channel changes: nowhere in the photographed span may the length reach 0.
//!
//! What: where the channel is an axis of its own the exact extremes of its curve decide; where a mechanism drives it, its value at the middle of every photographed frame, and the check says what
//! happens in between. Limits: run-up, run-down, move to start and return home are for the check.

use super::error::CompileError;
use super::{Basis, Move, frame_time};
use crate::mechanism::{Mechanism, OutOfReach};
use crate::stage::{AxisId, Body, LengthChange};
use crate::time::FrameTime;

/// Checks that every hanging figure has a length throughout.
///
/// # Errors
/// Every one that has none somewhere, at its shortest.
pub(super) fn have_lengths(basis: Basis<'_>, mv: &Move) -> Result<(), Vec<CompileError>> {
    let short = |body: &Body| {
        let swing = body.swing()?;
        let change = swing.change?;
        let (length, at) = shortest(basis, mv, swing.length, change)?;
        let error = || CompileError::no_length((basis.stage, basis.shot, basis.layers), body.group(), change.channel, (length, at));
        (!(length > 0.0)).then(error)
    };
    let errors: Vec<CompileError> = basis.stage.bodies().iter().filter_map(short).collect();
    if errors.is_empty() { Ok(()) } else { Err(errors) }
}

/// The least length, mm, and its frame; `None` where the channel has no value at any frame.
fn shortest(basis: Basis<'_>, mv: &Move, home_length: f64, change: LengthChange) -> Option<(f64, f64)> {
    let length = |value: f64| home_length + change.per_unit * (value - change.home);
    let lesser = |a: (f64, f64), b: (f64, f64)| if a.0 <= b.0 { a } else { b };
    if let Some(axis) = basis.stage.own_axis(change.channel) {
        let peaks = mv.axes[axis].peaks();
        return Some(lesser((length(peaks.least.value), peaks.least.at), (length(peaks.greatest.value), peaks.greatest.at)));
    }
    let forward = |mechanism: &dyn Mechanism, axes: &[f64], channels: &mut [f64]| mechanism.to_channels_at_rest(axes, channels);
    let at = |frame: i64| {
        let t = frame_time(frame);
        // Every curve covers every photographed frame.
        let axis = |id: AxisId| Ok::<f64, OutOfReach>(mv.axes[id].at(FrameTime(t)).unwrap_or(basis.stage.axis(id).home()));
        let value = basis.stage.channel_values(&[change.channel], &axis, &forward).ok()?;
        value.first().map(|value| (length(*value), t))
    };
    basis.shot.frames().frames().filter_map(at).reduce(lesser)
}
