//! Rows for controllers against bare loops that format the same integers, in one run, on the same threads, to the same place.
//!
//! Subject: `Table::write`, which evaluates 56 curves (fixtures/bench), rounds, formats and writes. Rivals: the same integers already in
//! memory, formatted in parallel pieces and written in order, once with the `itoa` crate into a reused `Vec` and once with our own digits.
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
use movewright::check::Report;
use movewright::output::rows::format::Text;
use movewright::output::rows::{RowRate, Table, Tracks};
use movewright::shot::Shape;
use movewright::time::Seconds;
use rayon::prelude::*;

const AXES: usize = 56;

fn checked() -> Report {
    let (stage, shot) = inputs(AXES, 450, Shape::MinimumJerk);
    Compiled::new(stage, shot).unwrap().check().unwrap()
}

/// The integers of every row, by asking for each instant alone.
fn integers(tracks: &Tracks<'_>, rate: RowRate, rows: usize) -> Vec<i64> {
    let mut all = vec![0_i64; rows * AXES];
    all.par_chunks_mut(AXES).enumerate().for_each(|(row, out)| {
        let t = Seconds(rate.seconds(row as u64));
        for (axis, n) in out.iter_mut().enumerate() {
            *n = tracks.count(axis, t).unwrap();
        }
    });
    all
}

/// Rows a piece of the rivals, and pieces a batch: the best of those tried.
const PIECE: usize = 512;
const BATCH: usize = 16;

/// A rival: pieces formatted in parallel, the batch before being written meanwhile.
fn bare<T: Default + Send + Sync>(
    integers: &[i64],
    header: &str,
    out: &mut (impl Write + Send),
    format: &(impl Fn(&mut T, usize, &[i64]) + Sync),
    bytes: &(impl Fn(&T) -> &[u8] + Sync),
) {
    writeln!(out, "{header}").unwrap();
    let fill = |batch: &mut Vec<T>, from: usize| -> usize {
        let rest = &integers[from.min(integers.len())..];
        let pieces: Vec<&[i64]> = rest.chunks(PIECE * AXES).take(BATCH).collect();
        batch.par_iter_mut().zip(&pieces).enumerate().for_each(|(i, (text, piece))| format(text, from / AXES + i * PIECE, piece));
        batch.truncate(pieces.len());
        pieces.iter().map(|p| p.len()).sum()
    };
    let new = || (0..BATCH).map(|_| T::default()).collect::<Vec<T>>();
    let (mut ready, mut next) = (new(), new());
    let mut at = 0;
    let mut n = fill(&mut next, at);
    while n > 0 {
        std::mem::swap(&mut ready, &mut next);
        at += n;
        n = rayon::join(|| ready.iter().for_each(|t| out.write_all(bytes(t)).unwrap()), || fill(&mut next, at)).1;
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

fn by_own_digits(text: &mut Text, first: usize, piece: &[i64]) {
    text.clear();
    for (row, counts) in (first..).zip(piece.chunks_exact(AXES)) {
        text.decimal(row as u64, 3);
        text.fields(counts.iter().copied());
        text.byte(b'\n');
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
    let tracks = Tracks::new(&report.passes[0].program, &report.passes[0]).unwrap();
    let rate = RowRate::new(20.0).unwrap();
    let table = Table::new(&tracks, rate).unwrap();
    let rows = table.rows() as usize;
    let all = integers(&tracks, rate, rows);
    let mut group = c.benchmark_group("rows_56_axes");
    group.throughput(Throughput::Elements((rows * AXES) as u64));
    group.bench_function("evaluate_format", |b| b.iter(|| table.write(&mut io::sink(), &mut |_| {}).unwrap()));
    group.bench_function("rival_itoa", |b| b.iter(|| bare(&all, &table.header(), &mut io::sink(), &by_itoa, &|t: &Vec<u8>| t)));
    group.bench_function("rival_own_digits", |b| b.iter(|| bare(&all, &table.header(), &mut io::sink(), &by_own_digits, &Text::bytes)));
    group.finish();
}

/// Seconds of processor time this process has used, on systems that tell.
fn processor_seconds() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let fields: Vec<f64> = stat.rsplit(')').next().unwrap_or("").split_whitespace().map(|f| f.parse().unwrap_or(0.0)).collect();
    // User and system time in hundredths of a second (proc(5), fields 14 and 15).
    fields.get(11..13).map_or(f64::NAN, |t| (t[0] + t[1]) / 100.0)
}

fn full(folder: &Path) {
    let report = checked();
    let tracks = Tracks::new(&report.passes[0].program, &report.passes[0]).unwrap();
    let rate = RowRate::new(1000.0).unwrap();
    let table = Table::new(&tracks, rate).unwrap();
    let rows = table.rows() as usize;
    let all = integers(&tracks, rate, rows);
    let mut texts: Vec<u8> = Vec::new();
    bare(&all, &table.header(), &mut texts, &by_itoa, &|t: &Vec<u8>| t);
    table.write(&mut Same { want: &texts }, &mut |_| {}).unwrap();
    bare(&all, &table.header(), &mut Same { want: &texts }, &by_own_digits, &Text::bytes);
    println!("{rows} rows x {AXES} axes, {} bytes, {} threads; the three texts are the same", texts.len(), rayon::current_num_threads());
    drop(texts);
    let runs = std::env::var("ROWS_RUNS").ok().and_then(|n| n.parse().ok()).unwrap_or(5);
    let sinks: [(&str, Option<bool>); 3] = [("no disk", None), ("file", Some(false)), ("file, flushed to the disk", Some(true))];
    let names = ["evaluate, format, write", "bare loop with itoa", "bare loop with our digits"];
    for (sink, disk) in sinks {
        let mut seconds = [const { Vec::new() }; 3];
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
                match i {
                    0 => table.write(&mut out, &mut |_| {}).unwrap(),
                    1 => bare(&all, &table.header(), &mut out, &by_itoa, &|t: &Vec<u8>| t),
                    _ => bare(&all, &table.header(), &mut out, &by_own_digits, &Text::bytes),
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
