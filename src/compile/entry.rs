//! How a program begins that is part of another: where each axis stands, and from which side it has to come.
//!
//! Invariant: one entry for each axis of the stage. Without one a program begins at home and takes its side from its own first motion.

use crate::stage::PerAxis;

/// Which way an axis moves.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Direction {
    /// Towards greater positions.
    Up,
    /// Towards smaller positions.
    Down,
}

impl Direction {
    /// 1 or -1.
    pub(crate) fn sign(self) -> f64 {
        match self {
            Direction::Up => 1.0,
            Direction::Down => -1.0,
        }
    }

    /// Which way this leads; `None` for 0.
    pub(crate) fn of(way: f64) -> Option<Direction> {
        match (way > 0.0, way < 0.0) {
            (true, _) => Some(Direction::Up),
            (_, true) => Some(Direction::Down),
            _ => None,
        }
    }
}

/// How a program begins.
#[derive(Debug, Clone)]
pub(crate) struct Entry {
    /// Where each axis stands at 0 s. Unit: unit.
    pub(crate) stands: PerAxis<f64>,
    /// The side from which each axis comes to its start: it arrives moving this way. `None` to take it from the first motion.
    pub(crate) sides: PerAxis<Option<Direction>>,
}
