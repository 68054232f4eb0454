//! The double-S moves against an independent solver: never slower, never faster, and refused only where it overruns or backs up.
//!
//! The oracle is the `rsruckig` crate, at moderate sizes only: its tolerances are absolute (1e-8 in position and velocity).

use movewright::motion::point_to_point::{Binding, Limits, ProfileError, SevenSegment};
use rsruckig::prelude::*;

#[derive(Debug, Clone, Copy)]
struct Move {
    distance: f64,
    start: f64,
    finish: f64,
    limits: (f64, f64, f64),
}

/// xorshift64: the same cases everywhere.
struct Cases(u64);

impl Cases {
    /// In `0..1`.
    fn unit(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        f64::from(u32::try_from(self.0 >> 32).unwrap()) / 4_294_967_296.0
    }

    /// Every size between two alike.
    fn between(&mut self, low: f64, high: f64) -> f64 {
        low * (high / low).powf(self.unit())
    }

    fn next_move(&mut self) -> Move {
        let limits = (self.between(0.5, 8.0), self.between(0.5, 8.0), self.between(0.5, 30.0));
        let mut speed = || {
            if self.unit() < 0.2 { 0.0 } else { self.unit() * limits.0 }
        };
        let (start, finish) = (speed(), speed());
        if self.unit() < 0.8 {
            return Move { distance: self.between(0.05, 30.0), start, finish, limits };
        }
        // Close to the least distance, with one speed small: where a move may have to slow down before it speeds up.
        let small = finish * 0.2 * self.unit();
        let (start, finish) = if self.unit() < 0.5 { (small, finish) } else { (finish, small) };
        let checked = Limits::new(limits.0, limits.1, limits.2).unwrap();
        let least = SevenSegment::least_distance(start, finish, &checked).unwrap();
        Move { distance: least.max(0.01) * (1.0 + 0.01 * self.unit()), start, finish, limits }
    }
}

fn oracle(m: &Move) -> Option<Trajectory<1>> {
    let mut solver = Ruckig::<1, ThrowErrorHandler>::new(None, 0.01);
    let mut input = InputParameter::<1>::new(None);
    input.current_velocity[0] = m.start;
    input.target_velocity[0] = m.finish;
    input.target_position[0] = m.distance;
    input.max_velocity[0] = m.limits.0;
    input.max_acceleration[0] = m.limits.1;
    input.max_jerk[0] = m.limits.2;
    let mut trajectory = Trajectory::<1>::new(None);
    solver.calculate(&input, &mut trajectory).ok().map(|_| trajectory)
}

fn least_speed(trajectory: &Trajectory<1>) -> f64 {
    let mut least = f64::INFINITY;
    for i in 0..=4000 {
        let t = trajectory.get_duration() * f64::from(i) / 4000.0;
        let mut velocity = DataArrayOrVec::<f64, 1>::new(None, 0.0);
        trajectory.at_time(t, &mut None, &mut Some(&mut velocity), &mut None, &mut None, &mut None);
        least = least.min(velocity[0]);
    }
    least
}

#[test]
fn an_independent_solver_finds_the_same_least_time() {
    let mut cases = Cases(0x9e37_79b9_7f4a_7c15);
    let (mut unsolved, mut dips, mut refused, mut shaped) = (0, 0, 0, [0; 3]);
    for _ in 0..8000 {
        let m = cases.next_move();
        let limits = Limits::new(m.limits.0, m.limits.1, m.limits.2).unwrap();
        let Some(theirs) = oracle(&m) else {
            unsolved += 1;
            continue;
        };
        match SevenSegment::fastest(m.distance, m.start, m.finish, &limits) {
            Ok(ours) => {
                shaped[match ours.binding().unwrap() {
                    Binding::Velocity => 0,
                    Binding::Acceleration => 1,
                    Binding::Jerk => 2,
                }] += 1;
                dips += u32::from(ours.phases().turning_speed.abs() < m.start.min(m.finish));
                let apart = (ours.duration() - theirs.get_duration()).abs() / theirs.get_duration();
                // Theirs may miss the target by 1e-8, but as a rule polishes its roots to the last bits: the worst of these cases was
                // 1e-14 apart. A thousand times that still tells any other kind of move from this one.
                assert!(apart <= 1e-11, "{m:?}: {} {}", ours.duration(), theirs.get_duration());
            }
            Err(ProfileError::TooShort { .. }) => {
                refused += 1;
                // Rightly: theirs has to back up.
                assert!(least_speed(&theirs) < 0.0, "{m:?}");
            }
            Err(other) => panic!("{m:?}: {other}"),
        }
    }
    // At most 1 in 100 without an answer from the oracle, and every kind of move is among them.
    assert!(unsolved <= 80, "{unsolved}");
    assert!(dips > 20 && refused > 200, "{dips} dips, {refused} refused");
    assert!(shaped.iter().all(|&n| n > 200), "{shaped:?}");
}
