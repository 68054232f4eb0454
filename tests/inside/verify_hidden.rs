//! Damage whose hashes were put right, of every kind of file a folder holds: rows, hand-off files, sources, the manifest; and limits that a manifest denies.

use std::path::{Path, PathBuf};

use movewright::check::Approval;
use movewright::input;
use movewright::output::Export;
use movewright::output::rows::RowRate;
use movewright::verify::{Verdict, verify};
use serde_json::{Value, json};

use crate::inside::common::checked;
use crate::inside::common::folder::{Files, files_of, manifest, read, repair, rows, set_manifest, set_rows, verdict_of};

/// Twelve frames of the four herons, with one text of stage or shot replaced; rows once a second, hand-off files at both sizes.
fn herons(temp: &Path, name: &str, change: Option<(&str, &str, &str)>) -> Files {
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/herons");
    let source = temp.join(format!("{name} source"));
    std::fs::create_dir(&source).unwrap();
    for entry in std::fs::read_dir(from).unwrap() {
        let path: PathBuf = entry.unwrap().path();
        let file = path.file_name().unwrap().to_str().unwrap().to_owned();
        let mut text = std::fs::read_to_string(&path).unwrap().replace("frames = [1, 288]", "frames = [100, 111]");
        if let Some((changed, old, new)) = change.filter(|c| c.0 == file) {
            assert!(text.contains(old), "{changed} has no {old}");
            text = text.replace(old, new);
        }
        std::fs::write(source.join(file), text).unwrap();
    }
    let loaded = input::load(&source.join("shot.toml")).unwrap();
    let report = checked(&loaded.stage, &loaded.shot);
    let sources = loaded.sources.for_copying();
    let approval = Approval::within_limits(&report).unwrap_or_else(|| Approval::over_limits(&report));
    // Where the moves of the held pass do not fit between exposures there are no rows.
    let rows = RowRate::parse("1").ok().filter(|_| change.is_none_or(|(file, ..)| file != "shot.toml"));
    let out = temp.join(name);
    Export {
        parts: None,
        approval,
        sources: &sources,
        replace: false,
        wishes: movewright::output::handoff::sampling::Wishes {
            full_size: true,
            ..movewright::output::handoff::sampling::Wishes::default()
        },
        rows,
    }
    .write(&out, &mut |_| {})
    .unwrap();
    files_of(&out)
}

type Damage<'a> = Box<dyn Fn(&mut Files) + 'a>;

