//! Repeatability as properties: passes register, an axis depends neither on its neighbours nor on any order, and a written folder holds all it was made from.
//!
//! Shots here have everything at once: tracks of every shape, cycles, drifts, a delayed and scaled copy, passes of any pace, shutter and exposure with groups parked. What is
//! expected is read from written columns, not from the registration report alone.

use std::collections::BTreeMap;
use std::fmt::Write;
use std::path::Path;

use crate::inside::common::{Program, checked, column, compiled, table};
use movewright::check::Approval;
use movewright::check::register::{Registration, register};
use movewright::compile::Compiled;
use movewright::input;
use movewright::output::Export;
use movewright::output::columns::Column;
use movewright::program;
use movewright::shot::{Copy, Exposure, Pass, Shot};
use movewright::stage::{Axis, GroupSpec, Stage};
use proptest::prelude::*;

const GROUPS: [&str; 4] = ["camera", "heron_a", "heron_b", "gobo"];
const AXES: [&str; 3] = ["lift", "wing", "turn"];
const FRAMES: (i64, i64) = (1, 60);

/// A stage of these axes, `group.axis`, in this order; axes of a group stand together.
fn marsh(names: &[(usize, usize)]) -> Stage {
    let mut groups: Vec<GroupSpec> = Vec::new();
    for (group, axis) in names {
        let axis = Axis::new(crate::inside::common::axis(AXES[*axis])).unwrap();
        match groups.iter_mut().find(|g| g.name == GROUPS[*group]) {
            Some(g) => g.axes.push(axis),
            None => groups.push(GroupSpec { name: GROUPS[*group].to_owned(), axes: vec![axis] }),
        }
    }
    Stage::new("marsh", 0.25, groups).unwrap()
}

fn every_axis() -> Vec<(usize, usize)> {
    (0..GROUPS.len()).flat_map(|g| (0..AXES.len()).map(move |a| (g, a))).collect()
}

/// How one pass is run.
#[derive(Debug, Clone)]
struct Run {
    exposure: Exposure,
    pace: f64,
    shutter: f64,
    parked: Vec<bool>,
}

/// Everything of a shot but its stage: one program an axis, the copy from heron_a to heron_b, passes.
#[derive(Debug, Clone)]
struct Whole {
    programs: Vec<Program>,
    delay: f64,
    factor: f64,
    runs: Vec<Run>,
}

fn any_run() -> impl Strategy<Value = Run> {
    let exposure = prop::sample::select(vec![Exposure::Moving, Exposure::Held]);
    let shutter = prop_oneof![Just(360.0), Just(180.0), 1.0..360.0_f64];
    (exposure, 0.5..60.0_f64, shutter, prop::collection::vec(prop::bool::weighted(0.25), GROUPS.len()))
        .prop_map(|(exposure, pace, shutter, parked)| Run { exposure, pace, shutter, parked })
}

fn any_whole() -> impl Strategy<Value = Whole> {
    (
        prop::collection::vec(crate::inside::common::any_program(), GROUPS.len() * AXES.len()),
        0.0..15.0_f64,
        prop_oneof![Just(1.0), -1.5..1.5_f64],
        prop::collection::vec(any_run(), 2..4),
    )
        .prop_map(|(programs, delay, factor, runs)| Whole { programs, delay, factor, runs })
}

fn place(name: &str) -> (usize, usize) {
    let (group, axis) = name.split_once('.').unwrap();
    (GROUPS.iter().position(|g| *g == group).unwrap(), AXES.iter().position(|a| *a == axis).unwrap())
}

impl Whole {
    fn program(&self, name: &str) -> &Program {
        let (group, axis) = place(name);
        &self.programs[group * AXES.len() + axis]
    }

    /// The shot on a stage that has some of the axes: the programs of those, passes that park those groups that are there, in this order of passes.
    fn on(&self, stage: &Stage, order: &[usize]) -> Shot {
        let programs: Vec<Program> = stage.axis_names().iter().map(|name| self.program(name).clone()).collect();
        let copy = stage.group_of_name("heron_a").zip(stage.group_of_name("heron_b"));
        let copies = copy.map(|(from, to)| Copy::new(from, to, self.delay, vec![("wing".to_owned(), self.factor)]).unwrap());
        let pass = |i: &usize| {
            let run = &self.runs[*i];
            let park = GROUPS.iter().zip(&run.parked).filter(|(_, parked)| **parked).filter_map(|(g, _)| stage.group_of_name(g)).collect();
            Pass::new(stage, &format!("pass_{i}"), run.exposure, run.pace, run.shutter, 0.0, park).unwrap()
        };
        crate::inside::common::shot_with(stage, FRAMES, &programs, order.iter().map(pass).collect(), copies.into_iter().collect())
    }

