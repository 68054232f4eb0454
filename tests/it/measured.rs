//! What was measured: hand-off with the positions of a log, and steps that marks in the pictures show to be lost, against the folder of a shot that moves as the machine did.

use std::fs;
use std::path::Path;

use serde_json::Value;
use tempfile::TempDir;

/// Steps of heron_b.bridge by which the second shot is further on. D: 0.48 mm x 200 x 10 x 20 / 60 mm.
const STEPS: i64 = 320;

fn run(dir: &Path, args: &[&str]) -> (i32, String, String) {
    let out = std::process::Command::new(env!("CARGO_BIN_EXE_movewright")).current_dir(dir).args(args).output().unwrap();
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (out.status.code().unwrap(), text(&out.stdout), text(&out.stderr).split_whitespace().collect::<Vec<_>>().join(" "))
}

/// Two folders of one stage: `planned`, and `moved`, in which heron_b's bridge is 320 steps further on.
fn folders() -> TempDir {
    let dir = tempfile::tempdir().unwrap();
    assert_eq!(run(dir.path(), &["new", "marsh"]).0, 0);
    let shot = dir.path().join("marsh/shot.toml");
    let text = fs::read_to_string(&shot).unwrap();
    assert!(text.contains("keys = [[1, 1100]]"));
    fs::write(dir.path().join("marsh/moved.toml"), text.replace("keys = [[1, 1100]]", "keys = [[1, 1100.48]]")).unwrap();
    for (shot, out) in [("marsh/shot.toml", "planned"), ("marsh/moved.toml", "moved")] {
        assert_eq!(run(dir.path(), &["compile", shot, "--out", out]).0, 0);
    }
    dir
}

fn rows(path: &Path) -> Vec<Vec<String>> {
    fs::read_to_string(path).unwrap().lines().map(|l| l.split(',').map(str::to_owned).collect()).collect()
}

/// The worst difference of any number of two tables whose other cells are alike.
fn worst(a: &Path, b: &Path) -> f64 {
    let (a, b) = (rows(a), rows(b));
    assert_eq!(a.len(), b.len());
    let mut worst = 0.0_f64;
    for (a, b) in a.iter().flatten().zip(b.iter().flatten()) {
        for (a, b) in a.split(' ').zip(b.split(' ')) {
            match (a.parse::<f64>(), b.parse::<f64>()) {
                (Ok(a), Ok(b)) => worst = worst.max((a - b).abs()),
                _ => assert_eq!(a, b),
            }
        }
    }
    worst
}

/// Where the rods' lower ends are in the picture: the marks. `second` from frame `from` on.
fn marks(dir: &Path, from: i64) -> String {
    let table = |folder: &str| rows(&dir.join(folder).join("picture.rods.csv"));
    let mut text = "frame,point,x,y\n".to_owned();
    for (planned, moved) in table("planned").iter().zip(table("moved")).skip(1) {
        let frame: i64 = planned[0].parse().unwrap();
        let row = if frame < from { planned } else { &moved };
        if row[4] == "middle" && row[10] == "in_picture" {
            text.push_str(&format!("{frame},{}#{},{},{}\n", row[2], row[3], row[5], row[6]));
        }
    }
    text
}

