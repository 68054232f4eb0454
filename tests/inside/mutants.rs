//! Stages and shots changed with regard to their structure, compiled and checked: none may take minutes, gigabytes or an abort.
//!
//! What: numbers times a power of ten, two numbers swapped, tables repeated up to thousands of times (groups with all that belongs to them, under new names), long lists of
//! keys, tables left out. Bases: most often one of the small shots in `fixtures/slips`, which have every feature between them and cost little as they are; else `fixtures/costs`, one of
//! everything. Each job runs in a child process under a limit of memory; the child counts processor time and the peak of its
//! memory, the parent waits and starts it again where it ends early. Every input is below 1 MiB.
//! Judged: no panic, no abort, no job without end; memory and processor time beyond the bounds below are reported, and three times the bounds fail.
//! `MUTANTS=1000000 FROM=0 cargo test --release --lib inside::mutants::many -- --ignored --nocapture`.

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::process::{Child, Command, Stdio};
use std::sync::{OnceLock, mpsc};
use std::time::Duration;

use movewright::bounds::Effort;
use movewright::check::Approval;
use movewright::compile::Compiled;
use movewright::number::generator::Generator;
use movewright::output::columns::{self, Column};

use crate::inside::common::inputs::Inputs;

/// Bounds of an input of 1 MiB and less: seconds of one core, and what each axis, frame and pass may add; MiB.
const SECONDS: f64 = 2.0;
const SECONDS_A_COUNT: f64 = 2e-7;
const MIB: f64 = 512.0;

const MOST_BYTES: usize = 1 << 20;

/// The lines of a table with its header; those before the first header are a table too.
type Table = Vec<String>;

fn tables(text: &str) -> Vec<Table> {
    let mut all: Vec<Table> = vec![Vec::new()];
    for line in text.lines() {
        if line.starts_with('[') {
            all.push(Vec::new());
        }
        all.last_mut().unwrap().push(line.to_owned());
    }
    all
}

/// Where a number stands: table, line, bytes.
type Spot = (usize, usize, core::ops::Range<usize>);

fn numbers(all: &[Table]) -> Vec<Spot> {
    let mut found = Vec::new();
    for (i, table) in all.iter().enumerate() {
        for (k, line) in table.iter().enumerate() {
            let Some(from) = line.find('=').filter(|_| !line.starts_with("format") && !line.trim_start().starts_with('#')) else {
                continue;
            };
            let bytes = line.as_bytes();
            let mut at = from;
            let mut quoted = false;
            while at < bytes.len() {
                quoted ^= bytes[at] == b'"';
                let begins =
                    (bytes[at].is_ascii_digit() || bytes[at] == b'-') && !bytes[at - 1].is_ascii_alphanumeric() && bytes[at - 1] != b'_';
                if quoted || !begins {
                    at += 1;
                    continue;
                }
                let ends = |b: &u8| !(b.is_ascii_digit() || matches!(b, b'.' | b'-' | b'e'));
                let end = bytes[at..].iter().position(ends).map_or(bytes.len(), |n| at + n);
                if line[at..end].parse::<f64>().is_ok() {
                    found.push((i, k, at..end));
                }
                at = end.max(at + 1);
            }
        }
    }
    found
}

fn read(all: &[Table], (i, k, bytes): &Spot) -> String {
    all[*i][*k][bytes.clone()].to_owned()
}

fn write(all: &mut [Table], (i, k, bytes): &Spot, text: &str) {
    all[*i][*k].replace_range(bytes.clone(), text);
}

fn pick(g: &mut Generator, n: usize) -> usize {
    ((g.unit() * n as f64) as usize).min(n.max(1) - 1)
}

fn one<T: Copy>(g: &mut Generator, of: &[T]) -> T {
    of[pick(g, of.len())]
}

