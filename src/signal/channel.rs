//! What one channel does: the sum of its layers, each later and scaled as copies ask, or its rest; asked at the choreography time of its group.
//!
//! Invariant: derivatives are exact through the retimes, by the chain rule to the third. Where time runs at the speed of film the layers' own jets come through unchanged;
//! where it stands still the channel is one value, bit for bit. A channel of one layer of polynomials stays the same polynomials where time runs straight.

use std::sync::Arc;

use super::knots;
use super::retiming::{Retiming, retimed};
use super::sum::Sum;
use super::term::Term;
use crate::bounds::MOST_KNOTS;
use crate::motion::curve::Curve;
use crate::motion::quintic::Quintic;
use crate::motion::signal::{Knot, SignalError};
use crate::number::Jet;

/// What a channel does.
#[derive(Debug, Clone)]
pub(crate) struct ChannelSignal {
    rest: f64,
    terms: Arc<[Term]>,
    /// Where they are many.
    sum: Option<Arc<Sum>>,
    /// The group's retimes, where it has some.
    time: Option<Arc<Retiming>>,
    /// True for one layer that is polynomials and nothing else, where there are retimes.
    is_polynomial: bool,
}

impl ChannelSignal {
    /// The sum of these layers at the group's choreography time; `rest` where there is none.
    pub(super) fn new(rest: f64, terms: Vec<Term>, time: Option<Arc<Retiming>>) -> ChannelSignal {
        let sum = Sum::of(&terms).map(Arc::new);
        let time = time.filter(|_| !terms.is_empty());
        let is_polynomial = match terms.as_slice() {
            [only] => time.is_some() && only.layer.taken_over(0.0, 1.0, 0.0, 1.0).is_some(),
            _ => false,
        };
        ChannelSignal { rest, terms: terms.into(), sum, time, is_polynomial }
    }

    /// True where both are sums of the very same layers at the very same time.
    #[must_use]
    pub(super) fn is_like(&self, other: &ChannelSignal) -> bool {
        let time = self.time.as_ref().map(Arc::as_ptr) == other.time.as_ref().map(Arc::as_ptr);
        let terms = self.terms.len() == other.terms.len() && self.terms.iter().zip(other.terms.iter()).all(|(a, b)| a.is_like(b));
        time && terms && self.rest == other.rest
    }

    /// A channel that nothing drives.
    pub(super) fn at_rest(rest: f64) -> ChannelSignal {
        ChannelSignal::new(rest, Vec::new(), None)
    }

    /// Value and derivatives at frame time `t`, by the formula that holds at `branch`. Units: the channel's unit, per frame^k.
    #[must_use]
    pub(crate) fn jet(&self, t: f64, branch: f64) -> Jet {
        self.shifted(self.time(t, branch), 0.0)
    }

    /// The same with the choreography time, found by [`ChannelSignal::time`], shifted by so many frames.
    #[must_use]
    pub(super) fn shifted(&self, (at, branch): (Jet, f64), shift: f64) -> Jet {
        let layered = self.layered(at.p + shift, branch + shift);
        if self.time.is_some() { retimed(at, layered) } else { layered }
    }

    /// The choreography time at `t`, and the one that names the branch of `branch`.
    #[must_use]
    pub(super) fn time(&self, t: f64, branch: f64) -> (Jet, f64) {
        self.time.as_ref().map_or((Jet::time(t), branch), |time| time.time(t, branch))
    }

    /// The layers together at a choreography time.
    fn layered(&self, t: f64, branch: f64) -> Jet {
        if let Some(sum) = &self.sum {
            return sum.jet(&self.terms, t, branch);
        }
        let mut terms = self.terms.iter();
        let Some(first) = terms.next() else { return Jet::constant(self.rest) };
        terms.fold(first.jet(t, branch), |sum, term| sum + term.jet(t, branch))
    }

    /// Knots around a span: see [`AxisSignal::knots_around`](super::AxisSignal::knots_around).
    ///
    /// # Errors
    /// More beats than can be meant.
    pub(crate) fn knots_around(&self, from: f64, to: f64) -> Result<Vec<Knot>, SignalError> {
        let mut all = Vec::new();
        self.add_knots(from, to, &mut all)?;
        Ok(knots::around(all, from, to))
    }