#[test]
fn the_hand_off_of_a_log_is_that_of_the_shot_that_the_machine_ran() {
    let dir = folders();
    let at = |name: &str| dir.path().join(name);
    let (status, said, _) =
        run(dir.path(), &["compare", "planned", "--pass", "picture", "moved/picture.steps.csv", "--hand-off", "measured"]);
    assert!(status == 1 && said.contains("hand-off with measured positions: measured"), "{said}");
    // D: positions to 1e-9 m and units to 1e-6 are printed; a count is half a step off at most, both times alike.
    for (file, most) in [
        ("bodies.csv", 2e-9),
        ("camera.csv", 2e-9),
        ("picture.units.csv", 2e-6),
        ("picture.rods.csv", 2e-4),
        ("picture.rod_outlines.csv", 2e-4),
        ("picture.silhouettes.csv", 0.11),
    ] {
        let off = worst(&at("measured").join(file), &at("moved").join(file));
        assert!(off <= most, "{file}: {off}");
    }
    assert!(worst(&at("measured/bodies.csv"), &at("planned/bodies.csv")) > 4e-4);
    let scene = |folder: &str| fs::read(at(folder).join("scene.glb")).unwrap().len();
    assert_eq!(scene("measured"), scene("moved"));
    // The pass alone is handed over, and every file is listed.
    assert!(!at("measured/clean.rods.csv").exists());
    let entry: Value = serde_json::from_slice(&fs::read(at("measured/measured.json")).unwrap()).unwrap();
    assert_eq!((&entry["pass"], &entry["source"], &entry["axes_as_planned"]), (&"picture".into(), &"log".into(), &Value::Array(vec![])));
    let held = |folder: &str| fs::read_dir(at(folder)).unwrap().filter(|e| e.as_ref().unwrap().file_type().unwrap().is_file()).count();
    assert_eq!(entry["files"].as_array().unwrap().len() + 1, held("measured") + held("measured/source"));
    // It verifies by itself.
    let (status, said, _) = run(dir.path(), &["verify", "measured"]);
    assert!(status == 0 && said.contains("no difference found"), "{said}");
    // The shift of the origin of heron_b is that of its own place in both pictures, here by its silhouette's neighbour, the rod's lower end.
    let shifts = rows(&at("measured/shifts.csv"));
    assert_eq!(shifts[0].join(","), "frame,body,x,y,right_px,down_px");
    let still = |row: &&Vec<String>| row[1] == "heron_a" && row[4] != "0.0000";
    assert_eq!(shifts.iter().skip(1).filter(still).count(), 0);
    let moved = shifts.iter().skip(1).filter(|row| row[1] == "heron_b").map(|row| row[4].parse::<f64>().unwrap());
    assert!(moved.clone().count() > 50 && moved.into_iter().all(|px| px > 0.3 && px < 3.0), "{shifts:?}");
}

#[test]
fn marks_name_the_axis_that_lost_steps() {
    let dir = folders();
    fs::write(dir.path().join("first.csv"), marks(dir.path(), i64::MAX)).unwrap();
    fs::write(dir.path().join("second.csv"), marks(dir.path(), 40)).unwrap();
    let call = ["compare", "planned", "--pass", "picture", "--points", "first.csv", "second.csv"];
    let (status, said, _) = run(dir.path(), &[&call[..], &["--json", "--hand-off", "corrected"]].concat());
    let json: Value = serde_json::from_str(&said).unwrap();
    assert_eq!(status, 1);
    let losses = json["losses"].as_array().unwrap();
    assert_eq!(losses.len(), 1, "{json:#}");
    assert_eq!((losses[0]["axis"].as_str(), losses[0]["frame"].as_i64()), (Some("heron_b.bridge"), Some(40)));
    let steps = losses[0]["steps"].as_f64().unwrap();
    // D: first order in 0.48 mm at 2 m; the rest is its square.
    assert!((steps - STEPS as f64).abs() < 1.0, "{steps}");
    assert_eq!(json["not_seen"], serde_json::json!(["heron_a.wing", "heron_b.wing"]));
    let frame = |n: i64| json["frames"].as_array().unwrap().iter().find(|f| f["frame"] == n).unwrap();
    assert!(frame(39)["lost"].as_array().unwrap().is_empty() && frame(40)["lost"][0]["axis"] == "heron_b.bridge");
    // Corrected: as planned up to frame 39, as it was moved from 40 on.
    let table = |folder: &str| rows(&dir.path().join(folder).join("bodies.csv"));
    for ((is, planned), moved) in table("corrected").iter().zip(table("planned")).zip(table("moved")).skip(1) {
        let wanted = if is[0].parse::<i64>().unwrap() < 40 { planned } else { moved };
        let off = (is[3].parse::<f64>().unwrap() - wanted[3].parse::<f64>().unwrap()).abs();
        assert!(off < 2e-6, "{is:?}");
    }
    // The same run twice: nothing lost.
    let (status, said, _) = run(dir.path(), &["compare", "planned", "--pass", "picture", "--points", "first.csv", "first.csv"]);
    assert!(status == 0 && said.contains("no axis lost steps that these marks show"), "{said}");
    // Marks that are off up and down from frame to frame: no axis explains it, and it is not within tolerance.
    let torn: String = marks(dir.path(), i64::MAX)
        .lines()
        .enumerate()
        .map(|(i, l)| match l.rsplit_once(',') {
            Some((rest, y)) if i > 0 => format!("{rest},{}\n", y.parse::<f64>().unwrap() + if (i - 1) / 2 % 2 == 0 { 9.0 } else { -9.0 }),
            _ => format!("{l}\n"),
        })
        .collect();
    fs::write(dir.path().join("torn.csv"), torn).unwrap();
    let (status, said, _) = run(dir.path(), &["compare", "planned", "--pass", "picture", "--points", "first.csv", "torn.csv"]);
    assert!(status == 1 && said.contains("check its track"), "{said}");
}