/// One change, in a word.
fn change(g: &mut Generator, all: &mut Vec<Table>) -> String {
    let spots = numbers(all);
    let kind = g.unit();
    if kind < 0.5 && !spots.is_empty() {
        let spot = &spots[pick(g, spots.len())];
        let power = one(g, &[1, 1, 2, 2, 3, 3, 4, 5, 6, 8, 9, 12]) * one(g, &[1, -1]);
        let x: f64 = read(all, spot).parse().unwrap();
        write(all, spot, &shown(x * 10_f64.powi(power)));
        return format!("x1e{power}");
    }
    if kind < 0.6 && spots.len() > 1 {
        let (a, b) = (spots[pick(g, spots.len())].clone(), spots[pick(g, spots.len())].clone());
        if (a.0, a.1) != (b.0, b.1) {
            let (x, y) = (read(all, &a), read(all, &b));
            write(all, &a, &y);
            write(all, &b, &x);
        }
        return "swap".to_owned();
    }
    if kind < 0.65 && !spots.is_empty() {
        let spot = &spots[pick(g, spots.len())];
        write(all, spot, one(g, &["0", "-1", "1", "1e9", "-1e9", "1e-9", "360", "1000000"]));
        return "set".to_owned();
    }
    if kind < 0.87 {
        return repeat(g, all);
    }
    if kind < 0.93 {
        let lists: Vec<(usize, usize)> = all
            .iter()
            .enumerate()
            .flat_map(|(i, t)| t.iter().enumerate().filter(|(_, l)| l.starts_with("keys = [[")).map(move |(k, _)| (i, k)))
            .collect();
        if let Some((i, k)) = lists.get(pick(g, lists.len())).copied() {
            let (n, step, size) =
                (one(g, &[10, 100, 1000, 10_000, 40_000]), one(g, &[0.001, 0.01, 0.1, 1.0, 10.0]), one(g, &[1.0, 10.0, 100.0, 1e4]));
            let keys: Vec<String> = (0..n).map(|j| format!("[{:.6}, {:.4}]", step * f64::from(j), size * g.unit())).collect();
            all[i][k] = format!("keys = [{}]", keys.join(", "));
            return format!("{n} keys");
        }
    }
    if all.len() > 2 {
        let gone = all.remove(1 + pick(g, all.len() - 1));
        return format!("without {}", gone[0]);
    }
    String::new()
}

fn shown(x: f64) -> String {
    if x == x.trunc() && x.abs() < 1e15 { format!("{x}") } else { format!("{x:e}") }
}

/// A table again and again; of a group all that belongs to it. What has a name has a new one each time.
fn repeat(g: &mut Generator, all: &mut Vec<Table>) -> String {
    let i = 1 + pick(g, all.len() - 1);
    let header = all[i][0].clone();
    let mut end = i + 1;
    if header.starts_with("[[group]]") {
        while end < all.len() && !all[end][0].starts_with("[[group]]") {
            end += 1;
        }
    }
    let block: Vec<Table> = all[i..end].to_vec();
    let length: usize = block.iter().flatten().map(|l| l.len() + 1).sum();
    let n = one(g, &[1, 2, 3, 8, 16, 64, 64, 256, 1000, 4000]).min(MOST_BYTES / length.max(1)).max(1);
    let varied = g.unit() < 0.5;
    let mut again = Vec::new();
    for copy in 0..n {
        for (k, table) in block.iter().enumerate() {
            let mut table = table.clone();
            if k == 0 {
                for line in &mut table {
                    if let Some(name) = line.strip_prefix("name = \"").and_then(|rest| rest.split('"').next()) {
                        *line = format!("name = \"{name}_{copy}\"");
                    }
                }
                if varied && n <= 64 {
                    let mut one_table = vec![table];
                    let spots = numbers(&one_table);
                    if let Some(spot) = spots.get(pick(g, spots.len())) {
                        let x: f64 = read(&one_table, spot).parse().unwrap();
                        write(&mut one_table, spot, &shown(x * (1.0 + 0.01 * copy as f64)));
                    }
                    table = one_table.remove(0);
                }
            }
            again.push(table);
        }
    }
    all.splice(end..end, again);
    format!("{n} more {header}")
}

