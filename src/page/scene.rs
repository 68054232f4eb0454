//! Where everything stands at every frame, for plan, side and turned view.
//!
//! What: of each body the places of its joints from the floor outwards and of itself, and the ends of its proxies, rods and wires, limbs included; whole mm. Of cameras the corners of the
//! view. Passes that park the same groups share a set of places, in which parked groups stand at home.
//! Invariant: read back from the compiled curves at mid-exposure. Obstacles and keep-out boxes stand still.

use serde::Serialize;

use super::page_error::PageError;
use super::seen::{Picture, whole};
use super::sets::{Same, Sets};
use crate::compile::Compiled;
use crate::mechanism::{Lens, Vector};
use crate::output::handoff::poses::{self, PoseError};
use crate::shot::Pass;
use crate::stage::{Body, Posture};
use crate::time::FrameTime;

/// Everything that stands or hangs on the stage.
#[derive(Serialize)]
pub(super) struct Scene<'a> {
    /// For each pass its set of places.
    sets: Vec<usize>,
    bodies: &'a [BodyData],
    still: Vec<Still>,
    pub(super) picture: Option<&'a Picture>,
}

#[derive(Serialize, Clone, PartialEq)]
pub(super) struct BodyData {
    name: String,
    /// Joints of the chain, and the body itself: so many points begin each list of places.
    chain: usize,
    /// What follows, two points each.
    parts: Vec<PartData>,
    /// True for a camera: the four corners of its view, 1 m ahead, follow at the end.
    camera: bool,
    /// For each set the places of each frame, x, y, z one after the other; one list for all frames where nothing moves, `null` where they are those of the first set.
    places: Vec<Option<Vec<Vec<i64>>>>,
}

#[derive(Serialize, Clone, PartialEq)]
struct PartData {
    kind: &'static str,
    /// mm; 0 for a rod, whose thickness is not given.
    radius: f64,
}

/// What does not move.
#[derive(Serialize)]
struct Still {
    name: String,
    /// `capsule` or `box`.
    kind: &'static str,
    from: [i64; 3],
    to: [i64; 3],
    radius: f64,
}

/// The scene with these bodies; `None` where the stage does not say where its bodies are.
pub(super) fn scene<'a>(compiled: &Compiled, bodies: &'a [BodyData], picture: Option<&'a Picture>) -> Option<Scene<'a>> {
    let surroundings = compiled.stage().surroundings();
    if bodies.is_empty() {
        return None;
    }
    let Sets { of_pass, .. } = Sets::of(compiled);
    let corner = |v: Vector| [v.x, v.y, v.z].map(whole);
    let solid = surroundings.obstacles.iter().map(|o| Still {
        name: o.name.clone(),
        kind: "capsule",
        from: corner(o.shape.from),
        to: corner(o.shape.to),
        radius: o.shape.radius,
    });
    let boxes = surroundings.keep_out.iter().map(|k| Still {
        name: k.name.clone(),
        kind: "box",
        from: corner(k.least),
        to: corner(k.greatest),
        radius: 0.0,
    });
    let still = solid.chain(boxes).collect();
    Some(Scene { sets: of_pass, bodies, still, picture })
}

/// Every body in the sets of the passes; those that stand where they stood before are taken over.
pub(super) fn bodies(compiled: &Compiled, before: Option<(&Compiled, &[BodyData])>) -> Result<Vec<BodyData>, PageError> {
    let (stage, shot) = (compiled.stage(), compiled.shot());
    let Sets { shown, .. } = Sets::of(compiled);
    let before = before.map(|(old, bodies)| (Same::between(old, compiled), bodies));
    let mut bodies = Vec::new();
    for (number, body) in stage.bodies().iter().enumerate() {
        if let Some(known) = before.as_ref().filter(|(same, _)| same.has(stage, body)).and_then(|(_, old)| old.get(number)) {
            bodies.push(known.clone());
            continue;
        }
        let mut data = parts(poses::name(stage, body), body);
        for pass in &shown {
            let frames = shot.frames().frames().map(FrameTime::of_frame);
            let mut all: Vec<Vec<i64>> = frames.map(|t| places(compiled, pass, body, t)).collect::<Result<_, _>>()?;
            if all.windows(2).all(|w| w.first() == w.last()) {
                all.truncate(1);
            }
            let known = data.places.first().is_some_and(|first| first.as_ref() == Some(&all));
            data.places.push((!known).then_some(all));
        }
        bodies.push(data);
    }
    Ok(bodies)
}

fn parts(name: &str, body: &Body) -> BodyData {
    let proxies = body.shown().iter().map(|s| PartData { kind: "proxy", radius: s.radius });
    let lines = body.lines().iter().map(|l| match l.diameter {
        Some(diameter) => PartData { kind: "wire", radius: 0.5 * diameter },
        None => PartData { kind: "rod", radius: 0.0 },
    });
    let chain = body.chain().joints().len() + 1;
    BodyData { name: name.to_owned(), chain, parts: proxies.chain(lines).collect(), camera: body.lens().is_some(), places: Vec::new() }
}

/// Everything of a body at an instant, in the order of [`BodyData`].
fn places(compiled: &Compiled, pass: &Pass, body: &Body, t: FrameTime) -> Result<Vec<i64>, PageError> {
    let no_pose = |error| PoseError::NoPose { body: poses::name(compiled.stage(), body).to_owned(), at: t.0, error };
    let (mut all, posture) = compiled.figure_at(Some(pass), body, t).map_err(no_pose)?;
    let solids = body.shown().iter().flat_map(|s| s.ends);
    let lines = body.lines().iter().flat_map(|l| l.ends);
    all.extend(solids.chain(lines).map(|hold| posture.out(&hold)));
    if let Some(lens) = body.lens() {
        all.extend(view(lens, &posture));
    }
    Ok(all.iter().flat_map(|p| [p.x, p.y, p.z]).map(whole).collect())
}

/// The corners of what an undistorted lens of this focal length shows 1 m ahead, round the picture.
fn view(lens: &Lens, camera: &Posture) -> [Vector; 4] {
    let [width, height] = lens.back().map(|side| 500.0 * side / lens.focal_length());
    [(-1.0, 1.0), (1.0, 1.0), (1.0, -1.0), (-1.0, -1.0)].map(|(x, y)| camera.body().out_fixed(Vector::new(x * width, y * height, -1000.0)))
}
