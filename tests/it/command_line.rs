//! The commands as a person runs them: streams, exit status, folders.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::Value;

use crate::case::short_herons;

fn fixture(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures").join(name)
}

fn run(args: &[&dyn AsRef<std::ffi::OsStr>]) -> Output {
    let mut c = Command::new(env!("CARGO_BIN_EXE_movewright"));
    for a in args {
        c.arg(a.as_ref());
    }
    c.output().unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

fn all_files(dir: &Path) -> Vec<(String, Vec<u8>)> {
    let mut found = Vec::new();
    let mut waiting = vec![dir.to_owned()];
    while let Some(d) = waiting.pop() {
        for e in fs::read_dir(d).unwrap() {
            let p = e.unwrap().path();
            if p.is_dir() {
                waiting.push(p);
            } else {
                found.push((p.strip_prefix(dir).unwrap().to_str().unwrap().to_owned(), fs::read(&p).unwrap()));
            }
        }
    }
    found.sort();
    found
}

#[test]
fn the_demo_compiles_and_is_up_to_date_the_second_time() {
    let dir = tempfile::tempdir().unwrap();
    let out = dir.path().join("herons");
    let shot = fixture("herons/shot.toml");
    let first = run(&[&"compile", &shot, &"--out", &out]);
    assert_eq!(first.status.code(), Some(0), "{}", text(&first.stderr));
    assert!(text(&first.stderr).contains("written"));
    let before = all_files(&out);
    let second = run(&[&"compile", &shot, &"--out", &out]);
    assert_eq!(second.status.code(), Some(0));
    assert!(text(&second.stderr).contains("up to date"));
    assert_eq!(before, all_files(&out));
    let names: Vec<&str> = before.iter().map(|f| f.0.as_str()).collect();
    for pass in ["beauty", "matte", "clean", "haze", "still"] {
        assert!(names.contains(&format!("{pass}.steps.csv").as_str()) && names.contains(&format!("{pass}.units.csv").as_str()));
    }
    assert!(names.contains(&"source/shot.toml") && names.contains(&"source/stage.toml") && names.contains(&"manifest.json"));

    // Columns: header, one row a frame, LF, plain numbers; passes at different paces carry the same counts.
    let steps = fs::read_to_string(out.join("beauty.steps.csv")).unwrap();
    assert!(!steps.contains('\r') && steps.ends_with('\n') && !steps.contains('"'));
    let lines: Vec<&str> = steps.lines().collect();
    assert_eq!(lines.len(), 289);
    assert!(lines[0].starts_with("frame,timecode,camera.track,") && lines[0].split(',').count() == 69, "67 axes");
    assert!(lines[1].starts_with("1,10:00:00:00,") && lines[288].starts_with("288,10:00:11:23,"));
    assert_eq!(steps, fs::read_to_string(out.join("matte.steps.csv")).unwrap());
    let units = fs::read_to_string(out.join("still.units.csv")).unwrap();
    assert!(units.lines().skip(1).all(|l| l.split(',').skip(2).all(|c| c.split('.').nth(1).is_some_and(|d| d.len() == 6))));

    // The manifest holds the hash of every other file.
    let manifest: Value = serde_json::from_slice(&fs::read(out.join("manifest.json")).unwrap()).unwrap();
    let listed = manifest["files"].as_array().unwrap();
    assert_eq!(listed.len() + 1, before.len());
    for f in listed {
        let bytes = fs::read(out.join(f["path"].as_str().unwrap())).unwrap();
        assert_eq!(f["blake3"].as_str().unwrap(), blake3::hash(&bytes).to_hex().as_str());
        assert_eq!(f["bytes"].as_u64().unwrap(), bytes.len() as u64);
    }
    assert_eq!(manifest["within_limits"], Value::Bool(true));
    assert!(manifest["cautions"].as_array().unwrap().len() > 3);
}

#[test]
fn the_folder_compiles_again_from_its_own_source() {
    let dir = tempfile::tempdir().unwrap();
    let (shot, _source) = short_herons();
    let (one, two) = (dir.path().join("one"), dir.path().join("two"));
    assert_eq!(run(&[&"compile", &shot, &"--out", &one]).status.code(), Some(0));
    assert_eq!(run(&[&"compile", &one.join("source/shot.toml"), &"--out", &two]).status.code(), Some(0));
    assert_eq!(all_files(&one), all_files(&two));
}

#[test]
fn the_check_s_json_has_its_contract_s_keys() {
    let out = run(&[&"check", &fixture("herons/shot.toml"), &"--json"]);
    assert_eq!(out.status.code(), Some(0));
    let j: Value = serde_json::from_slice(&out.stdout).unwrap();
    assert_eq!((j["format"].as_i64(), j["within_limits"].as_bool()), (Some(1), Some(true)));
    assert_eq!(j["shot"], "Herons leave the marsh");
    let p = &j["passes"][0];
    assert_eq!((p["pass"].as_str(), p["exposure"].as_str(), p["seconds_per_frame"].as_f64()), (Some("beauty"), Some("moving"), Some(14.0)));
    assert!(p["duration_s"].as_f64().unwrap() > 288.0 * 14.0);
    assert!(p["limited_by"]["axis"].is_string() && p["limited_by"]["limit"].is_string());
    assert!(p["fastest_seconds_per_frame"].as_f64().unwrap() < 14.0);
    let a = &p["axes"][0];
    assert_eq!((a["axis"].as_str(), a["unit"].as_str()), (Some("camera.track"), Some("mm")));
    for key in ["min", "max", "lower", "upper"] {
        assert!(a["position"][key].is_number(), "{key}");
    }
    for which in ["velocity", "acceleration", "jerk", "step_rate"] {
        for key in ["peak", "limit", "frame"] {
            assert!(a[which][key].is_number(), "{which} {key}");
        }
    }
    assert_eq!(p["violations"].as_array().unwrap().len(), 0);
}

#[test]
fn what_is_over_a_limit_is_refused_and_written_only_on_request() {
    let dir = tempfile::tempdir().unwrap();
    let out = dir.path().join("fast");
    let shot = fixture("broken/too_fast.toml");
    let refused = run(&[&"compile", &shot, &"--out", &out]);
    assert_eq!(refused.status.code(), Some(1));
    assert!(!out.exists() && text(&refused.stderr).contains("nothing was written"));
    assert!(text(&refused.stdout).contains("exceeded: camera.track: velocity 30.72 mm/s exceeds the limit of 25 mm/s"));
    let j: Value = serde_json::from_slice(&run(&[&"check", &shot, &"--json"]).stdout).unwrap();
    let v = &j["passes"][0]["violations"][0];
    assert_eq!((v["axis"].as_str(), v["limit"].as_str()), (Some("camera.track"), Some("velocity")));
    assert!(v["value"].as_f64() > v["allowed"].as_f64() && v["frame"].is_number() && v["message"].is_string());
    let forced = run(&[&"compile", &shot, &"--out", &out, &"--over-limits"]);
    assert_eq!(forced.status.code(), Some(1));
    let manifest: Value = serde_json::from_slice(&fs::read(out.join("manifest.json")).unwrap()).unwrap();
    assert_eq!(manifest["within_limits"], Value::Bool(false));
    assert!(manifest["violations"][0].as_str().unwrap().contains("camera.track"));
}

#[test]
fn every_broken_fixture_is_refused_with_its_own_finding() {
    for (name, status, phrase) in [
        ("too_fast", 1, "exceeded: camera.track: velocity"),
        ("out_of_travel", 1, "is outside the travel"),
        ("no_run_up", 1, "no run-up of 1 to"),
        ("held_too_short", 1, "1.500 s are available between"),
        ("jerky", 1, "exceeded: heron_a.hoist: jerk"),
        ("typing_errors", 2, "help: write `shape`"),
    ] {
        let out = run(&[&"check", &fixture(&format!("broken/{name}.toml"))]);
        assert_eq!(out.status.code(), Some(status), "{name}");
        let said = text(&out.stdout) + &text(&out.stderr);
        assert!(said.contains(phrase), "{name}: {said}");
    }
}

#[test]
fn a_target_that_is_not_ours_is_never_touched() {
    let dir = tempfile::tempdir().unwrap();
    let (shot, _source) = short_herons();
    let strange = dir.path().join("strange");
    fs::create_dir(&strange).unwrap();
    fs::write(strange.join("letter.txt"), "mine").unwrap();
    for replace in [&["--replace"][..], &[]] {
        let mut c = Command::new(env!("CARGO_BIN_EXE_movewright"));
        let out = c.arg("compile").arg(&shot).arg("--out").arg(&strange).args(replace).output().unwrap();
        assert_eq!(out.status.code(), Some(2));
        assert!(text(&out.stderr).contains("letter.txt"), "{}", text(&out.stderr));
        assert_eq!(fs::read_to_string(strange.join("letter.txt")).unwrap(), "mine");
    }
    let file = dir.path().join("file");
    fs::write(&file, "x").unwrap();
    assert_eq!(run(&[&"compile", &shot, &"--out", &file]).status.code(), Some(2));
    // Ours, with a stranger's file put in: still not touched.
    let ours = dir.path().join("ours with a gap");
    assert_eq!(run(&[&"compile", &shot, &"--out", &ours]).status.code(), Some(0));
    fs::write(ours.join("notes.txt"), "mine").unwrap();
    assert_eq!(run(&[&"compile", &shot, &"--out", &ours, &"--replace"]).status.code(), Some(2));
    assert!(ours.join("notes.txt").exists());
}

#[test]
fn ours_with_other_content_is_replaced_only_when_asked() {
    let dir = tempfile::tempdir().unwrap();
    let (shot, _source) = short_herons();
    let out = dir.path().join("columns");
    assert_eq!(run(&[&"compile", &shot, &"--out", &out]).status.code(), Some(0));
    fs::write(out.join("beauty.steps.csv"), "damaged\n").unwrap();
    let refused = run(&[&"compile", &shot, &"--out", &out]);
    assert_eq!(refused.status.code(), Some(2));
    assert!(text(&refused.stderr).contains("--replace"));
    assert_eq!(fs::read_to_string(out.join("beauty.steps.csv")).unwrap(), "damaged\n");
    assert_eq!(run(&[&"compile", &shot, &"--out", &out, &"--replace"]).status.code(), Some(0));
    assert!(fs::read_to_string(out.join("beauty.steps.csv")).unwrap().starts_with("frame,"));
    // Nothing is left beside it.
    assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 1);
}

