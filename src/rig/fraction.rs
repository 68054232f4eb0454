//! Steps of one unit as an exact fraction.
//!
//! Invariant: lowest terms; the fraction is full steps x microsteps x gear ratio / travel per revolution, each as the stage file writes it in decimals. Limits: a number that no
//! file writes but a program hands over is taken as its shortest decimal; a fraction beyond 128 bits is none.

use core::fmt;

use crate::number::whole;
use crate::stage::drive::Drive;

/// A positive fraction in lowest terms.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Fraction {
    numerator: u128,
    denominator: u128,
}

impl Fraction {
    /// Steps of one unit of a drive, without sign; `None` where they do not fit.
    #[must_use]
    pub(crate) fn steps_per_unit(drive: &Drive) -> Option<Fraction> {
        let ((gear, gear_places), (travel, travel_places)) = (decimal(drive.gear_ratio())?, decimal(drive.travel_per_rev())?);
        // gear x 10^-gear_places / (travel x 10^-travel_places): common powers of ten leave first.
        let common = gear_places.min(travel_places);
        let power = |places: i32| u32::try_from(places - common).ok().and_then(|n| 10_u128.checked_pow(n));
        let steps = u128::from(drive.full_steps_per_rev()) * u128::from(drive.microsteps());
        let numerator = steps.checked_mul(gear)?.checked_mul(power(travel_places)?)?;
        let denominator = travel.checked_mul(power(gear_places)?)?;
        let shared = whole::common_divisor(numerator, denominator);
        Some(Fraction { numerator: numerator.checked_div(shared)?, denominator: denominator.checked_div(shared)? })
    }
}

impl fmt::Display for Fraction {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.denominator {
            1 => write!(f, "{}", self.numerator),
            denominator => write!(f, "{}/{denominator}", self.numerator),
        }
    }
}

/// A positive number as whole number x 10^-places, from its shortest decimal.
fn decimal(x: f64) -> Option<(u128, i32)> {
    let text = format!("{x:e}");
    let (mantissa, exponent) = text.split_once('e')?;
    let (units, part) = mantissa.split_once('.').unwrap_or((mantissa, ""));
    let digits: u128 = format!("{units}{part}").parse().ok()?;
    Some((digits, i32::try_from(part.len()).ok()? - exponent.parse::<i32>().ok()?))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::stage::drive::DriveSpec;

    fn of(full: i64, micro: i64, gear: f64, travel: f64) -> Option<String> {
        let spec = DriveSpec { full_steps_per_rev: full, microsteps: micro, gear_ratio: gear, travel_per_rev: travel, reverse: false };
        Fraction::steps_per_unit(&Drive::new(spec).unwrap()).map(|f| f.to_string())
    }

    #[test]
    fn the_fraction_is_exact_and_in_lowest_terms() {
        assert_eq!(of(200, 16, 3.0, 60.0).unwrap(), "160");
        assert_eq!(of(200, 16, 72.0, 360.0).unwrap(), "640");
        assert_eq!(of(200, 10, 1.0, 7.5).unwrap(), "800/3");
        assert_eq!(of(200, 16, 0.625, 8.0).unwrap(), "250");
        assert_eq!(of(48, 1, 1.0, 0.3).unwrap(), "160");
        assert_eq!(of(200, 1, 1e-6, 1e9).unwrap(), "1/5000000000000");
        // 200 x 3.3333333333333335 / 60, as the file writes it.
        assert_eq!(of(200, 1, 3.333_333_333_333_333_5, 60.0).unwrap(), "6666666666666667/600000000000000");
    }

    /// The ranges of the keys keep numerator and denominator below 2^127.
    #[test]
    fn the_longest_numbers_fit() {
        for gear in [1e-6, 1.234_567_890_123_456_7e-6, 123_456.789_012_345_67, 999_999.999_999_999_9, 1e6] {
            for travel in [1e-6, 1.234_567_890_123_456_7e-6, 987_654_321.012_345_6, 1e9] {
                assert!(of(99_999, 4095, gear, travel).is_some(), "{gear} {travel}");
            }
        }
    }
}
