//! A real lens through the program: written, verified, and any cell that somebody edits found.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use crate::case::Case;

const LENS: &str = "pixels = [4096, 3072]             # the same in pixels\n";

/// The stage and shot of `movewright new` with a focus motor, focused from 1.2 to 3 m, and a lens with these lines.
pub fn real_lens(lens: &str) -> Case {
    let text = |name: &str| fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("src/cli/new").join(name)).unwrap();
    let stage = text("stage.toml");
    assert!(stage.contains(LENS));
    let focus = "[[group.axis]]\nname = \"focus_distance\"\nunit = \"mm\"\ntravel = [500, 4000]\nhome = 1000\nmax_velocity = 50\nmax_acceleration = 50\n\
                 max_jerk = 50\nmotor = \"frame42\"\ntravel_per_rev = 60\n";
    let stage = stage.replace(LENS, &format!("pixels = [4096, 3072]\n{lens}\n{focus}"));
    let shot = text("shot.toml").replacen("shutter = 180", "stop = 22\nshutter = 180", 1);
    let track = "\n[[track]]\nchannel = \"camera.focus_distance\"\nkeys = [[1, 1200], [96, 3000]]\n";
    Case::new(&stage, &(shot + track))
}

/// A thin lens of 24 mm focused at s mm: f s / (s - f).
fn thin(s: f64) -> f64 {
    24.0 * s / (s - 24.0)
}

/// All keys of a lens, with a table of breathing that a thin lens makes.
pub fn keys() -> String {
    let breathing: Vec<String> = [600.0, 1200.0, 1800.0, 3000.0, 1e6].map(|s| format!("[{s}, {}]", thin(s))).to_vec();
    format!(
        "principal_point = [0.1, -0.2]\nfilm_plane = 110\ncircle_of_confusion = 0.005\nf_numbers = [4, 32]\nt_minus_f_stops = 0.3\npixel_aspect = 1\n\
         distortion = {{ k1 = -0.06, k2 = 0.004, k3 = 0.0005, p1 = 0.001, p2 = -0.0005 }}\nbreathing = [{}]\n",
        breathing.join(", ")
    )
}

type Row = BTreeMap<String, String>;

fn table(path: &Path) -> Vec<Row> {
    let text = fs::read_to_string(path).unwrap();
    let mut lines = text.lines();
    let head: Vec<&str> = lines.next().unwrap().split(',').collect();
    lines.map(|l| head.iter().map(|h| (*h).to_owned()).zip(l.split(',').map(str::to_owned)).collect()).collect()
}

fn number(row: &Row, name: &str) -> f64 {
    row[name].parse().unwrap_or_else(|_| panic!("{name}: {row:?}"))
}

/// The program fails with what it said.
fn run(case: &Case, args: &[&str]) -> String {
    let out = case.run(args);
    let said = String::from_utf8(out.stdout).unwrap() + &String::from_utf8(out.stderr).unwrap();
    assert!(out.status.success(), "{args:?}: {said}");
    said
}

/// Derived: a thin lens of 24 mm has 24.489796 mm at 1.2 m and 24.193548 mm at 3 m: 1.2245 %. Rods of two shots that differ in the focus alone are as much further from the middle.
#[test]
fn from_1_2_to_3_m_the_rods_draw_together_by_1_22_per_cent() {
    let written = |at: &str| {
        let case = real_lens(&format!("breathing = [[600, {}], [1200, {}], [3000, {}]]", thin(600.0), thin(1200.0), thin(3000.0)));
        let shot = fs::read_to_string(case.path().join("shot.toml")).unwrap();
        case.write("shot.toml", &shot.replace("keys = [[1, 1200], [96, 3000]]", &format!("keys = [[1, {at}], [96, {at}]]")));
        run(&case, &["compile", "shot.toml", "--out", "written"]);
        (table(&case.path().join("written/picture.rods.csv")), table(&case.path().join("written/camera.csv")))
    };
    let ((near, lens), (far, _)) = (written("1200"), written("3000"));
    assert!((number(&lens[0], "focal_length_mm") - 24.489_796).abs() <= 1e-6 && lens[0]["focus_depth_m"].is_empty());
    let mut looked_at = 0;
    for (a, b) in near.iter().zip(&far) {
        for (name, middle) in [("x1", 2048.0), ("y1", 1536.0), ("x2", 2048.0), ("y2", 1536.0)] {
            let (near, far) = (number(a, name) - middle, number(b, name) - middle);
            assert!((near - far * 1.012_245).abs() <= 1.1e-4 + 5e-7 * far.abs(), "{near} {far}");
            looked_at += 1;
        }
    }
    assert!(looked_at > 2000, "{looked_at}");
}

