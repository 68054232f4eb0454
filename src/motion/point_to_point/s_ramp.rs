//! One change of speed under a jerk limit, from zero acceleration to zero acceleration.
//!
//! The acceleration rises at the jerk limit for `blend`, holds, and falls for `blend` again. The speed gained is point symmetric about
//! the middle, so it is only ever evaluated over the half next to an end, where every term is positive and nothing cancels.
//! Invariant: `0 <= 2 blend <= total`. Source: L. Biagiotti, C. Melchiorri, Trajectory Planning for Automatic Machines and Robots,
//! Springer 2008, sec. 3.4. Units: the profile's own.

/// A change of speed, without its sign and without the speed it starts from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct SRamp {
    /// Time over which the acceleration rises, and again over which it falls.
    pub(crate) blend: f64,
    /// Whole time.
    pub(crate) total: f64,
    /// Jerk while the acceleration rises.
    pub(crate) jerk: f64,
    /// Whether the acceleration limit is reached.
    pub(crate) full: bool,
}

impl SRamp {
    /// The fastest change of speed by `change` (>= 0) under the limits.
    pub(crate) fn fastest(change: f64, acceleration: f64, jerk: f64) -> Self {
        // acceleration x (acceleration / jerk) may overflow to infinity, which rightly is not reached.
        if change >= acceleration * (acceleration / jerk) {
            let blend = acceleration / jerk;
            return Self { blend, total: blend + change / acceleration, jerk, full: true };
        }
        Self::triangle((change / jerk).sqrt(), jerk)
    }

    /// A change of speed whose acceleration rises for `blend` and falls at once.
    pub(crate) fn triangle(blend: f64, jerk: f64) -> Self {
        Self { blend, total: 2.0 * blend, jerk, full: false }
    }

    /// Speed gained in the first `t`, for `t <= total / 2`.
    pub(crate) fn gain(&self, t: f64) -> f64 {
        if t < self.blend {
            return self.jerk * t * t / 2.0;
        }
        self.jerk * self.blend * (t - self.blend / 2.0)
    }

    /// Distance gained in the first `t` on the speed at the start, for `t <= total / 2`.
    pub(crate) fn lead(&self, t: f64) -> f64 {
        if t < self.blend {
            return self.jerk * t * t * t / 6.0;
        }
        let rest = t - self.blend;
        self.jerk * self.blend * (self.blend * self.blend / 6.0 + self.blend * rest / 2.0 + rest * rest / 2.0)
    }

    /// Acceleration at `t`, as a part of its greatest, for `t <= total / 2`. At most 1.
    pub(crate) fn load(&self, t: f64) -> f64 {
        if t < self.blend { t / self.blend } else { 1.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn half_the_change_is_gained_at_half_the_time() {
        // change 6, acceleration 2, jerk 4: blend 0.5, total 3.5, all exact in binary.
        let ramp = SRamp::fastest(6.0, 2.0, 4.0);
        assert_eq!(ramp, SRamp { blend: 0.5, total: 3.5, jerk: 4.0, full: true });
        assert_eq!(ramp.gain(1.75), 3.0);
        assert_eq!(ramp.gain(0.25), 0.125);
        assert_eq!(ramp.load(0.125), 0.25);
        // change 1, jerk 4: the acceleration reaches 2 and falls at once.
        let ramp = SRamp::fastest(1.0, 3.0, 4.0);
        assert_eq!(ramp, SRamp { blend: 0.5, total: 1.0, jerk: 4.0, full: false });
        assert_eq!(ramp.gain(0.5), 0.5);
    }

    #[test]
    fn the_lead_is_the_integral_of_the_gain() {
        let ramp = SRamp::fastest(6.0, 2.0, 4.0);
        // Simpson's rule is exact for the parabola and for the line that follows it.
        let first = (ramp.gain(0.0) + 4.0 * ramp.gain(0.25) + ramp.gain(0.5)) * 0.5 / 6.0;
        let second = (ramp.gain(0.5) + 4.0 * ramp.gain(1.125) + ramp.gain(1.75)) * 1.25 / 6.0;
        assert!((ramp.lead(0.5) - first).abs() <= first * f64::EPSILON * 4.0);
        assert!((ramp.lead(1.75) - (first + second)).abs() <= (first + second) * f64::EPSILON * 4.0);
    }
}
