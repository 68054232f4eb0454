//! From a signal to pieces: taken over where it is polynomial, fitted where it is not.
//!
//! What: between two knots the piece is the quintic that meets the signal's position, velocity and acceleration at both ends; the interval
//! is halved until the piece is close enough in position, velocity, acceleration and jerk. The jets are exact, so what is measured
//! at a place is exact; between places: on a knot-free interval of length h the error of this interpolation is
//! f6/720 t^3 (h-t)^3 plus higher terms (the Hermite remainder, any numerical analysis textbook), whose jerk is largest at the two
//! ends, where it is measured. With f6 varying by less than half of itself over the interval the error between the places
//! asked is below 1.5 times the largest measured; half of each tolerance is demanded, so the whole of it is kept. The property tests
//! sample densely against it.
//! Every interval between knots is fitted whole, from its knot before the span to its knot after it, and halved at dyadic fractions of itself; the span then
//! shows a part of the first and last piece. So a piece depends on signal, knots and tolerance only: another span finds it again to the last bit. Of the halves
//! only those are fitted that the span touches; a signal may be out of reach beyond the span, and is halved until the pieces that are needed lie before that.
//! Where retimes leave a track of polynomials straight parts, the pieces there are those polynomials: only its corners are fitted.
//! Invariant: neighbouring pieces share the position, velocity and acceleration of the knot between them bit for bit, except at breaks.
//! Limits: a signal that goes out of reach less than 1/4096 frame before or after the span is refused. Below that length a piece is taken as it is; where it is then
//! not close enough, as near a singular place of a mechanism, that is recorded with the size of the miss ([`Coarse`]).

use super::tolerance::Allowance;
use crate::bounds::{Effort, Excess, Meter};
use crate::motion::curve::{Curve, CurveBuilder, CurveError};
use crate::motion::quintic::{Node, Quintic};
use crate::number::Jet;
use crate::signal::{AxisSignal, NoPlace, SignalError};

/// Why a signal could not become a curve.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub(crate) enum FitError {
    /// The signal itself cannot be formed.
    #[error(transparent)]
    Signal(#[from] SignalError),
    /// The signal is not finite somewhere.
    #[error("the curve is not finite at frame {at}")]
    NotFinite {
        /// Frame time.
        at: f64,
    },
    /// A mechanism cannot take the place its channels ask for, or a target cannot be aimed at.
    #[error("at frame {at}: {error}")]
    OutOfReach {
        /// Frame time.
        at: f64,
        /// What is out of reach, and what can be reached.
        error: NoPlace,
    },
    /// A signal jumps: no motor follows.
    #[error("at frame {} the {what} jumps by {}", frame(*at), legible(*by))]
    Jump {
        /// Frame time.
        at: f64,
        /// `position` or `velocity`.
        what: &'static str,
        /// By how much; unit, or unit/frame.
        by: f64,
    },
    /// The pieces do not make a curve.
    #[error(transparent)]
    Curve(#[from] CurveError),
    /// More work than the budget allows.
    #[error("{excess} by frame {}, with all axes before it", frame(*at))]
    TooCostly {
        /// Frame time reached.
        at: f64,
        /// What was too much.
        excess: Excess,
    },
}

impl FitError {
    /// Frame time it is about; infinite where it is about no instant.
    #[must_use]
    pub(crate) fn at(&self) -> f64 {
        match self {
            FitError::NotFinite { at } | FitError::OutOfReach { at, .. } | FitError::TooCostly { at, .. } | FitError::Jump { at, .. } => {
                *at
            }
            FitError::Signal(_) | FitError::Curve(_) => f64::INFINITY,
        }
    }

    /// True where two axes of one mechanism or aim fail for one cause.
    #[must_use]
    pub(crate) fn same_cause(&self, other: &FitError) -> bool {
        core::mem::discriminant(self) == core::mem::discriminant(other)
    }
}

/// A frame to a thousandth, however large its number.
fn frame(at: f64) -> f64 {
    format!("{at:.3}").parse().unwrap_or(at)
}

/// A number to six digits.
fn legible(x: f64) -> f64 {
    format!("{x:.5e}").parse().unwrap_or(x)
}

/// A signal as a curve.
#[derive(Debug, Clone)]
pub(crate) struct Fitted {
    /// The curve.
    pub curve: Curve,
    /// Steps in acceleration.
    pub breaks: Vec<Break>,
    /// Where it is not within what was allowed.
    pub coarse: Vec<Coarse>,
}

impl Fitted {
    fn exact(curve: Curve) -> Fitted {
        Fitted { curve, breaks: Vec::new(), coarse: Vec::new() }
    }
}

/// A stretch of pieces that cannot be halved any further and are not within what was allowed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Coarse {
    /// Where it begins, frame time.
    pub from: f64,
    /// Where it ends.
    pub to: f64,
    /// Where it is furthest from what was allowed.
    pub at: f64,
    /// Greatest miss in position, velocity, acceleration and jerk as shares of the tolerances.
    pub shares: [f64; 4],
    /// The same in unit, unit/frame, unit/frame^2 and unit/frame^3.
    pub off: [f64; 4],
}

