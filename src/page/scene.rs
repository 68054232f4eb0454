//! Where bodies are at every frame, for plan, side and picture.
//!
//! What: of each body the places of its joints from the floor outwards and of itself, whole mm; of cameras the way they look and half of their
//! view; and what the first camera with a lens sees: bodies, support rods and wires in pixels at mid-exposure, as the first pass has them.
//! Invariant: read back from the compiled curves. Limits: a point behind the lens is `null`, so is a rod with an end there.

use serde::Serialize;

use super::page_error::PageError;
use crate::compile::Compiled;
use crate::mechanism::{Lens, Vector};
use crate::number::elementary;
use crate::output::handoff::poses::{self, PoseError};
use crate::stage::{Body, Posture, Stage};
use crate::time::FrameTime;

/// Everything that stands or hangs on the stage.
#[derive(Serialize)]
pub(super) struct Scene {
    /// Name of the pass it is shown in.
    pass: String,
    bodies: Vec<BodyData>,
    still: Vec<Still>,
    picture: Option<Picture>,
}

#[derive(Serialize)]
struct BodyData {
    name: String,
    /// Horizontal half of the view, deg; `null` for what is no camera.
    half_view: Option<f64>,
    /// One list a frame: x, y, z of each joint and of the body, mm.
    places: Vec<Vec<i64>>,
    /// One direction a frame for cameras: x, y, z in thousandths.
    looks: Vec<[i64; 3]>,
}

/// Fixed obstacles, as lines with a radius.
#[derive(Serialize)]
struct Still {
    name: String,
    from: [i64; 3],
    to: [i64; 3],
}

#[derive(Serialize)]
struct Picture {
    camera: String,
    size: [u32; 2],
    /// One list a body other than the camera: name, and its place a frame.
    points: Vec<(String, Vec<Option<[i64; 2]>>)>,
    /// One list a rod or wire: the group that carries it, and its ends a frame.
    rods: Vec<(String, Vec<Option<[i64; 4]>>)>,
}

/// The scene; `None` where the stage does not say where its bodies are.
pub(super) fn scene(compiled: &Compiled) -> Result<Option<Scene>, PageError> {
    let (stage, shot) = (compiled.stage(), compiled.shot());
    let Some(pass) = shot.passes().first() else { return Ok(None) };
    if stage.bodies().is_empty() {
        return Ok(None);
    }
    let mut bodies = Vec::new();
    let mut poses: Vec<Vec<Posture>> = Vec::new();
    for body in stage.bodies() {
        let name = poses::name(stage, body);
        let mut data = BodyData { name: name.to_owned(), half_view: body.lens().map(half_view), places: Vec::new(), looks: Vec::new() };
        let mut own = Vec::new();
        for frame in shot.frames().frames() {
            let t = FrameTime::of_frame(frame);
            let at = |error| PoseError::NoPose { body: name.to_owned(), at: t.0, error };
            let places = compiled.places_at(Some(pass), body, t).map_err(at)?;
            data.places.push(places.iter().flat_map(|p| [p.x, p.y, p.z]).map(whole).collect());
            let pose = poses::posture(compiled, Some(pass), body, t)?;
            if body.lens().is_some() {
                let ahead = pose.body().out(Vector::new(0.0, 0.0, -1.0)) - pose.body().position;
                data.looks.push([ahead.x, ahead.y, ahead.z].map(|c| whole(1000.0 * c)));
            }
            own.push(pose);
        }
        bodies.push(data);
        poses.push(own);
    }
    let still = stage.surroundings().obstacles.iter().map(|o| {
        let corner = |v: Vector| [v.x, v.y, v.z].map(whole);
        Still { name: o.name.clone(), from: corner(o.shape.from), to: corner(o.shape.to) }
    });
    let camera = stage.bodies().iter().zip(&poses).find_map(|(b, p)| Some((b, b.lens()?, p)));
    let picture = camera.map(|(body, lens, from)| picture(stage, body, lens, from, &poses));
    Ok(Some(Scene { pass: pass.name().to_owned(), bodies, still: still.collect(), picture }))
}

fn picture(stage: &Stage, camera: &Body, lens: &Lens, from: &[Posture], poses: &[Vec<Posture>]) -> Picture {
    let (mut points, mut rods) = (Vec::new(), Vec::new());
    for (body, own) in stage.bodies().iter().zip(poses).filter(|(b, _)| b.group() != camera.group()) {
        let name = poses::name(stage, body).to_owned();
        let seen = |c: &Posture, point: Vector| lens.project(c.body(), point).ok().map(|p| [p.right, p.down].map(whole));
        points.push((name.clone(), from.iter().zip(own).map(|(c, b)| seen(c, b.body().position)).collect()));
        for rod in body.lines() {
            let [start, end] = rod.ends;
            let ends = from.iter().zip(own).map(|(c, b)| {
                let ([x1, y1], [x2, y2]) = (seen(c, b.out(&start))?, seen(c, b.out(&end))?);
                Some([x1, y1, x2, y2])
            });
            rods.push((name.clone(), ends.collect()));
        }
    }
    Picture { camera: poses::name(stage, camera).to_owned(), size: lens.pixels(), points, rods }
}

fn half_view(lens: &Lens) -> f64 {
    let [width, _] = lens.back();
    elementary::degrees(elementary::atan2(0.5 * width, lens.focal_length()))
}

/// Whole units for drawing.
fn whole(x: f64) -> i64 {
    crate::number::whole::nearest(x).unwrap_or(0)
}
