//! The legal range of one kind of number, and the message of a number outside it.
//!
//! Invariant: NaN and infinity are in no range whose ends are finite.

use super::code::Code;
use super::flaw::Flaw;

/// The legal range of one kind of number.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Bound {
    /// Unit, for messages; empty for a plain ratio.
    pub unit: &'static str,
    /// Least value.
    pub least: f64,
    /// True where `least` itself is not allowed.
    pub above_least: bool,
    /// Greatest value.
    pub most: f64,
}

impl Bound {
    pub(super) const fn from(unit: &'static str, least: f64, most: f64) -> Self {
        Bound { unit, least, above_least: false, most }
    }

    pub(super) const fn above(unit: &'static str, least: f64, most: f64) -> Self {
        Bound { unit, least, above_least: true, most }
    }

    /// True where `value` lies in the range; NaN never does.
    #[must_use]
    pub(crate) fn contains(&self, value: f64) -> bool {
        let high_enough = if self.above_least { self.least < value } else { self.least <= value };
        high_enough && value <= self.most
    }

    /// The same range where the unit is known.
    pub(crate) fn in_unit(self, unit: &'static str) -> Bound {
        Bound { unit, ..self }
    }

    /// `value` if it lies in the range.
    ///
    /// # Errors
    /// A flaw of `field` that names what was found and what is allowed.
    pub(crate) fn check(&self, field: &str, value: f64) -> Result<f64, Flaw> {
        if self.contains(value) { Ok(value) } else { Err(outside(field, with_unit(value, self.unit), self.to_string())) }
    }
}

impl core::fmt::Display for Bound {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        let least = if self.above_least { "more than " } else { "" };
        let joint = if self.above_least { ", at most " } else { " to " };
        write!(f, "{least}{}{joint}{}", self.least, with_unit(self.most, self.unit))
    }
}

/// The legal range of one kind of whole number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Whole {
    /// Unit, for the reference; empty for a plain count.
    pub unit: &'static str,
    /// Least value.
    pub least: i64,
    /// Greatest value; `i64::MAX` where there is none.
    pub most: i64,
}

impl Whole {
    pub(super) const fn from(unit: &'static str, least: i64, most: i64) -> Self {
        Whole { unit, least, most }
    }

    /// True where `value` lies in the range.
    #[must_use]
    pub(crate) fn contains(&self, value: i64) -> bool {
        self.least <= value && value <= self.most
    }

    /// `value` if it lies in the range.
    ///
    /// # Errors
    /// A flaw of `field` that names what was found and what is allowed.
    pub(crate) fn check(&self, field: &str, value: i64) -> Result<i64, Flaw> {
        if self.contains(value) { Ok(value) } else { Err(outside(field, value.to_string(), self.to_string())) }
    }

    /// `value` as a number that fits 32 bits, if it lies in the range.
    ///
    /// # Errors
    /// As [`Whole::check`].
    pub(crate) fn check_u32(&self, field: &str, value: i64) -> Result<u32, Flaw> {
        let value = self.check(field, value)?;
        u32::try_from(value).map_err(|_| outside(field, value.to_string(), self.to_string()))
    }
}

impl core::fmt::Display for Whole {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self.most {
            i64::MAX => write!(f, "a whole number from {}", self.least),
            most => write!(f, "{} to {most}", self.least),
        }
    }
}

fn outside(field: &str, found: String, allowed: String) -> Flaw {
    Flaw::new(Code::OutOfRange, field, format!("`{field}` is out of range")).found(found, allowed)
}

/// A number with its unit, as messages show it.
#[must_use]
pub(crate) fn with_unit(value: f64, unit: &str) -> String {
    // Numbers of many digits are read by their power of ten.
    let size = value.abs();
    let number = if size != 0.0 && size.is_finite() && !(1e-6..1e12).contains(&size) { format!("{value:e}") } else { format!("{value}") };
    match unit {
        "" => number,
        "beats" | "degrees" | "frames" | "pieces" | "steps" if value == 1.0 => format!("{number} {}", unit.trim_end_matches('s')),
        _ => format!("{number} {unit}"),
    }
}

/// A number of things, in words that agree.
#[must_use]
pub(crate) fn count(n: u64, what: &str) -> String {
    if n == 1 { format!("1 {what}") } else { format!("{n} {}", plural(what)) }
}

/// A number of things in a list, in words that agree.
#[must_use]
pub(crate) fn counted(n: usize, what: &str) -> String {
    count(u64::try_from(n).unwrap_or(u64::MAX), what)
}

fn plural(what: &str) -> String {
    if let Some(begin) = what.strip_suffix("xis") {
        format!("{begin}xes")
    } else if what.ends_with('s') {
        format!("{what}es")
    } else {
        format!("{what}s")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nouns_agree_with_their_number() {
        let one = ["axis", "pass", "frame"].map(|what| count(1, what));
        assert_eq!(one, ["1 axis", "1 pass", "1 frame"]);
        let more = ["axis", "pass", "frame", "more axis"].map(|what| count(2, what));
        assert_eq!(more, ["2 axes", "2 passes", "2 frames", "2 more axes"]);
        assert_eq!(count(0, "key"), "0 keys");
        assert_eq!([with_unit(1.0, "frames"), with_unit(2.0, "frames"), with_unit(1.0, "mm")], ["1 frame", "2 frames", "1 mm"]);
    }

    #[test]
    fn the_ends_belong_or_not_as_declared() {
        let (open, closed) = (Bound::above("", 0.0, 1.0), Bound::from("", 0.0, 1.0));
        assert!(open.check("x", 0.0).is_err() && open.check("x", 1.0).is_ok());
        assert!(closed.check("x", 0.0).is_ok() && closed.check("x", 1.0 + 1e-15).is_err());
        assert_eq!(open.to_string(), "more than 0, at most 1");
        let whole = Whole::from("", 1, 4096);
        assert!(
            whole.check("x", 0).is_err()
                && whole.check("x", 1).is_ok()
                && whole.check("x", 4096).is_ok()
                && whole.check("x", 4097).is_err()
        );
        assert_eq!((whole.to_string(), Whole::from("", 0, i64::MAX).to_string()), ("1 to 4096".into(), "a whole number from 0".into()));
    }
}
