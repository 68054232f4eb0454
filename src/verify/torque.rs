//! Torque asked of a motor and what it has, from the stage's data.
//!
//! Demand at the motor: all that turns or slides, as inertia at the motor's shaft, times its angular acceleration, and what friction and a hanging load ask for, over
//! ratio and efficiency (the usual sizing formulas: Yaskawa E-V-MD series manual 2.2.2). Supply: the maker's table, straight lines between rows, nothing beyond.
//! Invariant: shares no code with the check. Units: N m, unit/s^k.

use core::f64::consts::TAU;

use crate::mechanism::GRAVITY;
use crate::stage::{Axis, Unit};

/// An axis whose motor and load are known.
#[derive(Debug, Clone)]
pub(super) struct Motor {
    /// Output turns the shaft by so many radians a unit.
    radians: f64,
    /// kg m2 at the shaft.
    inertia: f64,
    /// N m at the shaft, whatever the motion.
    steady: f64,
    /// rev/min and N m.
    table: Vec<(f64, f64)>,
}

impl Motor {
    /// `None` where the stage does not say enough.
    pub(super) fn of(axis: &Axis) -> Option<Motor> {
        let (motor, load) = (axis.motor()?, axis.load()?);
        let rotor = motor.rotor_inertia()?;
        let table: Vec<(f64, f64)> = motor.torque().to_vec();
        table.first()?;
        let radians = TAU * axis.drive().gear_ratio() / axis.drive().travel_per_rev();
        // Newton (mm) or newton metres (deg) at the output, times what the output moves for a radian of the shaft, in m or rad.
        let output = match axis.unit() {
            Unit::Millimetre => 1e-3 / radians,
            Unit::Degree => TAU / 360.0 / radians,
        };
        let weight = if load.vertical { load.inertia * GRAVITY } else { 0.0 };
        let inertia = rotor + load.inertia * output * output / load.efficiency;
        Some(Motor { radians, inertia, steady: (weight + load.friction) * output / load.efficiency, table })
    }

    /// Asked for at an acceleration of the output.
    pub(super) fn demand(&self, acceleration: f64) -> f64 {
        self.inertia * self.radians * acceleration.abs() + self.steady
    }

    /// Had at a speed of the output.
    pub(super) fn supply(&self, speed: f64) -> f64 {
        let per_minute = speed.abs() * self.radians * 60.0 / TAU;
        let spans = self.table.iter().zip(self.table.iter().skip(1));
        let between = |((s0, t0), (s1, t1)): (&(f64, f64), &(f64, f64))| {
            (*s0 <= per_minute && per_minute <= *s1).then(|| t0 + (t1 - t0) * (per_minute - s0) / (s1 - s0))
        };
        let standing = self.table.first().filter(|r| r.0 == per_minute).map(|r| r.1);
        spans.map(between).find_map(|t| t).or(standing).unwrap_or(0.0)
    }

    /// Demand as a share of supply.
    pub(super) fn share(&self, speed: f64, acceleration: f64) -> f64 {
        self.demand(acceleration) / self.supply(speed)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::stage::{AxisSpec, LoadSpec};

    fn axis(load: LoadSpec, unit: Unit, gear: f64, travel_per_rev: f64, rotor: f64) -> Motor {
        let mut s = AxisSpec::new("x", unit, [0.0, 1e6], [1e6, 1e6, 1e9]);
        (s.drive.gear_ratio, s.drive.travel_per_rev) = (gear, travel_per_rev);
        let table = vec![(0.0, 1.7), (300.0, 1.6), (600.0, 1.3), (1200.0, 0.6)];
        s.motor = Some(crate::stage::Motor::new(200, Some(rotor), None, table).unwrap());
        s.load = Some(load);
        Motor::of(&Axis::new(s).unwrap()).unwrap()
    }

    /// Yaskawa E-V-MD series manual 2.2.2, p. 2-5: 250 kg on a screw of 10 mm, gear 2:1, friction coefficient 0.2, efficiency 0.9:
    /// load torque 0.43 N m, load inertia of the mass 1.58e-4 kg m2 (without efficiency).
    #[test]
    fn the_published_screw() {
        let load = LoadSpec { inertia: 250.0, friction: 0.2 * 250.0 * 9.8, vertical: false, efficiency: 0.9 };
        let m = axis(load, Unit::Millimetre, 2.0, 10.0, 0.0);
        assert!((m.demand(0.0) - 0.43).abs() < 0.005 && (m.inertia * 0.9 - 1.58e-4).abs() < 0.005e-4, "{m:?}");
    }

    /// HONPINE selection notes 2026: 22.8 N m at the output for 0.88 kg m2 at 25.92 rad/s2, behind 101:1.
    #[test]
    fn the_published_table_behind_a_gear() {
        let m = axis(LoadSpec { inertia: 0.88, friction: 0.0, vertical: false, efficiency: 1.0 }, Unit::Degree, 101.0, 360.0, 0.0);
        assert!((m.demand(25.9 * 360.0 / TAU) * 101.0 - 22.8).abs() < 0.05);
    }

    #[test]
    fn supply_runs_in_straight_lines_and_ends_with_the_table() {
        let m = axis(LoadSpec { inertia: 1.0, friction: 0.0, vertical: false, efficiency: 1.0 }, Unit::Degree, 1.0, 360.0, 0.0);
        for (rpm, want) in [(0.0, 1.7), (450.0, 1.45), (-900.0, 0.95), (1200.1, 0.0)] {
            assert!((m.supply(rpm / 60.0 * 360.0) - want).abs() < 1e-12, "{rpm}");
        }
    }
}
