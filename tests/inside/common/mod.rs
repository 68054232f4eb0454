//! Stages and shots built in code, for the tests of the public surface.

pub mod bodies;
pub mod dense;
pub mod folder;
pub mod inputs;
pub mod json_schema;
pub mod random_shot;

use movewright::check::{PassReport, Report, words};
use movewright::compile::Compiled;
use movewright::motion::curve::Curve;
use movewright::output::columns::{self, Column};
use movewright::shot::{Copy, Cycle, Drift, Exposure, Key, Pass, Shape, Shot, ShotSpec, Track};
use movewright::stage::{Axis, AxisId, AxisSpec, GroupId, GroupSpec, Stage, Unit};
use movewright::time::{FrameRate, FrameSpan, Timecode};
use proptest::prelude::*;

/// Layers of one axis, in code.
#[derive(Debug, Clone, Default)]
pub struct Program {
    pub tracks: Vec<(Shape, Option<f64>, Vec<(f64, f64)>)>,
    pub cycles: Vec<CycleSpec>,
    pub drifts: Vec<(i64, f64, f64)>,
}

#[derive(Debug, Clone)]
pub struct CycleSpec {
    pub period: f64,
    pub phase: f64,
    pub keys: Vec<(f64, f64)>,
    pub amount: Vec<(f64, f64)>,
    pub rate: Vec<(f64, f64)>,
}

pub fn keys(pairs: &[(f64, f64)]) -> Vec<Key> {
    pairs.iter().map(|(f, v)| Key::new(*f, *v)).collect()
}

/// An axis with generous limits: 100 steps a millimetre.
pub fn axis(name: &str) -> AxisSpec {
    let mut s = AxisSpec::new(name, Unit::Millimetre, [-1e6, 1e6], [1e5, 1e5, 1e5]);
    s.drive.travel_per_rev = 2.0;
    s
}

pub fn stage(axes: Vec<AxisSpec>) -> Stage {
    let axes = axes.into_iter().map(|a| Axis::new(a).unwrap()).collect();
    Stage::new("marsh", 0.25, vec![GroupSpec { name: "heron".into(), axes }]).unwrap()
}

pub fn moving(stage: &Stage, name: &str, pace: f64) -> Pass {
    Pass::new(stage, name, Exposure::Moving, pace, 180.0, 0.0, vec![]).unwrap()
}

/// Programs belong to the stage's channels in the order of `channel_names`: axes of their own first, then what mechanisms bring.
pub fn shot(stage: &Stage, frames: (i64, i64), programs: &[Program], passes: Vec<Pass>) -> Shot {
    shot_with(stage, frames, programs, passes, vec![])
}

pub fn shot_with(stage: &Stage, frames: (i64, i64), programs: &[Program], passes: Vec<Pass>, copies: Vec<Copy>) -> Shot {
    assert!(programs.len() <= stage.channel_names().len(), "a program without a channel");
    let rate = FrameRate::parse("24").unwrap();
    let mut spec = ShotSpec {
        name: "reeds".into(),
        frame_rate: rate,
        frames: FrameSpan::new(frames.0, frames.1).unwrap(),
        timecode_start: Timecode::from_count(0, rate),
        tracks: vec![],
        cycles: vec![],
        drifts: vec![],
        copies,
        passes,
    };
    for (p, name) in programs.iter().zip(stage.channel_names()) {
        let c = stage.channel(name).unwrap();
        for (shape, blend, k) in &p.tracks {
            spec.tracks.push(Track::new(c, *shape, *blend, keys(k)).unwrap());
        }
        for y in &p.cycles {
            spec.cycles.push(Cycle::new(c, y.period, y.phase, keys(&y.keys), keys(&y.amount), keys(&y.rate)).unwrap());
        }
        for (seed, amplitude, period) in &p.drifts {
            spec.drifts.push(Drift::new(c, *seed, *amplitude, *period).unwrap());
        }
    }
    Shot::new(stage, spec).unwrap()
}

