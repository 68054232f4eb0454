//! Limbs and wires: where they are, what they meet between frames, and that another way of computing finds them where they were written.

use crate::inside::common::bodies::{around, ball, body, groups, keyed, slide, turning, v};
use crate::inside::common::folder::{Files, export_with, files_of, repair, rows, set_rows, verdict_of};
use crate::inside::common::{Program, axis, compiled, moving, shot};
use movewright::bounds::Effort;
use movewright::check::clearance::{Against, Nearest, Proof};
use movewright::check::{Limit, Report, words};
use movewright::compile::Compiled;
use movewright::input;
use movewright::output::handoff::sampling::Wishes;
use movewright::shot::Shape;
use movewright::stage::{BodySpec, Capsule, LimbSpec, Proxy, Surroundings, WireSpec};
use movewright::verify::FaultKind;

fn limb(name: &str, parent: Option<&str>, pivot: [f64; 3], turn: [f64; 3]) -> LimbSpec {
    LimbSpec { name: name.into(), parent: parent.map(str::to_owned), pivot, turn, channel: format!("heron_a.{name}") }
}

fn on(limb: &str, to: [f64; 3], radius: f64) -> Proxy {
    Proxy { limb: Some(limb.into()), ..Capsule { from: v([0.0; 3]), to: v(to), radius }.into() }
}

/// A wing of two parts of 50 mm, which turns about z by 180 deg a frame and points straight up at frame 2.5; another heron's ball of 10 mm stands 130 mm above its pivot.
fn beating(clearance: f64) -> Compiled {
    let wing = BodySpec {
        limbs: vec![limb("tip", Some("wing"), [50.0, 0.0, 0.0], [0.0, 0.0, 1.0]), limb("wing", None, [0.0; 3], [0.0, 0.0, 1.0])],
        envelope: vec![on("tip", [50.0, 0.0, 0.0], 5.0)],
        ..body("heron_a", vec![slide(0, [1.0, 0.0, 0.0])], &["heron_a.bridge"], vec![])
    };
    let other = BodySpec { joints: vec![slide(0, [0.0, 1.0, 0.0])], ..body("heron_b", vec![], &["heron_b.hoist"], vec![ball(10.0)]) };
    let stage = groups(vec![("heron_a", vec![axis("bridge"), turning("wing"), turning("tip")]), ("heron_b", vec![axis("hoist")])])
        .with_bodies(vec![wing, other], around(clearance))
        .unwrap();
    let still = Program::default();
    let programs =
        [still.clone(), keyed(Shape::NaturalCubic, &[(2.0, 0.0), (3.0, 180.0)]), still, keyed(Shape::MinimumJerk, &[(1.0, 130.0)])];
    let shot = shot(&stage, (2, 3), &programs, vec![moving(&stage, "picture", 12.0)]);
    compiled(&stage, &shot)
}

fn pairs(report: &Report) -> Vec<Nearest> {
    report.passes[0].clearance.as_ref().unwrap().pairs.clone()
}

#[test]
fn a_wing_tip_that_meets_a_neighbour_between_two_frames_is_found() {
    // 130 mm less two parts of 50 mm less radii of 5 and 10 mm.
    let compiled = beating(16.0);
    let report = compiled.check().unwrap();
    let all = pairs(&report);
    let n = all[0];
    assert_eq!((all.len(), n.proof), (1, Proof::Tight));
    assert!(n.gap <= 15.0 + 1e-9 && 15.0 - n.gap <= n.tolerance && (n.at - n.at.floor() - 0.5).abs() < 1e-3, "{n:?}");
    let found: Vec<String> =
        report.passes[0].violations.iter().filter(|v| v.limit == Limit::Clearance).map(|v| words::violation(&compiled, v)).collect();
    assert_eq!(found.len(), 1);
    assert!(
        found[0].starts_with("heron_a.tip and heron_b are 15") || found[0].starts_with("heron_a.tip and heron_b are 14.99"),
        "{found:?}"
    );
}

#[test]
fn a_wing_tip_exactly_at_the_required_clearance_passes() {
    let report = beating(15.0).check().unwrap();
    assert!(report.within_limits(), "{:?}", report.passes[0].violations);
    let tolerance = pairs(&report)[0].tolerance;
    assert!(!beating(15.0 + 2.0 * tolerance).check().unwrap().within_limits());
}

