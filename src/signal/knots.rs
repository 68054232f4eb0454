//! Where a signal's formula changes, and the intervals between these knots that a span needs.
//!
//! What: every layer gives its knots within a span and a few to either side; the union, in rising order, none closer together than can matter. Before the first and
//! after the last knot of all a signal goes on for ever by one formula: there it is cut `FIRST_STRIDE` frames from that knot, then after twice as many, and so on.
//! Invariant: the intervals depend on the signal alone. Two spans that share an instant find it in the same interval, its ends the same to the last bit.
//! For that a layer's knots are computed without the span, and those that merge are found from a gap before them: whatever could merge with a knot next to
//! the span lies within 1e-5 frames of it or of what merges with it, far less than the part of a period that every layer gives beyond the span.

use crate::motion::signal::Knot;

/// Knots closer than this are one (frames): two computations of the same instant, such as a beat that falls on a key.
/// What a step in jerk does within it is 1e-5 of itself at most, a hundredth of the fit's tolerance.
const SAME_INSTANT: f64 = 1e-5;

/// Length of the first interval beyond the last knot, frames.
const FIRST_STRIDE: f64 = 16.0;

/// Distances from the last knot of all at which what goes on for ever is cut: 16, 48, 112, ... frames.
pub(crate) fn strides() -> impl Iterator<Item = f64> {
    let next = |(stride, reached): &(f64, f64)| Some((2.0 * stride, reached + 2.0 * stride));
    core::iter::successors(Some((FIRST_STRIDE, FIRST_STRIDE)), next).map(|(_, reached)| reached)
}

/// Knots of everything an axis hangs on, in rising order: the first is the last at or before `from`, the last but one is the first at or after `to`.
pub(super) fn around(mut all: Vec<Knot>, from: f64, to: f64) -> Vec<Knot> {
    if all.is_empty() {
        all.push(Knot { at: 0.0, key: false, is_break: false });
    }
    all.sort_by(|a, b| a.at.total_cmp(&b.at));
    let mut kept = thinned(&all);
    let plain = |at| Knot { at, key: false, is_break: false };
    if let Some(first) = kept.first().map(|k| k.at).filter(|first| from < *first) {
        let mut before: Vec<Knot> = Vec::new();
        for reach in strides() {
            before.push(plain(first - reach));
            if !(from < first - reach) {
                break;
            }
        }
        before.reverse();
        before.append(&mut kept);
        kept = before;
    }
    if let Some(last) = kept.last().map(|k| k.at) {
        let mut beyond = strides();
        while kept.iter().rev().take(2).filter(|k| to <= k.at).count() < 2 {
            let Some(reach) = beyond.next() else { break };
            kept.push(plain(last + reach));
        }
    }
    let first = kept.partition_point(|k| k.at <= from).saturating_sub(1);
    let end = kept.partition_point(|k| k.at < to) + 2;
    kept.truncate(end);
    kept.drain(..first);
    kept
}

fn thinned(sorted: &[Knot]) -> Vec<Knot> {
    let mut kept: Vec<Knot> = Vec::with_capacity(sorted.len());
    for knot in sorted {
        match kept.last_mut() {
            Some(last) if knot.at - last.at < SAME_INSTANT && !(knot.key && last.key && knot.at > last.at) => {
                let is_break = last.is_break || knot.is_break;
                if knot.key && !last.key {
                    *last = *knot;
                }
                last.is_break = is_break;
            }
            _ => kept.push(*knot),
        }
    }
    kept
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    fn knot(at: f64, key: bool) -> Knot {
        Knot { at, key, is_break: false }
    }

    fn times(others: &[Knot], from: f64, to: f64) -> Vec<f64> {
        around(others.to_vec(), from, to).iter().map(|k| k.at).collect()
    }

    #[test]
    fn the_intervals_of_a_span_are_whole_and_one_knot_follows_them() {
        let keys = [0.0, 10.0, 20.0, 30.0, 40.0].map(|at| knot(at, true));
        assert_eq!(times(&keys, 12.0, 13.0), [10.0, 20.0, 30.0]);
        assert_eq!(times(&keys, 10.0, 20.0), [10.0, 20.0, 30.0]);
        assert_eq!(times(&keys, 9.5, 20.5), [0.0, 10.0, 20.0, 30.0, 40.0]);
    }

    #[test]
    fn beyond_the_last_knot_intervals_double_and_do_not_depend_on_the_span() {
        let keys = [0.5, 10.0].map(|at| knot(at, true));
        assert_eq!(times(&keys, 5.0, 30.0), [0.5, 10.0, 26.0, 58.0, 122.0]);
        assert_eq!(times(&keys, 60.0, 61.0), [58.0, 122.0, 250.0]);
        assert_eq!(times(&keys, -100.0, -60.0), [-111.5, -47.5, -15.5]);
        assert_eq!(times(&keys, -15.5, 0.5), [-15.5, 0.5, 10.0]);
        // Without a knot they are counted from frame 0.
        assert_eq!(times(&[], 5.0, 20.0), [0.0, 16.0, 48.0, 112.0]);
    }

    #[test]
    fn two_computations_of_an_instant_are_one_knot_and_a_key_wins() {
        let near = [
            knot(10.0 - 1e-9, false),
            knot(10.0, true),
            knot(10.0 + 2e-9, false),
            knot(20.0, true),
            knot(20.0 + 1e-7, true),
            knot(30.0, true),
        ];
        assert_eq!(times(&near, 12.0, 19.0), [10.0, 20.0, 20.0 + 1e-7]);
    }
}
