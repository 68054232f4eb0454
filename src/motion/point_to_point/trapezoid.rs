//! The three-segment move: constant acceleration, cruise, constant deceleration.
//!
//! Invariants: position 0 at 0 exactly, `distance` bit for bit at `duration`, both end speeds bit for bit, no limit passed. Source of the
//! minimum-time form: elementary (v^2 = u^2 + 2 a s); of the given-duration form and its range of cruise speeds: the linear segment
//! with parabolic blends, P. Corke, Robotics, Vision and Control, ch. 3. Limit: acceleration steps at the corners, so the jerk is
//! unbounded there; use [`SevenSegment`](super::SevenSegment) where that matters.

use super::own_units::OwnUnits;
use super::{Binding, LEAST_DISTANCE_SLACK, ProfileError, TrapezoidLimits, along_the_move, positive};

/// A trapezoidal velocity profile; a triangle if it does not cruise.
///
/// ```
/// use movewright::motion::point_to_point::{Trapezoid, TrapezoidLimits};
/// let limits = TrapezoidLimits::new(0.25, 2.5, 2.5)?;
/// let feed = Trapezoid::fastest(0.275, 0.0, 0.0, &limits)?;
/// assert!((feed.duration() - 1.2).abs() < 1e-15);
/// assert_eq!(feed.at(feed.duration()).map(|state| state.position), Some(0.275));
/// assert!(Trapezoid::fastest(0.01, 0.25, 0.0, &limits).is_err()); // stopping takes 0.0125
/// # Ok::<(), movewright::motion::point_to_point::ProfileError>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trapezoid {
    distance: f64,
    start: f64,
    finish: f64,
    /// Along the move. Unit: length/s.
    peak: f64,
    /// Positive. Unit: length/s^2.
    rates: (f64, f64),
    duration: f64,
    binding: Option<Binding>,
    /// `None` for a move without distance.
    course: Option<Course>,
}

/// The same in own units.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Course {
    units: OwnUnits,
    start: f64,
    peak: f64,
    finish: f64,
    rates: (f64, f64),
    times: (f64, f64, f64),
}

/// Where a trapezoidal profile is at an instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrapezoidState {
    /// Distance from the start, with its sign. Unit: length.
    pub position: f64,
    /// Unit: length/s.
    pub velocity: f64,
    /// Where it steps, the one that follows; at the end, the last. Unit: length/s^2.
    pub acceleration: f64,
}

/// Durations of the phases in seconds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrapezoidPhases {
    /// Ta: speeding up. Unit: s.
    pub acceleration: f64,
    /// Tv: at the peak speed. Unit: s.
    pub cruise: f64,
    /// Td: slowing down. Unit: s.
    pub deceleration: f64,
}

