//! What the paint and CG departments take over: rods in the picture, poses as CSV, the scene as glTF, all read back by readers of their own.

use std::collections::BTreeMap;

use crate::inside::common::{Program, checked, compiled, group_at, moving, shot};
use movewright::check::Approval;
use movewright::compile::Compiled;
use movewright::mechanism::{Aim, JointKind, JointSpec, Lens, LensSpec, Pixel, Vector};
use movewright::number::Jet;
use movewright::output::Export;
use movewright::output::handoff::gltf;
use movewright::output::handoff::outline::State;
use movewright::output::handoff::poses::{Size, posed};
use movewright::output::handoff::rods::{self, Guide, Seen};
use movewright::output::handoff::sampling::{Sampling, Wishes};
use movewright::output::handoff::tables::{self, Kind};
use movewright::output::staged::hash_of;
use movewright::shot::{Exposure, Pass, Shape};
use movewright::stage::{Axis, AxisSpec, BodySpec, GroupSpec, Rod, Stage, Surroundings, Unit};
use movewright::time::FrameTime;
use nalgebra::{Isometry3, Point3, Quaternion, Translation3, UnitQuaternion, Vector3};
use serde_json::Value;

/// 15 mm with pixels of 10 um, 1280 x 1024 of them: 1500 pixels of focal length, middle (640, 512).
fn lens() -> Lens {
    Lens::new(LensSpec { focal_length: 15.0, back: [12.8, 10.24], pixels: [1280, 1024] }).unwrap()
}

fn rod(from: [f64; 3], to: [f64; 3]) -> Rod {
    Rod { from: Vector::from(from), to: Vector::from(to), limb: None }
}

fn slide(channel: usize, along: [f64; 3], offset: [f64; 3]) -> JointSpec {
    JointSpec { kind: JointKind::Slide(along), channel: Some(channel), rest: 0.0, offset }
}

fn turn(channel: usize, about: [f64; 3], offset: [f64; 3]) -> JointSpec {
    JointSpec { kind: JointKind::Turn(about), channel: Some(channel), rest: 0.0, offset }
}

/// Axes camera.track, camera.pan, camera.tilt, heron.fly, heron.lift, heron.bank at a scale of 1:4, and these two bodies.
fn marsh(camera: Vec<JointSpec>, heron: Vec<JointSpec>, rods: Vec<Rod>) -> Stage {
    let axis = |name: &str, unit| Axis::new(AxisSpec::new(name, unit, [-1e6, 1e6], [1e6, 1e6, 1e6])).unwrap();
    let (mm, deg) = (Unit::Millimetre, Unit::Degree);
    let groups = vec![
        GroupSpec { name: "camera".into(), axes: vec![axis("track", mm), axis("pan", deg), axis("tilt", deg)] },
        GroupSpec { name: "heron".into(), axes: vec![axis("fly", mm), axis("lift", mm), axis("bank", deg)] },
    ];
    let body = |group: &str, joints, lens, rods, names: [&str; 3]| BodySpec {
        joints,
        channels: names.map(str::to_owned).to_vec(),
        lens,
        rods,
        ..BodySpec::new(group)
    };
    let bodies = vec![
        body("camera", camera, Some(lens()), vec![], ["camera.track", "camera.pan", "camera.tilt"]),
        body("heron", heron, None, rods, ["heron.fly", "heron.lift", "heron.bank"]),
    ];
    Stage::new("marsh", 0.25, groups).unwrap().with_bodies(bodies, Surroundings::default()).unwrap()
}

/// A straight line through two keys: natural cubics go on at their end speed.
fn straight(keys: [(f64, f64); 2]) -> Program {
    Program { tracks: vec![(Shape::NaturalCubic, None, keys.to_vec())], ..Program::default() }
}

fn still() -> Program {
    Program::default()
}

fn guide_of(stage: &Stage, frames: (i64, i64), programs: &[Program], pass: Pass) -> (Compiled, Guide) {
    let compiled = compiled(stage, &shot(stage, frames, programs, vec![pass]));
    let guide = rods::guide(&compiled, &compiled.shot().passes()[0]).unwrap();
    (compiled, guide)
}

