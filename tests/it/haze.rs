//! Haze through the program: what to measure, what each figure loses, `haze.csv`, its verification, slips of a digit, and what an edit changes.
//!
//! The stage of these tests is worked out by hand. Model scale 1/5, visibility 60 m at full size: 12 m on the stage, 3.912 / 12 = 0.326 per m. The camera runs along x, the heron along z, so that
//! they are 3 m apart at frame 1 and a 3-4-5 triangle apart at frame 5.

use std::fs;
use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use crate::case::Case;

const AXIS: &str = "unit = \"mm\"\ntravel = [-9000, 9000]\nmax_velocity = 1e6\nmax_acceleration = 1e6\nmax_jerk = 1e6\nmotor = \"m\"\ntravel_per_rev = 60\n";

/// With this many cameras, each where the first is.
fn stage(scale: f64, cameras: usize) -> String {
    let camera = |i: usize| {
        let name = if i == 0 { "camera".to_owned() } else { format!("camera_{i}") };
        format!(
            "[[group]]\nname = \"{name}\"\n[[group.axis]]\nname = \"track\"\n{AXIS}[[group.joint]]\nslide = [1, 0, 0]\nchannel = \"track\"\noffset = [0, 500, 4000]\n\
             [group.lens]\nfocal_length = 24\nfilm_back = [24, 18]\npixels = [4000, 3000]\n"
        )
    };
    let cameras: String = (0..cameras).map(camera).collect();
    format!(
        "format = 1\nname = \"Fog\"\nscale = {scale}\n[motor.m]\nfull_steps_per_rev = 200\n{cameras}[[group]]\nname = \"heron\"\n[[group.axis]]\nname = \"fly\"\n{AXIS}\
         [[group.axis]]\nname = \"wing\"\nunit = \"deg\"\ntravel = [-90, 90]\nmax_velocity = 1e6\nmax_acceleration = 1e6\nmax_jerk = 1e6\nmotor = \"m\"\n\
         [[group.joint]]\nslide = [0, 0, 1]\nchannel = \"fly\"\noffset = [0, 500, 1000]\n\
         [[group.limb]]\nname = \"wing\"\npivot = [0, 0, -500]\nturn = [1, 0, 0]\nchannel = \"wing\"\n"
    )
}

fn shot(haze: &str) -> String {
    format!(
        "format = 1\nname = \"Fog\"\nstage = \"stage.toml\"\nframe_rate = \"24\"\nframes = [1, 5]\n{haze}\n\
         [[track]]\nchannel = \"camera.track\"\nshape = \"minimum_jerk\"\nkeys = [[1, 0], [5, 3000]]\n\
         [[track]]\nchannel = \"heron.fly\"\nshape = \"minimum_jerk\"\nkeys = [[1, 0], [5, -1000]]\n\
         [[pass]]\nname = \"picture\"\nexposure = \"moving\"\nseconds_per_frame = 60\nshutter = 180\n"
    )
}

fn foggy(visibility: &str) -> Case {
    Case::new(&stage(0.2, 1), &shot(&format!("[haze]\nfull_size_visibility_m = {visibility}")))
}

fn written(case: &Case, options: &[&str]) -> (PathBuf, Vec<Vec<String>>) {
    let out = case.run(&[&["compile", "shot.toml", "--out", "written"], options].concat());
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    let dir = case.path().join("written");
    let text = fs::read_to_string(dir.join("haze.csv")).unwrap();
    (dir, text.lines().map(|l| l.split(',').map(str::to_owned).collect()).collect())
}

fn near(found: &Value, expected: f64, off: f64) {
    assert!((found.as_f64().unwrap() - expected).abs() <= off, "{found} {expected}");
}

