//! Recordings from the file to the steps: the curve stays near every sample, check and manifest say how near, verify holds the folder to it, and what is wrong is refused with its place.

use std::fs;
use std::path::Path;

use crate::inside::common::folder::{Files, STAGE, export, files_of, repair, verdict_of};
use movewright::compile::Compiled;
use movewright::input;
use movewright::output::check_json;
use movewright::verify::FaultKind;
use serde_json::Value;

const SHOT: &str = r#"
format = 1
name = "Over the reeds"
stage = "stage.toml"
frame_rate = "24"
frames = [1, 96]
cycle_start = 1

[[track]]
channel = "heron_a.lift"
samples = "hand.csv"
within = 0.5
ENDS

[[pass]]
name = "picture"
exposure = "moving"
seconds_per_frame = 12
shutter = 180
"#;

/// A hand that lifts, dwells and sinks, in frames or seconds, with a tremor.
fn hand(first: &str) -> String {
    let mut text = format!("{first},heron_a.lift\n");
    for i in 0..96_u32 {
        let x = f64::from(i) / 95.0;
        let value = 400.0 + 160.0 * x * x * (3.0 - 2.0 * x) + 60.0 * (x * 9.0).sin() + 0.2 * (f64::from(i) * 2.4).sin();
        let at = if first == "frame" { f64::from(i + 1) } else { f64::from(i) / 24.0 };
        text += &format!("{at},{value}\n");
    }
    text
}

fn folder(dir: &Path, hand: &str, ends: &str) {
    fs::write(dir.join("stage.toml"), STAGE).unwrap();
    fs::write(dir.join("shot.toml"), SHOT.replace("ENDS", ends)).unwrap();
    fs::write(dir.join("hand.csv"), hand).unwrap();
}

fn compiled(dir: &Path) -> Compiled {
    let loaded = input::load(&dir.join("shot.toml")).unwrap();
    Compiled::new(loaded.stage, loaded.shot).unwrap()
}

#[test]
fn every_sample_is_near_and_the_figures_say_how_near() {
    let temp = tempfile::tempdir().unwrap();
    for (first, ends) in [("frame", ""), ("time_s", "ends = \"rest\"")] {
        folder(temp.path(), &hand(first), ends);
        let report = compiled(temp.path()).check().unwrap();
        let json: Value = serde_json::from_str(&check_json::text(&report).unwrap()).unwrap();
        let fit = &json["fits"][0];
        assert_eq!((fit["channel"].as_str(), fit["samples"].as_u64()), (Some("heron_a.lift"), Some(96)));
        assert!(fit["worst"].as_f64().unwrap() <= 0.5 && fit["keys"].as_u64().unwrap() < 20, "{fit}");
        let axis = report.compiled.stage().axis_of_name("heron_a.lift").unwrap();
        let curve = report.compiled.axes()[axis].curve();
        for line in hand("frame").lines().skip(1) {
            let (frame, value) = line.split_once(',').unwrap();
            let (frame, value): (f64, f64) = (frame.parse().unwrap(), value.parse().unwrap());
            let at = curve.at(frame).unwrap();
            assert!((at - value).abs() <= 0.5 + 1e-9, "{first} {frame}: {at} {value}");
        }
        let start = curve.at(0.5).unwrap();
        let first_value = curve.at(1.0).unwrap();
        assert_eq!(ends.is_empty(), start != first_value, "{start} {first_value}");
    }
}

#[test]
fn a_written_folder_holds_and_damage_of_its_curve_is_found() {
    let temp = tempfile::tempdir().unwrap();
    folder(temp.path(), &hand("frame"), "ends = \"rest\"");
    let out = temp.path().join("out");
    let loaded = input::load(&temp.path().join("shot.toml")).unwrap();
    export(&loaded.stage, &loaded.shot, &loaded.sources.for_copying(), &out);
    let sound = files_of(&out);
    assert_eq!(verdict_of(&sound).faults, []);
    let told = |change: &dyn Fn(&mut Value)| {
        let mut files: Files = sound.clone();
        let mut manifest: Value = serde_json::from_slice(&files["manifest.json"]).unwrap();
        change(&mut manifest["fits"]);
        files.insert("manifest.json".into(), serde_json::to_vec(&manifest).unwrap());
        repair(&mut files);
        verdict_of(&files).faults.iter().map(|f| f.kind).collect::<Vec<_>>()
    };
    assert!(told(&|f| f[0]["knots"][1][1] = Value::from(f[0]["knots"][1][1].as_f64().unwrap() + 2.0)).contains(&FaultKind::Manifest));
    assert!(told(&|f| f[0]["knots"][0][2] = Value::from(0.25)).contains(&FaultKind::Manifest));
    assert!(told(&|f| f[0]["within"] = Value::from(5.0)).contains(&FaultKind::Manifest));
    assert!(told(&|f| f[0]["samples"] = Value::from(5)).contains(&FaultKind::Manifest));
    assert!(told(&|f| drop(f[0]["knots"].as_array_mut().unwrap().pop())).contains(&FaultKind::Manifest));
    assert!(told(&|f| *f = Value::Array(vec![])).contains(&FaultKind::Manifest));
}

#[test]
fn what_is_wrong_is_refused_with_its_place() {
    let codes = |hand: &str, change: &dyn Fn(String) -> String| {
        let shot = change(SHOT.replace("ENDS", ""));
        let read = |name: &str| match name {
            "shot.toml" => Ok(shot.clone().into_bytes()),
            "stage.toml" => Ok(STAGE.as_bytes().to_vec()),
            "hand.csv" => Ok(hand.as_bytes().to_vec()),
            _ => Err(input::Unreadable::Missing),
        };
        let told = input::parse("shot.toml", &read).unwrap_err();
        let mut told: Vec<_> = told.diagnostics().iter().map(|d| (d.code.slug(), d.place.as_ref().unwrap().line)).collect();
        told.sort_by_key(|(_, line)| *line);
        told
    };
    let same = |s: String| s;
    let good = "frame,heron_a.lift\n1,400\n2,401\n";
    assert_eq!(codes("frame,heron_a.lift\n1,400\n", &same), [("too-few-samples", 11)]);
    assert_eq!(codes("frame,heron_a.lift\n2,400\n1,400\n", &same), [("keys-out-of-order", 3)]);
    assert_eq!(codes("time_s,heron_a.lift\n0,400\n0,400\n", &same), [("keys-out-of-order", 3)]);
    assert_eq!(codes("seconds,heron_a.lift\n0,400\n1,400\n", &same), [("missing-column", 1)]);
    assert_eq!(codes("frame,heron_a.lfit\n1,400\n2,401\n", &same), [("unknown-channel", 1), ("missing-column", 10)]);
    assert_eq!(codes(good, &|s| s.replace("within = 0.5", "")), [("missing-key", 9)]);
    assert_eq!(codes(good, &|s| s.replace("within = 0.5", "within = 0")), [("out-of-range", 12)]);
    assert_eq!(codes(good, &|s| s.replace("within = 0.5", "within = 0.5\nshape = \"monotone\"")), [("conflicting-keys", 13)]);
    assert_eq!(codes(good, &|s| s.replace("samples = \"hand.csv\"", "keys = [[1, 2]]")), [("key-does-not-apply", 12)]);
    assert_eq!(codes(good, &|s| s.replace("hand.csv", "foot.csv")), [("missing-file", 11)]);
}
