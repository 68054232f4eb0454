//! Parts of passes: rows of some frames in a folder that `verify` compares with its source, frames before the break again, where the axes must stand, and the columns for controllers.

use std::fs;
use std::path::Path;

use serde_json::json;

use crate::case::{Case, two_axes};
use crate::verify_edits::{Edit, cell, found_and_named, manifest, set_manifest, verified};

const PASSES: [&str; 4] = [
    "{ name = \"picture\", exposure = \"moving\", seconds_per_frame = 2, shutter = 120 }",
    "{ name = \"still\", exposure = \"held\", seconds_per_frame = 40, shutter = 120, settle = 1 }",
    "{ name = \"quick\", exposure = \"held\", seconds_per_frame = 9, shutter = 120, settle = 1, interval = \"shortest\" }",
    "{ name = \"test\", exposure = \"moving\", seconds_per_frame = 3, shutter = 120, every = 4 }",
];

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A folder with rows of frames 17 to 29 holds; each damage of it is named.
#[test]
fn a_folder_with_rows_of_a_part_is_verified() {
    let case = two_axes(1, &PASSES);
    let out = case.run(&["compile", "shot.toml", "--out", "written", "--rows", "4", "--frames", "17..29"]);
    assert_eq!(out.status.code(), Some(0), "{}", text(&out.stderr));
    let written = case.path().join("written");
    let m = manifest(&written);
    for pass in m["passes"].as_array().unwrap() {
        let (rows, name) = (&pass["rows"], pass["name"].as_str().unwrap());
        assert_eq!((&rows["part"]["first_frame"], &rows["part"]["last_frame"]), (&json!(17), &json!(29)), "{name}");
        let lines = fs::read_to_string(written.join(format!("{name}.rows.csv"))).unwrap().lines().count();
        assert_eq!(rows["rows"].as_u64(), Some(lines as u64 - 1));
        let by_axis = rows["axes"].as_array().unwrap();
        assert_eq!(by_axis.len(), 2);
        let (turn, head) = (&by_axis[1], fs::read_to_string(written.join(format!("{name}.rows.csv"))).unwrap());
        // From home, and up into frame 17: the axis turns at about frame 24.
        assert_eq!((turn["first_steps"].as_i64(), turn["approach"].as_str()), (Some(0), Some("up")), "{name}");
        assert!(head.lines().any(|l| l.split(',').nth(2) == Some(turn["start_steps"].to_string().as_str())), "{name}");
        let worst = by_axis.iter().map(|a| a["straight_lines"].as_f64().unwrap()).fold(0.0, f64::max);
        let stated = rows["between_rows"][0]["steps"].as_f64().unwrap();
        assert!(stated <= worst && worst <= 1.001 * stated, "{name}: {stated} {worst}");
    }
    let (status, said) = verified(&case, "written");
    assert_eq!(status, Some(0), "{said}");
    let first = |pass: usize| m["passes"][pass]["rows"]["first_opening_s"].as_f64().unwrap();
    let row = |pass: usize, after: f64| format!("{:.2},", ((first(pass) + after) * 4.0).ceil() / 4.0);
    let part = |d: &Path, pass: usize, key: &str, value: serde_json::Value| {
        let mut m = manifest(d);
        m["passes"][pass]["rows"]["part"][key] = value;
        set_manifest(d, &m);
    };
    let edits: Vec<(&str, Edit<'_>)> = vec![
        ("picture.rows.csv: g.x", Box::new(|d| cell(d, "picture.rows.csv", &row(0, 1.0), "g.x", |n| n + 2.0))),
        ("still.rows.csv: g.turn", Box::new(|d| cell(d, "still.rows.csv", &row(1, 3.0), "g.turn", |n| n - 2.0))),
        ("quick.rows.csv: shutter", Box::new(|d| cell(d, "quick.rows.csv", &row(2, 1.0), "shutter", |n| 1.0 - n))),
        ("picture.rows.csv", Box::new(|d| part(d, 0, "first_frame", json!(18)))),
        ("test.rows.csv: the manifest has frames 17 to 30", Box::new(|d| part(d, 3, "last_frame", json!(30)))),
        ("picture.rows.csv", Box::new(|d| part(d, 0, "run_up_frames", json!(7)))),
        ("quick.rows.csv", Box::new(|d| part(d, 2, "opens_s", json!([1.0])))),
    ];
    found_and_named(&case, &edits);
    // Frames that the shot or the pass does not have.
    for (frames, said) in [("17..42", "not all photographed"), ("18..20", "exposes none"), ("20..18", "or later"), ("17", "118..140")] {
        let out = case.run(&["compile", "shot.toml", "--out", "other", "--rows", "4", "--frames", frames]);
        assert!(out.status.code() == Some(2) && text(&out.stderr).contains(said), "{frames}: {}", text(&out.stderr));
    }
    assert!(!case.path().join("other").exists());
}

