//! Readings of one axis: where it was commanded to be, where a gauge saw it, and from which side it came.
//!
//! Units: of the axis. Invariant of [`Measurement`]: every commanded position lies in the travel, there are at least [`FEWEST_TARGETS`] different ones and [`FEWEST_READINGS`] readings, and at most
//! [`bounds::MOST_READINGS`]. A commanded position counts as the whole step that the machine goes to. The gauge may have its zero anywhere.

use std::collections::BTreeMap;

use crate::bounds::{self, Code, Flaw, counted};
use crate::stage::Axis;

/// Fewest different commanded positions: two lie on every line.
pub(crate) const FEWEST_TARGETS: usize = 3;

/// Fewest readings: five more than what is fitted.
pub(crate) const FEWEST_READINGS: usize = 8;

/// From which side a position was approached.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Approach {
    /// From below: the commanded position rose.
    Up,
    /// From above.
    Down,
}

impl Approach {
    /// 1 from below, -1 from above.
    #[must_use]
    pub(crate) fn sign(self) -> f64 {
        match self {
            Approach::Up => 1.0,
            Approach::Down => -1.0,
        }
    }
}

/// One reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Reading {
    /// Where the axis was commanded to be.
    pub(crate) commanded: f64,
    /// Where the gauge saw it.
    pub(crate) measured: f64,
    /// From which side it came.
    pub(crate) approach: Approach,
}

/// All readings of one axis.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Measurement {
    readings: Vec<Reading>,
    steps: Vec<i64>,
}

impl Measurement {
    /// Checks readings of an axis. Each commanded position becomes that of its whole step.
    ///
    /// # Errors
    /// Every flaw, with the index of its reading: numbers out of range, positions outside the travel; then too few readings or different positions.
    pub(crate) fn new(axis: &Axis, readings: Vec<Reading>) -> Result<Measurement, Vec<Flaw>> {
        let (unit, travel, drive) = (axis.unit().symbol(), axis.travel(), axis.drive());
        let half_a_step = 0.5 / drive.steps_per_unit();
        let mut flaws = Vec::new();
        if readings.len() > bounds::MOST_READINGS {
            let flaw = Flaw::new(Code::TooMany, "", "the measurement has too many rows");
            return Err(vec![
                flaw.found(counted(readings.len(), "row"), format!("at most {}", bounds::MOST_READINGS)).at_index(bounds::MOST_READINGS),
            ]);
        }
        let (mut whole_steps, mut steps) = (Vec::new(), Vec::new());
        for (i, reading) in readings.into_iter().enumerate() {
            let range = bounds::POSITION.in_unit(unit);
            let wrong = [("commanded", reading.commanded), ("measured", reading.measured)];
            let wrong = wrong.into_iter().filter_map(|(field, value)| range.check(field, value).err());
            let before = flaws.len();
            flaws.extend(wrong.map(|flaw| flaw.at_index(i)));
            if flaws.len() > before {
                continue;
            }
            let inside = travel.lower - half_a_step <= reading.commanded && reading.commanded <= travel.upper + half_a_step;
            match axis.count(reading.commanded).filter(|_| inside) {
                Some(count) => {
                    let commanded = axis.position_of(count);
                    whole_steps.push(Reading { commanded, ..reading });
                    steps.push(count);
                }
                None => flaws.push(
                    Flaw::new(Code::OutOfRange, "commanded", "a commanded position is outside the travel of the axis")
                        .found(bounds::with_unit(reading.commanded, unit), format!("{} to {} {unit}", travel.lower, travel.upper))
                        .help("give `commanded` in the unit of the axis, counted as in the stage file")
                        .at_index(i),
                ),
            }
        }
        if !flaws.is_empty() {
            return Err(flaws);
        }
        let measurement = Measurement { readings: whole_steps, steps };
        let (readings, targets) = (measurement.readings.len(), measurement.targets().len());
        if readings < FEWEST_READINGS || targets < FEWEST_TARGETS {
            let found = format!("{} at {}", counted(readings, "reading"), counted(targets, "position"));
            let allowed = format!("at least {FEWEST_READINGS} readings at {FEWEST_TARGETS} positions");
            let flaw = Flaw::new(Code::TooFewReadings, "", "the measurement has too few readings").found(found, allowed);
            return Err(vec![flaw.help("measure at the positions that `movewright rig` lists, from both sides")]);
        }
        Ok(measurement)
    }

    /// The readings, in the order of the file.
    #[must_use]
    pub(crate) fn readings(&self) -> &[Reading] {
        &self.readings
    }

    /// Indices of the readings at each commanded step, positions rising.
    #[must_use]
    pub(crate) fn targets(&self) -> Vec<(f64, Vec<usize>)> {
        let mut by_step: BTreeMap<i64, (f64, Vec<usize>)> = BTreeMap::new();
        for (i, (reading, step)) in self.readings.iter().zip(&self.steps).enumerate() {
            by_step.entry(*step).or_insert((reading.commanded, Vec::new())).1.push(i);
        }
        let mut targets: Vec<_> = by_step.into_values().collect();
        targets.sort_by(|a, b| a.0.total_cmp(&b.0));
        targets
    }

    /// The last decimal of the measured positions: what the gauge can show; 0 where they have more than nine.
    #[must_use]
    pub(crate) fn resolution(&self) -> f64 {
        let mut place = 1.0;
        for _ in 0..=9 {
            // A number of so many decimals is a whole multiple of the place, but for its own rounding.
            let whole = |x: f64| (x / place - (x / place).round()).abs() <= 1e-12 * (1.0 + (x / place).abs());
            if self.readings.iter().all(|r| whole(r.measured)) {
                return place;
            }
            place /= 10.0;
        }
        0.0
    }

    /// What a finding must exceed: half a step, or the resolution of the gauge where that is larger. Unit: unit.
    #[must_use]
    pub(crate) fn smallest(&self, axis: &Axis) -> f64 {
        (0.5 / axis.drive().steps_per_unit()).max(self.resolution())
    }

    /// True where both sides occur.
    #[must_use]
    pub(crate) fn has_both_sides(&self) -> bool {
        [Approach::Up, Approach::Down].iter().all(|side| self.readings.iter().any(|r| r.approach == *side))
    }
}
