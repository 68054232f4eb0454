//! `movewright verify` on a demo folder of twelve frames that somebody edited and whose hashes he put right: found, named, and exit status 1. And what its closing lines
//! say it did.

use std::fs;
use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use crate::case::Case;

/// The demo's frames 100 to 111, with one text of its stage file replaced by another; the folder is `written`, with rows once a second.
fn demo(change: Option<(&str, &str)>) -> Case {
    let text = |name: &str| fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/herons").join(name)).unwrap();
    let mut stage = text("stage.toml");
    if let Some((old, new)) = change {
        assert!(stage.contains(old), "{old}");
        stage = stage.replace(old, new);
    }
    let case = Case::new(&stage, &text("shot.toml").replace("frames = [1, 288]", "frames = [100, 111]"));
    for keys in ["take_off.toml", "take_off.csv", "heron_b.csv", "heron_c.csv", "heron_d.csv"] {
        case.write(keys, &text(keys));
    }
    let rows: &[&str] = if change.is_none() { &["--rows", "1"] } else { &["--over-limits"] };
    let args = [&["compile", "shot.toml", "--out", "written", "--full-size"][..], rows].concat();
    assert_eq!(case.run(&args).status.code(), Some(i32::from(change.is_some())), "{change:?}");
    case
}

/// Exit status and what is said, in one line.
pub(crate) fn verified(case: &Case, dir: &str) -> (Option<i32>, String) {
    let out = case.run(&["verify", dir]);
    let said = String::from_utf8(out.stdout).unwrap() + &String::from_utf8(out.stderr).unwrap();
    (out.status.code(), said.split_whitespace().collect::<Vec<_>>().join(" "))
}

pub(crate) fn manifest(dir: &Path) -> Value {
    serde_json::from_slice(&fs::read(dir.join("manifest.json")).unwrap()).unwrap()
}

pub(crate) fn set_manifest(dir: &Path, m: &Value) {
    fs::write(dir.join("manifest.json"), serde_json::to_vec_pretty(m).unwrap()).unwrap();
}

/// Lengths and hashes as they now are; files that are gone are off the list.
pub(crate) fn mend(dir: &Path) {
    let mut m = manifest(dir);
    mend_files(dir, &mut m);
    set_manifest(dir, &m);
}

/// The same of any list of files.
pub(crate) fn mend_files(dir: &Path, list: &mut Value) {
    let files = list["files"].as_array_mut().unwrap();
    files.retain(|f| dir.join(f["path"].as_str().unwrap()).exists());
    for f in files {
        let bytes = fs::read(dir.join(f["path"].as_str().unwrap())).unwrap();
        (f["blake3"], f["bytes"]) = (json!(blake3::hash(&bytes).to_hex().to_string()), json!(bytes.len()));
    }
}

/// A copy of the written folder, to be damaged.
pub(crate) fn copy(case: &Case) -> PathBuf {
    let to = case.path().join("damaged");
    copy_folder(&case.path().join("written"), &to);
    to
}

/// A copy of a folder; what was there before goes.
pub(crate) fn copy_folder(from: &Path, to: &Path) {
    let _none = fs::remove_dir_all(to);
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap().map(Result::unwrap) {
        let into = to.join(entry.file_name());
        if entry.file_type().unwrap().is_dir() {
            copy_folder(&entry.path(), &into);
        } else {
            fs::copy(entry.path(), into).unwrap();
        }
    }
}

/// Changes the cell of a column in the nth line whose first cells are these.
pub(crate) fn cell(dir: &Path, file: &str, begins: &str, column: &str, change: impl Fn(f64) -> f64) {
    let text = fs::read_to_string(dir.join(file)).unwrap();
    let mut lines: Vec<Vec<String>> = text.lines().map(|l| l.split(',').map(str::to_owned).collect()).collect();
    let at = lines[0].iter().position(|h| h == column).unwrap();
    let line = lines.iter_mut().find(|l| l.join(",").starts_with(begins)).unwrap();
    let old = line[at].clone();
    let new = change(old.parse().unwrap());
    line[at] = if old.contains('.') { format!("{new:.9}") } else { format!("{new:.0}") };
    assert_ne!(line[at], old);
    let text: String = lines.iter().map(|l| l.join(",") + "\n").collect();
    fs::write(dir.join(file), text).unwrap();
}

/// What somebody changes in a folder.
pub(crate) type Edit<'a> = Box<dyn Fn(&Path) + 'a>;

