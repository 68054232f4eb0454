//! How far rows go along a program.
//!
//! Invariant: every extent begins at 0 s and ends where all axes rest.

/// How far rows go.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Extent {
    /// To the end of the move to start: nothing is exposed.
    ToStart,
    /// To the end of the run-down, or of the last slot.
    Program,
    /// To the end of the return home.
    ReturnHome,
}
