//! Studies of recordings against numpy and scipy (`tests/golden/study.py`), and recordings that are refused.

use std::fs;
use std::path::{Path, PathBuf};

use movewright::compile::Compiled;
use movewright::input;
use movewright::output::routine_text::{self, Written};
use movewright::output::study_json;
use movewright::page::{PAGE_ENDS, STUDY_BEGINS, study_page};
use movewright::study::markers::indices;
use movewright::study::performance::Performance;
use movewright::study::{Markers, Plays, Study};
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
        let text = study_json::text(&markers, &study, &body, Some(2.0), &Plays::default()).unwrap();
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
    // One marker is missing in nine rows of ten: what helps is said, where it does.
    let advice = |rows: &str| {
        let temp = tempfile::tempdir().unwrap();
        let path = temp.path().join("gaps.csv");
        fs::write(&path, format!("time_s,a.x,a.y,b.x,b.y,c.x,c.y\n{rows}")).unwrap();
        input::load_markers(&path).unwrap_err().diagnostics()[0].help.clone()
    };
    let one: String = (0..100).map(|i| if i % 10 == 0 { format!("{i},0,0,{i},5,9,9\n") } else { format!("{i},0,0,{i},5,,\n") }).collect();
    assert_eq!(advice(&one), "leave out the columns of `c`, then 100 rows of 100 have every marker; or track it again");
    let all: String =
        (0..100).map(|i| ["{i},0,0,,,,\n", "{i},,,{i},5,,\n", "{i},,,,,9,9\n"][i % 3].replace("{i}", &i.to_string())).collect();
    let wanted = "track the markers again, or keep only the seconds in which all are seen: each is missing in 66 to 67 rows";
    assert_eq!(advice(&all), wanted);
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

/// Rounding is no motion.
#[test]
fn where_nothing_moves_no_drive_does() {
    let temp = tempfile::tempdir().unwrap();
    let path = temp.path().join("still.csv");
    let rows: String =
        (0..60).map(|i| format!("{},0.1,0.7,0.3,100.3,0.9,0.1,50.7,70.1,3.3,40.1,-30.3,8.7\n", f64::from(i) / 50.0)).collect();
    fs::write(&path, format!("time_s,a.x,a.y,a.z,b.x,b.y,b.z,c.x,c.y,c.z,d.x,d.y,d.z\n{rows}")).unwrap();
    for body in [&[][..], &["a", "b", "c"]] {
        let (_, study, _) = studied(&path, body);
        assert_eq!((study.rank, study.needed(1e-6), study.period), (Some(0), Some(1), None));
    }
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
    // 1,000 markers over 45 rows: 9 million squares of coordinates for each row, 10 times what is allowed.
    let names: Vec<String> = (0..1000).map(|i| format!("m{i}")).collect();
    let columns: String = names.iter().map(|n| format!(",{n}.x,{n}.y,{n}.z")).collect();
    let rows: String = (0..45).map(|i| format!("{i}{}\n", format!(",{}", i * 7).repeat(3000))).collect();
    let temp = tempfile::tempdir().unwrap();
    let path = temp.path().join("large.csv");
    fs::write(&path, format!("time_s{columns}\n{rows}")).unwrap();
    let flaw = Study::of(&input::load_markers(&path).unwrap(), &[]).unwrap_err();
    assert_eq!(flaw.code(), "budget-exceeded");
}

/// A group with an axis for each drive, and a shot that calls the routine.
fn played(dir: &Path, drives: usize) -> Compiled {
    let axis = |i: usize| {
        let limits = "travel = [-900, 900]\nmax_velocity = 1e4\nmax_acceleration = 1e6\nmax_jerk = 1e8\nmotor = \"m\"\nmicrosteps = 16\ntravel_per_rev = 20";
        format!("[[group.axis]]\nname = \"drive_{}\"\nunit = \"mm\"\n{limits}\n", i + 1)
    };
    let axes: String = (0..drives).map(axis).collect();
    let stage = format!("format = 1\nname = \"Marsh\"\n[motor.m]\nfull_steps_per_rev = 200\n[[group]]\nname = \"bird\"\n{axes}");
    fs::write(dir.join("stage.toml"), stage).unwrap();
    let pass = "[[pass]]\nname = \"picture\"\nexposure = \"moving\"\nseconds_per_frame = 12\nshutter = 180\n";
    let routine = "[[routine]]\nfile = \"beat.toml\"\ngroup = \"bird\"\n";
    let shot = format!("format = 1\nname = \"Beat\"\nstage = \"stage.toml\"\nframe_rate = \"24\"\nframes = [1, 280]\n{routine}{pass}");
    fs::write(dir.join("shot.toml"), shot).unwrap();
    let loaded = input::load(&dir.join("shot.toml")).unwrap_or_else(|rejection| panic!("{rejection}"));
    Compiled::new(loaded.stage, loaded.shot).unwrap()
}

