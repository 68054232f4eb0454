//! Which layers drive a channel, directly, through routines and through copies, and by how much later and larger.
//!
//! What: the layers of every channel are found once, each group after the groups that are copied onto it: a chain of copies costs a step a link.
//! Invariant: copies run in no circle (the shot is checked). Direct layers come first, in the order of the file, then those through one copy, through two, and so on.
//! Limits: at most [`MOST_LAYERS`] on one channel and [`MOST_LAYERS_TOGETHER`] on all: beyond that the channel has an error instead of layers.

use std::collections::BTreeMap;

use crate::bounds::{MOST_LAYERS, MOST_LAYERS_TOGETHER};
use crate::motion::signal::SignalError;
use crate::shot::routine::Call;
use crate::shot::{Copy, Shot};
use crate::stage::{ChannelId, Stage};

/// Kind of a layer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum SourceKind {
    /// A keyed track.
    Track,
    /// Samples to stay near.
    Recording,
    /// A beat.
    Cycle,
    /// Wandering.
    Drift,
    /// A caller's own signal.
    Own,
}

/// A layer of the shot as one channel has it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Source {
    /// Kind.
    pub kind: SourceKind,
    /// Index within the shot's list of that kind.
    pub index: usize,
    /// Frames by which it runs later.
    pub delay: f64,
    /// Factor on its value.
    pub scale: f64,
    /// Index of the copy that hands it on to this channel's group; `None` where the channel is its own.
    pub copy: Option<usize>,
    /// Copies between its own channel and this one.
    copies: u32,
}

/// The layers of every channel of a shot.
#[derive(Debug)]
pub(crate) struct Sources {
    by_channel: BTreeMap<ChannelId, Result<Vec<Source>, SignalError>>,
    together: usize,
}

impl Sources {
    /// Finds the layers of every channel that has some.
    #[must_use]
    pub(crate) fn of(stage: &Stage, shot: &Shot) -> Sources {
        let mut direct: BTreeMap<ChannelId, Vec<Source>> = BTreeMap::new();
        let mut add = |channel, kind, index, Call { delay, scale, .. }: Call| {
            direct.entry(channel).or_default().push(Source { kind, index, delay, scale, copy: None, copies: 0 });
        };
        shot.tracks().iter().enumerate().for_each(|(i, t)| add(t.channel(), SourceKind::Track, i, t.call()));
        shot.recordings().iter().enumerate().for_each(|(i, r)| add(r.channel(), SourceKind::Recording, i, r.call()));
        shot.cycles().iter().enumerate().for_each(|(i, c)| add(c.channel(), SourceKind::Cycle, i, c.call()));
        shot.drifts().iter().enumerate().for_each(|(i, d)| add(d.channel(), SourceKind::Drift, i, d.call()));
        shot.own_signals().iter().enumerate().for_each(|(i, (c, _))| add(*c, SourceKind::Own, i, Call::default()));
        Search::of(stage, shot, direct).finish()
    }

    /// Layers of all channels together: what finding them costs.
    #[must_use]
    pub(crate) fn together(&self) -> usize {
        self.together
    }

    /// The layers of `channel`.
    ///
    /// # Errors
    /// More of them than can be meant.
    pub(crate) fn on(&self, channel: ChannelId) -> Result<&[Source], SignalError> {
        match self.by_channel.get(&channel) {
            None => Ok(&[]),
            Some(Ok(layers)) => Ok(layers),
            Some(Err(error)) => Err(error.clone()),
        }
    }
}

/// Channels of one group by their name within it.
type Locals<'a> = BTreeMap<&'a str, ChannelId>;

struct Search<'a> {
    /// By group.
    channels: Vec<Locals<'a>>,
    /// Copies onto each group, in the order of the file.
    onto: Vec<Vec<(usize, &'a Copy)>>,
    direct: BTreeMap<ChannelId, Vec<Source>>,
    found: BTreeMap<ChannelId, Result<Vec<Source>, SignalError>>,
    together: usize,
}

