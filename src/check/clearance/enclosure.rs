//! How far any point of a body can be from where it is in the middle of a cell, a stretch of time.
//!
//! What: axes' ranges come from the hulls of the very pieces that become steps (convex hull property of the Bernstein basis);
//! mechanisms' forward kinematics and chains of joints are then the same formulas as for pictures, over [`IntervalJet`]. With velocity and
//! acceleration in ranges V and A over the cell, Taylor's formula about the middle leaves at most |A| h^2 / 2 beside the
//! straight line, and never more than |V| h altogether. A mechanism bounds its own channels ([`Mechanism::enclose`]).
//! Invariant: every [`End`] holds its point throughout the cell. What cannot be bounded makes the whole cell `None`.

use crate::mechanism::{IntervalJet, Mechanism, Pose, Range, Real, Vector};
use crate::motion::bernstein::Bernstein;
use crate::motion::curve::Curve;
use crate::number::Jet;
use crate::program::Course;
use crate::stage::{AxisId, Body, ChannelId, Hold, Posture, Stage};

/// A point in a cell: in the middle `at`; elsewhere `at + slope s + r` with |s| <= 1 and |r| <= `rest`; and never farther than `all` from `at`. Unit: mm.
#[derive(Debug, Clone, Copy)]
pub(crate) struct End {
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
    pub(crate) fn still(at: Vector) -> End {
        let none = Vector::new(0.0, 0.0, 0.0);
        End { at, slope: none, rest: 0.0, all: 0.0 }
    }
}

/// Where every point of a body can be while the axes follow a course.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Enclosure<'a> {
    course: &'a Course<'a>,
}

impl<'a> Enclosure<'a> {
    /// The enclosure over a course.
    #[must_use]
    pub(crate) fn new(course: &'a Course<'a>) -> Enclosure<'a> {
        Enclosure { course }
    }

    /// The stage.
    #[must_use]
    pub(crate) fn stage(&self) -> &'a Stage {
        self.course.stage()
    }

    /// Where the course starts and ends, on its clock.
    #[must_use]
    pub(crate) fn span(&self) -> (f64, f64) {
        self.course.span()
    }

    /// Parts of the course with which a search begins.
    pub(in crate::check) fn stretches(&self) -> impl Iterator<Item = (f64, f64)> + use<> {
        self.course.stretches()
    }

    /// An axis's curve; its home where it stands there.
    pub(super) fn curve(&self, axis: AxisId) -> Result<&'a Curve, f64> {
        self.course.curve(axis)
    }

    /// An axis at a moment of the course, with its derivatives.
    #[must_use]
    pub(crate) fn jet(&self, axis: AxisId, t: f64) -> Jet {
        let (from, to) = self.span();
        match self.curve(axis) {
            Err(home) => Jet::constant(home),
            // The curves cover the span; rounding may lead a moment past its end.
            Ok(curve) => curve.jet(t.clamp(from, to)).unwrap_or_else(|| Jet::constant(curve.last())),
        }
    }

    /// An axis over a stretch of time.
    #[must_use]
    pub(crate) fn range(&self, axis: AxisId, from: f64, to: f64) -> IntervalJet {
        self.curve(axis).map_or_else(IntervalJet::constant, |c| over(c, from, to))
    }

    /// A channel at a moment.
    #[must_use]
    pub(crate) fn channel_jet(&self, channel: ChannelId, t: f64) -> Option<Jet> {
        channels(self.stage(), &[channel], &|a| self.jet(a, t), &plain)?.first().copied()
    }

    /// A channel over a stretch of time.
    #[must_use]
    pub(crate) fn channel_range(&self, channel: ChannelId, from: f64, to: f64) -> Option<IntervalJet> {
        channels(self.stage(), &[channel], &|a| self.range(a, from, to), &enclosed)?.first().copied()
    }

    /// The pose of a body at a moment.
    #[must_use]
    pub(crate) fn pose_jet(&self, body: &Body, t: f64) -> Option<Pose<Jet>> {
        channels(self.stage(), body.channels(), &|a| self.jet(a, t), &plain).map(|values| body.pose(&values))
    }

    /// The pose of a body over a stretch of time; `None` where it cannot be bounded.
    #[must_use]
    pub(crate) fn pose_range(&self, body: &Body, from: f64, to: f64) -> Option<Pose<IntervalJet>> {
        channels(self.stage(), body.channels(), &|a| self.range(a, from, to), &enclosed).map(|values| body.pose(&values))
    }

    /// A body in the middle of a stretch of time, and over all of it where that can be bounded; `None` where it has no place in the middle.
    #[must_use]
    pub(crate) fn postures(&self, body: &Body, from: f64, to: f64) -> Option<(Posture<Jet>, Option<Posture<IntervalJet>>)> {
        let at = posture(self.stage(), body, &|a| self.jet(a, 0.5 * (from + to)), &plain)?;
        Some((at, posture(self.stage(), body, &|a| self.range(a, from, to), &enclosed)))
    }

    /// The ends of a body's capsules over a stretch of time; `None` where they cannot be bounded.
    #[must_use]
    pub(crate) fn placed(&self, body: &Body, from: f64, to: f64) -> Option<Vec<[End; 2]>> {
        let (middle, h) = (0.5 * (from + to), 0.5 * (to - from));
        let at = posture(self.stage(), body, &|a| self.jet(a, middle), &plain)?;
        if !(h > 0.0) {
            return Some(body.solids().iter().map(|s| s.ends.map(|hold| End::still(at.out(&hold).value()))).collect());
        }
        // Where nothing can be said of the whole cell its middle still counts: the bound is then infinite and the cell is halved.
        let over = posture(self.stage(), body, &|a| self.range(a, from, to), &enclosed);
        let end = |hold: Hold| {
            let Vector { x, y, z } = at.out(&hold);
            let (rest, all) = over.as_ref().map_or((f64::INFINITY, f64::INFINITY), |p| reach(p.out(&hold)));
            End { at: Vector::new(x.p, y.p, z.p), slope: Vector::new(x.v * h, y.v * h, z.v * h), rest: 0.5 * rest * h * h, all: all * h }
        };
        Some(body.solids().iter().map(|s| s.ends.map(end)).collect())
    }
}

