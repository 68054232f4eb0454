//! A layer as one channel has it: later and scaled. Unit of the delay: frames.

use std::sync::Arc;

use crate::motion::quintic::Quintic;
use crate::motion::signal::{Signal, Stretch};
use crate::number::Jet;

/// What a sum of sines costs, in layers: measured on a thousand drifts.
const SINES: usize = 3;

/// A layer as one channel has it: later and scaled.
#[derive(Debug, Clone)]
pub(crate) struct Term {
    pub(super) layer: Arc<dyn Signal>,
    pub(super) delay: f64,
    pub(super) scale: f64,
}

impl Term {
    /// True for the very same layer, as late and scaled alike.
    pub(super) fn is_like(&self, other: &Term) -> bool {
        Arc::ptr_eq(&self.layer, &other.layer) && self.delay == other.delay && self.scale == other.scale
    }

    /// What asking it costs where thousands are asked, in layers: what starts on a grid is a sum of sines.
    pub(super) fn cost(&self) -> usize {
        if self.layer.grid().is_some() { SINES } else { 1 }
    }

    pub(super) fn jet(&self, t: f64, branch: f64) -> Jet {
        let jet = self.layer.jet(t - self.delay, branch - self.delay);
        if self.scale == 1.0 { jet } else { jet * self.scale }
    }

    /// The layer's stretch that holds at `branch`, later and scaled as the term is; `None` where the layer has none.
    pub(super) fn stretch(&self, branch: f64) -> Option<Stretch> {
        let Stretch { from, to, polynomial } = self.layer.stretch(branch - self.delay)?;
        let scaled = |quintic: Quintic| if self.scale == 1.0 { quintic } else { quintic.scaled(self.scale) };
        let polynomial = polynomial.map(|(origin, length, quintic)| (origin + self.delay, length, scaled(quintic)));
        Some(Stretch { from: from + self.delay, to: to + self.delay, polynomial })
    }
}
