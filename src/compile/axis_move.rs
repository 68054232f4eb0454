//! One axis's motion in frame time: run-up, photographed span, run-down.

use super::ends::{self, Edge};
use super::fit::{Break, Coarse, FitError};
use crate::motion::Peaks;
use crate::motion::curve::{Curve, CurveBuilder};
use crate::motion::quintic::Node;
use crate::time::FrameTime;

/// What is known of one axis's motion.
#[derive(Debug, Clone)]
pub(crate) struct AxisMove {
    pub(super) curve: Curve,
    pub(super) photographed: core::ops::Range<usize>,
    pub(super) peaks: Peaks,
    pub(super) breaks: Vec<Break>,
    pub(super) coarse: Vec<Coarse>,
}

impl AxisMove {
    /// The whole curve: run-up, photographed span, run-down.
    #[must_use]
    pub(crate) fn curve(&self) -> &Curve {
        &self.curve
    }

    /// Position at an instant; `None` outside the move.
    #[must_use]
    pub(crate) fn at(&self, t: FrameTime) -> Option<f64> {
        self.curve.at(t.0)
    }

    /// Indices of the pieces of the photographed span.
    #[must_use]
    pub(crate) fn photographed(&self) -> core::ops::Range<usize> {
        self.photographed.clone()
    }

    /// Indices of the pieces of the run-up or run-down.
    #[must_use]
    pub(crate) fn edge(&self, edge: Edge) -> core::ops::Range<usize> {
        match edge {
            Edge::RunUp => 0..self.photographed.start,
            Edge::RunDown => self.photographed.end..self.curve.len(),
        }
    }

    /// The photographed span alone, as it was before run-up and run-down were added.
    pub(super) fn shown(&self) -> Shown {
        // The range is the move's own.
        let curve = self.curve.part(self.photographed()).unwrap_or_else(|| self.curve.clone());
        Shown { curve, peaks: self.peaks, breaks: self.breaks.clone(), coarse: self.coarse.clone() }
    }

    /// What the axis does at an edge of the photographed span.
    pub(crate) fn node(&self, edge: Edge) -> Node {
        let (index, u) = match edge {
            Edge::RunUp => (self.photographed.start, 0.0),
            Edge::RunDown => (self.photographed.end.saturating_sub(1), 1.0),
        };
        let Some(piece) = self.curve.piece(index) else { return Node::default() };
        let node = Node::from(piece.quintic.jet(u, piece.length()));
        // The run-down begins with the position in which the photographed span ends.
        if edge == Edge::RunDown { Node { p: self.curve.at(piece.end).unwrap_or(node.p), ..node } } else { node }
    }

    /// Extremes over the photographed span. Units: unit, unit/frame^k.
    #[must_use]
    pub(crate) fn peaks(&self) -> &Peaks {
        &self.peaks
    }

    /// Extremes over the run-up or run-down; `None` where there is none.
    #[must_use]
    pub(crate) fn edge_peaks(&self, edge: Edge) -> Option<Peaks> {
        Peaks::of(&self.curve, self.edge(edge))
    }

    /// Steps in acceleration.
    #[must_use]
    pub(crate) fn breaks(&self) -> &[Break] {
        &self.breaks
    }

    /// Where the curve is further from its signal than allowed.
    #[must_use]
    pub(crate) fn coarse(&self) -> &[Coarse] {
        &self.coarse
    }

    /// True where the axis stands still throughout the photographed span.
    #[must_use]
    pub(crate) fn never_moves(&self) -> bool {
        self.curve.pieces().skip(self.photographed.start).take(self.photographed.len()).all(|p| p.quintic.is_hold())
            && self.peaks.least.value == self.peaks.greatest.value
    }
}

/// The curve of the photographed span alone.
pub(super) struct Shown {
    pub(super) curve: Curve,
    pub(super) peaks: Peaks,
    pub(super) breaks: Vec<Break>,
    pub(super) coarse: Vec<Coarse>,
}

impl Shown {
    pub(super) fn node(&self, edge: Edge) -> Node {
        let (piece, u) = match edge {
            Edge::RunUp => (self.curve.piece(0), 0.0),
            Edge::RunDown => (self.curve.piece(self.curve.len() - 1), 1.0),
        };
        let node = piece.map_or(Node::default(), |p| Node::from(p.quintic.jet(u, p.length())));
        // The run-down begins with the position in which the curve ends.
        if edge == Edge::RunDown { Node { p: self.curve.at(self.curve.end()).unwrap_or(node.p), ..node } } else { node }
    }

    pub(super) fn whole(self, run_up: u32, run_down: u32) -> Result<AxisMove, FitError> {
        let before = usize::from(run_up > 0);
        let n = self.curve.len();
        if run_up == 0 && run_down == 0 {
            return Ok(AxisMove { curve: self.curve, photographed: 0..n, peaks: self.peaks, breaks: self.breaks, coarse: self.coarse });
        }
        let (start, end) = (self.curve.start(), self.curve.end());
        let (up, down) = (f64::from(run_up), f64::from(run_down));
        let mut whole = CurveBuilder::starting_at(start - up, n + 2);
        if run_up > 0 {
            whole.push(start, ends::piece(Edge::RunUp, self.node(Edge::RunUp), up));
        }
        whole.append(&self.curve);
        if run_down > 0 {
            whole.push(end + down, ends::piece(Edge::RunDown, self.node(Edge::RunDown), down));
        }
        Ok(AxisMove {
            curve: whole.finish()?,
            photographed: before..before + n,
            peaks: self.peaks,
            breaks: self.breaks,
            coarse: self.coarse,
        })
    }
}
