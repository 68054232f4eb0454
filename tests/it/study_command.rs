//! `movewright study` as it is called: what it writes, and wrong calls.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

const STAGE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/herons/stage.toml");

/// A wing of heron_a that beats about the shoulder, three markers of the body beside it.
fn recording(dir: &Path) {
    let mut text = "time_s,chest.x,chest.y,chest.z,back.x,back.y,back.z,rump.x,rump.y,rump.z,wrist.x,wrist.y,wrist.z\n".to_owned();
    for row in 0..150_u32 {
        let t = f64::from(row) / 50.0;
        let angle = 0.6 * (core::f64::consts::TAU * t / 0.9).sin();
        let (y, z) = (12.0 + 74.0 * angle.sin(), -28.0 - 74.0 * angle.cos());
        text += &format!("{t:.2},80,6,4,10,34,0,-90,12,10,0,{y:.4},{z:.4}\n");
    }
    fs::write(dir.join("wing.csv"), text).unwrap();
}

fn study(dir: &Path, args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_movewright")).current_dir(dir).arg("study").arg("wing.csv").args(args).output().unwrap()
}

fn said(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn a_wing_is_a_hinge_is_followed_by_its_wire_and_is_written() {
    let dir = tempfile::tempdir().unwrap();
    recording(dir.path());
    let figure = ["--body", "chest,back,rump", "--stage", STAGE, "--group", "heron_a", "--within", "2"];
    let out = study(dir.path(), &[&figure[..], &["--write", "beat.toml", "--report", "beat.html"]].concat());
    let (text, remarks) = (said(&out.stdout), said(&out.stderr));
    assert_eq!(out.status.code(), Some(0), "{remarks}");
    assert!(remarks.contains("written: beat.toml") && remarks.contains("written: beat.html"), "{remarks}");
    assert!(text.contains("Hinge 1: wrist at 74.0 mm") && text.contains("turn = [1.0000, 0.0000, 0.0000]"), "{text}");
    assert!(text.contains("wrist is on wing_left") && text.contains("heron_a with 1 axis"), "{text}");
    assert!(text.contains("Not checked here: taut wires, acceleration, jerk, clearance"), "{text}");
    let routine = fs::read_to_string(dir.path().join("beat.toml")).unwrap();
    assert!(routine.contains("channel = \"wing_left\"") && routine.matches("[[cycle]]").count() == 1, "{routine}");
    let page = fs::read_to_string(dir.path().join("beat.html")).unwrap();
    assert!(page.starts_with("<!DOCTYPE html><!-- movewright study -->") && page.contains("<h2>Hinges</h2>"));
    // Files of its own are replaced, what somebody wrote is not.
    assert_eq!(study(dir.path(), &[&figure[..], &["--write", "beat.toml", "--report", "beat.html"]].concat()).status.code(), Some(0));
    fs::write(dir.path().join("beat.html"), "mine").unwrap();
    let out = study(dir.path(), &["--report", "beat.html"]);
    assert!(out.status.code() == Some(2) && said(&out.stderr).contains("error[not-ours]"), "{}", said(&out.stderr));
    assert_eq!(fs::read_to_string(dir.path().join("beat.html")).unwrap(), "mine");
}

#[test]
fn a_wrong_call_writes_nothing_and_says_what_to_do() {
    let dir = tempfile::tempdir().unwrap();
    recording(dir.path());
    let figure = ["--body", "chest,back,rump", "--stage", STAGE, "--group"];
    let calls: &[(&[&str], &str)] = &[
        (&["--stage", STAGE], "--group <NAME>"),
        (&["--group", "heron_a"], "--stage <STAGE>"),
        (&["--stage", "none.toml", "--group", "heron_a"], "error[missing-file]"),
        (&[&figure[..], &["heron_z"]].concat(), "allowed camera, heron_a, heron_b"),
        (&[&figure[..], &["heron_a", "--attach", "wrist"]].concat(), "found `wrist`; allowed MARKER=LIMB"),
        (&[&figure[..], &["heron_a", "--attach", "elbow=neck"]].concat(), "error[unknown-marker]"),
        (&[&figure[..], &["heron_a", "--attach", "wrist=leg"]].concat(), "found `leg`; allowed body, neck, head, wing_left"),
        (&[&figure[..], &["heron_a", "--attach", "wrist=body"]].concat(), "no axis of the group moves a marker"),
        (&[&figure[..], &["heron_a", "--within", "0.000001", "--write", "o.toml"]].concat(), "no beat of the group stays so close"),
        (&["--report", "-"], "allowed a name that ends in .html"),
        (&["--within", "2", "--write", "o.csv"], "allowed a name that ends in .toml"),
        (&["--write", "o.toml"], "--within <MM>"),
    ];
    for (args, wanted) in calls {
        let out = study(dir.path(), args);
        let text = said(&out.stderr);
        assert!(out.status.code() == Some(2) && text.contains(wanted), "{args:?}: {text}");
        assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 1, "{args:?}");
    }
}
