//! A double-S move at its full pace, counted along its way: where it is at an instant, and what it reaches.
//!
//! Invariants: the position is a part of the distance, 0 at the start and 1 at the end exactly; speeds are in the caller's units and
//! start from the end speeds and the turning speed as given, so no rounding takes them over a limit. Every piece is evaluated from the
//! end of it that is known exactly. Source of the phases: L. Biagiotti, C. Melchiorri, Trajectory Planning for Automatic Machines and
//! Robots, Springer 2008, sec. 3.4. Limit: no sign and no stretching here, see [`SevenSegment`](super::SevenSegment).

use super::own_units::OwnUnits;
use super::s_ramp::SRamp;
use super::seven_segment_timing::{Question, Timing};
use super::{Binding, Limits, ProfileError, SevenSegmentPhases, State};
use crate::number::elementary::cbrt;

/// How a move with a distance goes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Course {
    units: OwnUnits,
    limits: Limits,
    /// End speeds, >= 0. Unit: length/s.
    start: f64,
    finish: f64,
    /// Unit: length/s.
    turning: f64,
    /// Start, turning and end speed in own units.
    speeds: (f64, f64, f64),
    first: SRamp,
    cruise: f64,
    second: SRamp,
    /// Unit: s.
    least: f64,
    dips: bool,
    at_limit: bool,
}

impl Course {
    /// The fastest course over |`distance`| (not 0) between the speeds `from` and `to`, both in `0..=limits.velocity()`.
    ///
    /// The inner error is how many times the distance would have to be longer.
    ///
    /// # Errors
    /// [`ProfileError::NotRepresentable`].
    pub(crate) fn fastest(distance: f64, from: f64, to: f64, limits: &Limits) -> Result<Result<Self, f64>, ProfileError> {
        let units = OwnUnits::new(distance, about(distance, limits))?;
        let question = question(&units, from, to, limits);
        if from == 0.0 && to == 0.0 {
            return Ok(Ok(Self::new(units, from, to, &question.rest_to_rest(), limits)));
        }
        Ok(question.fastest().map(|timing| Self::new(units, from, to, &timing, limits)))
    }

    fn new(units: OwnUnits, from: f64, to: f64, timing: &Timing, limits: &Limits) -> Self {
        let (first, second) = if from <= to { (timing.at_lower, timing.at_higher) } else { (timing.at_higher, timing.at_lower) };
        let excess = units.length_per_s(timing.excess);
        let turning = if timing.at_limit {
            limits.velocity()
        } else if timing.dips {
            (from.min(to) - excess).max(0.0)
        } else {
            (from.max(to) + excess).min(limits.velocity())
        };
        Self {
            units,
            limits: *limits,
            start: from,
            finish: to,
            turning,
            speeds: (units.velocity(from), timing.turning, units.velocity(to)),
            first,
            cruise: timing.cruise,
            second,
            least: units.seconds(first.total + timing.cruise + second.total),
            dips: timing.dips,
            at_limit: timing.at_limit,
        }
    }

    /// Duration. Unit: s.
    pub(crate) fn least(&self) -> f64 {
        self.least
    }