/// Two wings of two parts on pivots 40 mm apart, turned up from level by `up` deg within a frame: past 90 deg they cross.
fn folding(up: f64, required: f64) -> Compiled {
    let (left, right) = ([0.0, 0.0, -1.0], [0.0, 0.0, 1.0]);
    let figure = BodySpec {
        limbs: vec![
            limb("left", None, [-20.0, 0.0, 0.0], left),
            limb("left_tip", Some("left"), [-50.0, 0.0, 0.0], left),
            limb("right", None, [20.0, 0.0, 0.0], right),
            limb("right_tip", Some("right"), [50.0, 0.0, 0.0], right),
        ],
        envelope: vec![
            on("left", [-50.0, 0.0, 0.0], 5.0),
            on("left_tip", [-50.0, 0.0, 0.0], 5.0),
            on("right", [50.0, 0.0, 0.0], 5.0),
            on("right_tip", [50.0, 0.0, 0.0], 5.0),
        ],
        ..body("heron_a", vec![slide(0, [1.0, 0.0, 0.0])], &["heron_a.bridge"], vec![ball(15.0)])
    };
    let axes = vec![axis("bridge"), turning("left"), turning("left_tip"), turning("right"), turning("right_tip")];
    let stage = groups(vec![("heron_a", axes)]).with_bodies(vec![figure], around(required)).unwrap();
    // Up and level again from frame to frame.
    let beat = || keyed(Shape::Monotone, &[(2.0, 0.0), (2.5, up), (3.0, 0.0)]);
    let still = Program::default();
    let shot = shot(&stage, (1, 4), &[still.clone(), beat(), still.clone(), beat(), still], vec![moving(&stage, "picture", 12.0)]);
    compiled(&stage, &shot)
}

#[test]
fn parts_of_one_figure_must_not_meet_and_keep_no_more() {
    // Upright the wings are 40 mm apart, less two radii: 30 mm, whatever figures must keep from each other. Body and wings overlap by their build.
    let report = folding(90.0, 500.0).check().unwrap();
    let n = pairs(&report)[0];
    assert!(n.against == Against::Own && n.required == 0.0 && n.is_kept() && report.within_limits(), "{n:?}");
    let compiled = folding(105.0, 0.0);
    let report = compiled.check().unwrap();
    let found: Vec<String> = report.passes[0].violations.iter().map(|v| words::violation(&compiled, v)).collect();
    assert_eq!(found.len(), 1, "{found:?}");
    assert!(found[0].starts_with("heron_a.left_tip and heron_a.right_tip overlap by "), "{found:?}");
}

/// A ball of 10 mm passes a wire of 1 mm that hangs from a point of the stage to the body of another heron, half way up: 20 mm beside it, between two frames.
#[test]
fn wires_snag() {
    let passing = |required: f64| {
        let hung = BodySpec {
            wires: vec![WireSpec { places: ["hook".into(), "body".into()], at: [[0.0; 3]; 2], diameter: 1.0 }],
            ..body("heron_a", vec![slide(0, [0.0, 1.0, 0.0])], &["heron_a.hoist"], vec![])
        };
        let other = body("heron_b", vec![slide(0, [1.0, 0.0, 0.0])], &["heron_b.bridge"], vec![ball(10.0)]);
        let around = Surroundings { points: vec![("hook".into(), v([0.0, 500.0, 20.0]))], ..around(required) };
        let stage =
            groups(vec![("heron_a", vec![axis("hoist")]), ("heron_b", vec![axis("bridge")])]).with_bodies(vec![hung, other], around);
        let stage = stage.unwrap();
        let programs = [keyed(Shape::MinimumJerk, &[(1.0, -500.0)]), keyed(Shape::NaturalCubic, &[(2.0, -200.0), (3.0, 200.0)])];
        let shot = shot(&stage, (1, 4), &programs, vec![moving(&stage, "picture", 12.0)]);
        compiled(&stage, &shot)
    };
    // The wire runs from (0, 500, 20) to (0, -500, 0): at the height of the ball it is 10 mm aside, and leans by 1 in 50.
    let exact = 10.0 / (1.0 + 0.02 * 0.02_f64).sqrt() - 10.5;
    let compiled = passing(0.0);
    let report = compiled.check().unwrap();
    let n = pairs(&report)[0];
    assert!(n.gap <= exact + 1e-9 && exact - n.gap <= n.tolerance && (n.at - 2.5).abs() < 1e-2, "{n:?} {exact}");
    let text = words::violation(&compiled, &report.passes[0].violations[0]);
    assert!(text.starts_with("heron_a (wire 1) and heron_b overlap by "), "{text}");
}

