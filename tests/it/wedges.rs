//! Wedges: one frame exposed several times without moving. Its counts are those of the whole pass, rows open the shutter for 2^k times the pass's exposure, and `verify` names what is not so.

use std::fs;
use std::path::Path;

use serde_json::json;

use crate::case::{Case, two_axes};
use crate::verify_edits::{Edit, cell, found_and_named, manifest, replaced, set_manifest, verified};

const FIRST: i64 = -3;
const LAST: i64 = 37;

const WHOLE: &str = "{ name = \"whole\", exposure = \"moving\", seconds_per_frame = 2, shutter = 120 }";

/// A strip of five exposures of a frame at 12 s per frame with half of it open.
fn strip(frame: i64) -> String {
    format!(
        "{{ name = \"strip\", exposure = \"held\", seconds_per_frame = 12, shutter = 180, settle = 1.5, wedge = {{ frame = {frame}, stops = [-1, -0.5, 0, 0.5, 1] }} }}"
    )
}

fn compiled(case: &Case, more: &[&str]) {
    let out = case.run(&[&["compile", "shot.toml", "--out", "written"], more].concat());
    assert_eq!(out.status.code(), Some(0), "{}{}", String::from_utf8_lossy(&out.stdout), String::from_utf8_lossy(&out.stderr));
}

fn lines(case: &Case, file: &str) -> Vec<String> {
    fs::read_to_string(case.path().join("written").join(file)).unwrap().lines().map(str::to_owned).collect()
}

/// At the ends, in the middle, and after an axis reversed: one row, that of the whole pass; every axis on it while the shutter is open five times, half a stop apart.
#[test]
fn one_frame_is_exposed_several_times() {
    for frame in [FIRST, 12, 30, LAST] {
        let case = two_axes(FIRST, &[WHOLE, &strip(frame)]);
        compiled(&case, &["--rows", "100"]);
        let whole = lines(&case, "whole.steps.csv");
        let row = whole.iter().find(|l| l.starts_with(&format!("{frame},"))).unwrap();
        assert_eq!(lines(&case, "strip.steps.csv"), [whole[0].clone(), row.clone()]);
        let stands: Vec<&str> = row.split(',').skip(2).collect();
        let (mut exposures, mut dark) = (Vec::new(), Vec::new());
        let mut since: Option<(String, u32)> = None;
        for line in lines(&case, "strip.rows.csv").iter().skip(1) {
            let cells: Vec<&str> = line.split(',').collect();
            let open = cells[3].to_owned();
            if open == "1" || !exposures.is_empty() {
                assert_eq!(cells[1..3], stands[..], "frame {frame}: {line}");
            }
            since = Some(match since {
                Some((before, n)) if before == open => (before, n + 1),
                Some((before, n)) => {
                    if before == "1" { &mut exposures } else { &mut dark }.push(f64::from(n) / 100.0);
                    (open, 1)
                }
                None => (open, 1),
            });
        }
        // 6 s x 2^k, with the other 6 s of the frame dark in between.
        let near = |found: &[f64], expected: &[f64]| {
            found.len() == expected.len() && found.iter().zip(expected).all(|(a, b)| (a - b).abs() <= 0.0101)
        };
        assert!(near(&exposures, &[3.0, 4.242_64, 6.0, 8.485_28, 12.0]), "{exposures:?}");
        assert!(near(&dark[1..], &[6.0; 4]), "{dark:?}");
        let (status, said) = verified(&case, "written");
        assert_eq!(status, Some(0), "frame {frame}: {said}");
        let m = manifest(&case.path().join("written"));
        assert_eq!(m["passes"][1]["wedge"], json!({ "frame": frame, "stops": [-1.0, -0.5, 0.0, 0.5, 1.0] }));
    }
}

