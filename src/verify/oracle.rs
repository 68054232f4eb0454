//! Where every channel and every axis is at a frame time: a slow, obvious evaluation of the shot.
//!
//! What: the sum of a channel's tracks, cycles and drifts, and of what copies hand on, later and scaled, at its group's choreography time; its rest where nothing drives it. An axis is its own
//! channel, or follows from its mechanism's channels by the stage's geometry in plain numbers. Then steps by the formula of the stage file. Shares no code
//! with the compiler but the stage. The angles of an aim are found by trial; where that does not end, [`Oracle::is_known`] is false for its axes.
//! Measured positions may be laid over it: then each axis is where it was measured at the middle of a frame, as far from its plan all through that frame, and channels follow from their axes.
//! Invariant: [`Oracle::floor`] is no less than two honest computations of a position may differ. Limits: positions only.

use core::cell::{Cell, RefCell};
use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::rc::Rc;

use super::beat::Beat;
use super::choreography::Choreography;
use super::overlay::{MEASURED, Overlay};
use super::pull::Follow;
use super::recorded::Recorded;
use super::shapes::Course;
use super::sight::Sight;
pub(super) use super::state::State;
use super::wander::Wander;
use crate::number::Jet;
use crate::shot::{Pass, Shot};
use crate::stage::{Axis, AxisId, ChannelId, Driver, GroupId, Machine, Stage};

/// Layers of one channel that are looked at; the compiler refuses more.
const MOST_LAYERS: usize = 10_000;

/// What differs between two computations of the same curve, as a share of its values.
///
/// Sums of a few products are good to a few 2^-53 of the terms; the solutions of spline systems lose about the square of the ratio of neighbouring spans
/// (seen against exact fractions). 1e-10 leaves room for spans of 1 to 1000; where keys crowd more than that a fault may be the compiler's own rounding.
/// On an axis of a million steps it is a ten-thousandth of a step.
const ARITHMETIC: f64 = 1e-10;

/// Rounding of one evaluation, as a share of the terms added up: some fifty of 2^-53.
const NOISE: f64 = 5e-15;

/// The same of an angle that is searched for, deg: a hundredth of a millionth of a millionth of a right angle, and room.
const SEARCHED: f64 = 1e-9;

/// The same of a focus distance, as a share of it: the angles of the camera are searched for, and coordinates of a stage of ten metres are added up.
const FOLLOWED: f64 = 1e-9;

/// A curve fitted to its signal is within this part of a step of it.
pub(super) const FITTED: f64 = 1.0 / 16.0;

/// Instants that are remembered: all of a frame, those between included.
const REMEMBERED: usize = 48;

#[derive(Debug)]
enum Layer {
    Course(Course),
    Recorded(Recorded),
    Beat(Beat),
    Wander(Wander),
}

#[derive(Debug)]
struct Term {
    layer: usize,
    delay: f64,
    scale: f64,
}

#[derive(Debug)]
struct Channel {
    rest: f64,
    /// Index of its group.
    group: usize,
    terms: Vec<Term>,
    /// Largest values of its layers, together, in units.
    size: f64,
    /// True where a compiled curve takes the signal over instead of fitting it.
    exact: bool,
}

/// The evaluation of a shot.
#[derive(Debug)]
pub(super) struct Oracle<'a> {
    stage: &'a Stage,
    layers: Vec<Layer>,
    /// By the channels' own order.
    channels: Vec<Channel>,
    /// By group.
    times: Vec<Choreography>,
    sights: Vec<Sight>,
    follows: Vec<Follow>,
    /// For each sight, where its search ended last: the next one starts there.
    last: Vec<Cell<Option<[f64; 2]>>>,
    /// Channels whose angles could not be found somewhere.
    lost: RefCell<BTreeSet<ChannelId>>,
    recent: RefCell<VecDeque<Rc<State>>>,
    /// What was measured.
    measured: Overlay,
}