impl Trapezoid {
    /// The fastest move over `distance` (length, either sign) from speed `start` to speed `finish` (length/s, in the direction of the
    /// distance). A distance of 0 between equal speeds takes no time.
    ///
    /// # Errors
    /// [`ProfileError::TooShort`], with the least distance, if the speed cannot change so much within `distance`;
    /// [`ProfileError::EndSpeedOverLimit`], [`ProfileError::AgainstMove`], [`ProfileError::OutOfRange`],
    /// [`ProfileError::NotRepresentable`].
    pub fn fastest(distance: f64, start: f64, finish: f64, limits: &TrapezoidLimits) -> Result<Self, ProfileError> {
        let (from, to) = along_the_move(distance, start, finish, limits.velocity())?;
        let still = Self {
            distance,
            start,
            finish,
            peak: from.max(to),
            rates: (limits.acceleration(), limits.deceleration()),
            duration: 0.0,
            binding: None,
            course: None,
        };
        let least = Self::least_distance(start, finish, limits)?;
        if distance == 0.0 {
            return if from == to { Ok(still) } else { Err(ProfileError::TooShort { distance, least, start, finish }) };
        }
        let length = distance.abs();
        let by_rate = (length / limits.acceleration()).sqrt().max((length / limits.deceleration()).sqrt());
        let units = OwnUnits::new(distance, by_rate.max(length / limits.velocity()))?;
        let (start_own, finish_own, limit) = (units.velocity(from), units.velocity(to), units.velocity(limits.velocity()));
        let (a, d) = (units.acceleration(limits.acceleration()), units.acceleration(limits.deceleration()));
        // to^2 - from^2, from the difference of the speeds before any rounding.
        let squares = (start_own + finish_own) * units.velocity((to - from).abs()).copysign(to - from);
        // Twice the distances of both ramps, times (a + d), were the speed not limited: v^2 = u^2 + 2 a s at either end.
        let (up, down) = (2.0 * d + squares, 2.0 * a - squares);
        if up < -LEAST_DISTANCE_SLACK * 2.0 * d || down < -LEAST_DISTANCE_SLACK * 2.0 * a {
            return Err(ProfileError::TooShort { distance, least: least.copysign(distance), start, finish });
        }
        let share = 1.0 / (1.0 + d / a);
        let free = 2.0 * d * share + (1.0 - share) * start_own * start_own + share * finish_own * finish_own;
        let free_peak = free.sqrt().max(start_own).max(finish_own);
        let (peak_own, times, peak) = if free_peak < limit {
            let first = up.max(0.0) / (a + d) / (free_peak + start_own);
            let second = down.max(0.0) / (a + d) / (free_peak + finish_own);
            let peak = units.length_per_s(free_peak).max(from).max(to).min(limits.velocity());
            (free_peak, (first, 0.0, second), peak)
        } else {
            let first = units.velocity(limits.velocity() - from) / a;
            let second = units.velocity(limits.velocity() - to) / d;
            let ramps = (start_own + limit) / 2.0 * first + (limit + finish_own) / 2.0 * second;
            (limit, (first, ((1.0 - ramps) / limit).max(0.0), second), limits.velocity())
        };
        Ok(Self {
            peak,
            duration: units.seconds(times.0 + times.1 + times.2),
            binding: Some(if free_peak < limit { Binding::Acceleration } else { Binding::Velocity }),
            course: Some(Course { units, start: start_own, peak: peak_own, finish: finish_own, rates: (a, d), times }),
            ..still
        })
    }

    /// The least distance, with its sign, in which `start` can become `finish` (length/s, of one sign). Unit: length.
    ///
    /// # Errors
    /// [`ProfileError::EndSpeedOverLimit`], [`ProfileError::AgainstMove`] if the speeds are of opposite signs, [`ProfileError::OutOfRange`].
    pub fn least_distance(start: f64, finish: f64, limits: &TrapezoidLimits) -> Result<f64, ProfileError> {
        let (from, to) = along_the_move(0.0, start, finish, limits.velocity())?;
        let rate = if to > from { limits.acceleration() } else { limits.deceleration() };
        let least = (to - from).abs() / rate * ((from + to) / 2.0);
        Ok(if start + finish < 0.0 { -least } else { least })
    }

    /// A move from rest to rest over `distance` (length, either sign, not 0) in exactly `duration` seconds at `cruise` length/s (> 0),
    /// with equal acceleration and deceleration, whatever they have to be.
    ///
    /// # Errors
    /// [`ProfileError::CruiseOutOfReach`], with the range, unless |h|/T < V <= 2|h|/T; [`ProfileError::OutOfRange`].
    pub fn in_time(distance: f64, duration: f64, cruise: f64) -> Result<Self, ProfileError> {
        let (above, at_most) = Self::cruise_range(distance, duration)?;
        positive("cruise speed", cruise)?;
        let units = OwnUnits::new(distance, duration)?;
        let (time, speed) = (units.time(duration), units.velocity(cruise));
        let blend = (time - 1.0 / speed).min(time / 2.0);
        if !(cruise > above && blend > 0.0) || cruise > at_most * (1.0 + LEAST_DISTANCE_SLACK) {
            return Err(ProfileError::CruiseOutOfReach { found: cruise, above, at_most });
        }
        let rate = speed / blend;
        let rates = (units.length_per_s2(rate), units.length_per_s2(rate));
        let times = (blend, time - 2.0 * blend, blend);
        Ok(Self {
            distance,
            start: 0.0,
            finish: 0.0,
            peak: cruise,
            rates,
            duration,
            binding: None,
            course: Some(Course { units, start: 0.0, peak: speed, finish: 0.0, rates: (rate, rate), times }),
        })
    }

    /// A third of the time each for speeding up, cruising and slowing down: V = 1.5 |h|/T, a = 4.5 |h|/T^2.
    ///
    /// # Errors
    /// As for [`in_time`](Self::in_time).
    pub fn thirds(distance: f64, duration: f64) -> Result<Self, ProfileError> {
        Self::in_time(distance, duration, 1.5 * (distance.abs() / duration))
    }

