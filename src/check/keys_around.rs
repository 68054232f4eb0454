//! Which keys a frame lies between: where a person has to look.

use super::violation::Between;
use crate::compile::Compiled;
use crate::shot::Track;
use crate::signal::{Source, SourceKind, on_film};
use crate::stage::AxisId;
use crate::time::FrameTime;

/// The neighbouring keys around `frame`, of the track whose keys there differ most among those that drive the axis; of several that stand still, the first.
pub(super) fn between(compiled: &Compiled, axis: AxisId, frame: FrameTime) -> Option<Between> {
    let shot = compiled.shot();
    let channels = compiled.stage().channels_of(axis);
    let time = compiled.time_of_channels(&channels);
    let asked = time.as_ref().map_or(frame.0, |time| time.choreography(frame.0));
    let film = on_film(time.as_deref());
    let found = channels.into_iter().flat_map(|c| compiled.sources_of(c)).filter(|s| s.kind == SourceKind::Track);
    let change = |s: &Source| {
        let keys = shot.tracks().get(s.index).map(Track::keys).unwrap_or_default();
        let after = keys.partition_point(|k| k.frame <= asked - s.delay).clamp(1, keys.len().max(1));
        let of = |i: usize| keys.get(i).or(keys.last()).map_or(0.0, |k| k.value * s.scale);
        (of(after) - of(after - 1)).abs()
    };
    let source = found.reduce(|a, b| if change(b) > change(a) { b } else { a })?;
    let keys = shot.tracks().get(source.index)?.keys();
    let here = asked - source.delay;
    let after = keys.partition_point(|k| k.frame <= here);
    // On the last key itself the stretch before it is meant.
    let after = if after == keys.len() && keys.last().is_some_and(|k| k.frame == here) { after - 1 } else { after };
    let key = |i: usize| keys.get(i).map(|k| (i, film(k.frame + source.delay), k.place));
    Some(Between { track: source.index, copy: source.copy, before: after.checked_sub(1).and_then(key), after: key(after) })
}
