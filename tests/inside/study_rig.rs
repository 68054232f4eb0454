//! Recordings of a figure of the stage: the axes that moved it are found, and nothing is left; what it cannot do is left.

use std::fs;
use std::path::Path;

use movewright::compile::Compiled;
use movewright::input;
use movewright::mechanism::Vector;
use movewright::number::elementary::sin;
use movewright::output::routine_text::{self, Written};
use movewright::stage::Stage;
use movewright::study::figure_fit::{Figure, Seat, off, place};
use movewright::study::markers::{MarkersSpec, indices};
use movewright::study::rig::{Recorded, Rig};
use movewright::study::rig_beat::RigBeat;
use movewright::study::{Markers, Study};

/// A bird on a hoist with a wing of two parts and a head; the head's wire has no marker.
const STAGE: &str = r#"format = 1
name = "Marsh"
[motor.m]
full_steps_per_rev = 200
[[group]]
name = "bird"
AXES
[[group.joint]]
slide = [0, 1, 0]
channel = "hoist"
offset = [10, 500, -40]
[[group.limb]]
name = "wing"
pivot = [16, 12, -28]
turn = [1, 0, 0]
channel = "wing"
[[group.limb]]
name = "tip"
parent = "wing"
pivot = [0, 0, -75]
turn = [1, 0, 0]
channel = "tip"
[[group.limb]]
name = "head"
pivot = [80, 10, 0]
turn = [0, 0, 1]
channel = "head"
[[group]]
name = "lamp"
[[group.axis]]
name = "level"
unit = "deg"
travel = [0, 90]
max_velocity = 10
max_acceleration = 10
max_jerk = 10
motor = "m"
microsteps = 16
"#;

fn stage(dir: &Path) -> Stage {
    let axis = |name: &str, unit: &str, home: f64| {
        let by = if unit == "mm" { "travel_per_rev = 20\n" } else { "" };
        let limits = "max_velocity = 50\nmax_acceleration = 500\nmax_jerk = 5e3\nmotor = \"m\"\nmicrosteps = 16\n";
        format!("[[group.axis]]\nname = \"{name}\"\nunit = \"{unit}\"\ntravel = [-40, 40]\nhome = {home}\n{by}{limits}")
    };
    let axes = axis("hoist", "mm", 10.0) + &axis("wing", "deg", 5.0) + &axis("tip", "deg", 0.0) + &axis("head", "deg", 0.0);
    fs::write(dir.join("stage.toml"), STAGE.replace("AXES", &axes)).unwrap();
    input::load_stage(&dir.join("stage.toml")).unwrap_or_else(|rejection| panic!("{rejection}"))
}

const NAMES: [&str; 6] = ["chest", "back", "belly", "elbow", "wrist", "end"];

/// Where the markers are on the figure: three on the body, two on the wing, one on its tip.
fn seats() -> [Seat; 6] {
    let on = |limb, [x, y, z]: [f64; 3]| Seat { limb, at: Vector::new(x, y, z) };
    [
        on(None, [80.0, 6.0, 4.0]),
        on(None, [10.0, 34.0, 0.0]),
        on(None, [-10.0, -38.0, -12.0]),
        on(Some(0), [14.0, 6.0, -38.0]),
        on(Some(0), [-16.0, 8.0, -74.0]),
        on(Some(1), [-30.0, 4.0, -82.0]),
    ]
}

/// The recording of the figure with hoist, wing and tip from home by these in each row, as seen from its body at home.
fn recorded(stage: &Stage, at: impl Fn(f64) -> [f64; 3]) -> Markers {
    let body = stage.body_of(stage.group_of_name("bird").unwrap()).unwrap();
    let axes = ["bird.hoist", "bird.wing", "bird.tip"].map(|name| stage.axis_of_name(name).unwrap()).to_vec();
    let figure = Figure { stage, body, axes };
    let home = figure.posture(&figure.home()).unwrap();
    let times: Vec<f64> = (0..240).map(|i| f64::from(i) / 50.0).collect();
    let mut positions = Vec::new();
    for t in &times {
        let axes: Vec<f64> = figure.home().iter().zip(at(*t)).map(|(home, by)| home + by).collect();
        let posture = figure.posture(&axes).unwrap();
        for seat in seats() {
            let p = home.body().inward(place(&posture, seat.limb).out_fixed(seat.at));
            positions.extend([p.x, p.y, p.z]);
        }
    }
    let names = NAMES.map(str::to_owned).to_vec();
    Markers::new(MarkersSpec { names, dimensions: 3, lines: (2..242).collect(), times, positions }).unwrap()
}

