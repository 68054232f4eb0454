//! What an axis can do, as checked numbers.
//!
//! Invariant: every limit is finite and > 0, so that a profile may divide by it. Units: any one unit of length, and seconds. Limit: each
//! holds in both directions of travel alike.

use super::ProfileError;
use super::profile_error::positive;

/// What an axis can do: the greatest velocity, acceleration and jerk, each the same in both directions.
///
/// Invariant: all three are finite and > 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Limits {
    velocity: f64,
    acceleration: f64,
    jerk: f64,
}

impl Limits {
    /// Limits of velocity (length/s), acceleration (length/s^2) and jerk (length/s^3).
    ///
    /// # Errors
    /// [`ProfileError::OutOfRange`] unless all three are finite and > 0.
    pub(crate) fn new(velocity: f64, acceleration: f64, jerk: f64) -> Result<Self, ProfileError> {
        Ok(Self {
            velocity: positive("velocity limit", velocity)?,
            acceleration: positive("acceleration limit", acceleration)?,
            jerk: positive("jerk limit", jerk)?,
        })
    }

    /// Greatest speed. Unit: length/s.
    #[must_use]
    pub(crate) fn velocity(&self) -> f64 {
        self.velocity
    }

    /// Greatest acceleration and deceleration. Unit: length/s^2.
    #[must_use]
    pub(crate) fn acceleration(&self) -> f64 {
        self.acceleration
    }

    /// Greatest jerk. Unit: length/s^3.
    #[must_use]
    pub(crate) fn jerk(&self) -> f64 {
        self.jerk
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;

    #[test]
    fn limits_refuse_all_but_finite_positive_numbers() {
        for bad in [0.0, -0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert!(Limits::new(bad, 1.0, 1.0).is_err(), "{bad}");
            assert!(Limits::new(1.0, bad, 1.0).is_err(), "{bad}");
            assert!(Limits::new(1.0, 1.0, bad).is_err(), "{bad}");
        }
        let limits = Limits::new(1.0, 2.0, 3.0).unwrap();
        assert_eq!((limits.velocity(), limits.acceleration(), limits.jerk()), (1.0, 2.0, 3.0));
    }
}
