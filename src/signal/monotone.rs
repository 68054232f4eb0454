//! Monotone quintic through keys: never outside the range of two neighbours, exact holds, local edits.
//!
//! Slope at a key: the plain harmonic mean 2ab/(a+b) of the chord slopes a and b (after F. Fritsch, J. Butland, SIAM J. Sci. Stat. Comput. 5(2)
//! 1984, from memory), 0 at a turning point, at a hold and at the ends, and never more than 1.25 times the smaller chord slope;
//! acceleration 0 at every key. With slopes s, t in units of the chord, velocity over a piece in Bernstein form is
//! (s, s, 5 - 2(s + t), t, t) (D, from the end conditions); all of it is at least 0 as long as s + t <= 2.5. Hence the 1.25.

use super::keyed::{KeyedCurve, Outside};
use crate::motion::quintic::Node;
use crate::motion::signal::SignalError;
use crate::shot::Key;

/// The monotone curve through `keys`, at rest at both ends, holding outside.
///
/// # Errors
/// Numbers that overflow.
pub(crate) fn through(keys: &[Key]) -> Result<KeyedCurve, SignalError> {
    let chords: Vec<f64> = keys.iter().zip(keys.iter().skip(1)).map(|(a, b)| (b.value - a.value) / (b.frame - a.frame)).collect();
    let nodes: Vec<(f64, Node)> = keys
        .iter()
        .enumerate()
        .map(|(i, key)| {
            let before = i.checked_sub(1).and_then(|b| chords.get(b));
            let slope = match (before, chords.get(i)) {
                (Some(a), Some(b)) => slope(*a, *b),
                _ => 0.0,
            };
            (key.frame, Node { p: key.value, v: slope, a: 0.0 })
        })
        .collect();
    KeyedCurve::through_nodes(&nodes, Outside::Hold)
}

/// Slope at a key between chord slopes `a` and `b`.
fn slope(a: f64, b: f64) -> f64 {
    if !(a > 0.0 && b > 0.0 || a < 0.0 && b < 0.0) {
        return 0.0;
    }
    let mean = 2.0 * a * b / (a + b);
    let most = 1.25 * if a.abs() < b.abs() { a } else { b };
    if mean.abs() < most.abs() { mean } else { most }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "tests")]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn slopes_are_harmonic_and_capped() {
        assert_eq!(slope(1.0, 1.0), 1.0);
        assert_eq!(slope(2.0, 3.0), 2.4);
        assert_eq!(slope(1.0, 100.0), 1.25);
        assert_eq!(slope(-2.0, -3.0), -2.4);
        assert_eq!(slope(1.0, -1.0), 0.0);
        assert_eq!(slope(0.0, 5.0), 0.0);
    }

    proptest! {
        #[test]
        fn it_never_leaves_the_range_of_its_two_keys(
            steps in prop::collection::vec((0.25..40.0_f64, -100.0..100.0_f64), 2..12),
        ) {
            let mut frame = 0.0;
            let keys: Vec<Key> = steps.iter().map(|(d, v)| { frame += d; Key::new(frame, *v) }).collect();
            let curve = through(&keys).unwrap();
            for pair in keys.windows(2) {
                let (lo, hi) = (pair[0].value.min(pair[1].value), pair[0].value.max(pair[1].value));
                for i in 0..=64 {
                    let t = pair[0].frame + (pair[1].frame - pair[0].frame) * f64::from(i) / 64.0;
                    let p = curve.jet(t, pair[0].frame).p;
                    // Rounding of six terms, each at most 15 chords: 2^-46 of the values' size.
                    let eps = (lo.abs() + hi.abs()) * 1.5e-14 * 15.0;
                    prop_assert!(lo - eps <= p && p <= hi + eps, "{p} outside {lo}..{hi}");
                }
            }
        }
    }
}
