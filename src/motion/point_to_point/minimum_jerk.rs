//! Minimum jerk: the rest-to-rest quintic s = 10 x^3 - 15 x^4 + 6 x^5, x = t/T.
//!
//! Invariant: position 0 at 0, `distance` bit for bit at `duration`; velocity and acceleration 0 at both. Source: T. Flash, N. Hogan,
//! The coordination of arm movements, J. Neurosci. 5(7), 1985, 1688-1703. The peaks 1.875 h/T, 10/sqrt(3) h/T^2 and 60 h/T^3 (also
//! printed, as 1.875, 5.77 and 60, in "Smooth steps and minimal jerk", Radboud University, 2020) are exact.
//! Limit: of all jerk-limited moves this is not the fastest; it is the smoothest in the given time.

use super::{Binding, Limits, ProfileError, State, finite, positive};
use crate::number::elementary::cbrt;

/// Peak velocity of the law over a distance of 1 in a time of 1, reached in the middle.
const PEAK_VELOCITY: f64 = 1.875;
/// Peak jerk of the law over a distance of 1 in a time of 1, reached at both ends.
const PEAK_JERK: f64 = 60.0;

/// A minimum jerk move from rest to rest.
///
/// ```
/// use movewright::motion::point_to_point::MinimumJerk;
/// let beat = MinimumJerk::new(40.0, 2.0)?;
/// assert_eq!(beat.peak_velocity(), 37.5);
/// assert_eq!(beat.at(1.0).map(|state| state.position), Some(20.0));
/// assert_eq!(beat.at(2.5), None);
/// assert!(MinimumJerk::new(40.0, 0.0).is_err());
/// # Ok::<(), movewright::motion::point_to_point::ProfileError>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MinimumJerk {
    distance: f64,
    duration: f64,
    binding: Option<Binding>,
}

impl MinimumJerk {
    /// A move over `distance` (length, either sign, 0 is a hold) in exactly `duration` seconds.
    ///
    /// # Errors
    /// [`ProfileError::OutOfRange`] unless the distance is finite and the duration finite and > 0.
    pub fn new(distance: f64, duration: f64) -> Result<Self, ProfileError> {
        finite("distance", distance)?;
        positive("duration", duration)?;
        Ok(Self { distance, duration, binding: None })
    }

    /// The fastest move over `distance` whose peaks keep the limits. A distance of 0 takes no time.
    ///
    /// # Errors
    /// [`ProfileError::OutOfRange`] unless the distance is finite, [`ProfileError::NotRepresentable`] if the duration overflows.
    pub fn fastest(distance: f64, limits: &Limits) -> Result<Self, ProfileError> {
        finite("distance", distance)?;
        if distance == 0.0 {
            return Ok(Self { distance, duration: 0.0, binding: None });
        }
        let length = distance.abs();
        let by_velocity = PEAK_VELOCITY * (length / limits.velocity());
        let by_acceleration = (peak_acceleration() * (length / limits.acceleration())).sqrt();
        let by_jerk = cbrt(PEAK_JERK * (length / limits.jerk()));
        let duration = by_velocity.max(by_acceleration).max(by_jerk);
        if !duration.is_normal() {
            return Err(ProfileError::NotRepresentable { distance });
        }
        let binding = if duration == by_velocity {
            Binding::Velocity
        } else if duration == by_acceleration {
            Binding::Acceleration
        } else {
            Binding::Jerk
        };
        let mut fastest = Self { distance, duration, binding: Some(binding) };
        // The duration carries about 3 roundings and a peak 4 more, times 3 for the jerk: a dozen last places make up for all of them.
        for _ in 0..16 {
            if fastest.keeps(limits) {
                break;
            }
            fastest.duration = fastest.duration.next_up();
        }
        Ok(fastest)
    }

    /// State at `t` seconds from the start, or `None` unless `0 <= t <= duration`.
    #[must_use]
    pub fn at(&self, t: f64) -> Option<State> {
        if !(0.0 <= t && t <= self.duration) {
            return None;
        }
        let rest = self.duration - t;
        if self.distance == 0.0 {
            let none = self.distance;
            return Some(State { position: none, velocity: none, acceleration: none, jerk: none });
        }
        // x is measured from the nearer end: nothing cancels, and both ends come out exact.
        let x = t.min(rest) / self.duration;
        let y = t.max(rest) / self.duration;
        let part = self.distance * (x * x * x * (10.0 + x * (6.0 * x - 15.0)));
        let late = rest < t;
        let acceleration = self.peak_of(60.0 * x * y * (y - x), 2);
        Some(State {
            position: if late { self.distance - part } else { part },
            velocity: self.peak_of(30.0 * (x * y) * (x * y), 1),
            acceleration: if late { -acceleration } else { acceleration },
            jerk: self.peak_of(60.0 - 360.0 * (x * y), 3),
        })
    }

    /// Exact duration. Unit: s.
    #[must_use]
    pub fn duration(&self) -> f64 {
        self.duration
    }

    /// Distance, with its sign. Unit: length.
    #[must_use]
    pub fn distance(&self) -> f64 {
        self.distance
    }

    /// Greatest speed, 1.875 h/T. Unit: length/s.
    #[must_use]
    pub fn peak_velocity(&self) -> f64 {
        self.peak_of(PEAK_VELOCITY, 1).abs()
    }

