//! Handles of what a stage has: axes, groups, channels; and tables with one value for each axis.
//!
//! Invariant: only a stage makes them, and each carries the mark of its stage, so that nothing of another stage is mixed in: [`Shot::new`] and
//! `Compiled::new` refuse it. Stages of the same groups, axes and channels share a mark. A [`PerAxis`] is as long as the stage it was made for, so a
//! look-up needs no default. Limits: two different stages share a mark once in 2^32 pairs; their ids are then still in order, only of other names.
//!
//! [`Shot::new`]: crate::shot::Shot::new

use core::ops::{Deref, Index};

use super::Stage;

/// What tells one stage from another: a hash of the names of its groups, axes and channels (FNV-1a, 32 bits; from memory).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Mark(u32);

impl Mark {
    /// The mark of these names, in their order.
    pub(super) fn of<'n>(names: impl Iterator<Item = &'n str>) -> Mark {
        let mut hash = 0x811c_9dc5_u32;
        // A byte that no name has ends each of them.
        for byte in names.flat_map(|n| n.bytes().chain(core::iter::once(0))) {
            hash = (hash ^ u32::from(byte)).wrapping_mul(0x0100_0193);
        }
        Mark(hash)
    }
}

macro_rules! id {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name {
            index: usize,
            mark: Mark,
        }

        impl $name {
            pub(super) fn new(index: usize, mark: Mark) -> Self {
                $name { index, mark }
            }

            /// Its place in the stage's own order.
            #[must_use]
            pub fn index(self) -> usize {
                self.index
            }

            /// The mark of the stage that made it.
            #[must_use]
            pub fn mark(self) -> Mark {
                self.mark
            }
        }
    };
}

id! {
    /// An axis of a stage.
    AxisId
}

id! {
    /// A group of a stage.
    GroupId
}

id! {
    /// A channel of a stage: what is animated. The axes' own channels come first, then those of mechanisms.
    ChannelId
}

#[cfg(test)]
impl ChannelId {
    /// A channel of no stage, for tests of what does not ask for it.
    pub(crate) fn of_no_stage() -> ChannelId {
        ChannelId::new(0, Mark(0))
    }
}

/// One value for each axis of a stage, in stage order.
#[derive(Debug, Clone, PartialEq)]
pub struct PerAxis<T> {
    values: Vec<T>,
}

impl<T> PerAxis<T> {
    /// A value for every axis of `stage`.
    pub fn new(stage: &Stage, value: impl FnMut(AxisId) -> T) -> PerAxis<T> {
        PerAxis { values: stage.axis_ids().map(value).collect() }
    }

    /// The same, where a value may be wanting: the first error.
    ///
    /// # Errors
    /// That of the first axis that has no value.
    pub fn try_new<E>(stage: &Stage, value: impl FnMut(AxisId) -> Result<T, E>) -> Result<PerAxis<T>, E> {
        Ok(PerAxis { values: stage.axis_ids().map(value).collect::<Result<Vec<T>, E>>()? })
    }

    /// The values of a list that has one for each axis of `stage`; `None` where it has not.
    #[must_use]
    pub fn of_all(stage: &Stage, values: Vec<T>) -> Option<PerAxis<T>> {
        (values.len() == stage.axes().len()).then_some(PerAxis { values })
    }

    /// While a stage is put together: its axes so far.
    pub(super) fn growing(values: Vec<T>) -> PerAxis<T> {
        PerAxis { values }
    }
}

impl<T> Deref for PerAxis<T> {
    type Target = [T];

    fn deref(&self) -> &[T] {
        &self.values
    }
}

impl<T> Index<AxisId> for PerAxis<T> {
    type Output = T;

    #[allow(
        clippy::indexing_slicing,
        reason = "ids and tables of one stage agree in length; those of other stages are refused where they enter"
    )]
    fn index(&self, id: AxisId) -> &T {
        &self.values[id.index]
    }
}
