//! Test passes: one frame in N of the same move. Counts are those of the whole pass, a held one takes N times fewer slots, the shutter of rows opens on these frames alone, and `verify`
//! names what is not so.

use std::fs;
use std::path::Path;

use serde_json::{Value, json};

use crate::case::{Case, two_axes};
use crate::verify_edits::{Edit, cell, found_and_named, manifest, replaced, set_manifest, verified};

/// Frames of the shot, and its first one.
const FRAMES: i64 = 41;
const FIRST: i64 = -3;

/// A pass; `more` is further keys.
fn pass(name: &str, exposure: &str, pace: f64, more: &str) -> String {
    format!("{{ name = \"{name}\", exposure = \"{exposure}\", seconds_per_frame = {pace}, shutter = 120, {more} }}")
}

fn compiled(case: &Case, more: &[&str]) {
    let out = case.run(&[&["compile", "shot.toml", "--out", "written"], more].concat());
    assert_eq!(out.status.code(), Some(0), "{}{}", String::from_utf8_lossy(&out.stdout), String::from_utf8_lossy(&out.stderr));
}

fn lines(case: &Case, file: &str) -> Vec<String> {
    fs::read_to_string(case.path().join("written").join(file)).unwrap().lines().map(str::to_owned).collect()
}

/// The exposed frames, by their definition.
fn frames(every: i64) -> Vec<i64> {
    (FIRST..FIRST + FRAMES).filter(|n| (n - FIRST) % every == 0).collect()
}

fn number(line: &str, cell: usize) -> f64 {
    line.split(',').nth(cell).unwrap().parse().unwrap()
}

/// The tables of a test pass are the rows of the whole pass, bit for bit, for several N; moving, held, and held with frames as short as they may be.
#[test]
fn counts_are_those_of_the_whole_pass() {
    for every in [2, 3, 8, 20, 40, 41] {
        let key = format!("every = {every}");
        let case = two_axes(
            FIRST,
            &[
                pass("whole", "moving", 2.0, "settle = 0"),
                pass("still", "held", 40.0, "settle = 1"),
                pass("run", "moving", 2.0, &key),
                pass("stops", "held", 60.0, &format!("settle = 1, {key}")),
                pass("quick", "held", 9.0, &format!("settle = 1, interval = \"shortest\", {key}")),
            ],
        );
        compiled(&case, &[]);
        let exposed = frames(every);
        for kind in ["steps", "units"] {
            for (whole, test) in [("whole", "run"), ("still", "stops"), ("still", "quick")] {
                let mut expected = lines(&case, &format!("{whole}.{kind}.csv"));
                let header = expected.remove(0);
                expected.retain(|l| exposed.contains(&l.split(',').next().unwrap().parse().unwrap()));
                expected.insert(0, header);
                assert_eq!(expected.len(), exposed.len() + 1);
                assert_eq!(lines(&case, &format!("{test}.{kind}.csv")), expected, "{every} {test}");
            }
        }
        for test in ["stops", "quick"] {
            let moves = lines(&case, &format!("{test}.moves.csv"));
            let pairs: Vec<(i64, i64)> = moves.iter().skip(1).map(|l| (number(l, 0) as i64, number(l, 1) as i64)).collect();
            assert_eq!(pairs, exposed.iter().copied().zip(exposed.iter().copied().skip(1)).collect::<Vec<_>>());
        }
        let m = manifest(&case.path().join("written"));
        let stated: Vec<&Value> = m["passes"].as_array().unwrap().iter().map(|p| &p["every"]).collect();
        assert_eq!(stated, [&Value::Null, &Value::Null, &json!(every), &json!(every), &json!(every)]);
        let (status, said) = verified(&case, "written");
        assert_eq!(status, Some(0), "{every}: {said}");
    }
}

/// A held test pass has a slot for each exposure and no other; a moving one takes as long as the whole pass. The schedule counts exposures, and the passes match.
#[test]
fn time_and_exposures_are_counted() {
    let case = two_axes(
        FIRST,
        &[
            pass("whole", "moving", 2.0, "settle = 0"),
            pass("run", "moving", 2.0, "every = 8"),
            pass("still", "held", 60.0, "settle = 1"),
            pass("stops", "held", 60.0, "settle = 1, every = 8"),
        ],
    );
    let checked = case.check();
    let of = |key: &str| -> Vec<f64> { checked.json["passes"].as_array().unwrap().iter().map(|p| p[key].as_f64().unwrap()).collect() };
    let (duration, exposures) = (of("duration_s"), of("exposures"));
    assert_eq!(exposures, [41.0, 6.0, 41.0, 6.0]);
    assert_eq!((duration[0], duration[2], duration[3]), (duration[1], 41.0 * 60.0, 6.0 * 60.0));
    assert!(checked.sentence().contains("test pass: exposes one frame in 8, 6 exposures"), "{}", checked.text);
    for pair in checked.json["registration"].as_array().unwrap() {
        assert_eq!(pair["misses"].as_array().map(Vec::len).unwrap_or_default(), 0, "{pair}");
    }
    // Moves of a held pass end at the next exposed frame: each is the seven-segment law over all of the way.
    let moves = checked.json["passes"][3]["held"]["moves"].as_array().unwrap().clone();
    let ends: Vec<[i64; 2]> = moves.iter().map(|m| ["from_frame", "to_frame"].map(|k| m[k].as_i64().unwrap())).collect();
    assert_eq!(ends, [[-3, 5], [5, 13], [13, 21], [21, 29], [29, 37]]);
    let out = case.run(&["pace", "shot.toml", "--csv"]);
    let csv = String::from_utf8(out.stdout).unwrap();
    let counted: Vec<&str> = csv.lines().skip(1).map(|l| l.split(',').nth(6).unwrap()).collect();
    assert_eq!(counted, ["41", "6", "41", "6"], "{csv}");
}

