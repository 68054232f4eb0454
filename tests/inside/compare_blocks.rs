//! A comparison does not depend on how its tables are read: every bit is the same whatever the blocks, the threads and the order in which they get on.

use std::io::{Cursor, Read, Result, Seek, SeekFrom};
use std::thread;
use std::time::Duration;

use movewright::measure::{AxisFacts, Input, LogUnits, Options, Reading, compare, compare_reading};
use movewright::number::Generator;

const SEEDS: u64 = 60;

/// Less than `n`, which is at least 1.
fn below(g: &mut Generator, n: usize) -> usize {
    ((g.unit() * n as f64) as usize).min(n - 1)
}

/// A text that comes in pieces of any length, now and then late.
struct Halting {
    text: Cursor<Vec<u8>>,
    g: Generator,
}

impl Read for Halting {
    fn read(&mut self, out: &mut [u8]) -> Result<usize> {
        match below(&mut self.g, 20) {
            0 => thread::sleep(Duration::from_micros(200)),
            1..6 => thread::yield_now(),
            _ => {}
        }
        let n = (1 + below(&mut self.g, 3000)).min(out.len());
        self.text.read(&mut out[..n])
    }
}

impl Seek for Halting {
    fn seek(&mut self, to: SeekFrom) -> Result<u64> {
        self.text.seek(to)
    }
}

/// A pass and takes of it: any number of axes and rows, gaps of rows and cells, noise, and one fault or another on each axis.
struct Case {
    axes: Vec<AxisFacts>,
    pass: String,
    takes: Vec<String>,
    options: Options,
}

fn case(seed: u64) -> Case {
    let mut g = Generator::new(seed);
    let (n, rows, takes) = (1 + below(&mut g, 9), 2 + below(&mut g, 400), 1 + below(&mut g, 3));
    let units = if below(&mut g, 4) == 0 { LogUnits::Units } else { LogUnits::Steps };
    let axes: Vec<AxisFacts> = (0..n)
        .map(|i| AxisFacts {
            name: format!("heron.a{i}"),
            unit: "mm",
            steps_per_unit: 100.0 / 3.0,
            reversed: i % 3 == 1,
            microsteps: 16,
            backlash: (i % 4 == 0).then_some(0.5),
            pixels_per_unit: (i % 2 == 0).then_some(0.7),
        })
        .collect();
    let names: Vec<&str> = axes.iter().map(|a| a.name.as_str()).collect();
    let header = format!("frame,{}\n", names.join(","));
    let mut at = vec![0.0_f64; n];
    let mut speed = vec![0.0_f64; n];
    let columns: Vec<Vec<f64>> = (0..rows)
        .map(|_| {
            for (x, v) in at.iter_mut().zip(&mut speed) {
                *v += 8.0 * (g.unit() - 0.5);
                *x += *v;
            }
            at.clone()
        })
        .collect();
    let cell = |x: f64| if units == LogUnits::Steps { format!("{}", x.round_ties_even()) } else { format!("{x:.6}") };
    let pass = columns.iter().enumerate().map(|(f, row)| format!("{f},{}\n", row.iter().map(|x| cell(*x)).collect::<Vec<_>>().join(",")));
    let pass = pass.fold(header.clone(), |text, line| text + &line);
    let mut take = || {
        let faults: Vec<usize> = (0..n).map(|_| below(&mut g, 9)).collect();
        let from = below(&mut g, rows);
        let gap = (below(&mut g, rows), below(&mut g, 40));
        let mut text = header.clone();
        for (f, row) in columns.iter().enumerate() {
            if (gap.0..gap.0 + gap.1).contains(&f) || below(&mut g, 50) == 0 {
                continue;
            }
            let logged = |i: usize| {
                let x = row[i];
                match faults[i] {
                    1 => x + 16.0,
                    2 if f >= from => x - 48.0,
                    3 => 1.01 * x,
                    4 => -x,
                    5 if f >= from => columns[from][i],
                    6 => columns[f.saturating_sub(1)][i],
                    7 => x + 0.3 * f as f64,
                    8 => row[(i + 1) % n],
                    _ => x,
                }
            };
            let cells: Vec<String> = (0..n)
                .map(logged)
                .collect::<Vec<f64>>()
                .into_iter()
                .map(|x| if below(&mut g, 60) == 0 { String::new() } else { cell(x + 2.0 * (g.unit() - 0.5)) })
                .collect();
            text.push_str(&format!("{f},{}\n", cells.join(",")));
        }
        text
    };
    let takes = (0..takes).map(|_| take()).collect();
    Case { axes, pass, takes, options: Options { units, ..Options::default() } }
}

impl Case {
    fn plain(&self) -> String {
        let input = |name: &str, text: &str| Input { name: name.to_owned(), reader: Cursor::new(text.as_bytes().to_vec()) };
        let takes = self.takes.iter().map(|text| input("take", text)).collect();
        // As it is printed for debugging every number has all its digits, and a zero its sign.
        format!("{:?}", compare(input("pass", &self.pass), takes, &self.axes, &self.options))
    }

    fn read(&self, seed: u64, reading: Reading) -> String {
        let mut seeds = Generator::new(seed);
        let mut input = |name: &str, text: &str| Input {
            name: name.to_owned(),
            reader: Halting { text: Cursor::new(text.as_bytes().to_vec()), g: Generator::new((seeds.unit() * 1e9) as u64) },
        };
        let pass = input("pass", &self.pass);
        let takes = self.takes.iter().map(|text| input("take", text)).collect();
        format!("{:?}", compare_reading(pass, takes, &self.axes, &self.options, reading))
    }
}

#[test]
fn every_bit_is_the_same_whatever_the_blocks_and_the_threads() {
    let mut causes = 0;
    for seed in 0..SEEDS {
        let case = case(seed);
        let plain = case.plain();
        causes += plain.matches("LikelyCause").count();
        assert!(plain.starts_with("Ok(") && !plain.contains("NaN"), "{seed}: {plain}");
        for block in [1, 13, 64, 1000, 1 << 14] {
            for ahead in [0, 1, 5] {
                assert_eq!(case.read(seed, Reading { block, ahead }), plain, "seed {seed}, blocks of {block} cells, {ahead} ahead");
            }
        }
        // Several at once: threads are stopped and go on wherever the system likes.
        thread::scope(|scope| {
            for i in 0..4 {
                let (case, plain) = (&case, &plain);
                scope.spawn(move || assert_eq!(&case.read(seed + i, Reading { block: 40, ahead: 1 }), plain, "seed {seed}"));
            }
        });
    }
    assert!(causes > 50, "{causes}: most cases must go through the second reading");
}
