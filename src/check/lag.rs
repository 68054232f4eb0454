//! How far a stepping motor's rotor hangs back under its load, and how little torque a single microstep has.
//!
//! Rotor lag: asin(torque / holding torque) / teeth, teeth = full steps / 4 (formula from memory; P. Acarnley, Stepping Motors, 4th ed., ch. 3: the static error
//! depends on the load and does not add up). One full step at torque = holding torque. Incremental torque of one of n microsteps: sin(90 deg / n) of the holding
//! torque (Faulhaber/Micromo technical note "Microstepping: Myths and Realities", eq. 1).
//! Two passes at different paces ask different torques of the same instant; friction and weight are the same in both, so their lags differ by at most the sum of
//! what each pass's acceleration adds to the lag of the steady load (asin grows ever faster, so taking away acts less than adding).

use crate::compile::Compiled;
use crate::number::elementary::{TURN, asin, sin};
use crate::program::Torque;
use crate::shot::Exposure;
use crate::stage::{Axis, AxisId, PerAxis};

/// Rotor lag of an axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Lag {
    /// Degrees of the motor's shaft.
    pub degrees: f64,
    /// Microsteps.
    pub steps: f64,
}

/// The lag at a motor torque (N m); `None` without a holding torque, or beyond it, where the rotor slips.
#[must_use]
pub(crate) fn lag(axis: &Axis, torque: f64) -> Option<Lag> {
    let holding = axis.motor()?.holding_torque()?;
    let share = torque.abs() / holding;
    if !(share <= 1.0) {
        return None;
    }
    let full = f64::from(axis.drive().full_steps_per_rev());
    let degrees = asin(share) * (360.0 / TURN) / (full / 4.0);
    Some(Lag { degrees, steps: degrees * full / 360.0 * f64::from(axis.drive().microsteps()) })
}

/// Share of the holding torque that one microstep of `n` adds.
#[must_use]
pub(crate) fn microstep_torque(n: u32) -> f64 {
    sin(0.25 * TURN / f64::from(n.max(1)))
}

/// By how many microsteps an axis can stand apart in two passes that run at different paces, for each axis: a bound over the photographed span.
/// `None` where it cannot be known, 0 where fewer than two moving passes move it.
#[must_use]
pub(crate) fn between_paces(compiled: &Compiled) -> PerAxis<Option<f64>> {
    PerAxis::new(compiled.stage(), |id| of_axis(compiled, id))
}

fn of_axis(compiled: &Compiled, id: AxisId) -> Option<f64> {
    let (stage, m) = (compiled.stage(), compiled.motion(id));
    let axis = stage.axis(id);
    let torque = Torque::of(axis)?;
    let steady = lag(axis, torque.demand(0.0))?.steps;
    let mut added: Vec<f64> = Vec::new();
    let mut paces: Vec<f64> = Vec::new();
    for pass in compiled.shot().passes().iter().filter(|p| p.exposure() == Exposure::Moving && !p.parks(stage, id)) {
        let pace = pass.pace().get();
        if !paces.contains(&pace) {
            paces.push(pace);
            added.push(lag(axis, torque.demand(m.peaks().acceleration.value / (pace * pace)))?.steps - steady);
        }
    }
    added.sort_by(|a, b| b.total_cmp(a));
    Some(if added.len() < 2 { 0.0 } else { added.iter().take(2).sum() })
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::stage::{AxisSpec, Motor, Unit};

    fn axis(microsteps: i64) -> Axis {
        let mut s = AxisSpec::new("x", Unit::Degree, [0.0, 360.0], [1.0, 1.0, 1.0]);
        s.drive.microsteps = microsteps;
        s.motor = Some(Motor::new(200, None, Some(2.0), vec![]).unwrap());
        Axis::new(s).unwrap()
    }

    /// P. Acarnley, Stepping Motors, ch. 3 (formula from memory): 50 teeth, half of the holding torque: 0.6 deg; all of it: a full step of 1.8 deg (D).
    #[test]
    fn the_lag_is_the_published_one() {
        let half = lag(&axis(10), 1.0).unwrap();
        assert!((half.degrees - 0.6).abs() < 1e-12 && (half.steps - 10.0 / 3.0).abs() < 1e-12, "{half:?}");
        assert!((lag(&axis(1), 2.0).unwrap().degrees - 1.8).abs() < 1e-12);
        assert_eq!(lag(&axis(1), 2.000_001), None);
    }

    /// Faulhaber/Micromo technical note, table 1, per cent.
    #[test]
    fn incremental_torque_is_the_published_table() {
        for (n, per_cent) in [(1, 100.0), (2, 70.71), (4, 38.27), (8, 19.51), (16, 9.80), (32, 4.91), (64, 2.45), (128, 1.23), (256, 0.61)]
        {
            assert!((microstep_torque(n) * 100.0 - per_cent).abs() < 0.0051, "{n}");
        }
    }
}
