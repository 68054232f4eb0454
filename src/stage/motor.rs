//! A motor as its maker's data sheet gives it.
//!
//! Invariant: the torque table, where given, has at least one row, speeds strictly rising from 0 and torques never rising with speed, so
//! that a slower motor never has less torque: the fastest pace is then a single border.

use crate::bounds::{self, Code, Flaw};

/// A stepping motor.
#[derive(Debug, Clone, PartialEq)]
pub struct Motor {
    /// What the stage file calls it.
    name: Option<String>,
    /// Full steps of one revolution.
    full_steps_per_rev: i64,
    rotor_inertia: Option<f64>,
    holding_torque: Option<f64>,
    torque: Vec<(f64, f64)>,
    resonance: Vec<[f64; 2]>,
}

impl Motor {
    /// Checks a motor. `rotor_inertia` in kg m2, `holding_torque` in N m, `torque` rows of rev/min and N m (pull-out torque).
    ///
    /// # Errors
    /// Every number out of its range, and a torque table out of order.
    pub fn new(
        full_steps_per_rev: i64,
        rotor_inertia: Option<f64>,
        holding_torque: Option<f64>,
        torque: Vec<(f64, f64)>,
    ) -> Result<Motor, Vec<Flaw>> {
        let mut flaws = Vec::new();
        flaws.extend(bounds::FULL_STEPS.check("full_steps_per_rev", full_steps_per_rev).err());
        flaws.extend(rotor_inertia.and_then(|x| bounds::INERTIA.check("rotor_inertia", x).err()));
        flaws.extend(holding_torque.and_then(|x| bounds::TORQUE.check("holding_torque", x).err()));
        let mut last: Option<(f64, f64)> = None;
        for (i, (speed, nm)) in torque.iter().copied().enumerate() {
            flaws.extend(bounds::MOTOR_SPEED.check("torque", speed).err().map(|f| f.at_index(i)));
            flaws.extend(bounds::TORQUE.check("torque", nm).err().map(|f| f.at_index(i)));
            match last {
                None if speed != 0.0 => flaws.push(
                    Flaw::new(Code::InvalidTorqueTable, "torque", "the torque table does not start at standstill")
                        .found(format!("{speed} rev/min"), "0 rev/min in the first row")
                        .help("add the torque at 0 rev/min, from the data sheet")
                        .at_index(i),
                ),
                Some((before, _)) if !(before < speed) => flaws.push(
                    Flaw::new(Code::InvalidTorqueTable, "torque", "speeds of the torque table are out of order")
                        .found(format!("{speed} rev/min after {before} rev/min"), "strictly rising speeds")
                        .at_index(i),
                ),
                Some((_, more)) if !(nm <= more) => flaws.push(
                    Flaw::new(Code::InvalidTorqueTable, "torque", "torque rises with speed")
                        .found(format!("{nm} N m after {more} N m"), "torque that stays or falls as speed rises")
                        .help("where the curve dips, enter the lower torque at both speeds; the check then errs on the careful side")
                        .at_index(i),
                ),
                _ => {}
            }
            last = Some((speed, nm));
        }
        if !flaws.is_empty() {
            return Err(flaws);
        }
        Ok(Motor { name: None, full_steps_per_rev, rotor_inertia, holding_torque, torque, resonance: Vec::new() })
    }

    /// The same with bands of resonance: `[from, to]` in full steps/s.
    ///
    /// # Errors
    /// Too many bands, a speed out of its range, a band without width.
    pub fn with_resonance(self, bands: Vec<[f64; 2]>) -> Result<Motor, Vec<Flaw>> {
        let mut flaws = Vec::new();
        if bands.len() > bounds::MOST_BANDS {
            let flaw = Flaw::new(Code::TooMany, "resonance", "the motor has too many bands of resonance");
            flaws.push(flaw.found(format!("{} bands", bands.len()), format!("at most {}", bounds::MOST_BANDS)));
        }
        for (i, [from, to]) in bands.iter().enumerate() {
            flaws.extend([from, to].into_iter().filter_map(|x| bounds::RESONANCE.check("resonance", *x).err()).map(|f| f.at_index(i)));
            if !(from < to) && flaws.is_empty() {
                flaws.push(
                    Flaw::new(Code::EmptyRange, "resonance", "a band of resonance does not begin below its end")
                        .found(format!("[{from}, {to}] full steps/s"), "lower end first, upper end above it")
                        .at_index(i),
                );
            }
        }
        if flaws.is_empty() { Ok(Motor { resonance: bands, ..self }) } else { Err(flaws) }
    }

    /// The same under the name that the stage file gives it.
    #[must_use]
    pub(crate) fn named(self, name: &str) -> Motor {
        Motor { name: Some(name.to_owned()), ..self }
    }

    /// What the stage file calls it; `None` where no file does.
    #[must_use]
    pub(crate) fn name(&self) -> Option<&str> {
        self.name.as_deref()
    }

    /// Bands of resonance, full steps/s.
    #[must_use]
    pub(crate) fn resonance(&self) -> &[[f64; 2]] {
        &self.resonance
    }

    /// Full steps of one revolution.
    #[must_use]
    pub(crate) fn full_steps_per_rev(&self) -> i64 {
        self.full_steps_per_rev
    }

    /// Inertia of the rotor, kg m2.
    #[must_use]
    pub(crate) fn rotor_inertia(&self) -> Option<f64> {
        self.rotor_inertia
    }

    /// Holding torque, N m.
    #[must_use]
    pub(crate) fn holding_torque(&self) -> Option<f64> {
        self.holding_torque
    }

    /// Pull-out torque: rows of rev/min and N m, speeds rising from 0, straight lines between.
    #[must_use]
    pub(crate) fn torque(&self) -> &[(f64, f64)] {
        &self.torque
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    #[test]
    fn a_table_that_rises_or_runs_backwards_is_refused() {
        assert!(Motor::new(200, Some(4.4e-5), Some(1.9), vec![(0.0, 1.7), (300.0, 1.6), (600.0, 1.3)]).is_ok());
        for bad in [vec![(0.0, 1.0), (0.0, 0.9)], vec![(0.0, 1.0), (300.0, 1.1)], vec![(100.0, 1.0)], vec![(0.0, f64::NAN)]] {
            assert!(Motor::new(200, None, None, bad.clone()).is_err(), "{bad:?}");
        }
    }
}
