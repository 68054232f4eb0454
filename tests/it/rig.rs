//! `movewright rig` as a person runs it: the sheet, the table to fill in, what readings say, and wrong calls.

use std::fs;

use serde_json::Value;

use crate::case::{Case, STAGE, axis};

fn case() -> Case {
    let track = axis("track", "mm", [0.0, 400.0], [25.0, 12.0, 24.0], "microsteps = 16\ntravel_per_rev = 60\nbacklash = 0.02");
    let pan = axis("pan", "deg", [-90.0, 90.0], [2.0, 1.0, 2.0], "gear_ratio = 40\nreverse = true");
    Case::new(&format!("{STAGE}[[group]]\nname = \"camera\"\n{track}{pan}"), "")
}

fn run(case: &Case, args: &[&str]) -> (i32, String, String) {
    let out = case.run(&[&["rig", "stage.toml"], args].concat());
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (out.status.code().unwrap(), text(out.stdout), text(out.stderr).split_whitespace().collect::<Vec<_>>().join(" "))
}

/// Fills in the table that the program prints: what the machine does with each commanded position.
fn filled(case: &Case, name: &str, moved: impl Fn(f64, f64) -> f64) -> String {
    let (status, blank, _) = run(case, &["--axis", name, "--blank"]);
    assert_eq!(status, 0);
    let mut rows = blank.lines();
    assert_eq!(rows.next(), Some("commanded,measured,direction"));
    let fill = |(i, row): (usize, &str)| {
        let cells: Vec<&str> = row.split(',').collect();
        let side = if cells[2] == "+" { 1.0 } else { -1.0 };
        // A few thousandths that no fault explains.
        let noise = [0.003, -0.001, 0.0, -0.004, 0.002, 0.001, -0.002][i % 7];
        format!("{},{:.3},{}\n", cells[0], moved(cells[0].parse().unwrap(), side) + noise, cells[2])
    };
    format!("commanded,measured,direction\n{}", rows.enumerate().map(fill).collect::<String>())
}

#[test]
fn the_sheet_has_what_the_stage_file_says() {
    let case = case();
    let (status, text, _) = run(&case, &[]);
    assert_eq!(status, 0);
    for line in [
        "camera.track",
        "  steps per mm   160/3 exactly, about 53.33333333",
        "  from           200 full steps x 16 microsteps x gear 1 / 60 mm per turn",
        "  direction      positive travel counts up",
        "  home           0 mm is step 0",
        "  travel         0 to 400 mm, step 0 to 21333",
        "  motor          m",
        "camera.pan",
        "  direction      positive travel counts down (reverse = true)",
        "  backlash       not in the stage file",
    ] {
        assert!(text.lines().any(|l| l == line), "{line}\n{text}");
    }
    assert!(text.lines().all(|l| l.chars().count() <= 80), "{text}");
    let json: Value = serde_json::from_str(&run(&case, &["--axis", "camera.track", "--json"]).1).unwrap();
    assert_eq!(json["axes"].as_array().unwrap().len(), 1);
    assert_eq!(json["axes"][0]["steps_per_unit"]["fraction"], "160/3");
    assert_eq!(json["axes"][0]["targets"]["positions"].as_array().unwrap().len(), 5);
    assert!(json["measured"].is_null());
}

#[test]
fn readings_that_agree_end_with_0_and_faults_with_1_and_their_lines() {
    let case = case();
    case.write("camera.track.csv", &filled(&case, "camera.track", |x, side| 12.0 + x - side * 0.01));
    let (status, text, _) = run(&case, &["--measured", "camera.track.csv"]);
    assert!(status == 0 && text.contains("The stage file agrees with this measurement."), "{text}");

    case.write("camera.track.csv", &filled(&case, "camera.track", |x, side| 12.0 + 1.01 * x - side * 0.01));
    let (status, text, _) = run(&case, &["--measured", "camera.track.csv"]);
    assert!(status == 1 && text.contains("wrong scale: camera.track moves 0.9994 % too far"), "{text}");
    assert!(text.contains("\n  travel_per_rev = 60.59") && !text.contains("reverse ="), "{text}");

    let other = case.write("monday.csv", &filled(&case, "camera.pan", |x, _| -x));
    let (status, text, _) = run(&case, &["--measured", other.to_str().unwrap(), "--axis", "camera.pan"]);
    assert!(status == 1 && text.contains("wrong sign: camera.pan moves the other way") && text.contains("\n  reverse = false"), "{text}");
    let (status, json, _) = run(&case, &["--measured", "monday.csv", "--axis", "camera.pan", "--json"]);
    let json: Value = serde_json::from_str(&json).unwrap();
    assert!(status == 1 && json["measured"]["findings"] == serde_json::json!(["sign"]), "{json:#}");
}

#[test]
fn wrong_calls_and_files_end_with_2_and_say_what_to_do() {
    let case = case();
    case.write("camera.trak.csv", "commanded,measured,direction\n");
    let metres = filled(&case, "camera.track", |x, _| x / 1000.0);
    case.write("camera.track.csv", &metres.replace(",0.0,", ",0.000,"));
    case.write("bad.csv", "commanded,measured,direction\n1,2,+\n3,NaN,-\n");
    let large = fs::File::create(case.path().join("large.csv")).unwrap();
    large.set_len(100 * 1024 * 1024).unwrap();
    let calls: &[(&[&str], &str, &str)] = &[
        (&["--axis", "camera.trak"], "error[unknown-axis]: --axis", "near to it: camera.track"),
        (&["--measured", "camera.trak.csv"], "error[unknown-axis]: --measured", "--axis"),
        (&["--measured", "camera.track.csv"], "error[other-unit]", "it looks like metres: give `measured` in mm"),
        (&["--measured", "bad.csv", "--axis", "camera.track"], "bad.csv:3:3", "a finite number"),
        (&["--measured", "large.csv", "--axis", "camera.track"], "error[file-too-large]", "at most 4194304 bytes"),
        (&["--measured", "none.csv", "--axis", "camera.track"], "error[missing-file]", "none.csv"),
        (&["--blank"], "required arguments were not provided", "--axis"),
    ];
    for (args, found, cure) in calls {
        let (status, out, said) = run(&case, args);
        assert!(status == 2 && out.is_empty() && said.contains(found) && said.contains(cure), "{args:?}: {status} {out} {said}");
    }
    let (status, json, _) = run(&case, &["--measured", "bad.csv", "--axis", "camera.track", "--json"]);
    let json: Value = serde_json::from_str(&json).unwrap();
    assert!(status == 2 && json["errors"][0]["code"] == "not-a-number" && json["errors"][0]["line"] == 3, "{json:#}");
}
