//! What the program reported wrongly to its users, as the demo's stage with one number changed.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

/// The demo's stage with `from` as `to` at its first place, and a shot of one track and these passes; the check as JSON and as text.
fn told(dir: &Path, (from, to): (&str, &str), track: &str, passes: &str) -> (Value, String) {
    let herons = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/herons");
    for entry in fs::read_dir(&herons).unwrap() {
        let path: PathBuf = entry.unwrap().path();
        if path.is_file() {
            fs::copy(&path, dir.join(path.file_name().unwrap())).unwrap();
        }
    }
    let stage = fs::read_to_string(herons.join("stage.toml")).unwrap();
    assert!(stage.contains(from), "the stage has no {from}");
    fs::write(dir.join("stage.toml"), stage.replacen(from, to, 1)).unwrap();
    let shot = format!(
        "format = 1\nname = \"Tried\"\nstage = \"stage.toml\"\nframe_rate = \"24\"\nframes = [1, 24]\ntrack = [{{ {track} }}]\npass = [{passes}]\n"
    );
    fs::write(dir.join("tried.toml"), shot).unwrap();
    let run = |more: &[&str]| {
        let program = env!("CARGO_BIN_EXE_movewright");
        let out = Command::new(program).arg("check").arg(dir.join("tried.toml")).args(more).output().unwrap();
        assert!(out.status.code().is_some_and(|c| c < 2), "{}", String::from_utf8_lossy(&out.stderr));
        String::from_utf8(out.stdout).unwrap()
    };
    (serde_json::from_str(&run(&["--json"])).unwrap(), run(&[]))
}

const MOVING: &str = r#"{ name = "moving", exposure = "moving", seconds_per_frame = 60, shutter = 180 }"#;

/// A motor that cannot hold its load at standstill was given a fastest pace and a return home.
#[test]
fn a_load_that_the_motor_cannot_hold_has_no_pace_and_no_way_home() {
    let dir = tempfile::tempdir().unwrap();
    let load = "load = { mass = 7.1, friction = 5,";
    let hoist = r#"channel = "heron_a.hoist", shape = "minimum_jerk", keys = [[1, 10], [24, 20]]"#;
    let (json, text) = told(dir.path(), (load, load), hoist, MOVING);
    assert!(
        json["passes"][0]["fastest_seconds_per_frame"].is_number() && json["passes"][0]["return_home"]["seconds"].is_number(),
        "{text}"
    );
    let (json, text) = told(dir.path(), (load, "load = { mass = 400.0, friction = 5,"), hoist, MOVING);
    let pass = &json["passes"][0];
    assert!(pass["fastest_seconds_per_frame"].is_null() && pass["limited_by"]["limit"] == "torque", "{text}");
    assert!(pass["fastest_runnable_seconds_per_frame"].is_null() && pass["return_home"]["seconds"].is_null(), "{text}");
    assert!(text.contains("cannot hold its load") && !text.contains(" h "), "{text}");
    // Its legs are not drawn out to days either.
    assert!(pass["move_to_start"]["to_start_s"].as_f64().unwrap() < 600.0, "{text}");
}

/// A natural cubic ran up from beyond the dead centre of the wing's wire, within the travel of its axis.
#[test]
fn a_run_up_beyond_the_dead_centre_of_a_wing_is_refused_once_for_each_part() {
    let dir = tempfile::tempdir().unwrap();
    let wing = r#"channel = "heron_a.wing_left", shape = "natural_cubic", keys = [[1, 70], [12, -45], [24, 0]]"#;
    let passes = MOVING.replace("60", "12");
    let (json, text) = told(dir.path(), ("scale", "scale"), wing, &passes);
    let violations = json["passes"][0]["violations"].as_array().unwrap();
    let parts: Vec<&str> = violations.iter().map(|v| v["part"].as_str().unwrap()).collect();
    assert!(parts.contains(&"run_up"), "{text}");
    // A wire beyond its dead centre is not called slack as well.
    assert!(violations.iter().all(|v| v["limit"] == "position"), "{text}");
    assert!(
        text.split_whitespace()
            .collect::<Vec<_>>()
            .join(" ")
            .contains("the mechanism cannot reach -61.34 mm at frame -0.50, in the run-up"),
        "{text}"
    );
}
