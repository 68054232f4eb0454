//! What costs too much work is refused by the program with exit status 2 and nothing written; `--large` allows it.

use crate::case::{Case, STAGE, axis, pass, shot};

fn stage(axes: usize) -> String {
    let all: String =
        (0..axes).map(|i| axis(&format!("x{i}"), "mm", [-1000.0, 1000.0], [50.0, 20.0, 40.0], "travel_per_rev = 60")).collect();
    format!("{STAGE}[[group]]\nname = \"g\"\n{all}")
}

fn drifts(n: usize) -> String {
    let of = |i: usize| format!("[[drift]]\nchannel = \"g.x0\"\nseed = {i}\namplitude = 0.1\nperiod = {}\n", 4.0 + 0.01 * i as f64);
    (0..n).map(of).collect()
}

/// 101 axes x a million frames: more than 10^8 counts.
#[test]
fn a_hundred_million_counts_are_refused_with_what_they_are() {
    let case =
        Case::new(&stage(101), &shot([1, 1_000_000], "{ channel = \"g.x0\", keys = [[1, 0], [90, 5]] }", &pass("picture", "moving", 12.0)));
    let refusal = case.refusal();
    assert!(refusal.starts_with("error[budget-exceeded]: the shot is too large"), "{refusal}");
    for part in ["101 axes x 1000000 frames x 1 passes, 101000000 counts", "at most 100000000 counts", "help: check `frames`", "--large"] {
        assert!(refusal.contains(part), "{part}: {refusal}");
    }
    let out = case.run(&["compile", "shot.toml", "--out", "folder"]);
    assert_eq!((out.status.code(), case.path().join("folder").exists()), (Some(2), false));
}

/// 400 drifts on one channel over 180 frames: more than the four million evaluations of layers that are allowed unasked.
#[test]
fn large_allows_what_is_refused_unasked() {
    let case = Case::new(&stage(1), &(shot([1, 180], "", &pass("picture", "moving", 12.0)) + &drifts(650)));
    let refusal = case.refusal();
    for part in ["axis `g.x0` would take too much work", "more than 6000360 evaluations of layers by frame ", "--large"] {
        assert!(refusal.contains(part), "{part}: {refusal}");
    }
    let out = case.run(&["check", "shot.toml", "--large"]);
    assert_eq!(out.status.code(), Some(0), "{}", String::from_utf8_lossy(&out.stderr));
}
