//! What a copy and the call of a routine have in common: layers handed on, some frames later and scaled channel by channel.
//!
//! Invariant: delay and factors are in their bounds.

use crate::bounds::{self, Flaw};

/// Frames later, and factors by the channels' names within their group.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Handed {
    delay: f64,
    scale: Vec<(String, f64)>,
}

impl Handed {
    /// Checks delay and factors.
    ///
    /// # Errors
    /// Numbers out of range.
    pub(super) fn new(delay: f64, scale: Vec<(String, f64)>) -> Result<Handed, Vec<Flaw>> {
        let mut flaws: Vec<Flaw> = bounds::DELAY.check("delay", delay).err().into_iter().collect();
        for (i, (_, factor)) in scale.iter().enumerate() {
            flaws.extend(bounds::FACTOR.check("scale", *factor).err().map(|f| f.at_index(i)));
        }
        if flaws.is_empty() { Ok(Handed { delay, scale }) } else { Err(flaws) }
    }

    /// Frames by which the layers run later.
    pub(super) fn delay(&self) -> f64 {
        self.delay
    }

    /// The same with another delay, which was checked.
    pub(super) fn delayed(&self, delay: f64) -> Handed {
        Handed { delay, ..self.clone() }
    }

    /// Factor of a channel by its name within the group; 1 where none is given.
    pub(super) fn scale_of(&self, name: &str) -> f64 {
        self.scale.iter().find(|(n, _)| n == name).map_or(1.0, |(_, k)| *k)
    }
}
