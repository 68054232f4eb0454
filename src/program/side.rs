//! The side from which an axis comes to a place: there the play of its gears lies.
//!
//! Invariant: directions are those of the curve itself, between roots of its velocity; nothing is sampled.

use crate::compile::{AxisMove, Direction};
use crate::motion::Quintic;
use crate::motion::bernstein::roots;
use crate::motion::curve::Curve;

/// The way the axis first moves.
pub(super) fn first_direction(m: &AxisMove) -> Option<Direction> {
    m.curve().pieces().find(|p| !p.quintic.is_hold()).map(|p| {
        // The first coefficient after the position that is not zero leads the motion away from rest.
        let [_, rest @ ..] = p.quintic.0;
        let lead = rest.into_iter().find(|c| *c != 0.0).unwrap_or(0.0);
        if lead > 0.0 { Direction::Up } else { Direction::Down }
    })
}

/// The way a curve moved last before `t`.
pub(super) fn before(curve: &Curve, t: f64) -> Option<Direction> {
    let pieces: Vec<_> = curve.pieces().take_while(|p| p.start < t).collect();
    pieces.iter().rev().find_map(|p| last(p.quintic, ((t - p.start) / p.length()).min(1.0)))
}

/// The way a piece moves last before the part `until` of it.
fn last(quintic: &Quintic, until: f64) -> Option<Direction> {
    let [v0, v1, v2, v3, v4] = quintic.velocity();
    let mut cuts = vec![0.0];
    roots([v0, v1, v2, v3, v4], &mut |u| cuts.push(u));
    cuts.retain(|u| *u < until);
    cuts.push(until);
    let at = |u: f64| v0 + u * (v1 + u * (v2 + u * (v3 + u * v4)));
    cuts.iter().zip(cuts.iter().skip(1)).rev().find_map(|(a, b)| Direction::of(at(0.5 * (a + b))))
}
