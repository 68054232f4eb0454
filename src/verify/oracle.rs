//! Where every axis stands at a frame time: a slow, obvious evaluation of the shot.
//!
//! What: the sum of a channel's tracks, cycles and drifts, and of what copies hand on, later and scaled; its rest where nothing drives it. An axis is its own
//! channel, or follows from its mechanism's channels by the stage's geometry in plain numbers. Then steps by the formula of the stage file. Shares no code
//! with the compiler but the stage. The angles of an aim are found by trial;
//! where that does not end, [`Oracle::is_known`] is false for its axes.
//! Limits: positions only; how far two honest computations may differ is said by [`Oracle::floor`].

use std::cell::RefCell;
use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, BTreeSet};

use super::beat::Beat;
use super::shapes::Course;
use super::sight::Sight;
use super::wander::Wander;
use crate::number::Jet;
use crate::shot::Shot;
use crate::stage::{Axis, AxisId, ChannelId, Mover, Stage};

/// Layers of one channel that are looked at; the compiler refuses more.
const MOST_LAYERS: usize = 10_000;

/// What differs between two computations of the same curve, as a share of its values.
///
/// Sums of a few products are good to a few 2^-53 of the terms; the solutions of spline systems lose about the square of the ratio of neighbouring spans
/// (seen against exact fractions). 1e-10 leaves room for spans of 1 to 1000; where keys crowd more than that a fault may be the compiler's own rounding.
/// On an axis of a million steps it is a ten-thousandth of a step.
const ARITHMETIC: f64 = 1e-10;

/// A curve fitted to its signal is within this part of a step of it.
pub(super) const FITTED: f64 = 1.0 / 16.0;

#[derive(Debug)]
enum Layer {
    Course(Course),
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
    terms: Vec<Term>,
    /// Largest values of its layers, together, in units.
    size: f64,
    /// True where a compiled curve takes the signal over instead of fitting it.
    exact: bool,
}

/// Positions of every axis.
#[derive(Debug)]
pub(super) struct Oracle<'a> {
    stage: &'a Stage,
    layers: Vec<Layer>,
    channels: BTreeMap<ChannelId, Channel>,
    sights: Vec<Sight>,
    /// Channels whose angles could not be found somewhere.
    lost: RefCell<BTreeSet<ChannelId>>,
}

