//! A layer as one channel has it: later and scaled. Unit of the delay: frames.

use std::sync::Arc;

use crate::motion::signal::Signal;
use crate::number::Jet;

/// A layer as one channel has it: later and scaled.
#[derive(Debug, Clone)]
pub(crate) struct Term {
    pub(super) layer: Arc<dyn Signal>,
    pub(super) delay: f64,
    pub(super) scale: f64,
}

impl Term {
    pub(super) fn jet(&self, t: f64, branch: f64) -> Jet {
        let jet = self.layer.jet(t - self.delay, branch - self.delay);
        if self.scale == 1.0 { jet } else { jet * self.scale }
    }
}