fn rows(case: &Case, more: &[&str]) -> (Option<i32>, String, String) {
    let out = case.run(&[&["rows", "shot.toml", "--pass", "picture", "--rate", "8", "--out", "-"][..], more].concat());
    (out.status.code(), String::from_utf8(out.stdout).unwrap(), text(&out.stderr))
}

/// Five frames before the break are exposed again, or as many as there are.
#[test]
fn frames_before_the_break_are_exposed_again() {
    let case = two_axes(1, &PASSES);
    let exposed = |more: &[&str]| {
        let (status, table, said) = rows(&case, &[&["--frame"][..], more].concat());
        assert_eq!(status, Some(0), "{said}");
        let mut frames: Vec<i64> = table.lines().skip(1).filter_map(|l| l.rsplit(',').next()?.parse().ok()).collect();
        frames.dedup();
        frames
    };
    assert_eq!(exposed(&["--frames", "20..23", "--overlap", "5"]), (15..=23).collect::<Vec<_>>());
    assert_eq!(exposed(&["--frames", "3..4", "--overlap", "5"]), [1, 2, 3, 4]);
    assert_eq!(exposed(&["--frames", "20..23", "--overlap", "0"]), exposed(&["--frames", "20..23"]));
    assert_eq!(rows(&case, &["--overlap", "5"]).0, Some(2));
    assert!(rows(&case, &["--frames", "20..23"]).2.contains("on film no exposed frame can be exposed again"));
}

/// Positions read after a break: where the pass was, a step off, forty steps off on one axis, and accepted.
#[test]
fn lost_steps_are_refused_unless_accepted() {
    let case = two_axes(1, &PASSES);
    let (_, table, _) = rows(&case, &["--frame"]);
    let row = table.lines().find(|l| l.ends_with(",24")).unwrap().to_owned();
    let counts: Vec<i64> = row.split(',').skip(1).take(2).map(|n| n.parse().unwrap()).collect();
    let from = |x: i64, turn: i64, more: &[&str]| {
        case.write("stands.csv", &format!("axis,steps\ng.x,{}\ng.turn,{}\n", counts[0] + x, counts[1] + turn));
        rows(&case, &[&["--frames", "24..30", "--from", "stands.csv"][..], more].concat())
    };
    let (status, table, said) = from(0, 0, &[]);
    assert!(status == Some(0) && said.contains("each within a step"), "{said}");
    assert_eq!(table.lines().nth(1), Some(format!("0.000,{},{}", counts[0], counts[1]).as_str()));
    assert_eq!(from(0, 1, &[]).0, Some(0));
    let (status, table, said) = from(0, 40, &[]);
    assert!(status == Some(2) && table.is_empty() && said.contains("error[stands-elsewhere]") && said.contains("g.turn"), "{said}");
    let (status, table, said) = from(0, 40, &["--accept"]);
    assert!(status == Some(0) && said.contains("g.turn") && said.contains("steps"), "{said}");
    assert_eq!(table.lines().nth(1), Some(format!("0.000,{},{}", counts[0], counts[1] + 40).as_str()));
    // A slipped digit in the frame.
    assert_eq!(
        {
            case.write("stands.csv", &format!("axis,steps\ng.x,{}\ng.turn,{}\n", counts[0], counts[1]));
            rows(&case, &["--frames", "4..30", "--from", "stands.csv"]).0
        },
        Some(2)
    );
}

