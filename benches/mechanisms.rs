//! What bodies cost: forward kinematics and clearance of the demo as a share of compiling it, in one run.
//!
//! Subject: every body's pose at shutter open, middle and close of every frame, and the clearance of each distinct pass. Rival in this run: compiling the
//! demo. The ratios stand in DEVELOPERS.md with the machine.

#![allow(missing_docs, clippy::unwrap_used, reason = "a bench")]

use std::path::Path;
use std::sync::Arc;

use criterion::{Criterion, criterion_group, criterion_main};
use movewright::check::{clearance::clearance, pixels::pixels, register::register};
use movewright::program::Program;
use movewright::time::FrameTime;
use movewright::{Compiled, input};

fn demo(c: &mut Criterion) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/herons/shot.toml");
    let loaded = input::load(&path).unwrap();
    let (stage, shot) = (Arc::new(loaded.stage), Arc::new(loaded.shot));
    let compiled = Compiled::new(Arc::clone(&stage), Arc::clone(&shot)).unwrap();
    let programs = Program::all(&compiled).unwrap();
    let all: Vec<&Program> = programs.iter().map(AsRef::as_ref).collect();
    let one = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
    let mut group = c.benchmark_group("herons");
    group.sample_size(20);
    group.bench_function("compile", |b| {
        b.iter(|| one.install(|| Compiled::new(Arc::clone(&stage), Arc::clone(&shot)).unwrap().axes().len()))
    });
    group.bench_function("kinematics", |b| {
        b.iter(|| {
            let mut sum = 0.0;
            for frame in shot.frames().frames() {
                for body in stage.bodies() {
                    for offset in [-0.25, 0.0, 0.25] {
                        sum += compiled.pose_at(None, body, FrameTime(FrameTime::of_frame(frame).0 + offset)).unwrap().position.x;
                    }
                }
            }
            sum
        });
    });
    for program in &all {
        group.bench_function(format!("clearance_{}", program.pass().name()), |b| {
            b.iter(|| one.install(|| clearance(program).is_some()));
        });
    }
    group.bench_function("pixels", |b| b.iter(|| pixels(&compiled).len()));
    group.bench_function("register", |b| b.iter(|| one.install(|| register(&all).pairs.len())));
    group.bench_function("check", |b| b.iter(|| one.install(|| compiled.check().unwrap().passes.len())));
    group.finish();
}

criterion_group!(benches, demo);
criterion_main!(benches);
