//! `movewright verify` on a hand-off with measured positions: it holds as it was written; each file that somebody edited and whose hashes he put right is named.

use std::fs;
use std::path::Path;

use serde_json::{Value, json};

use crate::case::short_herons;
use crate::verify_edits::{copy_folder, mend_files};

fn run(dir: &Path, args: &[&str]) -> (Option<i32>, String) {
    let out = std::process::Command::new(env!("CARGO_BIN_EXE_movewright")).current_dir(dir).args(args).output().unwrap();
    let said = String::from_utf8(out.stdout).unwrap() + &String::from_utf8(out.stderr).unwrap();
    (out.status.code(), said.split_whitespace().collect::<Vec<_>>().join(" "))
}

fn table(path: &Path) -> Vec<Vec<String>> {
    fs::read_to_string(path).unwrap().lines().map(|l| l.split(',').map(str::to_owned).collect()).collect()
}

fn write(path: &Path, rows: &[Vec<String>]) {
    fs::write(path, rows.iter().map(|r| r.join(",") + "\n").collect::<String>()).unwrap();
}

/// A log of the beauty pass: every axis off by some steps that change from frame to frame, the last three axes not logged.
fn log(dir: &Path) -> usize {
    let mut rows = table(&dir.join("written/beauty.steps.csv"));
    let columns = rows[0].len() - 3;
    for (n, row) in rows.iter_mut().enumerate() {
        row.truncate(columns);
        for (k, cell) in row.iter_mut().enumerate().skip(2).filter(|_| n > 0) {
            *cell = (cell.parse::<i64>().unwrap() + i64::try_from((7 * n + 3 * k) % 11).unwrap() - 5).to_string();
        }
    }
    write(&dir.join("log.csv"), &rows);
    columns
}

fn entry(dir: &Path) -> Value {
    serde_json::from_slice(&fs::read(dir.join("measured.json")).unwrap()).unwrap()
}

fn set_entry(dir: &Path, entry: &Value) {
    fs::write(dir.join("measured.json"), serde_json::to_vec_pretty(entry).unwrap()).unwrap();
}

/// Lengths and hashes as they now are.
fn mend(dir: &Path) {
    let mut all = entry(dir);
    mend_files(dir, &mut all);
    set_entry(dir, &all);
}

/// Adds to a number of a table, of so many decimals.
fn add(dir: &Path, file: &str, [row, column]: [usize; 2], by: f64, decimals: usize) {
    let mut rows = table(&dir.join(file));
    rows[row][column] = format!("{:.decimals$}", rows[row][column].parse::<f64>().unwrap() + by);
    write(&dir.join(file), &rows);
}

/// Replaces a text in a file.
fn replace(dir: &Path, file: &str, old: &str, new: &str) {
    let text = fs::read_to_string(dir.join(file)).unwrap();
    assert!(text.contains(old), "{file}: {old}");
    fs::write(dir.join(file), text.replacen(old, new, 1)).unwrap();
}