const RODS: &str = "frame,camera,group,rod,instant,x1,y1,x2,y2,cut,state";
const OUTLINES: &str = "frame,camera,group,rod,corner,x,y,margin,cut,state";

/// The rows of an ideal lens without the undistorted places, which repeat those on the plate, and without the bow, which is nothing, and the widths of wires.
fn lines(guide: &Guide) -> Vec<String> {
    let mut out = Vec::new();
    guide.write_lines(&mut out, &Sampling::default()).unwrap();
    let header = format!(
        "{RODS},undistorted_x1,undistorted_y1,undistorted_x2,undistorted_y2,bow,width1,width2,undistorted_width1,undistorted_width2"
    );
    without_undistorted(&out, &header, RODS, &|cells| {
        let bow = if cells[5].is_empty() { "" } else { "0.0000" };
        [&cells[5..9], &[bow.to_owned()], &[const { String::new() }; 4]].concat()
    })
}

fn outlines(guide: &Guide) -> Vec<String> {
    let mut out = Vec::new();
    guide.write_outlines(&mut out, &Sampling::default()).unwrap();
    let header = format!("{OUTLINES},undistorted_x,undistorted_y,width,undistorted_width");
    without_undistorted(&out, &header, OUTLINES, &|cells| [&cells[5..7], &[const { String::new() }; 2]].concat())
}

fn without_undistorted(out: &[u8], header: &str, short: &str, repeated: &dyn Fn(&[String]) -> Vec<String>) -> Vec<String> {
    let text = String::from_utf8(out.to_vec()).unwrap();
    let mut rows = text.lines();
    assert_eq!(rows.next(), Some(header));
    let kept = short.split(',').count();
    let row = |row: &str| {
        let cells: Vec<String> = row.split(',').map(str::to_owned).collect();
        assert_eq!(cells[kept..], repeated(&cells), "{row}");
        cells[..kept].join(",")
    };
    core::iter::once(short.to_owned()).chain(rows.map(row)).collect()
}

/// The rod's end is at the published point (0.3, 0.4, 3) m, pixel (790, 712) (Corke, Machine Vision Toolbox README); it flies 10 mm per frame, and
/// half a pixel a millimetre (1500 / 3000), so a shutter of 180 degrees moves it from 1.25 px before to 1.25 px behind.
#[test]
fn a_rod_at_the_published_point() {
    let heron = vec![slide(0, [1.0, 0.0, 0.0], [300.0, -400.0, -3000.0])];
    let stage = marsh(vec![], heron, vec![rod([0.0; 3], [0.0, 400.0, 0.0])]);
    let fly = straight([(1.0, 0.0), (11.0, 100.0)]);
    let programs = [still(), still(), still(), fly];
    let (_, guide) = guide_of(&stage, (1, 11), &programs, moving(&stage, "picture", 10.0));
    let rows = lines(&guide);
    assert_eq!(rows.len(), 1 + 11 * 3);
    assert_eq!(
        rows[..4],
        [
            RODS,
            "1,camera,heron,1,open,788.7500,712.0000,788.7500,512.0000,,in_picture",
            "1,camera,heron,1,middle,790.0000,712.0000,790.0000,512.0000,,in_picture",
            "1,camera,heron,1,close,791.2500,712.0000,791.2500,512.0000,,in_picture",
        ]
    );
    assert_eq!(
        outlines(&guide)[..5],
        [
            OUTLINES,
            "1,camera,heron,1,1,788.7500,512.0000,0.0000,,in_picture",
            "1,camera,heron,1,2,791.2500,512.0000,0.0000,,in_picture",
            "1,camera,heron,1,3,791.2500,712.0000,0.0000,,in_picture",
            "1,camera,heron,1,4,788.7500,712.0000,0.0000,,in_picture",
        ]
    );
    // Held, the shutter sees them stand, and the outline is the line.
    let held = Pass::new(&stage, "picture", Exposure::Held, 100.0, 180.0, 0.0, vec![]).unwrap();
    let (_, guide) = guide_of(&stage, (1, 11), &programs, held);
    let rows = lines(&guide);
    assert_eq!(
        rows[4..7],
        ["open", "middle", "close"].map(|i| format!("2,camera,heron,1,{i},795.0000,712.0000,795.0000,512.0000,,in_picture"))
    );
    assert_eq!(outlines(&guide).len(), 1 + 11 * 2);
    // A group that the pass parks stands at home, and its rod with it.
    let parked = Pass::new(&stage, "rods", Exposure::Moving, 10.0, 180.0, 0.0, vec![group_at(&stage, 1)]).unwrap();
    let (_, guide) = guide_of(&stage, (1, 11), &programs, parked);
    assert_eq!(lines(&guide)[33], "11,camera,heron,1,close,790.0000,712.0000,790.0000,512.0000,,in_picture");
}

