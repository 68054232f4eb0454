//! What bodies cost: forward kinematics and clearance of the demo as a share of compiling it, in one run.
//!
//! Subject: every body's pose at shutter open, middle and close of every frame, and the clearance of each distinct pass. Rival in this run: compiling the
//! demo. The ratios stand in DEVELOPERS.md with the machine.

#![allow(missing_docs, clippy::unwrap_used, clippy::indexing_slicing, reason = "a bench")]

use std::path::Path;

use criterion::{Criterion, criterion_group, criterion_main};
use movewright::check::{check, clearance::clearance, pixels::pixels, register::register};
use movewright::compile::{Move, frame_time};
use movewright::input;

fn demo(c: &mut Criterion) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/herons/shot.toml");
    let loaded = input::load(&path).unwrap();
    let (stage, shot) = (&loaded.stage, &loaded.shot);
    let mv = Move::compile(stage, shot).unwrap();
    let one = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
    let mut group = c.benchmark_group("herons");
    group.sample_size(20);
    group.bench_function("compile", |b| b.iter(|| one.install(|| Move::compile(stage, shot).unwrap().axes().len())));
    group.bench_function("kinematics", |b| {
        b.iter(|| {
            let mut sum = 0.0;
            for frame in shot.frames().frames() {
                for body in stage.bodies() {
                    for offset in [-0.25, 0.0, 0.25] {
                        sum += mv.pose_at(stage, None, body, frame_time(frame) + offset).unwrap().unwrap().position.x;
                    }
                }
            }
            sum
        });
    });
    for (i, pass) in shot.passes().iter().enumerate() {
        group.bench_function(format!("clearance_{}", pass.name()), |b| {
            b.iter(|| one.install(|| clearance(stage, shot, &mv, &shot.passes()[i]).is_some()));
        });
    }
    group.bench_function("pixels", |b| b.iter(|| pixels(stage, shot, &mv).len()));
    group.bench_function("register", |b| b.iter(|| one.install(|| register(stage, shot, &mv).pairs.len())));
    group.bench_function("check", |b| b.iter(|| one.install(|| check(stage, shot, &mv, &[]).passes.len())));
    group.finish();
}

criterion_group!(benches, demo);
criterion_main!(benches);
