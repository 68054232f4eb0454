//! A small stage and shot of every kind of layer, written to a folder, and that folder as bytes that a test can damage.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use movewright::check::Approval;
use movewright::input;
use movewright::output::Export;
use movewright::shot::Shot;
use movewright::stage::Stage;
use movewright::verify::{Source, Verdict, verify};
use serde_json::Value;

pub const STAGE: &str = r#"
format = 1
name = "Marsh stage"
scale = 0.2

[motor.frame57]
full_steps_per_rev = 200

[[group]]
name = "camera"
[[group.axis]]
name = "track"
unit = "mm"
travel = [0, 9000]
home = 100
max_velocity = 300
max_acceleration = 150
max_jerk = 600
motor = "frame57"
microsteps = 10
gear_ratio = 3
travel_per_rev = 60
[[group.axis]]
name = "pan"
unit = "deg"
travel = [-60, 60]
max_velocity = 20
max_acceleration = 20
max_jerk = 60
motor = "frame57"
microsteps = 16
gear_ratio = 30
reverse = true

[[group]]
name = "heron_a"
[[group.axis]]
name = "lift"
unit = "mm"
travel = [-100, 1500]
max_velocity = 200
max_acceleration = 200
max_jerk = 600
max_step_rate = 20000
motor = "frame57"
microsteps = 8
travel_per_rev = 20
[[group.axis]]
name = "wing"
unit = "deg"
travel = [-90, 90]
max_velocity = 60
max_acceleration = 90
max_jerk = 400
motor = "frame57"
microsteps = 8
gear_ratio = 20

[[group]]
name = "heron_b"
like = "heron_a"

[[group]]
name = "screen"
[[group.axis]]
name = "turn"
unit = "deg"
travel = [-720, 720]
max_velocity = 60
max_acceleration = 60
max_jerk = 200
motor = "frame57"
microsteps = 8
gear_ratio = 12
"#;

pub const SHOT: &str = r#"
format = 1
name = "Herons by the reeds"
stage = "stage.toml"
frame_rate = "29.97"
frames = [-4, 44]
timecode_start = "00:00:59;20"

[[pass]]
name = "picture"
exposure = "moving"
seconds_per_frame = 6
shutter = 180
[[pass]]
name = "rods"
exposure = "moving"
seconds_per_frame = 4
shutter = 90
[[pass]]
name = "empty"
exposure = "held"
seconds_per_frame = 16
shutter = 180
settle = 1
park = ["heron_b"]

[[track]]
channel = "camera.track"
keys = [[-10, 200.0], [12, 900.0], [30, 2100.5], [44, 2500.0]]
[[track]]
channel = "camera.pan"
shape = "natural_cubic"
keys = [[0, 5.0], [20, -12.0], [41, 3.0]]
[[track]]
shape = "monotone"
keys = "lift.csv"
[[cycle]]
channel = "heron_a.wing"
period = 12
phase = 0.2
keys = [[0.0, -18.0], [0.35, 30.0], [0.6, 10.0]]
amount = [[1, 0.1], [20, 1]]
rate = [[1, 1.0], [40, 1.3]]
[[copy]]
from = "heron_a"
to = "heron_b"
delay = 5
scale = { wing = -0.8 }
[[track]]
channel = "screen.turn"
shape = "catmull_rom"
blend = 3
keys = [[-2, 0.0], [14, 64.0], [44, 100.0]]
[[drift]]
channel = "screen.turn"
seed = 11
amplitude = 8
period = 48
"#;

pub const LIFT: &str = "frame,heron_a.lift\n2,0\n20,250.25\n28,250.25\n40,640\n";

/// A folder in memory: path below it, with `/`, and bytes.
pub type Files = BTreeMap<String, Vec<u8>>;

pub fn read(shot: &Path) -> Result<Source, String> {
    let loaded = input::load(shot).map_err(|r| r.to_string())?;
    let files = loaded.sources.iter().map(|s| s.path().to_owned()).collect();
    Ok(Source { stage: loaded.stage, shot: loaded.shot, files })
}

