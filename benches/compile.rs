//! Compile and check against the usual way: the same keys, the same peaks, in one run.
//!
//! Subject: 56 axes x 12 keys x 700 frames (fixtures/bench) compiled and checked exactly. Rival in this run: the same curves sampled 64
//! times a frame for their peaks, as a table-driven script would. Figures to quote are ratios; DEVELOPERS.md has them with the machine.

#![allow(
    missing_docs,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a bench"
)]

mod inputs;

use std::sync::Arc;

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use inputs::inputs;
use movewright::shot::Shape;
use movewright::{Compiled, Shot, Stage};

fn sampled_peaks(compiled: &Compiled) -> f64 {
    let mut sum = 0.0;
    for name in compiled.stage().axis_names() {
        let axis = compiled.axis(name).unwrap();
        let c = axis.curve();
        let mut peaks = [0.0_f64; 3];
        for piece in c.pieces() {
            let n = ((piece.end - piece.start) * 64.0).ceil();
            let mut i = 0.0;
            while i < n {
                let j = piece.quintic.jet(i / n, piece.length());
                peaks = [peaks[0].max(j.v.abs()), peaks[1].max(j.a.abs()), peaks[2].max(j.j.abs())];
                i += 1.0;
            }
        }
        sum += peaks.iter().sum::<f64>();
    }
    sum
}

fn owned(axes: usize, frames: i64, shape: Shape) -> (Arc<Stage>, Arc<Shot>) {
    let (stage, shot) = inputs(axes, frames, shape);
    (Arc::new(stage), Arc::new(shot))
}

fn compile(c: &mut Criterion) {
    let one = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
    let mut group = c.benchmark_group("compile_and_check");
    for shape in [Shape::MinimumJerk, Shape::NaturalCubic, Shape::Monotone] {
        let (stage, shot) = owned(56, 701, shape);
        group.bench_function(BenchmarkId::new("exact", shape.name()), |b| {
            // The thread itself measures: to wake it for every turn would be measured with it.
            one.install(|| {
                b.iter(|| {
                    let compiled = Compiled::new(Arc::clone(&stage), Arc::clone(&shot)).unwrap();
                    compiled.check().unwrap().passes.len()
                });
            });
        });
    }
    let (stage, shot) = inputs(56, 701, Shape::MinimumJerk);
    let compiled = Compiled::new(stage, shot).unwrap();
    group.bench_function("rival_sampled_64_a_frame", |b| b.iter(|| sampled_peaks(&compiled)));
    group.finish();
}

fn columns(c: &mut Criterion) {
    use movewright::write::Column;
    let mut group = c.benchmark_group("compile_check_columns");
    group.sample_size(10);
    for (axes, frames) in [(1, 700), (10, 700), (56, 700), (500, 700), (56, 100), (56, 10_000), (56, 100_000)] {
        let (stage, shot) = owned(axes, frames, Shape::MinimumJerk);
        group.throughput(Throughput::Elements(axes as u64 * frames as u64));
        group.bench_function(BenchmarkId::from_parameter(format!("{axes}x{frames}")), |b| {
            b.iter(|| {
                let compiled = Compiled::new(Arc::clone(&stage), Arc::clone(&shot)).unwrap();
                let report = compiled.check().unwrap();
                report.over_limits().columns(std::io::sink(), "picture", Column::Steps).unwrap();
                report.passes.len()
            });
        });
    }
    group.finish();
}

criterion_group!(benches, compile, columns);
criterion_main!(benches);
