//! The scene as OpenUSD text: what core glTF cannot move stands here, focal length, distance of focus and stop, beside bodies, proxies, rods and obstacles.
//!
//! Source: OpenUSD, text file format and the schemas of UsdGeom: right-handed with `upAxis` Y; a camera looks along its own -Z; focal length and apertures count in tenths of a scene
//! unit, so the scene is in centimetres and they are in millimetres; an aperture is moved to the right and up by its offsets, so that the optical axis moves the other way; quaternions
//! begin with their real part. Form: one prim for each group that has joints, with a value for each sample of each frame; time codes are frame numbers of the files. Proxies are exact
//! capsules and spheres. Invariant: numbers are those of the tables, in centimetres with seven decimals. Limits: the distortion is no part of UsdGeom and stands in the tables alone;
//! rods have no thickness in the stage file and are shown 1 mm thick; an f-stop of 0, where no pass gives one, means that everything is sharp.

use std::io;

use super::poses::{PoseError, PosedBody, Size};
use super::sampling::Sampling;
use crate::compile::frame_time;
use crate::mechanism::{Lens, Vector};
use crate::output::decimals::decimals;
use crate::shot::{Pass, Shot};
use crate::stage::{Body, Capsule, Stage};

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
    for body in bodies {
        scene.body(&mut out, body)?;
    }
    let obstacles = &stage.surroundings().obstacles;
    if !obstacles.is_empty() {
        writeln!(out, "    def Xform \"_obstacles\"\n    {{")?;
        for (number, obstacle) in (1_usize..).zip(obstacles) {
            scene.capsule(&mut out, &format!("obstacle_{number}"), Some(&obstacle.name), &obstacle.shape)?;
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

    fn body(&self, out: &mut impl io::Write, body: &PosedBody<'_>) -> Result<(), PoseError> {
        let kind = if body.body.lens().is_some() { "Camera" } else { "Xform" };
        writeln!(out, "    def {kind} \"{}\"\n    {{", body.name)?;
        if let Some(lens) = body.body.lens() {
            self.camera(out, lens, body)?;
        }
        let place = body.poses.iter().map(|p| {
            let at = &p.translation.vector;
            triple([at.x, at.y, at.z].map(|x| x / self.divisor))
        });
        self.samples(out, "double3 xformOp:translate", place)?;
        let turn = body.poses.iter().map(|p| {
            let q = &p.rotation;
            format!("({})", [q.w, q.i, q.j, q.k].map(|x| number(x, 12)).join(", "))
        });
        self.samples(out, "quatd xformOp:orient", turn)?;
        writeln!(out, "        uniform token[] xformOpOrder = [\"xformOp:translate\", \"xformOp:orient\"]")?;
        self.rods(out, body.body)?;
        for (n, capsule) in (1_usize..).zip(body.body.envelope()) {
            self.capsule(out, &format!("proxy_{n}"), None, capsule)?;
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
            self.samples(out, "float focalLength", body.focus.iter().map(|f| number(lens.focused(Some(*f)).focal_length(), 6)))?;
        }
        if let Some(back) = optics.film_plane.filter(|_| !body.focus.is_empty()) {
            self.samples(out, "float focusDistance", body.focus.iter().map(|f| number((f - back) / self.divisor, 7)))?;
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

    fn samples(&self, out: &mut impl io::Write, name: &str, values: impl Iterator<Item = String>) -> Result<(), PoseError> {
        writeln!(out, "        {name}.timeSamples = {{")?;
        for (time, value) in self.times().zip(values) {
            writeln!(out, "            {time}: {value},")?;
        }
        writeln!(out, "        }}")?;
        Ok(())
    }

    fn rods(&self, out: &mut impl io::Write, body: &Body) -> Result<(), PoseError> {
        if body.rods().is_empty() {
            return Ok(());
        }
        let ends: Vec<[f64; 3]> = body.rods().iter().flat_map(|r| [r.from, r.to]).map(|v| self.local(v)).collect();
        let width = ROD_WIDTH / self.divisor;
        let side = |pick: fn(f64, f64) -> f64, by: f64| {
            [0, 1, 2].map(|i: usize| ends.iter().filter_map(|e| e.get(i).copied()).reduce(pick).unwrap_or(0.0) + by)
        };
        let counts = vec!["2"; body.rods().len()].join(", ");
        let points: Vec<String> = ends.iter().map(|e| triple(*e)).collect();
        writeln!(
            out,
            "        def BasisCurves \"rods\" (\n            doc = \"Rods have no thickness in the stage file; the widths are for display.\"\n        )\n        {{"
        )?;
        writeln!(out, "            int[] curveVertexCounts = [{counts}]")?;
        writeln!(out, "            float3[] extent = [{}, {}]", triple(side(f64::min, -0.5 * width)), triple(side(f64::max, 0.5 * width)))?;
        writeln!(out, "            point3f[] points = [{}]", points.join(", "))?;
        writeln!(out, "            uniform token type = \"linear\"")?;
        writeln!(
            out,
            "            float[] widths = [{}] (\n                interpolation = \"constant\"\n            )\n        }}",
            number(width, 7)
        )?;
        Ok(())
    }

    fn capsule(&self, out: &mut impl io::Write, name: &str, display: Option<&str>, shape: &Capsule) -> Result<(), PoseError> {
        let (from, to) = (self.local(shape.from), self.local(shape.to));
        let middle = [0, 1, 2].map(|i: usize| 0.5 * (from.get(i).copied().unwrap_or(0.0) + to.get(i).copied().unwrap_or(0.0)));
        let along = Vector::from(to) - Vector::from(from);
        let (length, radius) = (along.length(), shape.radius / self.divisor);
        let kind = if length > 0.0 { "Capsule" } else { "Sphere" };
        write!(out, "        def {kind} \"{name}\"")?;
        if let Some(display) = display {
            write!(out, " (\n            displayName = {}\n        )", quoted(display))?;
        }
        writeln!(out, "\n        {{")?;
        let half = 0.5 * length + radius;
        let corner = |s: f64| triple([s * radius, s * half, s * radius]);
        writeln!(out, "            float3[] extent = [{}, {}]", corner(-1.0), corner(1.0))?;
        writeln!(out, "            double radius = {}", number(radius, 7))?;
        let mut order = "[\"xformOp:translate\"]";
        if length > 0.0 {
            writeln!(out, "            uniform token axis = \"Y\"\n            double height = {}", number(length, 7))?;
            // The turn that takes Y to the middle line; either way along it will do, the one that turns less.
            let unit = along.times(if along.y < 0.0 { -1.0 / length } else { 1.0 / length });
            let size = ((1.0 + unit.y) * (1.0 + unit.y) + unit.z * unit.z + unit.x * unit.x).sqrt();
            let q = [1.0 + unit.y, unit.z, 0.0, -unit.x].map(|x| number(x / size, 12)).join(", ");
            writeln!(out, "            quatd xformOp:orient = ({q})")?;
            order = "[\"xformOp:translate\", \"xformOp:orient\"]";
        }
        writeln!(out, "            double3 xformOp:translate = {}", triple(middle))?;
        writeln!(out, "            uniform token[] xformOpOrder = {order}\n        }}")?;
        Ok(())
    }

    fn local(&self, v: Vector) -> [f64; 3] {
        [v.x, v.y, v.z].map(|x| x / self.divisor)
    }
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
