//! scene.glb drawn by a rasteriser of its own, from the file alone: hierarchy, animation, meshes and camera; compared with the silhouettes and the wires of a held pass.
//!
//! Source: Khronos glTF 2.0 specification. Tolerance: 1 pixel, for outlines that leave out up to 0.8 px and meshes that leave out up to 0.24 % of a radius; wires 0.05 px, for lengths in single precision.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use serde_json::Value;

use crate::case::Case;

type Three = [f64; 3];
type Pixel = [f64; 2];

const FRAMES: [i64; 2] = [100, 119];

/// Twenty frames of the demo with a held pass that parks nobody.
fn demo() -> Case {
    let text = |name: &str| fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/herons").join(name)).unwrap();
    let (before, after) = text("shot.toml")
        .replace("frames = [1, 288]", "frames = [100, 119]")
        .split_once("settle = 1.5\ninterval = ")
        .map(|(a, b)| (a.to_owned(), b.to_owned()))
        .unwrap();
    let case = Case::new(&text("stage.toml"), &format!("{before}settle = 1.5\n#{}", after.replacen("\npark = ", "\n#", 1)));
    let beside = fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/herons")).unwrap();
    for name in beside.map(|e| e.unwrap().file_name().into_string().unwrap()).filter(|n| n != "stage.toml" && n != "shot.toml") {
        case.write(&name, &text(&name));
    }
    // What the machine cannot do in a held pass of this pace is no matter here.
    let out = case.run(&["compile", "shot.toml", "--out", "written", "--over-limits"]);
    assert!(matches!(out.status.code(), Some(0 | 1)), "{}", String::from_utf8_lossy(&out.stderr));
    case
}

struct Scene {
    json: Value,
    numbers: Vec<u8>,
    parents: BTreeMap<usize, usize>,
    /// Outputs by node and path.
    moved: BTreeMap<(usize, String), Vec<f64>>,
}

impl Scene {
    fn read(path: &Path) -> Scene {
        let bytes = fs::read(path).unwrap();
        let length = u32::from_le_bytes(bytes[12..16].try_into().unwrap()) as usize;
        let json: Value = serde_json::from_slice(&bytes[20..20 + length]).unwrap();
        let mut scene = Scene { json, numbers: bytes[28 + length..].to_vec(), parents: BTreeMap::new(), moved: BTreeMap::new() };
        for (i, node) in scene.json["nodes"].as_array().unwrap().iter().enumerate() {
            for child in node["children"].as_array().into_iter().flatten() {
                assert_eq!(scene.parents.insert(child.as_u64().unwrap() as usize, i), None);
            }
        }
        let animation = scene.json["animations"][0].clone();
        for channel in animation["channels"].as_array().unwrap() {
            let sampler = &animation["samplers"][channel["sampler"].as_u64().unwrap() as usize];
            let times = scene.floats(&sampler["input"]);
            assert!(times.len() == 20 && times.iter().enumerate().all(|(i, t)| (t - i as f64 / 24.0).abs() < 1e-6));
            let target = &channel["target"];
            let key = (target["node"].as_u64().unwrap() as usize, target["path"].as_str().unwrap().to_owned());
            let output = scene.floats(&sampler["output"]);
            scene.moved.insert(key, output);
        }
        scene
    }

    fn view(&self, accessor: &Value) -> (&[u8], u64, usize) {
        let accessor = &self.json["accessors"][accessor.as_u64().unwrap() as usize];
        let view = &self.json["bufferViews"][accessor["bufferView"].as_u64().unwrap() as usize];
        let at = view["byteOffset"].as_u64().unwrap() as usize;
        let bytes = &self.numbers[at..at + view["byteLength"].as_u64().unwrap() as usize];
        (bytes, accessor["componentType"].as_u64().unwrap(), accessor["count"].as_u64().unwrap() as usize)
    }

    fn floats(&self, accessor: &Value) -> Vec<f64> {
        let (bytes, kind, _) = self.view(accessor);
        assert_eq!(kind, 5126);
        bytes.chunks(4).map(|b| f64::from(f32::from_le_bytes(b.try_into().unwrap()))).collect()
    }

    fn node(&self, name: &str) -> usize {
        self.json["nodes"].as_array().unwrap().iter().position(|n| n["name"] == name).unwrap_or_else(|| panic!("no node {name}"))
    }

