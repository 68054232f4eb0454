//! The double-S move: fastest under limits of velocity, acceleration and jerk, with zero acceleration at both ends.
//!
//! Invariants: truly time optimal among moves that never back up; position 0 at 0 exactly and `distance` bit for bit at `duration`;
//! both end speeds bit for bit; no limit passed, rounding included: every phase is evaluated from the end of it that is known exactly.
//! The two halves of a move meet within 2^-47 of the distance. Source of the phases and their names: L. Biagiotti, C. Melchiorri,
//! Trajectory Planning for Automatic Machines and Robots, Springer 2008, sec. 3.4; of the timing: `seven_segment_timing`.
//! Limit: one direction only. What would need overrunning or backing up is refused.

use super::s_ramp::SRamp;
use super::seven_segment_course::Course;
use super::seven_segment_phases::SevenSegmentPhases;
use super::{Binding, Limits, ProfileError, State, along_the_move, positive};

/// A double-S profile.
///
/// ```
/// use movewright::motion::point_to_point::{Limits, SevenSegment};
/// let limits = Limits::new(1.0, 2.0, 10.0)?;
/// let rail = SevenSegment::rest_to_rest(10.0, &limits)?;
/// assert!((rail.duration() - 10.7).abs() < 1e-14); // 10/1 + 1/2 + 2/10
/// assert_eq!(rail.at(rail.duration()).map(|state| state.position), Some(10.0));
/// assert_eq!(rail.at(-1.0), None);
/// assert!(SevenSegment::fastest(0.1, 0.9, 0.0, &limits).is_err()); // cannot stop within 0.1
/// # Ok::<(), movewright::motion::point_to_point::ProfileError>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SevenSegment {
    distance: f64,
    start: f64,
    finish: f64,
    duration: f64,
    /// `None` for a move without distance.
    course: Option<Course>,
}

impl SevenSegment {
    /// The fastest move over `distance` (length, either sign) from rest to rest: a closed form, T = h/v + v/a + a/j with what is reached.
    ///
    /// # Errors
    /// [`ProfileError::OutOfRange`] unless the distance is finite, [`ProfileError::NotRepresentable`] if the duration overflows.
    pub fn rest_to_rest(distance: f64, limits: &Limits) -> Result<Self, ProfileError> {
        Self::fastest(distance, 0.0, 0.0, limits)
    }

    /// The fastest move over `distance` (length, either sign) from speed `start` to speed `finish` (length/s, in the direction of the
    /// distance), acceleration 0 at both ends. A distance of 0 between equal speeds takes no time.
    ///
    /// # Errors
    /// [`ProfileError::EndSpeedOverLimit`], [`ProfileError::AgainstMove`], [`ProfileError::TooShort`] (with the least distance), and
    /// those of [`rest_to_rest`](Self::rest_to_rest).
    pub fn fastest(distance: f64, start: f64, finish: f64, limits: &Limits) -> Result<Self, ProfileError> {
        let (from, to) = along_the_move(distance, start, finish, limits.velocity())?;
        if distance == 0.0 {
            if from != to {
                let least = Self::least_distance(start, finish, limits)?;
                return Err(ProfileError::TooShort { distance, least, start, finish });
            }
            return Ok(Self { distance, start, finish, duration: 0.0, course: None });
        }
        let course = match Course::fastest(distance, from, to, limits)? {
            Ok(course) => course,
            Err(times) => {
                return Err(ProfileError::TooShort { distance, least: distance * times, start, finish });
            }
        };
        Ok(Self { distance, start, finish, duration: course.least(), course: Some(course) })
    }

    /// The least distance, with its sign, in which `start` can become `finish` (length/s, of one sign) without backing up. Unit: length.
    ///
    /// # Errors
    /// [`ProfileError::EndSpeedOverLimit`], [`ProfileError::AgainstMove`] if the speeds are of opposite signs, [`ProfileError::OutOfRange`].
    pub fn least_distance(start: f64, finish: f64, limits: &Limits) -> Result<f64, ProfileError> {
        let (from, to) = along_the_move(0.0, start, finish, limits.velocity())?;
        let ramp = |change: f64| SRamp::fastest(change, limits.acceleration(), limits.jerk()).total;
        let direct = (from + to) / 2.0 * ramp((to - from).abs());
        let by_stopping = from / 2.0 * ramp(from) + to / 2.0 * ramp(to);
        let least = direct.min(by_stopping);
        Ok(if start + finish < 0.0 { -least } else { least })
    }

