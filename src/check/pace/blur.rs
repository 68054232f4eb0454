//! How far things run in the picture while the shutter is open.
//!
//! What: of each figure the pixel of its origin as the shutter opens and as it closes, both as the camera stands then; of the camera the same of a point that stands still: the one that lies on the
//! optical axis in the middle of the exposure, at the focus. Straight from one to the other: what turns back within an exposure blurs more. Limits: moving passes; a figure that is behind the
//! camera at one of the instants has no blur there.

use crate::compile::Compiled;
use crate::mechanism::{Lens, Vector};
use crate::shot::{Exposure, Pass};
use crate::stage::Body;
use crate::time::FrameTime;

/// Blur of one thing over the frames, px.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Blur {
    /// Group, or the camera.
    pub what: String,
    /// Greatest, and its frame.
    pub greatest: f64,
    /// The frame of that.
    pub frame: i64,
    /// Half of the frames have less.
    pub median: f64,
}

/// Blur of every figure that a pass shows, and of the camera; empty where nothing moves during exposures.
#[must_use]
pub(super) fn blurs(compiled: &Compiled, pass: &Pass, focus: Option<f64>) -> Vec<Blur> {
    let Some((camera, lens)) = compiled.stage().camera().and_then(|body| Some((body, body.lens()?))) else { return Vec::new() };
    if pass.exposure() == Exposure::Held {
        return Vec::new();
    }
    let (stage, half) = (compiled.stage(), 0.5 * pass.shutter().fraction());
    let shown = |b: &&Body| b.group() != camera.group() && !b.shown().is_empty() && !pass.park().contains(&b.group());
    let figure = |body: &Body, t: f64| {
        let t = FrameTime(t);
        Some((compiled.posture_at(Some(pass), body, t).ok()?.body().position, *compiled.posture_at(Some(pass), camera, t).ok()?.body()))
    };
    let of_figure = |body: &Body, frame: f64| {
        let pixel = |t: f64| figure(body, t).and_then(|(at, pose)| lens.project(&pose, at).ok());
        apart(pixel(frame - half)?, pixel(frame + half)?)
    };
    let of_camera = |frame: f64| still(compiled, pass, (camera, lens), (frame, half), focus);
    let figures = stage
        .bodies()
        .iter()
        .filter(shown)
        .filter_map(|body| over((compiled, pass), stage.group_name(body.group()), &|frame| of_figure(body, frame)));
    figures.chain(over((compiled, pass), stage.group_name(camera.group()), &of_camera)).collect()
}

/// A point that stands still on the optical axis at the focus.
fn still(compiled: &Compiled, pass: &Pass, (camera, lens): (&Body, &Lens), (frame, half): (f64, f64), focus: Option<f64>) -> Option<f64> {
    let pose = |t: f64| compiled.posture_at(Some(pass), camera, FrameTime(t)).ok().map(|p| *p.body());
    let middle = pose(frame)?;
    let point = middle.out_fixed(Vector::new(0.0, 0.0, -focus?));
    let pixel = |t: f64| lens.project(&pose(t)?, point).ok();
    apart(pixel(frame - half)?, pixel(frame + half)?)
}

fn apart(a: crate::mechanism::Pixel, b: crate::mechanism::Pixel) -> Option<f64> {
    let (x, y) = (b.right - a.right, b.down - a.down);
    Some((x * x + y * y).sqrt()).filter(|d| d.is_finite())
}

/// Greatest and median over the exposed frames; `None` where nothing is seen in any.
fn over((compiled, pass): (&Compiled, &Pass), what: &str, of: &dyn Fn(f64) -> Option<f64>) -> Option<Blur> {
    let frames = pass.exposed(compiled.shot().frames()).frames();
    let mut all: Vec<(f64, i64)> = frames.filter_map(|n| Some((of(FrameTime::of_frame(n).0)?, n))).collect();
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (greatest, frame) = *all.last()?;
    let median = all.get(all.len() / 2)?.0;
    Some(Blur { what: what.to_owned(), greatest, frame, median })
}
