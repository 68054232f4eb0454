//! How the stopping distance changes with speed and acceleration, over ranges of both.
//!
//! What: the distance is differentiable where an axis neither turns nor reaches its greatest speed on the way, or reaches that before the stop begins; there the partial derivatives are monotone in
//! what they are made of, so ranges of speed and acceleration give ranges of them. Elsewhere nothing is said. Source: derived from the closed form in [`crate::motion::stop`]. Units: s, s2.

use crate::mechanism::interval::Range;
use crate::motion::stop::Braking;

/// The partial derivatives of [`Braking::up`] by speed and by acceleration, wherever both lie in these ranges; `None` where the distance has an edge or none was derived.
pub(super) fn partials(b: &Braking, v: Range, a: Range) -> Option<[Range; 2]> {
    let (r, j) = (of(b.reaction), b.jerk);
    let then = v + a * r;
    // Speed and acceleration lead away, and no stop leads back.
    if v.hi <= 0.0 && then.hi <= 0.0 && then.hi + 0.5 * a.hi * a.hi.abs() / j < 0.0 {
        return Some([Range::ZERO; 2]);
    }
    let is_plain = v.lo >= 0.0 && v.hi <= b.velocity && a.lo >= -b.acceleration;
    if !is_plain {
        return None;
    }
    if then.lo >= b.velocity && a.lo > 0.0 {
        // The speed grows until it is the greatest: (V - v) / a seconds.
        let grows = Range::between(b.velocity - v.hi, b.velocity - v.lo) * Range::between(1.0 / a.hi, 1.0 / a.lo);
        let [_, by_a] = of_stop(b, of(b.velocity), a);
        return Some([grows, grows.square() * of(0.5) + by_a]);
    }
    let is_uncapped = then.lo >= 0.0 && then.hi <= b.velocity && then.lo + 0.5 * a.lo * a.lo.abs() / j >= 0.0;
    is_uncapped.then(|| {
        let [by_speed, by_a] = of_stop(b, then, a);
        [r + by_speed, r * r * of(0.5) + by_speed * r + by_a]
    })
}

fn of(x: f64) -> Range {
    Range { lo: x, hi: x }
}

/// The partial derivatives of the way from the start of the stop, from a speed and an acceleration: the acceleration falls through zero to a deceleration and comes back.
fn of_stop(b: &Braking, x: Range, a: Range) -> [Range; 2] {
    let j = b.jerk;
    let per_jerk = a * of(1.0 / j);
    // The speed if the acceleration went straight to zero; all that follows grows with it.
    let c = x + a.square() * of(0.5 / j);
    let seconds = |c: f64| {
        let free = (j * c.max(0.0)).sqrt();
        if free <= b.acceleration { 1.5 * free / j } else { 0.5 * b.acceleration / j + c / b.acceleration }
    };
    let rest = Range { lo: seconds(c.lo), hi: seconds(c.hi) };
    [per_jerk + rest, per_jerk.square() + per_jerk * rest + x * of(1.0 / j)]
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        /// The mean value theorem: between any two points of the ranges the distance changes by no more and no less than the ranges of its derivatives say.
        #[test]
        fn the_distance_changes_as_its_derivatives_say(
            v in -1.2..1.2_f64, a in -1.2..1.2_f64, wide in prop::array::uniform2(0.0..0.2_f64), reaction in 0.0..1.0_f64,
            limits in (10.0..200.0_f64, 5.0..100.0_f64, 10.0..400.0_f64), at in prop::array::uniform4(0.0..1.0_f64),
        ) {
            let b = Braking { reaction, velocity: limits.0, acceleration: limits.1, jerk: limits.2 };
            let v = Range::between(v * limits.0, (v + wide[0]) * limits.0);
            let a = Range::between(a * limits.1, (a + wide[1]) * limits.1);
            let Some([by_v, by_a]) = partials(&b, v, a) else { return Ok(()) };
            let inside = |r: Range, t: f64| r.lo + t * (r.hi - r.lo);
            let ([v0, v1], [a0, a1]) = ([at[0], at[1]].map(|t| inside(v, t)), [at[2], at[3]].map(|t| inside(a, t)));
            let change = b.up(v1, a1) - b.up(v0, a0);
            let bounds = of(v1 - v0) * by_v + of(a1 - a0) * by_a;
            let rounding = 1e-9 * (b.up(v1, a1) + b.up(v0, a0));
            prop_assert!(bounds.lo - rounding <= change && change <= bounds.hi + rounding, "{change} {bounds:?}");
        }
    }

    /// At a point the derivatives are those of small differences, in each of the cases there are.
    #[test]
    fn derivatives_at_a_point() {
        let b = Braking { reaction: 0.2, velocity: 60.0, acceleration: 20.0, jerk: 40.0 };
        // Stopped without and with a hold of the deceleration, by an axis that slows already, at its greatest speed before the stop, and moving away.
        for (v, a) in [(3.0, 0.5), (40.0, 5.0), (40.0, -18.0), (58.0, 15.0), (-40.0, 3.0)] {
            let h = 1e-5;
            let (dv, da) = ((b.up(v + h, a) - b.up(v - h, a)) / (2.0 * h), (b.up(v, a + h) - b.up(v, a - h)) / (2.0 * h));
            let near = |r: Range, d: f64| (r.middle() - d).abs() < 1e-6 && r.hi - r.lo < 1e-9;
            let bounds = partials(&b, of(v), of(a));
            assert!(bounds.is_some_and(|[by_v, by_a]| near(by_v, dv) && near(by_a, da)), "{v} {a}: {bounds:?}, not {dv} and {da}");
        }
        // Where it turns on the way nothing is said.
        assert!(partials(&b, of(1.0), of(-15.0)).is_none() && partials(&b, Range::between(-1.0, 1.0), of(0.0)).is_none());
    }
}