/// How far a point is outside a convex outline with corners in order; 0 or less inside.
fn outside(corners: &[Pixel], p: Pixel) -> f64 {
    let mut furthest = f64::NEG_INFINITY;
    for i in 0..corners.len() {
        let (a, b) = (corners[i], corners[(i + 1) % corners.len()]);
        let (x, y) = (b.right - a.right, b.down - a.down);
        furthest = furthest.max((y * (p.right - a.right) - x * (p.down - a.down)) / x.hypot(y));
    }
    furthest
}

/// A rod of 200 px on a heron that banks by 40 degrees per frame: its end is on an arc, outside the outline between the instants, within the margin.
/// Derived: the sag of an eighth of 20 degrees at 200 px is 200 (2.5 deg)^2 / 8 = 0.048 px, of which the margin is twice.
#[test]
fn the_outline_with_its_margin_holds_the_rod_at_every_instant() {
    let heron = vec![slide(0, [1.0, 0.0, 0.0], [0.0, 0.0, -3000.0]), turn(2, [0.0, 0.0, 1.0], [0.0; 3])];
    let stage = marsh(vec![], heron, vec![rod([0.0; 3], [0.0, 400.0, 0.0])]);
    let programs = [still(), still(), still(), straight([(1.0, 0.0), (9.0, 40.0)]), still(), straight([(1.0, 0.0), (9.0, 320.0)])];
    let (compiled, guide) = guide_of(&stage, (1, 9), &programs, moving(&stage, "picture", 10.0));
    let mut needed: f64 = 0.0;
    for seen in &guide.seen {
        assert!(0.09 < seen.margin && seen.margin < 0.1, "{}", seen.margin);
        let (open, close) = compiled.shot().passes()[0].shutter().window(seen.frame);
        for k in 0..=400 {
            let t = open + (close - open) * f64::from(k) / 400.0;
            let at = |i: usize| compiled.pose_at(None, &stage.bodies()[i], FrameTime(t)).unwrap();
            for end in [Vector::from([0.0; 3]), Vector::from([0.0, 400.0, 0.0])] {
                let beyond = outside(&seen.outline, lens().project(&at(0), at(1).out_fixed(end)).unwrap());
                assert!(beyond <= seen.margin, "frame {} at {t}: {beyond} px", seen.frame);
                needed = needed.max(beyond);
            }
        }
    }
    assert!(needed > 0.04, "the margin was never needed: {needed}");
}

/// What is beyond the edge, behind the camera or both is said, with numbers as far as there are any. Near plane: 0.15 mm.
#[test]
fn nothing_is_cut_in_silence() {
    let rods = vec![
        rod([0.0, 0.0, -3000.0], [0.0, -500.0, -3000.0]),
        rod([0.0, 0.0, -3000.0], [0.0, -5000.0, -3000.0]),
        rod([5000.0, 0.0, -3000.0], [5000.0, -500.0, -3000.0]),
        rod([0.0, 0.0, 100.0], [0.0, -500.0, 200.0]),
        rod([10.0, 0.0, -100.0], [10.0, 0.0, 100.0]),
        rod([100.0, 0.0, 100.0], [100.0, 0.0, -100.0]),
        rod([0.0, 0.0, -100.0], [0.0, 0.0, 100.0]),
    ];
    let stage = marsh(vec![], vec![], rods);
    let (_, guide) = guide_of(&stage, (7, 7), &[], moving(&stage, "picture", 10.0));
    let middle: Vec<String> = lines(&guide).into_iter().filter(|r| r.contains(",middle,")).collect();
    assert_eq!(
        middle,
        [
            "7,camera,heron,1,middle,640.0000,512.0000,640.0000,762.0000,,in_picture",
            "7,camera,heron,2,middle,640.0000,512.0000,640.0000,3012.0000,,part_in_picture",
            "7,camera,heron,3,middle,3140.0000,512.0000,3140.0000,762.0000,,out_of_picture",
            "7,camera,heron,4,middle,,,,,,behind_camera",
            "7,camera,heron,5,middle,790.0000,512.0000,100640.0000,512.0000,to,part_in_picture",
            "7,camera,heron,6,middle,1000640.0000,512.0000,2140.0000,512.0000,from,out_of_picture",
            "7,camera,heron,7,middle,640.0000,512.0000,640.0000,512.0000,to,part_in_picture",
        ]
    );
    let states: Vec<(State, bool)> = guide.seen.iter().map(|s| (s.state, s.cut)).collect();
    let (whole, cut) = (|state| (state, false), |state| (state, true));
    let want = [
        whole(State::In),
        whole(State::Part),
        whole(State::Out),
        whole(State::Behind),
        cut(State::Part),
        cut(State::Out),
        cut(State::Part),
    ];
    assert_eq!(states, want);
    assert!(outlines(&guide).contains(&"7,camera,heron,4,,,,,,behind_camera".to_owned()));
}

