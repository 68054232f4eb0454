//! What an axis does: its own channel's signal, a mechanism's formula over the signals of its channels, a focus distance, or an angle of an aim.
//!
//! Invariant: derivatives stay exact through the mechanism, since its formula is computed on jets. Where a mechanism cannot take a place the jet is NaN, which
//! no curve accepts; [`AxisSignal::out_of_reach`] then says why.

use super::aimed::Aimed;
use super::bends;
use super::channel::ChannelSignal;
use super::focused::{FocusTrouble, Focused};
use super::knots;
use super::layers::Layers;
use crate::mechanism::OutOfReach;
use crate::mechanism::aim::AimTrouble;
use crate::motion::Extreme;
use crate::motion::curve::Curve;
use crate::motion::quintic::Quintic;
use crate::motion::signal::{Knot, SignalError};
use crate::number::Jet;
use crate::shot::Shot;
use crate::stage::{AxisId, Driver, Machine, Stage};

/// The signal of an axis.
#[derive(Debug, Clone)]
pub(crate) enum AxisSignal<'a> {
    /// Its own channel.
    Own(ChannelSignal),
    /// A mechanism's axis `which` over its channels.
    Driven {
        /// The mechanism.
        machine: &'a Machine,
        /// Which of its axes.
        which: usize,
        /// Its channels' signals, in order.
        channels: Vec<ChannelSignal>,
        /// Values of the only channel at which two of its formulas meet.
        bends: Vec<f64>,
    },
    /// A distance that follows focus, itself or through its mechanism.
    Focused {
        /// The focus.
        focused: Box<Focused<'a>>,
        /// The mechanism, and the values at which two of its formulas meet.
        machine: Option<(&'a Machine, Vec<f64>)>,
    },
    /// One of the two angles of an aim.
    Aimed {
        /// The aim.
        aimed: Box<Aimed<'a>>,
        /// Which of its two angles.
        which: usize,
    },
}

/// Why an axis has no position at an instant.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub(crate) enum NoPlace {
    /// A mechanism cannot take the place its channels ask for.
    #[error(transparent)]
    OutOfReach(#[from] OutOfReach),
    /// A target cannot be aimed at.
    #[error(transparent)]
    Aim(#[from] AimTrouble),
    /// A target cannot be in focus.
    #[error(transparent)]
    Focus(#[from] FocusTrouble),
    /// A drum would pass from one layer of rope to another: its speed would jump.
    #[error(
        "the drum passes from one layer of rope to the next at a height of {height} mm, where its speed would jump; keep the move within a layer, or use a drum that holds the rope in one"
    )]
    LayerChange {
        /// Height of the change, mm.
        height: f64,
    },
}

/// How near to a bend a focus distance is asked which side it came from, as a share of the bend's value: far more than rounding.
const NEAR_A_BEND: f64 = 1e-6;

