//! Which keys a frame lies between: where a person has to look.

use super::report::Between;
use crate::shot::Shot;
use crate::signal::{SourceKind, sources};
use crate::stage::Stage;

/// The neighbouring keys of the first track that drives the axis, around `frame`.
#[must_use]
pub fn between(stage: &Stage, shot: &Shot, axis: usize, frame: f64) -> Option<Between> {
    let found = stage.channels_of(axis).into_iter().filter_map(|c| sources::of(stage, shot, c).ok()).flatten();
    let source = found.into_iter().find(|s| s.kind == SourceKind::Track)?;
    let keys = shot.tracks().get(source.index)?.keys();
    let here = frame - source.delay;
    let after = keys.partition_point(|k| k.frame <= here);
    // On the last key itself the stretch before it is meant.
    let after = if after == keys.len() && keys.last().is_some_and(|k| k.frame == here) { after - 1 } else { after };
    let key = |i: usize| keys.get(i).map(|k| (i, k.frame + source.delay, k.place));
    Some(Between { track: source.index, delay: source.delay, before: after.checked_sub(1).and_then(key), after: key(after) })
}

/// The keys in words: `between key 2 (frame 120, shot.toml:14) and key 3 (frame 336, shot.toml:14)`.
#[must_use]
pub fn words(between: &Between, files: &[String]) -> String {
    let name = |(index, frame, place): (usize, f64, crate::shot::Place)| {
        let file = usize::try_from(place.file).ok().and_then(|i| files.get(i));
        match file {
            Some(file) if place.line > 0 => format!("key {} (frame {frame}, {file}:{})", index + 1, place.line),
            _ => format!("key {} (frame {frame})", index + 1),
        }
    };
    match (between.before, between.after) {
        (Some(a), Some(b)) => format!("between {} and {}", name(a), name(b)),
        (Some(a), None) => format!("after {}, the last", name(a)),
        (None, Some(b)) => format!("before {}, the first", name(b)),
        (None, None) => String::new(),
    }
}

/// The same as the end of a sentence: a comma before it, and nothing where no track drives the axis.
#[must_use]
pub fn clause(between: Option<&Between>, files: &[String]) -> String {
    between.map_or(String::new(), |b| format!(", {}", words(b, files)))
}
