//! What the ledger counts, through the library's public interface; everything that is read or prepared is prepared beforehand.
//!
//! Invariant: each preparation receives how many units its subject has, and fails if they are another number: the counts for one unit are then of
//! what they say. One thread does all the work, the calling one, but for the readers of `compare`, which start threads of their own.

#![allow(missing_docs, clippy::missing_panics_doc, clippy::unwrap_used, clippy::indexing_slicing, reason = "benches")]

#[path = "../inputs/mod.rs"]
mod inputs;
#[path = "../inputs/logs.rs"]
mod logs;

use std::io::Cursor;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use movewright::measure::{AxisFacts, Input, Options, compare};
use movewright::shot::Shape;
use movewright::{Shot, Stage, input};

pub use movewright::Compiled;
pub use movewright::measure::Comparison;
pub use movewright::report::Report;

/// A stage and a shot to compile.
pub type Parts = (Arc<Stage>, Arc<Shot>);

/// Makes the calling thread the one worker of the pool: callgrind counts by thread.
fn one_thread() {
    // A second preparation in the same process finds the pool there.
    let _there = rayon::ThreadPoolBuilder::new().num_threads(1).use_current_thread().build_global();
    assert_eq!(rayon::current_num_threads(), 1);
}

fn parts_of_keys(frames: i64, shape: Shape) -> Parts {
    one_thread();
    let (stage, shot) = inputs::inputs(56, frames, shape);
    (Arc::new(stage), Arc::new(shot))
}

