//! How long a pendulum that is left alone takes until its swing stays within a limit.
//!
//! What: left alone both directions are damped oscillations of one frequency: together an ellipse that shrinks. Its long half axis is at the limit at an instant that halving finds; from there back, within
//! half a turn, the last instant at which the swing is beyond the limit is looked for in steps of a 64th of a period, and between two of them by halving.
//! Limits: a swing that is beyond the limit for less than a 64th of a period at its very end is passed over: it is then beyond it by less than a two-hundredth of the limit. Units: mm, s.

use super::free::Free;
use super::greatest::Swinging;
use super::{GRAVITY, State, period, size};
use crate::number::elementary::exp;

/// Seconds until the swing stays within `limit`; `None` where it does not within `most`.
#[must_use]
pub(crate) fn settled(state: &State, length: f64, damping: f64, limit: f64, most: f64) -> Option<f64> {
    let t0 = period(length);
    let free = Free::new(state, length, damping, t0, [[0.0; 4]; 2]);
    let axis = length * long_half_axis(state, length, damping);
    if axis <= limit {
        return Some(0.0);
    }
    let decay = damping * (GRAVITY / length).sqrt();
    let above = |t: f64| axis * exp(-decay * t) > limit;
    if !(decay > 0.0) || above(most) {
        return None;
    }
    let border = halved(0.0, most, &above);
    let beyond = |t: f64| size(free.at(t)) > limit;
    let step = t0 / 64.0;
    let mut t = border;
    for _ in 0..64 {
        if t <= 0.0 {
            return Some(0.0);
        }
        let before = (t - step).max(0.0);
        if beyond(before) {
            return Some(halved(before, t, &beyond));
        }
        t = before;
    }
    Some(t)
}

/// Between an instant at which something holds and one at which it does not any more.
fn halved(mut holds: f64, mut not: f64, what: &impl Fn(f64) -> bool) -> f64 {
    for _ in 0..60 {
        let middle = 0.5 * (holds + not);
        if what(middle) { holds = middle } else { not = middle }
    }
    not
}

/// Long half axis of the ellipse that the angles would go through without damping, rad.
fn long_half_axis(state: &State, length: f64, damping: f64) -> f64 {
    let w = (GRAVITY / length).sqrt();
    let turns = w * (1.0 - damping * damping).sqrt();
    let ([ax, az], [vx, vz]) = (state.angle, state.rate);
    let (bx, bz) = ((vx + damping * w * ax) / turns, (vz + damping * w * az) / turns);
    let middle = 0.5 * (ax * ax + bx * bx + az * az + bz * bz);
    let (even, odd) = (0.5 * (ax * ax - bx * bx + az * az - bz * bz), ax * bx + az * bz);
    (middle + (even * even + odd * odd).sqrt()).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// In one plane from rest at 10 mm, 1 % of critical: the peaks shrink by exp(-pi z / sqrt(1 - z^2)) each half period; 5 mm are kept after 22 of them (22 x 0.03142 = 0.691 < ln 2 = 0.693: not yet) and the 23rd.
    #[test]
    fn it_settles_with_the_peak_that_is_small_enough() {
        let l = 1000.0;
        let state = State { angle: [10.0 / l, 0.0], rate: [0.0; 2] };
        let found = settled(&state, l, 0.01, 5.0, 3600.0).unwrap_or(f64::NAN);
        let half = 0.5 * period(l);
        // The 22nd peak is 5.009 mm, just beyond: settled shortly after it.
        assert!(found > 22.0 * half && found < 22.2 * half, "{}", found / half);
        let free = Free::new(&state, l, 0.01, 1.0, [[0.0; 4]; 2]);
        for i in 0..4000 {
            assert!(size(free.at(found + f64::from(i) * 0.01)) <= 5.0 * (1.0 + 1e-9));
        }
        assert!(size(free.at(found - 1e-6)) > 5.0 * (1.0 - 1e-6));
        assert_eq!(settled(&state, l, 0.0, 5.0, 3600.0), None);
        assert_eq!(settled(&state, l, 0.0, 10.1, 3600.0), Some(0.0));
    }

    /// A circle never comes nearer: the border of the envelope counts.
    #[test]
    fn a_circle_settles_with_its_radius() {
        let (l, z) = (1600.0, 0.02);
        let w = (GRAVITY / l).sqrt();
        let state = State { angle: [8.0 / l, 0.0], rate: [-z * w * 8.0 / l, w * (1.0 - z * z).sqrt() * 8.0 / l] };
        let found = settled(&state, l, z, 2.0, 3600.0).unwrap_or(f64::NAN);
        assert!((found - 2.0 * core::f64::consts::LN_2 / (z * w)).abs() < 1e-6, "{found}");
    }
}
