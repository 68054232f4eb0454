//! What one channel does: the sum of its layers, each later and scaled as copies ask, or its rest.

use std::sync::Arc;

use super::knots;
use super::sum::Sum;
use super::term::Term;
use crate::bounds::MOST_KNOTS;
use crate::motion::curve::Curve;
use crate::motion::signal::{Knot, SignalError};
use crate::number::Jet;

/// What a channel does.
#[derive(Debug, Clone)]
pub(crate) struct ChannelSignal {
    rest: f64,
    terms: Arc<[Term]>,
    /// Where they are many.
    sum: Option<Arc<Sum>>,
}

impl ChannelSignal {
    /// The sum of these layers; `rest` where there is none.
    pub(super) fn new(rest: f64, terms: Vec<Term>) -> ChannelSignal {
        let sum = Sum::of(&terms).map(Arc::new);
        ChannelSignal { rest, terms: terms.into(), sum }
    }

    /// Value and derivatives at frame time `t`, by the formula that holds at `branch`. Units: the channel's unit, per frame^k.
    #[must_use]
    pub(crate) fn jet(&self, t: f64, branch: f64) -> Jet {
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

    /// Adds the knots of all layers, in no order.
    pub(super) fn add_knots(&self, from: f64, to: f64, all: &mut Vec<Knot>) -> Result<(), SignalError> {
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
        self.sum.as_ref().map_or(self.terms.len().max(1), |sum| sum.cost())
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
            [Term { layer, delay, scale }] => layer.taken_over(from, to, *delay, *scale),
            _ => None,
        }
    }

    /// Where it stands when nothing drives it.
    #[must_use]
    pub(crate) fn rest(&self) -> f64 {
        self.rest
    }
}
