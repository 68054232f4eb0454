//! Moves from rest to rest under limits of velocity, acceleration and jerk: how long the shortest takes, and where it is at any instant.
//!
//! What: the shortest move has a ramp up, a cruise and the same ramp down. Its top speed is found by halving, since the way it covers grows with it; no closed form is needed.
//! A ramp is jerk up, steady acceleration where there is room for it, jerk down (any textbook of motion control). Run slower by k, it takes k times as long.
//! Invariant: shares nothing with the laws that made the moves. Units: unit, unit/s^k, s.

use super::oracle::steps_per_unit;
use super::split::{self, Split};
use crate::stage::Axis;

/// What bounds a move.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Bounds {
    pub(super) velocity: f64,
    pub(super) acceleration: f64,
    pub(super) jerk: f64,
}

/// Position, velocity and acceleration at an instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Motion {
    pub(super) position: f64,
    pub(super) velocity: f64,
    pub(super) acceleration: f64,
}

/// A move of so much from rest to rest, in the shortest time or slower.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Law {
    distance: f64,
    /// Top speed, seconds of rising acceleration, of steady acceleration, and of the whole move, in its shortest time.
    top: f64,
    rising: f64,
    steady: f64,
    shortest: f64,
    /// Times as long.
    slower: f64,
    /// The shares that it is split into.
    split: Split,
}

impl Bounds {
    /// Of an axis: a limit on steps is one on velocity.
    pub(super) fn of(axis: &Axis) -> Bounds {
        let l = axis.limits();
        let by_rate = l.step_rate.map_or(f64::INFINITY, |r| r / steps_per_unit(axis));
        Bounds { velocity: l.velocity.min(by_rate), acceleration: l.acceleration, jerk: l.jerk }
    }

    /// Seconds of rising and of steady acceleration, from rest to speed `w`.
    fn ramp(&self, w: f64) -> (f64, f64) {
        if w * self.jerk < self.acceleration * self.acceleration {
            ((w / self.jerk).sqrt(), 0.0)
        } else {
            (self.acceleration / self.jerk, w / self.acceleration - self.acceleration / self.jerk)
        }
    }

    /// The shortest move over a distance.
    pub(super) fn shortest(&self, distance: f64) -> Law {
        let (far, ramp_seconds) = (distance.abs(), |w: f64| {
            let (rising, steady) = self.ramp(w);
            2.0 * rising + steady
        });
        if far == 0.0 {
            return Law { distance, top: 0.0, rising: 0.0, steady: 0.0, shortest: 0.0, slower: 1.0, split: None };
        }
        // A ramp covers the mean of its end speeds times its seconds; two of them make w x seconds.
        let cruises = far >= self.velocity * ramp_seconds(self.velocity);
        let top = if cruises {
            self.velocity
        } else {
            let (mut below, mut above) = (0.0, self.velocity);
            for _ in 0..2000 {
                let w = 0.5 * (below + above);
                if w <= below || w >= above {
                    break;
                }
                if w * ramp_seconds(w) < far {
                    below = w;
                } else {
                    above = w;
                }
            }
            above
        };
        let (rising, steady) = self.ramp(top);
        let cruise = if cruises { far / top - ramp_seconds(top) } else { 0.0 };
        Law { distance, top, rising, steady, shortest: 2.0 * ramp_seconds(top) + cruise, slower: 1.0, split: None }
    }
}

impl Law {
    /// The same split; one over no distance is not.
    pub(super) fn split(self, split: &Split) -> Law {
        Law { split: split.clone().filter(|_| self.shortest > 0.0), ..self }
    }

    /// The same split as another.
    pub(super) fn split_like(self, other: &Law) -> Law {
        self.split(&other.split)
    }

    /// Its top speed, in so many seconds.
    pub(super) fn speed_in(&self, seconds: f64) -> f64 {
        let law = self.lasting(seconds);
        law.top / law.slower
    }

    /// How much longer it takes for being split.
    pub(super) fn delay(&self) -> f64 {
        split::delay(&self.split)
    }

    /// How long it takes.
    pub(super) fn seconds(&self) -> f64 {
        self.shortest * self.slower + self.delay()
    }

    /// How far it goes, with its sign.
    pub(super) fn distance(&self) -> f64 {
        self.distance
    }

    /// The instants of the first half at which its jerk changes.
    pub(super) fn changes(&self) -> [f64; 3] {
        [self.rising, self.rising + self.steady, 2.0 * self.rising + self.steady].map(|t| t * self.slower)
    }

    /// The same move, taking `seconds`; one over no distance takes any time standing.
    pub(super) fn lasting(&self, seconds: f64) -> Law {
        Law { slower: if self.shortest > 0.0 { (seconds - self.delay()) / self.shortest } else { 1.0 }, ..self.clone() }
    }

