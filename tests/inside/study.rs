//! Studies of recordings against numpy and scipy (`tests/golden/study.py`), and recordings that are refused.

use std::fs;
use std::path::{Path, PathBuf};

use movewright::input;
use movewright::output::study_json;
use movewright::study::markers::indices;
use movewright::study::{Markers, Study};
use serde_json::Value;

use crate::inside::common::json_schema::Validator;

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn goldens() -> Value {
    serde_json::from_str(&fs::read_to_string(root().join("fixtures/recordings/study.json")).unwrap()).unwrap()
}

fn studied(path: &Path, body: &[&str]) -> (Markers, Study, Vec<usize>) {
    let markers = input::load_markers(path).unwrap();
    let body = indices(&markers, body).unwrap();
    let study = Study::of(&markers, &body).unwrap();
    (markers, study, body)
}

fn close(found: f64, known: &Value, what: &str) {
    let known = known.as_f64().unwrap();
    assert!((found - known).abs() <= 1e-6 * (1.0 + known), "{what}: {found}, known {known}");
}

/// The rows, gaps, residuals and the first row as seen from the body.
fn same(golden: &Value, path: &Path) -> (Markers, Study, Vec<usize>) {
    let body: Vec<&str> = golden["body"].as_array().unwrap().iter().map(|b| b.as_str().unwrap()).collect();
    let (markers, study, body) = studied(path, &body);
    assert_eq!(markers.times().len() as u64, golden["rows"].as_u64().unwrap());
    assert_eq!((markers.times().len() - study.rows.len()) as u64, golden["rows_with_gaps"].as_u64().unwrap());
    let drives = golden["drives"].as_array().unwrap();
    assert_eq!(study.residuals.len(), drives.len());
    for (found, known) in study.residuals.iter().zip(drives) {
        assert_eq!(found.n as u64, known["n"].as_u64().unwrap());
        close(found.rms, &known["rms_mm"], "rms");
        close(found.worst, &known["worst_mm"], "worst");
    }
    let seen = movewright::study::body::without(&markers, &study.rows, &body).unwrap();
    for (found, known) in seen.iter().zip(golden["aligned"].as_array().unwrap()) {
        close(found.abs(), &Value::from(known.as_f64().unwrap().abs()), "aligned");
        assert!(found.signum() == known.as_f64().unwrap().signum() || found.abs() < 1e-6);
    }
    (markers, study, body)
}

#[test]
fn residuals_alignment_rank_and_period_are_those_of_other_libraries() {
    let schema = Validator::new(study_json::schema()).unwrap();
    let goldens = goldens();
    let cases = goldens["cases"].as_array().unwrap();
    assert_eq!(cases.len(), 6);
    for case in cases {
        let name = case["name"].as_str().unwrap();
        let (markers, study, body) = same(case, &root().join(format!("fixtures/recordings/study_{name}.csv")));
        assert_eq!(study.rank, Some(case["rank"].as_u64().unwrap() as usize), "{name}");
        // Two seconds hold no two beats of 1.25 s.
        match study.period {
            Some(period) => assert!((period - case["period_s"].as_f64().unwrap()).abs() < 0.002, "{name}: {period}"),
            None => assert_eq!(name, "five"),
        }
        let text = study_json::text(&markers, &study, &body, Some(2.0)).unwrap();
        let json: Value = serde_json::from_str(&text).unwrap();
        assert_eq!(schema.faults(&json), [""; 0], "{name}");
        let needed = json["drives"].as_array().unwrap().iter().find(|d| d["worst_mm"].as_f64().unwrap() <= 2.0).map(|d| &d["n"]);
        assert_eq!(json["drives_needed"], needed.cloned().unwrap_or(Value::Null), "{name}");
        assert!(!schema.is_valid(&serde_json::json!({ "format": 1 })));
    }
}

/// A published recording of a walk: relative to the hip 1, 2 and 3 drives leave 25.816, 9.897 and 3.401 mm, a stride takes 1.19 s.
#[test]
fn the_walk_s_golden_values_are_those_of_its_publisher_s_file() {
    let walk = &goldens()["walk"];
    let drives = walk["drives"].as_array().unwrap();
    for (drive, known) in drives.iter().zip([25.816, 9.897, 3.401]) {
        assert!((drive["rms_mm"].as_f64().unwrap() - known).abs() < 0.001);
    }
    assert_eq!((walk["rows"].as_u64(), walk["rows_with_gaps"].as_u64()), (Some(301), Some(11)));
}

