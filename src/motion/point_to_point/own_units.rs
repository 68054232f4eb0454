//! The units in which a profile is worked out: its own distance, and a power of two of seconds near its own duration.
//!
//! Invariant: `length` is finite and > 0, `time` is a power of two. Dividing by the distance makes every later number free of the
//! caller's unit of length; a power of two of seconds keeps the conversion of times exact. Limit: quantities that overflow in these
//! units are held at `f64::MAX`: such a limit is so far from being reached that its size has no effect on any bit of the duration.

use super::ProfileError;

/// A unit of length and a unit of time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct OwnUnits {
    /// Unit: length. > 0.
    length: f64,
    /// Unit: s. A power of two.
    time: f64,
}

impl OwnUnits {
    /// Units for a move of `distance` (not 0, of either sign), whose duration is of the size of `about` seconds.
    pub(crate) fn new(distance: f64, about: f64) -> Result<Self, ProfileError> {
        if !(about > 0.0 && about.is_normal()) {
            return Err(ProfileError::NotRepresentable { distance });
        }
        // The exponent bits alone: the greatest power of two that is not over `about`.
        let time = f64::from_bits(about.to_bits() & 0x7ff0_0000_0000_0000);
        Ok(Self { length: distance.abs(), time })
    }

    /// Seconds into own units. Exact.
    pub(crate) fn time(&self, seconds: f64) -> f64 {
        seconds / self.time
    }

    /// Own units into seconds. Exact.
    pub(crate) fn seconds(&self, time: f64) -> f64 {
        time * self.time
    }

    /// A velocity (length/s) into own units.
    pub(crate) fn velocity(&self, value: f64) -> f64 {
        (value * self.time / self.length).min(f64::MAX)
    }

    /// An acceleration (length/s^2) into own units.
    pub(crate) fn acceleration(&self, value: f64) -> f64 {
        (value * self.time * self.time / self.length).min(f64::MAX)
    }

    /// A jerk (length/s^3) into own units.
    pub(crate) fn jerk(&self, value: f64) -> f64 {
        (value * self.time * self.time * self.time / self.length).min(f64::MAX)
    }

    /// A velocity in own units into length/s.
    pub(crate) fn length_per_s(&self, velocity: f64) -> f64 {
        velocity * self.length / self.time
    }

    /// An acceleration in own units into length/s^2.
    pub(crate) fn length_per_s2(&self, acceleration: f64) -> f64 {
        acceleration * self.length / self.time / self.time
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;

    #[test]
    fn the_unit_of_time_is_the_power_of_two_below() {
        let units = OwnUnits::new(-5.0, 3.9).unwrap();
        assert_eq!((units.length, units.time), (5.0, 2.0));
        assert_eq!(OwnUnits::new(1.0, 4.0).unwrap().time, 4.0);
        assert_eq!(units.velocity(10.0), 4.0);
        assert_eq!(units.acceleration(10.0), 8.0);
        assert_eq!(units.jerk(10.0), 16.0);
        assert_eq!(units.length_per_s2(8.0), 10.0);
    }

    #[test]
    fn a_duration_out_of_range_is_refused() {
        for about in [0.0, f64::INFINITY, f64::NAN, -1.0, 1e-310] {
            assert!(OwnUnits::new(1.0, about).is_err(), "{about}");
        }
    }
}
