//! The least of room less stopping distance along pieces, certified.
//!
//! What: over any part of a piece the convex hulls of its Bernstein coefficients bound position, velocity, acceleration and jerk, and the stopping distance never falls as these rise
//! ([`crate::motion::stop`]): so no instant of the part leaves less room than the hulls say, nor less than in its middle by more than the greatest slope leads to ([`super::slope`]). Parts are halved until no bound is more than the tolerance below the least margin seen,
//! and until that is known to be below 0 or not, to a thousandth of the tolerance.
//! Invariant: no sample decides; what is looked at is counted.

use core::cell::Cell;
use core::cmp::Ordering;
use std::collections::BinaryHeap;

use super::slope;
use crate::mechanism::interval::Range;
use crate::motion::Quintic;
use crate::motion::bernstein::Bernstein;
use crate::motion::stop::Braking;
use crate::stage::Travel;

/// Parts of one piece that are looked at, at most; then nothing is known of the axis.
const MOST_LOOKS: u64 = 1 << 14;

/// What is asked of a search.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Wanted {
    /// What both ends and the middle show, no more.
    Glance,
    /// The least margin, to the tolerance.
    Least,
    /// Whether any margin is below 0.
    Verdict,
}

/// Share of the tolerance to which a margin is found that may be below 0 or above.
const CLOSER: f64 = 1e-3;

/// Work of a look at the last digits.
const POLISH: u64 = 400;

/// Halvings of a piece at most.
const DEEPEST: u32 = 40;

/// One axis over a stretch of time.
#[derive(Debug, Clone, Copy)]
pub(super) struct Moved<'b> {
    /// Position over local time.
    pub(super) piece: Quintic,
    /// How it comes to stand.
    pub(super) halt: Halt<'b>,
}

/// How an axis comes to stand after a fault.
#[derive(Debug, Clone, Copy)]
pub(super) enum Halt<'b> {
    /// It stands at home.
    Stands,
    /// By its drive.
    Stops(&'b Braking),
    /// By friction alone, which takes so much speed from it, unit/s2.
    Coasts(f64),
}

impl Halt<'_> {
    /// How far it still goes towards greater positions.
    pub(super) fn up(&self, v: f64, a: f64) -> f64 {
        match self {
            Halt::Stands => 0.0,
            Halt::Stops(braking) => braking.up(v, a),
            Halt::Coasts(slows) => 0.5 * v.max(0.0) * (v.max(0.0) / slows),
        }
    }

    fn down(&self, v: f64, a: f64) -> f64 {
        match self {
            Halt::Stops(braking) => braking.down(v, a),
            _ => self.up(-v, -a),
        }
    }

    /// How the way up changes with speed and acceleration in these ranges, where that is known.
    fn partials(&self, v: Range, a: Range) -> Option<[Range; 2]> {
        match self {
            Halt::Stands => Some([Range::ZERO; 2]),
            Halt::Stops(braking) => slope::partials(braking, v, a),
            Halt::Coasts(slows) => Some([Range { lo: v.lo.max(0.0) / slows, hi: v.hi.max(0.0) / slows }, Range::ZERO]),
        }
    }

    fn seconds(&self, v: f64, a: f64) -> f64 {
        match self {
            Halt::Stands => 0.0,
            Halt::Stops(braking) => braking.seconds(v, a),
            Halt::Coasts(slows) => v.abs() / slows,
        }
    }
}

/// Where an axis, what it does and how that changes lie over a part of a piece.
struct Ranges {
    position: Range,
    velocity: Range,
    acceleration: Range,
    jerk: Range,
}

impl Moved<'_> {
    fn at(&self, u: f64, seconds: f64) -> (f64, f64, f64) {
        let jet = self.piece.jet(u, seconds);
        (jet.p, jet.v, jet.a)
    }

    fn ranges(&self, from: f64, to: f64, seconds: f64) -> Ranges {
        let (part, h) = (self.piece.part(from, to), seconds * (to - from));
        let scaled = |(lo, hi): (f64, f64), by: f64| Range { lo: lo / by, hi: hi / by };
        Ranges {
            position: scaled(Bernstein::from_power(part.0).hull(), 1.0),
            velocity: scaled(Bernstein::from_power(part.velocity()).hull(), h),
            acceleration: scaled(Bernstein::from_power(part.acceleration()).hull(), h * h),
            jerk: scaled(Bernstein::from_power(part.jerk()).hull(), h * h * h),
        }
    }

    /// How fast the farthest point above changes over a part of a piece, unit/s; of the one below with everything turned round.
    fn drift(&self, r: &Ranges) -> Option<Range> {
        let [by_v, by_a] = self.halt.partials(r.velocity, r.acceleration)?;
        Some(r.velocity + by_v * r.acceleration + by_a * r.jerk)
    }
}