/// Farthest that a recorded marker is from where the compiled axes put it, over the rows of `later`, by the drives of `seen`; only up to frame 279.
fn farthest(compiled: &Compiled, seen: &Study, later: &Study, drives: usize) -> f64 {
    let width = seen.drives.mean.len();
    let (mut far, mut compared) = (0.0_f64, 0);
    for (recorded, time) in later.moving.chunks(width).zip(&later.times) {
        let frame = 1.0 + (time - seen.times[0]) * 24.0;
        if frame > 279.0 {
            continue;
        }
        compared += 1;
        let at = |i: usize| {
            let axis = compiled.stage().axis_of_name(&format!("bird.drive_{}", i + 1)).unwrap();
            compiled.axes()[axis].curve().at(frame).unwrap()
        };
        let rebuilt = seen.drives.rebuilt(&(0..drives).map(at).collect::<Vec<_>>());
        for (a, b) in recorded.chunks(seen.dimensions).zip(rebuilt.chunks(seen.dimensions)) {
            far = far.max(a.iter().zip(b).map(|(x, y)| (x - y) * (x - y)).sum::<f64>().sqrt());
        }
    }
    assert!(compared > 100, "{compared}");
    far
}

#[test]
fn a_written_routine_compiles_and_its_axes_rebuild_the_markers_within_the_distance() {
    // Beats alone are enough.
    let within = 4.0;
    let (markers, study, _) = studied(&root().join("fixtures/recordings/study_three.csv"), &["chest", "back", "tail"]);
    let found = Performance::of(&study, within).unwrap();
    assert!(found.recorded.is_none() && found.worst <= within, "{found:?}");
    let temp = tempfile::tempdir().unwrap();
    let told = Written { recording: "study_three.csv", rate: 24.0, rate_text: "24", curves: "beat.csv" };
    fs::write(temp.path().join("beat.toml"), routine_text::toml(&markers, &study, &found, told)).unwrap();
    let far = farthest(&played(temp.path(), found.drives), &study, &study, found.drives);
    // Each axis may be a sixteenth of its step of 1/160 mm off.
    assert!(far <= within + 0.002 && (far - found.worst).abs() < 0.002, "{far} {}", found.worst);
}

#[test]
fn beats_that_were_not_studied_are_within_the_distance_too() {
    // Ten beats of a wing with noise; the study sees the first six.
    let temp = tempfile::tempdir().unwrap();
    let recorded = |rows: core::ops::Range<u32>| {
        let mut text = "time_s,tip.x,tip.y,root.x,root.y,beak.x,beak.y\n".to_owned();
        for i in rows {
            let t = f64::from(i) / 50.0;
            let turn = core::f64::consts::TAU * t / 1.1;
            let angle = 0.5 * turn.sin() + 0.08 * (2.0 * turn + 0.4).sin();
            let noise = |k: u32| 0.2 * (f64::from(i * 7 + k) * 12.9898).sin();
            let (x, y, z) = (150.0 * angle.cos() + noise(1), 150.0 * angle.sin() + noise(2), 90.0 + noise(3));
            text += &format!("{t:.2},{x:.4},{y:.4},0,0,5,{z:.4}\n");
        }
        let path = temp.path().join("wing.csv");
        fs::write(&path, text).unwrap();
        studied(&path, &[])
    };
    let (markers, seen, _) = recorded(0..330);
    let found = Performance::of(&seen, 2.0).unwrap();
    assert!(found.recorded.is_none() && found.held_out.unwrap() <= 2.0, "{found:?}");
    let told = Written { recording: "wing.csv", rate: 24.0, rate_text: "24", curves: "beat.csv" };
    fs::write(temp.path().join("beat.toml"), routine_text::toml(&markers, &seen, &found, told)).unwrap();
    let (_, later, _) = recorded(330..550);
    let far = farthest(&played(temp.path(), found.drives), &seen, &later, found.drives);
    assert!(far <= 2.0, "{far}");
}

