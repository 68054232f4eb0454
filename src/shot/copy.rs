//! Copies: what one group does, handed on to another.
//!
//! Invariant: delay and factors are in their bounds. That copies run in no circle is checked where all are known.

use crate::bounds::{self, Flaw};
use crate::stage::GroupId;

/// One program, handed on: every channel of `to` gets what drives the channel of the same name in `from`, later and scaled.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Copy {
    from: GroupId,
    to: GroupId,
    delay: f64,
    scale: Vec<(String, f64)>,
}

impl Copy {
    /// Checks a copy between groups (indices of the stage); `scale` gives factors by the channels' names within the group.
    ///
    /// # Errors
    /// Numbers out of range.
    pub(crate) fn new(from: GroupId, to: GroupId, delay: f64, scale: Vec<(String, f64)>) -> Result<Copy, Vec<Flaw>> {
        let mut flaws = Vec::new();
        flaws.extend(bounds::DELAY.check("delay", delay).err());
        for (i, (_, factor)) in scale.iter().enumerate() {
            flaws.extend(bounds::FACTOR.check("scale", *factor).err().map(|f| f.at_index(i)));
        }
        if flaws.is_empty() { Ok(Copy { from, to, delay, scale }) } else { Err(flaws) }
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
        self.delay
    }

    /// The same with another delay, which was checked.
    pub(super) fn delayed(&self, delay: f64) -> Copy {
        Copy { delay, ..self.clone() }
    }

    /// Factor of a channel by its name within the group; 1 where none is given.
    #[must_use]
    pub(crate) fn scale_of(&self, name: &str) -> f64 {
        self.scale.iter().find(|(n, _)| n == name).map_or(1.0, |(_, k)| *k)
    }
}
