//! Small stages and shots for the tests of the checks.
//!
//! Invariant: what a test does not ask for is as plain as it can be: 24 frames/s, no layers but tracks, a shutter of 180 deg.

use crate::compile::Compiled;
use crate::shot::{Exposure, Key, Pass, Shape, Shot, ShotSpec, Track};
use crate::stage::{Axis, AxisSpec, GroupSpec, Stage};
use crate::time::{FrameRate, FrameSpan, Timecode};

/// A group of axes.
pub(crate) fn group(name: &str, axes: Vec<AxisSpec>) -> GroupSpec {
    GroupSpec { name: name.into(), axes: axes.into_iter().map(|a| Axis::new(a).unwrap()).collect() }
}

/// A stage of one group.
pub(crate) fn stage(name: &str, axes: Vec<AxisSpec>) -> Stage {
    Stage::new("marsh", 1.0, vec![group(name, axes)]).unwrap()
}

/// A pass with everything live.
pub(crate) fn pass(stage: &Stage, name: &str, exposure: Exposure, seconds_per_frame: f64) -> Pass {
    Pass::new(stage, name, exposure, seconds_per_frame, 180.0, 0.0, vec![]).unwrap()
}

/// A track of keys on a channel.
pub(crate) fn track(stage: &Stage, channel: &str, shape: Shape, keys: &[(f64, f64)]) -> Track {
    let keys = keys.iter().map(|(frame, value)| Key::new(*frame, *value)).collect();
    Track::new(stage.channel(channel).unwrap(), shape, None, keys).unwrap()
}

/// Compiled.
pub(crate) fn compiled(stage: Stage, (first, last): (i64, i64), tracks: Vec<Track>, passes: Vec<Pass>) -> Compiled {
    let rate = FrameRate::parse("24").unwrap();
    let spec = ShotSpec {
        name: "test".into(),
        frame_rate: rate,
        frames: FrameSpan::new(first, last).unwrap(),
        timecode_start: Timecode::from_count(0, rate),
        tracks,
        cycles: vec![],
        drifts: vec![],
        copies: vec![],
        passes,
    };
    let shot = Shot::new(&stage, spec).unwrap();
    Compiled::new(stage, shot).unwrap()
}