/// Flying 100 mm per frame towards the camera and past it, at frame 5: seen when the shutter opens, behind when it closes.
#[test]
fn a_rod_that_passes_the_camera_within_an_exposure() {
    let stage = marsh(vec![], vec![slide(0, [0.0, 0.0, 1.0], [0.0; 3])], vec![rod([0.0; 3], [0.0, 5.0, 0.0])]);
    let programs = [still(), still(), still(), straight([(1.0, -400.0), (5.0, 0.0)])];
    let (_, guide) = guide_of(&stage, (1, 9), &programs, moving(&stage, "picture", 10.0));
    let at = |frame: i64| guide.seen.iter().find(|s| s.frame == frame).unwrap();
    let states = |s: &Seen| s.lines.clone().map(|l| l.state);
    assert_eq!((states(at(4)), at(4).state, at(4).cut), ([State::In; 3], State::In, false));
    assert_eq!((states(at(5)), at(5).state, at(5).cut), ([State::In, State::Behind, State::Behind], State::Part, true));
    assert_eq!((states(at(6)), at(6).state, at(6).cut), ([State::Behind; 3], State::Behind, false));
    assert!(at(6).outline.is_empty());
}

fn table(compiled: &Compiled, kind: Kind, size: Size) -> Vec<BTreeMap<String, String>> {
    let mut out = Vec::new();
    let sampling = Sampling::new(compiled.shot(), Wishes::default());
    tables::write(&mut out, compiled.stage(), compiled.shot(), &posed(compiled, &sampling).unwrap(), kind, (size, &sampling)).unwrap();
    let mut reader = csv::Reader::from_reader(out.as_slice());
    let header = reader.headers().unwrap().clone();
    reader.records().map(|r| header.iter().map(str::to_owned).zip(r.unwrap().iter().map(str::to_owned)).collect()).collect()
}

fn numbers<const N: usize>(row: &BTreeMap<String, String>, names: [&str; N]) -> [f64; N] {
    names.map(|n| row[n].parse().unwrap())
}

