//! Mutated files of every kind the program reads: each must end in a verdict, without a panic, in a time its size accounts for.
//!
//! What: a small mutator, seeded, over the corpus in `fixtures/hostile`; the reader of stage, shot and keys, of logs, and of manifests with the folder around them.
//! What was accepted is compiled and checked too where it is small. Times are measured and printed, never asserted.
//! Limits: mutations know no coverage; inputs stay below a megabyte.

use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::PathBuf;
use std::time::{Duration, Instant};

use movewright::compile::Compiled;
use movewright::input::{self, Unreadable};
use movewright::measure::{AxisFacts, Input, Options, compare};
use movewright::number::generator::Generator;
use movewright::output::manifest::Manifest;
use movewright::verify::verify;

const MOST: usize = 1 << 20;

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Target {
    Stage,
    Shot,
    Keys,
    Log,
    Manifest,
}

const TARGETS: [Target; 5] = [Target::Stage, Target::Shot, Target::Keys, Target::Log, Target::Manifest];

impl Target {
    fn prefix(self) -> &'static str {
        match self {
            Target::Stage => "stage",
            Target::Shot => "shot",
            Target::Keys => "keys",
            Target::Log => "log",
            Target::Manifest => "manifest",
        }
    }
}

type Corpus = BTreeMap<String, Vec<u8>>;

fn corpus() -> Corpus {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("fixtures/hostile");
    std::fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap().path())
        .map(|p| (p.file_name().unwrap().to_str().unwrap().to_owned(), std::fs::read(&p).unwrap()))
        .collect()
}

fn pick(g: &mut Generator, n: usize) -> usize {
    ((g.unit() * n as f64) as usize).min(n.max(1) - 1)
}

fn range(g: &mut Generator, length: usize) -> core::ops::Range<usize> {
    let from = pick(g, length + 1);
    let most = [4, 40, length][pick(g, 3)];
    from..(from + pick(g, most + 1)).min(length)
}

/// Numbers and signs with a meaning somewhere.
const TOKENS: [&str; 34] = [
    "0",
    "-0.0",
    "1e308",
    "-1e400",
    "nan",
    "inf",
    "1e-400",
    "9223372036854775807",
    "-9223372036854775808",
    "18446744073709551616",
    "0.1",
    "1_0",
    "0x1F",
    "\"",
    "'''",
    "\"\"\"",
    "[",
    "]",
    "{",
    "}",
    "[[",
    "]]",
    "=",
    ",",
    ".",
    "\n",
    "\r\n",
    "\u{feff}",
    "\u{0}",
    "\\u0000",
    "../",
    "/",
    "#",
    "\u{1F426}",
];

/// Changes a file in one to eight places.
fn mutate(g: &mut Generator, bytes: &mut Vec<u8>, others: &[&Vec<u8>]) {
    for _ in 0..1 + pick(g, 8) {
        let n = bytes.len();
        match pick(g, 10) {
            0 if n > 0 => bytes[pick(g, n)] ^= 1 << pick(g, 8),
            1 if n > 0 => bytes[pick(g, n)] = g.bits() as u8,
            2 => {
                bytes.drain(range(g, n));
            }
            3 => {
                let again = bytes[range(g, n)].to_vec();
                let at = pick(g, n + 1);
                bytes.splice(at..at, again);
            }
            4 => {
                let other = others[pick(g, others.len())];
                let part = other[range(g, other.len())].to_vec();
                let at = pick(g, n + 1);
                bytes.splice(at..at, part);
            }
            // A number becomes another.
            5 | 6 => {
                let digits: Vec<usize> = (0..n).filter(|i| bytes[*i].is_ascii_digit()).collect();
                if let Some(at) = digits.get(pick(g, digits.len())) {
                    let end = (*at..n).find(|i| !bytes[*i].is_ascii_digit()).unwrap_or(n);
                    bytes.splice(*at..end, TOKENS[pick(g, 13)].bytes());
                }
            }
            7 => {
                let at = pick(g, n + 1);
                bytes.splice(at..at, TOKENS[pick(g, TOKENS.len())].bytes());
            }
            8 if pick(g, 8) == 0 => bytes.truncate(pick(g, n + 1)),
            // The same again and again: what grows faster than the file shows here.
            9 if pick(g, 64) == 0 => {
                let part = bytes[range(g, n)].to_vec();
                let at = pick(g, n + 1);
                let share = 1 + pick(g, 64);
                let times = pick(g, MOST / part.len().max(1) / share + 1);
                bytes.splice(at..at, part.repeat(times));
            }
            _ => {}
        }
        bytes.truncate(MOST);
    }
}

/// What one execution came to.
struct Ran {
    target: Target,
    bytes: usize,
    accepted: bool,
    time: Duration,
}

fn execute(seed: u64, corpus: &Corpus, folder: &std::path::Path) -> Ran {
    let mut stirred = Generator::new(seed);
    let g = &mut Generator::new(stirred.bits());
    let target = TARGETS[pick(g, TARGETS.len())];
    let all: Vec<&Vec<u8>> = corpus.values().collect();
    let own: Vec<&Vec<u8>> = corpus.iter().filter(|(n, _)| n.starts_with(target.prefix())).map(|(_, b)| b).collect();
    let mut bytes = own[pick(g, own.len())].clone();
    mutate(g, &mut bytes, &all);
    let length = bytes.len();
    let started = Instant::now();
    let accepted = match target {
        Target::Stage | Target::Shot | Target::Keys => read(target, bytes, corpus),
        Target::Log => log(bytes, corpus, seed),
        Target::Manifest => manifest(&bytes, folder, seed),
    };
    Ran { target, bytes: length, accepted, time: started.elapsed() }
}

