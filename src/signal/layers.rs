//! Every layer of a shot, formed once and shared by the channels that have it.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use super::channel::ChannelSignal;
use super::keyed::{KeyedCurve, Outside};
use super::retiming::Retiming;
use super::sources::{SourceKind, Sources};
use super::term::Term;
use super::time_map::TimeMap;
use super::{blended, cycle, drift, minimum_jerk, monotone, natural_cubic};
use crate::bounds::{Allowance, Budget};
use crate::motion::quintic::Node;
use crate::motion::signal::{Signal, SignalError};
use crate::motion::stay_near::Fit;
use crate::shot::{Key, Shape, Shot, Track};
use crate::stage::{ChannelId, GroupId, Stage};

/// Choreography times by the indices of the retimes that make them.
type Times = BTreeMap<Vec<usize>, Option<Arc<Retiming>>>;

/// The layers of a shot.
#[derive(Debug)]
pub(crate) struct Layers {
    tracks: Vec<Arc<dyn Signal>>,
    recordings: Vec<Arc<dyn Signal>>,
    cycles: Vec<Arc<dyn Signal>>,
    drifts: Vec<Arc<dyn Signal>>,
    maps: Arc<Maps>,
    /// By the retimes that concern a group, as far as they were asked for: most groups have the same.
    times: Arc<Mutex<Times>>,
    /// Of the first stage and shot that a signal was asked for: one value of layers belongs to one shot.
    sources: OnceLock<Arc<Sources>>,
    /// By channel, as far as they were asked for: the axes of a mechanism and of an aim share them.
    signals: Mutex<BTreeMap<ChannelId, ChannelSignal>>,
}

impl Layers {
    /// Forms the layers of `shot`; those that a shot before it on an equal stage has as well are the very same.
    ///
    /// # Errors
    /// Numbers that overflow, and recordings that cannot be followed or not within the budget, with the channel they belong to.
    pub(crate) fn of(shot: &Shot, budget: Budget, before: Option<(&Shot, &Layers)>) -> Result<Layers, (ChannelId, SignalError)> {
        let (start, was) = (shot.cycle_start(), before.map_or(f64::NAN, |(shot, _)| shot.cycle_start()));
        let mut layers = Layers {
            tracks: Vec::with_capacity(shot.tracks().len()),
            recordings: Vec::with_capacity(shot.recordings().len()),
            cycles: Vec::new(),
            drifts: Vec::new(),
            maps: Arc::new(Maps::of(shot)),
            times: Arc::default(),
            sources: OnceLock::new(),
            signals: Mutex::default(),
        };
        if let Some((_, known)) = before.filter(|(old, _)| old.retimes() == shot.retimes()) {
            (layers.maps, layers.times) = (Arc::clone(&known.maps), Arc::clone(&known.times));
        }
        let mut known = Known::new(before.map(|(old, known)| (old.tracks(), known.tracks.as_slice())));
        for track in shot.tracks() {
            let same = known.of(|old| old == track);
            layers.tracks.push(same.map_or_else(|| of_track(track), Ok).map_err(|e| (track.channel(), e))?);
        }
        let mut known = Known::new(before.map(|(old, known)| (old.recordings(), known.recordings.as_slice())));
        let mut allowance = Allowance::new(budget);
        for recording in shot.recordings() {
            let same = known.of(|old| recording.is_as(old));
            let curve = recording.fit(&mut allowance).map_err(SignalError::from);
            // Outside it goes straight on, which is a hold where its ends are at rest.
            let formed = |fit: &Fit| Ok(Arc::new(KeyedCurve::through_nodes(&fit.nodes, Outside::Straight)?) as Arc<dyn Signal>);
            let layer = curve.and_then(|fit| same.map_or_else(|| formed(fit), Ok));
            layers.recordings.push(layer.map_err(|e| (recording.channel(), e))?);
        }
        let mut known = Known::new(before.map(|(old, known)| (old.cycles(), known.cycles.as_slice())));
        for cycle in shot.cycles() {
            let from = cycle.call().start.unwrap_or(start);
            let same = known.of(|old| old == cycle && old.call().start.unwrap_or(was) == from);
            let formed = || cycle::Beat::new(cycle, from).map(|beat| Arc::new(beat) as Arc<dyn Signal>);
            layers.cycles.push(same.map_or_else(formed, Ok).map_err(|e| (cycle.channel(), e))?);
        }
        let mut known = Known::new(before.map(|(old, known)| (old.drifts(), known.drifts.as_slice())));
        for drift in shot.drifts() {
            let from = drift.call().start.unwrap_or(start);
            let same = known.of(|old| old == drift && old.call().start.unwrap_or(was) == from);
            layers.drifts.push(same.unwrap_or_else(|| Arc::new(drift::Wander::new(drift, from))));
        }
        Ok(layers)
    }

