//! What a binary glTF scene must be, from the stage and the shot alone: its description, and where its numbers stand.
//!
//! What: every entry is worked out and compared; numbers are compared where they stand ([`super::scene`], [`super::triangles`]). Invariant: shares nothing with the writer; the order of nodes, meshes and numbers is
//! part of the form that is compared.

use serde_json::{Map, Value, json};

use super::figure::point;
use super::parts::{handed_over, hangs_on, proxies, rods};
use super::sine::{cosine, sine};
use super::size::Size;
use super::triangles::{Placed, Shape};
use crate::shot::Shot;
use crate::stage::{Body, Place as Part, Stage};

/// Numbers that do not move.
pub(super) struct Still {
    pub(super) what: &'static str,
    pub(super) offset: u64,
    /// The body or limb whose rods they are, by its index among all; `None` for the times.
    body: Option<usize>,
}

impl Still {
    pub(super) fn numbers<'s>(&self, shot: &'s Shot, stage: &'s Stage, size: Size) -> Box<dyn Iterator<Item = f64> + 's> {
        match self.body.and_then(|i| handed_over(stage).into_iter().nth(i)) {
            Some((body, part, _)) => Box::new(ends(body, part).map(move |x| x / size.divisor)),
            None => {
                let rate = shot.frame_rate();
                Box::new((0_i64..).zip(shot.frames().frames()).map(move |(row, _)| rate.seconds(row)))
            }
        }
    }
}

/// Coordinates of their ends.
fn ends(body: &Body, part: Part) -> impl Iterator<Item = f64> + '_ {
    rods(body, part).flat_map(|r| r.ends).flat_map(|hold| point(hold.at))
}

