//! The move as it was measured: every axis off its curve by so much in each photographed frame.
//!
//! What: the deviation of a frame is added to the curve from half a frame before its middle to half a frame after, so that everything read from the curve at an instant of that exposure is
//! off by it. Limits: a position logged at the middle of an exposure says nothing of how the deviation changed while the shutter was open; between exposures the curve jumps,
//! so nothing may be judged or run from it.

use super::{AxisMove, Compiled, frame_time};
use crate::motion::Peaks;
use crate::motion::curve::{CurveBuilder, CurveError};
use crate::stage::PerAxis;

impl Compiled {
    /// The same with every axis off by `by` (unit of the axis), frame by frame of the photographed span, in their order; an axis without deviations stays as it is, and so does a frame
    /// beyond the end of the list.
    ///
    /// # Errors
    /// A deviation that is not finite.
    pub(crate) fn displaced(&self, by: &PerAxis<Vec<f64>>) -> Result<Compiled, CurveError> {
        let first = self.shot().frames().first();
        let mut flaw = None;
        let axes = PerAxis::new(self.stage(), |id| {
            let was = self.motion(id);
            if by[id].is_empty() {
                return was.clone();
            }
            displaced(was, frame_time(first), &by[id]).unwrap_or_else(|e| {
                flaw.get_or_insert(e);
                was.clone()
            })
        });
        match flaw {
            Some(flaw) => Err(flaw),
            None => Ok(self.with_motions(axes)),
        }
    }
}

fn displaced(was: &AxisMove, first: f64, by: &[f64]) -> Result<AxisMove, CurveError> {
    let photographed = was.photographed();
    let mut builder = CurveBuilder::starting_at(was.curve.start(), was.curve.len() + by.len());
    let mut range = 0..0;
    let mut pieces = 0;
    for piece in was.curve.pieces() {
        if piece.index == photographed.start {
            range.start = pieces;
        }
        // Within the photographed span a piece ends where the next frame begins, at the latest.
        let inside = photographed.contains(&piece.index);
        let whole = was.curve.uncut(&piece);
        while builder.end() < piece.end {
            let begin = builder.end();
            let frame = (begin - first + 0.5).floor();
            let next = if inside { (first + frame + 0.5).min(piece.end) } else { piece.end };
            // Beyond 2^52 frames a half no longer counts; the budget ends long before.
            let end = if begin < next { next } else { piece.end };
            let mut raised = *whole.quintic;
            raised.0[0] += if inside { deviation(by, frame) } else { 0.0 };
            builder.push_within(end, whole.start, whole.end, raised);
            pieces += 1;
        }
        if piece.index + 1 == photographed.end {
            range.end = pieces;
            if piece.end == was.curve.end() {
                builder.ends_at(was.curve.last() + by.last().copied().unwrap_or(0.0));
            }
        }
    }
    let curve = builder.finish()?;
    let peaks = Peaks::of(&curve, range.clone()).unwrap_or(was.peaks);
    Ok(AxisMove { curve, photographed: range, peaks, breaks: was.breaks.clone(), coarse: was.coarse.clone() })
}

/// The deviation of the frame with this number from the first on.
fn deviation(by: &[f64], frame: f64) -> f64 {
    crate::number::whole::nearest(frame).and_then(|n| usize::try_from(n).ok()).and_then(|n| by.get(n)).copied().unwrap_or(0.0)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "tests")]
mod tests {
    use super::*;
    use crate::motion::quintic::{Node, Quintic};

    /// From 9 to 13 in two pieces, frames 10 to 12 photographed.
    fn moving() -> AxisMove {
        let mut b = CurveBuilder::starting_at(8.5, 4);
        let node = |p, v| Node { p, v, a: 0.0 };
        for (end, from, to) in
            [(9.5, node(0.0, 0.0), node(1.0, 1.0)), (10.75, node(1.0, 1.0), node(2.25, 1.0)), (12.5, node(2.25, 1.0), node(4.0, 1.0))]
        {
            let h = end - b.end();
            b.push(end, Quintic::between(from, to, h));
        }
        let curve = b.finish().unwrap();
        let peaks = Peaks::of(&curve, 1..3).unwrap();
        AxisMove { curve, photographed: 1..3, peaks, breaks: Vec::new(), coarse: Vec::new() }
    }

    #[test]
    fn each_frame_is_off_by_its_own_deviation_and_nothing_else_is() {
        let was = moving();
        let is = displaced(&was, 10.0, &[0.5, -0.25, 0.0]).unwrap();
        for (t, off) in [
            (8.75, 0.0),
            (9.5, 0.5),
            (10.0, 0.5),
            (10.49, 0.5),
            (10.5, -0.25),
            (10.75, -0.25),
            (11.0, -0.25),
            (11.49, -0.25),
            (11.5, 0.0),
            (12.0, 0.0),
            (12.5, 0.0),
        ] {
            let (a, b) = (was.curve.at(t).unwrap(), is.curve.at(t).unwrap());
            assert!((b - a - off).abs() <= 1e-15 * 8.0, "{t}: {}", b - a);
        }
        assert_eq!((is.curve.start(), is.curve.end()), (8.5, 12.5));
        assert_eq!(is.edge(crate::compile::Edge::RunUp), 0..1);
        assert!((is.peaks.greatest.value - 4.0).abs() < 1e-12);
        // The last frame's own deviation holds to the end.
        let last = displaced(&was, 10.0, &[0.0, 0.0, 2.0]).unwrap();
        assert!((last.curve.at(12.5).unwrap() - 6.0).abs() < 1e-12);
        assert!(displaced(&was, 10.0, &[f64::NAN, 0.0, 0.0]).is_err());
    }
}
