//! Torque asked of a motor against its pull-out torque, exactly along the curve.
//!
//! Demand at the motor: rotor inertia x angular acceleration, plus (mass x (acceleration + g if the load hangs) + friction) x lead /
//! (2 pi x ratio x efficiency) for mm axes, (inertia x angular acceleration + friction) / (ratio x efficiency) for deg axes: the
//! usual sizing formulas (Yaskawa E-V-MD series manual 2.2.2; Oriental Motor technical reference, from memory), g = 9.80665 m/s2.
//! On the careful side throughout: acceleration and gravity are added by size, friction always counts. Available: the maker's pull-out
//! table, straight lines between rows; beyond its last row nothing.
//! Between the zeros of speed and acceleration and the table's rows, demand D and supply S are polynomials. Their quotient is extreme where D' S - D S' is
//! zero, a polynomial of degree six: its roots, none missed, give the greatest share of the supply exactly.
//! Limits: resonance, heat and supply voltage are not modelled.

use super::{Axis, Unit, Utilisation};
use crate::mechanism::GRAVITY;
use crate::motion::bernstein::{Bernstein, roots, roots_of_terms};
use crate::motion::curve::Piece;
use crate::number::elementary::TURN;

/// Torque at the instant at which it is the greatest share of what the motor has.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
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
    pub(crate) fn worse(self, other: TorqueUse) -> TorqueUse {
        let more = other.demand * self.available > self.demand * other.available || (other.available == 0.0 && self.available > 0.0);
        if more { other } else { self }
    }
}

/// Demand and supply of one axis.
#[derive(Debug, Clone)]
pub(crate) struct Torque {
    per_acceleration: f64,
    steady: f64,
    /// Rows of output speed (unit/s) and torque (N m).
    rows: Vec<(f64, f64)>,
}