impl<'a> Oracle<'a> {
    /// The oracle of a shot; `recorded` are the curves of its recordings, in order.
    ///
    /// # Errors
    /// A layer whose equations have no finite solution, or more layers than can be meant, in words.
    pub(super) fn new(stage: &'a Stage, shot: &Shot, recorded: Vec<Recorded>) -> Result<Oracle<'a>, String> {
        let start = shot.written_cycle_start().unwrap_or(shot.frames().first() as f64);
        let named = |channel: ChannelId, what: &str| format!("{what} of {} has no finite solution", stage.channel_name(channel));
        let mut layers = Vec::new();
        let mut owners = Vec::new();
        for t in shot.tracks() {
            layers.push(Layer::Course(Course::new(t).ok_or_else(|| named(t.channel(), "a track"))?));
            owners.push((t.channel(), t.call()));
        }
        for (r, curve) in shot.recordings().iter().zip(recorded) {
            layers.push(Layer::Recorded(curve));
            owners.push((r.channel(), r.call()));
        }
        for c in shot.cycles() {
            layers.push(Layer::Beat(Beat::new(c, c.call().start.unwrap_or(start)).ok_or_else(|| named(c.channel(), "a cycle"))?));
            owners.push((c.channel(), c.call()));
        }
        for d in shot.drifts() {
            layers.push(Layer::Wander(Wander::new(d, d.call().start.unwrap_or(start))));
            owners.push((d.channel(), d.call()));
        }
        let mut direct: BTreeMap<ChannelId, Vec<Term>> = BTreeMap::new();
        for (layer, (owner, call)) in owners.iter().enumerate() {
            direct.entry(*owner).or_default().push(Term { layer, delay: call.delay, scale: call.scale });
        }
        let times: Vec<Choreography> = stage.group_ids().map(|g| Choreography::of(shot, g)).collect();
        let ids: BTreeSet<ChannelId> = stage.channel_names().iter().filter_map(|n| stage.channel(n)).collect();
        let mut channels = Vec::new();
        // A driven axis has a number among the channels, too, though it is none.
        for id in ids {
            while channels.len() < id.index() {
                channels.push(Channel { rest: f64::NAN, group: 0, terms: Vec::new(), size: 0.0, exact: true });
            }
            let mut terms = Vec::new();
            handed_on(stage, shot, &direct, id, (0.0, 1.0), &mut terms)?;
            let size = terms.iter().map(|t: &Term| t.scale.abs() * layers.get(t.layer).map_or(0.0, Layer::size)).sum();
            let group = stage.channel_name(id).split_once('.').and_then(|(g, _)| stage.group_of_name(g)).map_or(0, GroupId::index);
            let exact = match terms.as_slice() {
                [] => true,
                _ if !times.get(group).is_none_or(Choreography::is_only_later) => false,
                [only] => layers.get(only.layer).is_some_and(Layer::is_polynomial),
                _ => false,
            };
            channels.push(Channel { rest: stage.channel_rest(id), group, terms, size, exact });
        }
        let sights: Vec<Sight> = shot.aims().iter().map(Sight::new).collect();
        let follows = shot.focuses().iter().map(Follow::new).collect();
        let last = sights.iter().map(|_| Cell::new(None)).collect();
        Ok(Oracle {
            stage,
            layers,
            channels,
            times,
            sights,
            follows,
            last,
            lost: RefCell::new(BTreeSet::new()),
            recent: RefCell::new(VecDeque::new()),
            measured: Overlay { first: shot.frames().first() as f64, off: Vec::new() },
        })
    }

    /// The same with each axis so far from its plan, for each frame from the first on; an empty list for an axis that was not measured.
    pub(super) fn with_measured(self, measured: Vec<Vec<f64>>) -> Oracle<'a> {
        Oracle { measured: Overlay { off: measured, ..self.measured }, recent: RefCell::new(VecDeque::new()), ..self }
    }

