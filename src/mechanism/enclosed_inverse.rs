//! Ranges that certainly hold the solution of three equations in three unknowns, with its velocity and acceleration, where the equations have no closed inverse.
//!
//! What: the operator of R. Krawczyk (1969; from memory): K(X) = x - C (F(x) - H) + (1 - C F'(X)) (X - x) inside X proves that X holds one solution for every
//! right-hand side in H; C are the slopes of the solution in the middle. The derivatives follow by the implicit function theorem. Invariant: what is returned holds the
//! solution throughout, up to rounding. Limits: where the equations are near singular, or the ranges wide, nothing is proven and nothing is returned.

use super::interval::{IntervalJet, Range};
use super::real::Real;
use super::space::Vector;

/// Ranges of the unknowns of F(unknowns) = `wanted`, near the solution `x` in the middle of `wanted`, where the unknowns answer to the three right-hand sides by
/// `slopes`, one row for each unknown. `None` where nothing is proven.
pub fn enclosed_inverse(
    wanted: [IntervalJet; 3],
    x: [f64; 3],
    slopes: [Vector; 3],
    f: &impl Fn([IntervalJet; 3]) -> Option<[IntervalJet; 3]>,
) -> Option<[IntervalJet; 3]> {
    let point = |v: f64| Range::between(v, v);
    // Rows of C: how one unknown answers to the three right-hand sides.
    let inverse = slopes.map(|row| [row.x, row.y, row.z]);
    let by = |r: [Range; 3]| inverse.map(|row| row.iter().zip(r).fold(Range::ZERO, |sum, (c, r)| sum + point(*c) * r));
    let here = f(x.map(IntervalJet::constant))?;
    let off = by(zipped(wanted.map(|h| h.p), here.map(|h| h.p), |h, f| h - f));
    // Twice what the slopes in the middle ask for leaves room for their change.
    let room = off.map(|r| Range::around_zero(2.0 * r.size() + 1e-12 * (1.0 + r.size())));
    let moved = |k: usize| {
        let one =
            |i: usize, x: f64, r: Range| IntervalJet { p: point(x) + r, v: if i == k { point(1.0) } else { Range::ZERO }, a: Range::ZERO };
        let ([a, b, c], [ra, rb, rc]) = (x, room);
        f([one(0, a, ra), one(1, b, rb), one(2, c, rc)]).map(|f| f.map(|f| f.v))
    };
    let slopes = [by(moved(0)?), by(moved(1)?), by(moved(2)?)];
    // What the slopes leave of a unit motion: column k is e_k - C F'(X) e_k.
    let left = |r: [Range; 3]| {
        let mut sum = [Range::ZERO; 3];
        for (k, (column, r)) in slopes.iter().zip(r).enumerate() {
            for (i, (s, c)) in sum.iter_mut().zip(column).enumerate() {
                *s = *s + (point(f64::from(u8::from(i == k))) - *c) * r;
            }
        }
        sum
    };
    let found = zipped(off, left(room), |a, b| a + b);
    let inside = found.iter().zip(room).all(|(f, r)| r.lo <= f.lo && f.hi <= r.hi);
    let norm = left([Range::around_zero(1.0); 3]).iter().map(|r| r.size()).fold(0.0, f64::max);
    if !(inside && norm < 1.0) {
        return None;
    }
    // y = C b + (1 - C F') y: no component of y is greater than the greatest of C b over 1 - norm.
    let solved = |b: [Range; 3]| {
        let cb = by(b);
        let most = cb.iter().map(|r| r.size()).fold(0.0, f64::max) / (1.0 - norm);
        zipped(cb, left([Range::around_zero(most); 3]), |a, b| a + b)
    };
    let p = zipped(x.map(point), found, |x, r| x + r);
    let v = solved(wanted.map(|h| h.v));
    // With the solution's own acceleration left out, what is left is what the slopes' change alone makes.
    let bent = f(zipped(p, v, |p, v| IntervalJet { p, v, a: Range::ZERO }))?.map(|f| f.a);
    let acceleration = solved(zipped(wanted.map(|h| h.a), bent, |h, f| h - f));
    let all = zipped(p, v, |p, v| IntervalJet { p, v, a: Range::ZERO });
    Some(zipped(all, acceleration, |w, a| IntervalJet { a, ..w }))
}

fn zipped<A, B, C>([a0, a1, a2]: [A; 3], [b0, b1, b2]: [B; 3], f: impl Fn(A, B) -> C) -> [C; 3] {
    [f(a0, b0), f(a1, b1), f(a2, b2)]
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::indexing_slicing, reason = "tests")]
mod tests {
    use proptest::prelude::*;

    use super::super::kinematics::Mechanism;
    use super::super::{CarriedFrom, Swashplate, SwashplateSpec};
    use super::*;
    use crate::number::Jet;

    proptest! {
        /// Plates on rods and on wires, level to 82 deg of pitch, where the slopes are ten times those of the level plate: the ranges of a straight way
        /// of the heights through a pose hold the pose at every moment of it, with its velocity and acceleration. 1e-9 of their size is rounding.
        #[test]
        fn ranges_hold_the_pose_of_a_plate_on_rods(hangs in any::<bool>(), pitch in -82.0..82.0_f64, roll in -20.0..20.0_f64,
            v in prop::array::uniform3(-1.0..1.0_f64), s in -1.0..1.0_f64) {
            let carried_from = if hangs { CarriedFrom::Above } else { CarriedFrom::Below };
            let spec = SwashplateSpec { radius: 90.0, azimuths: [0.0, 240.0, 120.0], rod_length: Some(3000.0), carried_from };
            let plate = Swashplate::new(spec).unwrap();
            let heights = plate.actuators(5.0, pitch, roll).unwrap();
            // A way of half a millimetre in each height at level, shorter as the plate comes nearer to its edge.
            let h = 0.25 * (1.0 - (pitch / 85.0) * (pitch / 85.0));
            let point = |x: f64| Range::between(x, x);
            let over = [0, 1, 2].map(|i: usize| IntervalJet { p: point(heights[i]) + Range::around_zero(h * v[i].abs()), v: point(v[i]), a: Range::ZERO });
            let mut ranges = [IntervalJet::constant(0.0); 3];
            plate.enclose(&over, &mut ranges).unwrap();
            let moment = [0, 1, 2].map(|i: usize| Jet { p: heights[i] + s * h * v[i], v: v[i], a: 0.0, j: 0.0 });
            for (j, w) in plate.pose(moment).unwrap().into_iter().zip(ranges) {
                for (x, r) in [(j.p, w.p), (j.v, w.v), (j.a, w.a)] {
                    let room = 1e-9 * (1.0 + x.abs());
                    prop_assert!(r.lo - room <= x && x <= r.hi + room, "{} outside {:?}", x, r);
                }
            }
        }
    }
}