const STAGE: &str = r#"format = 1
name = "Marsh stage"
scale = 0.2
clearance = 1
[point]
reeds = [900, 100, 0]
[motor.frame57]
full_steps_per_rev = 200
[[group]]
name = "camera"
[[group.axis]]
name = "pan"
unit = "deg"
travel = [-90, 90]
max_velocity = 60
max_acceleration = 60
max_jerk = 200
motor = "frame57"
gear_ratio = 90
microsteps = 16
[[group.axis]]
name = "tilt"
unit = "deg"
travel = [-90, 90]
max_velocity = 60
max_acceleration = 60
max_jerk = 200
motor = "frame57"
gear_ratio = 90
microsteps = 16
[[group.joint]]
turn = [0, 1, 0]
channel = "pan"
offset = [600, 200, 1500]
[[group.joint]]
turn = [1, 0, 0]
channel = "tilt"
[group.lens]
focal_length = 24
film_back = [24.9, 18.7]
pixels = [4096, 3072]
[[group]]
name = "heron_a"
[[group.axis]]
name = "bridge"
unit = "mm"
travel = [0, 2000]
max_velocity = 60
max_acceleration = 60
max_jerk = 200
motor = "frame57"
travel_per_rev = 60
microsteps = 16
[[group.axis]]
name = "wing_wire"
unit = "mm"
travel = [-60, 60]
max_velocity = 100
max_acceleration = 200
max_jerk = 1000
motor = "frame57"
travel_per_rev = 20
microsteps = 16
[[group.axis]]
name = "tip"
unit = "deg"
travel = [-60, 60]
max_velocity = 60
max_acceleration = 60
max_jerk = 200
motor = "frame57"
gear_ratio = 20
microsteps = 16
[[group.mechanism]]
kind = "limb_wire"
axis = "wing_wire"
channel = "wing"
arm = 70
guide = [20, 160]
neutral = 0
[[group.joint]]
name = "trolley"
slide = [1, 0, 0]
channel = "bridge"
[[group.joint]]
offset = [0, 60, 0]
[[group.limb]]
name = "wing"
pivot = [0, 20, -15]
turn = [1, 0, 0]
channel = "wing"
[[group.limb]]
name = "wing_tip"
parent = "wing"
pivot = [0, 0, -90]
turn = [1, 0, 0]
channel = "tip"
[[group.rod]]
from = [0, 0, -10]
to = [0, 15, -60]
limb = "wing_tip"
[[group.envelope]]
from = [-80, 0, 0]
to = [80, 0, 0]
radius = 20
[[group.envelope]]
from = [0, 0, 0]
to = [0, 0, -80]
radius = 8
limb = "wing_tip"
use = ["clearance"]
[[group.wire]]
from = "trolley"
to = "wing_tip"
at = [[0, 700, 0], [0, 0, -40]]
diameter = 0.4
[[group.wire]]
from = "reeds"
to = "body"
diameter = 1
"#;

const SHOT: &str = r#"format = 1
name = "Beat"
stage = "stage.toml"
frame_rate = "24"
frames = [1, 6]
[[pass]]
name = "picture"
exposure = "moving"
seconds_per_frame = 12
shutter = 180
[[aim]]
camera = "camera"
channels = ["pan", "tilt"]
at = "heron_a.wing_tip"
offset = [0, 0, -40]
[[track]]
channel = "heron_a.bridge"
keys = [[1, 100.0], [6, 400.0]]
[[track]]
channel = "heron_a.wing"
keys = [[1, -20.0], [4, 30.0], [6, 10.0]]
[[track]]
channel = "heron_a.tip"
keys = [[1, 0.0], [5, -25.0]]
"#;

fn loaded(stage: &str, shot: &str) -> input::Loaded {
    let read = |name: &str| match name {
        "stage.toml" => Ok(stage.as_bytes().to_vec()),
        "shot.toml" => Ok(shot.as_bytes().to_vec()),
        _ => Err(input::Unreadable::Missing),
    };
    input::parse("shot.toml", &read).unwrap_or_else(|told| panic!("{told}"))
}

