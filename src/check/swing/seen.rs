//! What a swing is worth in the picture.
//!
//! What: at the instant of the largest swing during exposures the figure's origin is moved aside by that much in eight horizontal directions. What counts is how far it moves in the picture of any
//! camera with a lens, where the origin is in that picture. Limits: one point of the figure, one instant, eight directions.

use crate::mechanism::Vector;
use crate::motion::pendulum::greatest::Greatest;
use crate::number::whole;
use crate::program::Program;
use crate::stage::Body;
use crate::time::{FrameTime, Seconds};

/// Pixels of a swing; `None` where no lens sees the figure at its instant.
pub(super) fn pixels(program: &Program, body: &Body, exposed: Greatest) -> Option<f64> {
    let (compiled, pass) = (program.compiled(), Some(program.pass()));
    let cameras = || compiled.stage().bodies().iter().filter_map(|b| Some((b, b.lens()?)));
    if !(exposed.value > 0.0) || cameras().next().is_none() {
        return None;
    }
    let t = program.clock().frame_at(Seconds(exposed.at));
    // A held pass stands at the middle of the frame throughout its exposure.
    let t = if program.stations().is_some() { FrameTime::of_frame(whole::nearest(t.0)?) } else { t };
    let origin = compiled.posture_at(pass, body, t).ok()?.body().position;
    let seen = cameras().filter_map(|(camera, lens)| {
        let (pose, focus) = (compiled.posture_at(pass, camera, t).ok()?, compiled.focus_at(pass, camera, t).ok()?);
        let lens = lens.focused(focus);
        let at = lens.project(pose.body(), origin).ok().filter(|at| lens.in_picture(*at))?;
        let moved = DIRECTIONS.iter().filter_map(|[x, z]| {
            let aside = Vector::new(origin.x + x * exposed.value, origin.y, origin.z + z * exposed.value);
            let to = lens.project(pose.body(), aside).ok()?;
            let (right, down) = (to.right - at.right, to.down - at.down);
            Some((right * right + down * down).sqrt())
        });
        moved.reduce(f64::max)
    });
    seen.reduce(f64::max)
}

/// A full turn in steps of 45 degrees: x and z.
const DIRECTIONS: [[f64; 2]; 8] = {
    const D: f64 = core::f64::consts::FRAC_1_SQRT_2;
    [[1.0, 0.0], [D, D], [0.0, 1.0], [-D, D], [-1.0, 0.0], [-D, -D], [0.0, -1.0], [D, -D]]
};