/// What a scene must be: its description without the places of the nodes, and where its numbers stand.
pub(super) struct Plan {
    pub(super) description: Value,
    pub(super) bytes: u64,
    pub(super) still: Vec<Still>,
    /// Meshes, each once.
    pub(super) shapes: Vec<Placed>,
    /// Offsets of positions, turns and sizes of each wire, and its node.
    pub(super) wires: Vec<([u64; 3], usize)>,
    materials: Vec<String>,
    known: Vec<(Shape, Value)>,
    indices: Vec<(&'static str, u64, usize)>,
    /// Offsets of positions and turns of each body.
    pub(super) runs: Vec<[u64; 2]>,
}

impl Plan {
    pub(super) fn new(stage: &Stage, shot: &Shot, (size, first_frame): (Size, i64)) -> Plan {
        let frames = shot.frames().count() as u64;
        let mut plan = Plan {
            description: Value::Null,
            bytes: 0,
            still: Vec::new(),
            shapes: Vec::new(),
            wires: Vec::new(),
            materials: Vec::new(),
            known: Vec::new(),
            indices: Vec::new(),
            runs: Vec::new(),
        };
        let (mut views, mut accessors) = (Vec::new(), Vec::new());
        let (mut nodes, mut cameras, mut meshes) = (Vec::new(), Vec::new(), Vec::new());
        let (mut channels, mut samplers) = (Vec::new(), Vec::new());
        let last = shot.frame_rate().seconds(shot.frames().last() - shot.frames().first());
        plan.still.push(Still { what: "time", offset: 0, body: None });
        plan.accessor(&mut views, &mut accessors, "SCALAR", (frames, 1), None, Some(vec![(0.0, last)]));
        let all = handed_over(stage);
        let proxies = Proxy::all(&all, size);
        for (index, (body, part, name)) in all.iter().enumerate() {
            let (body, part) = (*body, *part);
            let mut node = Map::new();
            node.insert("name".to_owned(), json!(name));
            let hangs_here = |(other, which, _): &(&Body, Part, String)| hangs_on((other, *which), (body, part));
            let mut children: Vec<usize> = all.iter().enumerate().filter(|(_, other)| hangs_here(other)).map(|(i, _)| i).collect();
            children.extend(proxies.iter().enumerate().filter(|(_, p)| p.carrier == index).map(|(i, _)| all.len() + i));
            if !children.is_empty() {
                node.insert("children".to_owned(), json!(children));
            }
            if let Some(lens) = body.lens().filter(|_| part == Part::Body) {
                node.insert("camera".to_owned(), json!(cameras.len()));
                cameras.push(json!({
                    "name": name,
                    "type": "perspective",
                    "perspective": {
                        "yfov": view(lens.back()[1], lens.focal_length()),
                        "aspectRatio": lens.back()[0] / lens.back()[1],
                        "znear": lens.focal_length() / size.divisor,
                    },
                    "extras": {"focal_length_mm": lens.focal_length(), "back_mm": lens.back(), "pixels": lens.pixels()},
                }));
            }
            let count = 2 * rods(body, part).count() as u64;
            if count > 0 {
                node.insert("mesh".to_owned(), json!(meshes.len()));
                plan.still.push(Still { what: "coordinate of a rod", offset: plan.bytes, body: Some(index) });
                let range = |i: usize| {
                    let along = ends(body, part).skip(i).step_by(3).map(|x| x / size.divisor);
                    along.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), x| (a.min(x), b.max(x)))
                };
                let ends = plan.accessor(&mut views, &mut accessors, "VEC3", (count, 3), Some(34962), Some((0..3).map(range).collect()));
                meshes.push(json!({"name": format!("{name} rods"), "primitives": [{
                    "attributes": {"POSITION": ends}, "mode": 1, "material": plan.material(stage.group_name(body.group())),
                }]}));
            }
            nodes.push(Value::Object(node));
            let mut offsets = [0; 2];
            for (offset, (path, kind, width)) in offsets.iter_mut().zip([("translation", "VEC3", 3), ("rotation", "VEC4", 4)]) {
                *offset = plan.bytes;
                let output = plan.accessor(&mut views, &mut accessors, kind, (frames, width), None, None);
                channels.push(json!({"sampler": samplers.len(), "target": {"node": index, "path": path}}));
                samplers.push(json!({"input": 0, "output": output, "interpolation": "LINEAR"}));
            }
            plan.runs.push(offsets);
        }
        let mut written = Written { views, accessors, nodes, meshes, channels, samplers };
        for proxy in proxies {
            plan.solid(&mut written, (&proxy.title, &proxy.title), proxy.shape, &proxy.group);
        }
        plan.wires(&mut written, stage, frames, size);
        let around = stage.surroundings();
        let local = |v| point(v).map(|x| x / size.divisor);
        let first = written.nodes.len();
        for (i, o) in around.obstacles.iter().enumerate() {
            let shape = Shape::Capsule([local(o.shape.from), local(o.shape.to)], o.shape.radius / size.divisor);
            plan.solid(&mut written, (&format!("_obstacle_{}", i + 1), &o.name), shape, "_obstacles");
        }
        let obstacles: Vec<usize> = (first..written.nodes.len()).collect();
        let first = written.nodes.len();
        for (i, b) in around.keep_out.iter().enumerate() {
            let shape = Shape::Cuboid(local(b.least), local(b.greatest));
            plan.solid(&mut written, (&format!("_keep_out_{}", i + 1), &b.name), shape, "_keep_out");
        }
        let boxes: Vec<usize> = (first..written.nodes.len()).collect();
        let Written { views, accessors, mut nodes, meshes, channels, samplers } = written;
        let mut more = Vec::new();
        let wires: Vec<usize> = plan.wires.iter().map(|(_, node)| *node).collect();
        for (title, children) in [("_wires", wires), ("_obstacles", obstacles), ("_keep_out", boxes)] {
            if !children.is_empty() {
                more.push(nodes.len());
                nodes.push(json!({"name": title, "children": children}));
            }
        }
        let mut roots: Vec<usize> = all.iter().enumerate().filter(|(_, (_, part, _))| *part == Part::Body).map(|(i, _)| i).collect();
        roots.extend(more);
        let mut root = json!({
            "asset": {
                "version": "2.0",
                "extras": {
                    "shot": shot.name(), "frame_rate": shot.frame_rate().to_string(), "first_frame": first_frame,
                    "timecode_start": shot.timecode_start().to_string(), "size": size.name, "stage_scale": stage.scale(),
                },
            },
            "scene": 0,
            "scenes": [{"name": stage.name(), "nodes": roots}],
            "nodes": nodes,
            "animations": [{"name": shot.name(), "channels": channels, "samplers": samplers}],
            "buffers": [{"byteLength": plan.bytes}],
            "bufferViews": views,
            "accessors": accessors,
        });
        let materials = plan.materials.iter().enumerate().map(|(i, name)| material(i, name)).collect();
        for (key, list) in [("cameras", cameras), ("materials", materials), ("meshes", meshes)] {
            if let (false, Some(root)) = (list.is_empty(), root.as_object_mut()) {
                root.insert(key.to_owned(), Value::Array(list));
            }
        }
        plan.description = root;
        plan
    }

    /// The number of a material, in the order in which they are first used.
    fn material(&mut self, name: &str) -> usize {
        let known = self.materials.iter().position(|n| n == name);
        known.unwrap_or_else(|| {
            self.materials.push(name.to_owned());
            self.materials.len() - 1
        })
    }

    /// A node of this title with a mesh of this name.
    fn solid(&mut self, written: &mut Written, (title, name): (&str, &str), shape: Shape, material: &str) {
        let mut primitive = self.shape(written, shape);
        let material = self.material(material);
        if let Some(primitive) = primitive.as_object_mut() {
            primitive.insert("material".to_owned(), json!(material));
        }
        written.nodes.push(json!({"name": title, "mesh": written.meshes.len()}));
        written.meshes.push(json!({"name": name, "primitives": [primitive]}));
    }

    /// The primitive of a shape, which is written once.
    fn shape(&mut self, written: &mut Written, shape: Shape) -> Value {
        let is_shared = !matches!(shape, Shape::Cuboid(..));
        if let Some((_, known)) = self.known.iter().find(|(s, _)| is_shared && *s == shape) {
            return known.clone();
        }
        let (vertices, corners) = shape.counts();
        let mut offsets = [self.bytes, 0, 0];
        let position = self.accessor(&mut written.views, &mut written.accessors, "VEC3", (vertices, 3), Some(34962), None);
        offsets[1] = self.bytes;
        let normal = self.accessor(&mut written.views, &mut written.accessors, "VEC3", (vertices, 3), Some(34962), None);
        let known = self.indices.iter().find(|(kind, ..)| is_shared && *kind == shape.kind());
        let (at, indices) = known.map(|(_, at, accessor)| (*at, *accessor)).unwrap_or_else(|| {
            written.views.push(json!({"buffer": 0, "byteOffset": self.bytes, "byteLength": 2 * corners, "target": 34963}));
            let accessor = json!({"bufferView": written.views.len() - 1, "componentType": 5123, "count": corners, "type": "SCALAR"});
            written.accessors.push(accessor);
            (self.bytes, written.accessors.len() - 1)
        });
        if at == self.bytes {
            self.indices.push((shape.kind(), at, indices));
            self.bytes += (2 * corners).next_multiple_of(4);
        }
        offsets[2] = at;
        let primitive = json!({"attributes": {"POSITION": position, "NORMAL": normal}, "indices": indices});
        self.known.push((shape.clone(), primitive.clone()));
        self.shapes.push(Placed { shape, offsets, accessor: position });
        primitive
    }

    /// Every wire: a cylinder that is moved, turned and stretched.
    fn wires(&mut self, written: &mut Written, stage: &Stage, frames: u64, size: Size) {
        for body in stage.bodies() {
            let group = stage.group_name(body.group());
            for (i, (_, diameter)) in body.wires().enumerate() {
                let node = written.nodes.len();
                let title = format!("{group}._wire_{}", i + 1);
                self.solid(written, (&title, &title), Shape::Wire(0.5 * diameter / size.divisor), group);
                if let Some(node) = written.nodes.last_mut().and_then(Value::as_object_mut) {
                    node.insert("extras".to_owned(), json!({"diameter_mm": diameter}));
                }
                let mut offsets = [0; 3];
                let paths = [("translation", "VEC3", 3), ("rotation", "VEC4", 4), ("scale", "VEC3", 3)];
                for (offset, (path, kind, width)) in offsets.iter_mut().zip(paths) {
                    *offset = self.bytes;
                    let output = self.accessor(&mut written.views, &mut written.accessors, kind, (frames, width), None, None);
                    written.channels.push(json!({"sampler": written.samplers.len(), "target": {"node": node, "path": path}}));
                    written.samplers.push(json!({"input": 0, "output": output, "interpolation": "LINEAR"}));
                }
                self.wires.push((offsets, node));
            }
        }
    }

    /// Room for `count` numbers of `width` each; the accessor's index.
    fn accessor(
        &mut self,
        views: &mut Vec<Value>,
        accessors: &mut Vec<Value>,
        kind: &str,
        (count, width): (u64, u64),
        target: Option<u32>,
        range: Option<Vec<(f64, f64)>>,
    ) -> usize {
        let length = 4 * count * width;
        let mut view = json!({"buffer": 0, "byteOffset": self.bytes, "byteLength": length});
        let mut accessor = json!({"bufferView": views.len(), "componentType": 5126, "count": count, "type": kind});
        if let (Some(target), Some(view)) = (target, view.as_object_mut()) {
            view.insert("target".to_owned(), json!(target));
        }
        if let (Some(range), Some(accessor)) = (range, accessor.as_object_mut()) {
            let (least, most): (Vec<f64>, Vec<f64>) = range.into_iter().unzip();
            accessor.insert("min".to_owned(), json!(least));
            accessor.insert("max".to_owned(), json!(most));
        }
        self.bytes += length;
        views.push(view);
        accessors.push(accessor);
        accessors.len() - 1
    }
}

