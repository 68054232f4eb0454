//! What an axis does at an edge of the photographed span, and how it comes from rest into it or to rest after it.
//!
//! What: speed and acceleration by one-sided differences of six positions, at two distances, of which the finer is taken and the two together say how good it is (any
//! table of finite differences, checked in the tests). Of the moves from rest that meet position, speed and acceleration at the edge the one with the least integral of squared
//! jerk has a cubic as its speed (D: with the place of rest free, the fifth derivative is zero): speed V (3 u^2 - 2 u^3) + A (u^3 - u^2) from u = 0 at rest to u = 1 at the edge,
//! V and A in units a run-up. A run-down is a run-up backwards.
//! Invariant: what is left open by fit and differences is carried along as room. Units: unit, frames.

use super::columns::Against;
use super::oracle::steps_per_unit;
use crate::stage::AxisId;

/// Which edge.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Side {
    /// Before the first exposure.
    Start,
    /// After the last.
    End,
}

/// A number with how far it may honestly be off.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct About {
    pub(super) value: f64,
    pub(super) room: f64,
}

/// Position, speed and acceleration at an edge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Edge {
    pub(super) position: About,
    pub(super) speed: About,
    pub(super) acceleration: About,
}

/// An instant of a run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Instant {
    pub(super) position: About,
    /// Units a frame.
    pub(super) speed: About,
    /// Units a frame^2.
    pub(super) acceleration: About,
    /// Units a frame^3.
    pub(super) jerk: About,
}

impl Edge {
    /// An axis at an edge. `pace` is the fastest at which it is run, seconds per frame.
    pub(super) fn of(what: &Against<'_>, axis: AxisId, side: Side, pace: f64) -> Edge {
        let (from, to) = what.shot.frames().photographed();
        Edge::at(what, axis, if side == Side::Start { (from, 1.0) } else { (to, -1.0) }, pace)
    }

    /// An axis at a frame time, looked at from there forwards, 1, or backwards, -1.
    pub(super) fn at(what: &Against<'_>, axis: AxisId, (at, inwards): (f64, f64), pace: f64) -> Edge {
        let state = what.oracle.state(at);
        let per_unit = steps_per_unit(what.stage.axis(axis));
        let position = About { value: state.axis(axis), room: what.oracle.floor(axis, &state) / per_unit };
        let slopes = |h: f64| {
            let values: Vec<f64> = (0..6_u8).map(|k| what.oracle.state(at + inwards * h * f64::from(k)).axis(axis)).collect();
            let sum = |weights: [f64; 6]| -> f64 { values.iter().zip(weights).map(|(v, w)| v * w).sum() };
            // Inwards is forwards in time at the start and backwards at the end.
            (inwards * sum(FIRST) / h, sum(SECOND) / (h * h))
        };
        let ((v0, a0), (v1, a1)) = (slopes(FINE * 2.0), slopes(FINE));
        let noise = what.oracle.grain(axis, &state);
        let (size_v, size_a): (f64, f64) = (FIRST.iter().map(|w| w.abs()).sum(), SECOND.iter().map(|w| w.abs()).sum());
        let fitted = |limit: f64| if what.oracle.is_fitted(axis) { limit / 1000.0 } else { 0.0 };
        let limits = what.stage.axis(axis).limits();
        Edge {
            position,
            speed: About { value: v1, room: (v1 - v0).abs() + size_v * noise / FINE + fitted(limits.velocity * pace) },
            acceleration: About {
                value: a1,
                room: (a1 - a0).abs() + size_a * noise / (FINE * FINE) + fitted(limits.acceleration * pace * pace),
            },
        }
    }