fn parts_of_demo() -> Parts {
    one_thread();
    let loaded = input::load(&Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fixtures/herons/shot.toml")).unwrap();
    (Arc::new(loaded.stage), Arc::new(loaded.shot))
}

fn keys(units: usize, shape: Shape) -> Parts {
    let parts = parts_of_keys(701, shape);
    assert_eq!(include_str!("../../fixtures/bench/keys.csv").lines().skip(1).count(), units);
    parts
}

/// 56 axes of 12 keys over 701 frames, at rest at both ends.
#[must_use]
pub fn resting(units: usize) -> Parts {
    keys(units, Shape::MinimumJerk)
}

#[must_use]
pub fn resting_compiled(units: usize) -> Compiled {
    compiled(resting(units))
}

/// The same keys, moving at both cuts: run-up and run-down are looked for.
#[must_use]
pub fn moving(units: usize) -> Parts {
    keys(units, Shape::NaturalCubic)
}

#[must_use]
pub fn moving_compiled(units: usize) -> Compiled {
    compiled(moving(units))
}

/// 56 drifts, each with a seed of its own: every piece is fitted. `units` pieces.
#[must_use]
pub fn drifts(units: usize) -> Parts {
    let stage = Arc::clone(&parts_of_keys(701, Shape::MinimumJerk).0);
    let mut shot = Shot::builder(&stage, "drifts", 0..=700, "24").unwrap();
    for (axis, seed) in stage.axis_names().iter().zip(1..) {
        shot.drift(axis, seed, 10.0, 50.0).unwrap();
    }
    shot.pass("picture").moving(12.0).unwrap();
    let parts = (Arc::clone(&stage), Arc::new(shot.build().unwrap()));
    let compiled = compiled(parts.clone());
    assert_eq!(stage.axis_names().iter().map(|a| compiled.axis(a).unwrap().curve().pieces().count()).sum::<usize>(), units);
    parts
}

/// The demo: four figures, camera, gobos; tracks, cycles, drifts, aims, mechanisms.
#[must_use]
pub fn demo(units: usize) -> Parts {
    let parts = parts_of_demo();
    assert_eq!(parts.0.axis_names().len(), units);
    parts
}

#[must_use]
pub fn demo_compiled(units: usize) -> Compiled {
    compiled(demo(units))
}

#[must_use]
pub fn demo_checked(units: usize) -> Report {
    checked(&demo_compiled(units))
}

/// Hoisted figures with a limit of swing and three wires each, and nothing else, in a moving pass of 5,400 s and a held one that is shaped and takes only as long as each frame needs. `units` figures.
#[must_use]
pub fn loads(units: usize) -> Compiled {
    one_thread();
    let mut stage = "format = 1\nname = \"Loads\"\n[motor.frame57]\nfull_steps_per_rev = 200\n".to_owned();
    let mut shot = "format = 1\nname = \"Loads\"\nstage = \"stage.toml\"\nframe_rate = \"24\"\nframes = [1, 450]\n".to_owned();
    for i in 0..units {
        let axis = |name: &str| {
            format!(
                "[[group.axis]]\nname = \"{name}\"\nunit = \"mm\"\ntravel = [-4000, 4000]\nmax_velocity = 60\nmax_acceleration = 20\nmax_jerk = 40\nmotor = \"frame57\"\n\
                 travel_per_rev = 60\n"
            )
        };
        stage += &format!("[[group]]\nname = \"heron_{i}\"\n{}{}{}", axis("bridge"), axis("trolley"), axis("hoist"));
        stage += "[[group.joint]]\nslide = [1, 0, 0]\nchannel = \"bridge\"\n[[group.joint]]\nname = \"trolley\"\nslide = [0, 0, -1]\nchannel = \"trolley\"\n";
        stage += "[[group.joint]]\nslide = [0, 1, 0]\nchannel = \"hoist\"\n";
        stage += "[group.swing]\njoint = \"trolley\"\nlength = 1600\nlength_channel = \"hoist\"\nlength_per_unit = -1\ndamping = 0.01\nlimit = 0.4\n";
        stage += "[group.hang]\nmass = 1.9\ncentre = [0, -30, 4]\nwires = [[90, 0, 0], [-45, 0, 78], [-45, 0, -78]]\n";
        for (channel, far) in [("bridge", 900), ("trolley", 200), ("hoist", 500)] {
            let (turn, far) = (150 + 40 * i, far + 10 * i);
            shot += &format!("[[track]]\nchannel = \"heron_{i}.{channel}\"\nkeys = [[1, 0], [{turn}, {far}], [450, 100]]\n");
        }
    }
    shot += "[[pass]]\nname = \"moving\"\nexposure = \"moving\"\nseconds_per_frame = 12\nshutter = 180\n[[pass]]\nname = \"held\"\nexposure = \"held\"\n";
    shot += "seconds_per_frame = 12\nshutter = 180\ninterval = \"shortest\"\nshaping = \"zero_vibration\"\n";
    compiled_of(&stage, &shot)
}

/// Figures with limbs and wires that pass one another, and nothing else: poses and clearance are what a check of them does. `units` figures.
#[must_use]
pub fn figures(units: usize) -> Compiled {
    one_thread();
    let mut stage = "format = 1\nname = \"Figures\"\nclearance = 40\n[motor.frame57]\nfull_steps_per_rev = 200\n".to_owned();
    let mut shot = "format = 1\nname = \"Figures\"\nstage = \"stage.toml\"\nframe_rate = \"24\"\nframes = [1, 60]\n".to_owned();
    for i in 0..units {
        let axis = |name: &str, unit: &str| {
            format!(
                "[[group.axis]]\nname = \"{name}\"\nunit = \"{unit}\"\ntravel = [-4000, 4000]\nmax_velocity = 500\nmax_acceleration = 500\nmax_jerk = 900\nmotor = \"frame57\"\n\
                 travel_per_rev = 60\n"
            )
        };
        stage += &format!("[[group]]\nname = \"heron_{i}\"\n{}{}{}", axis("bridge", "mm"), axis("wing", "deg"), axis("neck", "deg"));
        stage += &format!("[[group.joint]]\nslide = [1, 0, 0]\nchannel = \"bridge\"\noffset = [0, 0, {}]\n", 500 * i);
        for limb in ["wing", "neck"] {
            stage += &format!("[[group.limb]]\nname = \"{limb}\"\npivot = [0, 20, 10]\nturn = [1, 0, 0]\nchannel = \"{limb}\"\n");
            stage += &format!("[[group.envelope]]\nlimb = \"{limb}\"\nfrom = [0, 0, 0]\nto = [0, 0, 120]\nradius = 12\n");
        }
        stage += "[[group.envelope]]\nfrom = [-80, 0, 0]\nto = [80, 0, 0]\nradius = 40\n";
        stage += "[[group.wire]]\nfrom = \"body\"\nto = \"body\"\nat = [[0, 40, 0], [0, 900, 0]]\ndiameter = 0.4\n";
        let way = if i % 2 == 0 { 900 } else { -900 };
        shot += &format!("[[track]]\nchannel = \"heron_{i}.bridge\"\nkeys = [[1, {}], [60, {way}]]\n", -way);
        shot += &format!("[[cycle]]\nchannel = \"heron_{i}.wing\"\nperiod = 30\nkeys = [[0, -20], [0.5, 40]]\n");
    }
    shot += "[[pass]]\nname = \"picture\"\nexposure = \"moving\"\nseconds_per_frame = 10\nshutter = 180\n";
    compiled_of(&stage, &shot)
}

/// An axis that follows a recording: a smooth motion with a little noise, half a mm near every sample. `units` samples, one for each frame.
#[must_use]
pub fn recording(units: usize) -> Parts {
    one_thread();
    let stage = "format = 1\nname = \"Reeds\"\n[motor.frame57]\nfull_steps_per_rev = 200\n[[group]]\nname = \"heron\"\n[[group.axis]]\nname = \"lift\"\nunit = \"mm\"\n\
                 travel = [-400, 400]\nmax_velocity = 500\nmax_acceleration = 500\nmax_jerk = 900\nmotor = \"frame57\"\ntravel_per_rev = 60\n";
    let shot = format!(
        "format = 1\nname = \"Hand\"\nstage = \"stage.toml\"\nframe_rate = \"24\"\nframes = [1, {units}]\n[[track]]\nchannel = \"heron.lift\"\nsamples = \"hand.csv\"\nwithin = 0.5\n\
         [[pass]]\nname = \"picture\"\nexposure = \"moving\"\nseconds_per_frame = 10\nshutter = 180\n"
    );
    // Noise from a generator of its own, so that the samples are the same for ever: a linear congruence of 31 bits.
    let mut state = 7_u64;
    let mut hand = "frame,heron.lift\n".to_owned();
    for frame in 1..=units {
        state = (1_103_515_245 * state + 12_345) % (1 << 31);
        let (t, noise) = (frame as f64, 0.3 * (state as f64 / f64::from(1_u32 << 31) - 0.5));
        hand += &format!("{frame},{:.6}\n", 40.0 * (t / 15.0).sin() + 25.0 * (t / 6.1).sin() + noise);
    }
    parts_of(&[("stage.toml", stage), ("shot.toml", &shot), ("hand.csv", &hand)])
}

/// The recording of the guide: `units` rows of ten markers.
#[must_use]
pub fn performance(units: usize) -> PathBuf {
    one_thread();
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fixtures/performance/wing_beat.csv");
    assert_eq!(std::fs::read_to_string(&path).unwrap().lines().skip(1).count(), units);
    path
}

/// Reads it, removes the motion of the body, finds drives, beat, lags and hinges.
#[must_use]
pub fn studied(recording: &Path) -> usize {
    movewright::study_counted(recording, &["chest", "back", "rump", "belly"]).unwrap()
}

/// The demo, and marks on its figures in two runs: frame, figure, places.
pub struct Marked {
    compiled: Compiled,
    marks: Vec<(i64, &'static str, [f64; 2], [f64; 2])>,
}

/// One mark on each of four figures in 72 frames, in the middle of the picture; from the 24th on those of one figure are shifted. `units` marks.
#[must_use]
pub fn marked(units: usize) -> Marked {
    let compiled = compiled(parts_of_demo());
    let figures = ["heron_a", "heron_b", "heron_c", "heron_d"];
    let at = [2048.0, 1536.0];
    let second = |frame: i64, figure: &str| if frame >= 124 && figure == "heron_b" { [at[0] + 3.0, at[1] + 1.0] } else { at };
    let marks: Vec<_> = (100..172).flat_map(|n| figures.map(|f| (n, f, at, second(n, f)))).collect();
    assert_eq!(marks.len(), units);
    Marked { compiled, marks }
}

/// What one step of every axis moves each mark, and the losses that explain the shifts.
#[must_use]
pub fn explained(marked: &Marked) -> usize {
    movewright::lost_steps_counted(&marked.compiled, &marked.marks).unwrap()
}

/// Stage and shot of these texts.
fn compiled_of(stage: &str, shot: &str) -> Compiled {
    compiled(parts_of(&[("stage.toml", stage), ("shot.toml", shot)]))
}

/// Stage and shot of files with these texts.
fn parts_of(files: &[(&str, &str)]) -> Parts {
    let folder = std::env::temp_dir().join(format!("movewright-ledger-{}", std::process::id()));
    std::fs::create_dir_all(&folder).unwrap();
    for (name, text) in files {
        std::fs::write(folder.join(name), text).unwrap();
    }
    let loaded = input::load(&folder.join("shot.toml")).unwrap();
    std::fs::remove_dir_all(&folder).unwrap();
    (Arc::new(loaded.stage), Arc::new(loaded.shot))
}

#[must_use]
pub fn compiled((stage, shot): Parts) -> Compiled {
    Compiled::new(stage, shot).unwrap()
}

#[must_use]
pub fn checked(compiled: &Compiled) -> Report {
    compiled.check().unwrap()
}

/// Rows for a second: some thousand rows of the program of a short shot.
const RATE: &str = "20";

/// A checked shot of 56 axes whose rows are written; `units` counts.
#[must_use]
pub fn rows_checked(units: u64) -> Report {
    let report = checked(&compiled(parts_of_keys(15, Shape::MinimumJerk)));
    let rows = report.over_limits().rows("picture", RATE).unwrap().len() as u64;
    assert_eq!(rows * 56, units);
    report
}

/// Evaluates, formats and writes every row; the bytes go nowhere.
pub fn table(report: &Report) {
    report.over_limits().table("picture", RATE).unwrap().write(&mut std::io::sink()).unwrap();
}

/// Every row by itself, with velocities and accelerations; the sum of all counts.
#[must_use]
pub fn rows(report: &Report) -> i64 {
    let rows = report.over_limits().rows("picture", RATE).unwrap();
    rows.map(|row| row.counts.iter().sum::<i64>()).sum()
}

/// Two logs as bytes, and what is known of their axes.
pub struct Logs {
    pass: Vec<u8>,
    take: Vec<u8>,
    facts: Vec<AxisFacts>,
}

/// A pass and one take of 56 axes; `units` positions in both together.
#[must_use]
pub fn logs(units: u64) -> Logs {
    one_thread();
    let rows = units / (2 * logs::AXES as u64);
    assert_eq!(rows * 2 * logs::AXES as u64, units);
    let mut both = Logs { pass: Vec::new(), take: Vec::new(), facts: logs::facts() };
    logs::write(&mut both.pass, rows, false);
    logs::write(&mut both.take, rows, true);
    both
}

#[must_use]
pub fn compared(logs: &Logs) -> Comparison {
    let input = |name: &str, bytes| Input { name: name.to_owned(), reader: bytes };
    compare(
        input("pass", Cursor::new(logs.pass.as_slice())),
        vec![input("take", Cursor::new(logs.take.as_slice()))],
        &logs.facts,
        &Options::default(),
    )
    .unwrap()
}

#[must_use]
pub fn page_of(report: &Report) -> String {
    report.page().unwrap()
}