#[test]
fn an_empty_folder_is_taken_and_a_missing_parent_is_made() {
    let dir = tempfile::tempdir().unwrap();
    let (shot, _source) = short_herons();
    let empty = dir.path().join("empty");
    fs::create_dir(&empty).unwrap();
    assert_eq!(run(&[&"compile", &shot, &"--out", &empty]).status.code(), Some(0));
    assert!(empty.join("manifest.json").exists());
    let deep = dir.path().join("a").join("b \u{fc} c").join("d");
    assert_eq!(run(&[&"compile", &shot, &"--out", &deep]).status.code(), Some(0));
    assert!(deep.join("manifest.json").exists());
}

#[test]
fn a_wrong_call_is_status_two_and_help_is_an_answer() {
    assert_eq!(run(&[&"compile", &"nowhere.toml"]).status.code(), Some(2));
    assert_eq!(run(&[&"check", &"nowhere.toml"]).status.code(), Some(2));
    assert_eq!(run(&[&"dance"]).status.code(), Some(2));
    let help = run(&[&"--help"]);
    assert_eq!(help.status.code(), Some(0));
    assert!(text(&help.stdout).contains("check") && help.stderr.is_empty());
}

#[test]
fn results_are_on_standard_output_and_remarks_on_standard_error() {
    let out = run(&[&"check", &fixture("herons/shot.toml")]);
    assert!(text(&out.stdout).contains("\nbeauty   moving ") && out.stderr.is_empty());
    let bad = run(&[&"check", &fixture("broken/typing_errors.toml")]);
    assert!(bad.stdout.is_empty() && text(&bad.stderr).contains("error["));
}