/// What is changed: small shots first, then the one with one of everything, short and as it is.
fn bases() -> &'static [Inputs] {
    static BASES: OnceLock<Vec<Inputs>> = OnceLock::new();
    BASES.get_or_init(|| {
        let small = SMALL.map(|name| Inputs::of(&format!("slips/{name}")));
        let large = Inputs::of("costs");
        let short = large.clone().with("shot.toml", "frames = [1, 36]", "frames = [1, 6]");
        small.into_iter().chain([short, large]).collect()
    })
}

/// Folders of `fixtures/slips`. A slip under an aim mostly ends with the budget, be the shot as small as it may; so the aims are rarer.
const SMALL: [&str; 6] = ["hung", "plate", "winged", "turned", "aimed", "followed"];

/// Which base a seed changes: of 500 ten the shot with one of everything, one of them as long as it is; ten a smoothed aim, forty a plain one.
fn base(seed: u64) -> usize {
    match (seed % 500, seed % 50) {
        (0, _) => 7,
        (_, 0) => 6,
        (_, 1) => 5,
        (_, 2..=5) => 4,
        (_, k) => (k % 4) as usize,
    }
}

/// The mutant of a seed, and what was changed.
pub fn mutant(seed: u64) -> (Inputs, String) {
    let mut stirred = Generator::new(seed);
    let g = &mut Generator::new(stirred.bits());
    let mut inputs = bases()[base(seed)].clone();
    let mut changes = Vec::new();
    for _ in 0..one(g, &[1, 1, 2, 2, 3, 4]) {
        let file = one(g, &["shot.toml", "shot.toml", "stage.toml"]);
        let text = inputs.0.get_mut(file).unwrap();
        let mut all = tables(text);
        changes.push(format!("{file}: {}", change(g, &mut all)));
        let lines: Vec<String> = all.into_iter().flatten().collect();
        *text = lines.join("\n");
        let mut end = text.len().min(MOST_BYTES);
        while !text.is_char_boundary(end) {
            end -= 1;
        }
        text.truncate(end);
    }
    (inputs, changes.join("; "))
}

/// What a job came to: a word, axes x frames x passes, and the counted work.
fn job(inputs: &Inputs) -> (&'static str, u64, Vec<u64>) {
    let Ok(loaded) = inputs.load() else { return ("refused by the reader", 0, Vec::new()) };
    let counts = (loaded.stage.axes().len() * loaded.shot.frames().count() * loaded.shot.passes().len()) as u64;
    let Ok(compiled) = Compiled::compile(loaded.stage, loaded.shot) else { return ("refused by the compiler", counts, Vec::new()) };
    let Ok(report) = compiled.check() else { return ("no plan", counts, Vec::new()) };
    let used = |c: &Compiled| Effort::ALL.map(|effort| c.work().used(effort));
    let work = used(&compiled).into_iter().zip(used(&report.compiled)).map(|(a, b)| a + b).collect();
    let Some(approval) = Approval::within_limits(&report) else { return ("limits exceeded", counts, work) };
    for pass in approval.report().compiled.shot().passes() {
        columns::write(std::io::sink(), &approval.report().compiled, pass, Column::Steps).unwrap();
    }
    ("within limits", counts, work)
}

/// Seconds of processor time of all threads of this process.
fn seconds() -> f64 {
    let of = |task: std::io::Result<std::fs::DirEntry>| -> Option<f64> {
        let text = std::fs::read_to_string(task.ok()?.path().join("schedstat")).ok()?;
        text.split(' ').next()?.parse().ok()
    };
    std::fs::read_dir("/proc/self/task").unwrap().filter_map(of).sum::<f64>() * 1e-9
}

/// The peak of this process's memory since [`forget_peak`], MiB.
fn peak() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find(|l| l.starts_with("VmHWM")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse::<f64>().unwrap() / 1024.0
}

