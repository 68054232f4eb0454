//! What plays a recording: drives of its own, or a figure of the stage.

use super::performance::Performance;
use super::rig::Rig;
use super::rig_beat::RigBeat;

/// What plays a recording, where that was asked.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Plays<'a> {
    /// Its drives, as they are written.
    pub(crate) drives: Option<&'a Performance>,
    /// A figure of the stage.
    pub(crate) rig: Option<&'a Rig<'a>>,
    /// The figure's beat, as it is written.
    pub(crate) beat: Option<&'a RigBeat>,
}