/// Where JSON was asked for, scripts find there what is wrong too: all of it, with its place.
#[test]
fn input_errors_are_json_where_json_was_asked_for() {
    let typing = fixture("broken/typing_errors.toml");
    let demo = fixture("herons/shot.toml").to_str().unwrap().to_owned();
    let listed = text(&run(&[&"check", &typing]).stderr).matches("error[").count();
    for args in [&["check"][..], &["pace"], &["changes", demo.as_str()]] {
        let all: Vec<&dyn AsRef<std::ffi::OsStr>> = args.iter().map(|a| a as _).chain([&typing as _, &"--json" as _]).collect();
        let bad = run(&all);
        assert_eq!(bad.status.code(), Some(2));
        let document: serde_json::Value = serde_json::from_slice(&bad.stdout).unwrap();
        let errors = document["errors"].as_array().unwrap();
        assert_eq!((document["format"].as_u64(), errors.len()), (Some(1), listed), "{args:?}");
        for error in errors {
            assert!(error["file"].is_string() && error["line"].as_u64() > Some(0) && error["column"].as_u64() > Some(0), "{error}");
            assert!(text(&bad.stderr).contains(&format!("error[{}]", error["code"].as_str().unwrap())), "{error}");
        }
    }
    let missing: serde_json::Value = serde_json::from_slice(&run(&[&"check", &"nowhere.toml", &"--json"]).stdout).unwrap();
    assert_eq!(missing["errors"][0]["code"], "missing-file");
    // What is right is followed by no errors, whatever its verdict.
    let exceeded: serde_json::Value =
        serde_json::from_slice(&run(&[&"check", &fixture("broken/too_fast.toml"), &"--json"]).stdout).unwrap();
    assert!(exceeded.get("errors").is_none() && exceeded["within_limits"] == false);
}