    /// The layers of the same shot with one track replaced by another.
    ///
    /// # Errors
    /// As [`Layers::of`].
    pub(crate) fn with_track(&self, index: usize, track: &Track) -> Result<Layers, (ChannelId, SignalError)> {
        let formed = of_track(track).map_err(|e| (track.channel(), e))?;
        let mut tracks = self.tracks.clone();
        if let Some(slot) = tracks.get_mut(index) {
            *slot = formed;
        }
        Ok(Layers {
            tracks,
            recordings: self.recordings.clone(),
            cycles: self.cycles.clone(),
            drifts: self.drifts.clone(),
            maps: Arc::clone(&self.maps),
            times: Arc::clone(&self.times),
            sources: self.sources.clone(),
            signals: Mutex::default(),
        })
    }

    /// The same layers for another shot that differs in copies and retimes alone.
    pub(crate) fn with_shot(&self, shot: &Shot) -> Layers {
        Layers {
            tracks: self.tracks.clone(),
            recordings: self.recordings.clone(),
            cycles: self.cycles.clone(),
            drifts: self.drifts.clone(),
            maps: Arc::new(Maps::of(shot)),
            times: Arc::default(),
            sources: OnceLock::new(),
            signals: Mutex::default(),
        }
    }

    /// Which layers drive which channel.
    pub(crate) fn sources(&self, stage: &Stage, shot: &Shot) -> &Sources {
        self.sources.get_or_init(|| Arc::new(Sources::of(stage, shot)))
    }

    /// The choreography time of a group; `None` where it is film time.
    #[must_use]
    pub(crate) fn time_of(&self, group: GroupId) -> Option<Arc<Retiming>> {
        let (all, listed) = (self.maps.of_all.iter(), self.maps.of.get(&group).into_iter().flatten());
        let mut indices: Vec<usize> = all.chain(listed).copied().collect();
        indices.sort_unstable();
        let mut known = self.times.lock().unwrap_or_else(PoisonError::into_inner);
        let maps = |indices: &Vec<usize>| indices.iter().filter_map(|i| self.maps.list.get(i).cloned()).collect();
        let make = |indices: &Vec<usize>| Retiming::of(maps(indices)).map(Arc::new);
        known.entry(indices).or_insert_with_key(make).clone()
    }

    /// The choreography time of a channel's group.
    #[must_use]
    pub(crate) fn time_of_channel(&self, stage: &Stage, channel: ChannelId) -> Option<Arc<Retiming>> {
        group_of(stage, channel).and_then(|group| self.time_of(group))
    }

    /// The choreography time of what these channels drive together: that of the first one's group.
    #[must_use]
    pub(crate) fn time_of_channels(&self, stage: &Stage, channels: &[ChannelId]) -> Option<Arc<Retiming>> {
        channels.first().and_then(|channel| self.time_of_channel(stage, *channel))
    }