/// The whole vertical view of a lens, radians: the angle whose half has the tangent height / (2 f), found by halving.
fn view(height: f64, focal_length: f64) -> f64 {
    let (mut below, mut above) = (0.0, 0.25);
    for _ in 0..200 {
        let turns = 0.5 * (below + above);
        if sine(turns) * focal_length < cosine(turns) * 0.5 * height {
            below = turns;
        } else {
            above = turns;
        }
    }
    2.0 * core::f64::consts::TAU * below
}

/// Lists of a description that grow together.
struct Written {
    views: Vec<Value>,
    accessors: Vec<Value>,
    nodes: Vec<Value>,
    meshes: Vec<Value>,
    channels: Vec<Value>,
    samplers: Vec<Value>,
}

/// A proxy that is shown.
struct Proxy {
    carrier: usize,
    title: String,
    group: String,
    shape: Shape,
}

impl Proxy {
    /// Of every figure, in the order of its parts; a camera's own would stand in its view.
    fn all(parts: &[(&Body, Part, String)], size: Size) -> Vec<Proxy> {
        let mut all = Vec::new();
        for (carrier, (body, part, name)) in parts.iter().enumerate() {
            for (number, solid) in proxies(body, *part) {
                all.push(Proxy {
                    carrier,
                    title: format!("{name}._proxy_{number}"),
                    group: name.split('.').next().unwrap_or(name).to_owned(),
                    shape: Shape::Capsule(solid.ends.map(|e| point(e.at).map(|x| x / size.divisor)), solid.radius / size.divisor),
                });
            }
        }
        all
    }
}

