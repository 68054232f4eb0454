//! How far any point of a body can be from where it is in the middle of a cell, a stretch of time.
//!
//! What: axes' ranges come from the hulls of the very pieces that become steps (convex hull property of the Bernstein basis);
//! mechanisms' ways back and chains of joints are then the same formulas as for pictures, over [`IntervalJet`]. With velocity and
//! acceleration in ranges V and A over the cell, Taylor's formula about the middle leaves at most |A| h^2 / 2 beside the
//! straight line, and never more than |V| h altogether. Plates on rods have no closed way back: there the pose is enclosed by the
//! operator of R. Krawczyk (1969; from memory), and its derivatives by the implicit function theorem.
//! Invariant: every [`End`] holds its point throughout the cell. What cannot be bounded makes the whole cell `None`.

use super::interval::{IntervalJet, Range};
use crate::mechanism::{Pose, Real, Swashplate, Vector};
use crate::motion::bernstein::Bernstein;
use crate::motion::curve::Curve;
use crate::number::Jet;
use crate::program::Course;
use crate::stage::{AxisId, Body, ChannelId, Stage, Work};

/// A point in a cell: in the middle `at`; elsewhere `at + slope s + r` with |s| <= 1 and |r| <= `rest`; and never farther than `all` from `at`. Unit: mm.
#[derive(Debug, Clone, Copy)]
pub struct End {
    /// Where it is in the middle.
    pub at: Vector,
    /// Along what it moves with the one parameter that all points share.
    pub slope: Vector,
    /// What is left beside both.
    pub rest: f64,
    /// The bound of first order.
    pub all: f64,
}

impl End {
    /// A point that stands still.
    #[must_use]
    pub fn still(at: Vector) -> End {
        let none = Vector::new(0.0, 0.0, 0.0);
        End { at, slope: none, rest: 0.0, all: 0.0 }
    }
}

/// Where every point of a body can be while the axes follow a course.
#[derive(Debug, Clone, Copy)]
pub struct Enclosure<'a> {
    course: &'a Course<'a>,
}

impl<'a> Enclosure<'a> {
    /// The enclosure over a course.
    #[must_use]
    pub fn new(course: &'a Course<'a>) -> Enclosure<'a> {
        Enclosure { course }
    }

    /// The stage.
    #[must_use]
    pub fn stage(&self) -> &'a Stage {
        self.course.stage()
    }

    /// Where the course starts and ends, on its clock.
    #[must_use]
    pub fn span(&self) -> (f64, f64) {
        self.course.span()
    }

    /// An axis's curve; its home where it stands there.
    pub(super) fn curve(&self, axis: AxisId) -> Result<&'a Curve, f64> {
        self.course.curve(axis)
    }

    /// An axis at a moment of the course, with its derivatives.
    #[must_use]
    pub fn jet(&self, axis: AxisId, t: f64) -> Jet {
        let (from, to) = self.span();
        match self.curve(axis) {
            Err(home) => Jet::constant(home),
            // The curves cover the span; rounding may lead a moment past its end.
            Ok(curve) => curve.jet(t.clamp(from, to)).unwrap_or_else(|| Jet::constant(curve.last())),
        }
    }

    /// An axis over a stretch of time.
    #[must_use]
    pub fn within(&self, axis: AxisId, from: f64, to: f64) -> IntervalJet {
        self.curve(axis).map_or_else(IntervalJet::constant, |c| over(c, from, to))
    }

    /// A channel at a moment.
    #[must_use]
    pub fn channel_jet(&self, channel: ChannelId, t: f64) -> Option<Jet> {
        channels(self.stage(), &[channel], &|a| self.jet(a, t), &plain)?.first().copied()
    }

    /// A channel over a stretch of time.
    #[must_use]
    pub fn channel_within(&self, channel: ChannelId, from: f64, to: f64) -> Option<IntervalJet> {
        channels(self.stage(), &[channel], &|a| self.within(a, from, to), &enclosed)?.first().copied()
    }

    /// The ends of a body's capsules over a stretch of time; `None` where they cannot be bounded.
    #[must_use]
    pub fn placed(&self, body: &Body, from: f64, to: f64) -> Option<Vec<[End; 2]>> {
        let (middle, h) = (0.5 * (from + to), 0.5 * (to - from));
        let at = pose(self.stage(), body, &|a| self.jet(a, middle), &plain)?;
        if !(h > 0.0) {
            let still = |point: Vector| End::still(at.value().out_fixed(point));
            return Some(body.envelope().iter().map(|c| [still(c.from), still(c.to)]).collect());
        }
        // Where nothing can be said of the whole cell its middle still counts: the bound is then infinite and the cell is halved.
        let over = pose(self.stage(), body, &|a| self.within(a, from, to), &enclosed);
        let end = |point: Vector| {
            let Vector { x, y, z } = at.out_fixed(point);
            let (rest, all) = over.map_or((f64::INFINITY, f64::INFINITY), |p| reach(p.out_fixed(point)));
            End { at: Vector::new(x.p, y.p, z.p), slope: Vector::new(x.v * h, y.v * h, z.v * h), rest: 0.5 * rest * h * h, all: all * h }
        };
        Some(body.envelope().iter().map(|c| [end(c.from), end(c.to)]).collect())
    }
}