impl<'a> Search<'a> {
    fn of(stage: &'a Stage, shot: &'a Shot, direct: BTreeMap<ChannelId, Vec<Source>>) -> Search<'a> {
        let mut channels: Vec<Locals<'_>> = stage.groups().iter().map(|_| BTreeMap::new()).collect();
        for full in stage.channel_names() {
            let Some((group, local)) = full.split_once('.') else { continue };
            let Some((group, id)) = stage.group_of_name(group).zip(stage.channel(full)) else { continue };
            if let Some(of_group) = channels.get_mut(group.index()) {
                of_group.insert(local, id);
            }
        }
        let mut onto: Vec<Vec<(usize, &Copy)>> = stage.groups().iter().map(|_| Vec::new()).collect();
        for (i, copy) in shot.copies().iter().enumerate() {
            if let Some(list) = onto.get_mut(copy.to().index()) {
                list.push((i, copy));
            }
        }
        Search { channels, onto, direct, found: BTreeMap::new(), together: 0 }
    }

    /// Every group after those it is copied from.
    fn finish(mut self) -> Sources {
        let groups = self.onto.len();
        let mut state = vec![State::New; groups];
        for first in 0..groups {
            let mut waiting = vec![first];
            while let Some(group) = waiting.last().copied() {
                match state.get(group) {
                    Some(State::New) => {
                        set(&mut state, group, State::Open);
                        let from = self.onto.get(group).into_iter().flatten().map(|(_, copy)| copy.from().index());
                        waiting.extend(from.filter(|g| state.get(*g) == Some(&State::New)));
                    }
                    Some(State::Open) => {
                        self.put_together(group);
                        set(&mut state, group, State::Done);
                        waiting.pop();
                    }
                    _ => {
                        waiting.pop();
                    }
                }
            }
        }
        Sources { by_channel: self.found, together: self.together }
    }

    /// The layers of every channel of a group, those of the groups it is copied from being known.
    fn put_together(&mut self, group: usize) {
        let (Some(channels), Some(onto)) = (self.channels.get(group), self.onto.get(group)) else { return };
        for (local, channel) in channels {
            let mut all = self.direct.remove(channel).unwrap_or_default();
            let mut error = None;
            for (i, copy) in onto {
                let there = self.channels.get(copy.from().index()).and_then(|of| of.get(local));
                match there.and_then(|source| self.found.get(source)) {
                    None => {}
                    Some(Err(e)) => error = Some(e.clone()),
                    Some(Ok(layers)) if all.len() + layers.len() <= MOST_LAYERS => {
                        let scale = copy.scale_of(local);
                        let handed_on = |s: &Source| Source {
                            delay: s.delay + copy.delay(),
                            scale: s.scale * scale,
                            copy: Some(*i),
                            copies: s.copies + 1,
                            ..*s
                        };
                        all.extend(layers.iter().map(handed_on));
                    }
                    Some(Ok(_)) => error = Some(SignalError::TooManyLayers { most: MOST_LAYERS }),
                }
            }
            if all.is_empty() && error.is_none() {
                continue;
            }
            all.sort_by_key(|s| s.copies);
            self.together += all.len();
            if error.is_none() && all.len() > MOST_LAYERS {
                error = Some(SignalError::TooManyLayers { most: MOST_LAYERS });
            } else if error.is_none() && self.together > MOST_LAYERS_TOGETHER {
                error = Some(SignalError::TooManyLayersTogether { most: MOST_LAYERS_TOGETHER });
            }
            self.found.insert(*channel, error.map_or(Ok(all), Err));
        }
    }
}

#[derive(Clone, Copy, PartialEq)]
enum State {
    New,
    Open,
    Done,
}

