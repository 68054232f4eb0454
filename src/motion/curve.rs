//! A curve in frame time: quintic pieces end to end.
//!
//! Invariant: at least one piece; piece starts strictly increasing; every number finite. A time belongs to the piece whose half-open span
//! [start, next start) holds it, the last span closed, so every time has exactly one piece and a key at a knot is
//! the first coefficient of the piece that begins there, bit for bit. Positions of a piece that the curve shows only a part of are computed by the piece as it was
//! before the cut: where a curve is cut changes no position in it, bit for bit. Its part as a polynomial of its own ([`Piece::quintic`]) agrees with that but for
//! rounding: extremes and bounds are taken from it.

use super::quintic::Quintic;
use crate::number::Jet;

/// Quintic pieces over consecutive spans of frame time. Unit of position: mm or deg.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    knots: Vec<f64>,
    pieces: Vec<Quintic>,
    cuts: Vec<Cut>,
    last: f64,
}

/// A piece as it was before a cut.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Cut {
    index: usize,
    start: f64,
    end: f64,
    quintic: Quintic,
}

/// Why pieces do not make a curve.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum CurveError {
    /// A piece would end where it starts, or before, or at a NaN.
    #[error("a piece from frame {from} would end at frame {to}; it must end later")]
    NotForward {
        /// Start of the piece, frames.
        from: f64,
        /// End asked for, frames.
        to: f64,
    },
    /// A coefficient is not finite.
    #[error("a coefficient of the piece from frame {from} is not finite")]
    NotFinite {
        /// Start of the piece, frames.
        from: f64,
    },
    /// No piece at all.
    #[error("a curve needs at least one piece")]
    Empty,
}

/// One piece with its place in frame time.
#[derive(Debug, Clone, Copy)]
pub struct Piece<'a> {
    /// Index within the curve.
    pub index: usize,
    /// Frame time at which it starts.
    pub start: f64,
    /// Frame time at which it ends.
    pub end: f64,
    /// Its polynomial.
    pub quintic: &'a Quintic,
}

impl Piece<'_> {
    /// Position at frame time `t`, by this piece's polynomial even outside its span.
    #[must_use]
    pub fn at(&self, t: f64) -> f64 {
        self.quintic.at((t - self.start) / self.length())
    }

    /// Length in frames.
    #[must_use]
    pub fn length(&self) -> f64 {
        self.end - self.start
    }

    /// Position and derivatives at frame time `t`, by this piece's polynomial even outside its span.
    #[must_use]
    pub fn jet(&self, t: f64) -> Jet {
        let h = self.length();
        self.quintic.jet((t - self.start) / h, h)
    }
}

/// Puts a curve together, piece after piece.
#[derive(Debug, Clone)]
pub struct CurveBuilder {
    knots: Vec<f64>,
    pieces: Vec<Quintic>,
    cuts: Vec<Cut>,
    last: Option<f64>,
    flaw: Option<CurveError>,
}

impl CurveBuilder {
    /// Begins at frame time `start`, with room for `pieces`.
    #[must_use]
    pub fn starting_at(start: f64, pieces: usize) -> Self {
        let mut knots = Vec::with_capacity(pieces + 1);
        knots.push(start);
        CurveBuilder { knots, pieces: Vec::with_capacity(pieces), cuts: Vec::new(), last: None, flaw: None }
    }

    /// Adds a piece that runs from where the curve ends now to frame time `end`.
    pub fn push(&mut self, end: f64, quintic: Quintic) {
        let from = self.end();
        if self.flaw.is_none() {
            if !(from < end && end.is_finite()) {
                self.flaw = Some(CurveError::NotForward { from, to: end });
            } else if !quintic.0.iter().all(|c| c.is_finite()) {
                self.flaw = Some(CurveError::NotFinite { from });
            }
        }
        self.knots.push(end);
        self.pieces.push(quintic);
        self.last = None;
    }

    /// Adds as much of a piece from frame time `start` to `end` as lies after the end of the curve and before `to`. Of a piece that is cut, positions stay what they
    /// are without the cut, bit for bit. A piece that lies outside altogether adds nothing.
    pub fn push_within(&mut self, to: f64, start: f64, end: f64, quintic: Quintic) {
        let from = self.end();
        if end <= from || to <= start {
            return;
        }
        if from <= start && end <= to {
            self.push(end, quintic);
            return;
        }
        let (first, last) = (start.max(from), end.min(to));
        let h = end - start;
        self.cuts.push(Cut { index: self.pieces.len(), start, end, quintic });
        // The width from the frame times, not from local times: of a sliver these have no digits left.
        self.push(last, quintic.stretch((first - start) / h, (last - first) / h));
    }