    fn in_order(&self) -> Vec<usize> {
        (0..self.runs.len()).collect()
    }

    /// The same as a shot file and the key files of `camera.lift`, numbers so that they come back bit for bit.
    fn text(&self) -> BTreeMap<String, String> {
        let mut files = BTreeMap::new();
        let mut shot = format!(
            "format = 1\nname = \"reeds\"\nstage = \"stage.toml\"\nframe_rate = \"24\"\nframes = [{}, {}]\ntimecode_start = \"00:00:00:00\"\n",
            FRAMES.0, FRAMES.1
        );
        let pairs = |keys: &[(f64, f64)]| format!("{:?}", keys.iter().map(|(t, v)| [*t, *v]).collect::<Vec<_>>());
        for (i, run) in self.runs.iter().enumerate() {
            let park: Vec<&str> = GROUPS.iter().zip(&run.parked).filter(|(_, p)| **p).map(|(g, _)| *g).collect();
            let (exposure, pace, shutter) = (run.exposure.name(), run.pace, run.shutter);
            write!(shot, "[[pass]]\nname = \"pass_{i}\"\nexposure = \"{exposure}\"\nseconds_per_frame = {pace:?}\n").unwrap();
            write!(shot, "shutter = {shutter:?}\npark = {park:?}\n").unwrap();
        }
        for (group, axis) in every_axis() {
            let name = format!("{}.{}", GROUPS[group], AXES[axis]);
            let program = self.program(&name);
            for (n, (shape, _, keys)) in program.tracks.iter().enumerate() {
                writeln!(shot, "[[track]]\nshape = \"{}\"", shape.name()).unwrap();
                if (group, axis) == (0, 0) {
                    writeln!(shot, "keys = \"lift_{n}.csv\"").unwrap();
                    let rows: String = keys.iter().map(|(t, v)| format!("{t},{v}\n")).collect();
                    files.insert(format!("lift_{n}.csv"), format!("frame,{name}\n{rows}"));
                } else {
                    writeln!(shot, "channel = \"{name}\"\nkeys = {}", pairs(keys)).unwrap();
                }
            }
            for c in &program.cycles {
                let (period, phase, keys) = (c.period, c.phase, pairs(&c.keys));
                writeln!(shot, "[[cycle]]\nchannel = \"{name}\"\nperiod = {period:?}\nphase = {phase:?}\nkeys = {keys}").unwrap();
                for (what, keys) in [("amount", &c.amount), ("rate", &c.rate)].into_iter().filter(|(_, k)| !k.is_empty()) {
                    writeln!(shot, "{what} = {}", pairs(keys)).unwrap();
                }
            }
            for (seed, amplitude, period) in &program.drifts {
                writeln!(shot, "[[drift]]\nchannel = \"{name}\"\nseed = {seed}\namplitude = {amplitude:?}\nperiod = {period:?}").unwrap();
            }
        }
        let (delay, factor) = (self.delay, self.factor);
        writeln!(shot, "[[copy]]\nfrom = \"heron_a\"\nto = \"heron_b\"\ndelay = {delay:?}\nscale = {{ wing = {factor:?} }}").unwrap();
        files.insert("shot.toml".to_owned(), shot);
        files.insert("stage.toml".to_owned(), stage_text());
        files
    }
}

fn stage_text() -> String {
    let mut text = "format = 1\nname = \"marsh\"\nscale = 0.25\n[motor.frame57]\nfull_steps_per_rev = 200\n".to_owned();
    for group in GROUPS {
        writeln!(text, "[[group]]\nname = \"{group}\"").unwrap();
        for axis in AXES {
            write!(text, "[[group.axis]]\nname = \"{axis}\"\nunit = \"mm\"\ntravel = [-1000000, 1000000]\nmax_velocity = 100000\n")
                .unwrap();
            write!(text, "max_acceleration = 100000\nmax_jerk = 100000\nmotor = \"frame57\"\nmicrosteps = 8\ntravel_per_rev = 20\n")
                .unwrap();
        }
    }
    text
}

/// The columns of every pass, by pass and axis.
fn columns(stage: &Stage, shot: &Shot) -> BTreeMap<(String, String), Vec<String>> {
    let mv = compiled(stage, shot);
    let mut all = BTreeMap::new();
    for (i, pass) in shot.passes().iter().enumerate() {
        let table = table(&mv, i, Column::Steps);
        for name in stage.axis_names() {
            all.insert((pass.name().to_owned(), name.clone()), column(&table, name));
        }
    }
    all
}

/// The registration of all passes of a shot.
fn registration(compiled: &Compiled) -> Registration {
    let programs = program::Program::all(compiled).unwrap();
    register(&programs.iter().map(AsRef::as_ref).collect::<Vec<_>>())
}