/// Times and exposures are counted, the passes register, and the text says what the pass is.
#[test]
fn time_and_exposures_are_counted() {
    let case = two_axes(FIRST, &[WHOLE, &strip(12)]);
    let checked = case.check();
    assert_eq!(checked.status, 0, "{}", checked.text);
    let pass = &checked.json["passes"][1];
    assert_eq!(pass["exposures"], json!(5));
    let each = pass["wedge"]["exposures"].as_array().unwrap();
    let opens = |i: usize| each[i]["opens_s"].as_f64().unwrap();
    let closes = |i: usize| each[i]["closes_s"].as_f64().unwrap();
    assert!((closes(4) - opens(4) - 12.0).abs() < 2e-6 && (opens(1) - closes(0) - 6.0).abs() < 2e-6);
    // The move to start ends on a whole second; the exposure opens 1.5 s after everything arrived.
    let duration = pass["duration_s"].as_f64().unwrap();
    assert!((closes(4) - opens(0) - (33.727_922 + 24.0)).abs() < 1e-5 && duration < 57.727_923 + 1.5, "{pass}");
    assert!(
        checked.sentence().contains("wedge: exposes frame 12 at -1, -0.5, 0, 0.5, 1 stops, 5 exposures without moving"),
        "{}",
        checked.text
    );
    for pair in checked.json["registration"].as_array().unwrap() {
        assert_eq!(pair["misses"].as_array().map(Vec::len).unwrap_or_default(), 0, "{pair}");
    }
    let out = case.run(&["pace", "shot.toml", "--csv"]);
    let csv = String::from_utf8(out.stdout).unwrap();
    assert_eq!(csv.lines().nth(2).unwrap().split(',').nth(6), Some("5"), "{csv}");
}

/// An axis comes to the frame from the side from which the whole pass came there: frame 30 is after the axis reversed.
#[test]
fn the_play_lies_as_in_the_whole_pass() {
    for (frame, down) in [(12, false), (30, true)] {
        let case = two_axes(FIRST, &[WHOLE, &strip(frame)]);
        let json = case.check().json;
        let axes = json["passes"][1]["move_to_start"]["axes"].as_array().unwrap().clone();
        let turn = axes.iter().find(|a| a["axis"] == "g.turn").unwrap();
        let (from, start) = (turn["approach_from"].as_f64().unwrap(), turn["start"].as_f64().unwrap());
        assert_eq!(from > start, down, "{frame}: {turn}");
        assert!((from - start).abs() > 0.5);
        let pair = &json["registration"][0];
        assert_eq!(pair["approaches"].as_array().map(Vec::len).unwrap_or_default(), 0, "{pair}");
    }
}

/// What the camera needs is compared with the exposures and the darkness of the wedge itself, and at the limit.
#[test]
fn the_camera_needs_its_time_between_them() {
    let of = |timing: &str| {
        let case = two_axes(FIRST, &[&strip(12)]);
        let stage = fs::read_to_string(case.path().join("stage.toml")).unwrap();
        case.write("stage.toml", &format!("{stage}[camera_timing]\n{timing}\n"));
        case.check().status
    };
    assert_eq!((of("dead_s = 6"), of("dead_s = 6.001")), (0, 1));
    assert_eq!((of("longest_s = 12"), of("longest_s = 11.999")), (0, 1));
}

/// A folder of a wedge that somebody edited and whose hashes he put right.
#[test]
fn edits_are_found_and_named() {
    let case = two_axes(FIRST, &[WHOLE, &strip(12)]);
    compiled(&case, &["--rows", "2"]);
    let stated = |d: &Path, key: &str, value: serde_json::Value| {
        let mut m = manifest(d);
        m["passes"][1][key] = value;
        set_manifest(d, &m);
    };
    let source = |d: &Path, old: &str, new: &str| replaced(d, "source/shot.toml", old, new);
    let opening = manifest(&case.path().join("written"))["passes"][1]["rows"]["first_opening_s"].as_f64().unwrap();
    // The middle of the darkness after the first exposure.
    let dark = format!("{:.1},", ((opening + 6.0) * 2.0).round() / 2.0);
    let edits: Vec<(&str, Edit<'_>)> = vec![
        ("pass strip: wedge", Box::new(|d| stated(d, "wedge", json!({ "frame": 12, "stops": [-1, -0.5, 0, 0.5, 2] })))),
        ("pass strip: wedge", Box::new(|d| stated(d, "wedge", json!(null)))),
        ("pass strip: duration_s", Box::new(|d| stated(d, "duration_s", json!(50.0)))),
        ("strip.steps.csv: frame 13", Box::new(|d| source(d, "{ frame = 12", "{ frame = 13"))),
        // One slipped digit.
        ("pass strip: wedge", Box::new(|d| source(d, "stops = [-1, -0.5, 0", "stops = [-1, -0.5, 0.1"))),
        ("strip.rows.csv: shutter", Box::new(|d| cell(d, "strip.rows.csv", &dark, "shutter", |open| 1.0 - open))),
        ("strip.steps.csv: g.turn: frame 12", Box::new(|d| cell(d, "strip.steps.csv", "12,", "g.turn", |n| n + 1.0))),
        (
            "strip.steps.csv: goes on",
            Box::new(|d| {
                fs::copy(d.join("whole.steps.csv"), d.join("strip.steps.csv")).unwrap();
                let text = fs::read_to_string(d.join("strip.steps.csv")).unwrap();
                let kept: Vec<&str> = text.lines().filter(|l| ["frame", "12", "13"].contains(&l.split(',').next().unwrap())).collect();
                fs::write(d.join("strip.steps.csv"), kept.join("\n") + "\n").unwrap();
            }),
        ),
    ];
    found_and_named(&case, &edits);
}