    /// Adds the knots of all layers and retimes, in no order.
    pub(super) fn add_knots(&self, from: f64, to: f64, all: &mut Vec<Knot>) -> Result<(), SignalError> {
        self.add_shifted_knots(from, to, 0.0, all)
    }

    /// The same where the choreography time is shifted.
    pub(super) fn add_shifted_knots(&self, from: f64, to: f64, shift: f64, all: &mut Vec<Knot>) -> Result<(), SignalError> {
        let start = all.len();
        let Some(time) = &self.time else {
            self.add_layers_knots(from + shift, to + shift, all)?;
            all.iter_mut().skip(start).for_each(|knot| knot.at -= shift);
            return Ok(());
        };
        self.add_layers_knots(time.choreography(from) + shift, time.choreography(to) + shift, all)?;
        let layers = all.split_off(start);
        // Finding each on film costs some steps of every retime.
        let most = MOST_KNOTS / (4 * time.cost().max(1));
        if layers.len() > most {
            return Err(SignalError::TooManyKnots { most });
        }
        all.extend(layers.into_iter().filter_map(|knot| Some(Knot { at: time.film(knot.at - shift)?, ..knot })));
        all.extend(time.edges_around(from, to).map(|at| Knot { at, key: false, is_break: false }));
        Ok(())
    }

    fn add_layers_knots(&self, from: f64, to: f64, all: &mut Vec<Knot>) -> Result<(), SignalError> {
        let grids = || self.terms.iter().filter_map(|term| term.layer.grid());
        // Of the grids of many layers, on which nothing changes, the finest will do for all.
        let mut finest = self.sum.as_ref().and_then(|_| grids().reduce(f64::min));
        for term in self.terms.iter() {
            if let (Some(least), Some(grid)) = (finest, term.layer.grid()) {
                if grid > least {
                    continue;
                }
                finest = Some(f64::NEG_INFINITY);
            }
            let start = all.len();
            term.layer.knots(from - term.delay, to - term.delay, all)?;
            for knot in all.iter_mut().skip(start) {
                knot.at += term.delay;
            }
            if all.len() > MOST_KNOTS {
                return Err(SignalError::TooManyKnots { most: MOST_KNOTS });
            }
        }
        Ok(())
    }

    /// Layers that one evaluation asks, at least one.
    pub(super) fn cost(&self) -> usize {
        self.sum.as_ref().map_or(self.terms.len().max(1), |sum| sum.cost()) + self.time.as_ref().map_or(0, |time| time.cost())
    }

    /// What a span costs however many of its places are asked, as so many layers: looking for knots, and the blocks of a sum.
    pub(super) fn span_cost(&self, from: f64, to: f64) -> usize {
        self.sum.as_ref().map_or(self.terms.len(), |sum| sum.span_cost(from, to))
    }

    /// True where nothing drives the channel.
    #[must_use]
    pub(crate) fn is_rest(&self) -> bool {
        self.terms.is_empty()
    }

    /// The polynomials it is, where it is one layer of them and nothing else.
    #[must_use]
    pub(crate) fn taken_over(&self, from: f64, to: f64) -> Option<Result<Curve, SignalError>> {
        match &*self.terms {
            [Term { layer, delay, scale }] => {
                let offset = self.time.as_ref().map_or(Some(0.0), |time| time.offset(from, to))?;
                layer.taken_over(from, to, delay - offset, *scale)
            }
            _ => None,
        }
    }

    /// Where retimes keep the whole from being taken over: the polynomial that it is between the neighbouring knots `from` and `to` around `branch`, with its own two
    /// ends on film. `None` where it is none, or where time does not run straight.
    #[must_use]
    pub(crate) fn straight(&self, branch: f64, ends: [f64; 2]) -> Option<(f64, f64, Quintic)> {
        let (time, [term]) = (self.time.as_ref().filter(|_| self.is_polynomial)?, &*self.terms) else { return None };
        time.straight(&|t| term.stretch(t), branch, ends)
    }

    /// Where it stands when nothing drives it.
    #[must_use]
    pub(crate) fn rest(&self) -> f64 {
        self.rest
    }
}
