//! A double-S move at its full pace, counted along its way: when its phases begin and end, where it is at an instant, what it reaches.
//!
//! Everything is worked out in the move's own units: the distance is 1. Invariants: the position is a part of the distance, 0 at the start and 1 at the end
//! exactly; the greatest speed is in the caller's units as given where the limit is reached, so no rounding takes it over. Every piece is evaluated from the
//! end of it that is known exactly. Source of phases and closed forms: L. Biagiotti, C. Melchiorri, Trajectory Planning for Automatic Machines and
//! Robots, Springer 2008, sec. 3.4.3. Limit: no sign and no stretching here, see [`SevenSegment`](super::SevenSegment).

use super::own_units::OwnUnits;
use super::s_ramp::SRamp;
use super::{Binding, Limits, Phases, ProfileError, State};
use crate::number::elementary::cbrt;

/// How a move with a distance goes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Course {
    units: OwnUnits,
    limits: Limits,
    timing: Timing,
    /// Greatest speed. Unit: length/s.
    speed: f64,
    /// Unit: s.
    least: f64,
}

/// The ramp up, which the ramp down mirrors, and what lies between; in own units.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Timing {
    ramp: SRamp,
    /// Time at the greatest speed.
    cruise: f64,
    /// Greatest speed.
    speed: f64,
    /// Whether that is the velocity limit.
    at_limit: bool,
}

impl Timing {
    /// Least time from rest to rest over a distance of 1. Source: Biagiotti and Melchiorri 2008, sec. 3.4.3, cases 1.a, 1.b, 2.a, 2.b.
    fn fastest(v: f64, a: f64, j: f64) -> Timing {
        let to_limit = SRamp::fastest(v, a, j);
        let cruise = 1.0 / v - to_limit.total;
        if cruise >= 0.0 {
            return Timing { ramp: to_limit, cruise, speed: v, at_limit: true };
        }
        let blend = a / j;
        if 1.0 >= 2.0 * a * blend * blend {
            let total = blend / 2.0 + (blend * blend / 4.0 + 1.0 / a).sqrt();
            let ramp = SRamp { blend, total, jerk: j, full: true };
            return Timing { ramp, cruise: 0.0, speed: a * (total - blend), at_limit: false };
        }
        let blend = cbrt(0.5 / j);
        Timing { ramp: SRamp::triangle(blend, j), cruise: 0.0, speed: j * blend * blend, at_limit: false }
    }
}

impl Course {
    /// The fastest course over |`distance`| (not 0).
    ///
    /// # Errors
    /// [`ProfileError::NotRepresentable`].
    pub(crate) fn fastest(distance: f64, limits: &Limits) -> Result<Self, ProfileError> {
        let units = OwnUnits::new(distance, about(distance, limits))?;
        let timing =
            Timing::fastest(units.velocity(limits.velocity()), units.acceleration(limits.acceleration()), units.jerk(limits.jerk()));
        let speed = if timing.at_limit { limits.velocity() } else { units.length_per_s(timing.speed).min(limits.velocity()) };
        let least = units.seconds(timing.ramp.total + timing.cruise + timing.ramp.total);
        Ok(Self { units, limits: *limits, timing, speed, least })
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
        let Timing { ramp, cruise, speed, .. } = &self.timing;
        let ramped = speed / 2.0 * ramp.total;
        if x < ramp.total {
            // z: until the greatest speed.
            let z = ramp.total - x;
            let (position, velocity) = if x <= z {
                (ramp.lead(x), self.gained(ramp.gain(x)))
            } else {
                (ramped - (speed * z - ramp.lead(z)), self.speed - self.gained(ramp.gain(z)))
            };
            return State {
                position: position.min(1.0),
                velocity,
                acceleration: self.height() * ramp.load(x.min(z)),
                jerk: self.limits.jerk() * switch(x < ramp.blend, z <= ramp.blend),
            };
        }
        if y <= ramp.total {
            // z: since the greatest speed.
            let z = ramp.total - y;
            let from = if *cruise > 0.0 { 1.0 - ramped } else { ramped };
            let (position, velocity) = if y <= z {
                (1.0 - ramp.lead(y), self.gained(ramp.gain(y)))
            } else {
                (from + (speed * z - ramp.lead(z)), self.speed - self.gained(ramp.gain(z)))
            };
            return State {
                position: position.min(1.0),
                velocity,
                acceleration: -self.height() * ramp.load(y.min(z)),
                jerk: self.limits.jerk() * switch(y <= ramp.blend, z < ramp.blend),
            };
        }
        State { position: (ramped + speed * (x - ramp.total)).min(1.0), velocity: self.speed, acceleration: 0.0, jerk: 0.0 }
    }

    /// The phases, along the move.
    pub(crate) fn phases(&self) -> Phases {
        Phases {
            blend: self.units.seconds(self.timing.ramp.blend),
            ramp: self.units.seconds(self.timing.ramp.total),
            cruise: self.units.seconds(self.timing.cruise),
            speed: self.speed,
            acceleration: self.height(),
        }
    }

    /// Greatest jerk. Unit: length/s^3.
    pub(crate) fn peak_jerk(&self) -> f64 {
        if self.timing.ramp.blend > 0.0 { self.limits.jerk() } else { 0.0 }
    }

    /// The limit that shapes the course.
    pub(crate) fn binding(&self) -> Binding {
        if self.timing.at_limit {
            Binding::Velocity
        } else if self.timing.ramp.full {
            Binding::Acceleration
        } else {
            Binding::Jerk
        }
    }

    /// A gain of speed in length/s.
    fn gained(&self, gain: f64) -> f64 {
        self.units.length_per_s(gain)
    }

    /// Greatest acceleration of a ramp. Unit: length/s^2.
    fn height(&self) -> f64 {
        let ramp = &self.timing.ramp;
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