/// A heron that banks twice round, seen by a camera at the origin.
#[test]
fn poses_as_csv_at_both_sizes() {
    let heron = vec![slide(0, [1.0, 0.0, 0.0], [0.0, 250.0, -3000.0]), turn(2, [0.0, 0.0, 1.0], [0.0; 3])];
    let stage = marsh(vec![], heron, vec![]);
    let programs = [still(), still(), still(), straight([(1.0, 0.0), (49.0, 480.0)]), still(), straight([(1.0, 0.0), (49.0, 720.0)])];
    let parks = Pass::new(&stage, "empty", Exposure::Moving, 10.0, 180.0, 0.0, vec![group_at(&stage, 1)]).unwrap();
    let shot = shot(&stage, (1, 49), &programs, vec![parks]);
    let mv = compiled(&stage, &shot);
    let rows = table(&mv, Kind::Figures, Size::Model);
    let full = table(&mv, Kind::Figures, Size::Full);
    assert_eq!((rows.len(), full.len()), (49, 49));
    let mut last: Option<[f64; 4]> = None;
    for (i, (row, full)) in rows.iter().zip(&full).enumerate() {
        assert_eq!((row["frame"].as_str(), row["body"].as_str()), ((i + 1).to_string().as_str(), "heron"));
        let [x, y, z] = numbers(row, ["x_m", "y_m", "z_m"]);
        // Nine decimals of a metre.
        assert!((x - 0.01 * i as f64).abs() <= 5.1e-10 && y == 0.25 && z == -3.0, "{row:?}");
        for name in ["x_m", "y_m", "z_m"] {
            let [model, real] = [numbers(row, [name])[0], numbers(full, [name])[0]];
            assert!((real - 4.0 * model).abs() <= 2.6e-9, "{name}: {model} {real}");
        }
        let q: [f64; 4] = numbers(row, ["qx", "qy", "qz", "qw"]);
        assert_eq!(q, numbers(full, ["qx", "qy", "qz", "qw"]));
        let half = (15.0 * i as f64 / 2.0).to_radians();
        // Twelve decimals; q and -q are one turn.
        let turned = (q[2] - half.sin()).abs() <= 1e-12 && (q[3] - half.cos()).abs() <= 1e-12;
        assert!(turned && q[0] == 0.0 && q[1] == 0.0, "{row:?}");
        if let Some(last) = last {
            assert!(last.iter().zip(&q).map(|(a, b)| a * b).sum::<f64>() > 0.9, "a sign between {i} and the frame before");
        }
        last = Some(q);
    }
    let camera = &table(&mv, Kind::Cameras, Size::Full)[24];
    assert_eq!((camera["frame"].as_str(), camera["timecode"].as_str(), camera["camera"].as_str()), ("25", "00:00:01:00", "camera"));
    assert_eq!(numbers(camera, ["x_m", "y_m", "z_m", "qx", "qy", "qz", "qw"]), [0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0]);
    assert_eq!(numbers(camera, ["focal_length_mm", "back_width_mm", "back_height_mm"]), [15.0, 12.8, 10.24]);
    assert_eq!(numbers(camera, ["pixels_across", "pixels_down"]), [1280.0, 1024.0]);
}

/// A reader of binary glTF 2.0, no more than these tests need.
struct Scene {
    json: Value,
    data: Vec<u8>,
}

impl Scene {
    fn read(bytes: &[u8]) -> Scene {
        let word = |at: usize| u32::from_le_bytes(bytes[at..at + 4].try_into().unwrap()) as usize;
        assert_eq!((&bytes[..4], word(4), word(8)), (b"glTF".as_slice(), 2, bytes.len()));
        let text = word(12);
        assert_eq!((text % 4, &bytes[16..20]), (0, b"JSON".as_slice()));
        let json = serde_json::from_slice(&bytes[20..20 + text]).unwrap();
        let from = 20 + text;
        assert_eq!((word(from), &bytes[from + 4..from + 8]), (bytes.len() - from - 8, b"BIN\0".as_slice()));
        Scene { json, data: bytes[from + 8..].to_vec() }
    }

    fn node(&self, name: &str) -> usize {
        self.json["nodes"].as_array().unwrap().iter().position(|n| n["name"] == name).unwrap()
    }

    fn floats(&self, accessor: &Value) -> Vec<f64> {
        let accessor = &self.json["accessors"][accessor.as_u64().unwrap() as usize];
        assert_eq!(accessor["componentType"], 5126);
        let view = &self.json["bufferViews"][accessor["bufferView"].as_u64().unwrap() as usize];
        let [from, length] = ["byteOffset", "byteLength"].map(|k| view[k].as_u64().unwrap() as usize);
        self.data[from..from + length].chunks(4).map(|c| f64::from(f32::from_le_bytes(c.try_into().unwrap()))).collect()
    }

    fn sampler(&self, node: usize, path: &str) -> (Vec<f64>, Vec<f64>) {
        let animation = &self.json["animations"][0];
        let channels = animation["channels"].as_array().unwrap();
        let channel = channels.iter().find(|c| c["target"]["node"] == node && c["target"]["path"] == path).unwrap();
        let sampler = &animation["samplers"][channel["sampler"].as_u64().unwrap() as usize];
        assert_eq!(sampler["interpolation"], "LINEAR");
        (self.floats(&sampler["input"]), self.floats(&sampler["output"]))
    }

