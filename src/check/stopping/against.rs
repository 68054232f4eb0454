//! What an axis would run into. Invariant: a carriage is named by the axis that moves it.

use crate::stage::AxisId;

/// What an axis would run into.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Against {
    /// The lower or upper end of its travel.
    Travel,
    /// The next carriage on its rail.
    Carriage(AxisId),
}