impl<'a> Oracle<'a> {
    /// The oracle of a shot.
    ///
    /// # Errors
    /// A layer whose equations have no finite solution, or more layers than can be meant, in words.
    pub(super) fn new(stage: &'a Stage, shot: &Shot) -> Result<Oracle<'a>, String> {
        let start = shot.written_cycle_start().unwrap_or(shot.frames().first() as f64);
        let named = |channel: ChannelId, what: &str| format!("{what} of {} has no finite solution", stage.channel_name(channel));
        let mut layers = Vec::new();
        let mut owners = Vec::new();
        for t in shot.tracks() {
            layers.push(Layer::Course(Course::new(t).ok_or_else(|| named(t.channel(), "a track"))?));
            owners.push(t.channel());
        }
        for c in shot.cycles() {
            layers.push(Layer::Beat(Beat::new(c, start).ok_or_else(|| named(c.channel(), "a cycle"))?));
            owners.push(c.channel());
        }
        for d in shot.drifts() {
            layers.push(Layer::Wander(Wander::new(d, start)));
            owners.push(d.channel());
        }
        let mut direct: BTreeMap<ChannelId, Vec<usize>> = BTreeMap::new();
        for (layer, owner) in owners.iter().enumerate() {
            direct.entry(*owner).or_default().push(layer);
        }
        let mut channels = BTreeMap::new();
        for id in stage.axis_ids().flat_map(|axis| stage.channels_of(axis)) {
            let mut terms = Vec::new();
            handed_on(stage, shot, &direct, id, (0.0, 1.0), &mut terms)?;
            let size = terms.iter().map(|t: &Term| t.scale.abs() * layers.get(t.layer).map_or(0.0, Layer::size)).sum();
            let exact = match terms.as_slice() {
                [] => true,
                [only] => layers.get(only.layer).is_some_and(|l| matches!(l, Layer::Course(c) if c.is_polynomial())),
                _ => false,
            };
            channels.insert(id, Channel { terms, size, exact });
        }
        // Bodies may hang on channels that no axis has under its own name.
        for id in stage.bodies().iter().flat_map(|b| b.channels().iter().copied()) {
            if let Entry::Vacant(new) = channels.entry(id) {
                let mut terms = Vec::new();
                handed_on(stage, shot, &direct, id, (0.0, 1.0), &mut terms)?;
                new.insert(Channel { terms, size: 0.0, exact: false });
            }
        }
        let sights = shot.aims().iter().map(Sight::new).collect();
        Ok(Oracle { stage, layers, channels, sights, lost: RefCell::new(BTreeSet::new()) })
    }

    /// False for an axis that an aim turns, where its angle could not be found at some frame asked for so far.
    pub(super) fn is_known(&self, axis: AxisId) -> bool {
        let lost = self.lost.borrow();
        self.stage.channels_of(axis).iter().all(|c| !lost.contains(c))
    }

    /// The angle of an aimed axis.
    fn aimed(&self, axis: AxisId, t: f64) -> Option<f64> {
        let of = |s: &Sight| s.channels.iter().position(|c| self.stage.own_axis(*c) == Some(axis));
        let (sight, which) = self.sights.iter().find_map(|s| of(s).map(|which| (s, which)))?;
        let found = sight.angles(self.stage, t, &|c| self.value(c, t)).and_then(|a| a.get(which).copied());
        if found.is_none() {
            self.lost.borrow_mut().extend(sight.channels);
        }
        Some(found.unwrap_or(f64::NAN))
    }

    /// Position of an axis at `t`, in units; NaN where its mechanism cannot stand so.
    pub(super) fn position(&self, axis: AxisId, t: f64) -> f64 {
        let home = self.stage.axis(axis).home();
        if let Some(angle) = self.aimed(axis, t) {
            return angle;
        }
        if self.stage.channels_of(axis).iter().all(|c| !self.is_driven(*c)) {
            return home;
        }
        match self.stage.mover(axis) {
            Mover::Own(channel) => self.value(channel, t),
            Mover::Machine(machine, which) => {
                let values = machine.channels().iter().map(|c| Jet::constant(self.value(*c, t)));
                machine.axis(which, values).map_or(f64::NAN, |position| position.p)
            }
        }
    }

    /// How far, in steps, an honest position of this axis may be from the oracle's `position`: a sixteenth of a step where the curve is fitted,
    /// and rounding of the arithmetic.
    pub(super) fn floor(&self, axis: AxisId, position: f64) -> f64 {
        let a = self.stage.axis(axis);
        let turned = self.sights.iter().any(|s| s.channels.iter().any(|c| self.stage.own_axis(*c) == Some(axis)));
        let (exact, size) = match self.stage.mover(axis) {
            // A search ends within 1e-10 of a right angle or so; lengths of the stage's size go into it.
            Mover::Own(_) if turned => (false, 360.0),
            Mover::Own(channel) => self.channels.get(&channel).map_or((true, 0.0), |c| (c.exact, c.size)),
            // Geometry is computed with lengths of the order of the axis's travel.
            Mover::Machine(..) => (false, a.travel().lower.abs().max(a.travel().upper.abs())),
        };
        let fitted = if exact { 0.0 } else { FITTED };
        fitted + ARITHMETIC * size.max(position.abs()).max(a.home().abs()) * steps_per_unit(a)
    }

    fn is_driven(&self, channel: ChannelId) -> bool {
        self.channels.get(&channel).is_some_and(|c| !c.terms.is_empty())
    }

    fn value(&self, channel: ChannelId, t: f64) -> f64 {
        match self.channels.get(&channel) {
            Some(c) if !c.terms.is_empty() => {
                c.terms.iter().map(|term| term.scale * self.layers.get(term.layer).map_or(f64::NAN, |l| l.at(t - term.delay))).sum()
            }
            _ => self.stage.channel_rest(channel),
        }
    }
}

impl Layer {
    fn at(&self, t: f64) -> f64 {
        match self {
            Layer::Course(c) => c.at(t),
            Layer::Beat(b) => b.at(t),
            Layer::Wander(w) => w.at(t),
        }
    }

    fn size(&self) -> f64 {
        match self {
            Layer::Course(c) => c.size(),
            Layer::Beat(b) => b.size(),
            Layer::Wander(w) => w.size(),
        }
    }
}

/// What drives a channel: its own layers, then those of the channels it is a copy of. Ends, since the shot's copies run in no circle.
fn handed_on(
    stage: &Stage,
    shot: &Shot,
    direct: &BTreeMap<ChannelId, Vec<usize>>,
    channel: ChannelId,
    (delay, scale): (f64, f64),
    out: &mut Vec<Term>,
) -> Result<(), String> {
    let own = direct.get(&channel).into_iter().flatten();
    out.extend(own.map(|layer| Term { layer: *layer, delay, scale }));
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
