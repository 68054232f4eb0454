//! The stage and shot that benches measure with: the axes of fixtures/bench.

#![allow(
    missing_docs,
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "benches"
)]

use movewright::shot::Shape;
use movewright::{Axis, Shot, Stage};

const KEYS: &str = include_str!("../../fixtures/bench/keys.csv");
const LIMITS: &str = include_str!("../../fixtures/bench/limits.csv");

/// The numbers of a table with a header.
fn rows(text: &str) -> Vec<Vec<f64>> {
    text.lines().skip(1).map(|line| line.split(',').map(|cell| cell.parse().unwrap()).collect()).collect()
}

/// The fixture's axes, repeated up to `axes`, over `frames` frames (keys stretched to fit).
pub(crate) fn inputs(axes: usize, frames: i64, shape: Shape) -> (Stage, Shot) {
    let (keys, limits) = (rows(KEYS), rows(LIMITS));
    let n = limits.len();
    let stretch = frames as f64 / 701.0;
    let axis = |i: usize| {
        let l = &limits[i % n];
        let axis = Axis::mm(&format!("a{i}")).travel(-1e6..=1e6).velocity(l[1]).acceleration(l[2]).jerk(l[3]);
        axis.travel_per_rev(200.0 / l[4]).build().unwrap()
    };
    let stage = Stage::builder("bench").group("g", (0..axes).map(axis)).build().unwrap();
    let mut shot = Shot::builder(&stage, "bench", 0..=frames - 1, "24").unwrap();
    for i in 0..axes {
        let own = keys.iter().filter(|k| k[0] as usize == i % n).map(|k| (k[1] * stretch, k[2]));
        shot.track(&format!("g.a{i}")).unwrap().shaped(shape, None, own).unwrap();
    }
    shot.pass("picture").moving(12.0).unwrap();
    let shot = shot.build().unwrap();
    (stage, shot)
}
