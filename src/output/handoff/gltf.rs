//! The scene as one binary glTF 2.0 file: a node for every body and, below it, for every limb, moving, with the camera's view and the rods as lines.
//!
//! Source: Khronos glTF 2.0 specification: right-handed, Y up, metres; a camera looks along its own -Z with Y up, its `yfov` is vertical and in
//! radians; quaternions are X Y Z W; samplers take seconds as single-precision floats; the binary container is a header of 12 bytes, a JSON chunk and
//! a BIN chunk. Form: `LINEAR` samplers with a value at the middle of each photographed frame, the first at 0 s, at the frame rate of projection.
//! Invariant: times rise strictly (a million whole frames differ by more than a part in 2^24, so single precision parts them), every number is
//! finite. Limits: single precision, so times and positions are off by up to a part in 2^24; between frames a player goes straight, the machine does
//! not. Core glTF moves neither focal length nor focus: they are in the extras of the camera and in the CSV.

use std::io;

use serde_json::{Map, Value, json};

use super::poses::{PoseError, PosedBody, Size};
use super::sampling::Sampling;
use crate::mechanism::{Lens, Vector};
use crate::shot::Shot;
use crate::stage::{Line, Place, Stage};

/// Writes the scene.
///
/// # Errors
/// A writer that fails; a scene longer than a binary glTF file can be.
pub(crate) fn write(
    out: impl io::Write,
    stage: &Stage,
    shot: &Shot,
    bodies: &[PosedBody<'_>],
    (size, sampling): (Size, &Sampling),
) -> Result<(), PoseError> {
    let divisor = size.divisor(stage);
    let mut data = Data::default();
    let times: Vec<f32> = (0_i64..).zip(shot.frames().frames()).map(|(row, _)| single(shot.frame_rate().seconds(row))).collect();
    let times = data.accessor("SCALAR", &times, 1, None, true);
    let (mut nodes, mut cameras, mut meshes) = (Vec::new(), Vec::new(), Vec::new());
    let (mut channels, mut samplers) = (Vec::new(), Vec::new());
    for (index, body) in bodies.iter().enumerate() {
        let mut node = Map::new();
        node.insert("name".to_owned(), json!(body.name));
        // A limb is a child of what carries it, so its place is that on its parent.
        let poses = if body.limb.is_some() { &body.on_parent } else { &body.poses };
        let positions: Vec<[f32; 3]> = poses.iter().map(|p| metres(&p.translation.vector.data.0, divisor)).collect();
        let turns: Vec<[f32; 4]> = poses.iter().map(|p| [p.rotation.i, p.rotation.j, p.rotation.k, p.rotation.w].map(single)).collect();
        if let (Some(position), Some(turn)) = (positions.first(), turns.first()) {
            node.insert("translation".to_owned(), json!(position));
            node.insert("rotation".to_owned(), json!(turn));
        }
        if let Some(lens) = body.lens() {
            node.insert("camera".to_owned(), json!(cameras.len()));
            cameras.push(camera(&body.name, lens, divisor));
        }
        let carried = children(bodies, index);
        if !carried.is_empty() {
            node.insert("children".to_owned(), json!(carried));
        }
        let place = body.limb.map_or(Place::Body, Place::Limb);
        let rods: Vec<&Line> = body.body.lines().iter().filter(|l| l.diameter.is_none() && l.ends[0].place == place).collect();
        if !rods.is_empty() {
            let ends: Vec<f32> = rods.iter().flat_map(|r| r.ends).flat_map(|hold| local(hold.at, divisor)).collect();
            let ends = data.accessor("VEC3", &ends, 3, Some(34962), true);
            node.insert("mesh".to_owned(), json!(meshes.len()));
            meshes.push(json!({"name": format!("{} rods", body.name), "primitives": [{"attributes": {"POSITION": ends}, "mode": 1}]}));
        }
        nodes.push(Value::Object(node));
        let outputs = [
            ("translation", data.accessor("VEC3", positions.as_flattened(), 3, None, false)),
            ("rotation", data.accessor("VEC4", turns.as_flattened(), 4, None, false)),
        ];
        for (path, output) in outputs {
            channels.push(json!({"sampler": samplers.len(), "target": {"node": index, "path": path}}));
            samplers.push(json!({"input": times, "output": output, "interpolation": "LINEAR"}));
        }
    }
    let roots: Vec<usize> = bodies.iter().enumerate().filter(|(_, b)| b.limb.is_none()).map(|(i, _)| i).collect();
    let mut root = Map::new();
    root.insert(
        "asset".to_owned(),
        json!({
            "version": "2.0",
            "generator": concat!("movewright ", env!("CARGO_PKG_VERSION")),
            "extras": {
                "shot": shot.name(), "frame_rate": shot.frame_rate().to_string(), "first_frame": sampling.number(shot.frames().first()),
                "timecode_start": shot.timecode_start().to_string(), "size": size.name(), "stage_scale": stage.scale(),
            },
        }),
    );
    root.insert("scene".to_owned(), json!(0));
    root.insert("scenes".to_owned(), json!([{"name": stage.name(), "nodes": roots}]));
    root.insert("nodes".to_owned(), Value::Array(nodes));
    for (key, list) in [("cameras", cameras), ("meshes", meshes)] {
        if !list.is_empty() {
            root.insert(key.to_owned(), Value::Array(list));
        }
    }
    root.insert("animations".to_owned(), json!([{"name": shot.name(), "channels": channels, "samplers": samplers}]));
    root.insert("buffers".to_owned(), json!([{"byteLength": data.bytes.len()}]));
    root.insert("bufferViews".to_owned(), Value::Array(data.views));
    root.insert("accessors".to_owned(), Value::Array(data.accessors));
    container(out, serde_json::to_vec(&Value::Object(root))?, &data.bytes)
}

/// The nodes of the limbs that a body or a limb carries.
fn children(bodies: &[PosedBody<'_>], index: usize) -> Vec<usize> {
    let Some(parent) = bodies.get(index) else { return Vec::new() };
    bodies.iter().enumerate().filter(|(_, b)| b.is_carried_by(parent)).map(|(i, _)| i).collect()
}

/// The view of a lens; nearer than one focal length nothing is shown, which is this file's choice.
fn camera(name: &str, lens: &Lens, divisor: f64) -> Value {
    json!({
        "name": name,
        "type": "perspective",
        "perspective": {"yfov": lens.vertical_view(), "aspectRatio": lens.aspect(), "znear": lens.focal_length() / divisor},
        "extras": {"focal_length_mm": lens.focal_length(), "back_mm": lens.back(), "pixels": lens.pixels()},
    })
}

fn local(v: Vector, divisor: f64) -> [f32; 3] {
    metres(&[[v.x, v.y, v.z]], divisor)
}

fn metres([xyz]: &[[f64; 3]; 1], divisor: f64) -> [f32; 3] {
    xyz.map(|x| single(x / divisor))
}

/// The nearest number of single precision, and no minus before a zero.
#[allow(
    clippy::cast_possible_truncation,
    reason = "single precision is what the format holds; lengths and seconds stay far below its largest"
)]
fn single(x: f64) -> f32 {
    x as f32 + 0.0
}

