//! What came of verifying a folder, as data.

use super::fault::Fault;
use super::scope::Scope;

/// What came of it.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub struct Verdict {
    /// Everything that does not hold, in the order in which it was found; empty where all holds.
    pub faults: Vec<Fault>,
    /// Files listed.
    pub files: usize,
    /// Passes compared.
    pub passes: usize,
    /// Axes compared.
    pub axes: usize,
    /// Frames compared.
    pub frames: usize,
    /// Aimed axes whose angles could not be found again; everything else was compared with what the folder has.
    pub not_computed: Vec<String>,
    /// How far the folder was looked at.
    pub scope: Scope,
}

impl Verdict {
    /// True where all holds.
    #[must_use]
    pub fn holds(&self) -> bool {
        self.faults.is_empty()
    }
}
