//! Written folders are verified by another way than they were made: sound ones hold, and each fault is reported as what it is.

use std::path::Path;

use crate::inside::common::checked;
use crate::inside::common::folder::{self, Files, export, files_of, marsh, read, repair, rows, set_rows, shift, verdict_of};
use movewright::bounds::Budget;
use movewright::check::Approval;
use movewright::compile::Compiled;
use movewright::input;
use movewright::output::Export;
use movewright::output::rows::RowRate;
use movewright::stage::Stage;
use movewright::verify::{FaultKind, NotAFolder, Source, verify};
use proptest::prelude::*;

#[test]
fn damage_is_told_as_what_it_is() {
    let temp = tempfile::tempdir().unwrap();
    let sound = files_of(&marsh(temp.path()));
    let told = |change: &dyn Fn(&mut Files)| {
        let mut files = sound.clone();
        change(&mut files);
        verdict_of(&files).faults.iter().map(|f| f.kind).collect::<Vec<_>>()
    };
    use FaultKind::{Agreement, Changed, Extra, Manifest, Missing, Moves, Parked, Position, Register, Timecode};
    assert_eq!(told(&|f| drop(f.insert("notes.txt".into(), vec![]))), [Extra]);
    assert_eq!(told(&|f| drop(f.remove("manifest.json"))), [Manifest]);
    assert_eq!(told(&|f| drop(f.insert("manifest.json".into(), b"{}".to_vec()))), [Manifest]);
    assert_eq!(told(&|f| drop(f.remove("rods.units.csv"))), [Missing, Missing]);
    assert_eq!(told(&|f| f.get_mut("source/lift.csv").unwrap().push(b'\n')), [Changed]);
    let shifted = |passes: &'static [&'static str], by| {
        move |f: &mut Files| {
            passes.iter().for_each(|p| drop(shift(f, p, 9, 2, by)));
            repair(f);
        }
    };
    assert_eq!(told(&shifted(&["picture"], 2)), [Position, Position, Register, Register, Register, Register]);
    assert_eq!(told(&shifted(&["picture", "rods", "empty"], 2)), [Position, Position, Position, Position, Position, Position, Moves]);
    let one = |f: &mut Files| {
        let mut r = rows(f, "rods.steps.csv");
        r[9][2] = (r[9][2].parse::<i64>().unwrap() + 1).to_string();
        set_rows(f, "rods.steps.csv", &r);
        repair(f);
    };
    let kinds = told(&one);
    assert!(kinds.contains(&Agreement) && kinds.contains(&Register), "{kinds:?}");
    let parked = |f: &mut Files| {
        shift(f, "empty", 3, 6, 1);
        repair(f);
    };
    assert_eq!(told(&parked)[..2], [Parked, Parked]);
    let label = |f: &mut Files| {
        let mut r = rows(f, "picture.steps.csv");
        r[12][1] = "00:01:00;00".into();
        set_rows(f, "picture.steps.csv", &r);
        repair(f);
    };
    assert_eq!(told(&label), [Timecode]);
}

/// Where cycles and drifts count from a frame of their own, the second evaluation counts from there too; from another frame it finds every axis they move elsewhere.
#[test]
fn cycle_start_is_known_to_both_ways() {
    let temp = tempfile::tempdir().unwrap();
    drop(marsh(temp.path()));
    let path = temp.path().join("in/shot.toml");
    let written = |text: &str, start: &str| text.replacen("frames = [-4, 44]", &format!("frames = [-4, 44]\ncycle_start = {start}"), 1);
    std::fs::write(&path, written(folder::SHOT, "7.5")).unwrap();
    let loaded = input::load(&path).unwrap();
    assert_eq!((loaded.shot.cycle_start(), loaded.shot.written_cycle_start()), (7.5, Some(7.5)));
    let out = temp.path().join("later");
    export(&loaded.stage, &loaded.shot, &loaded.sources.for_copying(), &out);
    let mut files = files_of(&out);
    assert_eq!(verdict_of(&files).faults, []);
    for other in [written(folder::SHOT, "8.5"), folder::SHOT.to_owned()] {
        files.insert("source/shot.toml".into(), other.into_bytes());
        repair(&mut files);
        let wrong = verdict_of(&files).faults;
        let axes: Vec<&str> = wrong.iter().filter(|f| f.kind == FaultKind::Position).filter_map(|f| f.axis.as_deref()).collect();
        for axis in ["heron_a.wing", "heron_b.wing", "gobo.turn"] {
            assert!(axes.contains(&axis), "{axis}: {wrong:?}");
        }
        assert!(!axes.contains(&"camera.track") && !axes.contains(&"camera.pan"), "{wrong:?}");
    }
}

