//! The scene as OpenUSD text: what core glTF cannot move stands here, focal length, distance of focus and stop, beside bodies, proxies, rods and obstacles.
//!
//! Source: OpenUSD, text file format and the schemas of UsdGeom: right-handed with `upAxis` Y; a camera looks along its own -Z; focal length and apertures count in tenths of a scene
//! unit, so the scene is in centimetres and they are in millimetres; an aperture is moved to the right and up by its offsets, so that the optical axis moves the other way; quaternions
//! begin with their real part. Form: one prim for each group that has joints, and in it, with places in the axes of its parent, one for each limb, with a value for each sample of each
//! frame; time codes are frame numbers of the files. Proxies that are for pictures are exact capsules and spheres, counted as in the
//! silhouettes; those of cameras are left out. Wires, whose ends move apart, stand under `_wires` in the stage's axes, one prim for each group, which has the group's name there too.
//! Names of groups and limbs begin with a letter, those of all else with `_`. Invariant: numbers are those of the tables, in centimetres with seven decimals, quaternions with sixteen. Limits: the distortion is no part of UsdGeom and stands in the tables alone;
//! rods have no thickness in the stage file and are shown 1 mm thick; an f-stop of 0, where no pass gives one, means that everything is sharp.

use std::io;

use super::poses::{PoseError, PosedBody, Size};
use super::sampling::Sampling;
use crate::compile::frame_time;
use crate::mechanism::{Lens, Vector};
use crate::output::decimals::decimals;
use crate::shot::{Pass, Shot};
use crate::stage::{Capsule, Stage};

/// Thickness at which rods are shown, mm.
const ROD_WIDTH: f64 = 1.0;
/// Farthest that a camera shows, cm.
const FAR: &str = "10000000";

/// Writes the scene.
///
/// # Errors
/// A writer that fails.
pub(crate) fn write(
    mut out: impl io::Write,
    stage: &Stage,
    shot: &Shot,
    bodies: &[PosedBody<'_>],
    (size, sampling): (Size, &Sampling),
) -> Result<(), PoseError> {
    let frames = shot.frames();
    let rate = shot.frame_rate();
    let (first, last) = (sampling.number(frames.first()), sampling.number(frames.last()));
    // Frames a second as one division, so that a reader has the nearest number.
    let per_second = 1.0 / rate.seconds(1);
    writeln!(out, "#usda 1.0\n(")?;
    writeln!(out, "    customLayerData = {{")?;
    for (key, text) in [
        ("generator", concat!("movewright ", env!("CARGO_PKG_VERSION")).to_owned()),
        ("shot", shot.name().to_owned()),
        ("size", size.name().to_owned()),
        ("frame_rate", rate.to_string()),
        ("timecode_start", shot.timecode_start().to_string()),
    ] {
        writeln!(out, "        string {key} = {}", quoted(&text))?;
    }
    writeln!(out, "        double stage_scale = {:?}\n    }}", stage.scale())?;
    writeln!(out, "    defaultPrim = \"stage\"\n    endTimeCode = {last}\n    framesPerSecond = {per_second:?}\n    metersPerUnit = 0.01")?;
    writeln!(out, "    startTimeCode = {first}\n    timeCodesPerSecond = {per_second:?}\n    upAxis = \"Y\"\n)\n")?;
    writeln!(out, "def Xform \"stage\" (\n    displayName = {}\n)\n{{", quoted(stage.name()))?;
    let scene = Scene { shot, sampling, divisor: size.divisor(stage) / 100.0 };
    for body in bodies.iter().filter(|b| b.limb.is_none()) {
        scene.part(&mut out, bodies, body, 1)?;
    }
    scene.wires(&mut out, bodies)?;
    let obstacles = &stage.surroundings().obstacles;
    if !obstacles.is_empty() {
        writeln!(out, "    def Xform \"_obstacles\"\n    {{")?;
        for (number, obstacle) in (1_usize..).zip(obstacles) {
            scene.capsule(&mut out, &format!("_obstacle_{number}"), Some(&obstacle.name), &obstacle.shape, &indent(2))?;
        }
        writeln!(out, "    }}")?;
    }
    writeln!(out, "}}")?;
    Ok(())
}

struct Scene<'a> {
    shot: &'a Shot,
    sampling: &'a Sampling,
    /// What a length in mm is divided by to be written in cm.
    divisor: f64,
}