    /// Where it is `t` seconds after its start, from where it starts.
    pub(super) fn at(&self, t: f64) -> Motion {
        let Some(shares) = &self.split else { return self.whole(t) };
        let mut sum = Motion { position: 0.0, velocity: 0.0, acceleration: 0.0 };
        for (share, delay) in shares.iter().filter(|(_, delay)| *delay < t) {
            let m = self.whole(t - delay);
            sum.position += share * m.position;
            sum.velocity += share * m.velocity;
            sum.acceleration += share * m.acceleration;
        }
        sum
    }

    fn whole(&self, t: f64) -> Motion {
        let t = t / self.slower;
        let forward = |t: f64| self.first_half(t);
        let m = if t >= self.shortest {
            Motion { position: self.distance.abs(), velocity: 0.0, acceleration: 0.0 }
        } else if t <= 0.5 * self.shortest {
            forward(t)
        } else {
            let m = forward(self.shortest - t);
            Motion { position: self.distance.abs() - m.position, velocity: m.velocity, acceleration: -m.acceleration }
        };
        let (sign, k) = (if self.distance < 0.0 { -1.0 } else { 1.0 }, self.slower);
        Motion { position: sign * m.position, velocity: sign * m.velocity / k, acceleration: sign * m.acceleration / (k * k) }
    }

    /// Up to the middle of the move, in its shortest time and forwards.
    fn first_half(&self, t: f64) -> Motion {
        let (rising, steady) = (self.rising, self.steady);
        let peak = if rising > 0.0 { self.top / (rising + steady) } else { 0.0 };
        let jerk = if rising > 0.0 { peak / rising } else { 0.0 };
        let mut m = Motion { position: 0.0, velocity: 0.0, acceleration: 0.0 };
        let mut left = t.max(0.0);
        for (length, j) in [(rising, jerk), (steady, 0.0), (rising, -jerk), (f64::INFINITY, 0.0)] {
            let h = left.min(length);
            // The cruise has no acceleration left but rounding.
            let a = if length == f64::INFINITY { 0.0 } else { m.acceleration };
            m = Motion {
                position: m.position + h * (m.velocity + h * (0.5 * a + h * j / 6.0)),
                velocity: m.velocity + h * (a + 0.5 * h * j),
                acceleration: a + h * j,
            };
            left -= h;
            if left <= 0.0 {
                break;
            }
        }
        m
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SLOW: Bounds = Bounds { velocity: 4.0, acceleration: 2.0, jerk: 1.0 };

    /// By hand, limits 4, 2, 1: a ramp to 4 takes 2/1 + 4/2 = 4 s, two of them cover 16; 20 needs one second more at 4.
    /// Acceleration just reached: 2 a^3 / j^2 = 16. Jerk alone: 2 j t^3 = d, so 2 units take 4 s.
    #[test]
    fn times_by_hand() {
        for (distance, seconds) in [(20.0, 9.0), (-16.0, 8.0), (2.0, 4.0), (0.0, 0.0)] {
            let found = SLOW.shortest(distance).seconds();
            assert!((found - seconds).abs() < 1e-12, "{distance} {found}");
        }
        // Acceleration limit without the velocity limit: d = a t (t - a/j) with a ramp of t seconds; a 2, j 1, d 30: t = 5.
        let fast = Bounds { velocity: 100.0, ..SLOW };
        assert!((fast.shortest(30.0).seconds() - 10.0).abs() < 1e-12);
    }

    /// Jerk alone, 2 units in 4 s: after 1 s at 1/6 with speed 1/2 and acceleration 1, after 2 s in the middle with speed 1 and none.
    #[test]
    fn places_by_hand() {
        let law = SLOW.shortest(-2.0);
        let near = |m: Motion, p: f64, v: f64, a: f64| {
            assert!((m.position - p).abs() < 1e-12 && (m.velocity - v).abs() < 1e-12 && (m.acceleration - a).abs() < 1e-12, "{m:?}");
        };
        near(law.at(1.0), -1.0 / 6.0, -0.5, -1.0);
        near(law.at(2.0), -1.0, -1.0, 0.0);
        near(law.at(3.0), -2.0 + 1.0 / 6.0, -0.5, 1.0);
        near(law.at(4.0), -2.0, 0.0, 0.0);
        // Three times as long: speed a third, acceleration a ninth.
        near(law.lasting(12.0).at(3.0), -1.0 / 6.0, -0.5 / 3.0, -1.0 / 9.0);
        // With a cruise: 20 units in 9 s, at 4 from 4 s to 5 s.
        near(SLOW.shortest(20.0).at(4.5), 10.0, 4.0, 0.0);
        near(SLOW.shortest(0.0).lasting(3.0).at(1.0), 0.0, 0.0, 0.0);
    }
}
