//! A small stage and shot of every kind of layer, written to a folder, and that folder as bytes that a test can damage.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use movewright::check::Approval;
use movewright::input;
use movewright::output::Export;
use movewright::output::handoff::sampling::Wishes;
use movewright::shot::Shot;
use movewright::stage::Stage;
use movewright::verify::{Source, Verdict, verify};
use serde_json::Value;

pub const STAGE: &str = include_str!("../../marsh/stage.toml");

pub const SHOT: &str = include_str!("../../marsh/shot.toml");

pub const LIFT: &str = include_str!("../../marsh/lift.csv");

/// A folder in memory: path below it, with `/`, and bytes.
pub type Files = BTreeMap<String, Vec<u8>>;

pub fn read(shot: &Path) -> Result<Source, String> {
    let loaded = input::load(shot).map_err(|r| r.to_string())?;
    let files = loaded.sources.iter().map(|s| s.path().to_owned()).collect();
    Ok(Source { stage: loaded.stage, shot: loaded.shot, files })
}

pub fn export(stage: &Stage, shot: &Shot, sources: &[(String, Vec<u8>)], to: &Path) {
    export_with(stage, shot, sources, to, Wishes::default());
}

pub fn export_with(stage: &Stage, shot: &Shot, sources: &[(String, Vec<u8>)], to: &Path, wishes: Wishes) {
    let report = super::checked(stage, shot);
    let messages: Vec<_> = report.passes.iter().flat_map(super::violations).collect();
    assert!(report.within_limits(), "{messages:#?}");
    Export { parts: None, approval: Approval::within_limits(&report).unwrap(), sources, replace: false, wishes, rows: None }
        .write(to, &mut |_| {})
        .unwrap();
}

pub fn marsh(temp: &Path) -> PathBuf {
    let source = temp.join("in");
    std::fs::create_dir(&source).unwrap();
    for (name, text) in [("stage.toml", STAGE), ("shot.toml", SHOT), ("lift.csv", LIFT)] {
        std::fs::write(source.join(name), text).unwrap();
    }
    let loaded = input::load(&source.join("shot.toml")).unwrap();
    let out = temp.join("out");
    export(&loaded.stage, &loaded.shot, &loaded.sources.for_copying(), &out);
    out
}

pub fn files_of(dir: &Path) -> Files {
    let mut files = Files::new();
    for folder in ["", "source/"] {
        for entry in std::fs::read_dir(dir.join(folder)).unwrap() {
            let entry = entry.unwrap();
            if entry.file_type().unwrap().is_file() {
                files.insert(format!("{folder}{}", entry.file_name().to_string_lossy()), std::fs::read(entry.path()).unwrap());
            }
        }
    }
    files
}

pub fn verdict_of(files: &Files) -> Verdict {
    let temp = tempfile::tempdir().unwrap();
    for (name, bytes) in files {
        let path = temp.path().join(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, bytes).unwrap();
    }
    verify(temp.path(), &read).unwrap()
}

pub fn manifest(files: &Files) -> Value {
    serde_json::from_slice(&files["manifest.json"]).unwrap()
}

pub fn set_manifest(files: &mut Files, m: &Value) {
    files.insert("manifest.json".into(), serde_json::to_vec_pretty(m).unwrap());
}

/// Puts lengths and hashes in the manifest right, as somebody would who hides what he did.
pub fn repair(files: &mut Files) {
    let mut m = manifest(files);
    let list = m["files"].as_array_mut().unwrap();
    list.retain(|f| files.contains_key(f["path"].as_str().unwrap()));
    for (name, bytes) in files.iter().filter(|(n, _)| *n != "manifest.json") {
        let hash = blake3::hash(bytes).to_hex().to_string();
        let entry = serde_json::json!({ "path": name, "bytes": bytes.len(), "blake3": hash });
        match list.iter_mut().find(|f| f["path"] == name.as_str()) {
            Some(f) => *f = entry,
            None => list.push(entry),
        }
    }
    set_manifest(files, &m);
}

pub fn rows(files: &Files, name: &str) -> Vec<Vec<String>> {
    let text = String::from_utf8(files[name].clone()).unwrap();
    text.lines().map(|l| l.split(',').map(str::to_owned).collect()).collect()
}

pub fn set_rows(files: &mut Files, name: &str, rows: &[Vec<String>]) {
    let text: String = rows.iter().map(|r| r.join(",") + "\n").collect();
    files.insert(name.into(), text.into_bytes());
}

/// Moves one position by `steps` in a steps table and its units table; the axis and frame.
pub fn shift(files: &mut Files, pass: &str, row: usize, column: usize, steps: i64) -> (String, i64) {
    let per_unit = manifest(files)["columns"][column - 2]["steps_per_unit"].as_f64().unwrap();
    let name = format!("{pass}.steps.csv");
    let mut counts = rows(files, &name);
    counts[row][column] = (counts[row][column].parse::<i64>().unwrap() + steps).to_string();
    set_rows(files, &name, &counts);
    let name = format!("{pass}.units.csv");
    let mut units = rows(files, &name);
    let moved = units[row][column].parse::<f64>().unwrap() + steps as f64 / per_unit;
    units[row][column] = format!("{moved:.6}");
    set_rows(files, &name, &units);
    (counts[0][column].clone(), counts[row][0].parse().unwrap())
}