#[test]
#[ignore = "reads target/golden/walk.csv, which tests/golden/study.py fetches"]
fn a_walk_needs_three_drives() {
    let (_, study, _) = same(&goldens()["walk"], &root().join("target/golden/walk.csv"));
    assert!((study.period.unwrap() - 1.19).abs() < 0.01, "{:?}", study.period);
    assert_eq!(study.needed(20.0), Some(3));
}

#[test]
fn where_a_turn_was_planted_nothing_is_left_of_it() {
    // A plane body, which a reflection would fit as well, turned right over; one limb that does not move against it.
    let corners = [[0.0, 0.0, 0.0], [90.0, 0.0, 0.0], [0.0, 120.0, 0.0], [60.0, 30.0, 80.0]];
    let mut text = "time_s,a.x,a.y,a.z,b.x,b.y,b.z,c.x,c.y,c.z,tip.x,tip.y,tip.z\n".to_owned();
    for i in 0..60 {
        let a = f64::from(i) * 0.11;
        let (c, s) = (a.cos(), a.sin());
        text += &format!("{}", f64::from(i) / 30.0);
        for [x, y, z] in corners {
            let [x, y, z] = [x, c * y - s * z, s * y + c * z];
            text += &format!(",{},{},{}", c * x - s * y + 40.0 * a, s * x + c * y, z - 15.0 * a);
        }
        text += "\n";
    }
    let temp = tempfile::tempdir().unwrap();
    let path = temp.path().join("turning.csv");
    fs::write(&path, text).unwrap();
    let (_, study, _) = studied(&path, &["a", "b", "c"]);
    assert!(study.residuals[0].worst < 1e-9, "{:?}", study.residuals[0]);
    assert!(study.drives.rms(0) < 1e-9);
}

#[test]
fn one_drive_that_follows_another_is_found_with_its_lag() {
    let mut text = "time_s,tip.x,tip.y,tail.x,tail.y\n".to_owned();
    for i in 0..400_u32 {
        let t = f64::from(i) / 100.0;
        let beat = |t: f64| 40.0 * (core::f64::consts::TAU * t).sin() + 12.0 * (2.0 * core::f64::consts::TAU * t).sin();
        text += &format!("{t},{},{},{},0\n", 3.0 * beat(t), 100, 1.5 * beat(t - 0.2));
    }
    let temp = tempfile::tempdir().unwrap();
    let path = temp.path().join("beat.csv");
    fs::write(&path, text).unwrap();
    let (_, study, _) = studied(&path, &[]);
    assert_eq!(study.rank, Some(2));
    assert!((study.period.unwrap() - 1.0).abs() < 1e-3);
    // Two drives over all markers are mixed from both movements; each pair that is reported is that much alike.
    assert!(study.lags.iter().all(|lag| lag.correlation.abs() >= 0.9 && lag.seconds <= 0.5), "{:?}", study.lags);
}

fn refused(text: &str) -> Vec<(&'static str, u32, u32)> {
    let temp = tempfile::tempdir().unwrap();
    let path = temp.path().join("bad.csv");
    fs::write(&path, text).unwrap();
    let rejection = input::load_markers(&path).unwrap_err();
    rejection.diagnostics().iter().map(|d| (d.code.slug(), d.place.as_ref().unwrap().line, d.place.as_ref().unwrap().column)).collect()
}

const GOOD: &str = "time_s,a.x,a.y,b.x,b.y\n0,0,0,100,0\n0.1,0,0,90,20\n0.2,0,0,80,30\n0.3,0,0,70,40\n";