impl Coarse {
    fn greatest(&self) -> f64 {
        self.shares.iter().copied().fold(0.0, f64::max)
    }

    /// One stretch where it goes on where this one ends.
    fn joined(&mut self, next: &Coarse) -> bool {
        if self.to != next.from {
            return false;
        }
        if next.greatest() > self.greatest() {
            self.at = next.at;
        }
        self.to = next.to;
        for (mine, other) in self.shares.iter_mut().zip(next.shares).chain(self.off.iter_mut().zip(next.off)) {
            *mine = mine.max(other);
        }
        true
    }
}

/// The signal from `from` to `to` as a curve within what is `allowed`.
///
/// # Errors
/// A signal that is not finite, or more work than `costs` has left.
pub(crate) fn curve(signal: &AxisSignal<'_>, from: f64, to: f64, allowed: &impl Allowance, costs: &Costs<'_>) -> Result<Fitted, FitError> {
    if let Some(rest) = signal.at_rest() {
        let mut builder = CurveBuilder::starting_at(from, 1);
        builder.push(to, Quintic::hold(rest));
        return Ok(Fitted::exact(builder.finish()?));
    }
    if let Some(curve) = signal.taken_over(from, to) {
        let curve = curve?;
        costs.spend(costs.pieces, curve.len(), from)?;
        let breaks = joins(&curve, allowed.on(&[]).position)?;
        return Ok(Fitted { breaks, ..Fitted::exact(curve) });
    }
    fitted(signal, from, to, allowed, costs)
}

/// What a fit may cost.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Costs<'m> {
    /// Where it is counted.
    pub meter: &'m Meter,
    /// As what its evaluations count.
    pub places: Effort,
    /// As what its pieces count.
    pub pieces: Effort,
}

impl Costs<'_> {
    pub(super) fn spend(&self, work: Effort, n: usize, at: f64) -> Result<(), FitError> {
        let n = u64::try_from(n).unwrap_or(u64::MAX);
        self.meter.spend(work, n).map_err(|excess| FitError::TooCostly { at, excess })
    }
}

/// A step in acceleration at a knot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Break {
    /// Frame time.
    pub at: f64,
    /// Acceleration just before, unit/frame^2.
    pub before: f64,
    /// Acceleration just after, unit/frame^2.
    pub after: f64,
}

/// Where two computations of one instant may differ: by rounding, as a share of the position and over the shortest time nearby.
const ROUNDING: f64 = 1e-7;