/// By hand, with exp and ln from any table. At 3 m 0.326 x 3 = 0.978: exp(-0.978) = 0.376062, 0.978 / 0.693147 = 1.410956 stops. At 5 m 1.63: 0.195930, 2.351593 stops, and a tenth of a stop is
/// 10 / 2.351593 = 4.252437 % of the density. The wing's pivot is half a metre behind the heron: 3.5 m, 1.141: 0.319499, 1.646115 stops.
#[test]
fn a_triangle_worked_by_hand() {
    let case = foggy("60");
    let checked = case.check();
    let haze = &checked.json["haze"];
    for (key, expected) in [
        ("full_size_visibility_m", 60.0),
        ("visibility_m", 12.0),
        ("extinction_per_m", 0.326),
        // 2.996 / 0.326.
        ("visibility_at_5_percent_m", 9.190_184),
        ("every_frames", 1.0),
    ] {
        near(&haze[key], expected, 1e-6);
    }
    assert_eq!(haze["camera"], "camera");
    let bodies = haze["bodies"].as_array().unwrap();
    assert_eq!(bodies.iter().map(|b| b["body"].as_str().unwrap()).collect::<Vec<_>>(), ["heron", "heron.wing"]);
    let (least, greatest) = (&bodies[0]["least"], &bodies[0]["greatest"]);
    for (light, [frame, distance, transmission, stops]) in
        [(least, [5.0, 5000.0, 0.195_930, 2.351_593]), (greatest, [1.0, 3000.0, 0.376_062, 1.410_956])]
    {
        near(&light["frame"], frame, 0.0);
        near(&light["distance_mm"], distance, 1e-6);
        near(&light["transmission"], transmission, 5e-7);
        near(&light["veiling_light"], 1.0 - transmission, 5e-7);
        near(&light["stops"], stops, 5e-7);
    }
    near(&bodies[0]["density_change_percent"], 4.252_437, 5e-7);
    for said in
        ["measure a visibility of 12 m on the stage (60 m at full size)", "0.326 per m", "9.19 m", "heron 19.59 % 5 37.61 % 1", "4.252 %"]
    {
        assert!(checked.sentence().contains(said), "{said}: {}", checked.text);
    }

    let (_, rows) = written(&case, &[]);
    assert_eq!(rows[0].join(","), "frame,body,distance_mm,transmission,stops");
    assert_eq!(rows.len(), 1 + 5 * 2);
    let of = |i: usize| rows[i].iter().map(String::as_str).collect::<Vec<_>>();
    assert_eq!(of(1), ["1", "heron", "3000.000000", "0.376062472", "1.410956"]);
    assert_eq!(of(2), ["1", "heron.wing", "3500.000000", "0.319499363", "1.646115"]);
    assert_eq!(of(9), ["5", "heron", "5000.000000", "0.195929574", "2.351593"]);
}

/// Every row again: the distance from positions of the tables of camera and bodies, the share from the definition of visibility itself, 2 % along it (3.912 is ln 50 to four digits).
#[test]
fn the_table_agrees_with_the_places_handed_over() {
    let case = foggy("60");
    let (dir, rows) = written(&case, &["--first-frame", "1001", "--samples-per-frame", "3", "--full-size"]);
    let table = |name: &str| -> Vec<Vec<String>> {
        let text = fs::read_to_string(dir.join(name)).unwrap();
        text.lines().skip(1).map(|l| l.split(',').map(str::to_owned).collect()).collect()
    };
    let place = |row: &[String]| [3, 4, 5].map(|i| row[i].parse::<f64>().unwrap());
    let middle = |row: &Vec<String>| row[row.len() - 2] == "2";
    let cameras: Vec<_> = table("camera.csv").into_iter().filter(middle).collect();
    let bodies: Vec<_> = table("bodies.csv").into_iter().filter(middle).collect();
    assert_eq!((rows.len() - 1, cameras.len(), bodies.len()), (10, 5, 10));
    for (row, body) in rows[1..].iter().zip(&bodies) {
        assert_eq!((&row[0], &row[1]), (&body[0], &body[2]));
        let camera = cameras.iter().find(|c| c[0] == body[0]).unwrap();
        let (c, b) = (place(camera), place(body));
        let metres = (0..3).map(|i| (c[i] - b[i]).powi(2)).sum::<f64>().sqrt();
        let at = |i: usize| row[i].parse::<f64>().unwrap();
        assert!((at(2) - 1000.0 * metres).abs() < 3e-6, "{row:?}");
        assert!((at(3) - 0.02_f64.powf(metres / 12.0)).abs() < 3e-6, "{row:?}");
        assert!((at(3) - 0.5_f64.powf(at(4))).abs() < 1e-6, "{row:?}");
    }
    let out = case.run(&["verify", "written"]);
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stdout));
}

