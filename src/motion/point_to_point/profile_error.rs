//! Why there is no such profile, and the checks that the law makes first.
//!
//! Invariant: a refusal names what was found and what is allowed; conditions are written so that NaN fails. Units: length and seconds.

/// Why there is no such profile.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub(crate) enum ProfileError {
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
    /// A profile can be slowed down, not hurried.
    #[error("a duration of {found:?} s is too short: the fastest is {least:?} s")]
    TooFast {
        /// Duration asked for. Unit: s.
        found: f64,
        /// The least duration. Unit: s.
        least: f64,
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

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::super::Limits;

    #[test]
    fn a_message_names_the_value_and_what_is_allowed() {
        let error = Limits::new(1.0, -2.0, 3.0).unwrap_err();
        assert_eq!(error.to_string(), "acceleration limit is -2.0: it must be finite and > 0");
    }
}
