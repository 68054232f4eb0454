//! From positions to steps: motor, microsteps and gearing of one axis.
//!
//! Invariant: every ratio is positive and finite, and the whole travel counts less than 2^53 steps, so that a count is exact in
//! an f64 and rounding is to the nearest step with a half step as its worst error.

use crate::bounds::{self, Flaw, Whole};
use crate::number::whole;

/// How many steps a unit is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Drive {
    steps_per_output_rev: f64,
    travel_per_rev: f64,
    gear_ratio: f64,
    microsteps: u32,
    full_steps_per_rev: u32,
    reverse: bool,
}

/// What a drive is made from; units as in the stage file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct DriveSpec {
    /// Full steps of one motor revolution, 1 to 100,000.
    pub full_steps_per_rev: i64,
    /// Microsteps of one full step, 1 to 4096.
    pub microsteps: i64,
    /// Motor revolutions for one output revolution.
    pub gear_ratio: f64,
    /// Travel (mm or deg) for one output revolution.
    pub travel_per_rev: f64,
    /// True where positive travel counts negative steps.
    pub reverse: bool,
}

impl Default for DriveSpec {
    fn default() -> Self {
        DriveSpec { full_steps_per_rev: 200, microsteps: 1, gear_ratio: 1.0, travel_per_rev: 360.0, reverse: false }
    }
}

impl Drive {
    /// Checks a drive.
    ///
    /// # Errors
    /// Every number out of its range.
    pub(crate) fn new(spec: DriveSpec) -> Result<Drive, Vec<Flaw>> {
        let mut flaws = Vec::new();
        let full = small(&mut flaws, "full_steps_per_rev", spec.full_steps_per_rev, bounds::FULL_STEPS);
        let micro = small(&mut flaws, "microsteps", spec.microsteps, bounds::MICROSTEPS);
        flaws.extend(bounds::GEAR_RATIO.check("gear_ratio", spec.gear_ratio).err());
        flaws.extend(bounds::TRAVEL_PER_REV.check("travel_per_rev", spec.travel_per_rev).err());
        if !flaws.is_empty() {
            return Err(flaws);
        }
        Ok(Drive {
            steps_per_output_rev: f64::from(full) * f64::from(micro) * spec.gear_ratio,
            travel_per_rev: spec.travel_per_rev,
            gear_ratio: spec.gear_ratio,
            microsteps: micro,
            full_steps_per_rev: full,
            reverse: spec.reverse,
        })
    }

    /// Steps for `offset` units from home, not yet rounded: offset x full steps x microsteps x gear ratio / travel per revolution,
    /// negated where the axis is reversed.
    #[must_use]
    pub(crate) fn steps(&self, offset: f64) -> f64 {
        let steps = offset * self.steps_per_output_rev / self.travel_per_rev;
        if self.reverse { -steps } else { steps }
    }

    /// The nearest whole step, ties to even; `None` only for numbers no checked axis has (NaN, or beyond 2^53).
    #[must_use]
    pub(crate) fn count(&self, offset: f64) -> Option<i64> {
        whole::nearest(self.steps(offset))
    }

    /// Units from home at a count of steps: the inverse of [`Drive::steps`].
    #[cfg(test)]
    pub(crate) fn offset(&self, steps: f64) -> f64 {
        let steps = if self.reverse { -steps } else { steps };
        steps * self.travel_per_rev / self.steps_per_output_rev
    }

    /// Steps of one unit, positive.
    #[must_use]
    pub(crate) fn steps_per_unit(&self) -> f64 {
        self.steps_per_output_rev / self.travel_per_rev
    }

    /// Motor revolutions of one unit, positive.
    #[must_use]
    pub(crate) fn motor_revs_per_unit(&self) -> f64 {
        self.gear_ratio / self.travel_per_rev
    }

    /// Travel (mm or deg) for one output revolution.
    #[must_use]
    pub(crate) fn travel_per_rev(&self) -> f64 {
        self.travel_per_rev
    }

