//! The scene as one binary glTF 2.0 file: a node for every body and, below it, for every limb, moving, with the camera's view, the rods as lines and the proxies as closed meshes; wires, obstacles and boxes
//! to keep out of.
//!
//! Source: Khronos glTF 2.0 specification: right-handed, Y up, metres; a camera looks along its own -Z with Y up, its `yfov` is vertical and in
//! radians; quaternions are X Y Z W; samplers take seconds as single-precision floats; the binary container is a header of 12 bytes, a JSON chunk and
//! a BIN chunk. Form: `LINEAR` samplers with a value at the middle of each photographed frame, the first at 0 s, at the frame rate of projection.
//! Invariant: times rise strictly (a million whole frames differ by more than a part in 2^24, so single precision parts them), every number is
//! finite. Names of groups and limbs begin with a letter, those of all else have a part that begins with `_`; proxies are counted as in the silhouettes. Those of cameras are left out: they would stand in their own
//! view. A wire is a cylinder one unit long that is moved, turned and stretched. Every group has a material of its name. Limits: single precision, so times and positions are off by up to a part in 2^24; between frames a player goes straight, the machine does
//! not. Core glTF moves neither focal length nor focus: they are in the extras of the camera and in the CSV.

use std::io;

use serde_json::{Map, Value, json};

