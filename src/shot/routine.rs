//! How a routine calls a layer: a figure's choreography in a file of its own, which a shot may use for any group, later and scaled.
//!
//! Invariant: numbers are in their bounds. A layer of the shot file itself is called by nothing: not later, not scaled, counting from where the shot counts.

use super::handed::Handed;
use crate::bounds::Flaw;
use crate::stage::GroupId;

/// How a layer is called. Frames are those of the layer's own file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Call {
    /// Frames by which it runs later.
    pub delay: f64,
    /// Factor on its value.
    pub scale: f64,
    /// Frame of the routine from which its cycles and drifts count; `None` for layers of the shot file.
    pub start: Option<f64>,
}

impl Default for Call {
    fn default() -> Call {
        Call { delay: 0.0, scale: 1.0, start: None }
    }
}

/// A checked call of a routine for a group.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Routine {
    /// The group whose channels its layers drive.
    pub group: GroupId,
    handed: Handed,
}

/// The frame from which a routine's cycles and drifts count where its file does not say.
pub(crate) const ROUTINE_START: f64 = 1.0;

impl Routine {
    /// Checks a call; `scale` gives factors by the channels' names within the group.
    ///
    /// # Errors
    /// Numbers out of range.
    pub(crate) fn new(group: GroupId, delay: f64, scale: Vec<(String, f64)>) -> Result<Routine, Vec<Flaw>> {
        Ok(Routine { group, handed: Handed::new(delay, scale)? })
    }

    /// How it calls a layer of a channel of this name within the group, in a file that counts from frame `start`.
    #[must_use]
    pub(crate) fn call(&self, channel: &str, start: f64) -> Call {
        Call { delay: self.handed.delay(), scale: self.handed.scale_of(channel), start: Some(start) }
    }
}
