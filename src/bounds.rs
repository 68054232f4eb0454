//! Every legal range of a number, in one table: constructors, messages and documentation read it.
//!
//! Invariant: a number that passed its bound is finite. The outer bounds are far beyond any stage; they keep products of
//! allowed numbers finite, so that nothing behind the edge needs to ask again.

mod code;
mod flaw;

pub use code::{Code, reference};
pub use flaw::Flaw;

/// The legal range of one kind of number.
#[derive(Debug, Clone, Copy)]
pub struct Bound {
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
    const fn from(unit: &'static str, least: f64, most: f64) -> Self {
        Bound { unit, least, above_least: false, most }
    }

    const fn above(unit: &'static str, least: f64, most: f64) -> Self {
        Bound { unit, least, above_least: true, most }
    }

    /// `value` if it lies in the range; NaN never does.
    ///
    /// # Errors
    /// A flaw of `field` that names what was found and what is allowed.
    pub fn check(&self, field: &str, value: f64) -> Result<f64, Flaw> {
        let low_enough = value <= self.most;
        let high_enough = if self.above_least { self.least < value } else { self.least <= value };
        if low_enough && high_enough {
            return Ok(value);
        }
        Err(Flaw::new(Code::OutOfRange, field, format!("`{field}` is out of range")).found(with_unit(value, self.unit), self.to_string()))
    }
}

impl core::fmt::Display for Bound {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        let least = if self.above_least { "more than " } else { "" };
        let joint = if self.above_least { ", at most " } else { " to " };
        write!(f, "{least}{}{joint}{}", self.least, with_unit(self.most, self.unit))
    }
}

/// A number with its unit, as messages show it.
#[must_use]
pub fn with_unit(value: f64, unit: &str) -> String {
    // Numbers of many digits are read by their power of ten.
    let size = value.abs();
    let number = if size != 0.0 && size.is_finite() && !(1e-6..1e12).contains(&size) { format!("{value:e}") } else { format!("{value}") };
    if unit.is_empty() { number } else { format!("{number} {unit}") }
}

/// Positions, key values, travel ends (mm or deg).
pub const POSITION: Bound = Bound::from("mm or deg", -1e9, 1e9);
/// Limits of velocity, acceleration and jerk (unit/s, unit/s2, unit/s3).
pub const RATE_LIMIT: Bound = Bound::above("mm or deg per s, s2 or s3", 0.0, 1e12);
/// Step rates.
pub const STEP_RATE: Bound = Bound::above("steps/s", 0.0, 1e9);
/// Travel for one output revolution, of either sign never: `reverse` says the direction.
pub const TRAVEL_PER_REV: Bound = Bound::from("mm or deg", 1e-6, 1e9);
/// Motor revolutions for one output revolution.
pub const GEAR_RATIO: Bound = Bound::from("motor revolutions per output revolution", 1e-6, 1e6);
/// Backlash.
pub const BACKLASH: Bound = Bound::from("mm or deg", 0.0, 1e6);
/// Model size over real size.
pub const SCALE: Bound = Bound::from("", 1e-6, 1e6);
/// Moments of inertia.
pub const INERTIA: Bound = Bound::from("kg m2", 0.0, 1e9);
/// Torques.
pub const TORQUE: Bound = Bound::from("N m", 0.0, 1e9);
/// Motor speeds of the torque table.
pub const MOTOR_SPEED: Bound = Bound::from("rev/min", 0.0, 1e6);
/// Masses.
pub const MASS: Bound = Bound::from("kg", 0.0, 1e9);
/// Friction of the load (N for mm axes, N m for deg axes).
pub const FRICTION: Bound = Bound::from("N or N m", 0.0, 1e9);
/// Efficiency of the drive.
pub const EFFICIENCY: Bound = Bound::above("", 0.0, 1.0);
/// Frame times of keys.
pub const FRAME: Bound = Bound::from("frames", -1e8, 1e8);
/// Half-width of a blended corner.
pub const BLEND: Bound = Bound::from("frames", 0.0, 1e6);
/// Length of a beat or of a drift. Shorter than two frames it could not be seen as what it is.
pub const PERIOD: Bound = Bound::from("frames", 1.0, 1e8);
/// Phase of a cycle.
pub const PHASE: Bound = Bound::from("beats", -1e6, 1e6);
/// Place within a beat.
pub const BEAT: Bound = Bound { unit: "beats", least: 0.0, above_least: false, most: 1.0 };
/// Factor on the speed of a beat.
pub const BEAT_RATE: Bound = Bound::from("", 0.0, 100.0);
/// Factors on amounts and copies.
pub const FACTOR: Bound = Bound::from("", -1e6, 1e6);
/// Delay of a copy.
pub const DELAY: Bound = Bound::from("frames", -1e6, 1e6);
/// Time for one frame.
pub const PACE: Bound = Bound::from("s per frame", 1e-3, 86_400.0);
/// Shutter angle.
pub const SHUTTER: Bound = Bound::above("degrees", 0.0, 360.0);
/// Rest before a held exposure.
pub const SETTLE: Bound = Bound::from("s", 0.0, 86_400.0);

/// Most axes of a stage.
pub const MOST_AXES: usize = 4096;
/// Most keys of one track.
pub const MOST_KEYS: usize = 1_000_000;
/// Most frames of a shot.
pub const MOST_FRAMES: i64 = 1_000_000;
/// Most pieces of one axis's curve.
pub const MOST_PIECES: usize = 4_000_000;
/// Most passes of a shot.
pub const MOST_PASSES: usize = 64;
/// Largest input file, bytes.
pub const MOST_BYTES: u64 = 256 * 1024 * 1024;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nan_and_infinity_are_in_no_range() {
        for bound in [POSITION, RATE_LIMIT, EFFICIENCY, PACE] {
            for x in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 1e308] {
                assert!(bound.check("x", x).is_err(), "{bound} {x}");
            }
        }
    }

    #[test]
    fn the_ends_belong_or_not_as_declared() {
        assert!(RATE_LIMIT.check("x", 0.0).is_err());
        assert!(EFFICIENCY.check("x", 1.0).is_ok());
        assert!(BACKLASH.check("x", 0.0).is_ok());
        assert_eq!(EFFICIENCY.to_string(), "more than 0, at most 1");
    }
}