use super::mesh::Mesh;
use super::poses::{PoseError, PosedBody, Size, name};
use super::sampling::Sampling;
use crate::mechanism::{Lens, Vector};
use crate::shot::Shot;
use crate::stage::{Line, Stage};

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
    let mut materials = Materials::default();
    let mut shapes = Shapes::default();
    // Nodes of bodies and limbs come first, then those of the proxies in the same order.
    let mut next = bodies.len();
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
        let mut carried = children(bodies, index);
        let proxies = body.proxies().count();
        carried.extend(next..next + proxies);
        next += proxies;
        if !carried.is_empty() {
            node.insert("children".to_owned(), json!(carried));
        }
        let rods: Vec<&Line> = body.rods().collect();
        if !rods.is_empty() {
            let ends: Vec<f32> = rods.iter().flat_map(|r| r.ends).flat_map(|hold| local(hold.at, divisor)).collect();
            let ends = data.accessor("VEC3", &ends, 3, Some(34962), true);
            node.insert("mesh".to_owned(), json!(meshes.len()));
            meshes.push(json!({"name": format!("{} rods", body.name), "primitives": [{
                "attributes": {"POSITION": ends}, "mode": 1, "material": materials.of(name(stage, body.body)),
            }]}));
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
    for body in bodies {
        for (number, solid) in body.proxies() {
            let title = format!("{}._proxy_{number}", body.name);
            let ends = solid.ends.map(|hold| hold.at.times(1.0 / divisor));
            let primitive = shapes.capsule(&mut data, ends, solid.radius / divisor);
            nodes.push(json!({"name": title, "mesh": meshes.len()}));
            meshes.push(mesh(&title, primitive, materials.of(name(stage, body.body))));
        }
    }
    let mut more = Vec::new();
    let mut wires = Vec::new();
    for body in bodies.iter().filter(|b| !b.wires.is_empty()) {
        let group = name(stage, body.body);
        for (i, (_, diameter)) in body.body.wires().enumerate() {
            let title = format!("{group}._wire_{}", i + 1);
            let stretched = Stretched::new(body, i, divisor);
            let primitive = shapes.cylinder(&mut data, 0.5 * diameter / divisor);
            wires.push(nodes.len());
            let first = stretched.first();
            for (path, output) in [
                ("translation", data.accessor("VEC3", stretched.places.as_flattened(), 3, None, false)),
                ("rotation", data.accessor("VEC4", stretched.turns.as_flattened(), 4, None, false)),
                ("scale", data.accessor("VEC3", stretched.sizes.as_flattened(), 3, None, false)),
            ] {
                channels.push(json!({"sampler": samplers.len(), "target": {"node": nodes.len(), "path": path}}));
                samplers.push(json!({"input": times, "output": output, "interpolation": "LINEAR"}));
            }
            let (translation, rotation, scale) = first;
            nodes.push(json!({
                "name": title, "mesh": meshes.len(), "translation": translation, "rotation": rotation, "scale": scale,
                "extras": {"diameter_mm": diameter},
            }));
            meshes.push(mesh(&title, primitive, materials.of(group)));
        }
    }
    let mut obstacles = Vec::new();
    for (number, obstacle) in (1_usize..).zip(&stage.surroundings().obstacles) {
        let ends = [obstacle.shape.from, obstacle.shape.to].map(|at| at.times(1.0 / divisor));
        let primitive = shapes.capsule(&mut data, ends, obstacle.shape.radius / divisor);
        obstacles.push(nodes.len());
        nodes.push(json!({"name": format!("_obstacle_{number}"), "mesh": meshes.len()}));
        meshes.push(mesh(&obstacle.name, primitive, materials.of("_obstacles")));
    }
    let mut boxes = Vec::new();
    for (number, keep_out) in (1_usize..).zip(&stage.surroundings().keep_out) {
        let [least, greatest] = [keep_out.least, keep_out.greatest].map(|at| at.times(1.0 / divisor));
        let primitive = data.mesh(&Mesh::cuboid(least, greatest), None);
        boxes.push(nodes.len());
        nodes.push(json!({"name": format!("_keep_out_{number}"), "mesh": meshes.len()}));
        meshes.push(mesh(&keep_out.name, primitive, materials.of("_keep_out")));
    }
    for (title, children) in [("_wires", wires), ("_obstacles", obstacles), ("_keep_out", boxes)] {
        if !children.is_empty() {
            more.push(nodes.len());
            nodes.push(json!({"name": title, "children": children}));
        }
    }
    let mut roots: Vec<usize> = bodies.iter().enumerate().filter(|(_, b)| b.limb.is_none()).map(|(i, _)| i).collect();
    roots.extend(more);
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
    for (key, list) in [("cameras", cameras), ("materials", materials.list), ("meshes", meshes)] {
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

fn mesh(title: &str, mut primitive: Value, material: usize) -> Value {
    if let Some(primitive) = primitive.as_object_mut() {
        primitive.insert("material".to_owned(), json!(material));
    }
    json!({"name": title, "primitives": [primitive]})
}

/// The materials used, by name.
#[derive(Default)]
struct Materials {
    list: Vec<Value>,
    names: Vec<String>,
}

/// Colours of the groups in turn, linear.
const COLOURS: [[f64; 4]; 6] = [
    [0.55, 0.25, 0.1, 1.0],
    [0.1, 0.3, 0.5, 1.0],
    [0.2, 0.4, 0.12, 1.0],
    [0.45, 0.12, 0.3, 1.0],
    [0.5, 0.4, 0.08, 1.0],
    [0.1, 0.4, 0.4, 1.0],
];

impl Materials {
    fn of(&mut self, name: &str) -> usize {
        if let Some(known) = self.names.iter().position(|n| n == name) {
            return known;
        }
        let colour = match name {
            "_obstacles" => [0.3, 0.3, 0.3, 1.0],
            "_keep_out" => [0.6, 0.05, 0.05, 0.25],
            _ => COLOURS.get(self.names.len() % COLOURS.len()).copied().unwrap_or([1.0; 4]),
        };
        let mut material = json!({
            "name": name, "pbrMetallicRoughness": {"baseColorFactor": colour, "metallicFactor": 0.0, "roughnessFactor": 1.0},
        });
        if let (true, Some(material)) = (colour[3] < 1.0, material.as_object_mut()) {
            material.insert("alphaMode".to_owned(), json!("BLEND"));
        }
        self.names.push(name.to_owned());
        self.list.push(material);
        self.names.len() - 1
    }
}

/// Shapes that are written already, so that figures of one build share their numbers.
#[derive(Default)]
struct Shapes {
    /// By what distinguishes them: seven numbers of a capsule, one of a cylinder.
    known: Vec<(Vec<f64>, Value)>,
    /// Indices of capsules, balls and cylinders.
    indices: [Option<usize>; 3],
}

impl Shapes {
    fn capsule(&mut self, data: &mut Data, [from, to]: [Vector; 2], radius: f64) -> Value {
        let kind = usize::from(from == to);
        self.shared(data, kind, vec![from.x, from.y, from.z, to.x, to.y, to.z, radius], || Mesh::capsule([from, to], radius))
    }

    fn cylinder(&mut self, data: &mut Data, radius: f64) -> Value {
        self.shared(data, 2, vec![radius], || Mesh::cylinder(radius))
    }

    fn shared(&mut self, data: &mut Data, kind: usize, key: Vec<f64>, mesh: impl FnOnce() -> Mesh) -> Value {
        if let Some((_, known)) = self.known.iter().find(|(k, _)| *k == key) {
            return known.clone();
        }
        let indices = self.indices.get(kind).copied().flatten();
        let primitive = data.mesh(&mesh(), indices);
        if let Some(slot) = self.indices.get_mut(kind) {
            *slot = primitive.get("indices").and_then(Value::as_u64).and_then(|i| usize::try_from(i).ok());
        }
        self.known.push((key, primitive.clone()));
        primitive
    }
}

/// A cylinder one unit long from end to end of a wire, at each frame.
struct Stretched {
    places: Vec<[f32; 3]>,
    turns: Vec<[f32; 4]>,
    sizes: Vec<[f32; 3]>,
}

impl Stretched {
    /// It stands on the end that is lower at the first frame, so that it turns least from upright.
    fn new(body: &PosedBody<'_>, wire: usize, divisor: f64) -> Stretched {
        let ends = || body.wires.iter().filter_map(|all| Some([*all.get(2 * wire)?, *all.get(2 * wire + 1)?]));
        let is_upright = ends().next().is_none_or(|[a, b]| a.y <= b.y);
        let mut all = Stretched { places: Vec::new(), turns: Vec::new(), sizes: Vec::new() };
        for [a, b] in ends() {
            let (from, to) = if is_upright { (a, b) } else { (b, a) };
            let along = to - from;
            let length = along.length();
            let unit = if length > 0.0 { along.times(1.0 / length) } else { Vector::new(0.0, 1.0, 0.0) };
            let size = ((1.0 + unit.y) * (1.0 + unit.y) + unit.z * unit.z + unit.x * unit.x).sqrt();
            // Upside down every axis across will do.
            let turn = if size > 1e-9 { [unit.z / size, 0.0, -unit.x / size, (1.0 + unit.y) / size] } else { [1.0, 0.0, 0.0, 0.0] };
            all.places.push(local(from, divisor));
            all.turns.push(turn.map(single));
            all.sizes.push([1.0, single(length / divisor), 1.0]);
        }
        all
    }

    fn first(&self) -> ([f32; 3], [f32; 4], [f32; 3]) {
        let first = |list: &[[f32; 3]], none| list.first().copied().unwrap_or(none);
        (first(&self.places, [0.0; 3]), self.turns.first().copied().unwrap_or([0.0, 0.0, 0.0, 1.0]), first(&self.sizes, [1.0; 3]))
    }
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

    /// Adds a mesh, its indices only where they are not there yet; a primitive.
    fn mesh(&mut self, mesh: &Mesh, indices: Option<usize>) -> Value {
        let flat = |list: &[[f64; 3]]| list.as_flattened().iter().map(|x| single(*x)).collect::<Vec<f32>>();
        let position = self.accessor("VEC3", &flat(&mesh.positions), 3, Some(34962), true);
        let normal = self.accessor("VEC3", &flat(&mesh.normals), 3, Some(34962), false);
        let indices = indices.unwrap_or_else(|| {
            let all = mesh.triangles.as_flattened();
            self.views.push(json!({"buffer": 0, "byteOffset": self.bytes.len(), "byteLength": all.len() * 2, "target": 34963}));
            self.accessors.push(json!({"bufferView": self.views.len() - 1, "componentType": 5123, "count": all.len(), "type": "SCALAR"}));
            self.bytes.extend(all.iter().flat_map(|i| i.to_le_bytes()));
            self.bytes.resize(self.bytes.len().next_multiple_of(4), 0);
            self.accessors.len() - 1
        });
        json!({"attributes": {"POSITION": position, "NORMAL": normal}, "indices": indices})
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
