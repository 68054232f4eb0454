//! A manifest that is no file, or has no end: verify, compile and compare say so and go on; none waits, none reads without bounds.

#![cfg(unix)]

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use crate::marsh::{LIFT, SHOT, STAGE};

/// Longest that a command may take; each takes less than a second.
const PATIENCE: Duration = Duration::from_secs(60);

/// Exit status and both streams, or `None` for a command that had to be ended.
fn run(args: &[&str]) -> Option<(i32, String)> {
    let mut child = Command::new(env!("CARGO_BIN_EXE_movewright"))
        .args(args)
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let start = Instant::now();
    while child.try_wait().unwrap().is_none() {
        if start.elapsed() > PATIENCE {
            child.kill().unwrap();
            child.wait().unwrap();
            return None;
        }
        std::thread::sleep(Duration::from_millis(20));
    }
    let out = child.wait_with_output().unwrap();
    let said = String::from_utf8(out.stdout).unwrap() + &String::from_utf8(out.stderr).unwrap();
    Some((out.status.code().unwrap(), said))
}

fn pipe(at: &Path) {
    assert!(Command::new("mkfifo").arg(at).status().unwrap().success());
}

fn endless(at: &Path) {
    std::os::unix::fs::symlink("/dev/zero", at).unwrap();
}

/// Sparse, so that it costs no disk.
fn too_long(at: &Path) {
    fs::File::create(at).unwrap().set_len(movewright::bounds::MOST_BYTES + 1).unwrap();
}

#[test]
fn a_manifest_that_is_no_file_or_too_long_ends_every_command() {
    let temp = tempfile::tempdir().unwrap();
    for (name, text) in [("stage.toml", STAGE), ("shot.toml", SHOT), ("lift.csv", LIFT)] {
        fs::write(temp.path().join(name), text).unwrap();
    }
    let at = |name: &str| temp.path().join(name).to_str().unwrap().to_owned();
    let (shot, out, log) = (at("shot.toml"), at("out"), at("out/picture.steps.csv"));
    assert_eq!(run(&["compile", &shot, "--out", &out]).unwrap().0, 0);
    let manifest = temp.path().join("out/manifest.json");
    for (hostile, why) in [(pipe as fn(&Path), "not a regular file"), (endless, "not a regular file"), (too_long, "bytes")] {
        fs::remove_file(&manifest).unwrap();
        hostile(&manifest);
        for (args, status) in [
            (vec!["verify", &out], 1),
            (vec!["compile", &shot, "--out", &out], 2),
            (vec!["compile", &shot, "--out", &out, "--replace"], 2),
            (vec!["compare", &out, "--pass", "picture", &log], 2),
        ] {
            let (code, said) = run(&args).unwrap_or_else(|| panic!("{args:?} does not end"));
            assert_eq!(code, status, "{args:?}: {said}");
            let said = said.split_whitespace().collect::<Vec<_>>().join(" ");
            assert!(said.contains("manifest.json") && said.contains(why), "{args:?}: {said}");
        }
    }
}
