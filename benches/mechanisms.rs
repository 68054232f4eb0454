//! What bodies, lights and passes cost: the check of the demo as a share of compiling it, in one run.
//!
//! Subject: the whole check of the demo: programs of three passes, clearance, registration, pixels, trials of paces. Rival in this run: compiling the
//! demo. The ratio is in DEVELOPERS.md, with the machine.

#![allow(missing_docs, clippy::unwrap_used, reason = "a bench")]

use std::path::Path;
use std::sync::Arc;

use criterion::{Criterion, criterion_group, criterion_main};
use movewright::{Compiled, input};

fn demo(c: &mut Criterion) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/herons/shot.toml");
    let loaded = input::load(&path).unwrap();
    let (stage, shot) = (Arc::new(loaded.stage), Arc::new(loaded.shot));
    let compiled = Compiled::new(Arc::clone(&stage), Arc::clone(&shot)).unwrap();
    let one = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
    let mut group = c.benchmark_group("herons");
    group.sample_size(20);
    group.bench_function("compile", |b| {
        b.iter(|| one.install(|| Compiled::new(Arc::clone(&stage), Arc::clone(&shot)).unwrap().stage().axes().len()))
    });
    group.bench_function("check", |b| b.iter(|| one.install(|| compiled.check().unwrap().passes.len())));
    group.finish();
}

criterion_group!(benches, demo);
criterion_main!(benches);