/// What happens between the jets to either side of an instant: nothing, or a step in acceleration.
///
/// A step in position or velocity is no motion at all: an error. `h` is the shorter of the pieces beside it, frames.
fn join(at: f64, before: Jet, after: Jet, h: f64, position: f64) -> Result<Option<Break>, FitError> {
    let size = ROUNDING * before.p.abs().max(after.p.abs());
    let most = |order: f64| position + size / order;
    for (what, by, most) in [("position", after.p - before.p, most(1.0)), ("velocity", after.v - before.v, most(h))] {
        if !(by.abs() <= most) {
            return Err(FitError::Jump { at, what, by });
        }
    }
    let steps = !((after.a - before.a).abs() <= most(h * h));
    Ok(steps.then_some(Break { at, before: before.a, after: after.a }))
}

/// How the pieces of a curve that was taken over meet.
fn joins(curve: &Curve, position: f64) -> Result<Vec<Break>, FitError> {
    let mut breaks = Vec::new();
    for (a, b) in curve.pieces().zip(curve.pieces().skip(1)) {
        let (before, after) = (a.quintic.jet(1.0, a.length()), b.quintic.jet(0.0, b.length()));
        breaks.extend(join(a.end, before, after, a.length().min(b.length()), position)?);
    }
    Ok(breaks)
}

fn fitted(signal: &AxisSignal<'_>, from: f64, to: f64, allowed: &impl Allowance, costs: &Costs<'_>) -> Result<Fitted, FitError> {
    costs.spend(costs.places, signal.span_cost(from, to), from)?;
    let knots = signal.knots_around(from, to)?;
    let mut builder = CurveBuilder::starting_at(from, knots.len());
    let (mut breaks, mut coarse) = (Vec::new(), Vec::new());
    let mut start_jet = None;
    // A branch is named by a time within it: its own ends, seen through the delay of a copy, may round to the branch beside it.
    let branches: Vec<f64> = knots.iter().zip(knots.iter().skip(1)).map(|(a, b)| 0.5 * (a.at + b.at)).collect();
    let intervals = knots.iter().zip(knots.iter().skip(1)).zip(branches.iter().zip(branches.iter().skip(1)));
    for ((a, b), (branch, next)) in intervals {
        // A search that has become long makes what follows dearer.
        let each = signal.cost();
        costs.spend(costs.places, 2 * each, a.at)?;
        let from_jet = start_jet.take().unwrap_or_else(|| signal.jet(a.at, *branch));
        let next_jet = signal.jet(b.at, *next);
        // The branch that begins at a knot has the key's value bit for bit; both sides are equal but for rounding, except at breaks.
        let own_jet = signal.jet(b.at, *branch);
        if own_jet.is_finite() && next_jet.is_finite() && from < b.at && b.at < to {
            join(b.at, own_jet, next_jet, b.at - a.at, allowed.on(&[]).position)?;
        }
        let end_jet = if b.is_break { own_jet } else { next_jet };
        if next_jet.a != end_jet.a && from < b.at && b.at < to {
            breaks.push(Break { at: b.at, before: end_jet.a, after: next_jet.a });
        }
        if let Some((start, end, quintic)) = signal.straight(*branch, [a.at, b.at]) {
            costs.spend(costs.pieces, 1, a.at)?;
            builder.push_within(to.min(b.at), start, end, quintic);
            if b.at == to {
                builder.ends_at(next_jet.p);
            }
            start_jet = Some(next_jet);
            continue;
        }
        let interval = Interval { signal, branch: *branch, allowed, from, to, costs };
        interval.pieces(&mut builder, &mut coarse, (a.at, from_jet), End { at: b.at, joint: end_jet, own: own_jet })?;
        if b.at == to {
            builder.ends_at(next_jet.p);
        }
        start_jet = Some(next_jet);
    }
    Ok(Fitted { curve: builder.finish()?, breaks, coarse })
}

/// An interval between two knots, and the span that is asked for.
struct Interval<'a, A> {
    signal: &'a AxisSignal<'a>,
    branch: f64,
    allowed: &'a A,
    from: f64,
    to: f64,
    costs: &'a Costs<'a>,
}