    /// False for an axis that an aim turns, where its angle could not be found at some instant asked for so far.
    pub(super) fn is_known(&self, axis: AxisId) -> bool {
        let lost = self.lost.borrow();
        lost.is_empty() || self.stage.channels_of(axis).iter().all(|c| !lost.contains(c))
    }

    /// False for a channel of that kind.
    pub(super) fn is_channel_known(&self, channel: ChannelId) -> bool {
        !self.lost.borrow().contains(&channel)
    }

    /// Everything at frame time `t`. What was asked for lately is remembered.
    pub(super) fn state(&self, t: f64) -> Rc<State> {
        if let Some(known) = self.recent.borrow().iter().find(|s| s.t == t) {
            return Rc::clone(known);
        }
        let state = Rc::new(self.evaluated(t));
        let mut recent = self.recent.borrow_mut();
        if recent.len() >= REMEMBERED {
            recent.pop_back();
        }
        recent.push_front(Rc::clone(&state));
        state
    }

    fn evaluated(&self, t: f64) -> State {
        let times: Vec<f64> = self.times.iter().map(|time| time.at(t)).collect();
        let time = |group: usize| times.get(group).copied().unwrap_or(t);
        let mut channels: Vec<f64> = self.channels.iter().map(|c| self.layered(c, time(c.group))).collect();
        let layered = |c: ChannelId| channels.get(c.index()).copied().unwrap_or(f64::NAN);
        let shifted = |c: ChannelId, by: f64| self.channels.get(c.index()).map_or(f64::NAN, |c| self.layered(c, time(c.group) + by));
        let mut turned: Vec<(ChannelId, f64)> = Vec::new();
        for (sight, last) in self.sights.iter().zip(&self.last) {
            let at = time(sight.camera.index());
            let found = sight.target(self.stage, at, &shifted).and_then(|target| sight.angles(self.stage, target, last.get(), &layered));
            last.set(found);
            if found.is_none() {
                self.lost.borrow_mut().extend(sight.channels);
            }
            turned.extend(sight.channels.into_iter().zip(found.unwrap_or([f64::NAN; 2])));
        }
        for (channel, angle) in turned {
            if let Some(slot) = channels.get_mut(channel.index()) {
                *slot = angle;
            }
        }
        let mut distances: Vec<(ChannelId, f64)> = Vec::new();
        for follow in &self.follows {
            let value = |c: ChannelId| channels.get(c.index()).copied().unwrap_or(f64::NAN);
            let found = follow.distance(self.stage, time(follow.camera.index()), &value);
            if found.is_none() {
                self.lost.borrow_mut().insert(follow.channel);
            }
            distances.push((follow.channel, found.unwrap_or(f64::NAN)));
        }
        for (channel, distance) in distances {
            if let Some(slot) = channels.get_mut(channel.index()) {
                *slot = distance;
            }
        }
        let mut state = State { t, channels, axes: Vec::with_capacity(self.stage.axes().len()) };
        for id in self.stage.axis_ids() {
            let position = match self.stage.driver(id) {
                Driver::Own(channel) => state.channel(channel),
                Driver::Machine(machine, _) if machine.channels().iter().all(|c| !self.is_choreographed(*c)) => self.stage.axis(id).home(),
                Driver::Machine(machine, which) => moved(machine, which, &|c| state.channel(c)),
            };
            state.axes.push(position);
        }
        self.measured.lay_over(self.stage, &mut state);
        state
    }