/// Slipped keys are refused where they stand.
#[test]
fn a_slipped_key_is_refused() {
    let of = |pass: &str| two_axes(FIRST, &[WHOLE, pass]).refusal();
    let base = strip(12);
    for (old, new, code, found) in [
        ("frame = 12,", "frame = 120,", "out-of-range", "-3 to 37"),
        ("frame = 12,", "frame = 1.2,", "wrong-type", "1.2"),
        ("frame = 12, ", "", "missing-key", "frame"),
        (", stops = [-1, -0.5, 0, 0.5, 1]", "", "missing-key", "stops"),
        ("[-1, -0.5, 0, 0.5, 1]", "[]", "too-many", "0 stops"),
        ("[-1, -0.5, 0, 0.5, 1]", "[-1, \"0\"]", "wrong-type", "stops"),
        ("-0.5", "-50", "out-of-range", "-50"),
        ("-0.5", "nan", "out-of-range", "NaN"),
        ("\"held\"", "\"moving\"", "out-of-range", "without moving"),
        ("settle = 1.5", "every = 8", "out-of-range", "every"),
        ("shutter = 180", "shutter = 360", "out-of-range", "does not close"),
        ("stops", "stop", "unknown-key", "stop"),
    ] {
        assert!(base.contains(old));
        let said = of(&base.replace(old, new));
        assert!(said.contains(&format!("error[{code}]")) && said.contains(found), "{new}: {said}");
    }
}

/// A part of the wedge is its frame; frames without it are refused, and a frame that is wanted and was not exposed is shot again.
#[test]
fn parts_and_changes() {
    let case = two_axes(FIRST, &[WHOLE, &strip(12)]);
    let rows = |frames: &str| case.run(&["rows", "shot.toml", "--pass", "strip", "--rate", "2", "--out", "-", "--frames", frames]);
    let (with, without) = (rows("10..14"), rows("13..20"));
    assert_eq!(with.status.code(), Some(0), "{}", String::from_utf8_lossy(&with.stderr));
    let said = String::from_utf8_lossy(&without.stderr).into_owned();
    assert!(without.status.code() == Some(2) && said.contains("frame 12"), "{said}");
    let old = fs::read_to_string(case.path().join("shot.toml")).unwrap();
    let changed = |from: &str, to: &str| {
        case.write("new.toml", &old.replace(from, to));
        String::from_utf8(case.run(&["changes", "shot.toml", "new.toml"]).stdout).unwrap().split_whitespace().collect::<Vec<_>>().join(" ")
    };
    assert!(changed("{ frame = 12", "{ frame = 20").contains("RESHOOT strip: frame 20 alone is required; frame 12 alone was exposed"));
    assert!(changed("0.5, 1]", "0.5, 1, 1.5]").contains("RESHOOT strip: the wedge is frame 12 at"));
    assert!(changed("[12, 170]", "[12, 171]").contains("RESHOOT strip: g.x has changed"));
    assert!(changed("seconds_per_frame = 2,", "seconds_per_frame = 3,").contains("keep strip"));
}