    /// At `u` from rest (0) to the edge (1) of a run of so many frames. Before the edge time runs with `u`, after it against it.
    pub(super) fn run(&self, side: Side, frames: f64, u: f64) -> Instant {
        // Backwards in time a speed has the other sign, an acceleration has not, a jerk has.
        let sign = if side == Side::Start { 1.0 } else { -1.0 };
        let (v, a) = (sign * self.speed.value * frames, self.acceleration.value * frames * frames);
        let (dv, da) = (self.speed.room * frames, self.acceleration.room * frames * frames);
        // Integrals of both parts of the speed from u to 1.
        let whole = |by_v: f64, by_a: f64, base: f64| About { value: base + v * by_v + a * by_a, room: dv * by_v.abs() + da * by_a.abs() };
        let (u2, u3, u4) = (u * u, u * u * u, u * u * u * u);
        let position = whole(-(0.5 - (u3 - 0.5 * u4)), -((0.25 - 1.0 / 3.0) - (0.25 * u4 - u3 / 3.0)), self.position.value);
        let speed = whole(3.0 * u2 - 2.0 * u3, u3 - u2, 0.0);
        let acceleration = whole(6.0 * u - 6.0 * u2, 3.0 * u2 - 2.0 * u, 0.0);
        let jerk = whole(6.0 - 12.0 * u, 6.0 * u - 2.0, 0.0);
        let per = |x: About, n: f64| About { value: x.value / n, room: x.room / n };
        let signed = |x: About| About { value: sign * x.value, room: x.room };
        Instant {
            position: About { value: position.value, room: position.room + self.position.room },
            speed: signed(per(speed, frames)),
            acceleration: per(acceleration, frames * frames),
            jerk: signed(per(jerk, frames * frames * frames)),
        }
    }

    /// The way it first moves from rest before the edge: 1 or -1; `None` where that is not certain.
    pub(super) fn leads(&self, frames: f64) -> Option<f64> {
        let lead = 3.0 * self.speed.value - self.acceleration.value * frames;
        let room = 3.0 * self.speed.room + self.acceleration.room * frames;
        (lead.abs() > room).then(|| lead.signum())
    }
}

/// Distance of the finer differences, frames.
const FINE: f64 = 1.0 / 64.0;

/// First derivative at the first of six places a unit apart, exact up to the fifth power.
const FIRST: [f64; 6] = [-137.0 / 60.0, 5.0, -5.0, 10.0 / 3.0, -5.0 / 4.0, 1.0 / 5.0];

/// Second derivative there.
const SECOND: [f64; 6] = [15.0 / 4.0, -77.0 / 6.0, 107.0 / 6.0, -13.0, 61.0 / 12.0, -5.0 / 6.0];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn differences_are_exact_for_powers_up_to_the_fifth() {
        for n in 0..=5_i32 {
            let power = |k: usize| (0..n).map(|_| k as f64).product::<f64>();
            let sum = |weights: [f64; 6]| -> f64 { weights.iter().enumerate().map(|(k, w)| w * power(k)).sum() };
            let want = |order: i32| if n == order { f64::from(order) } else { 0.0 };
            assert!((sum(FIRST) - want(1)).abs() < 1e-10 && (sum(SECOND) - want(2)).abs() < 1e-10, "{n}");
        }
    }

    fn edge(speed: f64, acceleration: f64) -> Edge {
        let about = |value| About { value, room: 0.0 };
        Edge { position: about(100.0), speed: about(speed), acceleration: about(acceleration) }
    }

    /// Speed 3, acceleration -1/4, 7 frames: at rest 7 (3/2 + 7/48) before the edge.
    #[test]
    fn a_run_up_rests_at_one_end_and_meets_the_edge_at_the_other() {
        let e = edge(3.0, -0.25);
        let (rest, met) = (e.run(Side::Start, 7.0, 0.0), e.run(Side::Start, 7.0, 1.0));
        assert!((rest.position.value - (100.0 - 7.0 * (1.5 + 7.0 / 48.0))).abs() < 1e-12);
        assert_eq!((rest.speed.value, rest.acceleration.value), (0.0, 0.0));
        assert_eq!((met.position.value, met.speed.value, met.acceleration.value), (100.0, 3.0, -0.25));
        // A run-down is a run-up backwards.
        let down = e.run(Side::End, 7.0, 0.0);
        assert!((down.position.value - (100.0 + 7.0 * (1.5 - 7.0 / 48.0))).abs() < 1e-12, "{down:?}");
        assert_eq!(e.run(Side::End, 7.0, 1.0).speed.value, 3.0);
        assert_eq!((e.leads(7.0), edge(-0.1, 0.3).leads(2.0), edge(0.0, 0.0).leads(2.0)), (Some(1.0), Some(-1.0), None));
    }
}