    /// How far, in steps, an honest position of this axis may be from the one in `state`: a sixteenth of a step where the curve is fitted,
    /// the rounding of the arithmetic, and that of the time at which the layers are asked.
    pub(super) fn floor(&self, axis: AxisId, state: &State) -> f64 {
        let a = self.stage.axis(axis);
        let position = state.axis(axis);
        let known = |c: ChannelId| self.channels.get(c.index());
        let (exact, size, timing) = match self.stage.driver(axis) {
            // A search ends within 1e-10 of a right angle or so; lengths of the stage's size go into it.
            Driver::Own(channel) if self.is_turned(channel) => (false, 360.0, 0.0),
            Driver::Own(channel) if self.is_followed(channel) => (false, 0.0, FOLLOWED * position),
            Driver::Own(channel) => known(channel).map_or((true, 0.0, 0.0), |c| (c.exact, c.size, self.timing(c, state.t))),
            // Geometry is computed with lengths of the order of the axis's travel.
            Driver::Machine(machine, which) => {
                let later = |c: ChannelId| {
                    state.channel(c)
                        + if self.is_followed(c) { FOLLOWED * state.channel(c) } else { known(c).map_or(0.0, |c| self.timing(c, state.t)) }
                };
                let timing = (moved(machine, which, &later) - position).abs();
                let timing = if timing.is_nan() { 0.0 } else { timing };
                (false, a.travel().lower.abs().max(a.travel().upper.abs()), timing)
            }
        };
        let fitted = if exact { 0.0 } else { FITTED };
        let floor = fitted + (ARITHMETIC * size.max(position.abs()).max(a.home().abs()) + timing) * steps_per_unit(a);
        // What was measured was written with six decimals, and taken from a plan that may be off at the middle of the frame as well as here.
        if self.measured.has(axis) { 2.0 * floor + MEASURED * steps_per_unit(a) } else { floor }
    }

    /// How far, in its unit, the rounding of one evaluation may move a position: noise, of which differences are made. What is wrong in the same way at
    /// neighbouring instants is not counted.
    pub(super) fn grain(&self, axis: AxisId, state: &State) -> f64 {
        let timed = |c: ChannelId| {
            if self.is_followed(c) {
                FOLLOWED * state.channel(c)
            } else {
                self.channels.get(c.index()).map_or(0.0, |c| NOISE * c.size + self.timing(c, state.t))
            }
        };
        let a = self.stage.axis(axis);
        let reach = a.travel().lower.abs().max(a.travel().upper.abs());
        match self.stage.driver(axis) {
            Driver::Own(channel) if self.is_turned(channel) => SEARCHED,
            Driver::Own(channel) => NOISE * state.axis(axis).abs() + timed(channel),
            Driver::Machine(machine, which) => {
                let later = moved(machine, which, &|c| state.channel(c) + timed(c));
                100.0 * NOISE * reach + (later - state.axis(axis)).abs()
            }
        }
    }

    /// How far, in its unit, an honest value of each of these channels may be from the one in `state`: what moves its axes by their floors.
    pub(super) fn rooms(&self, channels: &[ChannelId], state: &State) -> Vec<(ChannelId, f64)> {
        let units = |axis: AxisId| self.floor(axis, state) / steps_per_unit(self.stage.axis(axis));
        let mut rooms = Vec::with_capacity(channels.len());
        for channel in channels.iter().filter_map(|c| self.stage.own_axis(*c).map(|axis| (*c, axis))) {
            rooms.push((channel.0, units(channel.1)));
        }
        for machine in self.stage.machines().iter().filter(|m| m.channels().iter().any(|c| channels.contains(c))) {
            let floors: Vec<f64> = machine.axes().iter().map(|a| units(*a)).collect();
            for (channel, row) in machine.channels().iter().zip(answers(machine, state)).filter(|(c, _)| channels.contains(c)) {
                let by_axes: f64 = row.iter().zip(&floors).map(|(slope, floor)| slope.abs() * floor).sum();
                rooms.push((*channel, by_axes + ARITHMETIC * state.channel(*channel).abs()));
            }
        }
        rooms
    }

    /// True where an aim or a layer drives it, or an axis that it follows from was measured.
    pub(super) fn is_driven(&self, channel: ChannelId) -> bool {
        self.is_choreographed(channel) || self.measured.moves(self.stage, channel)
    }

