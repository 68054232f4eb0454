//! Haze: what to measure on the stage, what each figure loses at its nearest and farthest, how steady the smoke must be, and a note where too little light is left.
//!
//! What: at mid-exposure of the photographed frames (as seldom as in [`super::pixels`] for very long shots), straight from the camera's entrance pupil to the origin of every body and
//! limb that is no camera; nothing is parked, as in `haze.csv`. Limits: between these instants a figure may be nearer or farther.

use super::framing::note;
use super::notes::{Note, NoteKind};
use super::pixels::stride;
use crate::compile::Compiled;
use crate::mechanism::Vector;
use crate::shot::{Haze, Veiled};
use crate::stage::{Body, GroupId, Place};
use crate::time::FrameTime;

/// Stops beyond which a figure is noted: a sixteenth of its light is left; common practice, no source.
const MOST_STOPS: f64 = 4.0;

/// Haze and what it takes away.
#[derive(Debug, Clone)]
pub(crate) struct HazeReport {
    /// The haze.
    pub haze: Haze,
    /// Every body and limb in the order of the stage.
    pub bodies: Vec<VeiledBody>,
    /// Of how many frames one was looked at.
    pub stride: u64,
}

/// A body or limb behind haze.
#[derive(Debug, Clone)]
pub(crate) struct VeiledBody {
    /// Its group.
    pub group: GroupId,
    /// Which part of it.
    pub place: Place,
    /// Where it is farthest: the least transmission.
    pub least: (FrameTime, Veiled),
    /// Where it is nearest: the greatest transmission.
    pub greatest: (FrameTime, Veiled),
}

/// What haze does to a shot; `None` where it has none.
#[must_use]
pub(super) fn haze(compiled: &Compiled) -> Option<HazeReport> {
    let (stage, shot) = (compiled.stage(), compiled.shot());
    let (haze, stride) = (shot.haze()?.clone(), stride(compiled));
    let camera = stage.body_of(haze.camera())?;
    let origin = |body: &Body, t| -> Option<Vec<Vector>> {
        let posture = compiled.posture_at(None, body, t).ok()?;
        let limbs = (0..body.limbs().len()).map(|i| posture.limb(i).position);
        Some(core::iter::once(posture.body().position).chain(limbs).collect())
    };
    let mut seen: Vec<(&Body, Vec<Seen>)> = stage.bodies().iter().map(|body| (body, vec![None; 1 + body.limbs().len()])).collect();
    for t in shot.frames().frames().step_by(usize::try_from(stride).unwrap_or(usize::MAX)).map(FrameTime::of_frame) {
        let Some(pupil) = origin(camera, t).and_then(|places| places.first().copied()) else { continue };
        for (body, parts) in &mut seen {
            for (part, at) in parts.iter_mut().zip(origin(body, t).unwrap_or_default()) {
                let now = (t, haze.veil((at - pupil).length()));
                let (farthest, nearest) = part.get_or_insert((now, now));
                if now.1.distance > farthest.1.distance {
                    *farthest = now;
                }
                if now.1.distance < nearest.1.distance {
                    *nearest = now;
                }
            }
        }
    }
    let mut bodies = Vec::new();
    for (body, parts) in seen {
        let places = core::iter::once(Place::Body).chain((0..body.limbs().len()).map(Place::Limb));
        // The body of a camera is in no picture of its own; what is carried on it may be.
        let shown = places.zip(parts).filter(|(place, _)| *place != Place::Body || body.lens().is_none());
        bodies.extend(shown.filter_map(|(place, part)| {
            let (least, greatest) = part?;
            Some(VeiledBody { group: body.group(), place, least, greatest })
        }));
    }
    Some(HazeReport { haze, bodies, stride })
}

/// Where a part is farthest, and where it is nearest, so far.
type Seen = Option<((FrameTime, Veiled), (FrameTime, Veiled))>;

/// Figures of which little light arrives.
pub(super) fn notes(report: Option<&HazeReport>) -> Vec<Note> {
    let figures = report.into_iter().flat_map(HazeReport::figures);
    figures
        .filter(|b| !(b.least.1.stops <= MOST_STOPS))
        .map(|b| note(b.least.0, b.least.1.stops, NoteKind::LostInHaze { figure: b.group }))
        .collect()
}

impl HazeReport {
    /// Figures as wholes, without their limbs.
    pub(crate) fn figures(&self) -> impl Iterator<Item = &VeiledBody> {
        self.bodies.iter().filter(|b| b.place == Place::Body)
    }
}