/// Greatest acceleration and greatest speed of a point.
fn reach(p: Vector<IntervalJet>) -> (f64, f64) {
    let size = |r: [Range; 3]| r.iter().map(|r| r.size() * r.size()).sum::<f64>().sqrt();
    (size([p.x.a, p.y.a, p.z.a]), size([p.x.v, p.y.v, p.z.v]))
}

/// The pose of a body with its axes given as any kind of number.
fn pose<T: Real>(
    stage: &Stage,
    body: &Body,
    axis: &impl Fn(AxisId) -> T,
    back: &impl Fn(&Work, &[T]) -> Option<Vec<T>>,
) -> Option<Pose<T>> {
    let values = channels(stage, body.channels(), axis, back)?;
    Some(body.pose(&values))
}

/// Channels from axes; `None` where a mechanism's way back is not known.
fn channels<T: Real>(
    stage: &Stage,
    wanted: &[ChannelId],
    axis: &impl Fn(AxisId) -> T,
    back: &impl Fn(&Work, &[T]) -> Option<Vec<T>>,
) -> Option<Vec<T>> {
    stage.channel_values(wanted, &|a| Ok(axis(a)), &|work: &Work, axes: &[T]| back(work, axes).ok_or(())).ok()
}

/// A mechanism's way back over jets.
fn plain(work: &Work, axes: &[Jet]) -> Option<Vec<Jet>> {
    work.channels(axes).ok()
}

/// A mechanism's way back over ranges.
fn enclosed(work: &Work, axes: &[IntervalJet]) -> Option<Vec<IntervalJet>> {
    match (work, axes) {
        (Work::Swashplate(plate), [a, b, c]) if plate.has_rods() => rods(plate, [*a, *b, *c]).map(|p| p.to_vec()),
        (Work::Drum(drum, _), [turn]) => {
            // Height rises with turn, in proportion within a layer: its ends are those of the turn, its slopes those of the layers between.
            let at = |p: f64| drum.height(Jet::time(p)).ok();
            let (low, high) = (at(turn.p.lo)?, at(turn.p.hi)?);
            let slope = Range::between(low.v, high.v);
            let bend = if low.v == high.v { Range::ZERO } else { Range::WHOLE };
            Some(vec![turn.through(Range::between(low.p, high.p), slope, bend)])
        }
        _ => work.channels(axes).ok(),
    }
}