fn fitted<'a>(stage: &'a Stage, markers: &Markers, body: &[&str], attached: &[(usize, String)]) -> (Study, Result<Rig<'a>, String>) {
    let body = indices(markers, body).unwrap();
    let study = Study::of(markers, &body).unwrap();
    let recorded = Recorded { moving: &study.moving, times: &study.times, markers: NAMES.len(), body: &body, attached };
    let rig = Rig::of(stage, "bird", &recorded).map_err(|flaw| flaw.code().to_owned());
    (study, rig)
}

fn beat(t: f64) -> f64 {
    sin(core::f64::consts::TAU * t / 1.2)
}

#[test]
fn the_axes_that_moved_a_figure_are_found_and_nothing_is_left() {
    let dir = tempfile::tempdir().unwrap();
    let stage = stage(dir.path());
    let way = |t: f64| [12.0 * beat(0.4 * t), 30.0 * beat(t), 20.0 * (beat(t - 0.15) + beat(0.15))];
    let markers = recorded(&stage, way);
    // As recorded: the hoist moves the whole.
    let (_, rig) = fitted(&stage, &markers, &[], &[]);
    let rig = rig.unwrap();
    let on: Vec<&str> = rig.markers.iter().map(|m| m.on.as_str()).collect();
    assert_eq!(on, ["body", "body", "body", "wing", "wing", "tip"]);
    assert!(rig.left.worst < 1e-5, "{:?}", rig.left);
    let axes: Vec<&str> = rig.axes.iter().map(|a| a.axis.as_str()).collect();
    assert_eq!(axes, ["bird.hoist", "bird.wing", "bird.tip"]);
    for (i, home) in [10.0, 5.0, 0.0].into_iter().enumerate() {
        for (t, values, _) in &rig.followed.rows {
            let (number, name) = &rig.followed.channels[i];
            assert_eq!(*name, axes[i]);
            assert!((values[*number] - home - way(*t)[i]).abs() < 1e-5, "{name} at {t}");
        }
    }
    assert!(rig.axes.iter().all(|a| a.at_end == 0));
    // What is lost without an axis: the hoist moves every marker, so its loss is known; the tip moves one marker, the wing three.
    let without = |i: usize| rig.axes[i].without.unwrap();
    assert!(without(2).worst > 5.0 && without(1).worst > 20.0 && without(0).worst > 5.0, "{:?}", rig.axes);
    assert!(without(2).rms < without(1).rms);
    // As seen from the body: the hoist has no part in it.
    let (_, rig) = fitted(&stage, &markers, &["chest", "back", "belly"], &[]);
    let rig = rig.unwrap();
    assert_eq!(rig.axes.iter().map(|a| a.axis.as_str()).collect::<Vec<_>>(), ["bird.wing", "bird.tip"]);
    assert!(rig.left.worst < 1e-5 && rig.markers.len() == 3, "{rig:?}");
    // A wing that reaches 35 degrees turns by 30 TAU / 1.2 = 157 degrees in a second; 50 are allowed.
    assert!((rig.axes[0].fastest - 157.0).abs() < 1.0 && rig.axes[0].allowed == 50.0, "{:?}", rig.axes[0]);
}

#[test]
fn travel_holds_at_its_end_and_what_is_beyond_is_left() {
    let dir = tempfile::tempdir().unwrap();
    let stage = stage(dir.path());
    let body = &["chest", "back", "belly"][..];
    // From 5 degrees up to the end at 40.
    let rig_at = |by: f64| fitted(&stage, &recorded(&stage, |t| [0.0, by * beat(t), 0.0]), body, &[]).1.unwrap();
    let inside = rig_at(34.99);
    assert!(inside.axes[0].at_end == 0 && inside.left.worst < 1e-5, "{:?}", inside.axes);
    let beyond = rig_at(36.0);
    assert!(beyond.axes[0].at_end > 0 && beyond.axes[0].range[1] == 40.0, "{:?}", beyond.axes);
    // A degree at the tip's 180 mm and more is 3 mm; the tip's own joint takes a part of it.
    assert!(beyond.left.worst > 0.5 && beyond.left.worst < 4.0, "{:?}", beyond.left);
}

