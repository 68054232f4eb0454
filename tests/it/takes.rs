//! `movewright take` as a person runs it: the record grows, no take is lost, and `changes` and `pace` say which passes are shot and which takes are stale.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};
use std::thread;

use serde_json::Value;

fn run(dir: &Path, args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_movewright")).current_dir(dir).args(args).output().unwrap()
}

fn out(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).unwrap()
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A folder with the shot of `new`, compiled into `columns`.
fn compiled() -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    assert!(run(dir.path(), &["new", "marsh"]).status.success());
    assert!(run(dir.path(), &["compile", "marsh/shot.toml", "--out", "columns"]).status.success());
    dir
}

fn take(dir: &Path, more: &[&str]) -> Output {
    run(dir, &[&["take", "columns", "--pass", "picture"], more].concat())
}

#[test]
fn takes_are_added_one_after_the_other_and_nothing_else_changes() {
    let dir = compiled();
    let record = dir.path().join("takes.csv");
    fs::write(dir.path().join("home.csv"), "axis,steps\ncamera.track,3\ncamera.pan,-1\n").unwrap();
    let first = take(
        dir.path(),
        &["--good", "--slate", "12A", "--stop", "22", "--filters", "UV 403, ND 0.3", "--home", "home.csv", "--haze", "14 m"],
    );
    assert!(first.status.success() && out(&first).starts_with("take 1 of picture, frames 1 to 96 (96 frames), good"), "{}", said(&first));
    let before = fs::read(&record).unwrap();
    let hash = blake3::hash(&fs::read(dir.path().join("columns/manifest.json")).unwrap()).to_hex().to_string();
    assert_eq!(
        String::from_utf8(before.clone()).unwrap(),
        format!(
            "slate,pass,take,folder,folder_hash,first_frame,last_frame,lens,stop,filters,haze,home,good,note\n12A,picture,1,columns,{hash},1,96,,22,\"UV 403, ND 0.3\",14 m,camera.track=3 camera.pan=-1,yes,\n"
        )
    );
    let second = take(dir.path(), &["--bad", "--slate", "12A", "--frames", "40..96", "--note", "a gust, \"strong\""]);
    assert!(
        second.status.success() && out(&second).contains("take 2 of picture, frames 40 to 96 (57 frames), not good"),
        "{}",
        out(&second)
    );
    assert!(out(&second).contains("\n  picture: shot, 1 good take, 1 bad take\n  clean: not shot\n"), "{}", out(&second));
    let after = fs::read(&record).unwrap();
    assert!(after.starts_with(&before) && after.len() > before.len());
    // Another slate counts from 1; a number that was used is refused.
    assert!(out(&take(dir.path(), &["--good"])).contains("take 1 of picture"));
    let again = take(dir.path(), &["--good", "--slate", "12A", "--take", "2"]);
    assert!(
        again.status.code() == Some(2) && said(&again).contains("error[duplicate-take]") && said(&again).contains("the next is 3"),
        "{}",
        said(&again)
    );
    // The folder still verifies: the record is beside it.
    assert!(run(dir.path(), &["verify", "columns"]).status.success());
}

#[test]
fn a_folder_compiled_anew_makes_its_takes_stale() {
    let dir = compiled();
    assert!(take(dir.path(), &["--good", "--frames", "1..40"]).status.success());
    let shot = dir.path().join("marsh/shot.toml");
    let edited = fs::read_to_string(&shot).unwrap().replace("[96, -6]", "[96, -9]");
    fs::write(&shot, edited).unwrap();
    let changes = run(dir.path(), &["changes", "columns", "marsh/shot.toml"]);
    assert!(out(&changes).contains("\n  picture: 40 of 96 frames shot, 1 good take\n  clean: not shot\n"), "{}", out(&changes));
    let pace = || out(&run(dir.path(), &["pace", "marsh/shot.toml", "--takes", "takes.csv"]));
    assert!(pace().contains("picture: 40 of 96 frames shot, 1 good take"), "{}", pace());
    let json = run(dir.path(), &["changes", "columns", "marsh/shot.toml", "--json"]);
    let json: Value = serde_json::from_str(&out(&json)).unwrap();
    assert_eq!(
        json["takes"][0],
        serde_json::json!({ "pass": "picture", "good_takes": 1, "bad_takes": 0, "stale_takes": 0, "frames": [[1, 40]], "frames_shot": 40 })
    );
    assert!(run(dir.path(), &["compile", "marsh/shot.toml", "--out", "columns", "--replace"]).status.success());
    let stale = "picture: not shot; stale: 1 good take of an older version of the folder";
    assert!(pace().contains(stale), "{}", pace());
    assert!(out(&run(dir.path(), &["changes", "columns", "marsh/shot.toml"])).contains(stale));
    // The old version again, and it is as before.
    let back = fs::read_to_string(&shot).unwrap().replace("[96, -9]", "[96, -6]");
    fs::write(&shot, back).unwrap();
    assert!(run(dir.path(), &["compile", "marsh/shot.toml", "--out", "columns", "--replace"]).status.success());
    assert!(pace().contains("picture: 40 of 96 frames shot, 1 good take"), "{}", pace());
}

