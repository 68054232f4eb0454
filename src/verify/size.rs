//! The size at which hand-off files have their lengths: the model's own, or that of the real thing.

/// Whose lengths a file has.
#[derive(Debug, Clone, Copy)]
pub(super) struct Size {
    /// What a length in mm is divided by.
    pub(super) divisor: f64,
    /// `model` or `full`.
    pub(super) name: &'static str,
}