/// Every row of the rods against a lens of our own: x' = x (1 + k1 r^2 + ...) + ... from the undistorted pixel; the tables verify; any cell that is edited is found.
#[test]
fn plates_are_distorted_and_everything_is_verified() {
    let case = real_lens(&keys());
    let options = ["--full-size", "--first-frame", "1001", "--samples-per-frame", "3"];
    run(&case, &[&["compile", "shot.toml", "--out", "written"][..], &options].concat());
    let dir = case.path().join("written");
    let cameras = table(&dir.join("camera.csv"));
    assert_eq!(cameras.len(), 96 * 3);
    let times: Vec<&str> = cameras[..4].iter().map(|r| r["frame_time"].as_str()).collect();
    assert_eq!(times, ["1000.750000", "1001.000000", "1001.250000", "1001.750000"]);
    assert_eq!(
        (cameras[0]["frame"].as_str(), cameras[0]["sample"].as_str(), cameras[0]["timecode"].as_str()),
        ("1001", "1", "10:00:00:00")
    );
    assert_eq!(cameras.last().unwrap()["frame"], "1096");
    for row in &cameras {
        let (focus, depth) = (number(row, "focus_mm"), number(row, "focus_depth_m"));
        assert!((depth - (focus - 110.0) / 1000.0).abs() <= 2e-9 && row["f_number"] == "22.000000" && row["film_plane_mm"] == "110.000000");
        assert!((number(row, "focal_length_mm") - thin(focus)).abs() < 3e-3 && number(row, "overscan") > 1.0);
        // Sharp from H s / (H + s) to H s / (H - s), distances counted from a focal length in front of the pupil (D: the same limits in Newton's form).
        let (f, blur) = (24.0, 22.0 * 0.005);
        let (h, x) = (f * f / blur, focus - 110.0 - f);
        let near = number(row, "near_depth_m") * 1000.0;
        assert!((near - (focus - 110.0) * h / (h + x)).abs() < 1e-5, "{near}");
        assert!((number(row, "far_depth_m") * 1000.0 - (focus - 110.0) * h / (h - x)).abs() < 1e-5);
    }
    let focal: BTreeMap<&str, f64> =
        cameras.iter().filter(|r| r["sample"] == "2").map(|r| (r["frame"].as_str(), number(r, "focal_length_mm"))).collect();
    let (mut bowed, mut moved) = (0.0_f64, 0.0_f64);
    for row in table(&dir.join("picture.rods.csv")).iter().filter(|r| r["instant"] == "middle") {
        let f = focal[row["frame"].as_str()];
        let (fx, fy) = (f * 4096.0 / 24.9, f * 3072.0 / 18.7);
        let (cx, cy) = (2048.0 + 0.1 * 4096.0 / 24.9, 1536.0 - 0.2 * 3072.0 / 18.7);
        for end in ["1", "2"] {
            let of = |name: &str| number(row, &format!("{name}{end}"));
            let (x, y) = ((of("undistorted_x") - cx) / fx, (of("undistorted_y") - cy) / fy);
            let r2 = x * x + y * y;
            let k = 1.0 - 0.06 * r2 + 0.004 * r2 * r2 + 0.0005 * r2 * r2 * r2;
            let (px, py) =
                (x * k + 2.0 * 0.001 * x * y - 0.0005 * (r2 + 2.0 * x * x), y * k + 0.001 * (r2 + 2.0 * y * y) - 2.0 * 0.0005 * x * y);
            let off = (cx + fx * px - of("x")).abs().max((cy + fy * py - of("y")).abs());
            assert!(off < 5e-4, "{off}: {row:?}");
            moved = moved.max((of("x") - of("undistorted_x")).abs());
        }
        bowed = bowed.max(number(row, "bow"));
    }
    assert!(moved > 5.0 && bowed > 0.2, "{moved} {bowed}");
    run(&case, &["verify", "written"]);
    for (file, column) in [
        ("camera.csv", "focal_length_mm"),
        ("camera.csv", "overscan"),
        ("camera.csv", "focus_mm"),
        ("camera.csv", "near_depth_m"),
        ("camera.full_size.csv", "far_depth_m"),
        ("camera.full_size.csv", "focus_depth_m"),
        ("camera.csv", "k2"),
        ("camera.csv", "frame_time"),
        ("bodies.csv", "sample"),
        ("picture.rods.csv", "undistorted_y2"),
        ("picture.rods.csv", "x1"),
        ("picture.rods.csv", "bow"),
        ("picture.rod_outlines.csv", "undistorted_x"),
        ("picture.silhouettes.csv", "outline"),
        ("picture.silhouettes.csv", "undistorted"),
    ] {
        let (said, status) = edited(&case, file, column);
        assert!(status == Some(1) && said.contains(&format!("{file}: ")), "{file} {column}: {said}");
    }
    for name in ["focalLength", "focusDistance"] {
        let (said, status) = edited_sample(&case, name);
        assert!(status == Some(1) && said.contains("scene.usda: camera"), "{name}: {said}");
    }
}

