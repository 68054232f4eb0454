//! What an axis does: its own channel's signal, a mechanism's formula over the signals of its channels, or an angle of an aim.
//!
//! Invariant: derivatives stay exact through the mechanism, since its formula is computed on jets. Where a mechanism cannot take a place the jet is NaN, which
//! no curve accepts; [`AxisSignal::out_of_reach`] then says why.

use super::aimed::Aimed;
use super::channel::ChannelSignal;
use super::knots;
use super::layers::Layers;
use crate::mechanism::OutOfReach;
use crate::mechanism::aim::AimTrouble;
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
    /// A drum would pass from one layer of rope to another: its speed would jump.
    #[error(
        "the drum passes from one layer of rope to the next at a height of {height} mm, where its speed would jump; keep the move within a layer, or use a drum that holds the rope in one"
    )]
    LayerChange {
        /// Height of the change, mm.
        height: f64,
    },
}

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
        match stage.driver(axis) {
            Driver::Own(channel) => Ok(AxisSignal::Own(layers.signal(stage, shot, channel)?)),
            Driver::Machine(machine, which) => {
                let channels: Result<Vec<ChannelSignal>, SignalError> =
                    machine.channels().iter().map(|c| layers.signal(stage, shot, *c)).collect();
                Ok(AxisSignal::Driven { machine, which, channels: channels? })
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
            (AxisSignal::Aimed { aimed: a, which: i }, AxisSignal::Aimed { aimed: b, which: j }) => i == j && a.is_like(b),
            _ => false,
        }
    }

    /// Position and derivatives at frame time `t`, by the formula that holds at `branch`; NaN where the mechanism cannot go.
    #[must_use]
    pub(crate) fn jet(&self, t: f64, branch: f64) -> Jet {
        match self {
            AxisSignal::Own(signal) => signal.jet(t, branch),
            AxisSignal::Driven { machine, which, channels } => {
                machine.axis(*which, channels.iter().map(|c| c.jet(t, branch))).unwrap_or(Jet::constant(f64::NAN))
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
            AxisSignal::Driven { channels, .. } => channels.iter().map(|c| 1 + c.cost()).sum(),
            AxisSignal::Aimed { aimed, .. } => aimed.cost(),
        }
    }

    /// What a span costs however many of its places are asked, as so many layers.
    #[must_use]
    pub(crate) fn span_cost(&self, from: f64, to: f64) -> usize {
        match self {
            AxisSignal::Own(signal) => signal.span_cost(from, to),
            AxisSignal::Driven { channels, .. } => channels.iter().fold(0, |sum, c| c.span_cost(from, to).saturating_add(sum)),
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
            AxisSignal::Driven { channels, .. } => {
                let mut all = Vec::new();
                for channel in channels {
                    channel.add_knots(from, to, &mut all)?;
                }
                Ok(knots::around(all, from, to))
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
            AxisSignal::Driven { .. } | AxisSignal::Aimed { .. } => None,
        }
    }

    /// The polynomials it is, where it is one layer of them on a channel of its own: they need no fit.
    #[must_use]
    pub(crate) fn taken_over(&self, from: f64, to: f64) -> Option<Result<Curve, SignalError>> {
        match self {
            AxisSignal::Own(signal) => signal.taken_over(from, to),
            AxisSignal::Driven { .. } | AxisSignal::Aimed { .. } => None,
        }
    }

    /// The polynomial it is between two neighbouring knots: see [`ChannelSignal::straight`].
    #[must_use]
    pub(crate) fn straight(&self, branch: f64, ends: [f64; 2]) -> Option<(f64, f64, Quintic)> {
        match self {
            AxisSignal::Own(signal) => signal.straight(branch, ends),
            AxisSignal::Driven { .. } | AxisSignal::Aimed { .. } => None,
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

    /// Why there is no position at `t`.
    #[must_use]
    pub(crate) fn out_of_reach(&self, t: f64) -> Option<NoPlace> {
        match self {
            AxisSignal::Own(_) => None,
            AxisSignal::Driven { machine, which, channels } => {
                machine.axis(*which, channels.iter().map(|c| Jet::constant(c.jet(t, t).p))).err().map(NoPlace::from)
            }
            AxisSignal::Aimed { aimed, .. } => aimed.angles(t, t).err().map(NoPlace::from),
        }
    }
}