/// A plate on three rods of 30 mm, 90 mm from its middle, and a leg on a wire.
const LEANING_STAGE: &str = r#"format = 1
name = "Marsh stage"
[motor.frame57]
full_steps_per_rev = 200
[[group]]
name = "heron"
AXIS(fore)AXIS(left)AXIS(right)AXIS(leg_wire)[[group.mechanism]]
kind = "swashplate"
axes = ["fore", "left", "right"]
channels = ["heave", "pitch", "roll"]
radius = 90
azimuths = [0, 240, 120]
rod_length = 30
[[group.mechanism]]
kind = "limb_wire"
axis = "leg_wire"
channel = "leg"
arm = 70
guide = [20, 160]
neutral = 0
"#;

const LEANING_SHOT: &str = r#"format = 1
name = "A heron leans too far"
stage = "stage.toml"
frame_rate = "24"
frames = [1, 96]
[[track]]
channel = "heron.heave"
keys = [[1, 0], [96, 40]]
[[track]]
channel = "heron.roll"
keys = [
  [1, 0],
  [48, 10],
  [96, 80],
]
[[track]]
channel = "heron.leg"
keys = [[1, 5], [60, 20], [96, 10]]
[[pass]]
name = "picture"
exposure = "moving"
seconds_per_frame = 12
shutter = 180
"#;