/// A copy of the folder in which one cell of row 40 is greater by a hundredth, with its hash put right; what verify says.
fn edited(case: &Case, file: &str, column: &str) -> (String, Option<i32>) {
    let (from, to) = (case.path().join("written"), case.path().join("damaged"));
    let _none = fs::remove_dir_all(&to);
    copy(&from, &to);
    let text = fs::read_to_string(to.join(file)).unwrap();
    let at = text.lines().next().unwrap().split(',').position(|c| c == column).unwrap();
    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    let mut cells: Vec<String> = lines[40].split(',').map(str::to_owned).collect();
    let places = cells[at].split_once('.').map_or(0, |(_, d)| d.len());
    cells[at] = match cells[at].split_once(' ') {
        // Of a list the first number, by 3.
        Some((first, rest)) => format!("{:.1} {rest}", first.parse::<f64>().unwrap() - 3.0),
        None => format!("{:.places$}", cells[at].parse::<f64>().unwrap() + if places == 0 { 1.0 } else { 0.01 }),
    };
    lines[40] = cells.join(",");
    fs::write(to.join(file), lines.join("\n") + "\n").unwrap();
    mended(case)
}

/// The same for a number of the 40th sample of something in scene.usda.
fn edited_sample(case: &Case, name: &str) -> (String, Option<i32>) {
    let (from, to) = (case.path().join("written"), case.path().join("damaged"));
    let _none = fs::remove_dir_all(&to);
    copy(&from, &to);
    let text = fs::read_to_string(to.join("scene.usda")).unwrap();
    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    let head = lines.iter().position(|l| l.trim() == format!("float {name}.timeSamples = {{")).unwrap();
    let (time, value) = lines[head + 40].trim_end_matches(',').split_once(": ").unwrap();
    lines[head + 40] = format!("{time}: {:.7},", value.parse::<f64>().unwrap() + 1e-3);
    fs::write(to.join("scene.usda"), lines.join("\n") + "\n").unwrap();
    mended(case)
}

/// Puts the hashes of the damaged folder right; what verify says.
fn mended(case: &Case) -> (String, Option<i32>) {
    let to = case.path().join("damaged");
    let path = to.join("manifest.json");
    let mut manifest: serde_json::Value = serde_json::from_slice(&fs::read(&path).unwrap()).unwrap();
    for f in manifest["files"].as_array_mut().unwrap() {
        let bytes = fs::read(to.join(f["path"].as_str().unwrap())).unwrap();
        (f["blake3"], f["bytes"]) = (blake3::hash(&bytes).to_hex().to_string().into(), bytes.len().into());
    }
    fs::write(&path, serde_json::to_vec_pretty(&manifest).unwrap()).unwrap();
    let out = case.run(&["verify", "damaged"]);
    (String::from_utf8(out.stdout).unwrap() + &String::from_utf8(out.stderr).unwrap(), out.status.code())
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap().map(|e| e.unwrap().path()) {
        let target = to.join(entry.file_name().unwrap());
        if entry.is_dir() {
            copy(&entry, &target);
        } else {
            fs::copy(&entry, &target).unwrap();
        }
    }
}

#[test]
fn lenses_that_cannot_be_are_refused_with_their_slug() {
    for (lens, slug) in [
        ("distortion = { k1 = -2 }", "folding-distortion"),
        ("distortion = { k1 = -0.02, k4 = 1 }", "unknown-key"),
        ("distortion = { k1 = 1e9 }", "out-of-range"),
        ("breathing = [[600, 24], [500, 25]]", "keys-out-of-order"),
        ("breathing = [[600, 24]]", "wrong-count"),
        ("breathing = []", "wrong-count"),
        ("f_numbers = [32, 4]", "empty-range"),
        ("principal_point = [0.1]", "wrong-type"),
        ("pixel_aspect = 0", "out-of-range"),
    ] {
        let said = real_lens(lens).refusal();
        assert!(said.contains(&format!("error[{slug}]")), "{lens}: {said}");
    }
}

#[test]
fn a_stop_that_the_lens_does_not_have_is_refused() {
    let shot = |stop: &str| {
        let case = real_lens("f_numbers = [4, 32]");
        let text = fs::read_to_string(case.path().join("shot.toml")).unwrap();
        case.write("shot.toml", &text.replace("stop = 22", &format!("stop = {stop}")));
        case
    };
    let said = shot("220").refusal();
    assert!(said.contains("error[out-of-range]") && said.contains("4 to 32, by `f_numbers` of the lens"), "{said}");
    assert!(shot("32").run(&["check", "shot.toml"]).status.success());
}