/// Puts the hashes of a folder right, as somebody would who hides what he did; what verify says.
fn verified(case: &Case, dir: &Path) -> (Option<i32>, String) {
    let path = dir.join("manifest.json");
    let mut m: Value = serde_json::from_slice(&fs::read(&path).unwrap()).unwrap();
    let files = m["files"].as_array_mut().unwrap();
    files.retain(|f| dir.join(f["path"].as_str().unwrap()).exists());
    for f in files {
        let bytes = fs::read(dir.join(f["path"].as_str().unwrap())).unwrap();
        (f["blake3"], f["bytes"]) = (json!(blake3::hash(&bytes).to_hex().to_string()), json!(bytes.len()));
    }
    fs::write(&path, serde_json::to_vec_pretty(&m).unwrap()).unwrap();
    let out = case.run(&["verify", dir.to_str().unwrap()]);
    (out.status.code(), String::from_utf8(out.stdout).unwrap())
}

#[test]
fn what_somebody_edited_behind_right_hashes_is_found() {
    let case = foggy("60");
    let (dir, rows) = written(&case, &[]);
    assert_eq!(verified(&case, &dir).0, Some(0));
    let text = |rows: &[Vec<String>]| rows.iter().map(|r| r.join(",") + "\n").collect::<String>();
    let sound = text(&rows);
    let damage = |what: &dyn Fn(&mut Vec<Vec<String>>)| {
        let mut rows = rows.clone();
        what(&mut rows);
        assert_ne!(text(&rows), sound);
        fs::write(dir.join("haze.csv"), text(&rows)).unwrap();
        let (status, said) = verified(&case, &dir);
        assert!(status == Some(1) && said.contains("haze.csv: "), "{rows:?}: {said}");
        fs::write(dir.join("haze.csv"), &sound).unwrap();
    };
    // Twenty nanometres, or two or three units of a last place, more or less.
    for row in 1..rows.len() {
        for (column, places, by) in [(2, 6, 2e-5_f64), (3, 9, 3e-9), (4, 6, 2e-6)] {
            for by in [by, -by] {
                damage(&|rows| rows[row][column] = format!("{:.places$}", rows[row][column].parse::<f64>().unwrap() + by));
            }
        }
    }
    damage(&|rows| rows[3][0] = "3".to_owned());
    damage(&|rows| rows[3][1] = "camera".to_owned());
    damage(&|rows| rows[3][3] = "nan".to_owned());
    damage(&|rows| rows[3].push("0".to_owned()));
    damage(&|rows| rows[0][4] = "loss".to_owned());
    damage(&|rows| rows.swap(1, 2));
    damage(&|rows| _ = rows.pop());
    damage(&|rows| rows.push(rows[10].clone()));

    let path = dir.join("manifest.json");
    let manifest = fs::read_to_string(&path).unwrap();
    let all: Value = serde_json::from_str(&manifest).unwrap();
    let edit = |change: &dyn Fn(&mut Value)| {
        let mut edited = all.clone();
        change(&mut edited);
        assert_ne!(edited, all);
        fs::write(&path, edited.to_string()).unwrap();
        let (status, said) = verified(&case, &dir);
        assert!(status == Some(1) && said.contains("haze: "), "{said}");
    };
    edit(&|m| m["haze"]["camera"] = json!("heron"));
    for key in ["full_size_visibility_m", "visibility_m", "extinction_per_m"] {
        edit(&|m| m["haze"][key] = json!(m["haze"][key].as_f64().unwrap() * (1.0 + 1e-9)));
    }
    edit(&|m| _ = m.as_object_mut().unwrap().remove("haze"));
    fs::write(&path, &manifest).unwrap();
    assert_eq!(verified(&case, &dir).0, Some(0));

    // Another visibility in the source: the manifest and the table say so.
    let source = dir.join("source/shot.toml");
    let was = fs::read_to_string(&source).unwrap();
    fs::write(&source, was.replace("_m = 60", "_m = 61")).unwrap();
    let (status, said) = verified(&case, &dir);
    assert!(status == Some(1) && said.contains("haze.csv: ") && said.contains("manifest.json"), "{said}");
    fs::write(&source, was).unwrap();
    fs::remove_file(dir.join("haze.csv")).unwrap();
    let (status, said) = verified(&case, &dir);
    assert!(status == Some(1) && said.contains("haze.csv: "), "{said}");
}