    /// True where its value may be off: it is driven, or comes from axes that another channel of its mechanism moves.
    pub(super) fn may_be_off(&self, channel: ChannelId) -> bool {
        let beside = self.stage.machines().iter().filter(|m| m.channels().contains(&channel)).flat_map(|m| m.channels());
        core::iter::once(&channel).chain(beside).any(|c| self.is_driven(*c))
    }

    fn is_choreographed(&self, channel: ChannelId) -> bool {
        self.is_turned(channel) || self.is_followed(channel) || self.channels.get(channel.index()).is_some_and(|c| !c.terms.is_empty())
    }

    /// True for an axis whose curve is fitted to its signal.
    pub(super) fn is_fitted(&self, axis: AxisId) -> bool {
        match self.stage.driver(axis) {
            Driver::Own(channel) => {
                self.is_turned(channel) || self.is_followed(channel) || self.channels.get(channel.index()).is_some_and(|c| !c.exact)
            }
            Driver::Machine(machine, _) => machine.channels().iter().any(|c| self.is_driven(*c)),
        }
    }

    /// The value of a channel in a pass.
    pub(super) fn value(&self, pass: &Pass, state: &State, channel: ChannelId) -> f64 {
        if self.stands(pass, channel) { self.stage.channel_rest(channel) } else { state.channel(channel) }
    }

    /// True for a channel whose axes a pass parks.
    pub(super) fn stands(&self, pass: &Pass, channel: ChannelId) -> bool {
        !pass.park().is_empty() && self.stage.axes_of(channel).iter().any(|a| pass.parks(self.stage, *a))
    }

    fn is_turned(&self, channel: ChannelId) -> bool {
        self.sights.iter().any(|s| s.channels.contains(&channel))
    }

    fn is_followed(&self, channel: ChannelId) -> bool {
        self.follows.iter().any(|f| f.channel == channel)
    }

    /// A channel's layers together, without aims and focuses, at choreography time `t` of its group.
    fn layered(&self, channel: &Channel, t: f64) -> f64 {
        if channel.terms.is_empty() {
            return channel.rest;
        }
        channel.terms.iter().map(|term| term.scale * self.layers.get(term.layer).map_or(f64::NAN, |l| l.at(t - term.delay))).sum()
    }

    /// How much the rounding of time may move a channel.
    fn timing(&self, channel: &Channel, t: f64) -> f64 {
        let time = self.times.get(channel.group);
        let (t, size) = time.map_or((t, t.abs()), |time| (time.at(t), time.size(t)));
        let term =
            |term: &Term| term.scale.abs() * self.layers.get(term.layer).map_or(0.0, |l| l.timing(t - term.delay, size + term.delay.abs()));
        channel.terms.iter().map(term).sum()
    }
}

/// Position of a mechanism's axis; NaN where it cannot stand so.
fn moved(machine: &Machine, which: usize, value: &dyn Fn(ChannelId) -> f64) -> f64 {
    let values = machine.channels().iter().map(|c| Jet::constant(value(*c)));
    machine.axis(which, values).map_or(f64::NAN, |position| position.p)
}

/// How each channel of a mechanism answers to each of its axes, by small trial changes of the channels; empty where there is no answer.
fn answers(machine: &Machine, state: &State) -> Vec<Vec<f64>> {
    /// Trial change, mm or deg.
    const TRIAL: f64 = 1e-4;
    let slope = |axis: usize, channel: ChannelId| {
        let with = |by: f64| moved(machine, axis, &|c| state.channel(c) + if c == channel { by } else { 0.0 });
        (with(TRIAL) - with(-TRIAL)) / (2.0 * TRIAL)
    };
    match machine.channels() {
        [only] => vec![vec![1.0 / slope(0, *only)]],
        [a, b, c] => {
            let [p, q, r] = [0, 1, 2].map(|axis| [*a, *b, *c].map(|channel| slope(axis, channel)));
            let (qr, rp, pq) = (cross(q, r), cross(r, p), cross(p, q));
            let whole: f64 = p.iter().zip(qr).map(|(x, y)| x * y).sum();
            // The inverse of the matrix with rows p, q, r has the columns q x r, r x p and p x q over their triple product.
            let rows = qr.into_iter().zip(rp).zip(pq);
            rows.map(|((x, y), z)| vec![x / whole, y / whole, z / whole]).collect()
        }
        _ => Vec::new(),
    }
}