/// Rows for a controller: damage of each kind, with its hash put right, is found; the sound folder holds.
#[test]
fn rows_are_held_to_the_clock_and_to_the_shot() {
    let temp = tempfile::tempdir().unwrap();
    drop(marsh(temp.path()));
    let loaded = input::load(&temp.path().join("in/shot.toml")).unwrap();
    let (stage, shot, sources) = (&loaded.stage, &loaded.shot, loaded.sources.for_copying());
    let report = checked(stage, shot);
    let out = temp.path().join("with rows");
    let rows_asked = RowRate::parse(&0.5.to_string()).ok();
    Export {
        parts: None,
        approval: Approval::within_limits(&report).unwrap(),
        sources: &sources,
        replace: false,
        wishes: movewright::output::handoff::sampling::Wishes::default(),
        rows: rows_asked,
    }
    .write(&out, &mut |_| {})
    .unwrap();
    let sound = files_of(&out);
    assert_eq!(verdict_of(&sound).faults, []);
    let begin = folder::manifest(&sound)["passes"][0]["rows"]["move_to_start_s"].as_f64().unwrap();
    let told = |file: &str, change: &dyn Fn(&mut Vec<Vec<String>>)| {
        let mut files = sound.clone();
        let mut r = rows(&files, file);
        change(&mut r);
        set_rows(&mut files, file, &r);
        repair(&mut files);
        verdict_of(&files).faults.iter().map(|f| (f.kind, f.file.clone())).collect::<Vec<_>>()
    };
    let more = |cell: &mut String| *cell = (cell.parse::<i64>().unwrap() + 2).to_string();
    for file in ["picture.rows.csv", "empty.rows.csv"] {
        let found = [(FaultKind::Rows, file.to_owned())];
        assert_eq!(told(file, &|r| more(&mut r[1][2])), found, "not at home");
        assert_eq!(told(file, &|r| drop(r.pop())), found, "a row is missing");
        assert_eq!(told(file, &|r| r.push(r.last().unwrap().clone())), found, "a row too many");
        assert_eq!(told(file, &|r| r[7][0].push('1')), found, "at another second");
        assert_eq!(told(file, &|r| r[7][3].push_str(".0")), found, "no whole number");
        assert_eq!(told(file, &|r| r.swap(9, 10)), found, "out of order");
        assert_eq!(told(file, &|r| *r[7].last_mut().unwrap() = "2".to_owned()), found, "no shutter");
        assert_eq!(told(file, &|r| r[0].swap(1, 2)), found, "another header");
    }
    // Every row after the move to start a little off: one of each frame is looked at.
    let after = |r: &mut Vec<Vec<String>>| {
        r.iter_mut().skip(1).filter(|r| r[0].parse::<f64>().unwrap() >= begin).for_each(|r| more(&mut r[1]));
    };
    assert_eq!(told("picture.rows.csv", &after), [(FaultKind::Rows, "picture.rows.csv".to_owned())]);
    let mut files = sound.clone();
    files.remove("picture.rows.csv");
    repair(&mut files);
    assert!(verdict_of(&files).faults.iter().any(|f| f.kind == FaultKind::Missing && f.file == "picture.rows.csv"));
    // Rows that the manifest names outside the folder are not opened, whatever is there.
    let mut files = sound.clone();
    let mut m = folder::manifest(&files);
    m["passes"][0]["rows"]["file"] = "../picture.rows.csv".into();
    folder::set_manifest(&mut files, &m);
    let kinds: Vec<_> = verdict_of(&files).faults.iter().map(|f| (f.kind, f.file.clone())).collect();
    assert_eq!(kinds, [(FaultKind::Manifest, "manifest.json".to_owned())]);
}

