//! The work of following one recording, counted.
//!
//! Unit: about a multiplication. Invariant: it is counted from sizes and rounds, so it is the same on every machine.

use core::cell::Cell;

use crate::bounds::{Effort, Excess, Meter};

/// What one fit costs.
#[derive(Debug)]
pub(super) struct Work<'m> {
    meter: &'m Meter,
    excess: Cell<Option<Excess>>,
}

impl<'m> Work<'m> {
    /// Counted on this meter.
    pub(super) fn on(meter: &'m Meter) -> Work<'m> {
        Work { meter, excess: Cell::new(None) }
    }

    /// Takes so much, which is done or about to be.
    pub(super) fn take(&self, units: usize) {
        if let Err(excess) = self.meter.spend(Effort::Follows, u64::try_from(units).unwrap_or(u64::MAX)) {
            self.excess.set(Some(excess));
        }
    }

    /// More was taken than is allowed.
    pub(super) fn excess(&self) -> Option<Excess> {
        self.excess.get()
    }

    /// True where no more is to be done.
    pub(super) fn is_used_up(&self) -> bool {
        self.excess.get().is_some()
    }
}