    /// Translation, rotation and scale of a node itself.
    fn own(&self, node: usize, row: usize) -> (Three, [f64; 4], Three) {
        let of = |path: &str, none: &[f64]| -> Vec<f64> {
            let n = none.len();
            self.moved.get(&(node, path.to_owned())).map_or_else(|| none.to_vec(), |all| all[n * row..n * (row + 1)].to_vec())
        };
        let three = |v: Vec<f64>| Three::try_from(v).unwrap();
        let rotation = of("rotation", &[0.0, 0.0, 0.0, 1.0]).try_into().unwrap();
        (three(of("translation", &[0.0; 3])), rotation, three(of("scale", &[1.0; 3])))
    }

    /// A point of a node in the world.
    fn out(&self, node: usize, row: usize, at: Three) -> Three {
        let (translation, rotation, scale) = self.own(node, row);
        let turned = rotated(rotation, [0, 1, 2].map(|i| at[i] * scale[i]));
        let here = [0, 1, 2].map(|i| turned[i] + translation[i]);
        self.parents.get(&node).map_or(here, |parent| self.out(*parent, row, here))
    }

    /// A point of the world in the picture of the camera, which is no child of anything.
    fn pixel(&self, camera: usize, row: usize, at: Three) -> Pixel {
        assert!(!self.parents.contains_key(&camera));
        let (translation, [x, y, z, w], _) = self.own(camera, row);
        let [x, y, z] = rotated([-x, -y, -z, w], [0, 1, 2].map(|i| at[i] - translation[i]));
        assert!(z < 0.0);
        let lens = &self.json["cameras"][self.json["nodes"][camera]["camera"].as_u64().unwrap() as usize];
        let half = (0.5 * lens["perspective"]["yfov"].as_f64().unwrap()).tan();
        let aspect = lens["perspective"]["aspectRatio"].as_f64().unwrap();
        let pixels = |i: usize| lens["extras"]["pixels"][i].as_f64().unwrap();
        [pixels(0) * 0.5 * (1.0 + x / (-z * half * aspect)), pixels(1) * 0.5 * (1.0 - y / (-z * half))]
    }

    /// The triangles of a node in the picture.
    fn drawn(&self, camera: usize, node: usize, row: usize) -> Vec<[Pixel; 3]> {
        let mesh = &self.json["meshes"][self.json["nodes"][node]["mesh"].as_u64().unwrap() as usize];
        let primitive = &mesh["primitives"][0];
        let positions = self.floats(&primitive["attributes"]["POSITION"]);
        let pixels: Vec<Pixel> = positions.chunks(3).map(|p| self.pixel(camera, row, self.out(node, row, p.try_into().unwrap()))).collect();
        let (bytes, kind, count) = self.view(&primitive["indices"]);
        assert_eq!(kind, 5123);
        let indices: Vec<Pixel> =
            bytes.chunks(2).take(count).map(|b| pixels[usize::from(u16::from_le_bytes(b.try_into().unwrap()))]).collect();
        indices.chunks(3).map(|t| t.try_into().unwrap()).collect()
    }
}

/// v + 2 w (q x v) + 2 q x (q x v).
fn rotated([x, y, z, w]: [f64; 4], v: Three) -> Three {
    let cross = |a: Three, b: Three| [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
    let once = cross([x, y, z], v);
    let twice = cross([x, y, z], once);
    [0, 1, 2].map(|i| v[i] + 2.0 * (w * once[i] + twice[i]))
}

fn table(path: &Path) -> Vec<BTreeMap<String, String>> {
    let text = fs::read_to_string(path).unwrap();
    let mut lines = text.lines();
    let head: Vec<&str> = lines.next().unwrap().split(',').collect();
    lines.map(|l| head.iter().map(|h| (*h).to_owned()).zip(l.split(',').map(str::to_owned)).collect()).collect()
}

/// How far a point is outside a convex outline that runs from right to down; below zero inside.
fn outside(outline: &[Pixel], [x, y]: Pixel) -> f64 {
    let ends = outline.iter().cycle().skip(1);
    let off = |([ax, ay], [bx, by]): (&Pixel, &Pixel)| ((x - ax) * (by - ay) - (y - ay) * (bx - ax)) / (bx - ax).hypot(by - ay);
    outline.iter().zip(ends).map(off).fold(f64::NEG_INFINITY, f64::max)
}

/// Every 16th row of pixels: what is more than a pixel inside the outline is covered, nothing more than a pixel outside is.
fn covered_as(triangles: &[[Pixel; 3]], outline: &[Pixel]) -> usize {
    let all = || triangles.iter().flatten();
    let range = |i: usize| all().map(|p| p[i]).fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), x| (a.min(x), b.max(x)));
    let ((left, right), (top, bottom)) = (range(0), range(1));
    let (left, width) = (left.floor() - 3.0, (right - left) as usize + 8);
    let mut looked_at = 0;
    for line in (top.floor() as i64 - 2..bottom as i64 + 3).filter(|l| l % 16 == 0) {
        let y = line as f64 + 0.5;
        let mut covered = vec![false; width];
        for t in triangles.iter().filter(|t| t.iter().any(|p| p[1] <= y) && t.iter().any(|p| p[1] >= y)) {
            let crossings: Vec<f64> = [(0, 1), (1, 2), (2, 0)]
                .into_iter()
                .map(|(i, j)| (t[i], t[j]))
                .filter(|(a, b)| (a[1] <= y) != (b[1] <= y))
                .map(|(a, b)| a[0] + (y - a[1]) / (b[1] - a[1]) * (b[0] - a[0]))
                .collect();
            let [a, b] = crossings[..] else { continue };
            for (i, pixel) in covered.iter_mut().enumerate() {
                let x = left + i as f64 + 0.5;
                *pixel |= a.min(b) <= x && x <= a.max(b);
            }
        }
        for (i, covered) in covered.into_iter().enumerate() {
            let off = outside(outline, [left + i as f64 + 0.5, y]);
            assert!(if covered { off <= 1.0 } else { off >= -1.0 }, "line {line}, pixel {i}: {off} px outside, covered: {covered}");
            looked_at += usize::from(covered);
        }
    }
    looked_at
}

