//! Takes held against their pass, against a bare loop that reads the same numbers and sums the same sums, in one run.
//!
//! Subject: `measure::compare` on two logs of 540,000 rows of 56 axes: the pass and one take, in memory. Rival: one thread a text that turns bytes into integers,
//! no checks, and a loop that sums, for each axis, largest, sum and sum of squares of the difference. The subject does more: it checks every row, keeps
//! frames in step and looks for causes. Before measuring, largest deviation of every axis is held against the rival's.
//! With `COMPARE_WRITE=FOLDER` and `COMPARE_ROWS=N` it writes the two logs and measures nothing; with `COMPARE_FILES=FOLDER` it compares those once,
//! for compare_full.sh.

#![allow(
    clippy::cast_sign_loss,
    missing_docs,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::print_stdout,
    clippy::cast_possible_truncation,
    clippy::disallowed_methods,
    reason = "a bench"
)]

#[path = "inputs/logs.rs"]
mod logs;

use std::fs::File;
use std::io::{BufWriter, Cursor, Write};
use std::path::Path;
use std::time::Instant;

use criterion::{Criterion, Throughput};
use logs::{AXES, facts, write};
use movewright::measure::{Comparison, Input, Options, compare};

const ROWS: u64 = 540_000;

/// Every number of a table of whole numbers, frame and axes alike.
fn parse(text: &[u8]) -> Vec<i64> {
    let start = text.iter().position(|b| *b == b'\n').unwrap() + 1;
    let mut all = Vec::with_capacity(text.len() / 4);
    let (mut n, mut minus) = (0_i64, false);
    for b in &text[start..] {
        match b {
            b'-' => minus = true,
            b',' | b'\n' => {
                all.push(if minus { -n } else { n });
                (n, minus) = (0, false);
            }
            digit => n = n * 10 + i64::from(digit - b'0'),
        }
    }
    all
}

/// Largest, sum and sum of squares of the difference, of every axis.
fn bare(pass: &[u8], take: &[u8]) -> [[i64; 3]; AXES] {
    let (a, b) = std::thread::scope(|s| {
        let other = s.spawn(|| parse(take));
        (parse(pass), other.join().unwrap())
    });
    let mut sums = [[0; 3]; AXES];
    for (x, y) in a.chunks_exact(AXES + 1).zip(b.chunks_exact(AXES + 1)) {
        for (s, (x, y)) in sums.iter_mut().zip(x[1..].iter().zip(&y[1..])) {
            let d = y - x;
            *s = [s[0].max(d.abs()), s[1] + d, s[2] + d * d];
        }
    }
    sums
}

fn ours(pass: &[u8], take: &[u8]) -> Comparison {
    let input = |name: &str, reader| Input { name: name.to_owned(), reader };
    compare(input("pass", Cursor::new(pass)), vec![input("take", Cursor::new(take))], &facts(), &Options::default()).unwrap()
}

fn files(folder: &Path) {
    let input = |name: &str| Input { name: name.to_owned(), reader: File::open(folder.join(name)).unwrap() };
    let start = Instant::now();
    let c = compare(input("logA.csv"), vec![input("logB.csv")], &facts(), &Options::default()).unwrap();
    let largest = c.axes.iter().filter_map(|a| a.steps.largest_deviation).fold(0.0, f64::max);
    println!("{} rows of {AXES} axes, largest deviation {largest} steps: {:.2} s", c.frames, start.elapsed().as_secs_f64());
}

fn main() {
    if let Ok(folder) = std::env::var("COMPARE_WRITE") {
        let rows = std::env::var("COMPARE_ROWS").map_or(ROWS, |n| n.parse().unwrap());
        for (name, off) in [("logA.csv", false), ("logB.csv", true)] {
            let mut out = BufWriter::new(File::create(Path::new(&folder).join(name)).unwrap());
            write(&mut out, rows, off);
            out.flush().unwrap();
        }
        return;
    }
    if let Ok(folder) = std::env::var("COMPARE_FILES") {
        return files(Path::new(&folder));
    }
    let (mut pass, mut take) = (Vec::new(), Vec::new());
    write(&mut pass, ROWS, false);
    write(&mut take, ROWS, true);
    let (comparison, sums) = (ours(&pass, &take), bare(&pass, &take));
    assert_eq!((comparison.frames, comparison.axes.len()), (ROWS, AXES));
    for (axis, sum) in comparison.axes.iter().zip(&sums) {
        assert_eq!(axis.steps.largest_deviation, Some(sum[0] as f64), "{}", axis.axis);
    }
    let mut criterion = Criterion::default().configure_from_args().sample_size(10);
    let mut group = criterion.benchmark_group("compare");
    group.throughput(Throughput::Bytes((pass.len() + take.len()) as u64));
    group.bench_function("movewright", |b| b.iter(|| ours(&pass, &take).frames));
    group.bench_function("bare_loop", |b| b.iter(|| bare(&pass, &take)[0][2]));
    group.finish();
    criterion.final_summary();
}
