//! When a mechanism's channel passes from one of its formulas to the next: a knot of the axis.
//!
//! What: every interval between knots is looked at whole, at its ends and at eighths of it; where a bend lies between two neighbouring values, Newton's method in a bracket that
//! shrinks finds the instant. So the knots depend on the signal alone. Invariant: none is closer to another than can matter ([`knots::around`]).
//! Limits: a channel that crosses a bend and comes back within an eighth is not seen; there the fit halves to its shortest piece, and says so.

use super::knots;
use crate::bounds::MOST_KNOTS;
use crate::motion::signal::{Knot, SignalError};
use crate::number::Jet;

/// Parts of an interval at whose ends the channel is asked.
const PARTS: u32 = 8;

/// The knots with the instants at which `value` is one of `bends`, which rise, around a span: see [`super::AxisSignal::knots_around`].
///
/// # Errors
/// More instants than can be meant.
pub(super) fn with_crossings(
    knots: Vec<Knot>,
    bends: &[f64],
    (from, to): (f64, f64),
    value: &dyn Fn(f64, f64) -> Jet,
) -> Result<Vec<Knot>, SignalError> {
    if bends.is_empty() {
        return Ok(knots);
    }
    let mut all = knots.clone();
    for (a, b) in knots.iter().zip(knots.iter().skip(1)) {
        let branch = 0.5 * (a.at + b.at);
        let place = |part: u32| a.at + f64::from(part) / f64::from(PARTS) * (b.at - a.at);
        let mut start = value(a.at, branch).p;
        for part in 0..PARTS {
            let end = value(place(part + 1), branch).p;
            // What is reached at the end of this part counts to it, and what it starts from to the one before.
            let (low, high) = (start.min(end), start.max(end));
            let first = bends.partition_point(|x| *x < low);
            for bend in bends.iter().skip(first).take_while(|x| **x <= high).filter(|x| **x != start) {
                let (from, to) = (place(part), place(part + 1));
                let at = if *bend == end { to } else { crossing((from, to), end > start, &|t| value(t, branch), *bend) };
                all.push(Knot { at, key: false, is_break: false });
            }
            if all.len() > MOST_KNOTS {
                return Err(SignalError::TooManyKnots { most: MOST_KNOTS });
            }
            start = end;
        }
    }
    Ok(knots::around(all, from, to))
}

/// The instant in a bracket at which the value is `bend`.
fn crossing((mut lo, mut hi): (f64, f64), rises: bool, value: &dyn Fn(f64) -> Jet, bend: f64) -> f64 {
    let mut t = 0.5 * (lo + hi);
    for _ in 0..60 {
        let at = value(t);
        if (at.p > bend) == rises {
            hi = t
        } else {
            lo = t
        }
        let next = t - (at.p - bend) / at.v;
        let next = if lo < next && next < hi { next } else { 0.5 * (lo + hi) };
        if next == t || !(lo < next && next < hi) {
            break;
        }
        t = next;
    }
    t
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    /// A value of t^2 passes 4, 25 and 81 at 2, 5 and 9; 100 is its end and 121 beyond.
    #[test]
    fn instants_are_found_and_do_not_depend_on_the_span() {
        let knot = |at: f64| Knot { at, key: true, is_break: false };
        let square = |t: f64, _: f64| Jet::time(t) * Jet::time(t);
        let found = |from: f64, to: f64| -> Vec<f64> {
            let knots = [0.0, 10.0, 20.0].map(knot).to_vec();
            with_crossings(knots, &[4.0, 25.0, 81.0, 100.0, 121.0], (from, to), &square).unwrap().iter().map(|k| k.at).collect()
        };
        let all = found(0.0, 10.0);
        assert_eq!(all.len(), 6, "{all:?}");
        for (found, at) in all.iter().zip([0.0, 2.0, 5.0, 9.0, 10.0, 11.0]) {
            assert!((found - at).abs() <= 1e-14 * at, "{all:?}");
        }
        assert_eq!(found(3.0, 4.0), all.get(1..4).unwrap());
        let plain = with_crossings([0.0, 10.0].map(knot).to_vec(), &[], (0.0, 10.0), &square).unwrap();
        assert_eq!(plain.len(), 2);
    }
}
