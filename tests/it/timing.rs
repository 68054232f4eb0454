//! The notes of an ordinary morning, each put into a shot by an edit of one line or two: what changes is what was asked for, and the folder can be verified.
//!
//! The shot is that of the guide `change_the_timing.md`.

use std::fs;
use std::path::Path;

use crate::case::Case;

/// A block of the guide under this comment.
fn block(comment: &str) -> String {
    let page = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/guides/change_the_timing.md")).unwrap();
    let after = page.split(&format!("<!-- write swans/{comment} -->\n```toml\n")).nth(1).unwrap();
    after.split("```").next().unwrap().to_owned()
}

fn swans() -> Case {
    let case = Case::new(&block("stage.toml"), &block("shot.toml"));
    case.write("take_off.toml", &block("take_off.toml"));
    case.write("tuesday.toml", &block("tuesday.toml"));
    case
}

/// Counts by column and frame, from frame 1.
fn counts(case: &Case, folder: &str) -> Vec<(String, Vec<i64>)> {
    let out = case.run(&["compile", "shot.toml", "--out", folder]);
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stdout));
    let verified = case.run(&["verify", folder]);
    assert!(verified.status.success(), "{}", String::from_utf8_lossy(&verified.stdout));
    let text = fs::read_to_string(case.path().join(folder).join("picture.steps.csv")).unwrap();
    let rows: Vec<Vec<&str>> = text.lines().map(|l| l.split(',').collect()).collect();
    let column = |i: usize| (rows[0][i].to_owned(), rows[1..].iter().map(|r| r[i].parse().unwrap()).collect());
    (2..rows[0].len()).map(column).collect()
}

/// The counts before and after lines are replaced, each found by how it begins.
fn edited(lines: &[(&str, &str)]) -> [Vec<(String, Vec<i64>)>; 2] {
    let case = swans();
    let before = counts(&case, "before");
    let mut text = block("shot.toml");
    for (begins, new) in lines {
        let old: Vec<&str> = text.lines().filter(|l| l.trim_start().starts_with(begins)).collect();
        assert_eq!(old.len(), 1, "{begins}");
        text = text.replacen(old[0], new, 1);
    }
    let changed = block("shot.toml").lines().zip(text.lines()).filter(|(a, b)| a != b).count();
    assert!(changed == lines.len() && changed <= 2 && text.lines().count() == block("shot.toml").lines().count());
    case.write("shot.toml", &text);
    [before, counts(&case, "after")]
}

#[test]
fn half_a_second_later() {
    let [before, after] = edited(&[("retime", "retime = [{ groups = [\"swan_2\"], delay = 12 }]")]);
    for ((name, was), (_, is)) in before.iter().zip(&after) {
        let by = if name.starts_with("swan_2.") { 12 } else { 0 };
        assert!((by..144).all(|i| is[i] == was[i - by]), "{name}");
    }
}

#[test]
fn hold_at_100_for_12_frames() {
    let [before, after] =
        edited(&[("retime", "retime = [{ keys = [[1, 1], [100, 100], [112, 100], [156, 144]] }]"), ("frames", "frames = [1, 156]")]);
    let mut moves = 0;
    for ((name, was), (_, is)) in before.iter().zip(&after) {
        // Index 0 is frame 1. A curve that is fitted may miss by what a fit may miss.
        assert!((0..96).all(|i| (is[i] - was[i]).abs() <= 1), "{name}");
        assert!((103..108).all(|i| is[i] == is[103]), "{name}");
        assert!((115..156).all(|i| (is[i] - was[i - 12]).abs() <= 1), "{name}");
        moves += usize::from(was[80] != was[120]);
    }
    assert!(moves >= 2, "{moves}");
}

#[test]
fn everything_ten_per_cent_slower() {
    let [before, after] = edited(&[("retime", "retime = [{ keys = [[1, 1], [111, 101]] }]"), ("frames", "frames = [1, 159]")]);
    for ((name, was), (_, is)) in before.iter().zip(&after) {
        // Film frame 1 + 11 k shows choreography frame 1 + 10 k.
        assert!((0..14).all(|k| (is[11 * k] - was[10 * k]).abs() <= 1), "{name}");
    }
}

#[test]
fn the_kick_slower_in_the_second_half() {
    let [before, after] = edited(&[("retime", "retime = [{ groups = [\"swan_1\"], keys = [[1, 1], [32, 32], [56, 44], [156, 144]] }]")]);
    for ((name, was), (_, is)) in before.iter().zip(&after) {
        if !name.starts_with("swan_1.") {
            assert_eq!(was, is, "{name}");
            continue;
        }
        assert!((0..28).all(|i| (is[i] - was[i]).abs() <= 1), "{name}");
        // Between the rounded corners half as fast: film frame 44 shows choreography frame 38.
        assert!((is[43] - was[37]).abs() <= 1 && (is[45] - was[38]).abs() <= 1, "{name}");
        assert!((59..144).all(|i| (is[i] - was[i - 12]).abs() <= 1), "{name}");
    }
}

#[test]
fn tuesdays_take_off_for_the_third_one() {
    let [before, after] =
        edited(&[("{ file = \"take_off.toml\", group = \"swan_3\"", "    { file = \"tuesday.toml\", group = \"swan_3\", delay = 32 },")]);
    for ((name, was), (_, is)) in before.iter().zip(&after) {
        assert_eq!(was != is, name.starts_with("swan_3."), "{name}");
    }
}

/// The library's own words for a retime: a delay is keys that stand later, and what has keys needs two of them.
#[test]
fn the_library_retimes_as_the_file_does() {
    use movewright::write::Column;
    use movewright::{Axis, Compiled, Error, Shot, Stage};
    let columns = |delay: f64, ahead: i32| -> Result<Vec<u8>, Error> {
        let axis = Axis::mm("bridge").travel(-1000.0..=4000.0).velocity(400.0).acceleration(200.0).jerk(400.0).travel_per_rev(60.0);
        let stage = Stage::builder("Marsh").group("heron", [axis.build()?]).build()?;
        let mut shot = Shot::builder(&stage, "later", 1..=60, "24")?;
        shot.track("heron.bridge")?.minimum_jerk([(4 + ahead, 0.0), (20 + ahead, 90.0), (40 + ahead, 30.0)])?;
        shot.later(&["heron"], delay)?;
        assert!(shot.retime(&["crane"], [(1, 1.0), (2, 2.0)], None).is_err() && shot.retime(&[], [(1, 1.0)], None).is_err());
        shot.retime(&[], [(1, 1.0), (60, 60.0)], None)?;
        shot.pass("picture").moving(10.0)?;
        let shot = shot.build()?;
        let report = Compiled::new(stage, shot)?.check()?;
        let mut out = Vec::new();
        report.approve()?.columns(&mut out, "picture", Column::Steps)?;
        Ok(out)
    };
    assert_eq!(columns(9.0, 0).unwrap(), columns(0.0, 9).unwrap());
}
