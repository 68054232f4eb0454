//! The double-S move: fastest under limits of velocity, acceleration and jerk, from rest to rest.
//!
//! Invariants: truly time optimal; position 0 at 0 exactly and `distance` bit for bit at `duration`; no limit passed, rounding included: every phase is
//! evaluated from the end of it that is known exactly. The two halves of a move meet within 2^-47 of the distance. Source of the phases: L. Biagiotti,
//! C. Melchiorri, Trajectory Planning for Automatic Machines and Robots, Springer 2008, sec. 3.4.

use super::course::Course;
use super::profile_error::{finite, positive};
use super::{Binding, Limits, Phases, ProfileError, State};

/// A double-S profile.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct SevenSegment {
    distance: f64,
    duration: f64,
    /// `None` for a move without distance.
    course: Option<Course>,
}

impl SevenSegment {
    /// The fastest move over `distance` (length, either sign) from rest to rest: a closed form, T = h/v + v/a + a/j with what is reached. A distance of 0
    /// takes no time.
    ///
    /// # Errors
    /// [`ProfileError::OutOfRange`] unless the distance is finite, [`ProfileError::NotRepresentable`] if the duration overflows.
    pub(crate) fn rest_to_rest(distance: f64, limits: &Limits) -> Result<Self, ProfileError> {
        finite("distance", distance)?;
        if distance == 0.0 {
            return Ok(Self { distance, duration: 0.0, course: None });
        }
        let course = Course::fastest(distance, limits)?;
        Ok(Self { distance, duration: course.least(), course: Some(course) })
    }

    /// The same path, slowed down evenly to take exactly `duration` seconds: for an axis that has to arrive together with a slower one.
    ///
    /// # Errors
    /// [`ProfileError::TooFast`] if that is shorter than the fastest, [`ProfileError::OutOfRange`] unless the duration is finite (and > 0, or 0 for no distance).
    pub(crate) fn stretched(&self, duration: f64) -> Result<Self, ProfileError> {
        let least = self.course.map_or(0.0, |course| course.least());
        if !(duration == 0.0 && least == 0.0) {
            positive("duration", duration)?;
        }
        if duration < least {
            return Err(ProfileError::TooFast { found: duration, least });
        }
        Ok(Self { duration, ..*self })
    }

    /// State at `t` seconds from the start, or `None` unless `0 <= t <= duration`.
    #[must_use]
    pub(crate) fn at(&self, t: f64) -> Option<State> {
        if !(0.0 <= t && t <= self.duration) {
            return None;
        }
        let Some(course) = self.course else {
            return Some(State { position: self.distance, velocity: 0.0, acceleration: 0.0, jerk: 0.0 });
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
    pub(crate) fn duration(&self) -> f64 {
        self.duration
    }

    /// The phases.
    #[must_use]
    pub(crate) fn phases(&self) -> Phases {
        let Some(course) = self.course else { return Phases::default() };
        let (pace, way) = (self.pace(), self.distance.signum());
        let phases = course.phases();
        Phases {
            blend: phases.blend / pace,
            ramp: phases.ramp / pace,
            cruise: phases.cruise / pace,
            speed: way * phases.speed * pace,
            acceleration: way * phases.acceleration * pace * pace,
        }
    }

    /// Greatest speed. Unit: length/s.
    #[must_use]
    pub(crate) fn peak_velocity(&self) -> f64 {
        self.phases().speed.abs()
    }

    /// Greatest acceleration or deceleration. Unit: length/s^2.
    #[must_use]
    pub(crate) fn peak_acceleration(&self) -> f64 {
        self.phases().acceleration.abs()
    }

    /// Greatest jerk. Unit: length/s^3.
    #[must_use]
    pub(crate) fn peak_jerk(&self) -> f64 {
        let pace = self.pace();
        self.course.map_or(0.0, |course| course.peak_jerk() * pace * pace * pace)
    }

    /// The limit that shapes the move, or `None` if none does: no distance, or stretched beyond the fastest.
    #[must_use]
    pub(crate) fn binding(&self) -> Option<Binding> {
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
