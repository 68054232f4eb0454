//! What moves a figure's hanging point and changes the length of its pendulum, second by second.
//!
//! What: where only slides carry the point sideways, each by an axis of its own, its place is a sum of axes, a polynomial of each piece ([`Forms::Sums`]); so is the length where an axis
//! changes it, and where a mechanism does it is the quintic with its value, rate and acceleration at both ends, of stretches so short that it misses no quarter of one by more than 1e-7 of the length.
//! A point that a joint turns is asked instant by instant, with exact derivatives ([`Forms::Jets`]).
//! Invariant: a stretch lies within one piece of every axis. Units: mm, s.

use crate::mechanism::{Chain, JointKind, OutOfReach};
use crate::motion::Quintic;
use crate::motion::pendulum::collocation::Driven;
use crate::number::Jet;
use crate::program::line::Timed;
use crate::stage::{AxisId, Body, ChannelId, Stage, Swing};

/// How the hanging point follows from the axes.
enum Forms {
    /// Axis by axis: mm along x and z for each of its units.
    Sums(Vec<[f64; 2]>),
    /// The joints up to the hanging point, the channels that they count on.
    Jets(Chain, Vec<ChannelId>),
}

/// What moves a figure's hanging point.
pub(crate) struct Support<'a> {
    stage: &'a Stage,
    swing: &'a Swing,
    forms: Forms,
    axes: Vec<(AxisId, Vec<Timed>)>,
}

/// A stretch of time within one piece of every axis.
pub(crate) struct Stretch<'s> {
    support: &'s Support<'s>,
    pub(crate) start: f64,
    pub(crate) end: f64,
    /// Every axis's part of its piece.
    parts: Vec<Quintic>,
    /// The length over local time.
    length: Quintic,
    /// Looks at mechanisms that it took to find the length.
    pub(crate) looks: u64,
}

impl<'a> Support<'a> {
    /// Of a body that swings; `line` gives each axis's motion, which covers what is looked at.
    pub(crate) fn new(stage: &'a Stage, body: &Body, swing: &'a Swing, line: impl Fn(AxisId) -> Vec<Timed>) -> Support<'a> {
        let (forms, axes) = forms(stage, body, swing);
        Support { stage, swing, forms, axes: axes.into_iter().map(|id| (id, line(id))).collect() }
    }

    /// The same over other motions of the axes.
    pub(crate) fn along(&mut self, line: impl Fn(AxisId) -> Vec<Timed>) {
        self.axes.iter_mut().for_each(|(id, own)| *own = line(*id));
    }

    /// True where the place is a sum of axes.
    pub(crate) fn is_plain(&self) -> bool {
        matches!(self.forms, Forms::Sums(_))
    }

    /// Every stretch from 0 s on, in order; `see` ends it by returning false.
    pub(crate) fn stretches(&self, until: f64, see: &mut dyn FnMut(&Stretch<'_>) -> bool) {
        let mut next: Vec<usize> = vec![0; self.axes.len()];
        let mut start = 0.0;
        while start < until {
            let pieces = || self.axes.iter().zip(&next).map(|((_, line), i)| line.get(*i));
            let end = pieces().flatten().map(|p| p.end).fold(until, f64::min);
            if end > start {
                let part = |p: Option<&Timed>| {
                    p.map_or(Quintic::hold(0.0), |p| {
                        let whole = p.end - p.start;
                        p.quintic.stretch((start - p.start) / whole, (end - start) / whole)
                    })
                };
                if !self.see_all(start, end, pieces().map(part).collect(), see, (0, 0)) {
                    return;
                }
            }
            start = end;
            for ((_, line), i) in self.axes.iter().zip(&mut next) {
                while line.get(*i).is_some_and(|p| p.end <= end) {
                    *i += 1;
                }
            }
        }
    }

    /// A stretch, or its halves where the length asks for it; with how deep that went, and the looks at mechanisms so far.
    fn see_all(
        &self,
        start: f64,
        end: f64,
        parts: Vec<Quintic>,
        see: &mut dyn FnMut(&Stretch<'_>) -> bool,
        (depth, looks): (u32, u64),
    ) -> bool {
        let length = self.length(&parts, end - start);
        let looks = looks + if self.asks_mechanisms() { LOOKS } else { 0 };
        if length.is_none() && depth < DEEPEST {
            let half = |from: f64| parts.iter().map(|q| q.part(from, from + 0.5)).collect();
            let middle = 0.5 * (start + end);
            return self.see_all(start, middle, half(0.0), see, (depth + 1, looks))
                && self.see_all(middle, end, half(0.5), see, (depth + 1, 0));
        }
        // Deeper than that a mechanism has no place at all: a length that is no number is refused where it is used.
        let length = length.unwrap_or(Quintic::hold(f64::NAN));
        see(&Stretch { support: self, start, end, parts, length, looks })
    }

    /// True where a mechanism changes the length.
    fn asks_mechanisms(&self) -> bool {
        self.swing.change.is_some_and(|change| self.stage.own_axis(change.channel).is_none())
    }

    /// The length over local time; `None` where the stretch is too long for it.
    fn length(&self, parts: &[Quintic], h: f64) -> Option<Quintic> {
        let Some(change) = self.swing.change else { return Some(Quintic::hold(self.swing.length)) };
        let jet = |u: f64| {
            let values = self.values(&[change.channel], parts, u, h).ok()?;
            values.first().map(|value| Jet { p: self.swing.length, ..Jet::default() } + (*value - change.home) * change.per_unit)
        };
        let (first, last) = (jet(0.0)?, jet(1.0)?);
        let made = Quintic::between(first.into(), last.into(), h);
        if !self.asks_mechanisms() || made.is_hold() {
            return Some(made);
        }
        let near = |u: f64| jet(u).is_some_and(|l| (made.at(u) - l.p).abs() <= CLOSE * l.p.abs());
        [0.25, 0.5, 0.75].into_iter().all(near).then_some(made)
    }

    /// Values of channels at local time `u` of a stretch of `h` seconds.
    fn values(&self, channels: &[ChannelId], parts: &[Quintic], u: f64, h: f64) -> Result<Vec<Jet>, OutOfReach> {
        let axis = |wanted: AxisId| {
            let found = self.axes.iter().zip(parts).find(|((id, _), _)| *id == wanted);
            Ok(found.map_or(Jet::constant(self.stage.axis(wanted).home()), |(_, part)| part.jet(u, h)))
        };
        self.stage.channel_values(channels, &axis, &|m, axes, channels| m.to_channels(axes, channels))
    }
}

/// Halvings of a stretch at most.
const DEEPEST: u32 = 12;

/// Looks at a mechanism at most to find a length over a stretch.
const LOOKS: u64 = 5;

/// Share of the length that a stretch's polynomial may miss.
const CLOSE: f64 = 1e-7;

impl Stretch<'_> {
    /// True where nothing moves that moves the point or changes the length.
    pub(crate) fn stands(&self) -> bool {
        self.parts.iter().all(Quintic::is_hold)
    }

    /// The length, where it does not change over the stretch.
    pub(crate) fn constant_length(&self) -> Option<f64> {
        self.length.is_hold().then(|| self.length.at(0.0))
    }

    /// Acceleration as coefficients over local time; `None` where it is no polynomial.
    pub(crate) fn acceleration(&self) -> Option<[[f64; 4]; 2]> {
        let mut acceleration = [[0.0; 4]; 2];
        if self.stands() {
            return Some(acceleration);
        }
        let Forms::Sums(per) = &self.support.forms else { return None };
        let h = self.end - self.start;
        for (part, factors) in self.parts.iter().zip(per) {
            let own = part.acceleration();
            for (sum, factor) in acceleration.iter_mut().zip(factors) {
                sum.iter_mut().zip(own).for_each(|(sum, own)| *sum += factor * own / (h * h));
            }
        }
        Some(acceleration)
    }

    /// What drives the pendulum at local time `u`.
    ///
    /// # Errors
    /// A mechanism cannot take the place.
    pub(crate) fn at(&self, u: f64) -> Result<Driven, OutOfReach> {
        let h = self.end - self.start;
        let l = self.length.jet(u, h);
        let length = [l.p, l.v, l.a];
        match &self.support.forms {
            Forms::Sums(per) => {
                let mut acceleration = [0.0; 2];
                for (part, factors) in self.parts.iter().zip(per) {
                    let a = part.jet(u, h).a;
                    acceleration.iter_mut().zip(factors).for_each(|(sum, factor)| *sum += factor * a);
                }
                Ok(Driven { length, acceleration })
            }
            Forms::Jets(chain, channels) => {
                let values = self.support.values(channels, &self.parts, u, h)?;
                let place = chain.pose(|i| values.get(i).copied().unwrap_or_default()).position;
                Ok(Driven { length, acceleration: [place.x.a, place.z.a] })
            }
        }
    }
}