fn cross([a, b, c]: [f64; 3], [x, y, z]: [f64; 3]) -> [f64; 3] {
    [b * z - c * y, c * x - a * z, a * y - b * x]
}

impl Layer {
    fn at(&self, t: f64) -> f64 {
        match self {
            Layer::Course(c) => c.at(t),
            Layer::Recorded(r) => r.at(t),
            Layer::Beat(b) => b.at(t),
            Layer::Wander(w) => w.at(t),
        }
    }

    /// True where a curve of quintic pieces has it exactly.
    fn is_polynomial(&self) -> bool {
        match self {
            Layer::Course(c) => c.is_polynomial(),
            Layer::Recorded(_) => true,
            Layer::Beat(_) | Layer::Wander(_) => false,
        }
    }

    fn size(&self) -> f64 {
        match self {
            Layer::Course(c) => c.size(),
            Layer::Recorded(r) => r.size(),
            Layer::Beat(b) => b.size(),
            Layer::Wander(w) => w.size(),
        }
    }

    /// How much it may move where time is rounded: at `t`, that came from sums as large as `from`.
    fn timing(&self, t: f64, from: f64) -> f64 {
        /// A few roundings of 2^-53.
        const ROUNDING: f64 = 1.0 / 1_125_899_906_842_624.0;
        ROUNDING
            * match self {
                Layer::Course(c) => c.steepest() * from.max(t.abs()),
                Layer::Recorded(r) => r.steepest() * from.max(t.abs()),
                Layer::Beat(b) => b.timing(t, from),
                Layer::Wander(w) => w.timing(t, from),
            }
    }
}

/// What drives a channel: its own layers, then those of the channels it is a copy of. Ends, since the shot's copies run in no circle.
fn handed_on(
    stage: &Stage,
    shot: &Shot,
    direct: &BTreeMap<ChannelId, Vec<Term>>,
    channel: ChannelId,
    (delay, scale): (f64, f64),
    out: &mut Vec<Term>,
) -> Result<(), String> {
    let own = direct.get(&channel).into_iter().flatten();
    out.extend(own.map(|own| Term { layer: own.layer, delay: own.delay + delay, scale: own.scale * scale }));
    if out.len() > MOST_LAYERS {
        return Err(format!("more than {MOST_LAYERS} layers drive {}", stage.channel_name(channel)));
    }
    let Some((group, name)) = stage.channel_name(channel).split_once('.') else { return Ok(()) };
    let here = stage.group_of_name(group);
    for copy in shot.copies().iter().filter(|c| Some(c.to()) == here) {
        let from = stage.group_name(copy.from());
        if let Some(source) = stage.channel(&format!("{from}.{name}")) {
            handed_on(stage, shot, direct, source, (delay + copy.delay(), scale * copy.scale_of(name)), out)?;
        }
    }
    Ok(())
}

/// Steps of one unit, positive: full steps x microsteps x gear ratio / travel per revolution.
pub(super) fn steps_per_unit(axis: &Axis) -> f64 {
    let d = axis.drive();
    f64::from(d.full_steps_per_rev()) * f64::from(d.microsteps()) * d.gear_ratio() / d.travel_per_rev()
}

/// Steps from home of a position, not rounded.
pub(super) fn steps(axis: &Axis, position: f64) -> f64 {
    let steps = (position - axis.home()) * steps_per_unit(axis);
    if axis.drive().is_reversed() { -steps } else { steps }
}