    /// Adds the pieces of a curve that starts where this one ends.
    pub(crate) fn append(&mut self, curve: &Curve) {
        let before = self.pieces.len();
        self.cuts.extend(curve.cuts.iter().map(|cut| Cut { index: cut.index + before, ..*cut }));
        for piece in curve.pieces() {
            self.push(piece.end, *piece.quintic);
        }
        self.ends_at(curve.last);
    }

    /// The position where the curve ends now: that with which a next piece would begin. Without it, it is the last piece's own.
    pub(crate) fn ends_at(&mut self, position: f64) {
        if self.flaw.is_none() && !position.is_finite() {
            self.flaw = Some(CurveError::NotFinite { from: self.end() });
        }
        self.last = Some(position);
    }

    /// Frame time at which the curve ends so far.
    #[must_use]
    pub fn end(&self) -> f64 {
        self.knots.last().copied().unwrap_or(f64::NAN)
    }

    /// The curve.
    ///
    /// # Errors
    /// The first thing that was wrong with a piece.
    pub fn finish(self) -> Result<Curve, CurveError> {
        if let Some(flaw) = self.flaw {
            return Err(flaw);
        }
        let Some(own) = self.pieces.last().map(|q| q.at(1.0)) else { return Err(CurveError::Empty) };
        let mut curve = Curve { knots: self.knots, pieces: self.pieces, cuts: self.cuts, last: own };
        if let Some(last) = self.last {
            curve.last = last;
        } else if let Some(piece) = curve.piece(curve.len() - 1).filter(|piece| curve.is_cut(piece.index)) {
            curve.last = curve.uncut(&piece).at(curve.end());
        }
        Ok(curve)
    }
}

impl Curve {
    /// The pieces `range` as a curve of their own, bit for bit; `None` for a range that holds no piece.
    #[must_use]
    pub(crate) fn part(&self, range: core::ops::Range<usize>) -> Option<Curve> {
        let pieces = self.pieces.get(range.clone()).filter(|p| !p.is_empty())?.to_vec();
        let knots = self.knots.get(range.start..=range.end)?.to_vec();
        let cuts = self.cuts.iter().filter(|c| range.contains(&c.index)).map(|c| Cut { index: c.index - range.start, ..*c }).collect();
        let last = self.at(*knots.last()?)?;
        Some(Curve { knots, pieces, cuts, last })
    }

    /// Frame time at which the curve starts.
    #[must_use]
    pub fn start(&self) -> f64 {
        self.knots.first().copied().unwrap_or(f64::NAN)
    }

    /// Frame time at which the curve ends.
    #[must_use]
    pub fn end(&self) -> f64 {
        self.knots.last().copied().unwrap_or(f64::NAN)
    }

    /// Position at its end.
    #[must_use]
    pub(crate) fn last(&self) -> f64 {
        self.last
    }

    /// Number of pieces, at least one.
    #[must_use]
    pub(crate) fn len(&self) -> usize {
        self.pieces.len()
    }

    /// Where it stands from start to end; `None` where it moves.
    #[must_use]
    pub(crate) fn still(&self) -> Option<f64> {
        self.pieces.iter().all(|q| q.is_hold() && q.at(0.0) == self.last).then_some(self.last)
    }