#[test]
fn the_proxies_of_the_scene_are_where_the_silhouettes_are() {
    let case = demo();
    let dir = case.path().join("written");
    let scene = Scene::read(&dir.join("scene.glb"));
    let camera = scene.node("camera");
    let (mut compared, mut covered, mut worst) = (0, 0, 0.0_f64);
    for row in table(&dir.join("still.silhouettes.csv")) {
        let frame: i64 = row["frame"].parse().unwrap();
        assert_eq!(row["cut"], "");
        let numbers: Vec<f64> = row["outline"].split(' ').map(|x| x.parse().unwrap()).collect();
        let outline: Vec<Pixel> = numbers.chunks(2).map(|p| [p[0], p[1]]).collect();
        let node = scene.node(&format!("{}._proxy_{}", row["body"], row["proxy"]));
        let at = (frame - FRAMES[0]) as usize;
        let triangles = scene.drawn(camera, node, at);
        for k in 0..16 {
            let (down, right) = (std::f64::consts::PI * f64::from(k) / 8.0).sin_cos();
            let far =
                |points: &mut dyn Iterator<Item = &Pixel>| points.map(|p| p[0] * right + p[1] * down).fold(f64::NEG_INFINITY, f64::max);
            let off = far(&mut triangles.iter().flatten()) - far(&mut outline.iter());
            worst = worst.max(off.abs());
            assert!(off.abs() <= 1.0, "{row:?}: {off} px in direction {k}");
            compared += 1;
        }
        if FRAMES.contains(&frame) {
            covered += covered_as(&triangles, &outline);
        }
    }
    assert!(compared == 20 * 36 * 16 && covered > 10_000, "{compared} {covered}");
    println!("{compared} extents, worst {worst:.3} px; {covered} pixels covered");
}

#[test]
fn the_wires_of_the_scene_are_where_the_rod_files_have_them() {
    let case = demo();
    let dir = case.path().join("written");
    let scene = Scene::read(&dir.join("scene.glb"));
    let camera = scene.node("camera");
    let rows: Vec<_> =
        table(&dir.join("still.rods.csv")).into_iter().filter(|r| r["instant"] == "middle" && !r["width1"].is_empty()).collect();
    let first: BTreeMap<String, usize> = rows.iter().rev().map(|r| (r["group"].clone(), r["rod"].parse().unwrap())).collect();
    let mut compared = 0;
    for row in rows.iter().filter(|r| r["cut"].is_empty() && !r["x1"].is_empty()) {
        let number = row["rod"].parse::<usize>().unwrap() + 1 - first[&row["group"]];
        let node = scene.node(&format!("{}._wire_{number}", row["group"]));
        let at = (row["frame"].parse::<i64>().unwrap() - FRAMES[0]) as usize;
        let ends = [0.0, 1.0].map(|y| scene.pixel(camera, at, scene.out(node, at, [0.0, y, 0.0])));
        let of = |name: &str| row[name].parse::<f64>().unwrap();
        let want = [[of("x1"), of("y1")], [of("x2"), of("y2")]];
        let off = |ends: [Pixel; 2]| (0..2).map(|i| (ends[i][0] - want[i][0]).hypot(ends[i][1] - want[i][1])).fold(0.0, f64::max);
        let off = off(ends).min(off([ends[1], ends[0]]));
        assert!(off < 0.05, "{row:?}: {off} px");
        compared += 1;
    }
    assert!(compared > 100, "{compared}");
}
