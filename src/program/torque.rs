//! Torque asked of a motor against its pull-out torque, exactly along the curve.
//!
//! Demand at the motor: rotor inertia x angular acceleration, plus (mass x (acceleration + g if the load hangs) + friction) x lead /
//! (2 pi x ratio x efficiency) for mm axes, (inertia x angular acceleration + friction) / (ratio x efficiency) for deg axes: the
//! usual sizing formulas (Yaskawa E-V-MD series manual 2.2.2; Oriental Motor technical reference, from memory), g = 9.80665 m/s2.
//! On the careful side throughout: acceleration and gravity are added by size, friction always counts. Available: the maker's pull-out
//! table, straight lines between rows; beyond its last row nothing.
//! The difference of demand and supply is, between the zeros of speed and acceleration and the table's rows, a polynomial; its extremes
//! come from roots, none missed. Limits: resonance, heat and supply voltage are not modelled.

use crate::mechanism::GRAVITY;
use crate::motion::bernstein::roots;
use crate::motion::curve::Piece;
use crate::number::elementary::TURN;
use crate::stage::{Axis, Unit, Utilisation};

/// Torque at the instant at which it is the greatest share of what the motor has.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TorqueUse {
    /// Torque asked of the motor, N m.
    pub demand: f64,
    /// Pull-out torque at that speed, N m.
    pub available: f64,
    /// The instant, on the clock of the curve.
    pub at: f64,
}

impl TorqueUse {
    /// Share of the pull-out torque.
    #[must_use]
    pub fn utilisation(&self) -> Utilisation {
        Utilisation::of(self.demand, self.available)
    }

    /// The greater share of two; of equals, the first.
    #[must_use]
    pub fn worse(self, other: TorqueUse) -> TorqueUse {
        if other.demand * self.available > self.demand * other.available { other } else { self }
    }
}

/// Demand and supply of one axis.
#[derive(Debug, Clone)]
pub struct Torque {
    per_acceleration: f64,
    steady: f64,
    /// Rows of output speed (unit/s) and torque (N m).
    rows: Vec<(f64, f64)>,
}

impl Torque {
    /// The axis's torque, or `None` where the stage file gives no load, no rotor inertia or no torque table.
    #[must_use]
    pub fn of(axis: &Axis) -> Option<Torque> {
        let (motor, load) = (axis.motor()?, axis.load()?);
        let rotor = motor.rotor_inertia()?;
        if motor.torque().is_empty() {
            return None;
        }
        let revs = axis.drive().motor_revs_per_unit();
        let rotor_part = rotor * TURN * revs;
        // What one newton (mm) or newton metre (deg) at the output is at the motor.
        let reflected = match axis.unit() {
            Unit::Millimetre => 1e-3 / (TURN * revs * load.efficiency),
            Unit::Degree => 1.0 / (360.0 * revs * load.efficiency),
        };
        let (inertia, hanging) = match axis.unit() {
            Unit::Millimetre => (load.inertia * 1e-3, if load.vertical { load.inertia * GRAVITY } else { 0.0 }),
            Unit::Degree => (load.inertia * (TURN / 360.0), 0.0),
        };
        Some(Torque {
            per_acceleration: rotor_part + inertia * reflected,
            steady: (hanging + load.friction) * reflected,
            rows: motor.torque().iter().map(|(rpm, nm)| (rpm / 60.0 / revs, *nm)).collect(),
        })
    }

    /// Torque at standstill: what hangs must be held.
    #[must_use]
    pub fn standing(&self, at: f64) -> TorqueUse {
        TorqueUse { demand: self.demand(0.0), available: self.available(0.0), at }
    }

    /// Torque asked for at an acceleration (unit/s2), N m.
    #[must_use]
    pub fn demand(&self, acceleration: f64) -> f64 {
        self.per_acceleration * acceleration.abs() + self.steady
    }

    /// Pull-out torque at a speed (unit/s), N m; 0 beyond the table.
    #[must_use]
    pub fn available(&self, speed: f64) -> f64 {
        let speed = speed.abs();
        let i = self.rows.partition_point(|(s, _)| *s <= speed);
        match (i.checked_sub(1).and_then(|b| self.rows.get(b)), self.rows.get(i)) {
            (Some((s0, t0)), Some((s1, t1))) => t0 + (t1 - t0) * ((speed - s0) / (s1 - s0)),
            (Some((s0, t0)), None) if *s0 == speed => *t0,
            _ => 0.0,
        }
    }