    /// Where a node is at row `i` of the animation, metres.
    fn pose(&self, node: usize, i: usize) -> Isometry3<f64> {
        let (p, q) = (self.sampler(node, "translation").1, self.sampler(node, "rotation").1);
        let q = Quaternion::new(q[4 * i + 3], q[4 * i], q[4 * i + 1], q[4 * i + 2]);
        // Single precision: a part in 2^24 a component.
        assert!((q.norm() - 1.0).abs() <= 1.2e-7, "{q:?}");
        Isometry3::from_parts(Translation3::new(p[3 * i], p[3 * i + 1], p[3 * i + 2]), UnitQuaternion::new_normalize(q))
    }

    /// A point of the scene in a picture of `down` pixels, by the view the file states: yfov from top to bottom, looking along -Z, Y up.
    fn project(&self, camera: usize, i: usize, point: Point3<f64>, down: f64) -> [f64; 2] {
        let index = self.json["nodes"][camera]["camera"].as_u64().unwrap() as usize;
        let view = &self.json["cameras"][index]["perspective"];
        let [yfov, aspect] = ["yfov", "aspectRatio"].map(|k| view[k].as_f64().unwrap());
        let seen = self.pose(camera, i).inverse_transform_point(&point);
        assert!(seen.z < 0.0, "behind: {seen}");
        let focal = 0.5 * down / (yfov / 2.0).tan();
        [0.5 * down * aspect + focal * seen.x / -seen.z, 0.5 * down - focal * seen.y / -seen.z]
    }
}

/// A camera on a track that pans and tilts so that a point of the flying heron stays in the middle; and the same rod as the guide has it.
#[test]
fn the_gltf_read_back_has_the_aim_point_in_the_middle() {
    let up = [0.0, 1.0, 0.0];
    let camera = vec![slide(0, [1.0, 0.0, 0.0], [0.0, 300.0, 0.0]), turn(1, up, [0.0, 40.0, 0.0]), turn(2, [1.0, 0.0, 0.0], [0.0; 3])];
    let heron = vec![slide(0, [1.0, 0.0, 0.0], [-200.0, 900.0, -2500.0]), slide(1, up, [0.0; 3])];
    let stage = marsh(camera, heron, vec![rod([0.0; 3], [30.0, -200.0, 20.0])]);
    let (first, last) = (1_i64, 25_i64);
    let track = |f: f64| 20.0 * (f - 1.0);
    let (fly, lift) = (|f: f64| 40.0 * (f - 1.0), |f: f64| -12.0 * (f - 1.0));
    let chain = stage.bodies()[0].chain();
    let aim = Aim::new(chain, [1, 2], [[-170.0, 170.0], [-80.0, 80.0]]).unwrap();
    let (mut pan, mut tilt) = (vec![], vec![]);
    for frame in first..=last {
        let f = frame as f64;
        let at = [-200.0 + fly(f), 900.0 + lift(f), -2500.0];
        let target = Vector::constant(Vector::from(at));
        let found = aim.solve(chain, |_| Jet::constant(track(f)), target, [0.0, 0.0]).unwrap();
        pan.push((f, found[0].p));
        tilt.push((f, found[1].p));
    }
    let keyed = |keys| Program { tracks: vec![(Shape::MinimumJerk, None, keys)], ..Program::default() };
    let line = |value: &dyn Fn(f64) -> f64| straight([(1.0, value(1.0)), (25.0, value(25.0))]);
    let programs = [line(&track), keyed(pan), keyed(tilt), line(&fly), line(&lift)];
    let shot = shot(&stage, (first, last), &programs, vec![moving(&stage, "picture", 10.0)]);
    let mv = compiled(&stage, &shot);
    let sampling = Sampling::new(&shot, Wishes::default());
    let bodies = posed(&mv, &sampling).unwrap();
    let guide = rods::guide(&mv, &shot.passes()[0]).unwrap();
    for (size, metres) in [(Size::Model, 0.001), (Size::Full, 0.004)] {
        let mut bytes = Vec::new();
        gltf::write(&mut bytes, &stage, &shot, &bodies, (size, &sampling)).unwrap();
        let scene = Scene::read(&bytes);
        let (camera, heron) = (scene.node("camera"), scene.node("heron"));
        let (times, _) = scene.sampler(heron, "translation");
        assert_eq!(times.len(), 25);
        for (i, time) in times.iter().enumerate() {
            assert!((time - i as f64 / 24.0).abs() <= time / 16_777_216.0);
            let body = scene.pose(heron, i);
            // Derived: positions of 3 m and turns, each off by a part in 2^24, at 1500 px of focal length: some 2e-4 px each, three of them.
            let [right, down] = scene.project(camera, i, Point3::from(body.translation.vector), 1024.0);
            assert!((right - 640.0).abs() <= 1e-3 && (down - 512.0).abs() <= 1e-3, "row {i}: {right} {down}");
            let end = body * Point3::from(Vector3::new(30.0, -200.0, 20.0) * metres);
            let [right, down] = scene.project(camera, i, end, 1024.0);
            let rod = guide.seen[i].lines[1].ends().unwrap()[1].plate;
            assert!((right - rod.right).abs() <= 1e-3 && (down - rod.down).abs() <= 1e-3, "row {i}: {right} {down} {rod:?}");
        }
        let place = scene.pose(heron, 24).translation;
        let want = [-200.0 + fly(25.0), 900.0 + lift(25.0), -2500.0].map(|mm| mm * metres);
        assert!((place.vector - Vector3::from(want)).norm() <= 1e-6, "{place}");
        let mesh = scene.json["nodes"][heron]["mesh"].as_u64().unwrap() as usize;
        let ends = scene.floats(&scene.json["meshes"][mesh]["primitives"][0]["attributes"]["POSITION"]);
        let want = [0.0, 0.0, 0.0, 30.0, -200.0, 20.0].map(|mm: f64| f64::from((mm * metres) as f32));
        assert!(ends.iter().zip(want).all(|(a, b)| (a - b).abs() <= 1e-7), "{ends:?}");
        assert_eq!(scene.json["asset"]["extras"]["size"], size.name());
    }
}