#[test]
fn wrong_names_are_refused_and_a_named_limb_is_taken() {
    let dir = tempfile::tempdir().unwrap();
    let stage = stage(dir.path());
    let markers = recorded(&stage, |t| [0.0, 20.0 * beat(t), 0.0]);
    let body = &["chest", "back", "belly"][..];
    let (_, rig) = fitted(&stage, &markers, body, &[(5, "wing".to_owned()), (4, "body".to_owned())]);
    let rig = rig.unwrap();
    assert_eq!(rig.markers.iter().map(|m| m.on.as_str()).collect::<Vec<_>>(), ["wing", "body", "wing"]);
    // The wrist swings by 20 degrees at 75 mm; a body stands still, wherever on it a marker is.
    assert!(rig.markers[1].left.worst > 15.0, "{:?}", rig.markers);
    assert_eq!(fitted(&stage, &markers, body, &[(5, "leg".to_owned())]).1.err().as_deref(), Some("unknown-limb"));
    let all: Vec<(usize, String)> = (3..6).map(|m| (m, "body".to_owned())).collect();
    assert_eq!(fitted(&stage, &markers, body, &all).1.err().as_deref(), Some("unknown-limb"));
    let study = Study::of(&markers, &[]).unwrap();
    let recorded = Recorded { moving: &study.moving, times: &study.times, markers: NAMES.len(), body: &[], attached: &[] };
    let code = |group: &str| Rig::of(&stage, group, &recorded).map_err(|flaw| flaw.code()).err();
    assert_eq!((code("heron"), code("lamp")), (Some("unknown-group"), Some("unknown-limb")));
}

#[test]
fn a_written_beat_compiles_and_puts_the_figure_s_markers_within_the_distance() {
    let dir = tempfile::tempdir().unwrap();
    let stage = stage(dir.path());
    let within = 1.5;
    let markers = recorded(&stage, |t| [0.0, 30.0 * beat(t) + 4.0 * beat(2.0 * t), 20.0 * (beat(t - 0.15) + beat(0.15))]);
    let (study, rig) = fitted(&stage, &markers, &["chest", "back", "belly"], &[]);
    let rig = rig.unwrap();
    let found = RigBeat::of(&rig.followed, study.period, within).unwrap();
    assert!(found.worst <= within && found.held_out <= within, "{found:?}");
    let written = Written { recording: "bird.csv", rate: 24.0, rate_text: "24", curves: "beat.csv" };
    fs::write(dir.path().join("beat.toml"), routine_text::of_group(&study, "bird", &found, written)).unwrap();
    let pass = "[[pass]]\nname = \"picture\"\nexposure = \"moving\"\nseconds_per_frame = 12\nshutter = 180\n";
    let routine = "[[routine]]\nfile = \"beat.toml\"\ngroup = \"bird\"\n";
    let shot = format!("format = 1\nname = \"Beat\"\nstage = \"stage.toml\"\nframe_rate = \"24\"\nframes = [1, 120]\n{routine}{pass}");
    fs::write(dir.path().join("shot.toml"), shot).unwrap();
    let loaded = input::load(&dir.path().join("shot.toml")).unwrap_or_else(|rejection| panic!("{rejection}"));
    let compiled = Compiled::new(loaded.stage, loaded.shot).unwrap();
    let body = stage.body_of(stage.group_of_name("bird").unwrap()).unwrap();
    let axes: Vec<_> = stage.axis_ids().collect();
    let figure = Figure { stage: &stage, body, axes };
    let (mut far, mut compared) = (0.0_f64, 0);
    for (time, _, points) in &rig.followed.rows {
        let frame = 1.0 + time * 24.0;
        if frame > 120.0 {
            continue;
        }
        compared += 1;
        let at: Vec<f64> = figure.axes.iter().map(|a| compiled.axes()[*a].curve().at(frame).unwrap()).collect();
        let posture = figure.posture(&at).unwrap();
        for (seat, point) in rig.followed.seats.iter().zip(points) {
            let d = off(&posture, seat, *point);
            far = far.max(d.dot(d).sqrt());
        }
    }
    // Each axis may be a sixteenth of its step off: 0.007 deg.
    assert!(compared > 200 && far <= within + 0.05 && (far - found.worst).abs() < 0.05, "{compared} {far} {}", found.worst);
    // Closer than any beat of the keys that are tried.
    assert_eq!(RigBeat::of(&rig.followed, study.period, 1e-5).unwrap_err().code(), "out-of-range");
    assert_eq!(RigBeat::of(&rig.followed, None, within).unwrap_err().code(), "no-curve");
}