/// Numbers in the binary chunk, with what distinguishes them.
#[derive(Default)]
struct Data {
    bytes: Vec<u8>,
    views: Vec<Value>,
    accessors: Vec<Value>,
}

impl Data {
    /// Adds numbers of `width` each; the accessor's index.
    fn accessor(&mut self, kind: &str, numbers: &[f32], width: usize, target: Option<u32>, with_range: bool) -> usize {
        let mut view = json!({"buffer": 0, "byteOffset": self.bytes.len(), "byteLength": numbers.len() * 4});
        let mut accessor = json!({"bufferView": self.views.len(), "componentType": 5126, "count": numbers.len() / width, "type": kind});
        if let (Some(target), Some(view)) = (target, view.as_object_mut()) {
            view.insert("target".to_owned(), json!(target));
        }
        if let (true, Some(accessor)) = (with_range, accessor.as_object_mut()) {
            let every = |from: usize| numbers.iter().skip(from).step_by(width).copied();
            let least: Vec<f32> = (0..width).map(|i| every(i).fold(f32::INFINITY, f32::min)).collect();
            let most: Vec<f32> = (0..width).map(|i| every(i).fold(f32::NEG_INFINITY, f32::max)).collect();
            accessor.insert("min".to_owned(), json!(least));
            accessor.insert("max".to_owned(), json!(most));
        }
        self.bytes.extend(numbers.iter().flat_map(|x| x.to_le_bytes()));
        self.views.push(view);
        self.accessors.push(accessor);
        self.accessors.len() - 1
    }
}

/// Header, JSON chunk filled up with spaces, BIN chunk; the numbers are of four bytes each, so that it needs no filling.
fn container(mut out: impl io::Write, mut text: Vec<u8>, data: &[u8]) -> Result<(), PoseError> {
    text.resize(text.len().next_multiple_of(4), b' ');
    let bytes = 12 + 8 + text.len() + 8 + data.len();
    let word = |n: usize| u32::try_from(n).map(u32::to_le_bytes).map_err(|_| PoseError::TooLong { bytes });
    out.write_all(b"glTF")?;
    out.write_all(&2_u32.to_le_bytes())?;
    out.write_all(&word(bytes)?)?;
    for (kind, chunk) in [(b"JSON", text.as_slice()), (b"BIN\0", data)] {
        out.write_all(&word(chunk.len())?)?;
        out.write_all(kind)?;
        out.write_all(chunk)?;
    }
    Ok(())
}