impl<'a> AxisSignal<'a> {
    /// The signal of an axis of the stage.
    ///
    /// # Errors
    /// More layers than can be meant.
    pub(crate) fn of(stage: &'a Stage, shot: &'a Shot, layers: &Layers, axis: AxisId) -> Result<AxisSignal<'a>, SignalError> {
        for aim in shot.aims() {
            if let Some(which) = aim.which(stage, axis) {
                return Ok(AxisSignal::Aimed { aimed: Box::new(Aimed::new(stage, shot, layers, aim)?), which });
            }
        }
        if let Some(focus) = shot.focuses().iter().find(|f| f.moves(stage, axis)) {
            let machine = match stage.driver(axis) {
                Driver::Own(_) => None,
                Driver::Machine(machine, _) => Some((machine, machine.mechanism().bends())),
            };
            return Ok(AxisSignal::Focused { focused: Box::new(Focused::new(stage, shot, layers, focus)?), machine });
        }
        match stage.driver(axis) {
            Driver::Own(channel) => Ok(AxisSignal::Own(layers.signal(stage, shot, channel)?)),
            Driver::Machine(machine, which) => {
                let channels: Result<Vec<ChannelSignal>, SignalError> =
                    machine.channels().iter().map(|c| layers.signal(stage, shot, *c)).collect();
                Ok(AxisSignal::Driven { machine, which, channels: channels?, bends: machine.mechanism().bends() })
            }
        }
    }

    /// True where both are made alike of the very same layers, on equal stages: they are then the same function.
    #[must_use]
    pub(crate) fn is_like(&self, other: &AxisSignal<'_>) -> bool {
        match (self, other) {
            (AxisSignal::Own(a), AxisSignal::Own(b)) => a.is_like(b),
            (AxisSignal::Driven { which: i, channels: a, .. }, AxisSignal::Driven { which: j, channels: b, .. }) => {
                i == j && a.len() == b.len() && a.iter().zip(b).all(|(a, b)| a.is_like(b))
            }
            (AxisSignal::Focused { focused: a, .. }, AxisSignal::Focused { focused: b, .. }) => a.is_like(b),
            (AxisSignal::Aimed { aimed: a, which: i }, AxisSignal::Aimed { aimed: b, which: j }) => i == j && a.is_like(b),
            _ => false,
        }
    }

    /// Position and derivatives at frame time `t`, by the formula that holds at `branch`; NaN where the mechanism cannot go.
    #[must_use]
    pub(crate) fn jet(&self, t: f64, branch: f64) -> Jet {
        match self {
            AxisSignal::Own(signal) => signal.jet(t, branch),
            AxisSignal::Driven { machine, which, channels, bends } => {
                let values = channels.iter().map(|c| c.jet(t, branch));
                let found = if bends.is_empty() || t == branch {
                    machine.axis(*which, values)
                } else {
                    machine.axis_beside(*which, values, channels.iter().map(|c| c.jet(branch, branch).p))
                };
                found.unwrap_or(Jet::constant(f64::NAN))
            }
            AxisSignal::Focused { focused, machine } => {
                let nothing = Jet::constant(f64::NAN);
                let Ok(value) = focused.value(t, branch) else { return nothing };
                let Some((machine, bends)) = machine else { return value };
                // Which formula holds is only a question beside a bend.
                let is_beside = t != branch && bends.iter().any(|b| (value.p - b).abs() <= NEAR_A_BEND * (1.0 + b.abs()));
                let found = match focused.value(branch, branch).ok().filter(|_| is_beside) {
                    Some(beside) => machine.axis_beside(0, core::iter::once(value), core::iter::once(beside.p)),
                    None => machine.axis(0, core::iter::once(value)),
                };
                found.unwrap_or(nothing)
            }
            AxisSignal::Aimed { aimed, which } => {
                aimed.angles(t, branch).ok().and_then(|a| a.get(*which).copied()).unwrap_or(Jet::constant(f64::NAN))
            }
        }
    }

    /// What one evaluation costs: the layers it asks, and what a mechanism or an aim does with them as so many layers more.
    #[must_use]
    pub(crate) fn cost(&self) -> usize {
        match self {
            AxisSignal::Own(signal) => signal.cost(),
            AxisSignal::Driven { channels, bends, .. } => {
                // A channel with bends is asked for its branch too, and looked at for where it passes them.
                let each = if bends.is_empty() { 1 } else { 3 };
                channels.iter().map(|c| 1 + each * c.cost()).sum()
            }
            AxisSignal::Focused { focused, machine } => {
                let looks = if machine.as_ref().is_some_and(|(_, bends)| !bends.is_empty()) { 3 } else { 1 };
                1 + looks * focused.cost()
            }
            AxisSignal::Aimed { aimed, .. } => aimed.cost(),
        }
    }

    /// What a span costs however many of its places are asked, as so many layers.
    #[must_use]
    pub(crate) fn span_cost(&self, from: f64, to: f64) -> usize {
        match self {
            AxisSignal::Own(signal) => signal.span_cost(from, to),
            AxisSignal::Driven { channels, .. } => channels.iter().fold(0, |sum, c| c.span_cost(from, to).saturating_add(sum)),
            AxisSignal::Focused { focused, .. } => focused.span_cost(from, to),
            AxisSignal::Aimed { aimed, .. } => aimed.span_cost(from, to),
        }
    }

    /// The ends of the intervals between knots that the span from `from` to `to` touches, in rising order, each interval whole, and one knot more after `to`: the first
    /// is the last knot at or before `from`, the last but one the first at or after `to`. They do not depend on the span but for which of them are given.
    ///
    /// # Errors
    /// More beats than can be meant.
    pub(crate) fn knots_around(&self, from: f64, to: f64) -> Result<Vec<Knot>, SignalError> {
        match self {
            AxisSignal::Own(signal) => signal.knots_around(from, to),
            AxisSignal::Driven { channels, bends, .. } => {
                let mut all = Vec::new();
                for channel in channels {
                    channel.add_knots(from, to, &mut all)?;
                }
                let knots = knots::around(all, from, to);
                match channels.as_slice() {
                    [only] => bends::with_crossings(knots, bends, (from, to), &|t, branch| only.jet(t, branch)),
                    _ => Ok(knots),
                }
            }
            AxisSignal::Focused { focused, machine } => {
                let knots = focused.knots_around(from, to)?;
                let bends = machine.as_ref().map(|(_, bends)| bends.as_slice()).unwrap_or_default();
                let value = |t, branch| focused.value(t, branch).unwrap_or(Jet::constant(f64::NAN));
                bends::with_crossings(knots, bends, (from, to), &value)
            }
            AxisSignal::Aimed { aimed, .. } => aimed.knots_around(from, to),
        }
    }

    /// Where it stands throughout, if nothing moves it.
    #[must_use]
    pub(crate) fn at_rest(&self) -> Option<f64> {
        match self {
            AxisSignal::Own(signal) => signal.is_rest().then(|| signal.rest()),
            AxisSignal::Driven { channels, .. } if channels.iter().all(ChannelSignal::is_rest) => {
                let p = self.jet(0.0, 0.0).p;
                p.is_finite().then_some(p)
            }
            AxisSignal::Driven { .. } | AxisSignal::Focused { .. } | AxisSignal::Aimed { .. } => None,
        }
    }

    /// The polynomials it is, where it is one layer of them on a channel of its own: they need no fit.
    #[must_use]
    pub(crate) fn taken_over(&self, from: f64, to: f64) -> Option<Result<Curve, SignalError>> {
        match self {
            AxisSignal::Own(signal) => signal.taken_over(from, to),
            AxisSignal::Driven { .. } | AxisSignal::Focused { .. } | AxisSignal::Aimed { .. } => None,
        }
    }

    /// The polynomial it is between two neighbouring knots: see [`ChannelSignal::straight`].
    #[must_use]
    pub(crate) fn straight(&self, branch: f64, ends: [f64; 2]) -> Option<(f64, f64, Quintic)> {
        match self {
            AxisSignal::Own(signal) => signal.straight(branch, ends),
            AxisSignal::Driven { .. } | AxisSignal::Focused { .. } | AxisSignal::Aimed { .. } => None,
        }
    }

    /// The channel of a drum whose rope lies in layers, and the heights between which it must stay.
    #[must_use]
    pub(crate) fn layered(&self) -> Option<(&ChannelSignal, Vec<f64>)> {
        match self {
            AxisSignal::Driven { machine, channels, .. } => match channels.as_slice() {
                [height] => Some((height, machine.mechanism().layer_changes())).filter(|(_, changes)| !changes.is_empty()),
                _ => None,
            },
            _ => None,
        }
    }

    /// Why a focus cannot stay between two positions of its axis, which are its extremes: the value of one of them is not beyond the focal length.
    #[must_use]
    pub(crate) fn too_near(&self, extremes: [Extreme; 2]) -> Option<(f64, NoPlace)> {
        let AxisSignal::Focused { focused, machine } = self else { return None };
        // A mechanism of one channel goes one way: the value lies between those of the extremes.
        let value = |axis: f64| match machine {
            None => Some(axis),
            Some((machine, _)) => {
                let mut value = [f64::NAN];
                machine.mechanism().to_channels_at_rest(&[axis], &mut value).ok()?;
                value.first().copied()
            }
        };
        extremes.into_iter().find_map(|e| Some((e.at, focused.too_near(value(e.value)?)?.into())))
    }

    /// Why there is no position at `t`.
    #[must_use]
    pub(crate) fn out_of_reach(&self, t: f64) -> Option<NoPlace> {
        match self {
            AxisSignal::Own(_) => None,
            AxisSignal::Driven { machine, which, channels, .. } => {
                machine.axis(*which, channels.iter().map(|c| Jet::constant(c.jet(t, t).p))).err().map(NoPlace::from)
            }
            AxisSignal::Focused { focused, machine } => match focused.value(t, t) {
                Err(why) => Some(why.into()),
                Ok(value) => {
                    machine.as_ref().and_then(|(m, _)| m.axis(0, core::iter::once(Jet::constant(value.p))).err()).map(NoPlace::from)
                }
            },
            AxisSignal::Aimed { aimed, .. } => aimed.angles(t, t).err().map(NoPlace::from),
        }
    }
}
