//! What is found of a figure on three wires: data only.
//!
//! Invariant: a share of the weight is that of one instant. Units: shares of the weight, N.

use crate::check::violation::{At, Part};
use crate::stage::{GroupId, Utilisation};

/// A share of the weight, and when a wire carries it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Carried {
    /// Share of the weight.
    pub share: f64,
    /// When.
    pub at: At,
    /// Where in the pass.
    pub part: Part,
}

/// What one wire of a figure carries in a pass, its return home included.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct WireReport {
    /// The figure.
    pub group: GroupId,
    /// Which of its three wires.
    pub wire: usize,
    /// Weight of the figure, N.
    pub weight: f64,
    /// Share that it must carry.
    pub required: f64,
    /// The least that it carries, and the most; `None` where that was not looked at.
    pub carried: Option<[Carried; 2]>,
}

impl WireReport {
    /// How much of what it must carry is wanting.
    #[must_use]
    pub(crate) fn utilisation(&self) -> Option<Utilisation> {
        self.carried.map(|[least, _]| Utilisation::of_margin(least.share - self.required, 1.0))
    }
}