#[test]
fn runs_at_the_same_time_lose_no_take() {
    let dir = compiled();
    thread::scope(|scope| {
        for _ in 0..4 {
            let dir = dir.path();
            scope.spawn(move || (0..5).for_each(|_| assert!(take(dir, &["--good"]).status.success())));
        }
    });
    let text = fs::read_to_string(dir.path().join("takes.csv")).unwrap();
    let mut numbers: Vec<u32> = text.lines().skip(1).map(|l| l.split(',').nth(2).unwrap().parse().unwrap()).collect();
    numbers.sort_unstable();
    assert_eq!(numbers, (1..=20).collect::<Vec<u32>>());
}

#[test]
fn wrong_calls_and_records_end_with_2_and_change_nothing() {
    let dir = compiled();
    let write = |name: &str, text: &str| fs::write(dir.path().join(name), text).unwrap();
    write("unknown.csv", "axis,steps\ncamera.trak,3\n");
    write("half.csv", "axis,steps\ncamera.track,0.5\n");
    write("twice.csv", "axis,steps\ncamera.track,1\ncamera.track,2\n");
    let long = "x".repeat(501);
    let calls: &[(&[&str], &str)] = &[
        (&[], "required arguments were not provided"),
        (&["--good", "--bad"], "cannot be used with"),
        (&["--good", "--take", "0"], "invalid value '0'"),
        (&["--good", "--frames", "40"], "error[invalid-frame-span]"),
        (&["--good", "--frames", "90..97"], "within 1..96"),
        (&["--good", "--frames", "9..5"], "error[invalid-frame-span]"),
        (&["--good", "--stop", "NaN"], "error[out-of-range]"),
        (&["--good", "--stop", "0"], "error[out-of-range]"),
        (&["--good", "--note", "=1+1"], "error[unsuitable-text]"),
        (&["--good", "--note", "two\nlines"], "error[hidden-character]"),
        (&["--good", "--slate", "12\u{202e}A"], "error[hidden-character]"),
        (&["--good", "--lens", &long], "error[unsuitable-text]"),
        (&["--good", "--home", "none.csv"], "error[missing-file]"),
        (&["--good", "--home", "unknown.csv"], "unknown.csv:2:"),
        (&["--good", "--home", "half.csv"], "half.csv:2:"),
        (&["--good", "--home", "twice.csv"], "twice.csv:3:"),
    ];
    for (args, found) in calls {
        let output = take(dir.path(), args);
        assert!(
            output.status.code() == Some(2) && output.stdout.is_empty() && said(&output).contains(found),
            "{args:?}: {}",
            said(&output)
        );
    }
    let output = run(dir.path(), &["take", "columns", "--pass", "pictur", "--good"]);
    assert!(output.status.code() == Some(2) && said(&output).contains("error[unknown-pass]"));
    let output = run(dir.path(), &["take", "marsh", "--pass", "picture", "--good"]);
    assert!(output.status.code() == Some(2) && said(&output).contains("error[not-a-folder]"));
    assert!(!dir.path().join("takes.csv").exists());
    let foreign = "shopping\nmilk\n";
    write("takes.csv", foreign);
    let output = take(dir.path(), &["--good"]);
    assert!(output.status.code() == Some(2) && said(&output).contains("error[invalid-takes]"), "{}", said(&output));
    assert_eq!(run(dir.path(), &["changes", "columns", "marsh/shot.toml"]).status.code(), Some(2));
    assert_eq!(fs::read_to_string(dir.path().join("takes.csv")).unwrap(), foreign);
    assert_eq!(run(dir.path(), &["pace", "marsh/shot.toml", "--takes", "none.csv"]).status.code(), Some(2));
}