/// A material by its place among all and its name.
fn material(number: usize, name: &str) -> Value {
    let [r, g, b, a] = match (name, number % 6) {
        ("_obstacles", _) => [0.3, 0.3, 0.3, 1.0],
        ("_keep_out", _) => [0.6, 0.05, 0.05, 0.25],
        (_, 0) => [0.55, 0.25, 0.1, 1.0],
        (_, 1) => [0.1, 0.3, 0.5, 1.0],
        (_, 2) => [0.2, 0.4, 0.12, 1.0],
        (_, 3) => [0.45, 0.12, 0.3, 1.0],
        (_, 4) => [0.5, 0.4, 0.08, 1.0],
        _ => [0.1, 0.4, 0.4, 1.0],
    };
    let surface = json!({"baseColorFactor": [r, g, b, a], "metallicFactor": 0.0, "roughnessFactor": 1.0});
    if a < 1.0 {
        return json!({"name": name, "pbrMetallicRoughness": surface, "alphaMode": "BLEND"});
    }
    json!({"name": name, "pbrMetallicRoughness": surface})
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: glTF 2.0 specification, cameras: yfov 0.660593 with aspect ratio 1.5, which a 35 mm lens on a back 24 mm high gives.
    #[test]
    fn the_view_of_the_specifications_example() {
        assert!((view(24.0, 35.0) - 0.660_593).abs() < 2e-6);
    }
}