#[test]
fn limits_and_travel_are_held_against_the_columns_unless_the_folder_says_it_is_over_them() {
    use movewright::stage::{Axis, AxisSpec, GroupSpec, Unit};
    let stage_of = |travel: [f64; 2], velocity: f64| {
        let mut axis = AxisSpec::new("lift", Unit::Millimetre, travel, [velocity, 1e4, 1e4]);
        axis.drive.travel_per_rev = 2.0;
        Stage::new("marsh", 0.25, vec![GroupSpec { name: "heron".into(), axes: vec![Axis::new(axis).unwrap()] }]).unwrap()
    };
    let wide = stage_of([0.0, 1000.0], 100.0);
    let program = crate::inside::common::Program {
        tracks: vec![(movewright::shot::Shape::MinimumJerk, None, vec![(1.0, 0.0), (20.0, 400.0)])],
        ..Default::default()
    };
    let shot = crate::inside::common::shot(&wide, (1, 24), &[program], vec![crate::inside::common::moving(&wide, "picture", 1.0)]);
    let temp = tempfile::tempdir().unwrap();
    let out = temp.path().join("out");
    let text = b"the herons".to_vec();
    export(&wide, &shot, &[("shot.toml".to_owned(), text)], &out);
    // The same columns, with a stage in which they cannot have been within limits.
    let told = |stage: &Stage| {
        let source = |path: &Path| Ok(Source { stage: stage.clone(), shot: shot.clone(), files: vec![path.to_owned()] });
        let verdict = verify(&out, &source).unwrap();
        verdict.faults.iter().map(|f| f.kind).filter(|k| *k != FaultKind::Manifest).collect::<Vec<_>>()
    };
    assert_eq!(told(&wide), []);
    assert_eq!(told(&stage_of([0.0, 399.0], 100.0)), [FaultKind::Travel]);
    // 400 mm in 19 frames of a second peak at 39.5 mm/s.
    assert_eq!(told(&stage_of([0.0, 1000.0], 39.0)), [FaultKind::Limits]);
    let manifest = std::fs::read_to_string(out.join("manifest.json")).unwrap();
    let said =
        manifest.replace("\"within_limits\": true", "\"within_limits\": false").replace("\"violations\": []", "\"violations\": [\"x\"]");
    assert_ne!(said, manifest);
    std::fs::write(out.join("manifest.json"), said).unwrap();
    assert_eq!(told(&stage_of([0.0, 399.0], 39.0)), []);
}

#[test]
fn what_is_no_folder_of_ours_is_a_wrong_call_and_no_fault() {
    let temp = tempfile::tempdir().unwrap();
    assert!(matches!(verify(&temp.path().join("nothing"), &read), Err(NotAFolder::NoFolder(_))));
    assert!(matches!(verify(temp.path(), &read), Err(NotAFolder::NotOurs(_))));
    std::fs::write(temp.path().join("file"), b"").unwrap();
    assert!(matches!(verify(&temp.path().join("file"), &read), Err(NotAFolder::NoFolder(_))));
}

