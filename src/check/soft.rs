//! What must be sharp and leaves the depth of field of a pass.
//!
//! What: in the middle of the exposures of a pass whose stop and focus are known (as seldom as in [`super::pixels`] for very long shots) the depths of all proxies are compared with the depth of field. Where focus
//! follows something else in all of those frames, that was chosen. Limits: between these instants something may be softer.

use super::notes::{Note, NoteKind};
use super::pixels::stride;
use super::sharp::{Thing, sharp};
use crate::compile::Compiled;
use crate::mechanism::Lens;
use crate::shot::Pass;
use crate::shot::light::Sharp;
use crate::stage::Body;
use crate::time::FrameTime;

/// Something outside the depth of field.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Soft {
    /// What.
    pub what: String,
    /// First and last frame.
    pub frames: [i64; 2],
    /// How many of those looked at.
    pub count: usize,
    /// True where focus follows something else, or is on its way, in all of them.
    pub chosen: bool,
}

/// What must be sharp and leaves the depth of field of a pass, where its stop and its focus are known.
pub(super) fn soft(compiled: &Compiled, pass: &Pass, (camera, lens): (&Body, &Lens)) -> Vec<Soft> {
    let Some(stop) = pass.stop() else { return Vec::new() };
    let sharp = sharp(compiled, camera);
    let shown = sharp.iter().filter(|(_, s)| !matches!(s, Sharp::Group(g) if pass.park().contains(g)));
    let things: Vec<(Thing<'_>, Sharp)> = shown.filter_map(|(name, s)| Some((Thing::of(compiled, name, *s)?, *s))).collect();
    let mut found: Vec<Option<Soft>> = vec![None; things.len()];
    let every = usize::try_from(stride(compiled)).unwrap_or(usize::MAX);
    for frame in pass.exposed(compiled.shot().frames()).frames().step_by(every) {
        let t = FrameTime::of_frame(frame);
        let depth = || lens.depth_of_field(stop, compiled.focus_at(None, camera, t).ok()??);
        let (Some([from, to]), Ok(pose)) = (depth(), compiled.posture_at(None, camera, t)) else { continue };
        for ((thing, sharp), soft) in things.iter().zip(&mut found) {
            let Ok(place) = thing.body.map(|body| compiled.posture_at(None, body, t)).transpose() else { continue };
            let [near, far] = thing.depths_at(pose.body(), place.as_ref());
            if from <= near && far <= to {
                continue;
            }
            let chosen = is_elsewhere(compiled, camera, *sharp, t);
            let known = soft.get_or_insert_with(|| Soft { what: thing.name.to_owned(), frames: [frame, frame], count: 0, chosen });
            known.frames[1] = frame;
            known.count += 1;
            known.chosen &= chosen;
        }
    }
    found.into_iter().flatten().collect()
}

/// True where the camera's focus follows something else than this group, or is on its way from or to something else.
fn is_elsewhere(compiled: &Compiled, camera: &Body, sharp: Sharp, t: FrameTime) -> bool {
    let focus = compiled.shot().focuses().iter().find(|f| f.camera() == camera.group());
    let (Some(focus), Sharp::Group(group)) = (focus, sharp) else { return false };
    let at = compiled.time_of_channels(&[focus.channel()]).map_or(t.0, |time| time.choreography(t.0));
    let pulls = focus.pulls();
    let next = pulls.iter().position(|p| p.frame > at).unwrap_or(pulls.len());
    let around = [next.checked_sub(1), Some(next)].into_iter().flatten().filter_map(|i| pulls.get(i));
    around.map(|pull| pull.target.at).any(|at| at != Some(group))
}

/// What is soft in which pass; passes of one stop that expose and park the same are one.
pub(super) fn notes(compiled: &Compiled) -> Vec<Note> {
    let Some((camera, lens)) = compiled.stage().camera().and_then(|b| Some((b, b.lens()?))) else { return Vec::new() };
    let passes = compiled.shot().passes();
    let frames = compiled.shot().frames();
    let alike = |a: &Pass, b: &Pass| a.stop() == b.stop() && a.park() == b.park() && a.exposed(frames) == b.exposed(frames);
    let mut found = Vec::new();
    for (i, pass) in passes.iter().enumerate() {
        if passes.iter().take(i).any(|before| alike(before, pass)) {
            continue;
        }
        let names: Vec<String> = passes.iter().filter(|p| alike(p, pass)).map(|p| p.name().to_owned()).collect();
        for soft in soft(compiled, pass, (camera, lens)) {
            let (first, count) = (FrameTime::of_frame(soft.frames[0]), f64::from(u32::try_from(soft.count).unwrap_or(u32::MAX)));
            let kind = NoteKind::OutOfFocus {
                passes: names.clone(),
                what: soft.what,
                stop: pass.stop(),
                last: soft.frames[1],
                chosen: soft.chosen,
            };
            found.push(Note { axis: None, frame: Some(first), value: Some(count), kind });
        }
    }
    found
}