/// A folder has these files where the stage has bodies, and the manifest lists them with their hashes; a stage without has none of them.
#[test]
fn the_folder_lists_what_it_hands_over() {
    let names = |stage: &Stage, full_size: bool| -> Vec<String> {
        let shot = shot(stage, (1, 5), &[], vec![moving(stage, "picture", 10.0)]);
        let report = checked(stage, &shot);
        let dir = tempfile::tempdir().unwrap();
        let target = dir.path().join("out");
        let sources = [("shot.toml".to_owned(), b"format = 1\n".to_vec())];
        let export = Export {
            parts: None,
            approval: Approval::over_limits(&report),
            sources: &sources,
            replace: false,
            wishes: Wishes { full_size, ..Wishes::default() },
            rows: None,
        };
        export.write(&target, &mut |_| {}).unwrap();
        let manifest: Value = serde_json::from_slice(&std::fs::read(target.join("manifest.json")).unwrap()).unwrap();
        let files = manifest["files"].as_array().unwrap();
        for file in files {
            let (bytes, hash) = hash_of(&target.join(file["path"].as_str().unwrap())).unwrap();
            assert_eq!((file["bytes"].as_u64().unwrap(), file["blake3"].as_str().unwrap()), (bytes, hash.as_str()));
        }
        files.iter().map(|f| f["path"].as_str().unwrap().to_owned()).collect()
    };
    let stage = marsh(vec![], vec![], vec![rod([0.0, 0.0, -3000.0], [0.0, -500.0, -3000.0])]);
    let columns = ["picture.steps.csv", "picture.units.csv"];
    let handed = ["picture.rods.csv", "picture.rod_outlines.csv", "camera.csv", "bodies.csv", "scene.glb", "scene.usda"];
    let full = ["camera.full_size.csv", "bodies.full_size.csv", "scene.full_size.glb", "scene.full_size.usda"];
    let source = ["source/shot.toml"];
    assert_eq!(names(&stage, false), [&columns[..], &handed, &source].concat());
    assert_eq!(names(&stage, true), [&columns[..], &handed, &full, &source].concat());
    let plain = crate::inside::common::stage(vec![crate::inside::common::axis("fly")]);
    assert_eq!(names(&plain, true), [&columns[..], &source].concat());
}