#[test]
#[cfg_attr(debug_assertions, ignore = "most of a minute without optimization; .ci/run runs it optimized")]
fn the_four_herons_hold() {
    let temp = tempfile::tempdir().unwrap();
    let loaded = input::load(&Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/herons/shot.toml")).unwrap();
    let out = temp.path().join("out");
    export(&loaded.stage, &loaded.shot, &loaded.sources.for_copying(), &out);
    let verdict = verify(&out, &read).unwrap();
    assert_eq!(verdict.faults, []);
    assert_eq!((verdict.passes, verdict.axes, verdict.frames), (5, 67, 288));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]
    #[test]
    fn sound_folders_of_random_shots_hold(
        programs in prop::collection::vec(crate::inside::common::any_program(), 1..5),
        first in -50_i64..50,
        pace in 200.0..400.0_f64,
    ) {
        let stage = crate::inside::common::stage((0..programs.len()).map(|i| crate::inside::common::axis(&format!("axis_{i}"))).collect());
        let passes = vec![crate::inside::common::moving(&stage, "picture", pace), crate::inside::common::moving(&stage, "rods", pace * 0.75)];
        let shot = crate::inside::common::shot(&stage, (first, first + 60), &programs, passes);
        let temp = tempfile::tempdir().unwrap();
        let out = temp.path().join("out");
        let report = checked(&stage, &shot);
        let sources = [("shot.toml".to_owned(), b"reeds".to_vec())];
        Export { parts: None, approval: Approval::over_limits(&report), sources: &sources, replace: false, wishes: movewright::output::handoff::sampling::Wishes::default(), rows: None }
            .write(&out, &mut |_| {})
            .unwrap();
        let source = |path: &Path| Ok(Source { stage: stage.clone(), shot: shot.clone(), files: vec![path.to_owned()] });
        prop_assert_eq!(verify(&out, &source).unwrap().faults, []);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(32))]

    /// Keys half a frame apart next to keys hundreds of frames apart: the systems behind a spline are at their worst there.
    #[test]
    fn sound_folders_of_crowded_keys_hold(
        steps in prop::collection::vec((prop::sample::select(vec![0.5, 1.0, 3.0, 17.0, 300.0]), -400.0..400.0_f64), 3..12),
        natural in any::<bool>(),
    ) {
        use movewright::shot::Shape;
        let stage = crate::inside::common::stage(vec![crate::inside::common::axis("lift")]);
        let mut frame = -40.0;
        let keys = steps.iter().map(|(d, v)| { frame += d; (frame, *v) }).collect();
        let shape = if natural { Shape::NaturalCubic } else { Shape::MinimumJerk };
        let program = crate::inside::common::Program { tracks: vec![(shape, None, keys)], ..Default::default() };
        let shot = crate::inside::common::shot(&stage, (-20, 60), &[program], vec![crate::inside::common::moving(&stage, "picture", 300.0)]);
        let temp = tempfile::tempdir().unwrap();
        let report = checked(&stage, &shot);
        let sources = [("shot.toml".to_owned(), b"reeds".to_vec())];
        let out = temp.path().join("out");
        Export { parts: None, approval: Approval::over_limits(&report), sources: &sources, replace: false, wishes: movewright::output::handoff::sampling::Wishes::default(), rows: None }
            .write(&out, &mut |_| {})
            .unwrap();
        let source = |path: &Path| Ok(Source { stage: stage.clone(), shot: shot.clone(), files: vec![path.to_owned()] });
        prop_assert_eq!(verify(&out, &source).unwrap().faults, []);
    }
}

/// Over 30 million frames the phase of a cycle is a sum of some million turns: two honest computations of it part in its last bits, which fine steps show.
#[test]
fn sound_folders_of_keys_thirty_million_frames_apart_hold() {
    let mut axis = crate::inside::common::axis("wing");
    axis.travel = [-1000.0, 1000.0];
    (axis.drive.travel_per_rev, axis.drive.microsteps) = (1.0, 4096);
    let stage = crate::inside::common::stage(vec![axis]);
    let rates: [&[(f64, f64)]; 3] = [
        &[(31.0, 1.4), (30_000_031.0, 1.297)],
        &[(-7.0, 1.214), (29_999_993.0, 1.85), (30_999_993.0, 1.824), (30_999_995.0, 1.503), (60_999_997.0, 1.857)],
        &[(77.0, 0.603), (30_000_077.0, 1.997), (30_000_078.0, 1.47)],
    ];
    for (rate, first) in rates.into_iter().zip([30_000_008, 29_999_958, 30_000_038]) {
        let keys = vec![(0.0, -50.0), (0.4, 70.0), (0.7, 10.0)];
        let cycle = crate::inside::common::CycleSpec { period: 24.0, phase: 0.1, keys, amount: vec![], rate: rate.to_vec() };
        let program = crate::inside::common::Program { cycles: vec![cycle], ..Default::default() };
        let shot = crate::inside::common::shot(
            &stage,
            (first, first + 60),
            &[program],
            vec![crate::inside::common::moving(&stage, "picture", 100.0)],
        );
        // Steps that fine are fitted by very many pieces there: more than are allowed unasked.
        let report = Compiled::within(Budget::Large, stage.clone(), shot.clone()).unwrap().checked().unwrap();
        let temp = tempfile::tempdir().unwrap();
        let (out, sources) = (temp.path().join("out"), [("shot.toml".to_owned(), b"reeds".to_vec())]);
        Export {
            parts: None,
            approval: Approval::over_limits(&report),
            sources: &sources,
            replace: false,
            wishes: movewright::output::handoff::sampling::Wishes::default(),
            rows: None,
        }
        .write(&out, &mut |_| {})
        .unwrap();
        let source = |path: &Path| Ok(Source { stage: stage.clone(), shot: shot.clone(), files: vec![path.to_owned()] });
        assert_eq!(verify(&out, &source).unwrap().faults, [], "{rate:?}");
    }
}