#[test]
fn wrong_marks_logs_and_targets_are_refused() {
    let dir = folders();
    let write = |name: &str, text: &str| fs::write(dir.path().join(name), text).unwrap();
    write("good.csv", "frame,point,x,y\n1,heron_a,2296,1774\n");
    let points = |second: &str| {
        write("second.csv", second);
        let (status, out, error) = run(dir.path(), &["compare", "planned", "--pass", "picture", "--points", "second.csv", "second.csv"]);
        assert!(status == 2 && out.is_empty(), "{second}: {out}");
        error
    };
    for (text, said) in [
        (
            "frame,point,x,y\n1,heron_x#1,1,1\n",
            "error[unknown-place]: the stage has no figure, limb, point or obstacle `heron_x`; it has heron_a",
        ),
        ("frame,point,x,y\n97,heron_a,1,1\n", "error[out-of-range]: frame 97 is not photographed; this shot has 1 to 96"),
        (
            "frame,point,x,y\n12,heron_a,22910,1754\n",
            "error[out-of-range]: `heron_a` is at 22910, 1754 px in frame 12, which is outside the picture (0 to 4096, 0 to 3072)",
        ),
        ("frame,point,x\n", "error[invalid-log]: second.csv, line 1: the header is `frame,point,x`, expected `frame,point,x,y`"),
        (
            "frame,point,x,y\n",
            "error[invalid-log]: second.csv has no point in a frame that second.csv has too; expected the same points in both",
        ),
    ] {
        let error = points(text);
        assert!(error.contains(said), "{error}");
    }
    // Both flaws at once, each once.
    let both = points("frame,point,x,y\n1,heron_x,1,1\n1,heron_x#2,1,1\n97,heron_a,1,1\n");
    assert_eq!(both.matches("error[").count(), 2, "{both}");
    // At the edge of the picture, and a pass that parks the figure.
    write("edge.csv", "frame,point,x,y\n12,heron_a,4096,0\n");
    let edge = |pass: &str| run(dir.path(), &["compare", "planned", "--pass", pass, "--points", "edge.csv", "edge.csv"]);
    assert_eq!(edge("picture").0, 0);
    assert!(edge("clean").2.contains("error[not-in-picture]: `heron_a` is parked at home in pass clean"), "{}", edge("clean").2);
    let log = "moved/picture.steps.csv";
    let full = fs::read_to_string(dir.path().join(log)).unwrap();
    write("short.csv", &full.lines().take(50).map(|l| format!("{l}\n")).collect::<String>());
    for (args, said) in [
        (&["short.csv", "--hand-off", "new"][..], "short.csv: has no frame 50; measured positions need every frame of the pass"),
        (&[log, log, "--hand-off", "new"], "error[wrong-count]: --hand-off: found 2 logs, allowed one"),
        (&[log, "--hand-off", "planned"], "it is left untouched: name a folder that does not exist yet, or an empty one"),
        (&[log, "--hand-off", "-"], "error[not-a-folder]: `compare --hand-off` writes a folder, but `-` means standard output"),
        (&["--points", "good.csv"], "2 values required"),
        (&["--points", "good.csv", "good.csv", log], "cannot be used with"),
        (&["--points", "good.csv", "none.csv"], "error[missing-file]: cannot read none.csv"),
    ] {
        let (status, out, error) = run(dir.path(), &[&["compare", "planned", "--pass", "picture"], args].concat());
        assert!(status == 2 && out.is_empty() && error.contains(said), "{args:?}: {status} {out} {error}");
        assert!(!dir.path().join("new").exists());
    }
}