pub fn compiled(stage: &Stage, shot: &Shot) -> Compiled {
    Compiled::new(stage.clone(), shot.clone()).unwrap()
}

pub fn checked(stage: &Stage, shot: &Shot) -> Report {
    compiled(stage, shot).check().unwrap()
}

/// The axis at this place in stage order.
pub fn axis_at(stage: &Stage, index: usize) -> AxisId {
    stage.axis_ids().nth(index).unwrap()
}

/// The group at this place in stage order.
pub fn group_at(stage: &Stage, index: usize) -> GroupId {
    stage.group_ids().nth(index).unwrap()
}

/// The curve of the axis at this place in stage order.
pub fn curve(compiled: &Compiled, index: usize) -> &Curve {
    compiled.axes()[axis_at(compiled.stage(), index)].curve()
}

/// The sentence of every violation of a pass.
pub fn violations(pass: &PassReport) -> Vec<String> {
    pass.violations.iter().map(|v| words::violation(pass.program.compiled(), v)).collect()
}

/// The sentence of every fix of the first violation of a pass.
pub fn fixes(pass: &PassReport) -> Vec<String> {
    let v = &pass.violations[0];
    v.fixes.iter().map(|f| words::fix(pass.program.compiled(), v, f)).collect()
}

pub fn table(compiled: &Compiled, pass: usize, column: Column) -> String {
    let mut out = Vec::new();
    columns::write(&mut out, compiled, &compiled.shot().passes()[pass], column).unwrap();
    String::from_utf8(out).unwrap()
}

/// One column of a written table, without its header.
pub fn column(table: &str, name: &str) -> Vec<String> {
    let mut lines = table.lines();
    let at = lines.next().unwrap().split(',').position(|h| h == name).unwrap();
    lines.map(|l| l.split(',').nth(at).unwrap().to_owned()).collect()
}

pub fn any_keys(span: f64) -> impl Strategy<Value = Vec<(f64, f64)>> {
    prop::collection::vec((2.0..60.0_f64, -400.0..400.0_f64), 1..9).prop_map(move |steps| {
        let total: f64 = steps.iter().map(|s| s.0).sum();
        let mut frame = 0.0;
        // Whole frames, so that a key's value can be looked for on a frame of its own.
        steps
            .iter()
            .map(|(d, v)| {
                frame += (d / total * span).max(3.0);
                (frame.round(), *v)
            })
            .collect()
    })
}

pub fn any_shape() -> impl Strategy<Value = Shape> {
    prop::sample::select(Shape::ALL.iter().map(|s| s.1).collect::<Vec<_>>())
}

pub fn any_cycle() -> impl Strategy<Value = CycleSpec> {
    (
        6.0..60.0_f64,
        0.0..1.0_f64,
        prop::collection::vec(-40.0..40.0_f64, 1..5),
        prop::option::of(0.0..2.0_f64),
        prop::option::of(0.3..2.0_f64),
    )
        .prop_map(|(period, phase, values, amount, rate)| {
            let n = values.len() as f64;
            CycleSpec {
                period,
                phase,
                keys: values.iter().enumerate().map(|(i, v)| (i as f64 / n * 0.97, *v)).collect(),
                amount: amount.map_or(vec![], |a| vec![(5.0, 0.0), (40.0, a), (110.0, 1.0)]),
                rate: rate.map_or(vec![], |r| vec![(10.0, 1.0), (90.0, r)]),
            }
        })
}

pub fn any_program() -> impl Strategy<Value = Program> {
    (
        prop::collection::vec((any_shape(), any_keys(110.0)), 0..3),
        prop::collection::vec(any_cycle(), 0..2),
        prop::collection::vec((0..1000_i64, 0.1..20.0_f64, 20.0..90.0_f64), 0..2),
    )
        .prop_map(|(tracks, cycles, drifts)| Program {
            tracks: tracks.into_iter().map(|(s, k)| (s, None, k)).collect(),
            cycles,
            drifts,
        })
}
