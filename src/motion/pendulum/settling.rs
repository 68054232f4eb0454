//! How long a pendulum that is left alone takes until its swing stays within a limit for as long as an exposure lasts.
//!
//! What: left alone both directions are damped oscillations of one frequency: half a period later everything is the same, turned round and smaller. So an exposure that keeps the limit may begin as well any
//! number of half periods later, and the first half period in which one may begin is found by halving; in it the last instant at which the swing is beyond the limit while the shutter is open is looked for, in
//! steps of a 64th of a period and between two of them by halving; the exposure begins there at the earliest, and is looked at anew.
//! Limits: a swing that is beyond the limit for less than a 64th of a period is passed over: it is then beyond it by less than a two-hundredth of the limit. Units: mm, s.

use super::free::Free;
use super::greatest::Swinging;
use super::{GRAVITY, State, period, size};
use crate::number::elementary::exp;
use crate::number::whole;

/// The longest that anybody waits for a figure to hang still, s: who waits longer has another problem.
pub(crate) const HOUR: f64 = 3600.0;

/// A pendulum that is left alone.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Decaying<'a> {
    /// Its state at 0 s.
    pub(crate) state: &'a State,
    /// mm.
    pub(crate) length: f64,
    /// Share of critical.
    pub(crate) damping: f64,
    /// The most that it may swing, mm.
    pub(crate) limit: f64,
}

impl Decaying<'_> {
    /// True where it keeps the limit from this instant on, whatever comes.
    #[must_use]
    pub(crate) fn is_within(&self, t: f64) -> bool {
        let Decaying { state, length, damping, limit } = *self;
        length * long_half_axis(state, length, damping) * exp(-damping * (GRAVITY / length).sqrt() * t) <= limit
    }
}

/// The earliest second from `from` on at which an exposure of so many seconds begins that keeps the limit; `None` where there is none within `most`.
#[must_use]
pub(crate) fn settled(of: &Decaying<'_>, exposure: f64, from: f64, most: f64) -> Option<f64> {
    if of.is_within(from) {
        return Some(from);
    }
    let Decaying { state, length, damping, limit } = *of;
    let t0 = period(length);
    let (free, half) = (Free::new(state, length, damping, t0, [[0.0; 4]; 2]), 0.5 * t0 / (1.0 - damping * damping).sqrt());
    let beyond = |t: f64| !(size(free.at(t)) <= limit);
    // After half a period nothing new is seen.
    let seen = exposure.min(half);
    let first = |k: u32| {
        let begin = from + f64::from(k) * half;
        let mut opens = begin;
        while opens < begin + half {
            let Some(last) = last_beyond(&beyond, opens, opens + seen, t0 / 64.0) else { return Some(opens) };
            opens = last;
        }
        None
    };
    let last = whole::floor((most - from) / half).and_then(|k| u32::try_from(k).ok())?;
    let (mut fails, mut holds) = match first(0) {
        Some(opens) => return Some(opens),
        None if damping > 0.0 && first(last).is_some() => (0, last),
        None => return None,
    };
    while holds - fails > 1 {
        let middle = fails + (holds - fails) / 2;
        if first(middle).is_some() { holds = middle } else { fails = middle }
    }
    first(holds)
}

/// The end of the last stretch between two instants in which something holds; `None` where it is not seen to hold.
fn last_beyond(beyond: &impl Fn(f64) -> bool, from: f64, to: f64, step: f64) -> Option<f64> {
    if beyond(to) {
        // The exposure ends beyond the limit: it begins when that is over at the earliest.
        return Some(to.max(from + step));
    }
    let mut after = to;
    while after > from {
        let before = (after - step).max(from);
        if beyond(before) {
            return Some(halved(before, after, beyond));
        }
        after = before;
    }
    None
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
        let of = |damping: f64, limit: f64| Decaying { state: &state, length: l, damping, limit };
        let found = settled(&of(0.01, 5.0), 6.0, 0.0, 3600.0).unwrap_or(f64::NAN);
        let half = 0.5 * period(l);
        // The 22nd peak is 5.009 mm, just beyond: settled shortly after it.
        assert!(found > 22.0 * half && found < 22.2 * half, "{}", found / half);
        let free = Free::new(&state, l, 0.01, 1.0, [[0.0; 4]; 2]);
        for i in 0..4000 {
            assert!(size(free.at(found + f64::from(i) * 0.01)) <= 5.0 * (1.0 + 1e-9));
        }
        assert!(size(free.at(found - 1e-6)) > 5.0 * (1.0 - 1e-6));
        assert_eq!(settled(&of(0.0, 5.0), 6.0, 0.0, 3600.0), None);
        assert_eq!(settled(&of(0.0, 10.1), 6.0, 0.0, 3600.0), Some(0.0));
        // Not before what is asked for at least.
        assert_eq!(settled(&of(0.01, 5.0), 6.0, 100.0, 3600.0), Some(100.0));
    }

    /// A circle never comes nearer: the border of the envelope counts.
    #[test]
    fn a_circle_settles_with_its_radius() {
        let (l, z) = (1600.0, 0.02);
        let w = (GRAVITY / l).sqrt();
        let state = State { angle: [8.0 / l, 0.0], rate: [-z * w * 8.0 / l, w * (1.0 - z * z).sqrt() * 8.0 / l] };
        let found = settled(&Decaying { state: &state, length: l, damping: z, limit: 2.0 }, 6.0, 0.0, 3600.0).unwrap_or(f64::NAN);
        assert!((found - 2.0 * core::f64::consts::LN_2 / (z * w)).abs() < 1e-6, "{found}");
    }

    /// Without damping, 10 mm from the middle at 0 s: within 5 mm from a sixth of the period on (cos = 1/2), for a sixth of it. An exposure of a tenth of the period fits there, one of a fifth nowhere.
    #[test]
    fn a_short_exposure_fits_between_two_turns() {
        let l = 1000.0;
        let state = State { angle: [10.0 / l, 0.0], rate: [0.0; 2] };
        let (of, t0) = (Decaying { state: &state, length: l, damping: 0.0, limit: 5.0 }, period(l));
        let found = settled(&of, 0.1 * t0, 0.0, 60.0).unwrap_or(f64::NAN);
        assert!((found - t0 / 6.0).abs() < 1e-9, "{found}");
        // From a quarter on what is left of the sixth is too short: the next one.
        let found = settled(&of, 0.1 * t0, 0.25 * t0, 60.0).unwrap_or(f64::NAN);
        assert!((found - (0.5 + 1.0 / 6.0) * t0).abs() < 1e-9, "{found}");
        assert_eq!(settled(&of, 0.2 * t0, 0.0, 60.0), None);
    }
}