/// 4 stops along 5 m: 4 x 0.693147 / 5 per m, so a visibility of 3.912 x 5 / 2.772589 / 0.2 = 35.2739 m.
#[test]
fn a_note_begins_above_four_stops() {
    let kinds = |visibility: &str| {
        let json = foggy(visibility).json();
        let all = json["findings"].as_array().unwrap().iter().filter(|n| n["kind"] == "lost_in_haze");
        all.map(|n| (n["frame"].as_f64().unwrap(), n["message"].as_str().unwrap().to_owned())).collect::<Vec<_>>()
    };
    assert_eq!(kinds("35.275"), []);
    let found = kinds("35.273");
    assert!(found.len() == 1 && found[0].0 == 5.0 && found[0].1.starts_with("heron: haze takes 4 stops at frame 5: 6.25 %"), "{found:?}");
}

/// The page has the table too, of the shot with haze alone.
#[test]
fn the_page_has_the_table() {
    let page = |case: &Case| {
        let out = case.run(&["report", "shot.toml", "--out", "-"]);
        assert_eq!(out.status.code(), Some(0), "{}", String::from_utf8_lossy(&out.stderr));
        String::from_utf8(out.stdout).unwrap()
    };
    let with = page(&foggy("60"));
    assert!(with.contains("<h2>Haze</h2>") && with.contains("measure a visibility of 12 m on the stage"), "no table");
    let row = with.split("<h2>Haze</h2>").nth(1).unwrap().split("<tbody>").nth(1).unwrap().split("</tr>").next().unwrap();
    let least = foggy("60").json()["haze"]["bodies"][0]["least"]["stops"].as_f64().unwrap();
    assert!(row.contains("<td>heron</td>") && row.contains(&format!("{:.3}", least)[..4]), "{row}");
    let clear = foggy("60");
    let shot = fs::read_to_string(clear.path().join("shot.toml")).unwrap();
    let table = shot.find("[haze]").unwrap();
    let end = shot[table + 1..].find("\n[").map_or(shot.len(), |i| table + 1 + i);
    clear.write("shot.toml", &format!("{}{}", &shot[..table], &shot[end..]));
    assert!(!page(&clear).contains("<h2>Haze</h2>"));
}

/// A slip of one digit, x 10^k: a verdict or one error with its place and range, within a second, never a panic.
#[test]
fn a_slipped_digit_is_answered() {
    for k in -330..=300 {
        if (-12..=12).contains(&k) || k % 30 == 0 {
            let case = foggy(&format!("6e{k}"));
            let allowed = (-1..=5).contains(&k);
            let out = case.run(&["check", "shot.toml", "--json"]);
            assert_eq!(out.status.code(), Some(if allowed { 0 } else { 2 }), "6e{k}: {}", String::from_utf8_lossy(&out.stderr));
            if allowed {
                let json: Value = serde_json::from_slice(&out.stdout).unwrap();
                assert!(json["haze"]["bodies"][0]["least"]["stops"].as_f64().unwrap() > 0.0);
                let (dir, _) = written(&case, &[]);
                assert_eq!(verified(&case, &dir).0, Some(0), "6e{k}");
            } else {
                let said = case.refusal();
                let has = |what: &str| said.contains(what);
                assert!(said.matches("error[").count() == 1 && has("error[out-of-range]") && has("shot.toml:7:"), "6e{k}: {said}");
                assert!(has("allowed: 0.1 to 1000000 m"), "6e{k}: {said}");
            }
        }
    }
}