#[test]
fn what_does_not_repeat_is_followed_by_recorded_curves_within_the_distance() {
    // A beat that swells while the bird sinks: no mean beat is enough. The study sees every second row; the markers of the others must be within the distance too.
    let temp = tempfile::tempdir().unwrap();
    let recorded = |first: u32| {
        let mut text = "time_s,tip.x,tip.y,root.x,root.y\n".to_owned();
        // The last of the others comes before the last that is studied.
        for i in (first..559 - first).step_by(2) {
            let t = f64::from(i) / 50.0;
            let beat = (core::f64::consts::TAU * t / 1.1).sin();
            let sunk = 80.0 * (0.4 * t).sin() - 3.0 * t;
            let angle = (0.15 + 0.05 * t) * beat;
            text += &format!("{t:.2},{:.4},{:.4},0,{:.4}\n", 150.0 * angle.cos(), 150.0 * angle.sin() + sunk, sunk);
        }
        let path = temp.path().join("wing.csv");
        fs::write(&path, text).unwrap();
        studied(&path, &[])
    };
    let within = 2.0;
    let (markers, seen, _) = recorded(0);
    let found = Performance::of(&seen, within).unwrap();
    assert!(found.recorded.is_some() && found.worst <= within, "{found:?}");
    let written = Written { recording: "wing.csv", rate: 24.0, rate_text: "24", curves: "beat.csv" };
    fs::write(temp.path().join("beat.toml"), routine_text::toml(&markers, &seen, &found, written)).unwrap();
    fs::write(temp.path().join("beat.csv"), routine_text::csv(&found, &seen.times).unwrap().1).unwrap();
    let compiled = played(temp.path(), found.drives);
    let far = farthest(&compiled, &seen, &seen, found.drives);
    // Each axis may be a sixteenth of its step of 1/160 mm off.
    assert!(far <= within + 0.002 && far > 0.01, "{far}");
    let (_, between, _) = recorded(1);
    let far = farthest(&compiled, &seen, &between, found.drives);
    assert!(far <= within, "{far}");
}

#[test]
fn the_page_shows_what_the_study_found_and_runs_nothing() {
    let temp = tempfile::tempdir().unwrap();
    let path = temp.path().join("beat.csv");
    let mut text = "time_s,<i>tip&.x,<i>tip&.y,tail.x,tail.y\n".to_owned();
    for i in 0..300_u32 {
        let t = f64::from(i) / 100.0;
        let beat = 40.0 * (core::f64::consts::TAU * t).sin();
        text += &format!("{t},{},{},{},0\n", 3.0 * beat, 100.0 + 10.0 * (9.0 * t).sin(), 1.5 * beat);
    }
    fs::write(&path, text).unwrap();
    let (markers, study, _) = studied(&path, &[]);
    let page = |within| study_page("<b>beat.csv", &markers, &study, within);
    let close = page(Some(1.0));
    assert!(close.starts_with(STUDY_BEGINS) && close.ends_with(PAGE_ENDS));
    assert!(close.contains("script-src 'none'") && !close.contains("<script"));
    assert!(
        !close.contains("<i>") && !close.contains("<b>") && close.contains("&lt;i&gt;tip&amp;.x") && close.contains("&lt;b&gt;beat.csv")
    );
    // One panel of residuals, one for each of two drives, one for each of two markers.
    assert_eq!(close.matches("<div class=\"panel\"").count(), 5);
    assert!(close.contains("2 drives stay within 1.000 mm") || close.contains("2 drives stay within 1 mm"), "{}", &close[..3000]);
    // What is farther off than allowed is in the accent: one drive leaves ten millimetres, which is within twenty.
    let over = "<path class=\"dots over\" d=\"";
    let (_, drawn) = close.split_once(over).unwrap();
    assert_eq!((close.matches(over).count(), drawn.split('"').next().unwrap().matches('M').count()), (1, 1));
    assert_eq!(page(Some(20.0)).matches(over).count(), 0);
    assert_eq!(page(None).matches(over).count(), 0);
}