/// One error for each cause, at the key to blame: not one for each of the plate's three axes, and all of them at once.
#[test]
fn what_has_no_curve_is_one_error_a_cause_with_file_and_line() {
    let dir = tempfile::tempdir().unwrap();
    let mut stage = LEANING_STAGE.to_owned();
    for axis in ["fore", "left", "right", "leg_wire"] {
        let keys = "unit = \"mm\"\ntravel = [-900, 900]\nmax_velocity = 100\nmax_acceleration = 50\nmax_jerk = 100\nmotor = \"frame57\"\ntravel_per_rev = 5";
        stage = stage.replace(&format!("AXIS({axis})"), &format!("[[group.axis]]\nname = \"{axis}\"\n{keys}\n"));
    }
    fs::write(dir.path().join("stage.toml"), stage).unwrap();
    let refused = |shot: &str, args: &[&str]| {
        fs::write(dir.path().join("shot.toml"), shot).unwrap();
        let out = Command::new(env!("CARGO_BIN_EXE_movewright")).current_dir(dir.path()).args(args).output().unwrap();
        assert_eq!((out.status.code(), text(&out.stdout).as_str()), (Some(2), ""), "{}", text(&out.stderr));
        text(&out.stderr)
    };
    let plate = "error[out-of-reach]: the swashplate that `heron.heave`, `heron.pitch`, `heron.roll` drive has no curve\n  --> shot.toml:14:3\n   |\n\
        14 |   [96, 80],\n   |   ^^^^^^^^\n   |\n   = found: at frame 96: roll is out of reach at 80 deg";
    for args in [&["check", "shot.toml"][..], &["compile", "shot.toml", "--out", "columns"]] {
        let said = refused(LEANING_SHOT, args);
        assert!(
            said.starts_with(plate) && said.contains("; axes heron.fore, heron.left, heron.right\n   = help: change the keys"),
            "{said}"
        );
        assert_eq!(said.matches("error[").count(), 1, "{said}");
        let said = refused(&LEANING_SHOT.replace("[60, 20]", "[60, 170]"), args);
        let leg = "\n\nerror[out-of-reach]: the limb_wire that `heron.leg` drives has no curve\n  --> shot.toml:18:17\n   |\n\
            18 | keys = [[1, 5], [60, 170], [96, 10]]\n   |                 ^^^^^^^^^\n   |\n   = found: at frame 60: angle is out of reach at 170 deg";
        assert!(said.starts_with(plate) && said.contains(leg), "{said}");
        assert_eq!(said.matches("error[").count(), 2, "{said}");
    }
    assert!(!dir.path().join("columns").exists());
    // Within reach it compiles: the same stage, the same channels.
    fs::write(dir.path().join("shot.toml"), LEANING_SHOT.replace("[96, 80]", "[96, 50]")).unwrap();
    let out = Command::new(env!("CARGO_BIN_EXE_movewright")).current_dir(dir.path()).args(["check", "shot.toml"]).output().unwrap();
    assert_eq!(out.status.code(), Some(0), "{}{}", text(&out.stdout), text(&out.stderr));
}

#[test]
fn the_command_tells_what_changed() {
    let temp = tempfile::tempdir().unwrap();
    let herons = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/herons");
    for file in ["shot.toml", "stage.toml", "take_off.toml", "take_off.csv", "heron_b.csv", "heron_c.csv", "heron_d.csv"] {
        std::fs::copy(herons.join(file), temp.path().join(file)).unwrap();
    }
    let old = temp.path().join("shot.toml");
    let new = temp.path().join("new.toml");
    // The new shot calls another take-off, which differs in one key.
    let read = |name: &str| std::fs::read_to_string(temp.path().join(name)).unwrap();
    let edited = read("take_off.toml").replace("[14, 11.0]", "[14, 10.0]");
    assert_ne!(edited, read("take_off.toml"));
    std::fs::write(temp.path().join("another.toml"), edited).unwrap();
    std::fs::write(&new, read("shot.toml").replace("take_off.toml", "another.toml")).unwrap();
    let changes = |old: &std::path::Path, new: &std::path::Path, code: i32| {
        let run = Command::new(env!("CARGO_BIN_EXE_movewright")).arg("changes").arg(old).arg(new).arg("--json").output().unwrap();
        assert_eq!(run.status.code(), Some(code), "{}", String::from_utf8_lossy(&run.stderr));
        run.stdout
    };
    let json: serde_json::Value = serde_json::from_slice(&changes(&old, &old, 0)).unwrap();
    assert_eq!(json["axes"], serde_json::json!([]));
    let json: serde_json::Value = serde_json::from_slice(&changes(&old, &new, 1)).unwrap();
    // The head of heron_a, and that of heron_b, which follows 19 frames later; the clean pass and the stills park both.
    let axes: Vec<_> = json["axes"].as_array().unwrap().iter().map(|a| a["axis"].as_str().unwrap().to_owned()).collect();
    assert_eq!(axes, ["heron_a.head", "heron_b.head"]);
    let good: Vec<_> = json["passes"].as_array().unwrap().iter().map(|p| p["good"].as_bool().unwrap()).collect();
    assert_eq!(good, [false, false, true, false, true]);
    changes(&old, &temp.path().join("nothing.toml"), 2);
}