impl Torque {
    /// The axis's torque, or `None` where the stage file gives no load, no rotor inertia or no torque table.
    #[must_use]
    pub(crate) fn of(axis: &Axis) -> Option<Torque> {
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
    pub(crate) fn standing(&self, at: f64) -> TorqueUse {
        TorqueUse { demand: self.demand(0.0), available: self.available(0.0), at }
    }

    /// Torque asked for at an acceleration (unit/s2), N m.
    #[must_use]
    pub(crate) fn demand(&self, acceleration: f64) -> f64 {
        self.per_acceleration * acceleration.abs() + self.steady
    }

    /// Pull-out torque at a speed (unit/s), N m; 0 beyond the table.
    #[must_use]
    pub(crate) fn available(&self, speed: f64) -> f64 {
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
    pub(crate) fn worst<'a>(&self, pieces: impl Iterator<Item = Piece<'a>>, pace: f64) -> Option<TorqueUse> {
        let mut worst: Option<TorqueUse> = None;
        for piece in pieces {
            let h = piece.length();
            let see = |worst: &mut Option<TorqueUse>, u: f64| {
                let jet = piece.quintic.jet(u, h);
                let here = TorqueUse {
                    demand: self.demand(jet.a / (pace * pace)),
                    available: self.available(jet.v / pace),
                    at: piece.start + u * h,
                };
                *worst = Some(worst.map_or(here, |w| w.worse(here)));
            };
            see(&mut worst, 0.0);
            see(&mut worst, 1.0);
            let motion = Paced::of(&piece, pace);
            if piece.quintic.is_hold() || worst.is_some_and(|w| self.is_below(&motion, w)) {
                continue;
            }
            self.candidates(&motion, &mut |u| see(&mut worst, u));
        }
        worst
    }

    /// True where nothing in the piece can be a greater share than `known`: the greatest demand and the least supply of the coefficient hulls are not.
    fn is_below(&self, motion: &Paced, known: TorqueUse) -> bool {
        let bound = TorqueUse { demand: self.demand(motion.hardest), available: self.available(motion.fastest), at: known.at };
        bound.demand * known.available <= known.demand * bound.available
    }

    /// Places within the piece where demand over supply can be extreme: zeros of speed, acceleration and jerk, speeds of the table's rows, and between those
    /// the zeros of the quotient's derivative.
    fn candidates(&self, motion: &Paced, see: &mut impl FnMut(f64)) {
        let [v0, v1, v2, v3, v4] = motion.v;
        roots(motion.v, see);
        roots(motion.a, see);
        roots(motion.j, see);
        for (speed, _) in &self.rows {
            if 0.0 < *speed && *speed <= motion.fastest {
                roots([v0 - speed, v1, v2, v3, v4], see);
                roots([v0 + speed, v1, v2, v3, v4], see);
            }
        }
        // D = A |a| + B and S = c + k |v|, for both signs of acceleration and of speed: D' S - D S' by local time.
        for ((s0, t0), (s1, t1)) in self.rows.iter().zip(self.rows.iter().skip(1)) {
            if *s0 > motion.fastest {
                break;
            }
            let k = (t1 - t0) / (s1 - s0);
            let c = t0 - k * s0;
            for (sign_a, sign_v) in [(1.0, 1.0), (1.0, -1.0), (-1.0, 1.0), (-1.0, -1.0)] {
                let (to_demand, to_supply) = (sign_a * self.per_acceleration, sign_v * k);
                let [d0, d1, d2, d3] = motion.a.map(|a| to_demand * a);
                let [s0, s1, s2, s3, s4] = motion.v.map(|v| to_supply * v);
                let demand_rate = motion.j.map(|j| to_demand * j);
                // Speed changes in local time by acceleration times the seconds of the piece.
                let supply_rate = motion.a.map(|a| to_supply * a * motion.seconds);
                let size = sizes(&demand_rate) * (c.abs() + sizes(&[s0, s1, s2, s3, s4]))
                    + (self.steady + sizes(&[d0, d1, d2, d3])) * sizes(&supply_rate);
                let mut difference = [0.0; 7];
                add_product(&mut difference, 1.0, &demand_rate, &[c + s0, s1, s2, s3, s4]);
                add_product(&mut difference, -1.0, &[self.steady + d0, d1, d2, d3], &supply_rate);
                roots_of_terms(difference, size, see);
            }
        }
    }
}

fn sizes(a: &[f64]) -> f64 {
    a.iter().map(|a| a.abs()).sum()
}

/// Adds `sign` times the product of two polynomials, whose degrees sum to six or less.
fn add_product(sum: &mut [f64; 7], sign: f64, a: &[f64], b: &[f64]) {
    for (i, a) in a.iter().enumerate() {
        for (slot, b) in sum.iter_mut().skip(i).zip(b) {
            *slot += sign * (a * b);
        }
    }
}

/// Speed, acceleration and its slope over one piece, in seconds, as polynomials of local time.
struct Paced {
    /// Unit/s.
    v: [f64; 5],
    /// Unit/s2.
    a: [f64; 4],
    /// d a / du, unit/s2.
    j: [f64; 3],
    /// Length of the piece.
    seconds: f64,
    /// No speed in the piece is above this, and no acceleration above `hardest`.
    fastest: f64,
    hardest: f64,
}

impl Paced {
    fn of(piece: &Piece<'_>, pace: f64) -> Paced {
        let seconds = piece.length() * pace;
        let v = piece.quintic.velocity().map(|v| v / seconds);
        let a = piece.quintic.acceleration().map(|a| a / (seconds * seconds));
        let j = piece.quintic.jerk().map(|j| j / (seconds * seconds));
        let size = |(lo, hi): (f64, f64)| lo.abs().max(hi.abs());
        Paced { fastest: size(Bernstein::from_power(v).hull()), hardest: size(Bernstein::from_power(a).hull()), v, a, j, seconds }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use proptest::prelude::*;

    use super::*;
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

    /// Greatest share over samples, 0 where there are none.
    fn sampled(t: &Torque, q: &Quintic, h: f64, pace: f64, samples: u32) -> f64 {
        let share = |i: u32| {
            let j = q.jet(f64::from(i) / f64::from(samples), h);
            t.demand(j.a / (pace * pace)) / t.available(j.v / pace)
        };
        (0..=samples).map(share).fold(0.0, f64::max)
    }

    fn worst_of(t: &Torque, q: &Quintic, h: f64, pace: f64) -> TorqueUse {
        t.worst(core::iter::once(Piece { index: 0, start: 0.0, end: h, quintic: q }), pace).unwrap()
    }

    /// The share is greatest neither where the acceleration is, nor the speed, nor, with a supply far above the demand, the difference.
    #[test]
    fn the_greatest_share_is_found_where_the_difference_is_not_extreme() {
        let mut s = AxisSpec::new("x", Unit::Degree, [0.0, 1e6], [1e6, 1e6, 1e9]);
        s.motor = Some(Motor::new(200, Some(1e-5), None, vec![(0.0, 1.0), (1200.0, 0.1)]).unwrap());
        s.load = Some(LoadSpec { inertia: 1e-4, friction: 0.01, vertical: false, efficiency: 1.0 });
        let t = Torque::of(&Axis::new(s).unwrap()).unwrap();
        let q = Quintic::between(Node::rest(0.0), Node::rest(4000.0), 2.0);
        let worst = worst_of(&t, &q, 2.0, 1.0);
        let (share, dense) = (worst.demand / worst.available, sampled(&t, &q, 2.0, 1.0, 1_000_000));
        assert!(dense <= share * (1.0 + 1e-9) && share <= dense * (1.0 + 1e-9), "{share} {dense}");
        // Greatest speed 1.875 x 4000 / 2 deg/s; greatest acceleration 10 / sqrt 3 x 4000 / 4 deg/s2, at a speed of 1666.7 deg/s (T. Flash, N. Hogan 1985).
        for (acceleration, speed) in [(0.0, 3750.0), (5773.5, 1666.7)] {
            assert!(share > 1.05 * t.demand(acceleration) / t.available(speed), "{share} {speed}");
        }
    }

    #[test]
    fn a_held_move_is_followed_to_its_greatest_share() {
        use crate::motion::point_to_point::{Limits, SevenSegment};
        let a = axis(LoadSpec { inertia: 2e-3, friction: 0.1, vertical: false, efficiency: 0.8 }, Unit::Degree, 1.0, 360.0, 4e-5);
        let t = Torque::of(&a).unwrap();
        for (distance, v, acc, jerk) in
            [(900.0, 2500.0, 9000.0, 40_000.0), (90.0, 3000.0, 5000.0, 90_000.0), (4000.0, 3600.0, 4000.0, 9000.0)]
        {
            let law = SevenSegment::rest_to_rest(distance, &Limits::new(v, acc, jerk).unwrap()).unwrap();
            let worst = crate::program::rest_move::torque_along(&t, &law, 0.0).unwrap();
            let share = |i: u32| {
                let s = law.at(law.duration() * f64::from(i) / 200_000.0).unwrap();
                t.demand(s.acceleration) / t.available(s.velocity)
            };
            let dense = (0..=200_000).map(share).fold(0.0, f64::max);
            let share = worst.demand / worst.available;
            assert!(dense <= share * (1.0 + 1e-9) && share <= dense * (1.0 + 1e-4), "{share} {dense}");
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 4000, ..ProptestConfig::default() })]
        /// Never below what any sample shows, for any motor, load, piece and pace.
        #[test]
        fn no_sample_is_a_greater_share(
            c in prop::array::uniform6(-1000.0..1000.0_f64),
            h in 0.05..20.0_f64,
            pace in 0.2..5.0_f64,
            falls in prop::collection::vec((1.0..900.0_f64, 0.05..1.0_f64), 0..5),
            load in (0.0..0.02_f64, 0.0..0.5_f64, 0.0..1e-4_f64),
        ) {
            let (mut speed, mut torque) = (0.0, 2.0);
            let mut rows = vec![(speed, torque)];
            for (more, share) in falls {
                speed += more;
                torque *= share;
                rows.push((speed, torque));
            }
            let mut s = AxisSpec::new("x", Unit::Degree, [0.0, 1e6], [1e6, 1e6, 1e9]);
            s.motor = Some(Motor::new(200, Some(load.2), None, rows).unwrap());
            s.load = Some(LoadSpec { inertia: load.0, friction: load.1, vertical: false, efficiency: 0.7 });
            let t = Torque::of(&Axis::new(s).unwrap()).unwrap();
            let q = Quintic(c);
            let worst = worst_of(&t, &q, h, pace);
            let (share, dense) = (worst.demand / worst.available, sampled(&t, &q, h, pace, 2000));
            prop_assert!(dense <= share * (1.0 + 1e-9), "{dense} above {share}");
        }
    }
}