    /// The pieces in order.
    pub fn pieces(&self) -> impl DoubleEndedIterator<Item = Piece<'_>> + ExactSizeIterator + Clone {
        let ends = self.knots.iter().skip(1).copied();
        self.pieces.iter().zip(self.knots.iter().copied().zip(ends)).enumerate().map(|(index, (quintic, (start, end)))| Piece {
            index,
            start,
            end,
            quintic,
        })
    }

    /// The piece that holds frame time `t`; the first or last one for times outside.
    #[must_use]
    pub fn piece_at(&self, t: f64) -> Option<Piece<'_>> {
        let after = self.knots.partition_point(|k| *k <= t);
        let index = after.saturating_sub(1).min(self.pieces.len().saturating_sub(1));
        self.piece(index)
    }

    /// The piece of this index.
    #[must_use]
    pub(crate) fn piece(&self, index: usize) -> Option<Piece<'_>> {
        Some(Piece { index, start: *self.knots.get(index)?, end: *self.knots.get(index + 1)?, quintic: self.pieces.get(index)? })
    }

    /// The piece as it was before a cut, by which positions are computed; any other piece as it is.
    #[must_use]
    pub(crate) fn uncut<'a>(&'a self, piece: &Piece<'a>) -> Piece<'a> {
        match self.cuts.iter().find(|cut| cut.index == piece.index) {
            Some(cut) => Piece { index: cut.index, start: cut.start, end: cut.end, quintic: &cut.quintic },
            None => *piece,
        }
    }

    fn is_cut(&self, index: usize) -> bool {
        self.cuts.iter().any(|cut| cut.index == index)
    }

    /// Position at frame time `t`; `None` outside the curve (nothing is clamped).
    #[must_use]
    pub fn at(&self, t: f64) -> Option<f64> {
        if !(self.start() <= t && t <= self.end()) {
            return None;
        }
        if t == self.end() {
            return Some(self.last);
        }
        Some(self.uncut(&self.piece_at(t)?).at(t))
    }

    /// Position and derivatives at frame time `t`, from the piece that begins there where `t` is a knot; `None` outside.
    #[must_use]
    pub fn jet(&self, t: f64) -> Option<Jet> {
        if !(self.start() <= t && t <= self.end()) {
            return None;
        }
        Some(self.uncut(&self.piece_at(t)?).jet(t))
    }

    /// The first and last index of the pieces that overlap the span `from..to` with more than a point.
    #[must_use]
    pub(crate) fn overlapping(&self, from: f64, to: f64) -> core::ops::Range<usize> {
        let first = self.knots.partition_point(|k| *k <= from).saturating_sub(1);
        let end = self.knots.partition_point(|k| *k < to).min(self.pieces.len());
        first.min(end)..end
    }

    /// The knots: every piece's start and the last one's end.
    #[must_use]
    pub fn knots(&self) -> &[f64] {
        &self.knots
    }
}

/// Positions of a curve at rising times, without searching anew for each: the reader walks along the pieces.
#[derive(Debug)]
pub(crate) struct Walk<'a> {
    curve: &'a Curve,
    index: usize,
}

impl<'a> Walk<'a> {
    /// Starts at the beginning of `curve`.
    #[must_use]
    pub(crate) fn new(curve: &'a Curve) -> Self {
        Walk { curve, index: 0 }
    }

