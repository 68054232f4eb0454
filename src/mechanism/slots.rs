//! The numbers that a mechanism is asked with and answers in: as many as it has channels or axes, without memory of their own.
//!
//! Invariant: at most [`MOST_DRIVEN`] are used; what is not given is no number.

use super::real::Real;
use crate::bounds::MOST_DRIVEN;

/// Numbers of one mechanism, one for each of its channels or axes.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Slots<T> {
    values: [T; MOST_DRIVEN],
    used: usize,
}

impl<T: Real> Slots<T> {
    /// No numbers yet: NaN in each.
    pub(crate) fn new(used: usize) -> Slots<T> {
        Slots { values: [T::constant(f64::NAN); MOST_DRIVEN], used: used.min(MOST_DRIVEN) }
    }

    pub(crate) fn as_slice(&self) -> &[T] {
        self.values.get(..self.used).unwrap_or_default()
    }

    pub(crate) fn as_mut_slice(&mut self) -> &mut [T] {
        self.values.get_mut(..self.used).unwrap_or_default()
    }
}