pub fn export(stage: &Stage, shot: &Shot, sources: &[(String, Vec<u8>)], to: &Path) {
    let report = super::checked(stage, shot);
    let messages: Vec<_> = report.passes.iter().flat_map(super::violations).collect();
    assert!(report.within_limits(), "{messages:#?}");
    Export { approval: Approval::within_limits(&report).unwrap(), sources, replace: false, full_size: false, rows: None }
        .write(to, &mut |_| {})
        .unwrap();
}

pub fn marsh(temp: &Path) -> PathBuf {
    let source = temp.join("in");
    std::fs::create_dir(&source).unwrap();
    for (name, text) in [("stage.toml", STAGE), ("shot.toml", SHOT), ("lift.csv", LIFT)] {
        std::fs::write(source.join(name), text).unwrap();
    }
    let loaded = input::load(&source.join("shot.toml")).unwrap();
    let out = temp.join("out");
    export(&loaded.stage, &loaded.shot, &loaded.sources.for_copying(), &out);
    out
}

pub fn files_of(dir: &Path) -> Files {
    let mut files = Files::new();
    for folder in ["", "source/"] {
        for entry in std::fs::read_dir(dir.join(folder)).unwrap() {
            let entry = entry.unwrap();
            if entry.file_type().unwrap().is_file() {
                files.insert(format!("{folder}{}", entry.file_name().to_string_lossy()), std::fs::read(entry.path()).unwrap());
            }
        }
    }
    files
}

pub fn verdict_of(files: &Files) -> Verdict {
    let temp = tempfile::tempdir().unwrap();
    for (name, bytes) in files {
        let path = temp.path().join(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, bytes).unwrap();
    }
    verify(temp.path(), &read).unwrap()
}

pub fn manifest(files: &Files) -> Value {
    serde_json::from_slice(&files["manifest.json"]).unwrap()
}

pub fn set_manifest(files: &mut Files, m: &Value) {
    files.insert("manifest.json".into(), serde_json::to_vec_pretty(m).unwrap());
}

/// Puts lengths and hashes in the manifest right, as somebody would who hides what he did.
pub fn repair(files: &mut Files) {
    let mut m = manifest(files);
    let list = m["files"].as_array_mut().unwrap();
    list.retain(|f| files.contains_key(f["path"].as_str().unwrap()));
    for (name, bytes) in files.iter().filter(|(n, _)| *n != "manifest.json") {
        let hash = blake3::hash(bytes).to_hex().to_string();
        let entry = serde_json::json!({ "path": name, "bytes": bytes.len(), "blake3": hash });
        match list.iter_mut().find(|f| f["path"] == name.as_str()) {
            Some(f) => *f = entry,
            None => list.push(entry),
        }
    }
    set_manifest(files, &m);
}

pub fn rows(files: &Files, name: &str) -> Vec<Vec<String>> {
    let text = String::from_utf8(files[name].clone()).unwrap();
    text.lines().map(|l| l.split(',').map(str::to_owned).collect()).collect()
}

pub fn set_rows(files: &mut Files, name: &str, rows: &[Vec<String>]) {
    let text: String = rows.iter().map(|r| r.join(",") + "\n").collect();
    files.insert(name.into(), text.into_bytes());
}

/// Moves one position by `steps` in a steps table and its units table; the axis and frame.
pub fn shift(files: &mut Files, pass: &str, row: usize, column: usize, steps: i64) -> (String, i64) {
    let per_unit = manifest(files)["columns"][column - 2]["steps_per_unit"].as_f64().unwrap();
    let name = format!("{pass}.steps.csv");
    let mut counts = rows(files, &name);
    counts[row][column] = (counts[row][column].parse::<i64>().unwrap() + steps).to_string();
    set_rows(files, &name, &counts);
    let name = format!("{pass}.units.csv");
    let mut units = rows(files, &name);
    let moved = units[row][column].parse::<f64>().unwrap() + steps as f64 / per_unit;
    units[row][column] = format!("{moved:.6}");
    set_rows(files, &name, &units);
    (counts[0][column].clone(), counts[row][0].parse().unwrap())
}
