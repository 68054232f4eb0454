//! Handles of what a stage has: axes, groups, channels.
//!
//! Invariant: only a stage makes them, and each carries the mark of its stage, so that nothing of another stage is mixed in: [`Shot::new`] and
//! `Compiled::new` refuse it. Stages of the same groups, axes and channels share a mark. Limits: two different stages share a mark once in 2^32 pairs; their ids are then still in order, only of other names.
//!
//! [`Shot::new`]: crate::shot::Shot::new

/// Identifies a stage: a hash of the names of its groups, axes and channels (FNV-1a, 32 bits; from memory).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(crate) struct Mark(u32);

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
    ($(#[$doc:meta])* $visible:vis $name:ident) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        $visible struct $name {
            index: usize,
            mark: Mark,
        }

        impl $name {
            pub(super) fn new(index: usize, mark: Mark) -> Self {
                $name { index, mark }
            }

            /// Its place in the stage's own order.
            #[must_use]
            $visible fn index(self) -> usize {
                self.index
            }

            /// The mark of the stage that made it.
            #[must_use]
            pub(crate) fn mark(self) -> Mark {
                self.mark
            }
        }
    };
}

id! {
    /// An axis of a stage.
    pub AxisId
}

id! {
    /// A group of a stage.
    pub(crate) GroupId
}

id! {
    /// A channel of a stage: what is animated. The axes' own channels come first, then those of mechanisms.
    pub(crate) ChannelId
}

#[cfg(test)]
impl ChannelId {
    /// A channel of no stage, for tests of what does not ask for it.
    pub(crate) fn of_no_stage() -> ChannelId {
        ChannelId::new(0, Mark(0))
    }
}
