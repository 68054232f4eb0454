//! What bodies move by: one curve for each axis, all on one clock, with those that stand at home left out.
//!
//! Invariant: the curves cover one span. The clock is the caller's: frame time for run-up, exposures and run-down, seconds for the way to the start and home.

use core::fmt::Debug;

use crate::motion::curve::Curve;
use crate::stage::{AxisId, PerAxis, Stage};

/// The axes of a stage on their way.
#[derive(Debug, Clone)]
pub(crate) struct Course<'a> {
    stage: &'a Stage,
    span: (f64, f64),
    stretch: f64,
    curves: Curves<'a>,
}

#[derive(Debug, Clone)]
enum Curves<'a> {
    Known(PerAxis<Option<&'a Curve>>),
    Asked(&'a dyn OnDemand),
}

/// Curves that are formed when they are asked for.
pub(super) trait OnDemand: Debug + Sync {
    /// The curve of an axis; `None` where it stands at home.
    fn curve(&self, axis: AxisId) -> Option<&Curve>;
}

impl<'a> Course<'a> {
    /// The axes that have a curve follow it over `span`; the others stand at home. A search along it begins with stretches no longer than `stretch`.
    #[must_use]
    pub(crate) fn new(stage: &'a Stage, span: (f64, f64), stretch: f64, curves: PerAxis<Option<&'a Curve>>) -> Course<'a> {
        Course { stage, span, stretch, curves: Curves::Known(curves) }
    }

    /// The same with curves that are formed when they are asked for.
    #[must_use]
    pub(super) fn on_demand(stage: &'a Stage, span: (f64, f64), stretch: f64, curves: &'a dyn OnDemand) -> Course<'a> {
        Course { stage, span, stretch, curves: Curves::Asked(curves) }
    }

    /// A part of it.
    #[must_use]
    pub(crate) fn over(self, span: (f64, f64)) -> Course<'a> {
        Course { span, ..self }
    }

    /// The stage.
    #[must_use]
    pub(crate) fn stage(&self) -> &'a Stage {
        self.stage
    }

    /// An axis's curve, or the home it stands at.
    ///
    /// # Errors
    /// Its home.
    pub(crate) fn curve(&self, axis: AxisId) -> Result<&'a Curve, f64> {
        let curve = match &self.curves {
            Curves::Known(curves) => curves[axis],
            Curves::Asked(curves) => curves.curve(axis),
        };
        curve.ok_or_else(|| self.stage.axis(axis).home())
    }

    /// The span that the curves cover.
    #[must_use]
    pub(crate) fn span(&self) -> (f64, f64) {
        self.span
    }

    /// Equal parts of the span with which a search begins, one after the other.
    pub(crate) fn stretches(&self) -> impl Iterator<Item = (f64, f64)> + use<> {
        let (from, to) = self.span;
        let n = ((to - from) / self.stretch).ceil().max(1.0);
        let cut = move |i: f64| if i < n { from + (to - from) * (i / n) } else { to };
        core::iter::successors(Some(0.0), move |i| (*i + 1.0 < n).then_some(*i + 1.0)).map(move |i| (cut(i), cut(i + 1.0)))
    }
}
