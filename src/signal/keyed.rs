//! A curve through keys, with what it does outside them.
//!
//! Invariant: at a key's frame the piece that begins there starts with the key's value, bit for bit; the hold after the last key is that
//! key's value, bit for bit.

use super::knots;
use crate::motion::curve::{Curve, CurveBuilder};
use crate::motion::quintic::{Node, Quintic};
use crate::motion::signal::{Knot, Signal, SignalError, Stretch};
use crate::number::Jet;

/// What a curve does outside its keys.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Outside {
    /// It stands at the first or last key's value.
    Hold,
    /// It goes on in a straight line at its end speed.
    Straight,
}

/// Polynomial pieces between keys, and a hold or a straight line outside.
#[derive(Debug, Clone)]
pub(crate) struct KeyedCurve {
    curve: Option<Curve>,
    first: (f64, Node),
    last: (f64, Node),
}

impl KeyedCurve {
    /// The quintic pieces that meet position, velocity and acceleration at every node (frame time, node).
    ///
    /// # Errors
    /// Nodes out of order, or numbers that overflow.
    pub(crate) fn through_nodes(nodes: &[(f64, Node)], outside: Outside) -> Result<Self, SignalError> {
        let pairs = nodes.iter().zip(nodes.iter().skip(1));
        let pieces = pairs.map(|((f0, n0), (f1, n1))| Quintic::between(*n0, *n1, f1 - f0)).collect();
        KeyedCurve::of_pieces(nodes, pieces, outside)
    }

    /// Given pieces between nodes; the nodes say what happens at both ends.
    ///
    /// # Errors
    /// As [`KeyedCurve::through_nodes`]; and an empty list of nodes.
    pub(crate) fn of_pieces(nodes: &[(f64, Node)], pieces: Vec<Quintic>, outside: Outside) -> Result<Self, SignalError> {
        use crate::motion::curve::CurveError;
        let (Some(first), Some(last)) = (nodes.first().copied(), nodes.last().copied()) else {
            return Err(CurveError::Empty.into());
        };
        let mut builder = CurveBuilder::starting_at(first.0, pieces.len());
        for ((end, _), piece) in nodes.iter().skip(1).zip(&pieces) {
            builder.push(*end, *piece);
        }
        let curve = if pieces.is_empty() { None } else { Some(builder.finish()?) };
        let end = |(frame, node): (f64, Node)| match outside {
            Outside::Hold => (frame, Node::rest(node.p)),
            Outside::Straight => (frame, Node { a: 0.0, ..node }),
        };
        Ok(KeyedCurve { curve, first: end(first), last: end(last) })
    }

    /// Value and derivatives at `t` by the piece that holds at `branch`.
    #[must_use]
    pub(crate) fn jet(&self, t: f64, branch: f64) -> Jet {
        let straight = |(frame, node): (f64, Node)| Jet { p: node.p + node.v * (t - frame), v: node.v, a: 0.0, j: 0.0 };
        match &self.curve {
            Some(curve) if self.first.0 <= branch && branch < self.last.0 => {
                curve.piece_at(branch).map_or(straight(self.last), |piece| piece.jet(t))
            }
            _ if branch < self.first.0 => straight(self.first),
            _ => straight(self.last),
        }
    }

    /// Knots: the keys.
    pub(crate) fn knots(&self, out: &mut Vec<Knot>) {
        let knot = |at| Knot { at, key: true, is_break: false };
        match &self.curve {
            Some(curve) => out.extend(curve.knots().iter().copied().map(knot)),
            None => out.push(knot(self.first.0)),
        }
    }

    /// The curve from `from` to `to` in frame time, delayed and scaled, piece for piece: nothing is fitted. Where it is cut changes no position in it.
    ///
    /// # Errors
    /// Numbers that overflow.
    pub(crate) fn taken_over(&self, from: f64, to: f64, delay: f64, scale: f64) -> Result<Curve, SignalError> {
        let pieces = self.curve.as_ref().map_or(0, Curve::len);
        let mut out = CurveBuilder::starting_at(from, pieces + 2);
        let (first, last) = (self.first.0 + delay, self.last.0 + delay);
        if from < first {
            line_before((first, self.first.1, scale), from, to, &mut out);
        }
        // Where the curve ends at a knot it ends with what begins there.
        let begins = |frame: f64, p: f64, out: &mut CurveBuilder| {
            if frame == to && out.end() == to {
                out.ends_at(p * scale);
            }
        };
        for piece in self.curve.iter().flat_map(Curve::pieces) {
            let [p, ..] = piece.quintic.0;
            begins(piece.start + delay, p, &mut out);
            let quintic = if scale == 1.0 { *piece.quintic } else { piece.quintic.scaled(scale) };
            out.push_within(to, piece.start + delay, piece.end + delay, quintic);
        }
        begins(last, self.last.1.p, &mut out);
        if last < to {
            line_after((last, self.last.1, scale), to, &mut out);
        }
        Ok(out.finish()?)
    }
}

