//! What a command ended with, as exit status.
//!
//! Invariant: scripts rely on the numbers; they never change.

/// What a command ended with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Outcome {
    /// All within limits: 0.
    Fine,
    /// A limit is exceeded or a check fails: 1.
    Over,
    /// The input or the call is wrong, or the output could not be written: 2.
    Wrong,
}

impl Outcome {
    /// Exit status.
    #[must_use]
    pub(crate) fn status(self) -> u8 {
        match self {
            Outcome::Fine => 0,
            Outcome::Over => 1,
            Outcome::Wrong => 2,
        }
    }
}
