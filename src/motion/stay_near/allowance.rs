//! What following all recordings of one shot may cost together.
//!
//! What: each recording may cost what its samples are worth, and all together as much again as any shot may. Invariant: counted in the order of the recordings, whether their curves are known already or not, so the
//! same recordings are refused on every machine and in every run.

use super::{CannotFit, Ends, Fit, fit};
use crate::bounds::{Budget, Effort, Meter};

/// What is left to be spent.
#[derive(Debug)]
pub(crate) struct Allowance {
    budget: Budget,
    /// Taken so far beyond what the samples were worth.
    beyond: u64,
}

impl Allowance {
    /// Nothing taken.
    #[must_use]
    pub(crate) const fn new(budget: Budget) -> Allowance {
        Allowance { budget, beyond: 0 }
    }

    /// The curve near `samples`, as [`fit`], and its cost taken.
    ///
    /// # Errors
    /// [`CannotFit`].
    pub(crate) fn fit(&mut self, samples: &[(f64, f64)], within: f64, ends: Ends) -> Result<Fit, CannotFit> {
        let count = size(samples.len());
        let meter = Meter::new(self.budget, count);
        meter.spent(Effort::Follows, self.beyond);
        let found = fit(samples, within, ends, &meter)?;
        self.take(samples.len(), found.cost)?;
        Ok(found)
    }

    /// Takes the cost of a curve that is known.
    ///
    /// # Errors
    /// With it the work is more than is allowed.
    pub(crate) fn take(&mut self, samples: usize, cost: u64) -> Result<(), CannotFit> {
        let [usual, with_samples] = [0, size(samples)].map(|n| self.budget.most(Effort::Follows, n));
        if self.beyond.saturating_add(cost) > with_samples {
            return Err(CannotFit::TooCostly { samples, most: with_samples });
        }
        self.beyond = self.beyond.saturating_add(cost.saturating_sub(with_samples.saturating_sub(usual)));
        Ok(())
    }
}

fn size(samples: usize) -> u64 {
    u64::try_from(samples).unwrap_or(u64::MAX)
}
