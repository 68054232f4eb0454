//! Mistakes that people make every day: each is one message that says what to do.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

fn run(dir: &Path, args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_movewright")).current_dir(dir).args(args).output().unwrap()
}

/// A folder with the stage and shot that `new` writes.
fn marsh() -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    assert!(run(dir.path(), &["new", "marsh"]).status.success());
    dir
}

/// What `check` says of the new shot with this in place of that, where it first stands in a file.
fn said(file: &str, old: &str, new: &str) -> String {
    let dir = marsh();
    let path = dir.path().join("marsh").join(file);
    let text = fs::read_to_string(&path).unwrap();
    assert!(text.contains(old), "{old}");
    fs::write(&path, text.replacen(old, new, 1)).unwrap();
    let out = run(dir.path(), &["check", "marsh/shot.toml"]);
    assert!(!out.status.success());
    String::from_utf8(out.stderr).unwrap() + &String::from_utf8(out.stdout).unwrap()
}

/// The one error of a text, as one line.
fn only(text: &str) -> String {
    assert_eq!(text.matches("error[").count(), 1, "{text}");
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn a_folder_named_where_its_shot_is_meant() {
    let dir = marsh();
    let text = String::from_utf8(run(dir.path(), &["check", "marsh"]).stderr).unwrap();
    assert!(only(&text).contains("help: name the shot in it: marsh/shot.toml"), "{text}");
}

#[test]
fn a_stage_where_a_shot_is_meant_and_a_shot_where_a_stage_is() {
    let dir = marsh();
    let text = String::from_utf8(run(dir.path(), &["check", "marsh/stage.toml"]).stderr).unwrap();
    assert!(only(&text).starts_with("error[wrong-file]: this is a stage file, not a shot file"), "{text}");
    let text = said("shot.toml", "stage = \"stage.toml\"", "stage = \"shot.toml\"");
    assert!(only(&text).starts_with("error[wrong-file]: this is a shot file, not a stage file"), "{text}");
}

#[test]
fn frames_in_the_wrong_order_are_offered_the_right_way_round() {
    let text = said("shot.toml", "frames = [1, 96]", "frames = [240, 1]");
    assert!(only(&text).contains("help: write `frames = [1, 240]`"), "{text}");
}

#[test]
fn a_missing_comma_is_called_a_missing_comma() {
    let text = said("shot.toml", "[1, 700], [50", "[1, 700] [50");
    assert!(only(&text).contains("help: put a comma between the two entries") && !text.contains("quotes"), "{text}");
}

#[test]
fn a_limit_out_of_range_has_the_unit_of_its_axis() {
    let text = said("stage.toml", "max_velocity = ", "max_velocity = -");
    assert!(only(&text).contains(" mm/s ") && !text.contains("mm or deg per s"), "{text}");
}

#[test]
fn a_name_that_breaks_off_is_one_error() {
    let text = said("stage.toml", "max_acceleration = ", "max_accel = ");
    assert!(only(&text).contains("help: write `max_acceleration`"), "{text}");
}

#[test]
fn another_unit_comes_with_its_factor() {
    for (unit, help) in [
        ("cm", "write unit = \"mm\" and multiply every number of this axis and its keys by 10"),
        ("in", "by 25.4"),
        ("rad", "by 57.29577951308232"),
    ] {
        let text = said("stage.toml", "unit = \"mm\"", &format!("unit = \"{unit}\""));
        assert!(only(&text).contains(help), "{text}");
    }
}

/// An axis of a mechanism is no channel: the message names the channels that drive it.
#[test]
fn an_axis_that_a_mechanism_drives_is_named_with_its_channels() {
    let dir = tempfile::tempdir().unwrap();
    for file in fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/herons")).unwrap().map(|e| e.unwrap().path()) {
        fs::copy(&file, dir.path().join(file.file_name().unwrap())).unwrap();
    }
    let shot = dir.path().join("shot.toml");
    let text = fs::read_to_string(&shot).unwrap() + "[[track]]\nchannel = \"heron_a.lift_fore\"\nkeys = [[1, 0], [30, 4]]\n";
    fs::write(&shot, text).unwrap();
    let text = String::from_utf8(run(dir.path(), &["check", "shot.toml"]).stderr).unwrap();
    let one = only(&text);
    assert!(one.contains("a mechanism drives the axis `heron_a.lift_fore`, so it is no channel"), "{text}");
    assert!(one.contains("help: animate \"heron_a.heave\" or \"heron_a.pitch\" or \"heron_a.roll\""), "{text}");
}

/// A value far too large in a place where no other fix helps: the key that is wrong is offered another value.
#[test]
fn a_slipped_digit_in_a_value_has_a_fix_and_the_fix_holds() {
    let dir = marsh();
    let path = dir.path().join("marsh/shot.toml");
    let slipped = fs::read_to_string(&path).unwrap().replacen("[96, 2300]", "[96, 9300]", 1);
    fs::write(&path, &slipped).unwrap();
    let out = run(dir.path(), &["check", "marsh/shot.toml"]);
    let text = String::from_utf8(out.stdout).unwrap().split_whitespace().collect::<Vec<_>>().join(" ");
    assert_eq!((out.status.code(), text.matches("exceeded: ").count()), (Some(1), 1), "{text}");
    let value = text
        .split("fix (tested): give key 3 of heron_a.bridge the value ")
        .nth(1)
        .unwrap_or_else(|| panic!("{text}"))
        .split(':')
        .next()
        .unwrap();
    fs::write(&path, slipped.replacen("[96, 9300]", &format!("[96, {value}]"), 1)).unwrap();
    assert_eq!(run(dir.path(), &["check", "marsh/shot.toml"]).status.code(), Some(0));
}

/// A copy that adds a track of its own that stands still: the keys to look at are those of the track that moves.
#[test]
fn a_violation_in_a_copy_names_the_keys_that_move_it() {
    let text = said("shot.toml", "[96, 2300]", "[96, 9300]");
    assert!(!text.contains(", the last"), "{text}");
    let dir = marsh();
    let path = dir.path().join("marsh/shot.toml");
    let text = fs::read_to_string(&path).unwrap().replacen("[96, 2300]", "[96, 9300]", 1);
    fs::write(&path, text).unwrap();
    let out = run(dir.path(), &["check", "marsh/shot.toml", "--all"]);
    let text = String::from_utf8(out.stdout).unwrap().split_whitespace().collect::<Vec<_>>().join(" ");
    let of_copy = text.split("heron_b.bridge: velocity").nth(1).unwrap_or_else(|| panic!("{text}"));
    assert!(of_copy.split(" with it").next().unwrap().contains("shot.toml:46"), "{text}");
}

#[test]
fn the_exposed_seconds_stand_in_the_table_of_passes() {
    let dir = marsh();
    let text = String::from_utf8(run(dir.path(), &["check", "marsh/shot.toml"]).stdout).unwrap();
    assert!(text.contains("s/frame   exposed") && text.contains("picture   moving        10       5 s"), "{text}");
}

/// A leg of hours names the axis that makes it long.
#[test]
fn legs_name_their_slowest_axis() {
    let dir = marsh();
    let text = String::from_utf8(run(dir.path(), &["check", "marsh/shot.toml"]).stdout).unwrap();
    assert!(text.contains("move to start 1 min 18 s (heron_b.bridge), home"), "{text}");
    assert!(text.contains("home 5 min 42 s (heron_a.bridge)"), "{text}");
}