/// Rows of a moving test pass are those of the whole pass but for the shutter; a held one opens once for each exposed frame, for as long as its shutter says.
#[test]
fn the_shutter_opens_on_exposed_frames_alone() {
    let case = two_axes(
        FIRST,
        &[
            pass("whole", "moving", 2.0, "settle = 0"),
            pass("run", "moving", 2.0, "every = 8"),
            pass("stops", "held", 60.0, "settle = 1, every = 8"),
            pass("quick", "held", 9.0, "settle = 1, interval = \"shortest\", every = 8"),
        ],
    );
    compiled(&case, &["--rows", "30"]);
    let split = |file: &str| -> Vec<(String, bool)> {
        let all = lines(&case, file);
        all.iter().skip(1).map(|l| l.rsplit_once(',').unwrap()).map(|(row, open)| (row.to_owned(), open == "1")).collect()
    };
    let (whole, run) = (split("whole.rows.csv"), split("run.rows.csv"));
    assert_eq!(whole.len(), run.len());
    // The whole pass opens on one frame after the other; the test pass is open where it is on each eighth, the first one included.
    let mut opened = 0;
    for ((before, now), (a, b)) in whole.iter().zip(whole.iter().skip(1)).zip(whole.iter().zip(&run).skip(1)) {
        opened += i64::from(!before.1 && now.1);
        assert_eq!(a.0, b.0);
        assert_eq!(b.1, a.1 && (opened - 1) % 8 == 0, "{}", b.0);
    }
    assert_eq!(opened, FRAMES);
    let seconds_open = [("run", 2.0 / 3.0), ("stops", 20.0), ("quick", 3.0)];
    for (name, seconds) in seconds_open {
        let rows = split(&format!("{name}.rows.csv"));
        let steps = lines(&case, &format!("{name}.steps.csv"));
        let counts = |line: &str| -> Vec<String> { line.split(',').map(str::to_owned).collect() };
        let mut nth = 0;
        let (mut open, mut exposures) = (0, Vec::new());
        for (row, is_open) in &rows {
            if *is_open {
                open += 1;
                // Everything stands where the table has it.
                if name != "run" {
                    assert_eq!(counts(row)[1..], counts(&steps[nth + 1])[2..], "{name} {row}");
                }
            } else if open > 0 {
                exposures.push(f64::from(open) / 30.0);
                (open, nth) = (0, nth + 1);
            }
        }
        assert_eq!(exposures.len(), 6, "{name}");
        assert!(exposures.iter().all(|s| (s - seconds).abs() <= 1.01 / 30.0), "{name}: {exposures:?}");
    }
    let (status, said) = verified(&case, "written");
    assert_eq!(status, Some(0), "{said}");
}

