//! The least of room less stopping distance along pieces, certified.
//!
//! What: over any part of a piece the convex hulls of its Bernstein coefficients bound position, velocity and acceleration, and the stopping distance never falls as these rise
//! ([`crate::motion::stop`]): so no instant of the part leaves less room than the hulls say. Parts are halved until no bound is more than the tolerance below the least margin seen,
//! and until that is known to be below 0 or not, to a thousandth of the tolerance.
//! Invariant: no sample decides; what is looked at is counted.

use core::cell::Cell;

use crate::motion::Quintic;
use crate::motion::bernstein::Bernstein;
use crate::motion::stop::Braking;
use crate::stage::Travel;

/// Parts of one piece that are looked at, at most; then nothing is known of the axis.
const MOST_LOOKS: u64 = 1 << 14;

/// What is asked of a search.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Wanted {
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
    fn up(&self, v: f64, a: f64) -> f64 {
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

    fn seconds(&self, v: f64, a: f64) -> f64 {
        match self {
            Halt::Stands => 0.0,
            Halt::Stops(braking) => braking.seconds(v, a),
            Halt::Coasts(slows) => v.abs() / slows,
        }
    }
}

/// Greatest and least of what decides a stop, over a part of a stretch.
struct Ranges {
    position: (f64, f64),
    velocity: (f64, f64),
    acceleration: (f64, f64),
}

impl Moved<'_> {
    fn at(&self, u: f64, seconds: f64) -> (f64, f64, f64) {
        let jet = self.piece.jet(u, seconds);
        (jet.p, jet.v, jet.a)
    }

    fn ranges(&self, from: f64, to: f64, seconds: f64) -> Ranges {
        let (part, h) = (self.piece.part(from, to), seconds * (to - from));
        let scaled = |(lo, hi): (f64, f64), by: f64| (lo / by, hi / by);
        Ranges {
            position: Bernstein::from_power(part.0).hull(),
            velocity: scaled(Bernstein::from_power(part.velocity()).hull(), h),
            acceleration: scaled(Bernstein::from_power(part.acceleration()).hull(), h * h),
        }
    }
}

/// Room and distance at an instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Moment {
    pub(super) room: f64,
    pub(super) distance: f64,
    pub(super) seconds: f64,
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
                let stop = axis.halt.seconds(v, a);
                let up = Moment { room: travel.upper - p, distance: axis.halt.up(v, a), seconds: stop, u };
                let down = Moment { room: p - travel.lower, distance: axis.halt.down(v, a), seconds: stop, u };
                if down.margin() < up.margin() { down } else { up }
            }
            Looked::Carriages([below, above], taken) => {
                let ((p, v, a), (q, w, b)) = (below.at(u, seconds), above.at(u, seconds));
                let distance = below.halt.up(v, a) + above.halt.down(w, b);
                Moment { room: q - p - taken, distance, seconds: below.halt.seconds(v, a).max(above.halt.seconds(w, b)), u }
            }
        }
    }

    /// No margin between these local times is below this.
    fn bound(&self, from: f64, to: f64, seconds: f64) -> f64 {
        match self {
            Looked::Travel(axis, travel) => {
                let r = axis.ranges(from, to, seconds);
                let up = travel.upper - r.position.1 - axis.halt.up(r.velocity.1, r.acceleration.1);
                let down = r.position.0 - travel.lower - axis.halt.down(r.velocity.0, r.acceleration.0);
                up.min(down)
            }
            Looked::Carriages([below, above], taken) => {
                let [a, b] = [below, above].map(|m| m.ranges(from, to, seconds));
                let (Quintic(mut apart), Quintic(lower)) = (above.piece.part(from, to), below.piece.part(from, to));
                apart.iter_mut().zip(lower).for_each(|(x, y)| *x -= y);
                let (least, _) = Bernstein::from_power(apart).hull();
                least - taken - below.halt.up(a.velocity.1, a.acceleration.1) - above.halt.down(b.velocity.0, b.acceleration.0)
            }
        }
    }

    /// Looks at both ends and the middle of a stretch of so many seconds: what is seen there makes the search short.
    pub(super) fn glance(&self, seconds: f64, least: &mut f64, see: &mut dyn FnMut(Moment)) -> u64 {
        for u in [0.0, 0.5, 1.0] {
            let moment = self.at(u, seconds);
            if !(moment.margin() >= *least) {
                *least = moment.margin();
                see(moment);
            }
        }
        3
    }

    /// Looks over a stretch of so many seconds, at which was glanced, for a margin more than `tolerance` below the least one known; says how many parts were looked at; `None` where that was not enough.
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
        let mut looked = 1;
        let mut open = vec![(0.0, 1.0, 0)];
        let still = match self {
            Looked::Travel(axis, _) => axis.piece.is_hold(),
            Looked::Carriages(both, _) => both.iter().all(|m| m.piece.is_hold()),
        };
        if still {
            return Some(looked);
        }
        while let Some((from, to, depth)) = open.pop() {
            looked += 1;
            let bound = self.bound(from, to, seconds);
            // Where the verdict hangs on it, it is looked at more closely.
            if wanted == Wanted::Verdict && (bound >= 0.0 || *least < 0.0) {
                continue;
            }
            let is_decided = bound >= 0.0 || *least < 0.0 || bound >= *least - CLOSER * tolerance;
            if bound >= *least - tolerance.max(1e-6 * least.abs()) && is_decided || depth >= DEEPEST {
                continue;
            }
            if looked >= MOST_LOOKS {
                return (*least < 0.0).then_some(looked);
            }
            let middle = 0.5 * (from + to);
            look(middle, least);
            open.push((middle, to, depth + 1));
            open.push((from, middle, depth + 1));
        }
        let (margin, about) = nearest.get();
        if (0.0..tolerance).contains(&margin) {
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
