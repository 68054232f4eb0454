//! Rows for controllers against a bare loop that formats the same integers, in one run, on the same threads, to the same place.
//!
//! Subject: `RowTable::write`, which evaluates 56 curves (fixtures/bench), rounds, formats and writes. Rival: the same integers already in
//! memory, formatted in parallel pieces with the `itoa` crate into a reused `Vec` and written in order.
//! `cargo bench --bench rows` measures 108,000 rows without a disk. With `ROWS_FULL=FOLDER` set it writes 5.4 million rows (1.9 GB) into
//! files in that folder instead, flushed to the disk, checks that all are byte for byte the same, and prints ratios; see rows_full.sh.

#![allow(
    missing_docs,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::print_stdout,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::disallowed_methods,
    reason = "a bench"
)]

mod inputs;

use std::fs::File;
use std::io::{self, Write};
use std::path::Path;
use std::time::Instant;

use criterion::{Criterion, Throughput};
use inputs::inputs;
use movewright::Compiled;
use movewright::report::Report;
use movewright::shot::Shape;
use rayon::prelude::*;

const AXES: usize = 56;

fn checked() -> Report {
    let (stage, shot) = inputs(AXES, 450, Shape::MinimumJerk);
    Compiled::new(stage, shot).unwrap().check().unwrap()
}

/// The integers of every row, by asking for each instant alone.
fn integers(report: &Report, rate: &str) -> Vec<i64> {
    report.approve().unwrap().rows("picture", rate).unwrap().flat_map(|row| row.counts).collect()
}

fn header(report: &Report) -> String {
    format!("t_s,{}", report.compiled().stage().axis_names().join(","))
}

/// Rows a piece of the rival, and pieces a batch: the best of those tried.
const PIECE: usize = 512;
const BATCH: usize = 16;

/// The rival: pieces formatted in parallel, the batch before being written meanwhile.
fn bare(integers: &[i64], header: &str, out: &mut (impl Write + Send)) {
    writeln!(out, "{header}").unwrap();
    let fill = |batch: &mut Vec<Vec<u8>>, from: usize| -> usize {
        let rest = &integers[from.min(integers.len())..];
        let pieces: Vec<&[i64]> = rest.chunks(PIECE * AXES).take(BATCH).collect();
        batch.par_iter_mut().zip(&pieces).enumerate().for_each(|(i, (text, piece))| by_itoa(text, from / AXES + i * PIECE, piece));
        batch.truncate(pieces.len());
        pieces.iter().map(|p| p.len()).sum()
    };
    let new = || vec![Vec::new(); BATCH];
    let (mut ready, mut next) = (new(), new());
    let mut at = 0;
    let mut n = fill(&mut next, at);
    while n > 0 {
        std::mem::swap(&mut ready, &mut next);
        at += n;
        n = rayon::join(|| ready.iter().for_each(|text| out.write_all(text).unwrap()), || fill(&mut next, at)).1;
    }
}

fn by_itoa(text: &mut Vec<u8>, first: usize, piece: &[i64]) {
    let mut digits = itoa::Buffer::new();
    text.clear();
    for (row, counts) in (first..).zip(piece.chunks_exact(AXES)) {
        text.extend_from_slice(digits.format(row / 1000).as_bytes());
        text.push(b'.');
        text.extend_from_slice(&digits.format(1000 + row % 1000).as_bytes()[1..]);
        for n in counts {
            text.push(b',');
            text.extend_from_slice(digits.format(*n).as_bytes());
        }
        text.push(b'\n');
    }
}

/// Compares what is written with what is to be expected.
struct Same<'a> {
    want: &'a [u8],
}

impl Write for Same<'_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        assert!(self.want[..bytes.len()] == *bytes, "the texts differ");
        self.want = &self.want[bytes.len()..];
        Ok(bytes.len())
    }
    fn flush(&mut self) -> io::Result<()> {
        assert!(self.want.is_empty(), "a text is too short");
        Ok(())
    }
}