fn set(state: &mut [State], group: usize, to: State) {
    if let Some(slot) = state.get_mut(group) {
        *slot = to;
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::shot::{Drift, Key, Pass, Shape, ShotSpec, Track};
    use crate::stage::{Axis, AxisSpec, GroupSpec, Unit};
    use crate::time::{FrameRate, FrameSpan, Timecode};

    fn sources(groups: usize, drifts: &[usize], copies: &[(usize, usize, f64)]) -> Vec<Result<Vec<Source>, SignalError>> {
        let axis = || Axis::new(AxisSpec::new("x", Unit::Millimetre, [-10.0, 10.0], [1.0; 3])).unwrap();
        let group = |i: usize| GroupSpec { name: format!("g{i}"), axes: vec![axis()] };
        let stage = Stage::new("marsh", 1.0, (0..groups).map(group).collect()).unwrap();
        let (channel, id) =
            (|i: usize| stage.channel(&format!("g{i}.x")).unwrap(), |i: usize| stage.group_of_name(&format!("g{i}")).unwrap());
        let rate = FrameRate::parse("24").unwrap();
        let spec = ShotSpec {
            name: "s".into(),
            frame_rate: rate,
            frames: FrameSpan::new(1, 10).unwrap(),
            timecode_start: Timecode::from_count(0, rate),
            tracks: vec![Track::new(channel(0), Shape::MinimumJerk, None, vec![Key::new(1.0, 0.0)]).unwrap()],
            cycles: vec![],
            drifts: drifts.iter().map(|i| Drift::new(channel(*i), 1, 1.0, 10.0).unwrap()).collect(),
            copies: copies.iter().map(|(a, b, d)| Copy::new(id(*a), id(*b), *d, vec![("x".into(), 2.0)]).unwrap()).collect(),
            passes: vec![Pass::new(&stage, "p", crate::shot::Exposure::Moving, 1.0, 180.0, 0.0, vec![]).unwrap()],
        };
        let shot = Shot::new(&stage, spec).unwrap();
        let all = Sources::of(&stage, &shot);
        (0..groups).map(|i| all.on(channel(i)).map(<[Source]>::to_vec)).collect()
    }

    /// The chain is written backwards: the last group is looked at first.
    #[test]
    fn direct_layers_come_first_then_those_through_ever_more_copies() {
        let all = sources(4, &[0, 2, 3], &[(2, 3, 5.0), (1, 3, 7.0), (0, 1, 1.0), (0, 2, 2.0)]);
        let of = |i: usize| all.get(i).unwrap().clone().unwrap().iter().map(|s| (s.kind, s.index, s.delay, s.scale)).collect::<Vec<_>>();
        use SourceKind::{Drift, Track};
        assert_eq!(of(1), [(Track, 0, 1.0, 2.0), (Drift, 0, 1.0, 2.0)]);
        assert_eq!(of(2), [(Drift, 1, 0.0, 1.0), (Track, 0, 2.0, 2.0), (Drift, 0, 2.0, 2.0)]);
        let far = [(Track, 0, 7.0, 4.0), (Drift, 0, 7.0, 4.0), (Track, 0, 8.0, 4.0), (Drift, 0, 8.0, 4.0)];
        assert_eq!(of(3), [[(Drift, 2, 0.0, 1.0), (Drift, 1, 5.0, 2.0)].as_slice(), &far].concat());
    }

    #[test]
    fn layers_that_double_from_copy_to_copy_end_as_an_error() {
        let doubled: Vec<(usize, usize, f64)> = (0..20).flat_map(|i| [(i, i + 1, 1.0), (i, i + 1, 2.0)]).collect();
        let all = sources(21, &[], &doubled);
        let counts: Vec<Option<usize>> = all.iter().map(|s| s.as_ref().ok().map(Vec::len)).collect();
        // 2^13 layers are kept, 2^14 are not.
        assert_eq!((counts.get(13), counts.get(14), counts.get(20)), (Some(&Some(8192)), Some(&None), Some(&None)));
    }

    #[test]
    fn all_layers_together_have_a_bound() {
        // A thousand layers on the first of 1,100 groups, handed on to all others.
        let drifts = vec![0; 1000];
        let chain: Vec<(usize, usize, f64)> = (0..1100).map(|i| (i, i + 1, 0.0)).collect();
        let all = sources(1101, &drifts, &chain);
        let kept: usize = all.iter().flatten().map(Vec::len).sum();
        assert!(kept <= MOST_LAYERS_TOGETHER && kept > MOST_LAYERS_TOGETHER - 2000, "{kept}");
        assert!(matches!(all.last(), Some(Err(SignalError::TooManyLayersTogether { .. }))));
    }
}
