//! A stretch in closed form: constant length, an acceleration of the support that is a cubic in time.
//!
//! What: the swing is a cubic in time plus a damped oscillation. The cubic follows from its coefficients one by one, the oscillation from the state at the beginning.
//! Invariant: times are those of the stretch, 0 to its length; positions are L q in mm. Limits: over a small part of a period cubic and oscillation nearly cancel: short
//! stretches are for [`super::collocation`].

use super::greatest::Swinging;
use super::{GRAVITY, State, size};
use crate::number::elementary::{cos, exp, sin};

/// A stretch of constant length under a cubic acceleration.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Free {
    /// mm.
    length: f64,
    /// s.
    lasts: f64,
    /// z w, 1/s.
    decay: f64,
    /// Damped angular frequency, 1/s.
    turns: f64,
    /// Angle over s = t / lasts: coefficients of the cubic, in both directions.
    cubic: [[f64; 4]; 2],
    /// Factors of cosine and sine.
    waves: [[f64; 2]; 2],
    /// Amplitude at the beginning, over both directions, mm.
    amplitude: f64,
}

impl Free {
    /// From a state, over `lasts` seconds; `acceleration` in both directions as coefficients over s = t / lasts, mm/s2.
    #[must_use]
    pub(crate) fn new(state: &State, length: f64, damping: f64, lasts: f64, acceleration: [[f64; 4]; 2]) -> Free {
        let w = (GRAVITY / length).sqrt();
        let (theta, decay, turns) = (w * lasts, damping * w, w * (1.0 - damping * damping).sqrt());
        // In s: q" + 2 z theta q' + theta^2 q = -lasts^2 a / L, and lasts^2 / (L theta^2) = 1 / g.
        let cubic = acceleration.map(|[a0, a1, a2, a3]| {
            let (k, m) = (2.0 * damping / theta, 1.0 / (theta * theta));
            let c3 = -a3 / GRAVITY;
            let c2 = -a2 / GRAVITY - k * 3.0 * c3;
            let c1 = -a1 / GRAVITY - k * 2.0 * c2 - 6.0 * m * c3;
            let c0 = -a0 / GRAVITY - k * c1 - 2.0 * m * c2;
            [c0, c1, c2, c3]
        });
        let wave = |[c0, c1, _, _]: [f64; 4], angle: f64, rate: f64| {
            let a = angle - c0;
            [a, (rate - c1 / lasts + decay * a) / turns]
        };
        let ([cx, cz], [qx, qz], [vx, vz]) = (cubic, state.angle, state.rate);
        let waves = [wave(cx, qx, vx), wave(cz, qz, vz)];
        let amplitude = length * size(waves.map(size));
        Free { length, lasts, decay, turns, cubic, waves, amplitude }
    }

    /// The state at `t`.
    #[must_use]
    pub(crate) fn state(&self, t: f64) -> State {
        let (e, c, s, u) = (exp(-self.decay * t), cos(self.turns * t), sin(self.turns * t), t / self.lasts);
        let of = |[c0, c1, c2, c3]: [f64; 4], [a, b]: [f64; 2]| {
            let angle = c0 + u * (c1 + u * (c2 + u * c3)) + e * (a * c + b * s);
            let slope = (c1 + u * (2.0 * c2 + u * 3.0 * c3)) / self.lasts;
            (angle, slope + e * (self.turns * (b * c - a * s) - self.decay * (a * c + b * s)))
        };
        let ([cx, cz], [wx, wz]) = (self.cubic, self.waves);
        let ((qx, vx), (qz, vz)) = (of(cx, wx), of(cz, wz));
        State { angle: [qx, qz], rate: [vx, vz] }
    }
}

impl Swinging for Free {
    fn at(&self, t: f64) -> [f64; 2] {
        self.state(t).angle.map(|q| self.length * q)
    }

    fn most(&self, from: f64, to: f64) -> f64 {
        // A cubic is nowhere larger than the sum of its terms' sizes at the far end.
        let u = (to / self.lasts).min(1.0);
        let cubic = self.cubic.map(|[c0, c1, c2, c3]| c0.abs() + u * (c1.abs() + u * (c2.abs() + u * c3.abs())));
        self.length * size(cubic) + self.amplitude * exp(-self.decay * from)
    }

    fn curvature(&self, from: f64, to: f64) -> f64 {
        let per = self.length / (self.lasts * self.lasts);
        let at = |t: f64| size(self.cubic.map(|[_, _, c2, c3]| per * (2.0 * c2 + 6.0 * c3 * t / self.lasts)));
        // The second derivative of the cubic is a straight line; that of the wave has w^2 times its size.
        let w2 = self.decay * self.decay + self.turns * self.turns;
        at(from).max(at(to)) + w2 * self.amplitude * exp(-self.decay * from)
    }
}

#[cfg(test)]
mod tests {
    use super::super::{length, period};
    use super::*;

    /// Periods of 1 m: 2.006409 s at 9.80665 m/s2 (calculatorlib, pendulum calculator). Of the seconds pendulum: 0.994 m (textbooks).
    #[test]
    fn periods_are_the_published_ones() {
        assert!((period(1000.0) - 2.006_409).abs() < 5e-7);
        assert!((length(2.0) - 994.0).abs() < 0.5);
        assert!((length(period(1234.5)) - 1234.5).abs() < 1e-9);
    }

    /// Derived, as textbooks on cranes have it: from rest under constant acceleration a the swing reaches 2 a / g, whatever the length.
    #[test]
    fn constant_acceleration_swings_twice_its_share_of_gravity() {
        for l in [200.0, 1600.0, 9000.0] {
            let still = State::default();
            let free = Free::new(&still, l, 0.0, 5.0 * period(l), [[100.0, 0.0, 0.0, 0.0], [0.0; 4]]);
            assert!((free.state(0.5 * period(l)).angle[0] + 2.0 * 100.0 / GRAVITY).abs() < 1e-15);
            assert!(size(free.at(2.0 * period(l))) < 1e-10);
        }
    }
}
