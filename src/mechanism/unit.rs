//! The unit of an axis or a channel.

/// Unit of an axis or a channel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unit {
    /// Millimetres.
    Millimetre,
    /// Degrees.
    Degree,
}

impl Unit {
    /// `mm` or `deg`, as in files.
    #[must_use]
    pub fn symbol(self) -> &'static str {
        match self {
            Unit::Millimetre => "mm",
            Unit::Degree => "deg",
        }
    }
}
