//! Run-up and run-down: how a pass comes from rest into the first exposure, and from the last one to rest.
//!
//! What: where a curve is moving at the edge of the photographed span, it is joined to rest by the piece that meets its position, velocity and
//! acceleration at the edge and stands still, with no acceleration, at the other end. Of the quintics that do so, which differ in
//! where they come to rest, the one with the least integral of squared jerk is taken: its velocity is the cubic through both ends,
//! so its place of rest is L (v/2 - a L/12) before the edge. (D: with the resting place free, the fifth derivative is zero.)
//! Invariant: the length is a whole number of frames, one for all axes and all passes, so that the whole path is one curve.

use core::cell::Cell;

use crate::motion::quintic::{Node, Quintic};
use crate::motion::{Extreme, Peaks};

/// Which edge of the photographed span.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Edge {
    /// Before the first exposure.
    RunUp,
    /// After the last exposure.
    RunDown,
}

impl Edge {
    /// `run-up` or `run-down`.
    #[must_use]
    pub(crate) fn name(self) -> &'static str {
        match self {
            Edge::RunUp => "run-up",
            Edge::RunDown => "run-down",
        }
    }
}

/// The piece, `frames` long, that joins the node at the edge to rest.
#[must_use]
pub(crate) fn piece(edge: Edge, node: Node, frames: f64) -> Quintic {
    let (v, a) = (node.v * frames, node.a * frames * frames);
    if v == 0.0 && a == 0.0 {
        return Quintic::hold(node.p);
    }
    match edge {
        // Velocity over the run-up, per piece: (3v - a) u^2 + (a - 2v) u^3.
        Edge::RunUp => {
            let (c3, c4) = ((3.0 * v - a) / 3.0, (a - 2.0 * v) / 4.0);
            Quintic([node.p - (c3 + c4), 0.0, 0.0, c3, c4, 0.0])
        }
        // Velocity over the run-down: v + a u - (3v + 2a) u^2 + (2v + a) u^3.
        Edge::RunDown => Quintic([node.p, v, 0.5 * a, -(3.0 * v + 2.0 * a) / 3.0, (2.0 * v + a) / 4.0, 0.0]),
    }
}

/// True where an axis stands at the edge: what it moves in a frame is below 2^-20 of a step.
///
/// That is a millionth of what the motor can do at all; the one predicate for "does not move" at an edge.
#[must_use]
pub(crate) fn stands(node: Node, steps_per_unit: f64) -> bool {
    node.v.abs() * steps_per_unit < NOTHING && node.a.abs() * steps_per_unit < NOTHING
}

/// Steps per frame below which an axis stands: 2^-20.
pub(crate) const NOTHING: f64 = 1.0 / 1_048_576.0;

/// What is known of the extremes of [`piece`] without looking for them. No instants are known.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bounds {
    /// At least these are reached: at the ends, and half-way.
    pub(super) reached: Peaks,
    /// These are never exceeded: the hulls of the Bernstein coefficients.
    pub(super) never_left: Peaks,
}

/// Bounds of the piece, apart by more than the rounding of what they bound.
pub(super) fn bounds(edge: Edge, node: Node, frames: f64) -> Bounds {
    // A run-down is a run-up backwards. Coefficients of the velocity: 0, 0, inner, v.
    let v = if edge == Edge::RunUp { node.v } else { -node.v };
    let (h, a) = (frames, node.a * frames);
    let inner = v - a / 3.0;
    let quarter = 0.25 * h;
    let (rest, last) = (quarter * (inner + v), quarter * v);
    let rounding = APART * (node.p.abs() + rest.abs() + last.abs());
    let no_instant = |value: f64| Extreme { value, at: f64::NAN };
    let least = |a: f64, b: f64| no_instant((1.0 - APART) * a.abs().max(b.abs()));
    let most = |a: f64, b: f64| no_instant((1.0 + APART) * a.abs().max(b.abs()));
    let (first_jerk, last_jerk) = (6.0 * inner / (h * h), (4.0 * a - 6.0 * v) / (h * h));
    Bounds {
        reached: Peaks {
            least: no_instant(node.p - rest.max(0.0) + rounding),
            greatest: no_instant(node.p - rest.min(0.0) - rounding),
            velocity: least(v, 0.0),
            acceleration: least((1.5 * v - 0.25 * a) / h, a / h),
            jerk: least(first_jerk, last_jerk),
        },
        never_left: Peaks {
            least: no_instant(node.p - rest.max(last).max(0.0) - rounding),
            greatest: no_instant(node.p - rest.min(last).min(0.0) + rounding),
            velocity: most(inner, v),
            acceleration: most(3.0 * inner / h, a / h),
            jerk: most(first_jerk, last_jerk),
        },
    }
}

/// By which share bounds are apart from what is computed: some thousand roundings.
const APART: f64 = 1e-12;

/// What is known of a length before it is looked for.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Known {
    /// No shorter one will do, at least 1.
    pub(crate) least: u32,
    /// This one will.
    pub(crate) will_do: Option<u32>,
}

impl Known {
    /// Nothing is known.
    pub(crate) const NOTHING: Known = Known { least: 1, will_do: None };
}