/// The bridge has its home at 100 mm. Only a cycle drives it: with amount 0 it stands at 0.
#[test]
fn a_channel_that_a_silent_cycle_leaves_at_zero_is_a_note() {
    let stage = STAGE.replacen("travel = [0, 2000]", "travel = [0, 2000]\nhome = 100", 1);
    let notes = |amount: &str| {
        let cycle = format!("[[cycle]]\nchannel = \"heron_a.bridge\"\nperiod = 6\nkeys = [[0.0, 0.0], [0.5, 2.0]]\namount = {amount}\n");
        let shot = SHOT.replacen("[[track]]\nchannel = \"heron_a.bridge\"\nkeys = [[1, 100.0], [6, 400.0]]\n", &cycle, 1);
        let loaded = loaded(&stage, &shot);
        let compiled = compiled(&loaded.stage, &loaded.shot);
        let report = compiled.check().unwrap();
        report.notes.iter().map(|n| words::note(&report.compiled, n)).filter(|n| n.contains("amount is 0")).collect::<Vec<_>>()
    };
    let found = notes("[[1, 1], [4, 0], [6, 0]]");
    assert!(
        found.len() == 1 && found[0].starts_with("heron_a.bridge: only cycles drive it") && found[0].contains("100 mm from home"),
        "{found:?}"
    );
    assert!(found[0].contains("frame 4.00"), "{found:?}");
    assert!(notes("[[1, 1], [4, 0.5]]").is_empty());
}

/// The folder of a stage whose hand-off files are asked for in some way.
fn written(stage: &str, wishes: Wishes) -> Files {
    let temp = tempfile::tempdir().unwrap();
    let (source, out) = (temp.path().join("in"), temp.path().join("out"));
    std::fs::create_dir(&source).unwrap();
    for (name, text) in [("stage.toml", stage), ("shot.toml", SHOT)] {
        std::fs::write(source.join(name), text).unwrap();
    }
    let loaded = input::load(&source.join("shot.toml")).unwrap_or_else(|told| panic!("{told}"));
    export_with(&loaded.stage, &loaded.shot, &loaded.sources.for_copying(), &out, wishes);
    files_of(&out)
}

/// Changes one cell by a little; the faults then found, by kind.
fn with_cell(sound: &Files, table: &str, row: usize, column: &str, by: f64) -> Vec<FaultKind> {
    let mut files = sound.clone();
    let mut cells = rows(&files, table);
    let column = cells[0].iter().position(|c| c == column).unwrap();
    let places = cells[row][column].split('.').nth(1).unwrap().len();
    cells[row][column] = format!("{:.places$}", cells[row][column].parse::<f64>().unwrap() + by);
    set_rows(&mut files, table, &cells);
    repair(&mut files);
    verdict_of(&files).faults.iter().map(|f| f.kind).collect()
}

#[test]
fn limbs_and_wires_are_found_again_by_another_way() {
    let sound = written(STAGE, Wishes::default());
    assert_eq!(verdict_of(&sound).faults, []);
    let bodies = rows(&sound, "bodies.csv");
    let names: Vec<&str> = bodies[1..4].iter().map(|r| r[2].as_str()).collect();
    assert_eq!(names, ["heron_a", "heron_a.wing", "heron_a.wing_tip"]);
    let lines = rows(&sound, "picture.rods.csv");
    let of: Vec<(&str, bool)> = lines[1..10].iter().step_by(3).map(|r| (r[3].as_str(), r[16].is_empty())).collect();
    assert_eq!(of, [("1", true), ("2", false), ("3", false)]);
    assert_eq!(with_cell(&sound, "bodies.csv", 3, "z_m", 2e-5), [FaultKind::HandOff]);
    assert_eq!(with_cell(&sound, "bodies.csv", 2, "qx", 1e-3), [FaultKind::HandOff]);
    assert_eq!(with_cell(&sound, "picture.rods.csv", 1, "x2", 0.05), [FaultKind::HandOff]);
    assert_eq!(with_cell(&sound, "picture.rods.csv", 4, "y1", 0.05), [FaultKind::HandOff]);
    assert_eq!(with_cell(&sound, "picture.rods.csv", 4, "width1", 0.003), [FaultKind::HandOff]);
    assert_eq!(
        with_cell(&sound, "picture.rod_outlines.csv", rows(&sound, "picture.rod_outlines.csv").len() - 1, "x", 0.1),
        [FaultKind::HandOff]
    );
    assert_eq!(with_cell(&sound, "channels.csv", 2, "heron_a.wing", 0.02), [FaultKind::Position]);
    // The aim keeps the tip in the middle: 2048, 1536 px, where its end of the first wire is.
    let middle = &lines[5];
    let at = |i: usize| middle[i].parse::<f64>().unwrap();
    assert!(middle[4] == "middle" && (at(7) - 2048.0).abs() < 0.2 && (at(8) - 1536.0).abs() < 0.2, "{middle:?}");
    // 24 mm / 24.9 mm x 4096 px x 0.4 mm at some 1.5 m: 1.05 px.
    assert!((0.9..1.3).contains(&at(16)), "{middle:?}");
    for (from, to) in [("pivot = [0, 20, -15]", "pivot = [0, 20, -16]"), ("diameter = 1\n", "diameter = 2\n")] {
        let mut files = sound.clone();
        let stage = String::from_utf8(files["source/stage.toml"].clone()).unwrap();
        assert!(stage.contains(from));
        files.insert("source/stage.toml".into(), stage.replacen(from, to, 1).into_bytes());
        repair(&mut files);
        let kinds: Vec<FaultKind> = verdict_of(&files).faults.iter().map(|f| f.kind).collect();
        assert!(kinds.contains(&FaultKind::Manifest) && kinds.contains(&FaultKind::HandOff), "{to}: {kinds:?}");
    }
}

