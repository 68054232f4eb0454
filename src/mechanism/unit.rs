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
    /// Units of velocity, acceleration and jerk.
    pub(crate) fn rates(self) -> [&'static str; 3] {
        match self {
            Unit::Millimetre => ["mm/s", "mm/s2", "mm/s3"],
            Unit::Degree => ["deg/s", "deg/s2", "deg/s3"],
        }
    }

    /// `mm` or `deg`, as in files.
    #[must_use]
    pub fn symbol(self) -> &'static str {
        match self {
            Unit::Millimetre => "mm",
            Unit::Degree => "deg",
        }
    }
}