    /// The signal of one channel.
    ///
    /// # Errors
    /// More layers than can be meant.
    pub(crate) fn signal(&self, stage: &Stage, shot: &Shot, channel: ChannelId) -> Result<ChannelSignal, SignalError> {
        let known = |of: &Layers| of.signals.lock().unwrap_or_else(PoisonError::into_inner).get(&channel).cloned();
        if let Some(signal) = known(self) {
            return Ok(signal);
        }
        let mut terms = Vec::new();
        for source in self.sources(stage, shot).on(channel)? {
            let layer = match source.kind {
                SourceKind::Track => self.tracks.get(source.index),
                SourceKind::Recording => self.recordings.get(source.index),
                SourceKind::Cycle => self.cycles.get(source.index),
                SourceKind::Drift => self.drifts.get(source.index),
                SourceKind::Own => shot.own_signals().get(source.index).map(|(_, signal)| signal),
            };
            terms.extend(layer.map(|layer| Term { layer: Arc::clone(layer), delay: source.delay, scale: source.scale }));
        }
        let time = self.time_of_channel(stage, channel);
        let signal = ChannelSignal::new(stage.channel_rest(channel), terms, time);
        self.signals.lock().unwrap_or_else(PoisonError::into_inner).insert(channel, signal.clone());
        Ok(signal)
    }
}

/// Layers as signals, in the order of the shot.
type Formed<'a> = &'a [Arc<dyn Signal>];

/// Layers of one kind that are formed already, looked through in their order.
struct Known<'a, L> {
    list: &'a [L],
    formed: Formed<'a>,
    /// Where the next one is expected.
    next: usize,
}

impl<'a, L> Known<'a, L> {
    fn new(before: Option<(&'a [L], Formed<'a>)>) -> Self {
        let (list, formed) = before.unwrap_or_default();
        Known { list, formed, next: 0 }
    }

    /// The formed layer that is as asked: an edit adds or removes few, so it is not far from where it was.
    fn of(&mut self, is_it: impl Fn(&L) -> bool) -> Option<Arc<dyn Signal>> {
        let from = self.next.saturating_sub(NEAR);
        let found = self.list.iter().skip(from).take(2 * NEAR).position(is_it);
        self.next = found.map_or(self.next, |n| from + n) + 1;
        self.formed.get(from + found?).cloned()
    }
}

/// How far from its old place in the list a layer is looked for.
const NEAR: usize = 16;

/// The retimes that change something, by their places in the shot's list, and whom they concern.
#[derive(Debug, Default)]
struct Maps {
    list: BTreeMap<usize, Arc<TimeMap>>,
    of_all: Vec<usize>,
    of: BTreeMap<GroupId, Vec<usize>>,
}

impl Maps {
    fn of(shot: &Shot) -> Maps {
        let mut maps = Maps::default();
        for (i, retime) in shot.retimes().iter().enumerate() {
            let Some(map) = TimeMap::of(retime) else { continue };
            maps.list.insert(i, Arc::new(map));
            match retime.groups() {
                None => maps.of_all.push(i),
                Some(groups) => groups.iter().for_each(|g| maps.of.entry(*g).or_default().push(i)),
            }
        }
        maps
    }
}

/// The group of a channel, by its name.
fn group_of(stage: &Stage, channel: ChannelId) -> Option<GroupId> {
    stage.channel_name(channel).split_once('.').and_then(|(group, _)| stage.group_of_name(group))
}

/// The layer of a track.
fn of_track(track: &Track) -> Result<Arc<dyn Signal>, SignalError> {
    Ok(match track.shape() {
        Shape::MinimumJerk => Arc::new(minimum_jerk::through(track.keys())?),
        Shape::Monotone => Arc::new(monotone::through(track.keys())?),
        Shape::NaturalCubic => Arc::new(natural_cubic::through(track.keys())?),
        Shape::StopAtKeys => Arc::new(stop_at_keys(track.keys())?),
        Shape::Linear | Shape::Cosine | Shape::CatmullRom => Arc::new(blended::Blended::new(track.keys(), track.shape(), track.blend())),
    })
}

/// Rest-to-rest quintics between neighbouring keys.
fn stop_at_keys(keys: &[Key]) -> Result<KeyedCurve, SignalError> {
    let nodes: Vec<_> = keys.iter().map(|k| (k.frame, Node::rest(k.value))).collect();
    KeyedCurve::through_nodes(&nodes, Outside::Hold)
}
