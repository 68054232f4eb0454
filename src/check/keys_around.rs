//! Which keys a frame lies between: where a person has to look.

use super::violation::Between;
use crate::compile::Compiled;
use crate::signal::SourceKind;
use crate::stage::AxisId;
use crate::time::FrameTime;

/// The neighbouring keys of the first track that drives the axis, around `frame`.
pub(super) fn between(compiled: &Compiled, axis: AxisId, frame: FrameTime) -> Option<Between> {
    let shot = compiled.shot();
    let mut found = compiled.stage().channels_of(axis).into_iter().flat_map(|c| compiled.sources_of(c));
    let source = found.find(|s| s.kind == SourceKind::Track)?;
    let keys = shot.tracks().get(source.index)?.keys();
    let here = frame.0 - source.delay;
    let after = keys.partition_point(|k| k.frame <= here);
    // On the last key itself the stretch before it is meant.
    let after = if after == keys.len() && keys.last().is_some_and(|k| k.frame == here) { after - 1 } else { after };
    let key = |i: usize| keys.get(i).map(|k| (i, k.frame + source.delay, k.place));
    Some(Between { track: source.index, delay: source.delay, before: after.checked_sub(1).and_then(key), after: key(after) })
}
