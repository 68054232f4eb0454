//! Channels that stand at 0 and not at home, because only cycles drive them and their amounts are 0.
//!
//! Invariant: said where it is certain: at a key of an amount, or between two keys that are both 0, of every layer that the channel has.

use super::notes::{Note, NoteKind};
use crate::compile::{Compiled, frame_time};
use crate::shot::{Cycle, Key};
use crate::signal::SourceKind;
use crate::time::FrameTime;

/// A note for each such channel, at the first photographed frame looked at where it is so; its value is the distance from home.
pub(super) fn notes(compiled: &Compiled) -> Vec<Note> {
    let (stage, shot) = (compiled.stage(), compiled.shot());
    let (first, last) = (frame_time(shot.frames().first()), frame_time(shot.frames().last()));
    let mut found = Vec::new();
    for channel in stage.channel_names().iter().filter_map(|name| stage.channel(name)) {
        let (layers, home) = (compiled.sources_of(channel), stage.channel_rest(channel));
        if home == 0.0 || layers.is_empty() || layers.iter().any(|l| l.kind != SourceKind::Cycle) {
            continue;
        }
        let cycles: Option<Vec<(&Cycle, f64, f64)>> =
            layers.iter().map(|l| Some((shot.cycles().get(l.index)?, l.delay, l.scale))).collect();
        let Some(cycles) = cycles else { continue };
        let keys = cycles.iter().flat_map(|(c, delay, _)| c.amount().iter().map(move |k| k.frame + delay));
        let mut frames: Vec<f64> = keys.chain([first, last]).filter(|t| first <= *t && *t <= last).collect();
        frames.sort_by(f64::total_cmp);
        let stands = |t: f64| cycles.iter().all(|(c, delay, scale)| *scale == 0.0 || is_zero(c.amount(), t - delay));
        let Some(at) = frames.into_iter().find(|t| stands(*t)) else { continue };
        let axis = stage.axes_of(channel).first().copied();
        found.push(Note { axis, frame: Some(FrameTime(at)), value: Some(home.abs()), kind: NoteKind::AtZero { channel } });
    }
    found
}

/// True where an amount is 0 at a frame; false where it is not certain.
fn is_zero(amount: &[Key], t: f64) -> bool {
    let after = amount.partition_point(|k| k.frame <= t);
    let zero = |key: Option<&Key>| key.map(|k| k.value == 0.0);
    let (before, next) = (after.checked_sub(1).and_then(|i| amount.get(i)), amount.get(after));
    match (zero(before), zero(next)) {
        (Some(zero), None) | (None, Some(zero)) => zero,
        (Some(a), Some(b)) => a && (b || before.is_some_and(|k| k.frame == t)),
        (None, None) => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_amount_is_zero_at_a_key_and_between_two() {
        let amount: Vec<Key> = [(10.0, 0.0), (20.0, 0.0), (30.0, 1.0), (40.0, 0.0)].map(|(frame, value)| Key::new(frame, value)).to_vec();
        let zero: Vec<bool> = [5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 50.0].map(|t| is_zero(&amount, t)).to_vec();
        assert_eq!(zero, [true, true, true, true, false, false, false, true, true]);
        assert!(!is_zero(&[], 1.0));
    }
}
