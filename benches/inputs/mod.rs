//! The stage and shot that benches measure with: the axes of fixtures/bench.

#![allow(
    missing_docs,
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "benches"
)]

use movewright::shot::{Exposure, Key, Pass, Shape, Shot, ShotSpec, Track};
use movewright::stage::{Axis, AxisSpec, GroupSpec, Stage, Unit};
use movewright::time::{FrameRate, FrameSpan, Timecode};

fn fixture(name: &str) -> Vec<Vec<f64>> {
    let path = format!("{}/fixtures/bench/{name}", env!("CARGO_MANIFEST_DIR"));
    let mut rows = csv::Reader::from_path(path).unwrap();
    rows.records().map(|r| r.unwrap().iter().map(|c| c.parse().unwrap()).collect()).collect()
}

/// The fixture's axes, repeated up to `axes`, over `frames` frames (keys stretched to fit).
pub(crate) fn inputs(axes: usize, frames: i64, shape: Shape) -> (Stage, Shot) {
    let (keys, limits) = (fixture("keys.csv"), fixture("limits.csv"));
    let n = limits.len();
    let stretch = frames as f64 / 701.0;
    let mut specs = Vec::new();
    for i in 0..axes {
        let l = &limits[i % n];
        let mut s = AxisSpec::new(&format!("a{i}"), Unit::Millimetre, [-1e6, 1e6], [l[1], l[2], l[3]]);
        s.drive.travel_per_rev = 200.0 / l[4];
        specs.push(Axis::new(s).unwrap());
    }
    let stage = Stage::new("bench", 1.0, vec![GroupSpec { name: "g".into(), axes: specs }]).unwrap();
    let tracks = (0..axes)
        .map(|i| {
            let own = keys.iter().filter(|k| k[0] as usize == i % n).map(|k| Key::new(k[1] * stretch, k[2])).collect();
            Track::new(stage.channel(&format!("g.a{i}")).unwrap(), shape, None, own).unwrap()
        })
        .collect();
    let rate = FrameRate::parse("24").unwrap();
    let spec = ShotSpec {
        name: "bench".into(),
        frame_rate: rate,
        frames: FrameSpan::new(0, frames - 1).unwrap(),
        timecode_start: Timecode::from_count(0, rate),
        tracks,
        cycles: vec![],
        drifts: vec![],
        copies: vec![],
        passes: vec![Pass::new(&stage, "picture", Exposure::Moving, 12.0, 180.0, 0.0, vec![]).unwrap()],
    };
    let shot = Shot::new(&stage, spec).unwrap();
    (stage, shot)
}