/// How the hanging point follows from the axes, and which move it or change the length.
fn forms(stage: &Stage, body: &Body, swing: &Swing) -> (Forms, Vec<AxisId>) {
    let joints: Vec<_> = body.chain().joints().take(swing.after + 1).collect();
    let turns = joints.iter().take(swing.after).any(|j| j.channel.is_some() && matches!(j.kind, JointKind::Turn(_)));
    let chain = Chain::new(&joints).unwrap_or_else(|_| body.chain().clone());
    let used: Vec<usize> = chain.channels().collect();
    let mut sums: Option<Vec<(AxisId, [f64; 2])>> = (!turns).then(Vec::new);
    for (number, channel) in body.channels().iter().enumerate().filter(|(number, _)| used.contains(number)) {
        let jet = |i: usize| if i == number { Jet::time(stage.channel_rest(*channel)) } else { Jet::constant(0.0) };
        let place = chain.pose(jet).position;
        let sideways = [place.x.v, place.z.v];
        if let Some(list) = sums.as_mut().filter(|_| sideways != [0.0; 2]) {
            match stage.own_axis(*channel) {
                Some(axis) => list.push((axis, sideways)),
                None => sums = None,
            }
        }
    }
    let changing = || swing.change.into_iter().flat_map(|c| stage.axes_of(c.channel));
    if let Some(mut list) = sums {
        // Axes that change the length alone move nothing sideways.
        for axis in changing() {
            if list.iter().all(|(known, _)| *known != axis) {
                list.push((axis, [0.0; 2]));
            }
        }
        let (axes, per) = list.into_iter().unzip();
        return (Forms::Sums(per), axes);
    }
    let needed = body.channels().iter().enumerate().filter(|(i, _)| used.contains(i)).flat_map(|(_, c)| stage.axes_of(*c));
    let mut axes: Vec<AxisId> = needed.chain(changing()).collect();
    axes.sort_by_key(|id| id.index());
    axes.dedup();
    (Forms::Jets(chain, body.channels().to_vec()), axes)
}
