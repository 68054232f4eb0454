//! What is in focus in each frame, drawn beside the focus distance.
//!
//! What: the limits of the depth of field at the stop of a pass, as distances on the ring, at mid-exposure. Limits: only where a mechanism turns the ring, so that the distance has a panel of its own; nothing
//! without a stop, a film plane and a circle of confusion. Unit: mm.

use serde::Serialize;

use super::curves::short;
use crate::compile::Compiled;
use crate::shot::Pass;
use crate::time::FrameTime;

/// Between what everything is in focus, frame by frame.
#[derive(Serialize)]
pub(super) struct SharpData {
    /// The channel of the focus distance.
    channel: String,
    f_number: f64,
    near: Vec<f64>,
    /// `null` where everything behind is.
    far: Vec<Option<f64>>,
}

/// Of a pass; `None` where it is not known.
pub(super) fn sharp(compiled: &Compiled, pass: &Pass) -> Option<SharpData> {
    let stage = compiled.stage();
    let camera = stage.camera()?;
    let lens = camera.lens()?;
    let (film_plane, f_number) = (lens.optics().film_plane?, pass.stop()?);
    let channel = camera.focus()?;
    let (mut near, mut far) = (Vec::new(), Vec::new());
    for frame in compiled.shot().frames().frames() {
        let focus = compiled.focus_at(Some(pass), camera, FrameTime::of_frame(frame)).ok()??;
        let [from, to] = lens.depth_of_field(f_number, focus)?;
        near.push(short(from + film_plane));
        far.push(Some(to).filter(|to| to.is_finite()).map(|to| short(to + film_plane)));
    }
    Some(SharpData { channel: stage.channel_name(channel).to_owned(), f_number, near, far })
}