fn cell(file: &'static str, frame: i64, nth: usize, column: &'static str, change: impl Fn(&str) -> String + 'static) -> Damage<'static> {
    Box::new(move |files| {
        let mut table = rows(files, file);
        let at = table[0].iter().position(|h| h == column).unwrap();
        let row = table.iter().enumerate().filter(|(_, r)| r[0] == frame.to_string()).nth(nth).unwrap().0;
        let new = change(&table[row][at]);
        assert_ne!(new, table[row][at], "{file} {column}");
        table[row][at] = new;
        set_rows(files, file, &table);
    })
}

fn by(amount: f64, places: usize) -> impl Fn(&str) -> String {
    move |text| format!("{:.places$}", text.parse::<f64>().unwrap() + amount)
}

fn is(text: &'static str) -> impl Fn(&str) -> String {
    move |_| text.to_owned()
}

/// The first corner of an outline, which is the leftmost, to the right.
fn corner(by: f64) -> impl Fn(&str) -> String {
    move |text| {
        let (right, rest) = text.split_once(' ').unwrap();
        format!("{:.1} {rest}", right.parse::<f64>().unwrap() + by)
    }
}

/// A row of a program, `since` seconds after the move to start, with one count changed.
fn row(file: &'static str, since: f64, column: &'static str, change: impl Fn(i64) -> i64 + 'static) -> Damage<'static> {
    Box::new(move |files| {
        let pass = file.split('.').next().unwrap();
        let m = manifest(files);
        let pass = m["passes"].as_array().unwrap().iter().find(|p| p["name"] == pass).unwrap();
        let second = pass["rows"]["move_to_start_s"].as_f64().unwrap() + since;
        let mut table = rows(files, file);
        let at = table[0].iter().position(|h| h == column).unwrap();
        let row = 1 + second.round() as usize;
        table[row][at] = change(table[row][at].parse().unwrap()).to_string();
        set_rows(files, file, &table);
    })
}

fn text(file: &'static str, old: &'static str, new: &'static str) -> Damage<'static> {
    Box::new(move |files| {
        let content = String::from_utf8(files[file].clone()).unwrap();
        assert!(content.contains(old), "{file}: {old}");
        files.insert(file.into(), content.replacen(old, new, 1).into_bytes());
    })
}

fn entry(pointer: &'static str, value: Value) -> Damage<'static> {
    Box::new(move |files| {
        let mut m = manifest(files);
        let slot = m.pointer_mut(pointer).unwrap_or_else(|| panic!("{pointer}"));
        assert_ne!(*slot, value, "{pointer}");
        *slot = value.clone();
        set_manifest(files, &m);
    })
}

fn scene(change: impl Fn(&mut Value, &mut Vec<u8>) + 'static) -> Damage<'static> {
    Box::new(move |files| {
        let bytes = &files["scene.glb"];
        let word = |at: usize| u32::from_le_bytes(bytes[at..at + 4].try_into().unwrap()) as usize;
        let mut description: Value = serde_json::from_slice(&bytes[20..20 + word(12)]).unwrap();
        let mut numbers = bytes[28 + word(12)..].to_vec();
        change(&mut description, &mut numbers);
        let mut json = serde_json::to_vec(&description).unwrap();
        json.resize(json.len().next_multiple_of(4), b' ');
        let mut out = b"glTF".to_vec();
        for n in [2, 28 + json.len() + numbers.len(), json.len()] {
            out.extend(u32::try_from(n).unwrap().to_le_bytes());
        }
        out.extend(b"JSON");
        out.extend(json);
        out.extend(u32::try_from(numbers.len()).unwrap().to_le_bytes());
        out.extend(b"BIN\0");
        out.extend(numbers);
        files.insert("scene.glb".into(), out);
    })
}

/// Of a sample of what follows a line, the first number.
fn usd_sample(after: &'static str, what: &'static str, row: usize, by: f64) -> Damage<'static> {
    Box::new(move |files| {
        let content = String::from_utf8(files["scene.usda"].clone()).unwrap();
        let mut lines: Vec<String> = content.lines().map(str::to_owned).collect();
        let begin = lines.iter().position(|l| l == after).unwrap_or_else(|| panic!("{after}"));
        let head = begin + lines[begin..].iter().position(|l| l.contains(what) && l.ends_with(".timeSamples = {")).unwrap();
        let line = &mut lines[head + 1 + row];
        let from = line.rfind("((").map_or_else(|| line.find('(').unwrap() + 1, |i| i + 2);
        let to = from + line[from..].find(',').unwrap();
        let places = line[from..to].split_once('.').unwrap().1.len();
        let new = format!("{:.places$}", line[from..to].parse::<f64>().unwrap() + by);
        line.replace_range(from..to, &new);
        files.insert("scene.usda".into(), (lines.join("\n") + "\n").into_bytes());
    })
}

/// Four bytes of a mesh, from the nth number of an attribute or of the indices on.
fn of_mesh(name: &'static str, what: &'static str, nth: usize, change: impl Fn(&mut [u8; 4]) + 'static) -> Damage<'static> {
    scene(move |description, numbers| {
        let mesh = description["meshes"].as_array().unwrap().iter().find(|m| m["name"] == name).unwrap();
        let primitive = &mesh["primitives"][0];
        let accessor = if what == "indices" { &primitive["indices"] } else { &primitive["attributes"][what] };
        let view = &description["accessors"][accessor.as_u64().unwrap() as usize]["bufferView"];
        let at = description["bufferViews"][view.as_u64().unwrap() as usize]["byteOffset"].as_u64().unwrap() as usize + 4 * nth;
        let bytes: &mut [u8; 4] = (&mut numbers[at..at + 4]).try_into().unwrap();
        let old = *bytes;
        change(bytes);
        assert_ne!(*bytes, old, "{name} {what}");
    })
}

/// The second number of the first wire at the frame of this row.
fn of_wire(path: &'static str, row: usize, by: f32) -> Damage<'static> {
    Box::new(move |files| {
        let bytes = &files["scene.glb"];
        let length = u32::from_le_bytes(bytes[12..16].try_into().unwrap()) as usize;
        let description: Value = serde_json::from_slice(&bytes[20..20 + length]).unwrap();
        let node = description["nodes"].as_array().unwrap().iter().position(|n| n["name"].as_str().unwrap().contains("._wire_1")).unwrap();
        number(node, path, row, 1, by)(files);
    })
}

/// A number of the animation: of body `node`, its position or turn, at the frame of this row.
fn number(node: usize, path: &'static str, row: usize, part: usize, by: f32) -> Damage<'static> {
    scene(move |description, numbers| {
        let channels = description["animations"][0]["channels"].as_array().unwrap();
        let channel = channels.iter().find(|c| c["target"]["node"] == node && c["target"]["path"] == path).unwrap();
        let sampler = &description["animations"][0]["samplers"][channel["sampler"].as_u64().unwrap() as usize];
        let accessor = &description["accessors"][sampler["output"].as_u64().unwrap() as usize];
        let view = &description["bufferViews"][accessor["bufferView"].as_u64().unwrap() as usize];
        let width = if path == "rotation" { 4 } else { 3 };
        let at = view["byteOffset"].as_u64().unwrap() as usize + 4 * (row * width + part);
        let old = f32::from_le_bytes(numbers[at..at + 4].try_into().unwrap());
        numbers[at..at + 4].copy_from_slice(&(old + by).to_le_bytes());
    })
}

fn without(name: &'static str) -> Damage<'static> {
    Box::new(move |files| assert!(files.remove(name).is_some(), "{name}"))
}

fn emptied(name: &'static str) -> Damage<'static> {
    Box::new(move |files| drop(files.insert(name.into(), Vec::new())))
}

const STAGE: &str = "source/stage.toml";

fn hidden() -> Vec<(&'static str, Damage<'static>)> {
    let all: Vec<(&'static str, Damage<'static>)> = vec![
        ("rows: jump to 0 within an exposure", row("beauty.rows.csv", 62.0, "camera.track", |_| 0)),
        ("rows: jump to 0 between exposures", row("beauty.rows.csv", 70.0, "camera.track", |_| 0)),
        ("rows: three steps between exposures", row("matte.rows.csv", 50.0, "heron_a.bridge", |n| n + 3)),
        ("rows: two steps of a wire of the plate", row("beauty.rows.csv", 70.0, "heron_a.lift_fore", |n| n - 2)),
        ("rows: an aimed axis", row("beauty.rows.csv", 70.0, "camera.pan", |n| n + 2)),
        ("rows: the run-up", row("beauty.rows.csv", 9.0, "camera.track", |n| n + 3)),
        ("rows: the move to start", row("beauty.rows.csv", -200.0, "heron_b.bridge", |n| n + 40)),
        ("rows: a move between stations", row("still.rows.csv", 38.0, "camera.track", |n| n - 40)),
        ("rows: a parked axis", row("still.rows.csv", 41.0, "heron_a.yaw", |n| n + 1)),
        ("rows: the shutter", row("beauty.rows.csv", 62.0, "shutter", |n| 1 - n)),
        ("rows: the file of one pass", without("matte.rows.csv")),
        ("bodies: position", cell("bodies.csv", 104, 0, "x_m", by(2e-4, 9))),
        ("bodies: turn", cell("bodies.csv", 104, 2, "qy", by(1e-4, 12))),
        ("bodies: name", cell("bodies.csv", 104, 1, "body", is("heron_a"))),
        ("bodies at full size", cell("bodies.full_size.csv", 104, 0, "y_m", by(1e-3, 9))),
        ("bodies: gone and unlisted", without("bodies.csv")),
        ("bodies at full size: gone and unlisted", without("bodies.full_size.csv")),
        ("bodies: emptied", emptied("bodies.csv")),
        ("camera: position", cell("camera.csv", 107, 0, "z_m", by(-1e-3, 9))),
        ("camera: focal length", cell("camera.csv", 107, 0, "focal_length_mm", by(1.0, 6))),
        ("camera: pixels", cell("camera.full_size.csv", 107, 0, "pixels_down", is("3071"))),
        ("rods: an end", cell("beauty.rods.csv", 105, 3, "y2", by(4.0, 4))),
        ("rods: state", cell("matte.rods.csv", 105, 3, "state", is("behind_camera"))),
        ("rods: cut", cell("beauty.rods.csv", 105, 4, "cut", is("to"))),
        ("rods: of the held pass", cell("still.rods.csv", 105, 3, "x1", by(4.0, 4))),
        ("outlines: a corner", cell("beauty.rod_outlines.csv", 105, 1, "x", by(5.0, 4))),
        ("outlines: margin", cell("matte.rod_outlines.csv", 105, 1, "margin", by(3.0, 4))),
        ("outlines: gone and unlisted", without("still.rod_outlines.csv")),
        ("silhouettes: a corner outside", cell("beauty.silhouettes.csv", 105, 3, "outline", corner(-3.0))),
        ("silhouettes: a corner inside", cell("beauty.silhouettes.csv", 105, 20, "outline", corner(8.0))),
        ("silhouettes: margin too great", cell("matte.silhouettes.csv", 105, 5, "margin", by(3.0, 1))),
        ("silhouettes: margin too small", cell("matte.silhouettes.csv", 105, 5, "margin", is("0.5"))),
        ("silhouettes: state", cell("beauty.silhouettes.csv", 105, 5, "state", is("out_of_picture"))),
        ("silhouettes: cut", cell("beauty.silhouettes.csv", 105, 5, "cut", is("some"))),
        ("silhouettes: body", cell("beauty.silhouettes.csv", 105, 5, "body", is("heron_a"))),
        ("silhouettes: undistorted", cell("beauty.silhouettes.csv", 105, 5, "undistorted", is("1.0 1.0"))),
        ("silhouettes: empty", cell("beauty.silhouettes.csv", 105, 5, "outline", is(""))),
        ("silhouettes: of the held pass", cell("still.silhouettes.csv", 105, 3, "outline", corner(-3.0))),
        ("silhouettes: gone and unlisted", without("still.silhouettes.csv")),
        ("silhouettes: emptied", emptied("still.silhouettes.csv")),
        ("scene: gone and unlisted", without("scene.glb")),
        ("scene: emptied", emptied("scene.glb")),
        ("scene: numbers zeroed", scene(|_, numbers| numbers.fill(0))),
        ("scene: position", number(1, "translation", 7, 0, 0.001)),
        ("scene: turn", number(0, "rotation", 7, 1, 0.001)),
        ("scene: time", scene(|_, numbers| numbers[12..16].copy_from_slice(&0.2_f32.to_le_bytes()))),
        ("scene: view", scene(|d, _| d["cameras"][0]["perspective"]["yfov"] = json!(0.5))),
        ("scene: scale", scene(|d, _| d["asset"]["extras"]["stage_scale"] = json!(0.5))),
        ("scene: rods as triangles", scene(|d, _| d["meshes"][0]["primitives"][0]["mode"] = json!(4))),
        ("scene: a vertex of a proxy", of_mesh("heron_a._proxy_1", "POSITION", 5, |b| *b = (f32::from_le_bytes(*b) + 0.001).to_le_bytes())),
        ("scene: a normal of a proxy", of_mesh("heron_a._proxy_1", "NORMAL", 5, |b| *b = (f32::from_le_bytes(*b) + 0.01).to_le_bytes())),
        ("scene: a triangle of a proxy", of_mesh("heron_a._proxy_1", "indices", 5, |b| b.rotate_left(2))),
        ("scene: a wire", of_wire("translation", 7, 0.001)),
        ("scene: a wire's length", of_wire("scale", 7, 0.001)),
        ("scene: a material", scene(|d, _| d["materials"][0]["name"] = json!("white"))),
        ("scene: an obstacle's name", scene(|d, _| d["meshes"].as_array_mut().unwrap().last_mut().unwrap()["name"] = json!("wall"))),
        ("scene: first place", scene(|d, _| d["nodes"][1]["translation"][0] = json!(1.0))),
        ("usd: gone and unlisted", without("scene.usda")),
        ("usd: emptied", emptied("scene.usda")),
        ("usd: aperture", text("scene.usda", "float horizontalAperture = 24.900000", "float horizontalAperture = 24.899999")),
        ("usd: stop", text("scene.usda", "fStop = 22.000000", "fStop = 8.000000")),
        ("usd: a proxy", text("scene.usda", "double radius = 4.0000000", "double radius = 4.0000010")),
        ("usd: an obstacle", text("scene.usda", "displayName = \"willow\"", "displayName = \"ash\"")),
        ("usd: a position", usd_sample("    def Xform \"heron_b\"", "translate", 7, 1e-4)),
        ("usd: a turn", usd_sample("        def Xform \"wing_left\"", "orient", 7, 1e-4)),
        ("usd: a wire", usd_sample("        def BasisCurves \"heron_c\"", "points", 3, 1e-3)),
        ("usd: the box about wires", usd_sample("        def BasisCurves \"heron_c\"", "extent", 3, 1e-3)),
        ("usd at full size: a position", {
            let inner = usd_sample("    def Xform \"heron_b\"", "translate", 7, 1e-3);
            Box::new(move |f| {
                let model = f["scene.usda"].clone();
                let full = f["scene.full_size.usda"].clone();
                f.insert("scene.usda".into(), full);
                inner(f);
                let full = f.insert("scene.usda".into(), model).unwrap();
                f.insert("scene.full_size.usda".into(), full);
            })
        }),
        ("moves: gone and unlisted", without("still.moves.csv")),
        ("a table of no pass", Box::new(|f| drop(f.insert("night.steps.csv".into(), f["matte.steps.csv"].clone())))),
        ("source: more clearance", text(STAGE, "clearance = 120", "clearance = 800")),
        ("source: less clearance", text(STAGE, "clearance = 120", "clearance = 110")),
        ("source: scale", text(STAGE, "scale = 0.2", "scale = 0.25")),
        ("source: lens", text(STAGE, "focal_length = 50", "focal_length = 51")),
        ("source: film back", text(STAGE, "film_back = [24.9, 18.7]", "film_back = [24.9, 18.6]")),
        ("source: rail", text(STAGE, "gap = 180", "gap = 170")),
        ("source: carriage", text(STAGE, "reach = [90, 90]", "reach = [80, 90]")),
        ("source: envelope", text(STAGE, "radius = 48", "radius = 47")),
        ("source: rod", text(STAGE, "to = [24, 140, -44]", "to = [24, 141, -44]")),
        ("source: obstacle", text(STAGE, "from = [900, 40, 450]", "from = [900, 40, 451]")),
        ("source: box", text(STAGE, "least = [-900, 0, 900]", "least = [-800, 0, 900]")),
        ("source: motor", text(STAGE, "torque = [[0, 1.7]", "torque = [[0, 1.8]")),
        ("source: load", text(STAGE, "mass = 110", "mass = 100")),
        ("source: limb", text(STAGE, "centre_of_mass = 76", "centre_of_mass = 72")),
        ("source: length of a swing", text(STAGE, "length = 700 ", "length = 710 ")),
        ("source: what changes its length", text(STAGE, "length_per_unit = -1", "length_per_unit = 1")),
        ("source: its damping", text(STAGE, "damping = 0.01", "damping = 0.02")),
        ("source: its limit", text(STAGE, "limit = 0.5 ", "limit = 0.6 ")),
        ("source: its further mode", text(STAGE, "period_s = 1.44, damping = 0.02", "period_s = 1.44, damping = 0.03")),
        ("source: mass on three wires", text(STAGE, "mass = 1.11", "mass = 1.12")),
        ("source: its centre", text(STAGE, "centre = [8, -20, 0]", "centre = [8, -20, 1]")),
        ("source: a wire of the three", text(STAGE, "wires = [[75, 0, 0]", "wires = [[76, 0, 0]")),
        ("source: least tension", text(STAGE, "least_tension = 0.1", "least_tension = 0.05")),
        ("source: breaking load", text(STAGE, "breaking_load = 180", "breaking_load = 190")),
        ("source: design factor", text(STAGE, "design_factor = 8", "design_factor = 6")),
        ("source: backlash", text(STAGE, "backlash = 0.02", "backlash = 0.03")),
        ("manifest: run-up", entry("/clock/run_up_frames", json!(9))),
        ("manifest: move to start", entry("/passes/0/rows/move_to_start_s", json!(900.0))),
        ("manifest: rows of another file", entry("/passes/0/rows/file", json!("matte.rows.csv"))),
        ("manifest: clearance", entry("/clearances/required_mm", json!(50.0))),
        ("manifest: length of a swing", entry("/swings/0/length_mm", json!(710.0))),
        ("manifest: its channel", entry("/swings/0/length_channel", json!("heron_d.yaw"))),
        ("manifest: its joint", entry("/swings/0/after_joint", json!(1))),
        ("manifest: its damping", entry("/swings/0/damping", json!(0.02))),
        ("manifest: its limit", entry("/swings/0/limit_mm", json!(0.6))),
        ("manifest: no limit", entry("/swings/0/limit_mm", json!(null))),
        ("manifest: its further mode", entry("/swings/0/modes", json!([]))),
        ("manifest: no swing", entry("/swings", json!([]))),
        ("manifest: mass on three wires", entry("/hangs/0/mass", json!(1.12))),
        ("manifest: its centre", entry("/hangs/1/centre_mm/2", json!(1.0))),
        ("manifest: a wire of the three", entry("/hangs/0/wires_mm/2/0", json!(-37.0))),
        ("manifest: least tension", entry("/hangs/0/least_tension", json!(0.05))),
        ("manifest: breaking load", entry("/hangs/0/breaking", json!([190.0, 8.0]))),
        ("manifest: no wires", entry("/hangs", json!([]))),
        ("manifest: load", entry("/columns/0/torque/load", json!(1.0))),
    ];
    all
}

/// Those of the damages that are not found.
fn missed(damages: impl IntoIterator<Item = (&'static str, Damage<'static>)>) -> Vec<&'static str> {
    let temp = tempfile::tempdir().unwrap();
    let sound = herons(temp.path(), "sound", None);
    assert_eq!(verdict_of(&sound).faults, []);
    damages
        .into_iter()
        .filter(|(_, damage)| {
            let mut files = sound.clone();
            damage(&mut files);
            repair(&mut files);
            assert!(files != sound);
            verdict_of(&files).faults.is_empty()
        })
        .map(|(what, _)| what)
        .collect()
}

#[test]
#[cfg_attr(debug_assertions, ignore = "minutes without optimization; .ci/run runs it optimized")]
fn damage_whose_hash_was_put_right_is_found_in_every_kind_of_file() {
    let missed = missed(hidden().into_iter().step_by(2));
    assert!(missed.is_empty(), "not found: {missed:#?}");
}

/// The other half of them, beside it.
#[test]
#[cfg_attr(debug_assertions, ignore = "minutes without optimization; .ci/run runs it optimized")]
fn damage_whose_hash_was_put_right_is_found_in_every_kind_of_file_too() {
    let missed = missed(hidden().into_iter().skip(1).step_by(2));
    assert!(missed.is_empty(), "not found: {missed:#?}");
}

/// One damage of each kind of file.
#[test]
fn damage_whose_hash_was_put_right_is_found_in_one_of_each_kind() {
    let mut kinds = std::collections::BTreeSet::new();
    let some: Vec<_> = hidden().into_iter().filter(|(what, _)| kinds.insert(what.split(':').next().unwrap())).collect();
    assert!(some.len() > 12, "{kinds:?}");
    let missed = missed(some);
    assert!(missed.is_empty(), "not found: {missed:#?}");
}

/// A run-up that is longer than the shot leads to, its lengths and durations put right, too.
#[test]
fn a_run_up_longer_than_needed_is_found() {
    let temp = tempfile::tempdir().unwrap();
    let mut files = herons(temp.path(), "sound", None);
    let mut m = manifest(&files);
    let more = 3;
    m["clock"]["run_up_frames"] = json!(m["clock"]["run_up_frames"].as_u64().unwrap() + more);
    for pass in m["passes"].as_array_mut().unwrap() {
        pass.as_object_mut().unwrap().remove("rows");
        if pass["exposure"] == "moving" {
            let pace = pass["seconds_per_frame"].as_f64().unwrap();
            pass["duration_s"] = json!(pass["duration_s"].as_f64().unwrap() + more as f64 * pace);
        }
    }
    files.retain(|name, _| !name.ends_with(".rows.csv"));
    set_manifest(&mut files, &m);
    repair(&mut files);
    let faults = verdict_of(&files).faults;
    assert!(matches!(&faults[..], [f] if f.message.contains("run_up_frames") && f.message.contains("frames are enough")), "{faults:?}");
}

/// A limit, the file and the text that make it exceeded, and a word of what must be found.
type Denied = (&'static str, &'static str, &'static str, &'static str, &'static str);

const DENIED: &[Denied] = &[
    ("clearance", "stage.toml", "clearance = 120", "clearance = 600", "required clearance 600"),
    ("rail", "stage.toml", "gap = 180", "gap = 500", "required clearance 500"),
    ("torque", "stage.toml", "efficiency = 0.32", "efficiency = 0.02", "torque"),
    ("velocity", "stage.toml", "max_velocity = 4\n", "max_velocity = 1\n", "velocity"),
    ("acceleration", "stage.toml", "max_acceleration = 2\n", "max_acceleration = 0.05\n", "acceleration"),
    ("jerk", "stage.toml", "max_jerk = 4\n", "max_jerk = 0.0005\n", "jerk"),
    ("step rate", "stage.toml", "max_step_rate = 8000", "max_step_rate = 100", "step rate"),
    ("travel", "stage.toml", "travel = [-45, 45]", "travel = [-5, 45]", "travel"),
    ("slack", "stage.toml", "inertia = 0.0003\n", "inertia = 700.0\n", "slack"),
    (
        "held",
        "shot.toml",
        "seconds_per_frame = 13\nshutter = 180                     # 6.5 s open\nsettle = 1.5\ninterval = \"shortest\"",
        "seconds_per_frame = 5\nshutter = 180\nsettle = 1.5\ninterval = \"frame\"",
        "between exposures",
    ),
];

/// The folder that says so holds, and the same folder with a manifest that denies it does not.
fn found_exceeded(denied: &[Denied]) {
    let temp = tempfile::tempdir().unwrap();
    for &(limit, file, old, new, word) in denied {
        let files = herons(temp.path(), limit, Some((file, old, new)));
        let mut m = manifest(&files);
        assert_eq!(m["within_limits"], false, "{limit}");
        let verdict: Verdict = verdict_of(&files);
        assert_eq!(verdict.faults, [], "{limit}");
        assert_eq!(verdict.scope.exceeded, (limit != "held").then_some(true).or(verdict.scope.exceeded), "{limit}");
        m["within_limits"] = json!(true);
        m["violations"] = json!([]);
        let mut denied = files.clone();
        set_manifest(&mut denied, &m);
        let faults = verdict_of(&denied).faults;
        assert!(faults.iter().any(|f| f.message.contains(word)), "{limit}: {faults:#?}");
    }
}

#[test]
#[cfg_attr(debug_assertions, ignore = "minutes without optimization; .ci/run runs it optimized")]
fn limits_of_each_kind_that_a_manifest_denies_are_found_exceeded() {
    found_exceeded(DENIED);
}

#[test]
fn a_torque_and_a_held_pass_that_a_manifest_denies_are_found_exceeded() {
    found_exceeded(&[DENIED[2], DENIED[9]]);
}

#[test]
fn a_folder_of_herons_is_read_through_the_public_reader() {
    let temp = tempfile::tempdir().unwrap();
    herons(temp.path(), "sound", None);
    let verdict = verify(&temp.path().join("sound"), &read).unwrap();
    assert!(verdict.holds() && verdict.scope.rows.is_some_and(|n| n > 1000) && verdict.scope.rods && verdict.scope.stated);
    assert_eq!((verdict.passes, verdict.frames), (5, 12));
}