/// A warning begins before the program, at rest, and lasts to the last row; everything else is as without it.
#[test]
fn a_warning_comes_before_the_first_motion() {
    let case = two_axes(1, &PASSES);
    let (_, plain, _) = rows(&case, &["--shutter"]);
    let (status, warned, said) = rows(&case, &["--shutter", "--warning", "2.3"]);
    assert!(status == Some(0) && said.contains("rows begin 2.3 s before the program"), "{said}");
    let lines: Vec<&str> = warned.lines().collect();
    assert_eq!(lines[0], format!("{},warning", plain.lines().next().unwrap()));
    // 2.3 s x 8 rows, rounded up: 19.
    assert_eq!(lines[1], "-2.375,0,0,0,1");
    assert_eq!(lines[19], "-0.125,0,0,0,1");
    let after: Vec<String> = lines[20..].iter().map(|l| l.strip_suffix(",1").unwrap().to_owned()).collect();
    assert_eq!(after, plain.lines().skip(1).collect::<Vec<_>>());
    assert_eq!(rows(&case, &["--warning", "0"]).1.lines().nth(1), Some("0.000,0,0,1"));
    for wrong in ["-1", "36000", "nan", "soon"] {
        let (status, _, said) = rows(&case, &[&format!("--warning={wrong}")]);
        assert!(status == Some(2) && said.contains("warning"), "{wrong}: {said}");
    }
}

/// Accelerations are the slopes of the velocities, moving and held.
#[test]
fn accelerations_are_slopes_of_velocities() {
    let case = two_axes(1, &PASSES);
    for pass in ["picture", "still"] {
        let out =
            case.run(&["rows", "shot.toml", "--pass", pass, "--rate", "200", "--out", "-", "--columns", "position,velocity,acceleration"]);
        assert_eq!(out.status.code(), Some(0), "{}", text(&out.stderr));
        let table = String::from_utf8(out.stdout).unwrap();
        assert!(table.starts_with("t_s,g.x,g.turn,g.x:steps_per_s,g.turn:steps_per_s,g.x:steps_per_s2,g.turn:steps_per_s2\n"));
        let rows: Vec<Vec<f64>> = table.lines().skip(1).map(|l| l.split(',').map(|n| n.parse().unwrap()).collect()).collect();
        let mut most = 0.0_f64;
        for w in rows.windows(3) {
            for axis in 0..2 {
                let slope = (w[2][3 + axis] - w[0][3 + axis]) * 100.0;
                // Jerk of at most 80 units/s3 and 33.3 steps per mm or 5.6 per deg, over 5 ms.
                assert!((slope - w[1][5 + axis]).abs() <= 80.0 * 34.0 * 0.005 + 0.3, "{pass} {} {slope} {}", w[1][0], w[1][5 + axis]);
                most = most.max(w[1][5 + axis].abs());
            }
        }
        assert!(most > 10.0, "{pass}: {most}");
    }
}

/// What changed is named with the command that shoots it again.
#[test]
fn changes_name_the_frames_to_shoot_again() {
    let case = two_axes(1, &PASSES);
    let old = fs::read_to_string(case.path().join("shot.toml")).unwrap();
    case.write("new.toml", &old.replace("[24, 130], [41, 5]", "[24, 130], [34, 60], [41, 5]"));
    let out = case.run(&["changes", "shot.toml", "new.toml", "--json"]);
    let json: serde_json::Value = serde_json::from_slice(&out.stdout).unwrap();
    let frames = &json["passes"][0]["frames"];
    let said = text(&case.run(&["changes", "shot.toml", "new.toml"]).stdout);
    let command = format!("movewright rows new.toml --pass picture --frames {}..{} --rate HZ --out FILE", frames[0], frames[1]);
    assert!(said.contains(&command), "{said}");
    case.write("new.toml", &old.replace("shutter = 120 }", "shutter = 90 }"));
    let said = text(&case.run(&["changes", "shot.toml", "new.toml"]).stdout);
    assert!(said.contains("RESHOOT picture") && !said.contains("--frames"), "{said}");
}