#[test]
fn the_command_compares_a_written_folder() {
    let temp = tempfile::tempdir().unwrap();
    let herons = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/herons/shot.toml");
    let out = temp.path().join("out");
    let movewright = || Command::new(env!("CARGO_BIN_EXE_movewright"));
    let ends = |command: &mut Command, code: i32| {
        let run = command.output().unwrap();
        assert_eq!(run.status.code(), Some(code), "{}", String::from_utf8_lossy(&run.stderr));
        run.stdout
    };
    ends(movewright().arg("compile").arg(&herons).arg("--out").arg(&out), 0);
    ends(movewright().arg("verify").arg(&out), 0);
    // A pass is a log of itself; a take that lost 80 steps at frame 200 is not.
    let written = std::fs::read_to_string(out.join("beauty.steps.csv")).unwrap();
    let lost: String = written
        .lines()
        .map(|line| {
            let mut cells: Vec<String> = line.split(',').map(str::to_owned).collect();
            if cells[0].parse::<i64>().is_ok_and(|f| f >= 200) {
                cells[2] = (cells[2].parse::<i64>().unwrap() - 80).to_string();
            }
            cells.join(",") + "\n"
        })
        .collect();
    let log = temp.path().join("take_2.csv");
    std::fs::write(&log, lost).unwrap();
    let compare = |extra: &[&str], code: i32| {
        let mut c = movewright();
        ends(c.arg("compare").arg(&out).args(["--pass", "beauty"]).arg(out.join("beauty.steps.csv")).arg(&log).args(extra), code)
    };
    // Without a tolerance half a pixel is allowed.
    compare(&[], 1);
    compare(&["--tolerance-steps", "80"], 0);
    let json: Value = serde_json::from_slice(&compare(&["--tolerance-steps", "79", "--json"], 1)).unwrap();
    let track = &json["axes"][0];
    assert_eq!((track["axis"].as_str(), track["takes"].as_u64(), track["frames_over"].as_u64()), (Some("camera.track"), Some(2), Some(89)));
    assert_eq!((track["steps"]["pass_to_pass"].as_f64(), json["causes"][0]["frame"].as_i64()), (Some(80.0), Some(200)));
    assert_eq!((json["axes"][1]["repeatability"].as_f64(), json["within_tolerance"].as_bool()), (Some(0.0), Some(false)));
    // 80 steps of the track are half a millimetre, some three pixels of the demo's picture: 50 mm x 4096 / 24.9 mm / 1.3 to 1.6 m.
    assert!(track["pixels"]["largest_deviation"].as_f64().is_some_and(|p| 2.0 < p && p < 4.0), "{}", track["pixels"]);
    for (options, code) in
        [(["--tolerance-steps", "-1"], 2), (["--tolerance-px", "0.1"], 1), (["--tolerance-px", "5"], 0), (["--log-units", "units"], 1)]
    {
        compare(&options, code);
    }
    ends(movewright().arg("compare").arg(&out).args(["--pass", "night"]).arg(&log), 2);
    std::fs::write(out.join("beauty.steps.csv"), written.replacen(",0,", ",1,", 1)).unwrap();
    compare(&[], 2);
    ends(movewright().arg("verify").arg(&out), 1);
    ends(movewright().arg("verify").arg(temp.path().join("nowhere")), 2);
}