/// Reads, compiles and writes; the shot it read.
fn export(shot: &Path, to: &Path) -> input::Loaded {
    let loaded = input::load(shot).unwrap_or_else(|r| panic!("{}", r.render(false)));
    let report = checked(&loaded.stage, &loaded.shot);
    let sources = loaded.sources.for_copying();
    let export = Export {
        parts: None,
        approval: Approval::over_limits(&report),
        sources: &sources,
        replace: false,
        wishes: movewright::output::handoff::sampling::Wishes::default(),
        rows: None,
    };
    export.write(to, &mut |_| {}).unwrap();
    loaded
}

/// Every file below a folder.
fn files(dir: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut found = BTreeMap::new();
    let mut waiting = vec![dir.to_owned()];
    while let Some(folder) = waiting.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                waiting.push(path);
            } else {
                found.insert(path.strip_prefix(dir).unwrap().to_string_lossy().into_owned(), std::fs::read(&path).unwrap());
            }
        }
    }
    found
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn every_axis_live_in_two_passes_has_one_column_in_both_and_parked_ones_stand(whole in any_whole()) {
        let stage = marsh(&every_axis());
        let shot = whole.on(&stage, &whole.in_order());
        let report = registration(&compiled(&stage, &shot));
        prop_assert!(report.registers());
        prop_assert_eq!(report.pairs.len(), whole.runs.len() * (whole.runs.len() - 1) / 2);
        let written = columns(&stage, &shot);
        let of = |pass: usize, name: &str| &written[&(format!("pass_{pass}"), name.to_owned())];
        for pair in &report.pairs {
            for (i, name) in stage.axis_ids().zip(stage.axis_names()) {
                let parked = |pass: usize| whole.runs[pass].parked[place(name).0];
                prop_assert_eq!(pair.parked.contains(&i), parked(pair.first) || parked(pair.second), "{}", name);
                for pass in [pair.first, pair.second] {
                    prop_assert!(!parked(pass) || of(pass, name).iter().all(|c| c == "0"), "{} in pass {}", name, pass);
                }
                if !pair.parked.contains(&i) {
                    prop_assert_eq!(of(pair.first, name), of(pair.second, name), "{}", name);
                }
            }
        }
    }

    /// An axis of heron_b keeps the one of heron_a it is copied from; nothing else needs another.
    #[test]
    fn some_of_the_axes_and_passes_in_any_order_have_the_columns_of_the_whole(
        whole in any_whole(),
        kept in prop::collection::vec(any::<bool>(), GROUPS.len() * AXES.len()),
        axes in Just(every_axis()).prop_shuffle(),
        back in any::<bool>(),
    ) {
        let keeps = |(g, a): &(usize, usize)| kept[g * AXES.len() + a] || (*g == 1 && kept[2 * AXES.len() + a]);
        let some: Vec<(usize, usize)> = axes.into_iter().filter(keeps).collect();
        prop_assume!(!some.is_empty());
        let all = marsh(&every_axis());
        let expected = columns(&all, &whole.on(&all, &whole.in_order()));
        let part = marsh(&some);
        let mut order = whole.in_order();
        if back {
            order.reverse();
        }
        let found = columns(&part, &whole.on(&part, &order));
        prop_assert_eq!(found.len(), some.len() * whole.runs.len());
        for (which, counts) in &found {
            prop_assert_eq!(counts, &expected[which], "{:?}", which);
        }
    }

    #[test]
    fn a_folder_compiled_again_from_its_source_is_the_same_bytes(whole in any_whole()) {
        let temp = tempfile::tempdir().unwrap();
        let written = temp.path().join("in");
        std::fs::create_dir(&written).unwrap();
        let text = whole.text();
        for (name, text) in &text {
            std::fs::write(written.join(name), text).unwrap();
        }
        let (once, twice) = (temp.path().join("once"), temp.path().join("twice"));
        let loaded = export(&written.join("shot.toml"), &once);
        export(&once.join("source/shot.toml"), &twice);
        let (a, b) = (files(&once), files(&twice));
        prop_assert_eq!(a.keys().collect::<Vec<_>>(), b.keys().collect::<Vec<_>>());
        for (name, bytes) in &a {
            prop_assert!(bytes == &b[name], "{} differs", name);
        }
        for (name, text) in &text {
            prop_assert_eq!(a.get(&format!("source/{name}")).map(Vec::as_slice), Some(text.as_bytes()), "{}", name);
        }
        // What was read is what was meant: the same shot built in code has these columns.
        let meant = whole.on(&loaded.stage, &whole.in_order());
        prop_assert_eq!(columns(&loaded.stage, &loaded.shot), columns(&loaded.stage, &meant));
    }
}