fn forget_peak() {
    std::fs::write("/proc/self/clear_refs", "5").unwrap();
}

pub fn wished(name: &str, otherwise: u64) -> u64 {
    std::env::var(name).ok().map_or(otherwise, |n| n.parse().expect("a whole number"))
}

/// The child: one mutant after the other, a line each. It runs only where the parent says so.
#[test]
#[ignore = "the child of `many`"]
fn one_after_another() {
    if std::env::var_os("MUTANT_CHILD").is_none() {
        return;
    }
    let from = wished("FROM", 0);
    for seed in from..from + wished("MUTANTS", 1) {
        println!("begin {seed}");
        let (inputs, _) = mutant(seed);
        forget_peak();
        let (start, before) = (seconds(), peak());
        let done = catch_unwind(AssertUnwindSafe(|| job(&inputs)));
        let (word, counts, work) = done.unwrap_or(("panic", 0, Vec::new()));
        println!("done {seed} {:.6} {:.1} {counts} {} {work:?} {word}", seconds() - start, (peak() - before).max(0.0), inputs.bytes());
    }
}

fn child(from: u64, n: u64) -> Child {
    // Three gibibytes: an abort within them is found, the machine survives.
    let program = std::env::current_exe().unwrap();
    Command::new("sh")
        .args(["-c", "ulimit -v 3145728; exec \"$0\" --exact inside::mutants::one_after_another --ignored --nocapture"])
        .arg(program)
        .envs([
            ("MUTANT_CHILD", "1".to_owned()),
            ("FROM", from.to_string()),
            ("MUTANTS", n.to_string()),
            ("RAYON_NUM_THREADS", "1".to_owned()),
        ])
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap()
}

/// Longest wait for one mutant: it then counts as one without end.
const PATIENCE: Duration = Duration::from_secs(120);

#[derive(Default)]
struct Tally {
    words: BTreeMap<String, u64>,
    slowest: Vec<(f64, u64)>,
    largest: Vec<(f64, u64)>,
    over: Vec<String>,
    failed: Vec<String>,
}

impl Tally {
    fn take(&mut self, line: &str) {
        let mut words = line.splitn(6, ' ');
        let mut next = || words.next().unwrap();
        let seed: u64 = next().parse().unwrap();
        let (time, mib, counts): (f64, f64, f64) = (next().parse().unwrap(), next().parse().unwrap(), next().parse().unwrap());
        let _bytes = next();
        let word = line.rsplit(']').next().unwrap().trim().to_owned();
        *self.words.entry(word.clone()).or_default() += 1;
        let (most, most_mib) = (SECONDS + SECONDS_A_COUNT * counts, MIB);
        if time > most || mib > most_mib {
            self.over.push(format!("seed {seed}: {time:.2} s, {mib:.0} MiB, {counts} counts, {word}"));
        }
        if time > 3.0 * most || mib > 3.0 * most_mib || word == "panic" {
            self.failed.push(format!("seed {seed}: {time:.2} s, {mib:.0} MiB, {word}"));
        }
        for (list, value) in [(&mut self.slowest, time), (&mut self.largest, mib)] {
            list.push((value, seed));
            list.sort_by(|a, b| b.0.total_cmp(&a.0));
            list.truncate(3);
        }
    }
}