impl Scene<'_> {
    /// The time code of every sample.
    fn times(&self) -> impl Iterator<Item = String> + '_ {
        let within = self.sampling.is_within_frames();
        self.shot.frames().frames().flat_map(move |frame| {
            let number = self.sampling.number(frame);
            let at = move |offset: &f64| if within { format!("{:.6}", frame_time(number) + offset) } else { number.to_string() };
            self.sampling.offsets().iter().map(at)
        })
    }

    /// A body or a limb with what stands on it, and the limbs that it carries.
    fn part(&self, out: &mut impl io::Write, all: &[PosedBody<'_>], part: &PosedBody<'_>, depth: usize) -> Result<(), PoseError> {
        let (around, inside) = (indent(depth), indent(depth + 1));
        let kind = if part.lens().is_some() { "Camera" } else { "Xform" };
        let limb = part.limb.and_then(|i| part.body.limbs().get(i));
        writeln!(out, "{around}def {kind} \"{}\"\n{around}{{", limb.map_or(part.name.as_str(), |l| l.name()))?;
        if let Some(lens) = part.lens() {
            self.camera(out, lens, part)?;
        }
        let poses = if limb.is_some() { &part.on_parent } else { &part.poses };
        let place = poses.iter().map(|p| {
            let at = &p.translation.vector;
            triple([at.x, at.y, at.z].map(|x| x / self.divisor))
        });
        self.samples(out, "double3 xformOp:translate", place, &inside)?;
        let turn = poses.iter().map(|p| {
            let q = &p.rotation;
            // As many decimals as there are: readers take the angle from the real part, which says little near 1.
            format!("({})", [q.w, q.i, q.j, q.k].map(|x| number(x, 16)).join(", "))
        });
        self.samples(out, "quatd xformOp:orient", turn, &inside)?;
        writeln!(out, "{inside}uniform token[] xformOpOrder = [\"xformOp:translate\", \"xformOp:orient\"]")?;
        self.rods(out, part, &inside)?;
        for (n, solid) in part.proxies() {
            let shape = Capsule { from: solid.ends[0].at, to: solid.ends[1].at, radius: solid.radius };
            self.capsule(out, &format!("_proxy_{n}"), None, &shape, &inside)?;
        }
        for carried in all.iter().filter(|b| b.is_carried_by(part)) {
            self.part(out, all, carried, depth + 1)?;
        }
        writeln!(out, "{around}}}")?;
        Ok(())
    }

    /// The wires of all figures, each between two ends that move on their own.
    fn wires(&self, out: &mut impl io::Write, bodies: &[PosedBody<'_>]) -> Result<(), PoseError> {
        if bodies.iter().all(|b| b.wires.is_empty()) {
            return Ok(());
        }
        let inside = indent(3);
        writeln!(out, "    def Xform \"_wires\"\n    {{")?;
        for body in bodies.iter().filter(|b| !b.wires.is_empty()) {
            let diameters: Vec<f64> = body.body.wires().map(|(_, d)| d / self.divisor).collect();
            let half = 0.5 * diameters.iter().copied().fold(0.0, f64::max);
            let all = || body.wires.iter().map(|ends| ends.iter().map(|v| self.local(*v)).collect::<Vec<_>>());
            writeln!(out, "        def BasisCurves \"{}\"\n        {{", body.name)?;
            writeln!(out, "{inside}int[] curveVertexCounts = [{}]", vec!["2"; diameters.len()].join(", "))?;
            self.samples(out, "float3[] extent", all().map(|ends| extent(&ends, half)), &inside)?;
            let points = |ends: Vec<[f64; 3]>| format!("[{}]", ends.into_iter().map(triple).collect::<Vec<_>>().join(", "));
            self.samples(out, "point3f[] points", all().map(points), &inside)?;
            writeln!(out, "{inside}uniform token type = \"linear\"")?;
            let widths: Vec<String> = diameters.iter().map(|d| number(*d, 7)).collect();
            writeln!(
                out,
                "{inside}float[] widths = [{}] (\n{inside}    interpolation = \"uniform\"\n{inside})\n        }}",
                widths.join(", ")
            )?;
        }
        writeln!(out, "    }}")?;
        Ok(())
    }

    fn camera(&self, out: &mut impl io::Write, lens: &Lens, body: &PosedBody<'_>) -> Result<(), PoseError> {
        let ([width, height], optics) = (lens.back(), lens.optics());
        let [right, down] = optics.principal_point;
        let near = number(lens.focal_length() / self.divisor, 6);
        writeln!(out, "        float2 clippingRange = ({near}, {FAR})")?;
        if body.focus.is_empty() {
            writeln!(out, "        float focalLength = {}", number(lens.focal_length(), 6))?;
        } else {
            self.samples(
                out,
                "float focalLength",
                body.focus.iter().map(|f| number(lens.focused(Some(*f)).focal_length(), 6)),
                &indent(2),
            )?;
        }
        if let Some(back) = optics.film_plane.filter(|_| !body.focus.is_empty()) {
            self.samples(out, "float focusDistance", body.focus.iter().map(|f| number((f - back) / self.divisor, 7)), &indent(2))?;
        }
        let stop = self.shot.passes().iter().find_map(Pass::stop).unwrap_or(0.0);
        writeln!(out, "        float fStop = {}", number(stop, 6))?;
        for (name, value) in [
            ("horizontalAperture", width),
            ("horizontalApertureOffset", -right),
            ("verticalAperture", height),
            ("verticalApertureOffset", down),
        ] {
            writeln!(out, "        float {name} = {}", number(value, 6))?;
        }
        writeln!(out, "        token projection = \"perspective\"")?;
        if let Some(shutter) = self.sampling.shutter() {
            let half = shutter / 720.0;
            writeln!(out, "        double shutter:close = {half:?}\n        double shutter:open = {:?}", -half)?;
        }
        Ok(())
    }

    fn samples(&self, out: &mut impl io::Write, name: &str, values: impl Iterator<Item = String>, inside: &str) -> Result<(), PoseError> {
        writeln!(out, "{inside}{name}.timeSamples = {{")?;
        for (time, value) in self.times().zip(values) {
            writeln!(out, "{inside}    {time}: {value},")?;
        }
        writeln!(out, "{inside}}}")?;
        Ok(())
    }

    fn rods(&self, out: &mut impl io::Write, part: &PosedBody<'_>, inside: &str) -> Result<(), PoseError> {
        let ends: Vec<[f64; 3]> = part.rods().flat_map(|r| r.ends).map(|hold| self.local(hold.at)).collect();
        if ends.is_empty() {
            return Ok(());
        }
        let width = ROD_WIDTH / self.divisor;
        let points: Vec<String> = ends.iter().map(|e| triple(*e)).collect();
        writeln!(
            out,
            "{inside}def BasisCurves \"_rods\" (\n{inside}    doc = \"Rods have no thickness in the stage file; the widths are for display.\"\n{inside})\n{inside}{{"
        )?;
        writeln!(out, "{inside}    int[] curveVertexCounts = [{}]", vec!["2"; ends.len() / 2].join(", "))?;
        writeln!(out, "{inside}    float3[] extent = {}", extent(&ends, 0.5 * width))?;
        writeln!(out, "{inside}    point3f[] points = [{}]", points.join(", "))?;
        writeln!(out, "{inside}    uniform token type = \"linear\"")?;
        writeln!(
            out,
            "{inside}    float[] widths = [{}] (\n{inside}        interpolation = \"constant\"\n{inside}    )\n{inside}}}",
            number(width, 7)
        )?;
        Ok(())
    }

    fn capsule(&self, out: &mut impl io::Write, name: &str, display: Option<&str>, shape: &Capsule, inside: &str) -> Result<(), PoseError> {
        let (from, to) = (self.local(shape.from), self.local(shape.to));
        let middle = [0, 1, 2].map(|i: usize| 0.5 * (from.get(i).copied().unwrap_or(0.0) + to.get(i).copied().unwrap_or(0.0)));
        let along = Vector::from(to) - Vector::from(from);
        let (length, radius) = (along.length(), shape.radius / self.divisor);
        let kind = if length > 0.0 { "Capsule" } else { "Sphere" };
        write!(out, "{inside}def {kind} \"{name}\"")?;
        if let Some(display) = display {
            write!(out, " (\n{inside}    displayName = {}\n{inside})", quoted(display))?;
        }
        writeln!(out, "\n{inside}{{")?;
        let half = 0.5 * length + radius;
        let corner = |s: f64| triple([s * radius, s * half, s * radius]);
        writeln!(out, "{inside}    float3[] extent = [{}, {}]", corner(-1.0), corner(1.0))?;
        writeln!(out, "{inside}    double radius = {}", number(radius, 7))?;
        let mut order = "[\"xformOp:translate\"]";
        if length > 0.0 {
            writeln!(out, "{inside}    uniform token axis = \"Y\"\n{inside}    double height = {}", number(length, 7))?;
            // The turn that takes Y to the middle line; either way along it will do, the one that turns less.
            let unit = along.times(if along.y < 0.0 { -1.0 / length } else { 1.0 / length });
            let size = ((1.0 + unit.y) * (1.0 + unit.y) + unit.z * unit.z + unit.x * unit.x).sqrt();
            let q = [1.0 + unit.y, unit.z, 0.0, -unit.x].map(|x| number(x / size, 12)).join(", ");
            writeln!(out, "{inside}    quatd xformOp:orient = ({q})")?;
            order = "[\"xformOp:translate\", \"xformOp:orient\"]";
        }
        writeln!(out, "{inside}    double3 xformOp:translate = {}", triple(middle))?;
        writeln!(out, "{inside}    uniform token[] xformOpOrder = {order}\n{inside}}}")?;
        Ok(())
    }

    fn local(&self, v: Vector) -> [f64; 3] {
        [v.x, v.y, v.z].map(|x| x / self.divisor)
    }
}

fn indent(depth: usize) -> String {
    " ".repeat(4 * depth)
}

/// The corners of the box about some points, wider by `by` all round.
fn extent(points: &[[f64; 3]], by: f64) -> String {
    let side = |pick: fn(f64, f64) -> f64, by: f64| {
        [0, 1, 2].map(|i: usize| points.iter().filter_map(|e| e.get(i).copied()).reduce(pick).unwrap_or(0.0) + by)
    };
    format!("[{}, {}]", triple(side(f64::min, -by)), triple(side(f64::max, by)))
}

fn number(x: f64, places: usize) -> String {
    let mut text = String::new();
    decimals(&mut text, x, places);
    text
}

fn triple(v: [f64; 3]) -> String {
    format!("({})", v.map(|x| number(x, 7)).join(", "))
}

/// Text as the format quotes it: names hold no control characters.
fn quoted(text: &str) -> String {
    format!("\"{}\"", text.replace('\\', "\\\\").replace('"', "\\\""))
}