/// The end of a piece.
#[derive(Clone, Copy)]
struct End {
    at: f64,
    /// What the piece is to meet there: at a knot, what begins there.
    joint: Jet,
    /// What the signal of this interval does there.
    own: Jet,
}

/// Below this length (frames) a piece may take its shape from velocities and accelerations alone, where differences of positions are
/// noise: they leave 60 x 2^-53 of a position over h^3 in jerk. What it misses in position is h^5/720 of the fifth derivative, 1e-9 of
/// it at this length.
const SHORT: f64 = 1.0 / 16.0;

/// Below this length a piece is taken as it is: the signal's own arithmetic is no finer, and halving would not end.
const SHORTEST: f64 = 1.0 / 4096.0;

impl<A: Allowance> Interval<'_, A> {
    fn pieces(&self, builder: &mut CurveBuilder, coarse: &mut Vec<Coarse>, start: (f64, Jet), end: End) -> Result<(), FitError> {
        // A stack instead of recursion: its depth is bounded by the shortest piece.
        let mut waiting = vec![end];
        let (mut t0, mut j0) = start;
        while let Some(End { at: t1, joint: j1, own }) = waiting.last().copied() {
            if self.to <= t0 {
                break;
            }
            if t1 <= self.from {
                waiting.pop();
                (t0, j0) = (t1, j1);
                continue;
            }
            let h = t1 - t0;
            for (t, jet) in [(t0, j0), (t1, j1)] {
                // Out of the span no place is asked for: halving goes on until the pieces in the span do without.
                if !jet.is_finite() && (h < SHORTEST || (self.from <= t && t <= self.to)) {
                    return Err(self.lost(t));
                }
            }
            self.costs.spend(self.costs.places, INNER.len() * self.signal.cost(), t0)?;
            let inner = INNER.map(|u| self.signal.jet(t0 + u * h, self.branch));
            let [a, b, middle, d, e] = inner;
            let seen = [j0, a, b, middle, d, e, own];
            let mut piece = straight(&j0, &j1, h).unwrap_or_else(|| Quintic::between(j0.into(), j1.into(), h));
            let mut close = self.is_close(&piece, &seen, h);
            if !close && h < SHORT {
                piece = short(j0.into(), j1.into(), h);
                close = self.is_close(&piece, &seen, h);
                if !close && h < SHORTEST {
                    close = true;
                    let missed = self.missed(&piece, t0, t1);
                    if !coarse.last_mut().is_some_and(|last| last.joined(&missed)) {
                        coarse.push(missed);
                    }
                }
            }
            if close {
                self.costs.spend(self.costs.pieces, 1, t0)?;
                builder.push_within(self.to, t0, t1, piece);
                if t1 == self.to {
                    builder.ends_at(j1.p);
                }
                waiting.pop();
                (t0, j0) = (t1, j1);
            } else {
                waiting.push(End { at: t0 + 0.5 * h, joint: middle, own: middle });
            }
        }
        Ok(())
    }

    /// Why there is no curve at `at`.
    fn lost(&self, at: f64) -> FitError {
        match self.signal.out_of_reach(at) {
            Some(error) => FitError::OutOfReach { at, error },
            None => FitError::NotFinite { at },
        }
    }

    /// How far a piece is from its signal, looked at in many places.
    fn missed(&self, piece: &Quintic, t0: f64, t1: f64) -> Coarse {
        let h = t1 - t0;
        let places: Vec<f64> = (0..=32_u8).map(|i| f64::from(i) / 32.0).collect();
        let seen: Vec<Jet> = places.iter().map(|u| self.signal.jet(t0 + u * h, self.branch)).collect();
        let t = self.allowed.on(&seen);
        let mut worst = Coarse { from: t0, to: t1, at: t0, shares: [0.0; 4], off: [0.0; 4] };
        for (u, s) in places.iter().zip(&seen) {
            let off = piece.jet(*u, h) - *s;
            let off = [off.p, off.v, off.a, off.j].map(f64::abs);
            let [p, v, a, j] = off;
            let shares = [p / t.position, v / t.velocity, a / t.acceleration, j / t.jerk];
            let here = Coarse { at: t0 + u * h, shares, off, ..worst };
            if here.greatest() > worst.greatest() {
                worst.at = here.at;
            }
            for (most, x) in worst.shares.iter_mut().zip(shares).chain(worst.off.iter_mut().zip(off)) {
                *most = most.max(x);
            }
        }
        worst
    }

    /// `seen` is the signal at the ends and at [`INNER`]. False too where it is not finite.
    fn is_close(&self, piece: &Quintic, seen: &[Jet; 7], h: f64) -> bool {
        let [a, b, c, d, e] = INNER;
        let t = self.allowed.on(seen);
        [0.0, a, b, c, d, e, 1.0].iter().zip(seen).all(|(u, s)| {
            let off = piece.jet(*u, h) - *s;
            off.p.abs() <= 0.5 * t.position
                && off.v.abs() <= 0.5 * t.velocity
                && off.a.abs() <= 0.5 * t.acceleration
                && off.j.abs() <= 0.5 * t.jerk
        })
    }
}