    /// What it walks along.
    #[must_use]
    pub(crate) fn curve(&self) -> &'a Curve {
        self.curve
    }

    /// Position at `t`, which must not be before the time asked last; equal to [`Curve::at`] bit for bit.
    pub(crate) fn at(&mut self, t: f64) -> Option<f64> {
        while let Some(next) = self.curve.knots.get(self.index + 1) {
            if t < *next || self.index + 1 >= self.curve.pieces.len() {
                break;
            }
            self.index += 1;
        }
        if !(self.curve.start() <= t && t <= self.curve.end()) {
            return None;
        }
        if t == self.curve.end() {
            return Some(self.curve.last);
        }
        Some(self.curve.uncut(&self.curve.piece(self.index)?).at(t))
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::motion::quintic::Node;

    fn two() -> Curve {
        let mut b = CurveBuilder::starting_at(1.0, 2);
        b.push(5.0, Quintic::between(Node::rest(0.0), Node::rest(2.0), 4.0));
        b.push(7.0, Quintic::hold(2.0));
        b.finish().unwrap()
    }

    #[test]
    fn trap_a_time_on_a_boundary_belongs_to_exactly_one_piece() {
        let c = two();
        assert_eq!(c.piece_at(5.0).unwrap().index, 1);
        assert_eq!(c.piece_at(f64::from_bits(5.0_f64.to_bits() - 1)).unwrap().index, 0);
        assert_eq!(c.at(7.0), Some(2.0));
        assert_eq!(c.at(7.000_001), None);
        assert_eq!(c.at(0.999), None);
        assert_eq!(c.at(f64::NAN), None);
    }

    #[test]
    fn what_stands_stands_at_one_place_alone() {
        let of = |at: [f64; 2]| {
            let mut b = CurveBuilder::starting_at(1.0, 2);
            b.push(5.0, Quintic::hold(at[0]));
            b.push(7.0, Quintic::hold(at[1]));
            b.finish().unwrap().still()
        };
        // Two places that differ by an ulp are two.
        assert_eq!((of([2.0, 2.0]), of([2.0, 2.0_f64.next_up()]), two().still()), (Some(2.0), None, None));
    }

    #[test]
    fn walking_gives_the_bits_of_looking_up() {
        let c = two();
        let mut walk = Walk::new(&c);
        for i in 0..=600 {
            let t = 1.0 + f64::from(i) / 100.0;
            assert_eq!(walk.at(t).map(f64::to_bits), c.at(t).map(f64::to_bits));
        }
    }

    /// Where a curve is cut, in steps of its own: every position of the part is that of the whole, to the last bit.
    #[test]
    fn a_cut_changes_no_bit_of_a_position() {
        let q = Quintic::between(Node { p: 0.1, v: 0.37, a: -0.2 }, Node { p: 7.3, v: -1.1, a: 0.3 }, 9.7 - 1.3);
        let mut b = CurveBuilder::starting_at(1.3, 2);
        b.push(9.7, q);
        b.push(12.0, Quintic([7.3, 1.0, 0.5, 0.25, -0.125, 0.0625]));
        let whole = b.finish().unwrap();
        for i in 0..40 {
            for k in i + 1..=40 {
                let (from, to) = (1.3 + f64::from(i) * 0.26, 1.3 + f64::from(k) * 0.26);
                let mut b = CurveBuilder::starting_at(from, 2);
                for piece in whole.pieces() {
                    b.push_within(to, piece.start, piece.end, *piece.quintic);
                }
                let part = b.finish().unwrap();
                assert_eq!((part.start(), part.end()), (from, to));
                let mut walk = Walk::new(&part);
                for n in 0..=100 {
                    let t = (from + (to - from) * f64::from(n) / 100.0).min(to);
                    assert_eq!(part.at(t).map(f64::to_bits), whole.at(t).map(f64::to_bits), "{from} {to} {t}");
                    assert_eq!(walk.at(t).map(f64::to_bits), whole.at(t).map(f64::to_bits));
                    let (own, cut) = (part.jet(t).unwrap(), part.piece_at(t).unwrap().jet(t));
                    assert!((own.v - cut.v).abs() < 1e-12 && (own.a - cut.a).abs() < 1e-11 && (own.j - cut.j).abs() < 1e-9);
                }
            }
        }
    }

    #[test]
    fn a_curve_appended_keeps_its_cuts_and_its_end() {
        let mut b = CurveBuilder::starting_at(0.3, 1);
        b.push_within(0.9, 0.0, 1.0, Quintic([1.0, 2.0, 3.0, 4.0, 5.0, 6.0]));
        let part = b.finish().unwrap();
        let mut b = CurveBuilder::starting_at(-1.0, 2);
        b.push(0.3, Quintic::hold(0.0));
        b.append(&part);
        let joined = b.finish().unwrap();
        for t in [0.3, 0.4, 0.7, 0.9] {
            assert_eq!(joined.at(t).map(f64::to_bits), part.at(t).map(f64::to_bits));
        }
        assert_eq!(joined.len(), 2);
        assert_eq!((joined.part(1..2), joined.part(0..0), joined.part(1..3)), (Some(part), None, None));
    }

    #[test]
    fn overlap_leaves_out_pieces_that_only_touch() {
        let c = two();
        assert_eq!(c.overlapping(1.0, 5.0), 0..1);
        assert_eq!(c.overlapping(5.0, 6.0), 1..2);
        assert_eq!(c.overlapping(2.0, 6.0), 0..2);
    }

    #[test]
    fn backward_or_infinite_pieces_are_refused() {
        let mut b = CurveBuilder::starting_at(1.0, 1);
        b.push(1.0, Quintic::hold(0.0));
        assert!(matches!(b.finish(), Err(CurveError::NotForward { .. })));
        let mut b = CurveBuilder::starting_at(1.0, 1);
        b.push(2.0, Quintic::hold(f64::NAN));
        assert!(matches!(b.finish(), Err(CurveError::NotFinite { .. })));
        assert!(matches!(CurveBuilder::starting_at(1.0, 0).finish(), Err(CurveError::Empty)));
    }
}