fn small(c: &mut Criterion) {
    let report = checked();
    let table = report.approve().unwrap().table("picture", "20").unwrap();
    let (all, header) = (integers(&report, "20"), header(&report));
    let mut group = c.benchmark_group("rows_56_axes");
    group.throughput(Throughput::Elements(all.len() as u64));
    group.bench_function("evaluate_format", |b| b.iter(|| table.write(&mut io::sink()).unwrap()));
    group.bench_function("rival_itoa", |b| b.iter(|| bare(&all, &header, &mut io::sink())));
    group.finish();
}

/// Seconds of processor time this process has used, on systems that report it.
fn processor_seconds() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let fields: Vec<f64> = stat.rsplit(')').next().unwrap_or("").split_whitespace().map(|f| f.parse().unwrap_or(0.0)).collect();
    // User and system time in hundredths of a second (proc(5), fields 14 and 15).
    fields.get(11..13).map_or(f64::NAN, |t| (t[0] + t[1]) / 100.0)
}

fn full(folder: &Path) {
    let report = checked();
    let table = report.approve().unwrap().table("picture", "1000").unwrap();
    let (all, header) = (integers(&report, "1000"), header(&report));
    let rows = all.len() / AXES;
    let mut texts: Vec<u8> = Vec::new();
    bare(&all, &header, &mut texts);
    table.write(&mut Same { want: &texts }).unwrap();
    println!("{rows} rows x {AXES} axes, {} bytes, {} threads; both texts are the same", texts.len(), rayon::current_num_threads());
    drop(texts);
    let runs = std::env::var("ROWS_RUNS").ok().and_then(|n| n.parse().ok()).unwrap_or(5);
    let sinks: [(&str, Option<bool>); 3] = [("no disk", None), ("file", Some(false)), ("file, flushed to the disk", Some(true))];
    let names = ["evaluate, format, write", "bare loop with itoa"];
    for (sink, disk) in sinks {
        let mut seconds = [const { Vec::new() }; 2];
        for run in 0..=runs {
            for (i, times) in seconds.iter_mut().enumerate() {
                let path = folder.join("rows.csv");
                let mut file = disk.map(|_| File::create(&path).unwrap());
                let (start, used) = (Instant::now(), processor_seconds());
                let mut nowhere = io::sink();
                let mut out: Box<&mut (dyn Write + Send)> = match &mut file {
                    Some(file) => Box::new(file),
                    None => Box::new(&mut nowhere),
                };
                if i == 0 {
                    let _rows = table.write(&mut out).unwrap();
                } else {
                    bare(&all, &header, &mut out);
                }
                if let (Some(file), Some(true)) = (&file, disk) {
                    file.sync_all().unwrap();
                }
                // The first run warms up.
                if run > 0 {
                    times.push((start.elapsed().as_secs_f64(), processor_seconds() - used));
                }
                drop(file);
                let _gone = std::fs::remove_file(&path);
            }
        }
        println!("{sink}:");
        let median = |times: &[(f64, f64)], which: fn(&(f64, f64)) -> f64| {
            let mut all: Vec<f64> = times.iter().map(which).collect();
            all.sort_by(f64::total_cmp);
            all[all.len() / 2]
        };
        let ours = (median(&seconds[0], |t| t.0), median(&seconds[0], |t| t.1));
        for (name, times) in names.iter().zip(&seconds) {
            let (wall, processor) = (median(times, |t| t.0), median(times, |t| t.1));
            println!(
                "  {name:<26} {wall:6.2} s ({:5.2} ns a count), processor {processor:6.2} s; ours against it {:.2}, by processor {:.2}",
                wall * 1e9 / (rows * AXES) as f64,
                ours.0 / wall,
                ours.1 / processor
            );
        }
    }
}

fn main() {
    match std::env::var_os("ROWS_FULL") {
        Some(folder) => full(Path::new(&folder)),
        None => {
            let mut c = Criterion::default().configure_from_args();
            small(&mut c);
            c.final_summary();
        }
    }
}