/// Where a piece is compared with its signal beside the ends, where jerk is furthest off: the leading error of acceleration and position peaks there. The middle is
/// where it is halved.
const INNER: [f64; 5] = [0.125, 0.276, 0.5, 0.724, 0.875];

/// The straight line, where both ends go on one: without it the rounding of positions would leave a jerk of its own.
fn straight(from: &Jet, to: &Jet, h: f64) -> Option<Quintic> {
    let rise = from.v * h;
    // Sums of three numbers of this size round by 2^-51 of it at most.
    let rounding = (from.p.abs() + to.p.abs() + rise.abs()) / 1_125_899_906_842_624.0;
    let even = from.v == to.v && from.a == 0.0 && to.a == 0.0 && from.j == 0.0 && to.j == 0.0;
    (even && (to.p - from.p - rise).abs() <= rounding).then_some(Quintic([from.p, rise, 0.0, 0.0, 0.0, 0.0]))
}

/// The quartic that meets position, velocity and acceleration at the start, velocity and acceleration at the end.
fn short(from: Node, to: Node, h: f64) -> Quintic {
    let (v0, v1) = (from.v * h, to.v * h);
    let (a0, a1) = (from.a * h * h, to.a * h * h);
    let d = v1 - v0;
    // Velocity is the cubic through (v0, a0) and (v1, a1).
    Quintic([from.p, v0, 0.5 * a0, (3.0 * d - 2.0 * a0 - a1) / 3.0, (a0 + a1 - 2.0 * d) / 4.0, 0.0])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_straight_stretch_is_exactly_straight() {
        let jet = |p: f64, v: f64| Jet { p, v, a: 0.0, j: 0.0 };
        let (v, h) = (0.1, 7.3);
        assert_eq!(straight(&jet(0.7, v), &jet(0.7 + v * h, v), h), Some(Quintic([0.7, v * h, 0.0, 0.0, 0.0, 0.0])));
        assert_eq!(straight(&jet(0.7, v), &jet(0.7 + v * h + 1e-9, v), h), None);
        assert_eq!(straight(&jet(0.7, v), &Jet { j: 1e-9, ..jet(0.7 + v * h, v) }, h), None);
        assert_eq!(straight(&jet(f64::NAN, v), &jet(0.7, v), h), None);
    }

    #[test]
    fn a_short_piece_meets_five_conditions() {
        let (from, to) = (Node { p: 5.0, v: 1.0, a: -2.0 }, Node { p: 0.0, v: 1.5, a: 0.5 });
        let h = 0.0625;
        let q = short(from, to, h);
        let (s, e) = (q.jet(0.0, h), q.jet(1.0, h));
        assert_eq!((s.p, s.v, s.a), (5.0, 1.0, -2.0));
        assert!((e.v - 1.5).abs() < 1e-13 && (e.a - 0.5).abs() < 1e-11);
    }
}
