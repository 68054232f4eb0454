//! A move of one axis from rest to rest, split by the shaper of its group where it has one.
//!
//! What: the double-S law in its shortest time, and after it the last copy's delay; to last longer, the law is run slower and the delays stay. Invariant: it ends on its distance bit for bit. A move split in
//! shares keeps every limit of velocity, acceleration and jerk, for each instant is a mean of instants of the law; what a motor can pull need not be kept by a mean, so torque is asked of the split move.

use super::shaper::Shaper;
use crate::motion::Peaks;
use crate::motion::curve::{Curve, CurveBuilder, Piece};
use crate::motion::point_to_point::{ProfileError, SevenSegment, State};
use crate::motion::quintic::{Node, Quintic};
use crate::stage::{Torque, TorqueUse};

/// A move in its own shortest time.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct RestMove {
    /// The law that is split.
    pub(crate) law: SevenSegment,
    shaper: Shaper,
}

/// A move that lasts as long as all axes take.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Moved {
    /// The law that is split, run slower.
    pub(crate) law: SevenSegment,
    shaper: Shaper,
}

impl RestMove {
    /// Of a law in its shortest time.
    #[must_use]
    pub(crate) fn new(law: SevenSegment, shaper: Shaper) -> RestMove {
        // What does not move swings nothing.
        let shaper = if law.duration() > 0.0 { shaper } else { Shaper::default() };
        RestMove { law, shaper }
    }

    /// How long it takes, s.
    #[must_use]
    pub(crate) fn duration(&self) -> f64 {
        self.law.duration() + self.shaper.delay()
    }

    /// How much longer it takes than its law alone, s.
    #[must_use]
    pub(crate) fn delay(&self) -> f64 {
        self.shaper.delay()
    }

    /// The same in so many seconds.
    ///
    /// # Errors
    /// That is shorter than it takes, or no time.
    pub(crate) fn stretched(&self, seconds: f64) -> Result<Moved, ProfileError> {
        let own = seconds - self.shaper.delay();
        // The sum of law and delay, less the delay, may be an ulp short.
        let own = if own < self.law.duration() && seconds >= self.duration() { self.law.duration() } else { own };
        Ok(Moved { law: self.law.stretched(own)?, shaper: self.shaper.clone() })
    }
}

impl Moved {
    /// How long it takes, s.
    #[must_use]
    pub(crate) fn duration(&self) -> f64 {
        self.law.duration() + self.shaper.delay()
    }

    /// State at `t` seconds from the start; `None` outside.
    #[must_use]
    pub(crate) fn at(&self, t: f64) -> Option<State> {
        let Some(impulses) = self.shaper.impulses() else { return self.law.at(t) };
        if !(0.0 <= t && t <= self.duration()) {
            return None;
        }
        let mut sum = State { position: 0.0, velocity: 0.0, acceleration: 0.0, jerk: 0.0 };
        for (share, delay) in impulses {
            let own = self.law.at((t - delay).clamp(0.0, self.law.duration()))?;
            let runs = *delay <= t && t <= delay + self.law.duration();
            sum.position += share * own.position;
            if runs {
                sum.velocity += share * own.velocity;
                sum.acceleration += share * own.acceleration;
                sum.jerk += share * own.jerk;
            }
        }
        Some(sum)
    }

    /// Appends it: between the instants at which its jerk changes it is a cubic, so the quintic through both ends is the move itself.
    pub(crate) fn append(&self, curve: &mut CurveBuilder, from: f64, to: f64) {
        let (begin, seconds) = (curve.end(), self.duration());
        let (mut node, mut since) = (Node::rest(from), 0.0);
        let changes = self.changes();
        let last = changes.len().saturating_sub(1);
        for (i, t) in changes.into_iter().enumerate() {
            let next = match self.at(t.min(seconds)) {
                Some(state) if i < last => Node { p: from + state.position, v: state.velocity, a: state.acceleration },
                _ => Node::rest(to),
            };
            // A phase of no length, or of nothing but rounding, is none.
            if t - since > seconds * 1e-12 {
                curve.push(begin + t, Quintic::between(node, next, t - since));
                (node, since) = (next, t);
            }
        }
    }

    /// Every instant at which its jerk changes.
    fn changes(&self) -> Vec<f64> {
        let seconds = self.law.duration();
        let p = self.law.phases();
        let cruised = p.ramp + p.cruise;
        let own = [p.blend, p.ramp - p.blend, p.ramp, cruised, cruised + p.blend, seconds - p.blend, seconds];
        let Some(impulses) = self.shaper.impulses() else { return own.to_vec() };
        let mut all: Vec<f64> =
            impulses.iter().flat_map(|(_, delay)| core::iter::once(*delay).chain(own.iter().map(move |t| delay + t))).collect();
        all.sort_by(f64::total_cmp);
        // The end is the end, to the last bit.
        if let Some(end) = all.last_mut() {
            *end = self.duration();
        }
        all
    }

    /// The move as a curve from 0, where it is split; `None` where the law alone says everything.
    fn split(&self) -> Option<Curve> {
        self.shaper.impulses()?;
        let mut curve = CurveBuilder::starting_at(0.0, 16);
        let end = self.law.at(self.law.duration())?.position;
        self.append(&mut curve, 0.0, end);
        curve.finish().ok()
    }

    /// Greatest speed, acceleration and jerk.
    #[must_use]
    pub(crate) fn peaks(&self) -> [f64; 3] {
        let split = self.split().and_then(|curve| Peaks::of(&curve, 0..curve.len()));
        split.map_or([self.law.peak_velocity(), self.law.peak_acceleration(), self.law.peak_jerk()], |p| {
            [p.velocity.value, p.acceleration.value, p.jerk.value]
        })
    }

    /// Torque along it, at its worst; `at` is the instant the answer carries.
    #[must_use]
    pub(crate) fn torque(&self, model: &Torque, at: f64) -> Option<TorqueUse> {
        match self.split() {
            Some(curve) => model.worst(curve.pieces(), 1.0).map(|t| TorqueUse { at, ..t }),
            None => torque_along(model, &self.law, at),
        }
    }
}

/// Torque along one rest-to-rest move, at its worst. Its second half mirrors the first, and demand and supply ask only for sizes: the first ramp and
/// the cruise decide it. `at` is the instant the answer carries.
#[must_use]
pub(crate) fn torque_along(model: &Torque, law: &SevenSegment, at: f64) -> Option<TorqueUse> {
    let phases = law.phases();
    let (tj, a) = (phases.blend, phases.acceleration.abs());
    let steady = phases.ramp - 2.0 * tj;
    let (v1, v2) = (0.5 * a * tj, 0.5 * a * tj + a * steady);
    let cubic = |h: f64, v: f64, a: f64, rise: f64| Quintic([0.0, v * h, 0.5 * a * h * h, rise * h * h / 6.0, 0.0, 0.0]);
    let ramp = [(tj, cubic(tj, 0.0, 0.0, a)), (steady, cubic(steady, v1, a, 0.0)), (tj, cubic(tj, v2, a, -a))];
    let pieces = ramp.iter().filter(|(h, _)| *h > 0.0).map(|(h, q)| Piece { index: 0, start: 0.0, end: *h, quintic: q });
    model.worst(pieces, 1.0).map(|t| TorqueUse { at, ..t })
}