/// The smallest whole number of frames from 1 to `most` that every axis can do, and, where there is none, the number at which the fewest
/// cannot. `can(axis, frames)` answers for one axis; `axes` counts them. `suspect` is the axis asked first: the one that failed last.
pub(super) fn shortest(axes: usize, most: u32, known: Known, suspect: &Cell<usize>, can: &dyn Fn(usize, u32) -> bool) -> (u32, Vec<usize>) {
    let mut fewest: Option<(u32, usize)> = None;
    for frames in known.least.max(1)..=most {
        if known.will_do == Some(frames) {
            return (frames, Vec::new());
        }
        let asked = suspect.get();
        if can(asked, frames) {
            match (0..axes).find(|i| *i != asked && !can(*i, frames)) {
                None => return (frames, Vec::new()),
                Some(i) => suspect.set(i),
            }
        }
        // Counting all is dear; once in a while is enough to choose where to stop.
        if frames.is_power_of_two() || frames == most {
            let failing = (0..axes).filter(|i| !can(*i, frames)).count();
            if fewest.is_none_or(|(_, n)| failing < n) {
                fewest = Some((frames, failing));
            }
        }
    }
    if known.least > 1 {
        return shortest(axes, most, Known::NOTHING, suspect, can);
    }
    let frames = fewest.map_or(1, |(f, _)| f);
    (frames, (0..axes).filter(|i| !can(*i, frames)).collect())
}

#[cfg(test)]
#[allow(clippy::indexing_slicing, reason = "tests")]
mod tests {
    use super::*;
    use crate::motion::curve::Piece;
    use proptest::prelude::*;

    #[test]
    fn the_piece_rests_at_one_end_and_meets_the_edge_at_the_other() {
        let node = Node { p: 100.0, v: 3.0, a: -0.25 };
        let h = 7.0;
        let up = piece(Edge::RunUp, node, h);
        let (s, e) = (up.jet(0.0, h), up.jet(1.0, h));
        assert_eq!((s.v, s.a), (0.0, 0.0));
        assert!((s.p - (100.0 - h * (1.5 + 0.25 * h / 12.0))).abs() < 1e-12);
        assert!((e.p - 100.0).abs() < 1e-12 && (e.v - 3.0).abs() < 1e-14 && (e.a + 0.25).abs() < 1e-14);
        let down = piece(Edge::RunDown, node, h);
        let (s, e) = (down.jet(0.0, h), down.jet(1.0, h));
        assert_eq!((s.p, s.v, s.a), (100.0, 3.0, -0.25));
        assert!(e.v.abs() < 1e-14 && e.a.abs() < 1e-14);
    }

    #[test]
    fn a_run_down_is_a_run_up_backwards() {
        let h = 5.0;
        let up = piece(Edge::RunUp, Node { p: 2.0, v: 1.0, a: 0.5 }, h);
        let down = piece(Edge::RunDown, Node { p: 2.0, v: -1.0, a: 0.5 }, h);
        for i in 0..=10 {
            let u = f64::from(i) / 10.0;
            assert!((up.at(u) - down.at(1.0 - u)).abs() < 1e-14);
        }
    }

    #[test]
    fn the_shortest_length_that_all_can_do_is_found() {
        let found = |axes, most, known, can: &dyn Fn(usize, u32) -> bool| shortest(axes, most, known, &Cell::new(0), can);
        let three = |i: usize, n: u32| n >= [3, 17, 5].get(i).copied().unwrap_or(0);
        assert_eq!(found(3, 100, Known::NOTHING, &three), (17, vec![]));
        for (least, will_do) in [(1, Some(40)), (12, None), (17, Some(17)), (16, Some(17))] {
            assert_eq!(found(3, 100, Known { least, will_do }, &three), (17, vec![]), "{least} {will_do:?}");
        }
        let stuck = |i: usize, n: u32| i == 0 && n > 2;
        assert_eq!(found(2, 64, Known::NOTHING, &stuck).1, vec![1]);
        assert_eq!(found(2, 64, Known { least: 7, will_do: None }, &stuck), found(2, 64, Known::NOTHING, &stuck));
    }

    proptest! {
        #[test]
        fn extremes_lie_between_bounds_that_are_not_far(p in -1e3..1e3_f64, v in -10.0..10.0_f64, a in -1.0..1.0_f64, frames in 1_u32..200) {
            let (node, h) = (Node { p, v, a }, f64::from(frames));
            for edge in [Edge::RunUp, Edge::RunDown] {
                let quintic = piece(edge, node, h);
                let exact = Peaks::of_piece(&Piece { index: 0, start: 0.0, end: h, quintic: &quintic });
                let Bounds { reached, never_left } = bounds(edge, node, h);
                for [inner, outer] in [[reached, exact], [exact, never_left]] {
                    prop_assert!(outer.least.value <= inner.least.value && inner.greatest.value <= outer.greatest.value);
                }
                let widths = [exact, never_left].map(|p| p.greatest.value - p.least.value);
                prop_assert!(widths[1] <= 4.0 * widths[0] + 1e-8, "{widths:?}");
                for of in [|p: &Peaks| p.velocity.value, |p: &Peaks| p.acceleration.value, |p: &Peaks| p.jerk.value] {
                    let [least, is, most] = [reached, exact, never_left].map(|p| of(&p));
                    prop_assert!(least <= is && is <= most && most <= 4.0 * is, "{least} {is} {most}");
                }
            }
        }
    }
}