    /// The cruise speeds with which `distance` can be covered in `duration` seconds: more than the first (|h|/T, infinite acceleration), at
    /// most the second (2|h|/T, a triangle). Unit: length/s.
    ///
    /// # Errors
    /// [`ProfileError::OutOfRange`] unless the distance is finite and not 0, and the duration is finite and > 0.
    pub fn cruise_range(distance: f64, duration: f64) -> Result<(f64, f64), ProfileError> {
        positive("size of the distance", distance.abs())?;
        positive("duration", duration)?;
        let mean = distance.abs() / duration;
        Ok((mean, 2.0 * mean))
    }

    /// The durations in which `distance` can be covered at `cruise` length/s: more than the first (|h|/V), at most the second (2|h|/V).
    /// Unit: s.
    ///
    /// # Errors
    /// [`ProfileError::OutOfRange`] unless the distance is finite and not 0, and the cruise speed is finite and > 0.
    pub fn duration_range(distance: f64, cruise: f64) -> Result<(f64, f64), ProfileError> {
        positive("size of the distance", distance.abs())?;
        positive("cruise speed", cruise)?;
        let least = distance.abs() / cruise;
        Ok((least, 2.0 * least))
    }

    /// State at `t` seconds from the start, or `None` unless `0 <= t <= duration`.
    #[must_use]
    pub fn at(&self, t: f64) -> Option<TrapezoidState> {
        if !(0.0 <= t && t <= self.duration) {
            return None;
        }
        let Some(course) = self.course else {
            return Some(TrapezoidState { position: self.distance, velocity: self.start, acceleration: 0.0 });
        };
        let way = self.distance.signum();
        let (mut part, mut speed, acceleration) = self.along(&course, course.units.time(t), course.units.time(self.duration - t));
        if t == 0.0 {
            // Without acceleration or cruise it would be known from the other end only, but for the rounding of a whole move.
            (part, speed) = (0.0, self.start.abs());
        }
        Some(TrapezoidState {
            // The last bits of a sum must not overrun the target.
            position: self.distance * part.min(1.0),
            velocity: way * speed,
            acceleration: way * acceleration,
        })
    }

    /// Part of the distance, speed and acceleration along the move, `x` after the start and `y` before the end (own units).
    fn along(&self, course: &Course, x: f64, y: f64) -> (f64, f64, f64) {
        let (first, cruise, second) = course.times;
        let (a, d) = course.rates;
        if x < first {
            let speed = self.start.abs() + course.units.length_per_s(a * x);
            return (x * (course.start + a * x / 2.0), speed.min(self.peak), self.rates.0);
        }
        if y <= second {
            let speed = self.finish.abs() + course.units.length_per_s(d * y);
            // Where there is no slowing down, this is the very end, and the acceleration is the one that led to it.
            let acceleration = match (second > 0.0, cruise > 0.0) {
                (true, _) => -self.rates.1,
                (false, true) => 0.0,
                (false, false) => self.rates.0,
            };
            return (1.0 - y * (course.finish + d * y / 2.0), speed.min(self.peak), acceleration);
        }
        let before = first * (course.start + a * first / 2.0);
        (before + course.peak * (x - first), self.peak, 0.0)
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

    /// The phases.
    #[must_use]
    pub fn phases(&self) -> TrapezoidPhases {
        let (units, times) = match &self.course {
            Some(course) => (course.units, course.times),
            None => {
                return TrapezoidPhases { acceleration: 0.0, cruise: 0.0, deceleration: 0.0 };
            }
        };
        TrapezoidPhases { acceleration: units.seconds(times.0), cruise: units.seconds(times.1), deceleration: units.seconds(times.2) }
    }

    /// Greatest speed. Unit: length/s.
    #[must_use]
    pub fn peak_velocity(&self) -> f64 {
        self.peak
    }

    /// Rates of speeding up and of slowing down, as positive numbers. Unit: length/s^2.
    #[must_use]
    pub fn rates(&self) -> (f64, f64) {
        self.rates
    }

    /// The limit that shapes a [`fastest`](Self::fastest) move; `None` for a given duration or no distance.
    #[must_use]
    pub fn binding(&self) -> Option<Binding> {
        self.binding
    }
}