/// The pose of a plate on rods whose heights are in ranges: K(X) = x - C (F(x) - H) + (1 - C F'(X)) (X - x) inside X proves that X holds
/// one pose for every heights in H; C are the slopes of the pose in the middle.
fn rods(plate: &Swashplate, heights: [IntervalJet; 3]) -> Option<[IntervalJet; 3]> {
    let [h0, h1, h2] = heights.map(|h| h.p.middle());
    let (x, slopes) = plate.pose_and_slopes([h0, h1, h2]).ok()?;
    let point = |v: f64| Range::between(v, v);
    // Rows of C: how one number of the pose answers to the three heights.
    let inverse = slopes.map(|row| [row.x, row.y, row.z]);
    let by = |r: [Range; 3]| inverse.map(|row| row.iter().zip(r).fold(Range::ZERO, |sum, (c, r)| sum + point(*c) * r));
    let [x0, x1, x2] = x.map(IntervalJet::constant);
    let here = plate.actuators(x0, x1, x2).ok()?;
    let off = by(zipped(heights.map(|h| h.p), here.map(|h| h.p), |h, f| h - f));
    // Twice what the slopes in the middle ask for leaves room for their change.
    let room = off.map(|r| Range::around_zero(2.0 * r.size() + 1e-12 * (1.0 + r.size())));
    let moved = |k: usize| {
        let one =
            |i: usize, x: f64, r: Range| IntervalJet { p: point(x) + r, v: if i == k { point(1.0) } else { Range::ZERO }, a: Range::ZERO };
        let ([a, b, c], [ra, rb, rc]) = (x, room);
        plate.actuators(one(0, a, ra), one(1, b, rb), one(2, c, rc)).ok().map(|f| f.map(|f| f.v))
    };
    let slopes = [by(moved(0)?), by(moved(1)?), by(moved(2)?)];
    // What the slopes leave of a unit motion: column k is e_k - C F'(X) e_k.
    let left = |r: [Range; 3]| {
        let mut sum = [Range::ZERO; 3];
        for (k, (column, r)) in slopes.iter().zip(r).enumerate() {
            for (i, (s, c)) in sum.iter_mut().zip(column).enumerate() {
                *s = *s + (point(f64::from(u8::from(i == k))) - *c) * r;
            }
        }
        sum
    };
    let found = zipped(off, left(room), |a, b| a + b);
    let inside = found.iter().zip(room).all(|(f, r)| r.lo <= f.lo && f.hi <= r.hi);
    let norm = left([Range::around_zero(1.0); 3]).iter().map(|r| r.size()).fold(0.0, f64::max);
    if !(inside && norm < 1.0) {
        return None;
    }
    // y = C b + (1 - C F') y: no component of y is greater than the greatest of C b over 1 - norm.
    let solved = |b: [Range; 3]| {
        let cb = by(b);
        let most = cb.iter().map(|r| r.size()).fold(0.0, f64::max) / (1.0 - norm);
        zipped(cb, left([Range::around_zero(most); 3]), |a, b| a + b)
    };
    let p = zipped(x.map(point), found, |x, r| x + r);
    let v = solved(heights.map(|h| h.v));
    // With the pose's own acceleration left out, the heights' is what the slopes' change alone makes.
    let [a, b, c] = zipped(p, v, |p, v| IntervalJet { p, v, a: Range::ZERO });
    let bent = plate.actuators(a, b, c).ok()?.map(|f| f.a);
    let acceleration = solved(zipped(heights.map(|h| h.a), bent, |h, f| h - f));
    let all = zipped(p, v, |p, v| IntervalJet { p, v, a: Range::ZERO });
    Some(zipped(all, acceleration, |w, a| IntervalJet { a, ..w }))
}

fn zipped<A, B, C>([a0, a1, a2]: [A; 3], [b0, b1, b2]: [B; 3], f: impl Fn(A, B) -> C) -> [C; 3] {
    [f(a0, b0), f(a1, b1), f(a2, b2)]
}