/// Greatest acceleration and greatest speed of a point.
fn reach(p: Vector<IntervalJet>) -> (f64, f64) {
    let size = |r: [Range; 3]| r.iter().map(|r| r.size() * r.size()).sum::<f64>().sqrt();
    (size([p.x.a, p.y.a, p.z.a]), size([p.x.v, p.y.v, p.z.v]))
}

/// The places of a figure with its axes given as any kind of number.
fn posture<T: Real>(
    stage: &Stage,
    body: &Body,
    axis: &impl Fn(AxisId) -> T,
    forward: &impl Fn(&dyn Mechanism, &[T], &mut [T]) -> Option<()>,
) -> Option<Posture<T>> {
    let values = channels(stage, body.every_channel(), axis, forward)?;
    Some(body.posture(&values))
}

/// Channels from axes; `None` where a mechanism does not say.
fn channels<T: Real>(
    stage: &Stage,
    wanted: &[ChannelId],
    axis: &impl Fn(AxisId) -> T,
    forward: &impl Fn(&dyn Mechanism, &[T], &mut [T]) -> Option<()>,
) -> Option<Vec<T>> {
    stage.channel_values(wanted, &|a| Ok(axis(a)), &|mechanism, axes: &[T], channels| forward(mechanism, axes, channels).ok_or(())).ok()
}

/// A mechanism's channels over jets.
fn plain(mechanism: &dyn Mechanism, axes: &[Jet], channels: &mut [Jet]) -> Option<()> {
    mechanism.to_channels(axes, channels).ok()
}

/// A mechanism's channels over ranges.
fn enclosed(mechanism: &dyn Mechanism, axes: &[IntervalJet], channels: &mut [IntervalJet]) -> Option<()> {
    mechanism.enclose(axes, channels)
}

/// Ranges of a curve over a stretch of time, from the hulls of its pieces there.
#[must_use]
pub(crate) fn over(curve: &Curve, from: f64, to: f64) -> IntervalJet {
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