    /// The instant of pieces at which demand is the largest share of supply, at `pace` seconds a frame.
    #[must_use]
    pub fn worst<'a>(&self, pieces: impl Iterator<Item = Piece<'a>>, pace: f64) -> Option<TorqueUse> {
        let mut worst: Option<TorqueUse> = None;
        for piece in pieces {
            self.candidates(&piece, pace, &mut |u| {
                let h = piece.length();
                let jet = piece.quintic.jet(u, h);
                let (demand, available) = (self.demand(jet.a / (pace * pace)), self.available(jet.v / pace));
                let more = worst.is_none_or(|w| demand * w.available > w.demand * available || (available == 0.0 && w.available > 0.0));
                if more {
                    worst = Some(TorqueUse { demand, available, at: piece.start + u * h });
                }
            });
        }
        worst
    }

    /// Places within the piece where demand less supply can be extreme: ends, zeros of speed, acceleration and jerk, speeds of the
    /// table's rows, and between those the zeros of the difference's derivative.
    fn candidates(&self, piece: &Piece<'_>, pace: f64, see: &mut impl FnMut(f64)) {
        see(0.0);
        see(1.0);
        if piece.quintic.is_hold() {
            return;
        }
        let [v0, v1, v2, v3, v4] = piece.quintic.velocity();
        let [a0, a1, a2, a3] = piece.quintic.acceleration();
        let [j0, j1, j2] = piece.quintic.jerk();
        let h = piece.length();
        roots([v0, v1, v2, v3, v4], see);
        roots([a0, a1, a2, a3, 0.0], see);
        roots([j0, j1, j2, 0.0, 0.0], see);
        for (speed, _) in &self.rows {
            let local = speed * pace * h;
            if local > 0.0 {
                roots([v0 - local, v1, v2, v3, v4], see);
                roots([v0 + local, v1, v2, v3, v4], see);
            }
        }
        // d/du of (A |a| - (slope) |v|): both signs of each absolute value, every slope of the table.
        let to_a = self.per_acceleration / (h * h * pace * pace);
        for ((s0, t0), (s1, t1)) in self.rows.iter().zip(self.rows.iter().skip(1)) {
            let slope = (t1 - t0) / (s1 - s0) / (h * pace);
            for k in [slope, -slope] {
                roots([to_a * j0 - k * a0, to_a * j1 - k * a1, to_a * j2 - k * a2, -k * a3, 0.0], see);
            }
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::motion::curve::CurveBuilder;
    use crate::motion::quintic::{Node, Quintic};
    use crate::stage::{AxisSpec, LoadSpec, Motor};

    fn axis(load: LoadSpec, unit: Unit, gear: f64, travel_per_rev: f64, rotor: f64) -> Axis {
        let mut s = AxisSpec::new("x", unit, [0.0, 1e6], [1e6, 1e6, 1e9]);
        s.drive.gear_ratio = gear;
        s.drive.travel_per_rev = travel_per_rev;
        s.motor = Some(Motor::new(200, Some(rotor), None, vec![(0.0, 1.7), (300.0, 1.6), (600.0, 1.3), (1200.0, 0.6)]).unwrap());
        s.load = Some(load);
        Axis::new(s).unwrap()
    }

    /// Yaskawa E-V-MD series manual 2.2.2, p. 2-5: 250 kg on a screw of 10 mm, gear 2:1, friction coefficient 0.2, efficiency 0.9:
    /// load torque 0.43 N m, load inertia of the mass 1.58e-4 kg m2.
    #[test]
    fn load_torque_and_reflected_mass_are_the_published_ones() {
        let friction = 0.2 * 250.0 * 9.8;
        let a = axis(LoadSpec { inertia: 250.0, friction, vertical: false, efficiency: 0.9 }, Unit::Millimetre, 2.0, 10.0, 0.0);
        let t = Torque::of(&a).unwrap();
        assert!((t.demand(0.0) - 0.43).abs() < 0.005, "{}", t.demand(0.0));
        // The source's inertia is without efficiency: torque of 1 rad/s2 at the motor, times 0.9.
        let one_radian = 1.0 / (TURN * a.drive().motor_revs_per_unit());
        let inertia = (t.demand(one_radian) - t.demand(0.0)) * 0.9;
        assert!((inertia - 1.58e-4).abs() < 0.005e-4, "{inertia}");
    }

    /// HONPINE selection notes 2026: 22.8 N m at the output for 0.88 kg m2 at 25.92 rad/s2, behind 101:1.
    #[test]
    fn a_rotary_table_behind_a_gear_is_the_published_one() {
        let a = axis(LoadSpec { inertia: 0.88, friction: 0.0, vertical: false, efficiency: 1.0 }, Unit::Degree, 101.0, 360.0, 0.0);
        let alpha = 25.9 * 360.0 / TURN;
        assert!((Torque::of(&a).unwrap().demand(alpha) * 101.0 - 22.8).abs() < 0.05);
    }

    #[test]
    fn supply_runs_in_straight_lines_and_ends_with_the_table() {
        let a = axis(LoadSpec { inertia: 1.0, friction: 0.0, vertical: false, efficiency: 1.0 }, Unit::Degree, 1.0, 360.0, 0.0);
        let t = Torque::of(&a).unwrap();
        let rpm = |r: f64| r / 60.0 * 360.0;
        assert_eq!(t.available(0.0), 1.7);
        assert!((t.available(rpm(450.0)) - 1.45).abs() < 1e-12);
        assert!((t.available(rpm(-900.0)) - 0.95).abs() < 1e-12);
        assert_eq!(t.available(rpm(1200.1)), 0.0);
    }

    #[test]
    fn the_worst_instant_is_no_better_at_any_sample() {
        let a = axis(LoadSpec { inertia: 2e-3, friction: 0.3, vertical: false, efficiency: 0.8 }, Unit::Degree, 1.0, 360.0, 4e-5);
        let t = Torque::of(&a).unwrap();
        let mut b = CurveBuilder::starting_at(0.0, 2);
        b.push(3.0, Quintic::between(Node::rest(0.0), Node { p: 3000.0, v: 1500.0, a: 0.0 }, 3.0));
        b.push(5.0, Quintic::between(Node { p: 3000.0, v: 1500.0, a: 0.0 }, Node::rest(4000.0), 2.0));
        let c = b.finish().unwrap();
        for pace in [0.5, 1.0, 2.0] {
            let worst = t.worst(c.pieces(), pace).unwrap();
            let margin = |demand: f64, available: f64| demand - available;
            let mut best = f64::NEG_INFINITY;
            for i in 0..=5000 {
                let j = c.jet(f64::from(i) / 1000.0).unwrap();
                best = best.max(margin(t.demand(j.a / pace / pace), t.available(j.v / pace)));
            }
            // Over anywhere means over at the worst; and the worst is one of the curve's own instants.
            assert_eq!(best > 0.0, worst.demand > worst.available, "pace {pace}: {best} {worst:?}");
        }
    }
}
