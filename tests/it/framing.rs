//! The demo as a picture: every heron is inside the frame in every frame, at distances where depth of field is a question.
//!
//! The written poses are projected here by a pinhole of our own; nothing of the crate's camera is used.

use std::collections::BTreeMap;
use std::path::Path;
use std::process::Command;

type Row = BTreeMap<String, String>;

fn table(path: &Path) -> Vec<Row> {
    let text = std::fs::read_to_string(path).unwrap();
    let mut lines = text.lines();
    let head: Vec<&str> = lines.next().unwrap().split(',').collect();
    lines.map(|l| head.iter().map(|h| (*h).to_owned()).zip(l.split(',').map(str::to_owned)).collect()).collect()
}

fn number(row: &Row, name: &str) -> f64 {
    row[name].parse().unwrap()
}

fn place(row: &Row) -> [f64; 3] {
    ["x_m", "y_m", "z_m"].map(|n| number(row, n) * 1000.0)
}

/// A vector turned by the row's quaternion, or by its inverse (`way` -1).
fn turned(row: &Row, way: f64, v: [f64; 3]) -> [f64; 3] {
    let [x, y, z] = ["qx", "qy", "qz"].map(|n| number(row, n) * way);
    let w = number(row, "qw");
    let t = [2.0 * (y * v[2] - z * v[1]), 2.0 * (z * v[0] - x * v[2]), 2.0 * (x * v[1] - y * v[0])];
    [v[0] + w * t[0] + y * t[2] - z * t[1], v[1] + w * t[1] + z * t[0] - x * t[2], v[2] + w * t[2] + x * t[1] - y * t[0]]
}

/// Ends of tail, bill, neck stretched up and feet, of the posts, and of both wings from folded to the top of the beat, mm in the body.
fn ends(size: f64) -> Vec<[f64; 3]> {
    let mut all = vec![[-216.0, 0.0, 0.0], [204.0, 60.0, 0.0], [160.0, 92.0, 0.0], [-60.0, -130.0, 0.0]];
    for side in [-1.0, 1.0] {
        all.push([24.0, 140.0, side * 44.0]);
        for angle in [-38.0_f64, -20.0, 0.0, 20.0, 48.0] {
            let (sin, cos) = angle.to_radians().sin_cos();
            all.extend([-40.0, 70.0].map(|x| [x, 12.0 + 185.0 * sin, side * 185.0 * cos]));
        }
    }
    all.iter().map(|p| p.map(|c| c * size)).collect()
}

#[test]
fn the_demo_s_herons_are_in_the_picture_from_1_2_to_3_1_metres() {
    let temp = tempfile::tempdir().unwrap();
    let out = temp.path().join("out");
    let shot = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/herons/shot.toml");
    let run = Command::new(env!("CARGO_BIN_EXE_movewright")).arg("compile").arg(shot).arg("--out").arg(&out).output().unwrap();
    assert!(run.status.success());
    let (cameras, mut bodies) = (table(&out.join("camera.csv")), table(&out.join("bodies.csv")));
    // Limbs have rows of their own; their ends are worked out here from the body alone.
    bodies.retain(|b| !b["body"].contains('.'));
    assert_eq!((cameras.len(), bodies.len()), (288, 4 * 288));
    let mut depths = Vec::new();
    for camera in &cameras {
        let half = ["back_width_mm", "back_height_mm"].map(|n| number(camera, n) / (2.0 * number(camera, "focal_length_mm")));
        for body in bodies.iter().filter(|b| b["frame"] == camera["frame"]) {
            let size = if ["heron_a", "heron_b"].contains(&body["body"].as_str()) { 1.0 } else { 0.6 };
            for end in ends(size) {
                let (at, from, turn) = (place(body), place(camera), turned(body, 1.0, end));
                let [right, up, back] = turned(camera, -1.0, [0, 1, 2].map(|i| at[i] + turn[i] - from[i]));
                let share = [right / -back / half[0], up / -back / half[1]];
                assert!(back < 0.0 && share.iter().all(|s| s.abs() < 1.0), "{} at frame {}: {share:?}", body["body"], body["frame"]);
                depths.push(-back);
            }
        }
    }
    let (nearest, farthest) = (depths.iter().copied().fold(f64::INFINITY, f64::min), depths.iter().copied().fold(0.0, f64::max));
    assert!((1150.0..1250.0).contains(&nearest) && (3050.0..3150.0).contains(&farthest), "{nearest} {farthest}");
}