    /// State `since` seconds after the start and `before` seconds before the end.
    ///
    /// Near the end the two halves may differ in the last bits: the position is held at 1, so that the target is not overrun by one.
    pub(crate) fn at(&self, since: f64, before: f64) -> State {
        let (x, y) = (self.units.time(since), self.units.time(before));
        let (from, turning, to) = self.speeds;
        let (first, second) = (&self.first, &self.second);
        let up = self.up();
        let first_end = (from + turning) / 2.0 * first.total;
        let second_start = if self.cruise > 0.0 { 1.0 - (turning + to) / 2.0 * second.total } else { first_end };
        if x < first.total {
            // z: until the turning speed.
            let z = first.total - x;
            let (position, velocity) = if x <= z {
                (from * x + up * first.lead(x), self.start + up * self.speed(first.gain(x)))
            } else {
                (first_end - (turning * z - up * first.lead(z)), self.turning - up * self.speed(first.gain(z)))
            };
            return State {
                position: position.min(1.0),
                velocity,
                acceleration: up * self.height(first) * first.load(x.min(z)),
                jerk: up * self.limits.jerk() * switch(x < first.blend, z <= first.blend),
            };
        }
        if y <= second.total {
            // z: since the turning speed.
            let z = second.total - y;
            let (position, velocity) = if y <= z {
                (1.0 - (to * y + up * second.lead(y)), self.finish + up * self.speed(second.gain(y)))
            } else {
                (second_start + (turning * z - up * second.lead(z)), self.turning - up * self.speed(second.gain(z)))
            };
            // Where there is no second ramp, this is the very end, and the jerk is the one that led to it.
            let jerk = match (second.total > 0.0, self.cruise > 0.0) {
                (true, _) => switch(y <= second.blend, z < second.blend),
                (false, true) => 0.0,
                (false, false) => -1.0,
            };
            return State {
                position: position.min(1.0),
                velocity,
                acceleration: -up * self.height(second) * second.load(y.min(z)),
                jerk: up * self.limits.jerk() * jerk,
            };
        }
        State { position: (first_end + turning * (x - first.total)).min(1.0), velocity: self.turning, acceleration: 0.0, jerk: 0.0 }
    }

    /// The phases, along the move.
    pub(crate) fn phases(&self) -> SevenSegmentPhases {
        SevenSegmentPhases {
            first_jerk: self.units.seconds(self.first.blend),
            first: self.units.seconds(self.first.total),
            cruise: self.units.seconds(self.cruise),
            second_jerk: self.units.seconds(self.second.blend),
            second: self.units.seconds(self.second.total),
            turning_speed: self.turning,
            first_acceleration: self.up() * self.height(&self.first),
            second_acceleration: -self.up() * self.height(&self.second),
        }
    }

    /// Greatest jerk. Unit: length/s^3.
    pub(crate) fn peak_jerk(&self) -> f64 {
        if self.first.blend > 0.0 || self.second.blend > 0.0 { self.limits.jerk() } else { 0.0 }
    }

    /// The limit that shapes the course.
    pub(crate) fn binding(&self) -> Binding {
        if self.at_limit {
            Binding::Velocity
        } else if self.first.full || self.second.full {
            Binding::Acceleration
        } else {
            Binding::Jerk
        }
    }

    /// Sign of the first ramp.
    fn up(&self) -> f64 {
        if self.dips { -1.0 } else { 1.0 }
    }

    /// A gain of speed in length/s.
    fn speed(&self, gain: f64) -> f64 {
        self.units.length_per_s(gain)
    }

    /// Greatest acceleration of a ramp. Unit: length/s^2.
    fn height(&self, ramp: &SRamp) -> f64 {
        if ramp.full {
            return self.limits.acceleration();
        }
        self.units.length_per_s2(ramp.jerk * ramp.blend).min(self.limits.acceleration())
    }
}

/// 1, -1 or 0 for a ramp's jerk: building up, ceasing, neither.
fn switch(building: bool, ceasing: bool) -> f64 {
    match (building, ceasing) {
        (true, _) => 1.0,
        (false, true) => -1.0,
        (false, false) => 0.0,
    }
}

/// A duration of the right size: what the distance would take under each limit alone. Unit: s.
fn about(distance: f64, limits: &Limits) -> f64 {
    let length = distance.abs();
    let by_velocity = length / limits.velocity();
    let by_acceleration = (length / limits.acceleration()).sqrt();
    let by_jerk = cbrt(length / limits.jerk());
    by_velocity.max(by_acceleration).max(by_jerk)
}

/// The question in own units. Differences of speeds are taken before any rounding.
fn question(units: &OwnUnits, from: f64, to: f64, limits: &Limits) -> Question {
    Question {
        lower: units.velocity(from.min(to)),
        higher: units.velocity(from.max(to)),
        change: units.velocity((to - from).abs()),
        headroom: units.velocity(limits.velocity() - from.max(to)),
        velocity: units.velocity(limits.velocity()),
        acceleration: units.acceleration(limits.acceleration()),
        jerk: units.jerk(limits.jerk()),
    }
}
