//! The stop after a fault: how far an axis runs on, either way, and how long until it stands.
//!
//! What: until the fault is noticed acceleration stays as it was, and the speed grows no further than to its limit; then the axis stops in the shortest time that acceleration and jerk allow:
//! the acceleration falls as fast as jerk lets it, holds at its limit where it reaches it, and comes back to zero together with the speed.
//! Invariant: the way on in one direction never falls as velocity or acceleration in that direction rise; so the greatest of both over a stretch of time bound it there. Source: the phases are those of
//! a double-S ramp between two speeds (L. Biagiotti, C. Melchiorri, Trajectory Planning for Automatic Machines and Robots, Springer 2008, sec. 3.4), begun with an acceleration; derived, and compared in the
//! tests with a planner of another origin and with small steps. Limits: motor and drive follow the command. Units: unit, s.

/// What an axis may do while it stops.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Braking {
    /// From the fault to the start of the stop, s.
    pub(crate) reaction: f64,
    /// Limits: unit/s, unit/s2, unit/s3; positive.
    pub(crate) velocity: f64,
    pub(crate) acceleration: f64,
    pub(crate) jerk: f64,
}

impl Braking {
    /// How far it runs on towards greater positions from where it is at the fault; 0 or more.
    #[must_use]
    pub(crate) fn up(&self, v: f64, a: f64) -> f64 {
        let (end, farthest, then) = self.reacted(v, a);
        farthest.max(end + self.farthest(then, a))
    }

    /// The same towards smaller positions.
    #[must_use]
    pub(crate) fn down(&self, v: f64, a: f64) -> f64 {
        self.up(-v, -a)
    }

    /// From the fault until it stands, s.
    #[must_use]
    pub(crate) fn seconds(&self, v: f64, a: f64) -> f64 {
        let (_, _, then) = self.reacted(v, a);
        self.reaction + self.stopping(then, a).1
    }

    /// Until the stop begins: where it is then, the farthest it was, how fast it is.
    fn reacted(&self, v: f64, a: f64) -> (f64, f64, f64) {
        // Faster than allowed already, it gets no faster.
        let (t, most, least) = (self.reaction, self.velocity.max(v), (-self.velocity).min(v));
        // The instant at which the speed stops growing, and the speed from then on.
        let (until, then) = if v + a * t > most {
            ((most - v) / a, most)
        } else if v + a * t < least {
            ((least - v) / a, least)
        } else {
            (t, v + a * t)
        };
        let end = until * (v + 0.5 * a * until) + (t - until) * then;
        // Falling from above zero to below it, it turns on the way.
        let turns = if v > 0.0 && then < 0.0 { 0.5 * v * (v / -a) } else { 0.0 };
        (end, end.max(turns).max(0.0), then)
    }

    /// The farthest up while it stops; 0 or more.
    fn farthest(&self, v: f64, a: f64) -> f64 {
        let j = self.jerk;
        if v + 0.5 * a * a.abs() / j >= 0.0 {
            return self.stopping(v, a).0.max(0.0);
        }
        if !(v > 0.0) {
            return 0.0;
        }
        // Too much deceleration for so little speed: it turns before the deceleration can cease.
        let turn = 2.0 * v / (-a + (a * a - 2.0 * j * v).max(0.0).sqrt());
        turn * (v + turn * (0.5 * a + turn * j / 6.0))
    }

    /// Where it stands in the end, and after how many seconds.
    fn stopping(&self, v: f64, a: f64) -> (f64, f64) {
        let (most, j) = (self.acceleration, self.jerk);
        if !(v + 0.5 * a * a.abs() / j >= 0.0) {
            // The same the other way round; what is no number stays so.
            if v.is_nan() || a.is_nan() {
                return (f64::NAN, f64::NAN);
            }
            let (end, seconds) = self.stopping(-v, -a);
            return (-end, seconds);
        }
        // A deceleration above the limit first comes back to it.
        let (led, lead, v, a) = if a < -most {
            let t = (-most - a) / j;
            (t * (v + t * (0.5 * a + t * j / 6.0)), t, v + t * (a + 0.5 * j * t), -most)
        } else {
            (0.0, 0.0, v, a)
        };
        let c = v + 0.5 * a * a / j;
        let free = (j * c).max(0.0).sqrt();
        let (peak, holds) = if free > most { (most, (c - most * most / j) / most) } else { (free, 0.0) };
        let end = led + c * (a + peak) / j - a * a * a / (6.0 * j * j) + 0.5 * c * holds;
        (end, lead + (a + peak) / j + holds + peak / j)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn braking(reaction: f64, [velocity, acceleration, jerk]: [f64; 3]) -> Braking {
        Braking { reaction, velocity, acceleration, jerk }
    }

    /// By hand: 60 mm/s, 20 mm/s2, 40 mm/s3: half a second until the deceleration is full, 2.5 s held, half a second back; symmetric, so half of the speed on average: 105 mm.
    #[test]
    fn a_stop_from_full_speed_by_hand() {
        let b = braking(0.2, [60.0, 20.0, 40.0]);
        assert!((b.up(60.0, 0.0) - (12.0 + 105.0)).abs() < 1e-9 && (b.seconds(60.0, 0.0) - 3.7).abs() < 1e-12);
        assert_eq!((b.up(0.0, 0.0), b.down(0.0, 0.0), b.down(60.0, 0.0)), (0.0, 0.0, 0.0));
        // The cap: 59 mm/s at 20 mm/s2 reach 60 after 50 ms.
        let (end, _, then) = b.reacted(59.0, 20.0);
        assert!((end - (59.5 * 0.05 + 60.0 * 0.15)).abs() < 1e-12 && then == 60.0);
    }
}