#[test]
fn what_is_wrong_with_a_recording_is_named_with_its_place() {
    let with = |from: &str, to: &str| {
        assert!(GOOD.contains(from));
        refused(&GOOD.replacen(from, to, 1))
    };
    assert_eq!(with("\n0.2,", "\n0.05,"), [("times-out-of-order", 4, 1)]);
    assert_eq!(with("\n0.2,", "\n0.1,"), [("times-out-of-order", 4, 1)]);
    assert_eq!(refused("time_s,a.x,a.y\n0,0,0\n1,20,0\n2,0,0\n3,0,0\n"), [("too-few-markers", 1, 1)]);
    assert_eq!(refused("time_s,a.x,a.y,b.x,b.y\n0,0,0,1,0\n1,0,0,90,0\n"), [("too-few-samples", 1, 1)]);
    assert_eq!(
        refused(
            &GOOD
                .replace("100", "1.00")
                .replace("90", ".9")
                .replace("80", ".8")
                .replace("0,0,70,40", "0,0,.7,.4")
                .replace("20", ".2")
                .replace("30", ".3")
        ),
        [("not-millimetres", 1, 1)]
    );
    let gaps: String = (0..100).map(|i| if i % 10 == 0 { format!("{i},0,0,{i},5\n") } else { format!("{i},0,0,,\n") }).collect();
    assert_eq!(refused(&format!("time_s,a.x,a.y,b.x,b.y\n{gaps}")), [("too-many-gaps", 1, 1)]);
    assert_eq!(with("time_s", "frame"), [("missing-column", 1, 1)]);
    assert_eq!(with("b.y", "b.z").first(), Some(&("missing-column", 1, 8)));
    assert_eq!(with("b.y", "b.x"), [("duplicate-name", 1, 20)]);
    assert_eq!(with("b.y", "speed"), [("missing-column", 1, 20)]);
    assert_eq!(with("90,20", "90,NaN"), [("not-a-number", 3, 12)]);
    assert_eq!(with("90,20", "90"), [("wrong-count", 3, 11)]);
    assert_eq!(with("90,20", "90,1e9"), [("out-of-range", 3, 12)]);
    assert_eq!(with("\n0.1,", "\n,"), [("missing-frame", 3, 1)]);
    assert_eq!(refused("time_s\n1\n"), [("no-keys", 1, 1)]);
}

#[test]
fn bodies_that_fix_no_place_and_recordings_that_are_too_large_are_refused() {
    let code = |names: &str, body: &[&str], points: &[[f64; 3]]| {
        let columns: String = names.split(' ').map(|n| format!(",{n}.x,{n}.y,{n}.z")).collect();
        let rows: String = (0..6)
            .map(|i| format!("{i}{}\n", points.iter().map(|[x, y, z]| format!(",{x},{y},{}", z + f64::from(i * i))).collect::<String>()))
            .collect();
        let temp = tempfile::tempdir().unwrap();
        let path = temp.path().join("body.csv");
        fs::write(&path, format!("time_s{columns}\n{rows}")).unwrap();
        let markers = input::load_markers(&path).unwrap();
        indices(&markers, body).and_then(|body| Study::of(&markers, &body)).map_or_else(|flaw| flaw.code().to_owned(), |_| String::new())
    };
    let four = [[0.0, 0.0, 0.0], [50.0, 0.0, 0.0], [100.0, 1.0, 0.0], [0.0, 80.0, 10.0]];
    assert_eq!(code("a b c d", &["a", "b", "d"], &four), "");
    assert_eq!(code("a b c d", &["a"], &four), "");
    assert_eq!(code("a b c d", &["a", "b"], &four), "too-few-markers");
    assert_eq!(code("a b c d", &["a", "b", "c"], &four), "too-few-markers");
    assert_eq!(code("a b c d", &["a", "b", "c", "d"], &four), "too-few-markers");
    assert_eq!(code("a b c d", &["a", "e"], &four), "unknown-marker");
    assert_eq!(code("a b c d", &["a", "a"], &four), "duplicate-name");
    // 1,000 markers over 45 rows: 9 million squares of coordinates for each row.
    let names: Vec<String> = (0..1000).map(|i| format!("m{i}")).collect();
    let columns: String = names.iter().map(|n| format!(",{n}.x,{n}.y,{n}.z")).collect();
    let rows: String = (0..45).map(|i| format!("{i}{}\n", format!(",{}", i * 7).repeat(3000))).collect();
    let temp = tempfile::tempdir().unwrap();
    let path = temp.path().join("large.csv");
    fs::write(&path, format!("time_s{columns}\n{rows}")).unwrap();
    let flaw = Study::of(&input::load_markers(&path).unwrap(), &[]).unwrap_err();
    assert_eq!(flaw.code(), "budget-exceeded");
}
