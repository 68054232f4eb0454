//! The ledger: each subject once under callgrind, its instructions counted. `.ci/ledger` runs it and holds the counts against DEVELOPERS.md.
//!
//! The name of a case is the unit, its argument their number: the script divides by it. What a subject takes and makes is handed out again, so that
//! it is dropped uncounted.

use std::hint::black_box;
use std::path::PathBuf;

use gungraun::Callgrind;
use gungraun::prelude::*;
use ledger::{Comparison, Compiled, Logs, Marked, Parts, Report};

#[library_benchmark]
#[bench::key(args = (672), setup = ledger::resting)]
fn compile_resting(parts: Parts) -> Compiled {
    black_box(ledger::compiled(black_box(parts)))
}

#[library_benchmark]
#[bench::key(args = (672), setup = ledger::resting_compiled)]
fn check_resting(compiled: Compiled) -> (Report, Compiled) {
    (black_box(ledger::checked(black_box(&compiled))), compiled)
}

#[library_benchmark]
#[bench::key(args = (672), setup = ledger::moving)]
fn compile_moving(parts: Parts) -> Compiled {
    black_box(ledger::compiled(black_box(parts)))
}

#[library_benchmark]
#[bench::key(args = (672), setup = ledger::moving_compiled)]
fn check_moving(compiled: Compiled) -> (Report, Compiled) {
    (black_box(ledger::checked(black_box(&compiled))), compiled)
}

#[library_benchmark]
#[bench::piece(args = (23_112), setup = ledger::drifts)]
fn fit_drifts(parts: Parts) -> Compiled {
    black_box(ledger::compiled(black_box(parts)))
}

#[library_benchmark]
#[bench::axis(args = (67), setup = ledger::demo)]
fn compile_demo(parts: Parts) -> Compiled {
    black_box(ledger::compiled(black_box(parts)))
}

#[library_benchmark]
#[bench::axis(args = (67), setup = ledger::demo_compiled)]
fn check_demo(compiled: Compiled) -> (Report, Compiled) {
    (black_box(ledger::checked(black_box(&compiled))), compiled)
}

#[library_benchmark]
#[bench::figure(args = (6), setup = ledger::figures)]
fn check_figures(compiled: Compiled) -> (Report, Compiled) {
    (black_box(ledger::checked(black_box(&compiled))), compiled)
}

#[library_benchmark]
#[bench::figure(args = (3), setup = ledger::loads)]
fn check_loads(compiled: Compiled) -> (Report, Compiled) {
    (black_box(ledger::checked(black_box(&compiled))), compiled)
}

#[library_benchmark]
#[bench::axis(args = (67), setup = ledger::demo_checked)]
fn page_demo(report: Report) -> (String, Report) {
    (black_box(ledger::page_of(black_box(&report))), report)
}

#[library_benchmark]
#[bench::count(args = (220_696), setup = ledger::rows_checked)]
fn rows_table(report: Report) -> Report {
    ledger::table(black_box(&report));
    report
}

#[library_benchmark]
#[bench::count(args = (220_696), setup = ledger::rows_checked)]
fn rows_iterator(report: Report) -> (i64, Report) {
    (black_box(ledger::rows(black_box(&report))), report)
}

#[library_benchmark]
#[bench::sample(args = (20_000), setup = ledger::recording)]
fn follow_recording(parts: Parts) -> Compiled {
    black_box(ledger::compiled(black_box(parts)))
}

#[library_benchmark]
#[bench::row(args = (540), setup = ledger::performance)]
fn study_performance(recording: PathBuf) -> (usize, PathBuf) {
    (black_box(ledger::studied(black_box(&recording))), recording)
}

#[library_benchmark]
#[bench::value(args = (560_000), setup = ledger::logs)]
fn compare_logs(logs: Logs) -> (Comparison, Logs) {
    (black_box(ledger::compared(black_box(&logs))), logs)
}

#[library_benchmark]
#[bench::mark(args = (288), setup = ledger::marked)]
fn lost_steps(marked: Marked) -> (usize, Marked) {
    (black_box(ledger::explained(black_box(&marked))), marked)
}

library_benchmark_group!(
    name = counted,
    benchmarks = [
        compile_resting,
        check_resting,
        compile_moving,
        check_moving,
        fit_drifts,
        compile_demo,
        check_demo,
        check_figures,
        check_loads,
        page_demo,
        rows_table,
        rows_iterator,
        follow_recording,
        study_performance,
        compare_logs,
        lost_steps
    ]
);

main!(
    config = LibraryBenchmarkConfig::default().tool(Callgrind::with_args(["--cache-sim=no", "--toggle-collect=*::thread_start*"])),
    library_benchmark_groups = counted
);
