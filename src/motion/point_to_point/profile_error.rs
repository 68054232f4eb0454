//! Why there is no such profile, and the checks that every law makes first.
//!
//! Invariant: a refusal names what was found and what is allowed; conditions are written so that NaN fails. Units: length and seconds.

/// Which end of a move.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum End {
    /// The instant 0.
    Start,
    /// The instant `duration`.
    Finish,
}

impl std::fmt::Display for End {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            End::Start => "start",
            End::Finish => "end",
        })
    }
}

/// Why there is no such profile.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ProfileError {
    /// An input is outside what is allowed for it.
    #[error("{what} is {found:?}: it must be {allowed}")]
    OutOfRange {
        /// Name of the input.
        what: &'static str,
        /// Its value.
        found: f64,
        /// The range in words.
        allowed: &'static str,
    },
    /// The inputs are so far apart in size that the duration is not a normal `f64`.
    #[error("a move of {distance:?} under these limits has a duration that cannot be represented")]
    NotRepresentable {
        /// The distance asked for. Unit: length.
        distance: f64,
    },
    /// An end speed is over the velocity limit.
    #[error("the {end} speed is {found:?} length/s: the velocity limit is {allowed:?}")]
    EndSpeedOverLimit {
        /// Which end.
        end: End,
        /// Speed asked for. Unit: length/s.
        found: f64,
        /// The velocity limit. Unit: length/s.
        allowed: f64,
    },
    /// An end speed points away from the target, so that the axis would have to back up.
    #[error("the {end} speed is {found:?} length/s against a move of {distance:?}: the axis would have to back up")]
    AgainstMove {
        /// Which end.
        end: End,
        /// Speed asked for. Unit: length/s.
        found: f64,
        /// The distance asked for. Unit: length.
        distance: f64,
    },
    /// The speed cannot be changed so much within the distance: the axis would overrun.
    #[error("a distance of {distance:?} is too short to change speed from {start:?} to {finish:?} length/s: at least {least:?} is needed")]
    TooShort {
        /// The distance asked for. Unit: length.
        distance: f64,
        /// The least distance, of the same sign. Unit: length.
        least: f64,
        /// Speed at the start. Unit: length/s.
        start: f64,
        /// Speed at the end. Unit: length/s.
        finish: f64,
    },
    /// No symmetric trapezoid covers the distance in the time at this cruise speed.
    #[error("the cruise speed is {found:?} length/s: it must be more than {above:?} and at most {at_most:?}")]
    CruiseOutOfReach {
        /// Cruise speed asked for. Unit: length/s.
        found: f64,
        /// Least cruise speed, itself out of reach. Unit: length/s.
        above: f64,
        /// Greatest cruise speed, within reach. Unit: length/s.
        at_most: f64,
    },
    /// A profile can be slowed down, not hurried.
    #[error("a duration of {found:?} s is too short: the fastest is {least:?} s")]
    TooFast {
        /// Duration asked for. Unit: s.
        found: f64,
        /// The least duration. Unit: s.
        least: f64,
    },
    /// Slowing a profile down would change the speeds at its ends.
    #[error("only a move from rest to rest can be stretched: this one has end speeds {start:?} and {finish:?} length/s")]
    MovingEnds {
        /// Speed at the start. Unit: length/s.
        start: f64,
        /// Speed at the end. Unit: length/s.
        finish: f64,
    },
}

pub(crate) fn positive(what: &'static str, found: f64) -> Result<f64, ProfileError> {
    if !(found > 0.0 && found.is_finite()) {
        return Err(ProfileError::OutOfRange { what, found, allowed: "finite and > 0" });
    }
    Ok(found)
}

pub(crate) fn finite(what: &'static str, found: f64) -> Result<f64, ProfileError> {
    if !found.is_finite() {
        return Err(ProfileError::OutOfRange { what, found, allowed: "finite" });
    }
    Ok(found)
}

/// Checks distance and end speeds, and returns the speeds counted along the move (>= 0, as the distance is then |distance|).
///
/// A distance of zero has the direction of its end speeds.
pub(crate) fn along_the_move(distance: f64, start: f64, finish: f64, limit: f64) -> Result<(f64, f64), ProfileError> {
    finite("distance", distance)?;
    let backwards = distance < 0.0 || (distance == 0.0 && start + finish < 0.0);
    let checked = |end: End, what: &'static str, found: f64| {
        finite(what, found)?;
        if found.abs() > limit {
            return Err(ProfileError::EndSpeedOverLimit { end, found, allowed: limit });
        }
        let along = if backwards { -found } else { found };
        if along < 0.0 {
            return Err(ProfileError::AgainstMove { end, found, distance });
        }
        Ok(along.abs())
    };
    Ok((checked(End::Start, "start speed", start)?, checked(End::Finish, "end speed", finish)?))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::super::Limits;
    use super::*;

    #[test]
    fn a_message_names_the_value_and_what_is_allowed() {
        let error = Limits::new(1.0, -2.0, 3.0).unwrap_err();
        assert_eq!(error.to_string(), "acceleration limit is -2.0: it must be finite and > 0");
    }

    #[test]
    fn end_speeds_are_counted_along_the_move() {
        assert_eq!(along_the_move(-3.0, -1.0, 0.0, 2.0), Ok((1.0, 0.0)));
        assert_eq!(along_the_move(0.0, -1.0, -1.0, 2.0), Ok((1.0, 1.0)));
        assert!(matches!(along_the_move(3.0, 0.0, -1.0, 2.0), Err(ProfileError::AgainstMove { end: End::Finish, .. })));
        assert!(matches!(along_the_move(3.0, 2.5, 0.0, 2.0), Err(ProfileError::EndSpeedOverLimit { end: End::Start, .. })));
        assert!(along_the_move(3.0, f64::NAN, 0.0, 2.0).is_err());
    }
}