/// A lens that distorts and has its axis beside the middle; three samples a frame, counted from 1001.
#[test]
fn limbs_and_wires_through_a_real_lens_and_within_exposures() {
    let lens = "principal_point = [0.1, -0.2]\ndistortion = { k1 = -0.08, k2 = 0.004, k3 = 0, p1 = 0.001, p2 = -0.0005 }\n";
    let stage = STAGE.replacen("pixels = [4096, 3072]\n", &format!("pixels = [4096, 3072]\n{lens}"), 1);
    let sound = written(&stage, Wishes { full_size: true, first_frame: Some(1001), samples: Some(3) });
    assert_eq!(verdict_of(&sound).faults, []);
    let bodies = rows(&sound, "bodies.csv");
    let names: Vec<&str> = bodies[1..7].iter().map(|r| r[2].as_str()).collect();
    assert_eq!(names, ["heron_a", "heron_a.wing", "heron_a.wing_tip", "heron_a", "heron_a.wing", "heron_a.wing_tip"]);
    assert_eq!([&bodies[1][0], &bodies[1][10], &bodies[4][10], &bodies[4][11]], ["1001", "1", "2", "1001.000000"]);
    // The tip moves while the shutter is open.
    assert!(bodies[21][2] == "heron_a.wing_tip" && bodies[21][5] != bodies[24][5], "{:?}", bodies[21]);
    assert_eq!(with_cell(&sound, "bodies.csv", 24, "z_m", 2e-5), [FaultKind::HandOff]);
    assert_eq!(with_cell(&sound, "bodies.full_size.csv", 24, "z_m", 1e-4), [FaultKind::HandOff]);
    // Row 4 is the first wire at shutter open, which the lens bends.
    let wire = &rows(&sound, "picture.rods.csv")[4];
    let at = |i: usize| wire[i].parse::<f64>().unwrap();
    assert!(wire[3] == "2" && at(15) > 0.1 && at(16) != at(18), "{wire:?}");
    for column in ["x1", "undistorted_x1", "width1", "undistorted_width1", "width2", "undistorted_width2"] {
        assert_eq!(
            with_cell(&sound, "picture.rods.csv", 4, column, if column.contains("width") { 0.003 } else { 0.05 }),
            [FaultKind::HandOff],
            "{column}"
        );
    }
    for column in ["width", "undistorted_width"] {
        let outlines = rows(&sound, "picture.rod_outlines.csv");
        let row = outlines.iter().position(|r| r[3] == "2").unwrap();
        assert!(with_cell(&sound, "picture.rod_outlines.csv", row, column, 0.01).contains(&FaultKind::HandOff), "{column}");
    }
}

/// What the search of clearance costs in the demo, in counts of the budget. Three capsules a heron and no wires cost 165 152 of them, counted before there were limbs.
#[test]
fn the_demo_s_limbs_and_wires_cost_at_most_three_times_what_three_capsules_a_heron_did() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/herons/shot.toml");
    let loaded = input::load(std::path::Path::new(path)).unwrap_or_else(|told| panic!("{told}"));
    let report = compiled(&loaded.stage, &loaded.shot).check().unwrap();
    let used = report.compiled.work().used(Effort::Boxes);
    assert!(report.within_limits() && used <= 3 * 165_152, "{used}");
}
