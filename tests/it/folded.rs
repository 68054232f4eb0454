//! One bad key is one message, with what follows from it under it; a pass that is too fast is one message too.

use std::fs;
use std::path::Path;
use std::process::Command;

use serde_json::Value;

/// The demo in a folder of its own, with this in place of that in one of its files.
fn demo(dir: &Path, file: &str, changes: &[(&str, &str)]) {
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/herons");
    for entry in fs::read_dir(from).unwrap() {
        let path = entry.unwrap().path();
        fs::copy(&path, dir.join(path.file_name().unwrap())).unwrap();
    }
    let mut text = fs::read_to_string(dir.join(file)).unwrap();
    for (old, new) in changes {
        assert_eq!(text.matches(old).count(), 1, "{old}");
        text = text.replace(old, new);
    }
    fs::write(dir.join(file), text).unwrap();
}

/// What `check` prints, each paragraph on one line, and its JSON.
fn checked(dir: &Path) -> (String, Value) {
    let run = |args: &[&str]| {
        let out = Command::new(env!("CARGO_BIN_EXE_movewright")).current_dir(dir).args(args).output().unwrap();
        assert_eq!(out.status.code(), Some(1), "{}", String::from_utf8_lossy(&out.stderr));
        String::from_utf8(out.stdout).unwrap()
    };
    (run(&["check", "shot.toml"]), serde_json::from_str(&run(&["check", "shot.toml", "--json"])).unwrap())
}

fn violations(json: &Value) -> usize {
    json["passes"].as_array().unwrap().iter().map(|p| p["violations"].as_array().unwrap().len()).sum()
}

/// The number before a word.
fn before(text: &str, word: &str) -> usize {
    text.split(word).next().unwrap().split_whitespace().last().unwrap().parse().unwrap()
}

/// The bridge of a heron that another follows is to be where it should be 70 frames later.
#[test]
fn a_key_at_a_wrong_frame_is_one_message() {
    let dir = tempfile::tempdir().unwrap();
    demo(dir.path(), "take_off.csv", &[("\n190,3850,,860,", "\n190,,,860,"), ("\n116,,-20,,\n", "\n116,,-20,,\n120,3850,,,\n")]);
    let (text, json) = checked(dir.path());
    assert_eq!(text.matches("exceeded: ").count(), 1, "{text}");
    let one = text.split("\n\n").find(|p| p.starts_with("exceeded: ")).unwrap().split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(one.starts_with("exceeded: heron_a.bridge: position ") && one.contains("(frame 120, take_off.csv:8)"), "{one}");
    assert!(one.contains("(passes beauty, matte and haze)") && one.contains("heron_b.bridge (") && one.contains(" more (--all)"), "{one}");
    // Nothing is lost under it.
    let rest = one.split("with it: ").nth(1).unwrap();
    assert_eq!(before(rest, " limits exceeded"), violations(&json) - 1, "{one}");
    assert!(text.lines().count() <= 80, "{}", text.lines().count());
}

/// So early that the camera, which follows, turns away from where it can focus: one error still, and it points at the key of the bridge.
#[test]
fn a_key_that_leads_the_focus_out_of_reach_is_one_error_that_names_the_bridge() {
    let dir = tempfile::tempdir().unwrap();
    demo(dir.path(), "take_off.csv", &[("\n110,2980,,660,", "\n110,,,660,"), ("\n34,,,445,", "\n28,2980,,,\n34,,,445,")]);
    let out = Command::new(env!("CARGO_BIN_EXE_movewright")).current_dir(dir.path()).args(["check", "shot.toml"]).output().unwrap();
    let text = String::from_utf8_lossy(&out.stderr);
    assert_eq!(out.status.code(), Some(2), "{text}");
    assert_eq!(text.matches("error[").count(), 1, "{text}");
    assert!(text.contains("--> take_off.csv:4:") && text.contains("bring `heron_a.bridge` back into its travel first"), "{text}");
}

#[test]
fn two_bad_keys_far_apart_are_two_messages() {
    let dir = tempfile::tempdir().unwrap();
    let stage = "format = 1\nname = \"Marsh\"\n[motor.m]\nfull_steps_per_rev = 200\n[[group]]\nname = \"heron\"\n[[group.axis]]\nname = \"bridge\"\nunit = \"mm\"\n\
                 travel = [-10, 500]\nmax_velocity = 20\nmax_acceleration = 20\nmax_jerk = 50\nmotor = \"m\"\ntravel_per_rev = 5\n";
    let shot = "format = 1\nname = \"Two slips\"\nstage = \"stage.toml\"\nframe_rate = \"24\"\nframes = [1, 200]\n[[track]]\nchannel = \"heron.bridge\"\nshape = \"monotone\"\n\
                keys = [[1, 0], [30, 900], [60, 20], [90, 30], [120, 40], [150, 50], [170, -300], [200, 60]]\n[[pass]]\nname = \"beauty\"\nexposure = \"moving\"\n\
                seconds_per_frame = 10\nshutter = 180\n";
    fs::write(dir.path().join("stage.toml"), stage).unwrap();
    fs::write(dir.path().join("shot.toml"), shot).unwrap();
    let (text, _) = checked(dir.path());
    assert_eq!(text.matches("exceeded: ").count(), 2, "{text}");
    assert!(text.contains("key 2 (frame 30") && text.contains("key 7 (frame 170"), "{text}");
}

#[test]
fn a_pass_that_is_too_fast_is_one_message_with_its_pace() {
    let dir = tempfile::tempdir().unwrap();
    demo(dir.path(), "shot.toml", &[("seconds_per_frame = 10", "seconds_per_frame = 5")]);
    let (text, json) = checked(dir.path());
    assert_eq!(text.matches("exceeded: ").count(), 1, "{text}");
    let one = text.split("\n\n").find(|p| p.starts_with("exceeded: ")).unwrap().split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(one.starts_with("exceeded: pass matte is too fast at 5 s per frame: "), "{one}");
    assert!(one.contains("fix (tested): run the pass at 5.77 s per frame or slower"), "{one}");
    assert_eq!(before(&one, " limits exceeded on "), violations(&json), "{one}");
}