#[test]
fn what_was_measured_is_followed_to_every_file_and_edits_are_named() {
    let (_, temp) = short_herons();
    let dir = temp.path();
    assert_eq!(run(dir, &["compile", "shot.toml", "--out", "written", "--full-size"]).0, Some(0));
    let columns = log(dir);
    let planned = table(&dir.join("written/beauty.steps.csv"))[0].split_off(columns);
    let (status, said) = run(dir, &["compare", "written", "--pass", "beauty", "log.csv", "--hand-off", "measured"]);
    assert!(matches!(status, Some(0 | 1)), "{said}");
    let (status, said) = run(dir, &["verify", "measured", "--all"]);
    assert!(status == Some(0) && said.contains("measured: no difference found"), "{said}");
    for what in [
        "recomputed: positions of axes that were not measured",
        "shifts.csv at every frame",
        "compared by hash only: the measured positions",
    ] {
        assert!(said.contains(what), "{what}: {said}");
    }
    assert_eq!(entry(&dir.join("measured"))["axes_as_planned"], json!(planned));
    type Damage<'a> = Box<dyn Fn(&Path) + 'a>;
    let text = |edit: fn(&mut Value)| -> Damage<'_> {
        Box::new(move |d: &Path| {
            let mut all = entry(d);
            edit(&mut all);
            set_entry(d, &all);
        })
    };
    let mended = |edit: Damage<'static>| -> Damage<'_> {
        Box::new(move |d: &Path| {
            edit(d);
            mend(d);
        })
    };
    let edits: Vec<(&str, Damage<'_>)> = vec![
        // A position that was measured: what follows from it no longer does.
        ("hand-off: camera.csv:", mended(Box::new(|d| add(d, "beauty.units.csv", [3, 2], 0.2, 6)))),
        ("position: beauty.units.csv:", mended(Box::new(move |d| add(d, "beauty.units.csv", [3, columns], 0.2, 6)))),
        ("rows: beauty.units.csv:", mended(Box::new(|d| replace(d, "beauty.units.csv", "\n103,", "\n104,")))),
        ("hand-off: bodies.csv:", mended(Box::new(|d| add(d, "bodies.csv", [5, 3], 1e-4, 9)))),
        ("hand-off: bodies.full_size.csv:", mended(Box::new(|d| add(d, "bodies.full_size.csv", [5, 3], 1e-3, 9)))),
        ("hand-off: camera.csv:", mended(Box::new(|d| add(d, "camera.csv", [4, 3], 1e-4, 9)))),
        ("hand-off: beauty.rods.csv:", mended(Box::new(|d| add(d, "beauty.rods.csv", [4, 5], 1.0, 4)))),
        ("hand-off: shifts.csv:", mended(Box::new(|d| add(d, "shifts.csv", [2, 2], 0.5, 4)))),
        ("hand-off: shifts.csv:", mended(Box::new(|d| add(d, "shifts.csv", [9, 5], -0.5, 4)))),
        (
            "the row is missing",
            mended(Box::new(|d| {
                let mut rows = table(&d.join("shifts.csv"));
                rows.remove(4);
                write(&d.join("shifts.csv"), &rows);
            })),
        ),
        (
            "missing: beauty.rods.csv: the shot leads to this file; measured.json does not list it",
            mended(Box::new(|d| fs::remove_file(d.join("beauty.rods.csv")).unwrap())),
        ),
        ("folder_hash: found", mended(Box::new(|d| replace(d, "plan.json", "\"last_frame\": 111", "\"last_frame\": 110")))),
        (
            "measured.json and plan.json do not list the same file",
            mended(Box::new(|d| replace(d, "source/stage.toml", "clearance", "# clearance"))),
        ),
        ("pass: the shot has no pass `tea`", text(|all| all["pass"] = json!("tea"))),
        ("shot: found `Tea`", text(|all| all["shot"] = json!("Tea"))),
        ("source: found `guess`, expected `log` or `points`", text(|all| all["source"] = json!("guess"))),
        (
            "position: beauty.units.csv: camera.track:",
            text(|all| all["axes_as_planned"].as_array_mut().unwrap().push(json!("camera.track"))),
        ),
        ("the stage has no axis `tea.pot`", text(|all| all["axes_as_planned"].as_array_mut().unwrap().push(json!("tea.pot")))),
        ("changed: shifts.csv:", Box::new(|d| add(d, "shifts.csv", [2, 2], 0.5, 4))),
        ("extra: tea.csv: measured.json does not list it", Box::new(|d| fs::write(d.join("tea.csv"), "").unwrap())),
        ("is not what a measured hand-off was made from", Box::new(|d| fs::write(d.join("measured.json"), "{}").unwrap())),
    ];
    for (expected, damage) in edits {
        let to = dir.join("damaged");
        copy_folder(&dir.join("measured"), &to);
        damage(&to);
        let (status, said) = run(dir, &["verify", "damaged", "--all"]);
        assert!(status == Some(1) && said.contains(expected), "{expected}: {said}");
    }
}

/// A test pass exposes one frame of several: its log says nothing of the others.
#[test]
fn a_pass_that_exposes_some_frames_has_no_measured_hand_off() {
    let (shot, temp) = short_herons();
    let text = fs::read_to_string(&shot).unwrap();
    fs::write(&shot, text.replacen("name = \"beauty\"\n", "name = \"beauty\"\nevery = 4\n", 1)).unwrap();
    let dir = temp.path();
    assert_eq!(run(dir, &["compile", "shot.toml", "--out", "written"]).0, Some(0));
    let (status, said) = run(dir, &["compare", "written", "--pass", "beauty", "written/beauty.steps.csv", "--hand-off", "measured"]);
    assert!(status == Some(2) && said.contains("exposes only some of the frames"), "{said}");
    assert!(!dir.join("measured").exists());
}
