//! The smoothest curve through keys: the quintic spline, C4, at rest at both ends.
//!
//! What: of all curves through the keys it has the least integral of squared jerk (T. Flash, N. Hogan, J. Neurosci. 5(7) 1985, for one
//! span; the spline is the same with inner points). Velocities and accelerations at the inner keys follow from continuity of jerk and of the fourth
//! derivative; as the gradient of that integral the system is symmetric and positive definite, so elimination in 2 x 2 blocks
//! needs no pivoting. Checked against a published numerical library's values in `tests`.

use nalgebra::{Matrix2, Vector2};

use super::keyed::{KeyedCurve, Outside};
use crate::motion::curve::CurveError;
use crate::motion::quintic::Node;
use crate::motion::signal::SignalError;
use crate::shot::Key;

/// The minimum-jerk spline through `keys`, at rest at both ends, holding outside.
///
/// # Errors
/// Numbers that overflow.
pub(crate) fn through(keys: &[Key]) -> Result<KeyedCurve, SignalError> {
    let inner = inner_nodes(keys)?;
    let mut nodes: Vec<(f64, Node)> = keys.iter().map(|k| (k.frame, Node::rest(k.value))).collect();
    for ((_, node), state) in nodes.iter_mut().skip(1).zip(&inner) {
        node.v = state.x;
        node.a = state.y;
    }
    KeyedCurve::through_nodes(&nodes, Outside::Hold)
}

/// Velocity and acceleration at every inner key.
fn inner_nodes(keys: &[Key]) -> Result<Vec<Vector2<f64>>, SignalError> {
    let spans: Vec<(f64, f64)> = keys.iter().zip(keys.iter().skip(1)).map(|(a, b)| (b.frame - a.frame, b.value - a.value)).collect();
    let mut done: Vec<(Matrix2<f64>, Vector2<f64>)> = Vec::with_capacity(spans.len());
    let mut before: Option<(Matrix2<f64>, Vector2<f64>)> = None;
    for ((l, dl), (r, dr)) in spans.iter().zip(spans.iter().skip(1)) {
        let (il, ir) = (1.0 / l, 1.0 / r);
        let (il2, ir2) = (il * il, ir * ir);
        // First row: fourth derivative on the right less that on the left; second row: jerk on the left less that on the right.
        let mut diagonal = Matrix2::new(192.0 * (il2 * il + ir2 * ir), 36.0 * (ir2 - il2), 36.0 * (ir2 - il2), 9.0 * (il + ir));
        let mut right = Vector2::new(360.0 * (dl * il2 * il2 + dr * ir2 * ir2), 60.0 * (dr * ir2 * ir - dl * il2 * il));
        let below = Matrix2::new(168.0 * il2 * il, 24.0 * il2, -24.0 * il2, -3.0 * il);
        let above = Matrix2::new(168.0 * ir2 * ir, -24.0 * ir2, 24.0 * ir2, -3.0 * ir);
        if let Some((up, value)) = before {
            diagonal -= below * up;
            right -= below * value;
        }
        let inverse = inverse(diagonal).ok_or(CurveError::NotFinite { from: f64::NAN })?;
        let row = (inverse * above, inverse * right);
        before = Some(row);
        done.push(row);
    }
    let mut next: Option<Vector2<f64>> = None;
    let mut states: Vec<Vector2<f64>> = done
        .iter()
        .rev()
        .map(|(up, value)| {
            let state = match next {
                Some(n) => value - up * n,
                None => *value,
            };
            next = Some(state);
            state
        })
        .collect();
    states.reverse();
    Ok(states)
}

/// Inverse of a symmetric positive definite block; `None` where it overflowed.
fn inverse(m: Matrix2<f64>) -> Option<Matrix2<f64>> {
    let det = m.m11 * m.m22 - m.m12 * m.m21;
    (det > 0.0 && det.is_finite()).then(|| Matrix2::new(m.m22 / det, -m.m12 / det, -m.m21 / det, m.m11 / det))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "tests")]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn the_third_and_fourth_derivatives_are_continuous(
            steps in prop::collection::vec((1.0..60.0_f64, -1000.0..1000.0_f64), 3..14),
        ) {
            let mut frame = 0.0;
            let keys: Vec<Key> = steps.iter().map(|(d, v)| { frame += d; Key::new(frame, *v) }).collect();
            let k = through(&keys).unwrap();
            let size = keys.iter().map(|k| k.value.abs()).fold(1.0, f64::max);
            for i in 1..keys.len() - 1 {
                let t = keys[i].frame;
                let (l, r) = (k.jet(t, t - 0.5), k.jet(t, t + 0.5));
                prop_assert_eq!(r.p.to_bits(), keys[i].value.to_bits());
                let h = (keys[i].frame - keys[i - 1].frame).min(keys[i + 1].frame - keys[i].frame);
                // Coefficients are sums with factors up to 360 over h^3; cancellation leaves 2^-40 of that.
                prop_assert!((l.j - r.j).abs() <= 360.0 * size / (h * h * h) * 1e-12, "{} {}", l.j, r.j);
                // Fourth derivative by a difference of exact jerks on each side.
                let e = h * 1e-3;
                let fourth = |at: f64, b: f64| (k.jet(at + e, b).j - k.jet(at - e, b).j) / (2.0 * e);
                let (l4, r4) = (fourth(t, t - 0.5), fourth(t, t + 0.5));
                prop_assert!((l4 - r4).abs() <= 1e-5 * (l4.abs() + r4.abs() + size / (h * h * h * h)), "{l4} {r4}");
            }
        }
    }

    #[test]
    fn two_keys_are_the_minimum_jerk_law_and_one_key_a_constant() {
        let k = through(&[Key::new(0.0, 0.0), Key::new(2.0, 1.0)]).unwrap();
        assert_eq!(k.jet(1.0, 1.0).p, 0.5);
        assert_eq!(k.jet(1.0, 1.0).v, 1.875 / 2.0);
        assert_eq!(through(&[Key::new(5.0, 3.0)]).unwrap().jet(99.0, 99.0).p, 3.0);
    }
}
