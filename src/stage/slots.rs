//! The numbers that a mechanism is asked with and answers in: as many as it has channels or axes, without memory of their own.
//!
//! Invariant: at most [`MOST_DRIVEN`] are used; what is not given is no number.

use crate::bounds::MOST_DRIVEN;
use crate::mechanism::Real;

/// Numbers of one mechanism, one for each of its channels or axes.
#[derive(Debug, Clone, Copy)]
pub(super) struct Slots<T> {
    values: [T; MOST_DRIVEN],
    used: usize,
}

impl<T: Real> Slots<T> {
    /// No numbers yet: NaN in each.
    pub(super) fn new(used: usize) -> Slots<T> {
        Slots { values: [T::constant(f64::NAN); MOST_DRIVEN], used: used.min(MOST_DRIVEN) }
    }

    pub(super) fn as_slice(&self) -> &[T] {
        self.values.get(..self.used).unwrap_or_default()
    }

    pub(super) fn as_mut_slice(&mut self) -> &mut [T] {
        self.values.get_mut(..self.used).unwrap_or_default()
    }
}