/// See the head of the file. `.ci/run` runs 2,000 from a seed that moves with the commit.
#[test]
#[ignore = "long; processor time and memory are measured"]
fn many() {
    let (from, n) = (wished("FROM", 0), wished("MUTANTS", 2000));
    let mut tally = Tally::default();
    let mut next = from;
    while next < from + n {
        let mut child = child(next, from + n - next);
        let lines = BufReader::new(child.stdout.take().unwrap()).lines();
        let (send, receive) = mpsc::channel();
        std::thread::spawn(move || lines.map_while(Result::ok).take_while(|l| send.send(l.clone()).is_ok()).for_each(drop));
        let mut begun = None;
        let why = loop {
            match receive.recv_timeout(PATIENCE) {
                Ok(line) if line.starts_with("begin ") => begun = line[6..].parse::<u64>().ok(),
                Ok(line) if line.starts_with("done ") => {
                    tally.take(&line[5..]);
                    next = begun.take().unwrap() + 1;
                }
                Ok(_) => {}
                Err(mpsc::RecvTimeoutError::Timeout) => break "no end",
                Err(mpsc::RecvTimeoutError::Disconnected) => break "abort",
            }
        };
        let _gone = child.kill();
        let _status = child.wait();
        if next < from + n {
            let seed = begun.unwrap_or(next);
            tally.failed.push(format!("seed {seed}: {why}"));
            next = seed + 1;
        }
    }
    let Tally { words, slowest, largest, over, failed } = tally;
    println!("{n} mutants from seed {from}: {words:?}\nslowest {slowest:.2?} s\nlargest {largest:.0?} MiB\nover the bounds: {over:#?}");
    for seed in failed.iter().filter_map(|f| f.split([' ', ':']).nth(1)?.parse().ok()) {
        println!("seed {seed}: {}", mutant(seed).1);
    }
    assert!(failed.is_empty(), "{failed:#?}");
    assert!(words.get("within limits").copied().unwrap_or_default() * 50 > n, "too few mutants are good: {words:?}");
}

/// What one seed changes, and what it costs; or what the shot in the folder `OF` costs; `TO` is a folder to write it to. `FROM=17 cargo test --release --lib inside::mutants::show -- --ignored --nocapture`.
#[test]
#[ignore = "for one seed"]
fn show() {
    let seed = wished("FROM", 0);
    let (mut inputs, changes) = mutant(seed);
    println!("{changes}");
    if let Some(folder) = std::env::var_os("OF") {
        let read =
            |(name, text): (&String, &mut String)| *text = std::fs::read_to_string(std::path::Path::new(&folder).join(name)).unwrap();
        inputs =
            Inputs(std::fs::read_dir(&folder).unwrap().map(|e| (e.unwrap().file_name().into_string().unwrap(), String::new())).collect());
        inputs.0.iter_mut().for_each(read);
    }
    if let Some(folder) = std::env::var_os("TO") {
        inputs.0.iter().for_each(|(name, text)| std::fs::write(std::path::Path::new(&folder).join(name), text).unwrap());
    }
    let start = seconds();
    println!("{:?} {:.3} s", job(&inputs), seconds() - start);
}

/// What a change does to a base is the change's doing.
#[test]
fn every_base_is_within_its_limits_and_has_a_share() {
    let mut shares = [0; 8];
    (0..500).for_each(|seed| shares[base(seed)] += 1);
    assert_eq!(shares, [110, 110, 110, 110, 40, 10, 9, 1]);
    for inputs in bases() {
        assert_eq!(job(inputs).0, "within limits", "{:?}", inputs.0.get("shot.toml"));
    }
}

/// A few, in every run of the tests: changed, read and counted in this process.
#[test]
fn mutants_of_every_kind_keep_the_budget() {
    let mut words = BTreeMap::new();
    let seeds = if cfg!(debug_assertions) { 100 } else { 150 };
    for seed in 0..seeds {
        let (inputs, changes) = mutant(seed);
        assert!(inputs.0.values().all(|t| t.len() <= MOST_BYTES), "{seed}");
        let (word, counts, work) = job(&inputs);
        *words.entry(word).or_insert(0) += 1;
        for (effort, used) in Effort::ALL.iter().zip(work) {
            let most = movewright::bounds::Budget::Usual.most(*effort, counts);
            // Searches side by side may each finish what they have begun.
            assert!(used <= most + most / 2, "seed {seed} ({changes}): {effort:?} {used} of {most}");
        }
    }
    assert!(words.len() >= 4, "{words:?}");
}
