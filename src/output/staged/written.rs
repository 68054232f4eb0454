//! What became of a target.

/// What became of a target.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Written {
    /// It was made.
    New,
    /// What existed was replaced.
    Replaced,
    /// An output folder with the same content was left as it is.
    UpToDate,
}
