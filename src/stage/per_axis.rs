//! One value for each axis of a stage.
//!
//! Invariant: as long as the stage it was made for, so a look-up needs no default. Limits: ids of other stages are refused where they enter, not here.

use core::ops::Index;

use super::ids::AxisId;

/// One value for each axis of a stage, in stage order.
#[derive(Debug, Clone, PartialEq)]
pub struct PerAxis<T> {
    values: Vec<T>,
}

impl<T> PerAxis<T> {
    /// The values of all axes, in stage order.
    pub(super) fn of(values: Vec<T>) -> PerAxis<T> {
        PerAxis { values }
    }

    /// The values in stage order, as a slice.
    #[must_use]
    pub fn as_slice(&self) -> &[T] {
        &self.values
    }

    /// The value of the first axis.
    #[must_use]
    pub fn first(&self) -> Option<&T> {
        self.values.first()
    }

    /// How many axes the stage has.
    #[must_use]
    pub fn len(&self) -> usize {
        self.values.len()
    }

    /// True where the stage has no axis.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.values.is_empty()
    }

    /// The values in stage order.
    pub fn iter(&self) -> core::slice::Iter<'_, T> {
        self.values.iter()
    }
}

impl<'a, T> IntoIterator for &'a PerAxis<T> {
    type Item = &'a T;
    type IntoIter = core::slice::Iter<'a, T>;

    fn into_iter(self) -> Self::IntoIter {
        self.iter()
    }
}

impl<T> Index<AxisId> for PerAxis<T> {
    type Output = T;

    #[allow(
        clippy::indexing_slicing,
        reason = "ids and tables of one stage agree in length; those of other stages are refused where they enter"
    )]
    fn index(&self, id: AxisId) -> &T {
        &self.values[id.index()]
    }
}