/// Each edit of the folder `written`, behind right hashes, is found, and its place is named.
pub(crate) fn found_and_named(case: &Case, edits: &[(&str, Edit<'_>)]) {
    for (place, edit) in edits {
        let damaged = copy(case);
        edit(&damaged);
        mend(&damaged);
        let (status, said) = verified(case, "damaged");
        assert_eq!(status, Some(1), "{place}: {said}");
        assert!(said.contains(place), "{place}: {said}");
    }
}

fn source(dir: &Path, old: &str, new: &str) {
    replaced(dir, "source/stage.toml", old, new);
}

pub(crate) fn replaced(dir: &Path, file: &str, old: &str, new: &str) {
    let at = dir.join(file);
    let text = fs::read_to_string(&at).unwrap();
    assert!(text.contains(old), "{old}");
    fs::write(at, text.replacen(old, new, 1)).unwrap();
}

#[test]
fn what_somebody_edited_behind_right_hashes_is_found_and_named() {
    let case = demo(None);
    let (status, said) = verified(&case, "written");
    assert_eq!(status, Some(0), "{said}");
    // The move to start of the beauty pass takes 610 s, its run-up 28 s; exposures begin 3.5 s after each frame's start and last 7 s.
    let start = manifest(&case.path().join("written"))["passes"][0]["rows"]["move_to_start_s"].as_f64().unwrap();
    let (open, shut) = (format!("{},", start + 28.0 + 5.0 * 14.0 + 7.0), format!("{},", start + 28.0 + 5.0 * 14.0 + 12.0));
    let edits: [(&str, Edit<'_>); 19] = [
        ("beauty.rows.csv: camera.track", Box::new(|d| cell(d, "beauty.rows.csv", &open, "camera.track", |_| 0.0))),
        ("beauty.rows.csv: camera.track", Box::new(|d| cell(d, "beauty.rows.csv", &shut, "camera.track", |_| 0.0))),
        ("beauty.rows.csv: heron_a.lift_fore", Box::new(|d| cell(d, "beauty.rows.csv", &shut, "heron_a.lift_fore", |n| n + 2.0))),
        ("bodies.csv: heron_a", Box::new(|d| cell(d, "bodies.csv", "104,", "x_m", |x| x + 2e-4))),
        ("camera.csv: camera", Box::new(|d| cell(d, "camera.csv", "107,", "qy", |q| q + 1e-4))),
        ("bodies.full_size.csv: heron_a", Box::new(|d| cell(d, "bodies.full_size.csv", "104,", "z_m", |x| x + 1e-3))),
        ("beauty.rods.csv: heron_a", Box::new(|d| cell(d, "beauty.rods.csv", "105,", "y1", |y| y + 4.0))),
        ("matte.rod_outlines.csv: heron_a", Box::new(|d| cell(d, "matte.rod_outlines.csv", "105,", "x", |x| x - 5.0))),
        ("matte.silhouettes.csv: heron_a", Box::new(|d| replaced(d, "matte.silhouettes.csv", ",0.9,,in_picture,", ",9.9,,in_picture,"))),
        ("scene.glb", Box::new(|d| fs::write(d.join("scene.glb"), b"").unwrap())),
        (
            "scene.glb",
            Box::new(|d| {
                let mut bytes = fs::read(d.join("scene.glb")).unwrap();
                let from = (bytes.len() / 2) & !3;
                bytes[from..].fill(0);
                fs::write(d.join("scene.glb"), bytes).unwrap();
            }),
        ),
        ("missing: bodies.csv", Box::new(|d| fs::remove_file(d.join("bodies.csv")).unwrap())),
        ("missing: still.moves.csv", Box::new(|d| fs::remove_file(d.join("still.moves.csv")).unwrap())),
        ("missing: haze.rows.csv", Box::new(|d| fs::remove_file(d.join("haze.rows.csv")).unwrap())),
        ("missing: clean.steps.csv", Box::new(|d| fs::remove_file(d.join("clean.steps.csv")).unwrap())),
        ("required clearance", Box::new(|d| source(d, "clearance = 120", "clearance = 110"))),
        ("camera.csv", Box::new(|d| source(d, "focal_length = 50", "focal_length = 51"))),
        ("full_size", Box::new(|d| source(d, "scale = 0.2", "scale = 0.25"))),
        ("motor and load of camera.track", Box::new(|d| source(d, "mass = 110", "mass = 100"))),
    ];
    for (what, edit) in &edits {
        let dir = copy(&case);
        edit(&dir);
        mend(&dir);
        let (status, said) = verified(&case, "damaged");
        assert!(status == Some(1) && said.contains(what), "{what}: {status:?} {said}");
        // Nothing is blamed on a hash: they are all right.
        assert!(!said.contains("changed:"), "{what}: {said}");
    }
}

/// The folder that says so holds; the same folder whose manifest says that all is within limits does not.
#[test]
fn limits_that_a_manifest_denies_are_named() {
    for (change, what) in [
        (("clearance = 120", "clearance = 600"), "required clearance 600 mm"),
        (("gap = 180", "gap = 500"), "required clearance 500 mm"),
        (("efficiency = 0.32", "efficiency = 0.02"), "torque"),
        (("max_velocity = 4\n", "max_velocity = 1\n"), "velocity"),
        (("inertia = 0.0003\n", "inertia = 700.0\n"), "slack"),
    ] {
        let case = demo(Some(change));
        let (status, said) = verified(&case, "written");
        assert_eq!(status, Some(0), "{what}: {said}");
        assert!(said.contains("the manifest says that limits are exceeded, and so they are"), "{what}: {said}");
        let dir = copy(&case);
        let mut m = manifest(&dir);
        assert_eq!(m["within_limits"], false, "{what}");
        (m["within_limits"], m["violations"]) = (json!(true), json!([]));
        set_manifest(&dir, &m);
        let (status, said) = verified(&case, "damaged");
        assert!(status == Some(1) && said.contains("limits:") && said.contains(what), "{what}: {said}");
    }
}

#[test]
fn the_closing_lines_say_what_was_done_and_what_was_not() {
    let case = demo(None);
    let lines = |said: &str| ["recomputed:", "limits judged again:", "compared by hash only:", "not looked at:"].map(|l| said.contains(l));
    let (_, said) = verified(&case, "written");
    assert_eq!(lines(&said), [true; 4], "{said}");
    let rows: u64 =
        manifest(&case.path().join("written"))["passes"].as_array().unwrap().iter().map(|p| p["rows"]["rows"].as_u64().unwrap()).sum();
    assert!(said.contains(&format!("all {rows} rows")) && said.contains("between exposures"), "{said}");
    // A source that cannot be read leaves nothing recomputed, and it is said.
    let dir = copy(&case);
    fs::write(dir.join("source/shot.toml"), "format = 1").unwrap();
    mend(&dir);
    let (status, said) = verified(&case, "damaged");
    assert!(status == Some(1) && !said.contains("recomputed:") && said.contains("not looked at: everything that needs"), "{said}");
}
