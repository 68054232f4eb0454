//! How far an edit moves things: an axis in its steps and units, and what that is worth in the picture; and a lens that shows the same positions elsewhere.
//!
//! What: at the middle of each exposure both versions have, one axis is set back to where it was, all others as they are now, and the ends of figures, rods, wires and proxies are seen through the new
//! lens both times; the greatest distance counts. A changed lens is looked at with everything as it is now, through the old lens and through the new one.
//! Limits: what several changed axes do together is not added up; what is behind the camera counts for nothing; of very long shots one of some frames is looked at, as for pixels.

use crate::compile::{Compiled, frame_time};
use crate::mechanism::{Lens, Vector};
use crate::stage::{AxisId, Body, Posture};
use crate::time::FrameTime;

/// The greatest change of an axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Shift {
    /// Steps.
    pub steps: i64,
    /// mm or deg.
    pub units: f64,
    /// The frame of `units`.
    pub frame: i64,
    /// In the picture; `None` where no camera sees it.
    pub px: Option<f64>,
}

/// The greatest change of an axis over these frames; `None` where there are none.
pub(super) fn of_axis(old: &Compiled, new: &Compiled, (o, n): (AxisId, AxisId), frames: &[i64], stride: usize) -> Option<Shift> {
    let at = |c: &Compiled, id: AxisId, frame: i64| c.motion(id).at(FrameTime(frame_time(frame)));
    let by = |frame: &i64| Some((*frame, at(new, n, *frame)? - at(old, o, *frame)?));
    let (frame, units) = frames.iter().filter_map(by).reduce(|a, b| if b.1.abs() > a.1.abs() { b } else { a })?;
    // Where less than a step is the greatest change, counts may still differ by one in another frame.
    let count = |c: &Compiled, id: AxisId, frame: i64| super::register::count(c, id, frame, 0.0);
    let apart = |frame: &i64| Some(count(new, n, *frame)?.saturating_sub(count(old, o, *frame)?).saturating_abs());
    let steps = frames.iter().filter_map(apart).max()?;
    let pixels = |frame: &i64| pixels(new, *frame, Some((n, at(old, o, *frame)?)), None);
    let looked_at = frames.iter().filter(|f| (**f - frame) % i64::try_from(stride.max(1)).unwrap_or(1) == 0);
    let px = looked_at.filter_map(pixels).reduce(f64::max);
    Some(Shift { steps, units: units.abs(), frame, px })
}

/// How far the old lens of a camera would show everything from where the new one shows it, pixels, at the worst of these frames.
pub(super) fn of_lens(new: &Compiled, camera: &Body, old: &Lens, frames: &[i64], stride: usize) -> Option<f64> {
    frames.iter().step_by(stride.max(1)).filter_map(|f| pixels(new, *f, None, Some((camera, old)))).reduce(f64::max)
}

/// The greatest distance in any picture between everything as it is and with one axis elsewhere, or through another lens.
fn pixels(new: &Compiled, frame: i64, moved: Option<(AxisId, f64)>, lens: Option<(&Body, &Lens)>) -> Option<f64> {
    let (stage, t) = (new.stage(), FrameTime(frame_time(frame)));
    let hangs_on = |body: &Body| moved.is_some_and(|(axis, _)| body.every_channel().iter().any(|c| stage.axes_of(*c).contains(&axis)));
    let here = |body: &Body| new.posture_at(None, body, t).ok();
    let there = |body: &Body| moved.map_or_else(|| here(body), |moved| new.posture_with(body, t, moved).ok());
    let mut most: Option<f64> = None;
    for camera in stage.bodies().iter().filter(|b| lens.is_none_or(|(c, _)| c.group() == b.group())) {
        let Some(now) = camera.lens() else { continue };
        let focused = |l: &Lens| new.focus_at(None, camera, t).ok().map(|focus| l.focused(focus));
        let (Some(with), Some(before)) = (focused(now), focused(lens.map_or(now, |(_, old)| old))) else { continue };
        let camera_moves = hangs_on(camera) || lens.is_some();
        let (Some(from), Some(was)) = (here(camera), there(camera)) else { continue };
        for figure in stage.bodies().iter().filter(|b| b.lens().is_none() && (camera_moves || hangs_on(b))) {
            let (Some(is), Some(stood)) = (here(figure), there(figure)) else { continue };
            for (a, b) in points(figure, &is).into_iter().zip(points(figure, &stood)) {
                let (Ok(a), Ok(b)) = (with.project(from.body(), a), before.project(was.body(), b)) else { continue };
                let (right, down) = (a.right - b.right, a.down - b.down);
                most = Some(most.unwrap_or(0.0).max((right * right + down * down).sqrt()));
            }
        }
    }
    most
}

/// Its origin, and the ends of everything that is fixed to it.
fn points(body: &Body, posture: &Posture) -> Vec<Vector> {
    let lines = body.lines().iter().flat_map(|l| l.ends);
    let ends = body.shown().iter().flat_map(|s| s.ends).chain(lines).map(|end| posture.out(&end));
    core::iter::once(posture.body().position).chain(ends).collect()
}