/// Ranges of a curve over a stretch of time, from the hulls of its pieces there.
#[must_use]
pub fn over(curve: &Curve, from: f64, to: f64) -> IntervalJet {
    let mut all: Option<IntervalJet> = None;
    for i in curve.overlapping(from, to) {
        let Some(piece) = curve.piece(i) else { continue };
        let whole = piece.length();
        let local = |t: f64| ((t - piece.start) / whole).clamp(0.0, 1.0);
        let (u, w) = (local(from), local(to));
        let part = piece.quintic.part(u, w);
        let h = (w - u) * whole;
        let one = if part.is_hold() || !(h > 0.0) {
            IntervalJet::constant(piece.quintic.at(u))
        } else {
            let hull = |a: [f64; 5]| {
                let (lo, hi) = Bernstein::from_power(a).hull();
                Range { lo, hi }
            };
            let v = hull(part.velocity());
            let [a0, a1, a2, a3] = part.acceleration();
            let a = hull([a0, a1, a2, a3, 0.0]);
            // From either end no position is farther than the greatest velocity carries; both bounds hold.
            let (s, e) = (part.at(0.0), part.at(1.0));
            let (lo, hi) = ((s + v.lo.min(0.0)).max(e - v.hi.max(0.0)), (s + v.hi.max(0.0)).min(e - v.lo.min(0.0)));
            let p = Range { lo: lo.min(s).min(e), hi: hi.max(s).max(e) };
            let by = |r: Range, k: f64| Range { lo: r.lo * k, hi: r.hi * k };
            IntervalJet { p, v: by(v, 1.0 / h), a: by(a, 1.0 / (h * h)) }
        };
        all = Some(all.map_or(one, |w| IntervalJet { p: w.p.joined(one.p), v: w.v.joined(one.v), a: w.a.joined(one.a) }));
    }
    all.unwrap_or(IntervalJet { p: Range::WHOLE, v: Range::WHOLE, a: Range::WHOLE })
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::indexing_slicing, reason = "tests")]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::mechanism::{CarriedFrom, SwashplateSpec};

    proptest! {
        /// Plates on rods and on wires, level to 82 deg of pitch, where the slopes are ten times those of the level plate: the ranges of a straight way
        /// of the heights through a pose hold the pose at every moment of it, with its velocity and acceleration. 1e-9 of their size is rounding.
        #[test]
        fn ranges_hold_the_pose_of_a_plate_on_rods(hangs in any::<bool>(), pitch in -82.0..82.0_f64, roll in -20.0..20.0_f64,
            v in prop::array::uniform3(-1.0..1.0_f64), s in -1.0..1.0_f64) {
            let carried_from = if hangs { CarriedFrom::Above } else { CarriedFrom::Below };
            let spec = SwashplateSpec { radius: 90.0, azimuths: [0.0, 240.0, 120.0], rod_length: Some(3000.0), carried_from };
            let plate = Swashplate::new(spec).unwrap();
            let heights = plate.actuators(5.0, pitch, roll).unwrap();
            // A way of half a millimetre in each height at level, shorter as the plate comes nearer to its edge.
            let h = 0.25 * (1.0 - (pitch / 85.0) * (pitch / 85.0));
            let point = |x: f64| Range::between(x, x);
            let over = [0, 1, 2].map(|i: usize| IntervalJet { p: point(heights[i]) + Range::around_zero(h * v[i].abs()), v: point(v[i]), a: Range::ZERO });
            let ranges = rods(&plate, over).unwrap();
            let moment = [0, 1, 2].map(|i: usize| Jet { p: heights[i] + s * h * v[i], v: v[i], a: 0.0, j: 0.0 });
            for (j, w) in plate.pose(moment).unwrap().into_iter().zip(ranges) {
                for (x, r) in [(j.p, w.p), (j.v, w.v), (j.a, w.a)] {
                    let room = 1e-9 * (1.0 + x.abs());
                    prop_assert!(r.lo - room <= x && x <= r.hi + room, "{} outside {:?}", x, r);
                }
            }
        }
    }
}
