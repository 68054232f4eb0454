//! A group of a stage: its name, and which of the stage's axes are its own. Invariant: the axes of a group follow each other in the stage.

use super::ids::AxisId;

/// A group of a stage.
#[derive(Debug, Clone)]
pub(crate) struct Group {
    name: String,
    axes: core::ops::Range<usize>,
}

impl Group {
    pub(super) fn new(name: String, axes: core::ops::Range<usize>) -> Group {
        Group { name, axes }
    }

    /// Name, `[a-z][a-z0-9_]*`.
    #[must_use]
    pub(crate) fn name(&self) -> &str {
        &self.name
    }

    /// True where the axis is one of its own.
    #[must_use]
    pub(crate) fn has(&self, axis: AxisId) -> bool {
        self.axes.contains(&axis.index())
    }
}