impl KeyedCurve {
    /// The piece that holds at `branch`, or the hold or straight line outside.
    #[must_use]
    pub(crate) fn stretch(&self, branch: f64) -> Stretch {
        let line = |(frame, node): (f64, Node)| Some((frame, 1.0, Quintic([node.p, node.v, 0.0, 0.0, 0.0, 0.0])));
        match &self.curve {
            Some(curve) if self.first.0 <= branch && branch < self.last.0 => match curve.piece_at(branch) {
                Some(p) => Stretch { from: p.start, to: p.end, polynomial: Some((p.start, p.length(), *p.quintic)) },
                None => Stretch { from: branch, to: branch, polynomial: None },
            },
            _ if branch < self.first.0 => Stretch { from: f64::NEG_INFINITY, to: self.first.0, polynomial: line(self.first) },
            _ => Stretch { from: self.last.0, to: f64::INFINITY, polynomial: line(self.last) },
        }
    }

    /// Its value where it stands still at `branch`.
    #[must_use]
    pub(crate) fn held_at(&self, branch: f64) -> Option<f64> {
        let Stretch { polynomial, .. } = self.stretch(branch);
        let (_, _, quintic) = polynomial.filter(|(_, _, q)| q.is_hold())?;
        Some(quintic.at(0.0))
    }
}

impl Signal for KeyedCurve {
    fn jet(&self, t: f64, branch: f64) -> Jet {
        KeyedCurve::jet(self, t, branch)
    }

    fn knots(&self, _from: f64, _to: f64, out: &mut Vec<Knot>) -> Result<(), SignalError> {
        KeyedCurve::knots(self, out);
        Ok(())
    }

    fn taken_over(&self, from: f64, to: f64, delay: f64, scale: f64) -> Option<Result<Curve, SignalError>> {
        Some(KeyedCurve::taken_over(self, from, to, delay, scale))
    }

    fn stretch(&self, branch: f64) -> Option<Stretch> {
        Some(KeyedCurve::stretch(self, branch))
    }
}

/// A key's place in frame time, what the curve does there, and the scale.
type Anchor = (f64, Node, f64);

/// The hold or straight line that leads up to the first key, in pieces that depend on that key alone.
fn line_before((first, node, scale): Anchor, from: f64, to: f64, out: &mut CurveBuilder) {
    if node.v == 0.0 {
        out.push(first.min(to), Quintic::hold(node.p * scale));
        return;
    }
    let mut reaches = vec![0.0];
    for reach in knots::strides() {
        reaches.push(reach);
        if !(from < first - reach) {
            break;
        }
    }
    for (far, near) in reaches.iter().skip(1).zip(&reaches).rev() {
        let (start, end) = (first - far, first - near);
        out.push_within(to, start, end, straight(node.p - node.v * far, node.v * (end - start), scale));
        if end == to {
            out.ends_at((node.p - node.v * near) * scale);
        }
    }
}

/// The hold or straight line after the last key.
fn line_after((last, node, scale): Anchor, to: f64, out: &mut CurveBuilder) {
    if node.v == 0.0 {
        out.push(to, Quintic::hold(node.p * scale));
        return;
    }
    let mut near = 0.0;
    for far in knots::strides() {
        let (start, end) = (last + near, last + far);
        if start == to {
            out.ends_at((node.p + node.v * near) * scale);
        }
        if to <= start {
            return;
        }
        out.push_within(to, start, end, straight(node.p + node.v * near, node.v * (end - start), scale));
        near = far;
    }
}

fn straight(p: f64, rise: f64, scale: f64) -> Quintic {
    Quintic([p * scale, rise * scale, 0.0, 0.0, 0.0, 0.0])
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    fn curve(outside: Outside) -> KeyedCurve {
        let nodes =
            [(2.0, Node { p: 1.0, v: 0.5, a: 0.0 }), (6.0, Node { p: 4.0, v: -0.25, a: 0.0 }), (9.0, Node { p: 4.5, v: 0.5, a: 0.0 })];
        KeyedCurve::through_nodes(&nodes, outside).unwrap()
    }

    #[test]
    fn outside_it_holds_or_goes_straight_on() {
        let hold = curve(Outside::Hold);
        assert_eq!(hold.jet(0.0, 0.0), Jet::constant(1.0));
        assert_eq!(hold.jet(20.0, 20.0), Jet::constant(4.5));
        let straight = curve(Outside::Straight);
        assert_eq!(straight.jet(0.0, 0.0), Jet { p: 0.0, v: 0.5, a: 0.0, j: 0.0 });
        assert_eq!(straight.jet(11.0, 11.0), Jet { p: 5.5, v: 0.5, a: 0.0, j: 0.0 });
    }

    #[test]
    fn taken_over_it_is_the_same_curve_later_and_scaled() {
        let k = curve(Outside::Straight);
        let c = k.taken_over(0.5, 15.5, 3.0, 2.0).unwrap();
        for i in 0..=150 {
            let t = 0.5 + f64::from(i) / 10.0;
            let want = k.jet(t - 3.0, t - 3.0).p * 2.0;
            assert!((c.at(t).unwrap() - want).abs() <= 1e-13 * (1.0 + want.abs()), "{t}");
        }
        assert_eq!(c.at(5.0), Some(2.0));
        assert_eq!(c.at(9.0), Some(8.0));
        assert_eq!(c.at(12.0), Some(9.0));
    }
}