    /// Greatest acceleration, 10/sqrt(3) h/T^2, at x = (3 -+ sqrt(3))/6. Unit: length/s^2.
    #[must_use]
    pub fn peak_acceleration(&self) -> f64 {
        self.peak_of(peak_acceleration(), 2).abs()
    }

    /// Greatest jerk, 60 h/T^3, at both ends. Unit: length/s^3.
    #[must_use]
    pub fn peak_jerk(&self) -> f64 {
        self.peak_of(PEAK_JERK, 3).abs()
    }

    /// The limit that sets the duration of a [`fastest`](Self::fastest) move; `None` for a given duration or no distance.
    #[must_use]
    pub fn binding(&self) -> Option<Binding> {
        self.binding
    }

    fn keeps(&self, limits: &Limits) -> bool {
        self.peak_velocity() <= limits.velocity() && self.peak_acceleration() <= limits.acceleration() && self.peak_jerk() <= limits.jerk()
    }

    /// A derivative of the unit law into length/s^order. 0 for a move without distance.
    fn peak_of(&self, unit_value: f64, order: u8) -> f64 {
        if self.distance == 0.0 {
            return 0.0;
        }
        let mut value = self.distance / self.duration * unit_value;
        for _ in 1..order {
            value /= self.duration;
        }
        value
    }
}

/// Peak acceleration of the law over a distance of 1 in a time of 1: 10/sqrt(3).
fn peak_acceleration() -> f64 {
    10.0 / 3.0_f64.sqrt()
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;

    #[test]
    fn ends_are_exact_and_outside_there_is_nothing() {
        for distance in [0.1, -0.1, 1e-300, 1e12, 7.0 / 3.0] {
            let beat = MinimumJerk::new(distance, 0.7).unwrap();
            assert_eq!(beat.at(0.0).unwrap().position, 0.0);
            let last = beat.at(0.7).unwrap();
            assert_eq!((last.position, last.velocity, last.acceleration), (distance, 0.0, 0.0));
            assert_eq!(last.jerk, beat.at(0.0).unwrap().jerk);
            for outside in [-1e-300, 0.7_f64.next_up(), f64::NAN, f64::INFINITY] {
                assert_eq!(beat.at(outside), None);
            }
        }
    }

    #[test]
    fn derivatives_agree_with_the_plain_polynomial() {
        let (distance, duration) = (3.0, 4.0);
        let beat = MinimumJerk::new(distance, duration).unwrap();
        for i in 0..=64 {
            let t = f64::from(i) / 16.0;
            let x = t / duration;
            let state = beat.at(t).unwrap();
            // Each plain sum has terms of up to 60 (360 for the jerk) that cancel: 2^-53 x 360 x a few.
            let near = |found: f64, plain: f64, scale: f64| assert!((found - plain).abs() <= scale * 1e-13, "{t}: {found} {plain}");
            near(state.position, distance * x * x * x * (10.0 - 15.0 * x + 6.0 * x * x), distance);
            near(state.velocity, distance / duration * (30.0 * x * x - 60.0 * x * x * x + 30.0 * x * x * x * x), distance / duration);
            near(state.acceleration, distance / 16.0 * (60.0 * x - 180.0 * x * x + 120.0 * x * x * x), distance / 16.0);
            near(state.jerk, distance / 64.0 * (60.0 - 360.0 * x + 360.0 * x * x), distance / 64.0 * 6.0);
        }
    }

    #[test]
    fn the_fastest_move_reaches_one_limit_and_passes_none() {
        for (limits, binding) in
            [((1.0, 1e3, 1e6), Binding::Velocity), ((1e3, 1.0, 1e3), Binding::Acceleration), ((1e3, 1e3, 1.0), Binding::Jerk)]
        {
            for distance in [0.3, -7.0, 123.456] {
                let limits = Limits::new(limits.0, limits.1, limits.2).unwrap();
                let fastest = MinimumJerk::fastest(distance, &limits).unwrap();
                assert_eq!(fastest.binding(), Some(binding));
                assert!(fastest.keeps(&limits));
                let (peak, limit) = match binding {
                    Binding::Velocity => (fastest.peak_velocity(), limits.velocity()),
                    Binding::Acceleration => (fastest.peak_acceleration(), limits.acceleration()),
                    Binding::Jerk => (fastest.peak_jerk(), limits.jerk()),
                };
                // A dozen last places of the duration, three times over for the jerk.
                assert!(peak >= limit * (1.0 - 36.0 * f64::EPSILON), "{peak} {limit}");
            }
        }
    }

    #[test]
    fn no_distance_takes_no_time_or_is_held() {
        let limits = Limits::new(1.0, 1.0, 1.0).unwrap();
        let none = MinimumJerk::fastest(0.0, &limits).unwrap();
        assert_eq!(none.duration(), 0.0);
        assert_eq!(none.at(0.0).unwrap(), State { position: 0.0, velocity: 0.0, acceleration: 0.0, jerk: 0.0 });
        let hold = MinimumJerk::new(0.0, 5.0).unwrap();
        assert_eq!(hold.at(2.0).unwrap(), State { position: 0.0, velocity: 0.0, acceleration: 0.0, jerk: 0.0 });
        assert_eq!(hold.peak_jerk(), 0.0);
    }
}