    /// Motor revolutions for one output revolution.
    #[must_use]
    pub(crate) fn gear_ratio(&self) -> f64 {
        self.gear_ratio
    }

    /// Microsteps of one full step.
    #[must_use]
    pub(crate) fn microsteps(&self) -> u32 {
        self.microsteps
    }

    /// Full steps of one motor revolution.
    #[must_use]
    pub(crate) fn full_steps_per_rev(&self) -> u32 {
        self.full_steps_per_rev
    }

    /// True where positive travel counts negative steps.
    #[must_use]
    pub(crate) fn is_reversed(&self) -> bool {
        self.reverse
    }
}

/// The number, or 1 in its place where it is out of range, which is then a flaw.
fn small(flaws: &mut Vec<Flaw>, field: &str, value: i64, range: Whole) -> u32 {
    range.check_u32(field, value).unwrap_or_else(|flaw| {
        flaws.push(flaw);
        1
    })
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    fn drive(full: i64, micro: i64, gear: f64, travel: f64) -> Drive {
        Drive::new(DriveSpec { full_steps_per_rev: full, microsteps: micro, gear_ratio: gear, travel_per_rev: travel, reverse: false })
            .unwrap()
    }

    /// Steps per mm of calculator pages (calculatorfriend.com, circuitist.com; the mixed drive: reprap.org forum 677333).
    #[test]
    fn steps_per_millimetre_are_the_published_ones() {
        for (micro, gear, travel, want) in [
            (16, 1.0, 20.0 * 2.0, 80.0),
            (16, 1.0, 16.0 * 2.0, 100.0),
            (16, 1.0, 8.0, 400.0),
            (16, 1.0, 2.0, 1600.0),
            (8, 1.0, 2.0, 800.0),
            (16, 20.0 / 32.0, 8.0, 250.0),
        ] {
            assert_eq!(drive(200, micro, gear, travel).steps_per_unit(), want);
        }
    }

    /// M. P. Groover, NC positioning problems (from memory): 60,000 pulses; 3,200; 267 after rounding up; 10,000.
    #[test]
    fn positioning_table_pulses_are_the_published_ones() {
        assert_eq!(drive(200, 1, 5.0, 10.0 / 2.4).count(250.0), Some(60_000));
        assert_eq!(drive(200, 1, 1.0, 7.5).count(120.0), Some(3_200));
        assert_eq!(drive(48, 1, 5.0, 6.0).count(250.0), Some(10_000));
        assert_eq!(whole::ceiling(4.0 / 0.015), Some(267));
    }

    /// Beckhoff EL70x7 documentation, reference velocity: 2000 full steps/s of a 200-step motor are 10 rev/s, 3600 deg/s;
    /// 120 rev/min at 16 microsteps are 6400 Hz (calculator.city).
    #[test]
    fn speeds_convert_as_published() {
        let d = drive(200, 1, 1.0, 360.0);
        assert_eq!(d.offset(2000.0), 3600.0);
        assert_eq!(d.offset(2000.0) * d.motor_revs_per_unit(), 10.0);
        assert_eq!(drive(200, 16, 1.0, 360.0).steps(120.0 / 60.0 * 360.0), 6400.0);
    }

    #[test]
    fn a_reversed_axis_counts_the_same_steps_the_other_way() {
        let mut spec = DriveSpec { travel_per_rev: 60.0, ..DriveSpec::default() };
        let plain = Drive::new(spec).unwrap();
        spec.reverse = true;
        let turned = Drive::new(spec).unwrap();
        for x in [-7.3, 0.0, 0.15, 4.05, 1000.0] {
            assert_eq!(plain.count(x).unwrap(), -turned.count(x).unwrap());
            assert_eq!(turned.offset(turned.steps(x)), plain.offset(plain.steps(x)));
        }
    }

    #[test]
    fn every_bad_number_is_told() {
        let spec = DriveSpec { full_steps_per_rev: 0, microsteps: 5000, gear_ratio: f64::NAN, travel_per_rev: 0.0, reverse: false };
        assert_eq!(Drive::new(spec).unwrap_err().len(), 4);
    }
}