    /// The same path, slowed down evenly to take exactly `duration` seconds: for an axis that has to arrive together with a slower one.
    ///
    /// # Errors
    /// [`ProfileError::TooFast`] if that is shorter than the fastest, [`ProfileError::MovingEnds`] if an end speed would have to change,
    /// [`ProfileError::OutOfRange`] unless the duration is finite (and > 0, or 0 for no distance).
    pub fn stretched(&self, duration: f64) -> Result<Self, ProfileError> {
        let least = self.course.map_or(0.0, |course| course.least());
        if !(duration == 0.0 && least == 0.0) {
            positive("duration", duration)?;
        }
        if duration < least {
            return Err(ProfileError::TooFast { found: duration, least });
        }
        if duration > least && !(self.start == 0.0 && self.finish == 0.0) {
            return Err(ProfileError::MovingEnds { start: self.start, finish: self.finish });
        }
        Ok(Self { duration, ..*self })
    }

    /// State at `t` seconds from the start, or `None` unless `0 <= t <= duration`.
    #[must_use]
    pub fn at(&self, t: f64) -> Option<State> {
        if !(0.0 <= t && t <= self.duration) {
            return None;
        }
        let Some(course) = self.course else {
            return Some(State { position: self.distance, velocity: self.start, acceleration: 0.0, jerk: 0.0 });
        };
        let pace = self.pace();
        let way = self.distance.signum();
        let point = course.at(t * pace, (self.duration - t) * pace);
        Some(State {
            position: self.distance * point.position,
            velocity: way * point.velocity * pace,
            acceleration: way * point.acceleration * pace * pace,
            jerk: way * point.jerk * pace * pace * pace,
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

    /// The phases.
    #[must_use]
    pub fn phases(&self) -> SevenSegmentPhases {
        let Some(course) = self.course else {
            return SevenSegmentPhases {
                first_jerk: 0.0,
                first: 0.0,
                cruise: 0.0,
                second_jerk: 0.0,
                second: 0.0,
                turning_speed: self.start,
                first_acceleration: 0.0,
                second_acceleration: 0.0,
            };
        };
        let (pace, way) = (self.pace(), self.distance.signum());
        let phases = course.phases();
        SevenSegmentPhases {
            first_jerk: phases.first_jerk / pace,
            first: phases.first / pace,
            cruise: phases.cruise / pace,
            second_jerk: phases.second_jerk / pace,
            second: phases.second / pace,
            turning_speed: way * phases.turning_speed * pace,
            first_acceleration: way * phases.first_acceleration * pace * pace,
            second_acceleration: way * phases.second_acceleration * pace * pace,
        }
    }

    /// Greatest speed. Unit: length/s.
    #[must_use]
    pub fn peak_velocity(&self) -> f64 {
        let phases = self.phases();
        phases.turning_speed.abs().max(self.start.abs()).max(self.finish.abs())
    }

    /// Greatest acceleration or deceleration. Unit: length/s^2.
    #[must_use]
    pub fn peak_acceleration(&self) -> f64 {
        let phases = self.phases();
        phases.first_acceleration.abs().max(phases.second_acceleration.abs())
    }

    /// Greatest jerk. Unit: length/s^3.
    #[must_use]
    pub fn peak_jerk(&self) -> f64 {
        let pace = self.pace();
        self.course.map_or(0.0, |course| course.peak_jerk() * pace * pace * pace)
    }

    /// The limit that shapes the move, or `None` if none does: no distance, or stretched beyond the fastest.
    #[must_use]
    pub fn binding(&self) -> Option<Binding> {
        let course = self.course?;
        if self.duration > course.least() {
            return None;
        }
        Some(course.binding())
    }

    /// Least duration / duration: at most 1.
    fn pace(&self) -> f64 {
        match self.course {
            Some(course) => course.least() / self.duration,
            None => 1.0,
        }
    }
}

/// The least duration in which all of `profiles` can arrive together: that of the slowest, bit for bit; 0 if there are none.
///
/// Pass it to [`SevenSegment::stretched`] of each.
#[must_use]
pub fn synchronise(profiles: &[SevenSegment]) -> f64 {
    profiles.iter().map(SevenSegment::duration).fold(0.0, f64::max)
}