fn read(target: Target, bytes: Vec<u8>, corpus: &Corpus) -> bool {
    let name = format!("{}.{}", target.prefix(), if target == Target::Keys { "csv" } else { "toml" });
    let reader = |asked: &str| {
        if asked == name { Ok(bytes.clone()) } else { corpus.get(asked).cloned().ok_or(Unreadable::Missing) }
    };
    match input::parse("shot.toml", &reader) {
        Ok(loaded) => {
            let (stage, shot) = (&loaded.stage, &loaded.shot);
            // What a shot costs to compile grows with its frames, not with the bytes of its file.
            let small = shot.frames().count() <= 100 && stage.axes().len() <= 12 && shot.cycles().iter().all(|c| c.period() >= 6.0);
            if small && let Ok(compiled) = Compiled::new(stage.clone(), shot.clone()) {
                match compiled.check() {
                    Ok(report) => assert_eq!(report.passes.len(), shot.passes().len()),
                    Err(no_law) => assert!(!no_law.to_string().is_empty()),
                }
            }
            true
        }
        Err(rejection) => {
            assert!(!rejection.diagnostics().is_empty());
            assert!(!rejection.to_string().is_empty());
            false
        }
    }
}

fn log(bytes: Vec<u8>, corpus: &Corpus, seed: u64) -> bool {
    let reader = |asked: &str| corpus.get(asked).cloned().ok_or(Unreadable::Missing);
    let stage = input::parse("shot.toml", &reader).unwrap().stage;
    let axes: Vec<AxisFacts> = stage.axes().iter().zip(stage.axis_names()).map(|(a, n)| AxisFacts::of(n, a)).collect();
    let right = corpus["log.csv"].clone();
    let (pass, take) = if seed.is_multiple_of(4) { (bytes, right) } else { (right, bytes) };
    let input = |name: &str, bytes: Vec<u8>| Input { name: name.to_owned(), reader: std::io::Cursor::new(bytes) };
    match compare(input("pass", pass), vec![input("take", take)], &axes, &Options::default()) {
        Ok(_) => true,
        Err(e) => {
            assert!(!e.to_string().is_empty());
            false
        }
    }
}

fn manifest(bytes: &[u8], folder: &std::path::Path, seed: u64) -> bool {
    let accepted = serde_json::from_slice::<Manifest>(bytes).is_ok();
    // The folder around it costs a file written: a part of the executions.
    if seed.is_multiple_of(8) {
        std::fs::write(folder.join("manifest.json"), bytes).unwrap();
        let verdict = verify(folder, &|_| Err("not read here".to_owned())).unwrap();
        assert!(!verdict.holds(), "a folder without its files holds");
    }
    accepted
}

fn campaign(from: u64, runs: u64) {
    let corpus = corpus();
    assert!(TARGETS.iter().all(|t| corpus.keys().any(|n| n.starts_with(t.prefix()))));
    let temp = tempfile::tempdir().unwrap();
    let mut counts: BTreeMap<Target, (u64, u64)> = BTreeMap::new();
    let (mut longest, mut dearest) = ((Duration::ZERO, 0, 0), (0.0_f64, 0, 0));
    let mut panics = Vec::new();
    for seed in from..from + runs {
        match catch_unwind(AssertUnwindSafe(|| execute(seed, &corpus, temp.path()))) {
            Ok(ran) => {
                let count = counts.entry(ran.target).or_default();
                count.0 += 1;
                count.1 += u64::from(ran.accepted);
                if ran.time > longest.0 {
                    longest = (ran.time, ran.bytes, seed);
                }
                // Of small files the time is that of the stage and shot around them.
                let per_byte = ran.time.as_secs_f64() * 1e9 / ran.bytes as f64;
                if ran.bytes >= 1 << 16 && per_byte > dearest.0 {
                    dearest = (per_byte, ran.bytes, seed);
                }
            }
            Err(_) => panics.push(seed),
        }
    }
    println!(
        "{runs} executions from seed {from}; each kind with how many of it were accepted: {counts:?}; panics at seeds {panics:?}\n\
         longest {:?} ({} bytes, seed {}); dearest of 64 KiB and more {:.0} ns a byte ({} bytes, seed {})",
        longest.0, longest.1, longest.2, dearest.0, dearest.1, dearest.2
    );
    assert!(panics.is_empty(), "panics at seeds {panics:?}");
    for target in TARGETS {
        let (ran, accepted) = counts[&target];
        assert!(0 < accepted && accepted < ran, "{target:?}: {accepted} of {ran} were accepted: the mutations are too strong or too weak");
    }
}

fn wished(name: &str, otherwise: u64) -> u64 {
    std::env::var(name).ok().map_or(otherwise, |n| n.parse().expect("a whole number"))
}

#[test]
fn mutated_files_end_in_a_verdict() {
    campaign(0, 8_000);
}

/// `RUNS=10000000 FROM=0 cargo test --release --lib inside::fuzz:: -- --ignored --nocapture`.
#[test]
#[ignore = "long"]
fn very_many_mutated_files_end_in_a_verdict() {
    campaign(wished("FROM", 0), wished("RUNS", 10_000_000));
}
