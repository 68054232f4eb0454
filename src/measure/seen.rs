//! One axis at one row of pass and log.

/// The row that is taken in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Seen {
    pub(super) frame: i64,
    /// Commanded position.
    pub(super) target: f64,
    /// Logged position; NaN where there is none.
    pub(super) logged: f64,
}

impl Seen {
    pub(super) fn deviation(&self) -> f64 {
        self.logged - self.target
    }
}