impl Ranges {
    /// The same of what moves the other way.
    fn turned(&self) -> Ranges {
        let turned = |r: Range| Range { lo: -r.hi, hi: -r.lo };
        Ranges {
            position: turned(self.position),
            velocity: turned(self.velocity),
            acceleration: turned(self.acceleration),
            jerk: turned(self.jerk),
        }
    }
}

/// A part of a piece that is still to be looked at; the one whose bound is lowest comes first.
struct Part {
    bound: f64,
    from: f64,
    to: f64,
    depth: u32,
}

impl Ord for Part {
    fn cmp(&self, other: &Self) -> Ordering {
        other.bound.total_cmp(&self.bound).then(other.from.total_cmp(&self.from))
    }
}

impl PartialOrd for Part {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl PartialEq for Part {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl Eq for Part {}

/// Room and distance at an instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Moment {
    pub(super) room: f64,
    pub(super) distance: f64,
    /// Local time.
    pub(super) u: f64,
}

impl Moment {
    pub(super) fn margin(&self) -> f64 {
        self.room - self.distance
    }
}

/// What is looked at over a stretch of time.
pub(super) enum Looked<'b> {
    /// An axis between the ends of its travel.
    Travel(Moved<'b>, Travel),
    /// Two carriages, the lower and the upper one, with what of the difference of their positions is no room.
    Carriages([Moved<'b>; 2], f64),
}

impl Looked<'_> {
    fn at(&self, u: f64, seconds: f64) -> Moment {
        match self {
            Looked::Travel(axis, travel) => {
                let (p, v, a) = axis.at(u, seconds);
                let up = Moment { room: travel.upper - p, distance: axis.halt.up(v, a), u };
                let down = Moment { room: p - travel.lower, distance: axis.halt.down(v, a), u };
                if down.margin() < up.margin() { down } else { up }
            }
            Looked::Carriages([below, above], taken) => {
                let ((p, v, a), (q, w, b)) = (below.at(u, seconds), above.at(u, seconds));
                let distance = below.halt.up(v, a) + above.halt.down(w, b);
                Moment { room: q - p - taken, distance, u }
            }
        }
    }

    /// From a fault at a local time of a stretch of so many seconds until everything stands, s.
    pub(super) fn seconds(&self, u: f64, seconds: f64) -> f64 {
        let of = |m: &Moved<'_>| {
            let (_, v, a) = m.at(u, seconds);
            m.halt.seconds(v, a)
        };
        match self {
            Looked::Travel(axis, _) => of(axis),
            Looked::Carriages([below, above], _) => of(below).max(of(above)),
        }
    }

    /// No margin between these local times is below this.
    fn bound(&self, from: f64, to: f64, seconds: f64) -> f64 {
        // From the middle, no farther than the greatest slope leads.
        let (middle, half) = (0.5 * (from + to), 0.5 * (to - from) * seconds);
        let slopes = |margin: f64, slope: Option<Range>| slope.map_or(f64::NEG_INFINITY, |s| margin - half * s.size());
        match self {
            Looked::Travel(axis, travel) => {
                let r = axis.ranges(from, to, seconds);
                let up = travel.upper - r.position.hi - axis.halt.up(r.velocity.hi, r.acceleration.hi);
                let down = r.position.lo - travel.lower - axis.halt.down(r.velocity.lo, r.acceleration.lo);
                let (p, v, a) = axis.at(middle, seconds);
                let (above, below) = (travel.upper - p - axis.halt.up(v, a), p - travel.lower - axis.halt.down(v, a));
                up.max(slopes(above, axis.drift(&r))).min(down.max(slopes(below, axis.drift(&r.turned()))))
            }
            Looked::Carriages([below, above], taken) => {
                let [a, b] = [below, above].map(|m| m.ranges(from, to, seconds));
                let (Quintic(mut apart), Quintic(lower)) = (above.piece.part(from, to), below.piece.part(from, to));
                apart.iter_mut().zip(lower).for_each(|(x, y)| *x -= y);
                let (least, _) = Bernstein::from_power(apart).hull();
                let ends =
                    least - taken - below.halt.up(a.velocity.hi, a.acceleration.hi) - above.halt.down(b.velocity.lo, b.acceleration.lo);
                let drift = below.drift(&a).zip(above.drift(&b.turned())).map(|(a, b)| a + b);
                ends.max(slopes(self.at(middle, seconds).margin(), drift))
            }
        }
    }

    /// Looks over a stretch of so many seconds for a margin more than `tolerance` below the least one known; says how many parts were looked at; `None` where that was not enough.
    pub(super) fn take_in(
        &self,
        seconds: f64,
        (tolerance, wanted): (f64, Wanted),
        least: &mut f64,
        see: &mut dyn FnMut(Moment),
    ) -> Option<u64> {
        let nearest = Cell::new((f64::INFINITY, 0.5));
        let mut look = |u: f64, least: &mut f64| {
            let moment = self.at(u, seconds);
            if moment.margin() < nearest.get().0 {
                nearest.set((moment.margin(), u));
            }
            if !(moment.margin() >= *least) {
                *least = moment.margin();
                see(moment);
            }
        };
        if wanted == Wanted::Glance {
            [0.0, 0.5, 1.0].into_iter().for_each(|u| look(u, least));
            return Some(3);
        }
        // That a margin is below 0 is certain only where it is by more than travel may be exceeded.
        let fine = CLOSER * tolerance;
        let lacks = |least: f64| least < -fine;
        let still = match self {
            Looked::Travel(axis, _) => axis.piece.is_hold(),
            Looked::Carriages(both, _) => both.iter().all(|m| m.piece.is_hold()),
        };
        if still {
            return Some(1);
        }
        let mut looked = 1;
        // What is no number bounds nothing.
        let part = |from, to, depth| Part { bound: self.bound(from, to, seconds).max(f64::NEG_INFINITY), from, to, depth };
        let mut open = BinaryHeap::from([part(0.0, 1.0, 0)]);
        while let Some(Part { bound, from, to, depth }) = open.pop() {
            // Where the verdict hangs on it, it is looked at more closely. No part that is still open has a lower bound.
            let is_decided = bound >= 0.0 || lacks(*least);
            let is_close = bound >= *least - tolerance.max(1e-6 * least.abs()) && (is_decided || bound >= *least - fine);
            if wanted == Wanted::Verdict && is_decided || is_close {
                break;
            }
            if depth >= DEEPEST {
                continue;
            }
            if looked >= MOST_LOOKS {
                return lacks(*least).then_some(looked);
            }
            // A piece whose bound settles nothing is looked at where it begins and ends.
            if depth == 0 && wanted == Wanted::Verdict {
                look(0.0, least);
                look(1.0, least);
            }
            let middle = 0.5 * (from + to);
            look(middle, least);
            looked += 2;
            open.push(part(middle, to, depth + 1));
            open.push(part(from, middle, depth + 1));
        }
        let (margin, about) = nearest.get();
        if !lacks(margin) && margin < tolerance {
            looked += POLISH;
            self.polish(about, seconds, &mut |u| look(u, least));
        }
        Some(looked)
    }

    /// Looks for the least margin about a local time, thirds of ever smaller stretches: where the verdict hangs on the last digits.
    fn polish(&self, mut about: f64, seconds: f64, look: &mut dyn FnMut(f64)) {
        for half in [1.0 / 4096.0, 1.0 / 64.0, 0.25, 1.0 / 64.0] {
            let (mut from, mut to) = ((about - half).max(0.0), (about + half).min(1.0));
            for _ in 0..60 {
                let third = (to - from) / 3.0;
                let (a, b) = (from + third, to - third);
                if self.at(a, seconds).margin() <= self.at(b, seconds).margin() { to = b } else { from = a }
            }
            about = 0.5 * (from + to);
            look(about);
        }
    }
}
