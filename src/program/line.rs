//! An axis's motion as pieces from second to second, one after the other.
//!
//! Invariant: no gap between them, and none without length.

use crate::motion::Quintic;
use crate::motion::curve::Curve;

/// A piece of an axis's motion, from second to second of the program.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Timed {
    pub(crate) start: f64,
    pub(crate) end: f64,
    pub(crate) quintic: Quintic,
}

/// Pieces one after the other.
#[derive(Debug, Default)]
pub(super) struct Line {
    pub(super) pieces: Vec<Timed>,
    end: f64,
}

impl Line {
    /// A piece from where the line ends now; one of no length is none.
    pub(super) fn push(&mut self, end: f64, quintic: Quintic) {
        if self.end < end {
            self.pieces.push(Timed { start: self.end, end, quintic });
            self.end = end;
        }
    }

    pub(super) fn hold(&mut self, end: f64, position: f64) {
        self.push(end, Quintic::hold(position));
    }

    /// A curve in seconds from `begin`; without one it stands.
    pub(super) fn curve(&mut self, begin: f64, curve: Option<&Curve>, stands: f64) {
        self.hold(begin, self.last().unwrap_or(stands));
        for piece in curve.into_iter().flat_map(Curve::pieces) {
            self.push(begin + piece.end, *piece.quintic);
        }
    }

    pub(super) fn last(&self) -> Option<f64> {
        self.pieces.last().map(|p| p.quintic.at(1.0))
    }
}
