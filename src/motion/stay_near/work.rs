//! The work of following one recording, counted.
//!
//! Unit: about a multiplication. Invariant: it is counted from sizes and rounds, so it is the same on every machine.

use core::cell::Cell;

/// What one fit costs, beside what it may.
#[derive(Debug)]
pub(super) struct Work {
    most: u64,
    used: Cell<u64>,
}

impl Work {
    /// Nothing used.
    pub(super) fn new(most: u64) -> Work {
        Work { most, used: Cell::new(0) }
    }

    /// Takes so much, which is done or about to be.
    pub(super) fn take(&self, units: usize) {
        self.used.set(self.used.get().saturating_add(u64::try_from(units).unwrap_or(u64::MAX)));
    }

    /// What was taken.
    pub(super) fn used(&self) -> u64 {
        self.used.get()
    }

    /// True where more was taken than is allowed: no more is to be done.
    pub(super) fn is_used_up(&self) -> bool {
        self.used.get() > self.most
    }
}
