//! Copies: what one group does, handed on to another.
//!
//! Invariant: delay and factors are in their bounds. That copies run in no circle is checked where all are known.

use super::handed::Handed;
use crate::bounds::Flaw;
use crate::stage::GroupId;

/// One program, handed on: every channel of `to` gets what drives the channel of the same name in `from`, later and scaled.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Copy {
    from: GroupId,
    to: GroupId,
    handed: Handed,
}

impl Copy {
    /// Checks a copy between groups (indices of the stage); `scale` gives factors by the channels' names within the group.
    ///
    /// # Errors
    /// Numbers out of range.
    pub(crate) fn new(from: GroupId, to: GroupId, delay: f64, scale: Vec<(String, f64)>) -> Result<Copy, Vec<Flaw>> {
        Ok(Copy { from, to, handed: Handed::new(delay, scale)? })
    }

    /// Group copied from.
    #[must_use]
    pub(crate) fn from(&self) -> GroupId {
        self.from
    }

    /// Group copied to.
    #[must_use]
    pub(crate) fn to(&self) -> GroupId {
        self.to
    }

    /// Frames by which it runs later.
    #[must_use]
    pub(crate) fn delay(&self) -> f64 {
        self.handed.delay()
    }

    /// The same with another delay, which was checked.
    pub(super) fn delayed(&self, delay: f64) -> Copy {
        Copy { handed: self.handed.delayed(delay), ..*self }
    }

    /// Factor of a channel by its name within the group; 1 where none is given.
    #[must_use]
    pub(crate) fn scale_of(&self, name: &str) -> f64 {
        self.handed.scale_of(name)
    }
}