/// A folder of two test passes that somebody edited and whose hashes he put right.
#[test]
fn edits_are_found_and_named() {
    let case = two_axes(
        FIRST,
        &[
            pass("whole", "moving", 2.0, "settle = 0"),
            pass("run", "moving", 2.0, "every = 8"),
            pass("stops", "held", 60.0, "settle = 1, every = 8"),
            pass("quick", "held", 9.0, "settle = 1, interval = \"shortest\", every = 8"),
        ],
    );
    compiled(&case, &["--rows", "2"]);
    assert_eq!(verified(&case, "written").0, Some(0));
    let without = |d: &Path, file: &str, begins: &str| {
        let text = fs::read_to_string(d.join(file)).unwrap();
        let kept: String = text.lines().filter(|l| !l.starts_with(begins)).map(|l| format!("{l}\n")).collect();
        assert_ne!(kept, text);
        fs::write(d.join(file), kept).unwrap();
    };
    // Shutters of the whole pass over the rows of the test pass.
    let all_open = |d: &Path| {
        let text = fs::read_to_string(d.join("whole.rows.csv")).unwrap();
        fs::write(d.join("run.rows.csv"), text).unwrap();
    };
    let stated = |d: &Path, every: Value| {
        let mut m = manifest(d);
        m["passes"][2]["every"] = every;
        set_manifest(d, &m);
    };
    // A row within the next frame of the shot, which the pass does not expose.
    let first_opening = manifest(&case.path().join("written"))["passes"][1]["rows"]["first_opening_s"].as_f64().unwrap();
    let next_frame = format!("{:.1},", ((first_opening + 2.0) * 2.0).ceil() / 2.0);
    let edits: Vec<(&str, Edit<'_>)> = vec![
        ("run.steps.csv: frame 13", Box::new(|d| without(d, "run.steps.csv", "13,"))),
        ("stops.units.csv: frame 37", Box::new(|d| without(d, "stops.units.csv", "37,"))),
        (
            "run.steps.csv: frame 5",
            Box::new(|d| {
                fs::copy(d.join("whole.steps.csv"), d.join("run.steps.csv")).unwrap();
            }),
        ),
        (
            "stops.steps.csv: goes on",
            Box::new(|d| {
                let text = fs::read_to_string(d.join("stops.steps.csv")).unwrap();
                fs::write(d.join("stops.steps.csv"), format!("{text}45,00:00:02:00,0,0\n")).unwrap();
            }),
        ),
        ("run.steps.csv: g.x: frame 21", Box::new(|d| cell(d, "run.steps.csv", "21,", "g.x", |n| n + 2.0))),
        ("stops.moves.csv: frame 5", Box::new(|d| replaced(d, "stops.moves.csv", "\n5,13,", "\n5,6,"))),
        ("stops.moves.csv: frame 13", Box::new(|d| cell(d, "stops.moves.csv", "13,21,", "seconds", |s| s * 0.9))),
        ("run.rows.csv: shutter", Box::new(all_open)),
        ("run.rows.csv: shutter", Box::new(|d| cell(d, "run.rows.csv", &next_frame, "shutter", |open| 1.0 - open))),
        ("pass stops: every", Box::new(|d| stated(d, json!(9)))),
        ("pass stops: every", Box::new(|d| stated(d, Value::Null))),
        // One slipped digit of the key.
        ("pass run: every", Box::new(|d| replaced(d, "source/shot.toml", "every = 8", "every = 9"))),
        ("run.steps.csv: frame 4", Box::new(|d| replaced(d, "source/shot.toml", "every = 8", "every = 7"))),
        (
            "quick.steps.csv",
            Box::new(|d| replaced(d, "source/shot.toml", "interval = \"shortest\", every = 8", "interval = \"shortest\", every = 6")),
        ),
    ];
    found_and_named(&case, &edits);
}

/// A number that no test pass can step by is refused where it stands.
#[test]
fn a_slipped_key_is_refused() {
    for (every, found) in
        [("0", "0"), ("1", "1"), ("-8", "-8"), ("42", "42"), ("8.5", "8.5"), ("\"8\"", "text"), ("5000000000", "5000000000")]
    {
        let case = two_axes(FIRST, &[pass("run", "moving", 2.0, &format!("every = {every}"))]);
        let said = case.refusal();
        let code = if every.contains(['.', '"']) { "error[wrong-type]" } else { "error[out-of-range]" };
        assert!(said.contains(code) && said.contains(found) && said.contains("shot.toml:7:"), "{every}: {said}");
        assert!(every.contains(['.', '"']) || said.contains("2 to 41"), "{said}");
    }
}

/// Photographed frames that a test pass now wants and did not expose are shot again; fewer of the same are kept.
#[test]
fn changes_of_the_step_are_explained() {
    let case = two_axes(FIRST, &[pass("run", "moving", 2.0, "every = 8"), pass("stops", "held", 60.0, "every = 4")]);
    let old = fs::read_to_string(case.path().join("shot.toml")).unwrap();
    let said = |new: &str| {
        case.write("new.toml", new);
        String::from_utf8(case.run(&["changes", "shot.toml", "new.toml"]).stdout).unwrap().split_whitespace().collect::<Vec<_>>().join(" ")
    };
    assert!(
        said(&old.replace("every = 8", "every = 4"))
            .contains("RESHOOT run: one frame in 4 is required; one frame in 8 was exposed, which leaves out frame 1")
    );
    assert!(said(&old.replace("every = 8", "shutter_ = 1").replace(", shutter_ = 1", "")).contains("RESHOOT run: every frame is required"));
    let fewer = said(&old.replace("every = 4", "every = 8"));
    assert!(fewer.contains("keep run") && fewer.contains("keep stops: one frame in 8 is required now, was one frame in 4"), "{fewer}");
    // Other counts on the exposed frames are another matter.
    assert!(said(&old.replace("[12, 170]", "[12, 171]")).contains("RESHOOT run: g.x has changed"));
}

/// The camera has all of the frames in between to get ready.
#[test]
fn the_camera_has_the_frames_between() {
    let of = |every: &str| {
        let case = two_axes(FIRST, &[pass("run", "moving", 2.0, every)]);
        let stage = fs::read_to_string(case.path().join("stage.toml")).unwrap();
        case.write("stage.toml", &format!("{stage}[camera_timing]\ndead_s = 3\n"));
        case.check().status
    };
    assert_eq!((of("settle = 0"), of("every = 2")), (1, 0));
}