#[test]
fn what_haze_needs_is_said() {
    let refusal = |cameras: usize, haze: &str| Case::new(&stage(0.2, cameras), &shot(haze)).refusal();
    let no_camera =
        Case::new(&stage(0.2, 0), &shot("[haze]\nfull_size_visibility_m = 60").replace("\"camera.track\"", "\"heron.wing\"")).refusal();
    assert!(no_camera.contains("error[missing-lens]: haze: haze needs a camera with a lens, and the stage has none"), "{no_camera}");
    for (cameras, haze, said) in [
        (1, "[haze]", "error[missing-key]: haze: `full_size_visibility_m` is missing"),
        (1, "[haze]\nfull_size_visibility = 60", "help: write `full_size_visibility_m`"),
        (1, "[haze]\nfull_size_visibility_m = 0", "allowed: 0.1 to 1000000 m"),
        (1, "[haze]\nfull_size_visibility_m = nan", "error[out-of-range]"),
        (1, "[haze]\nfull_size_visibility_m = \"60\"", "help: write `60`"),
        (1, "[haze]\nfull_size_visibility_m = 60\ncamera = \"heron\"", "error[missing-lens]"),
        (1, "[haze]\nfull_size_visibility_m = 60\ncamera = \"camra\"", "help: write \"camera\""),
        (2, "[haze]\nfull_size_visibility_m = 60", "help: add `camera = \"camera\"`"),
        (1, "[[haze]]\nfull_size_visibility_m = 60", "error[wrong-type]"),
    ] {
        let found = refusal(cameras, haze);
        assert!(found.contains(said) && found.matches("error[").count() == 1, "{haze}: {found}");
    }
    let second = shot("[haze]\nfull_size_visibility_m = 60\ncamera = \"camera_1\"");
    let json = Case::new(&stage(0.2, 2), &second).json();
    // The second camera stands still: the heron is 3 m from it, then 4 m, while the first is no figure.
    assert!(json["haze"]["camera"] == "camera_1" && json["haze"]["bodies"].as_array().unwrap().len() == 2, "{}", json["haze"]);
    near(&json["haze"]["bodies"][0]["least"]["distance_mm"], 4000.0, 1e-6);
    let plain = Case::new(&stage(0.2, 1), &shot(""));
    assert!(plain.json().get("haze").is_none() && !plain.check().text.contains("haze"));
}

/// Motors stand where they stood; the picture does not look as it did. A scale of 0.4 and half the visibility are the same haze on the stage.
#[test]
fn another_haze_is_a_change() {
    let case = foggy("60");
    let changes = |haze: &str, scale: f64| {
        case.write("other_stage.toml", &stage(scale, 1));
        case.write("other.toml", &shot(haze).replace("stage.toml", "other_stage.toml"));
        let out = case.run(&["changes", "shot.toml", "other.toml", "--json"]);
        let json: Value = serde_json::from_slice(&out.stdout).unwrap();
        let pass = &json["passes"][0];
        (out.status.code(), pass["good"].as_bool().unwrap(), pass["reasons"].to_string())
    };
    let (status, good, why) = changes("[haze]\nfull_size_visibility_m = 40", 0.2);
    assert!(status == Some(1) && !good && why.contains("visibility 8 m on the stage, was 12 m"), "{why}");
    assert_eq!(changes("[haze]\nfull_size_visibility_m = 60", 0.2), (Some(0), true, "[]".to_owned()));
    assert_eq!(changes("[haze]\nfull_size_visibility_m = 30", 0.4), (Some(0), true, "[]".to_owned()));
    // 0.021 x 571.4285714285714 is not 12 to the last bit.
    assert_eq!(changes("[haze]\nfull_size_visibility_m = 571.4285714285714", 0.021), (Some(0), true, "[]".to_owned()));
    let (status, good, why) = changes("", 0.2);
    assert!(status == Some(0) && good && why.contains("no longer describes haze"), "{why}");
}
