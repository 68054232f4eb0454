//! Framing: figures and rods that leave the picture, figures that cover others, figures of a few pixels, pixels that are not what they are said to be, a focus that the lens's table does not reach.
//!
//! What: at shutter open, middle and close of the photographed frames (as in [`super::pixels`], and as seldom as there for very long shots) the proxies that are for pictures and the rods of every figure, with its limbs, are seen
//! through every lens, focused as it then is; wires are not: they end outside of the picture as a rule. A proxy is seen as the discs round its ends, radius x focal length / depth, which is what a sphere near the axis shows (to the first order
//! of its size over its depth). Something leaves the picture where it is not wholly in it in some exposure and was in another; what is never wholly in it is meant to be so.
//! Limits: the shot as it was choreographed, nothing parked; between the instants looked at a figure may leave the picture for less than half an exposure.

use super::covering::Covering;
use super::notes::{Note, NoteKind};
use super::pixels::offsets;
use crate::compile::{Compiled, frame_time};
use crate::mechanism::{Lens, Pixel, Pose};
use crate::stage::{Body, GroupId, Posture};
use crate::time::FrameTime;

/// Figures smaller than this in the picture are noted, pixels; common practice, no source.
const FEW_PIXELS: f64 = 10.0;

/// Aspects closer than this are one; film backs are given with three digits.
const SAME_ASPECT: f64 = 0.01;

/// A camera with what it has seen so far.
struct Watch<'a> {
    camera: &'a Body,
    lens: &'a Lens,
    /// Of each figure: proxies, then rods.
    seen: Vec<[Course; 2]>,
    covering: Covering,
}

/// Every note on framing; one of `stride` frames is looked at.
pub(super) fn notes(compiled: &Compiled, stride: u64) -> Vec<Note> {
    let stage = compiled.stage();
    let figures: Vec<&Body> = stage.bodies().iter().filter(|b| b.lens().is_none()).collect();
    let watch = |camera| {
        let seen = figures.iter().map(|_| [Course::default(), Course::default()]).collect();
        Some(Watch { camera, lens: Body::lens(camera)?, seen, covering: Covering::default() })
    };
    let mut watches: Vec<Watch<'_>> = stage.bodies().iter().filter_map(watch).collect();
    if watches.is_empty() {
        return Vec::new();
    }
    let offsets = offsets(compiled.shot());
    for frame in compiled.shot().frames().frames().step_by(usize::try_from(stride).unwrap_or(usize::MAX)) {
        for t in offsets.iter().map(|o| FrameTime(frame_time(frame) + o)) {
            // As all cameras see them.
            let places: Vec<Option<Posture>> = figures.iter().map(|figure| compiled.posture_at(None, figure, t).ok()).collect();
            for Watch { camera, lens, seen, covering } in &mut watches {
                let (Ok(pose), Ok(focus)) = (compiled.posture_at(None, camera, t), compiled.focus_at(None, camera, t)) else { continue };
                let lens = lens.focused(focus);
                if t.0 == frame_time(frame) {
                    covering.look((&lens, pose.body()), &figures, &places, t);
                }
                for ((figure, place), [proxies, rods]) in figures.iter().zip(&places).zip(seen) {
                    let Some(place) = place else { continue };
                    proxies.see((frame, t), &discs(&lens, pose.body(), place, figure), &lens);
                    rods.see((frame, t), &rod_ends(&lens, pose.body(), place, figure), &lens);
                }
            }
        }
    }
    watches.into_iter().flat_map(|watch| watch.notes(compiled, &figures)).collect()
}

impl Watch<'_> {
    fn notes(self, compiled: &Compiled, figures: &[&Body]) -> Vec<Note> {
        let camera = self.camera.group();
        let mut found: Vec<Note> = aspect(camera, self.lens).into_iter().chain(breathing(compiled, self.camera, self.lens)).collect();
        for (figure, [proxies, rods]) in figures.iter().zip(self.seen) {
            let kind = |rods| NoteKind::LeavesPicture { camera, figure: figure.group(), rods };
            found.extend(proxies.left().map(|(frame, count)| note(frame, count, kind(false))));
            found.extend(rods.left().map(|(frame, count)| note(frame, count, kind(true))));
            if let Some((t, pixels)) = proxies.smallest.filter(|(_, pixels)| *pixels < FEW_PIXELS) {
                found.push(note(t, pixels, NoteKind::FewPixels { camera, figure: figure.group() }));
            }
        }
        found.extend(self.covering.notes(camera, figures));
        found
    }
}

pub(super) fn note(frame: FrameTime, value: f64, kind: NoteKind) -> Note {
    Note { axis: None, frame: Some(frame), value: Some(value), kind }
}

/// Width over height of the pixels that film back and picture make, where that is not what is said.
fn aspect(camera: GroupId, lens: &Lens) -> Option<Note> {
    let ([width, height], [across, down]) = (lens.back(), lens.pixels().map(f64::from));
    let (made, said) = ((width / across) / (height / down), lens.optics().pixel_aspect);
    let kind = NoteKind::PixelAspect { camera, said };
    (!((made / said - 1.0).abs() <= SAME_ASPECT)).then_some(Note { axis: None, frame: None, value: Some(made), kind })
}

/// A table of breathing that nothing uses, or that does not reach.
fn breathing(compiled: &Compiled, camera: &Body, lens: &Lens) -> Option<Note> {
    let (table, group) = (lens.breathing(), camera.group());
    if table.points().is_empty() {
        return None;
    }
    if camera.focus().is_none() {
        return Some(Note { axis: None, frame: None, value: Some(lens.focal_length()), kind: NoteKind::BreathingUnused { camera: group } });
    }
    let frames = compiled.shot().frames().frames().map(FrameTime::of_frame);
    let outside = |t: FrameTime| {
        let focus = compiled.focus_at(None, camera, t).ok().flatten()?;
        table.ends_before(focus).then_some((t, focus))
    };
    let (first, focus) = frames.clone().find_map(outside)?;
    let last = frames.rev().find_map(outside).map_or(first, |(t, _)| t);
    Some(note(first, focus, NoteKind::FocusOutsideBreathing { camera: group, last }))
}

/// What happened to something in the picture.
#[derive(Debug, Default)]
struct Course {
    was_in: bool,
    /// First instant at which it was not wholly in the picture, and at how many frames.
    out: Option<(FrameTime, f64)>,
    /// The last frame counted.
    counted: Option<i64>,
    /// When it was smallest, while some of it was in the picture: pixels.
    smallest: Option<(FrameTime, f64)>,
}

/// The corners of a box in the picture; `None` where some of it is not before the camera.
struct Box {
    least: Pixel,
    most: Pixel,
}

impl Course {
    /// `boxes` are the parts of the thing; none where there is no such thing.
    fn see(&mut self, (frame, t): (i64, FrameTime), boxes: &[Option<Box>], lens: &Lens) {
        if boxes.is_empty() {
            return;
        }
        let [across, down] = lens.pixels().map(f64::from);
        let inside = |b: &Option<Box>| {
            b.as_ref().is_some_and(|b| 0.0 <= b.least.right && 0.0 <= b.least.down && b.most.right <= across && b.most.down <= down)
        };
        if boxes.iter().all(inside) {
            self.was_in = true;
        } else {
            let (first, count) = self.out.unwrap_or((t, 0.0));
            let more = if self.counted == Some(frame) { 0.0 } else { 1.0 };
            self.out = Some((first, count + more));
            self.counted = Some(frame);
        }
        let known: Vec<&Box> = boxes.iter().flatten().collect();
        let side = |least: fn(&Box) -> f64, most: fn(&Box) -> f64| {
            let (a, b) = known.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), k| (a.min(least(k)), b.max(most(k))));
            (a, b)
        };
        let ((left, right), (top, bottom)) = (side(|b| b.least.right, |b| b.most.right), side(|b| b.least.down, |b| b.most.down));
        let meets = right >= 0.0 && left <= across && bottom >= 0.0 && top <= down;
        let size = (right - left).max(bottom - top);
        if meets && self.smallest.is_none_or(|(_, s)| size < s) {
            self.smallest = Some((t, size));
        }
    }

    /// When it first left the picture, and in how many of the frames looked at it was out.
    fn left(&self) -> Option<(FrameTime, f64)> {
        self.out.filter(|_| self.was_in)
    }
}

fn discs(lens: &Lens, camera: &Pose<f64>, place: &Posture, figure: &Body) -> Vec<Option<Box>> {
    let ends = figure.shown().iter().flat_map(|s| s.ends.map(|end| (end, s.radius)));
    ends.map(|(end, radius)| {
        let seen = camera.inward(place.out(&end));
        let at = lens.project_seen(seen).ok()?;
        let [x, y] = lens.focal_pixels().map(|f| f * radius / -seen.z);
        Some(Box { least: Pixel { right: at.right - x, down: at.down - y }, most: Pixel { right: at.right + x, down: at.down + y } })
    })
    .collect()
}

fn rod_ends(lens: &Lens, camera: &Pose<f64>, place: &Posture, figure: &Body) -> Vec<Option<Box>> {
    let ends = figure.rods().flat_map(|l| l.ends);
    ends.map(|end| lens.project(camera, place.out(&end)).ok().map(|at| Box { least: at, most: at })).collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "tests")]
mod tests {
    use super::*;
    use crate::check::{fixture, words};
    use crate::mechanism::{JointKind, JointSpec, LensSpec, Optics, Vector};
    use crate::shot::{Exposure, Pass, Shape};
    use crate::stage::{AxisSpec, BodySpec, Capsule, Rod, Stage, Surroundings, Unit};

    /// A camera with 1500 px of focal length and a figure 3 m before it that goes from `from` to `to` mm in frames 1 to 11; what is noted, in words.
    fn noted(lens: Lens, radius: f64, ends: [f64; 2], focus: Option<f64>) -> Vec<String> {
        noted_with_shutter(180.0, lens, radius, ends, focus)
    }

    fn noted_with_shutter(degrees: f64, lens: Lens, radius: f64, [from, to]: [f64; 2], focus: Option<f64>) -> Vec<String> {
        let mm = |name: &str, home: f64| AxisSpec { home, ..AxisSpec::new(name, Unit::Millimetre, [-1e4, 1e4], [1e6, 1e6, 1e6]) };
        let camera_axes = vec![focus.map_or_else(|| mm("track", 0.0), |home| mm("focus_distance", home))];
        let groups = vec![fixture::group("camera", camera_axes), fixture::group("heron", vec![mm("fly", 0.0)])];
        let slide = JointSpec { kind: JointKind::Slide([1.0, 0.0, 0.0]), channel: Some(0), rest: 0.0, offset: [0.0, 0.0, -3000.0] };
        let at = |x: f64, y: f64| Vector::new(x, y, 0.0);
        let bodies = vec![
            BodySpec { lens: Some(lens), ..BodySpec::new("camera") },
            BodySpec {
                joints: vec![slide],
                channels: vec!["heron.fly".to_owned()],
                rods: vec![Rod { from: at(0.0, 0.0), to: at(0.0, 1100.0), limb: None }],
                envelope: vec![Capsule { from: at(-50.0, 0.0), to: at(50.0, 0.0), radius }.into()],
                ..BodySpec::new("heron")
            },
        ];
        let stage = Stage::new("marsh", 1.0, groups).unwrap().with_bodies(bodies, Surroundings::default()).unwrap();
        let passes = vec![Pass::new(&stage, "picture", Exposure::Moving, 60.0, degrees, 0.0, vec![]).unwrap()];
        let track = fixture::track(&stage, "heron.fly", Shape::MinimumJerk, &[(1.0, from), (11.0, to)]);
        let compiled = fixture::compiled(stage, (1, 11), vec![track], passes);
        notes(&compiled, 1).iter().map(|n| words::note(&compiled, n)).collect()
    }

    fn lens(pixels: [u32; 2]) -> Lens {
        Lens::new(LensSpec { focal_length: 15.0, back: [12.8, 10.24], pixels }).unwrap()
    }

    /// Half a pixel a millimetre: the picture ends 1280 mm from its middle; a figure of 50 + 60 mm touches that at 1170 mm. Its rod of 1100 mm ends 1024 mm up: never in.
    #[test]
    fn a_figure_that_leaves_is_noted_with_frames_and_one_that_stays_is_not() {
        assert_eq!(noted(lens([1280, 1024]), 60.0, [0.0, 1169.0], None), Vec::<String>::new());
        // 1300 (10 s^3 - 15 s^4 + 6 s^5) mm with s = (frame - 1) / 10: 1165 mm at 8.5, 1197 mm where the shutter opens on frame 9.
        let found = noted(lens([1280, 1024]), 60.0, [0.0, 1300.0], None);
        assert_eq!(found.len(), 1, "{found:?}");
        assert!(found[0].starts_with("heron leaves the picture of camera: not wholly in it in 3 frames, first at frame 8.75"), "{found:?}");
    }

    /// The same move: 1165 mm at 8.5, beyond 1170 mm from 9 on. With the shutter always open the exposure of frame 11 ends at 11.5, which is no frame more.
    #[test]
    fn the_end_of_a_whole_exposure_is_not_counted_as_the_next_frame() {
        let found = noted_with_shutter(360.0, lens([1280, 1024]), 60.0, [0.0, 1300.0], None);
        assert!(found.len() == 1 && found[0].contains("not wholly in it in 3 frames, first at frame 9"), "{found:?}");
    }

    /// 100 + 2 x 4 mm at half a pixel are 54 px; at a tenth of the pixels 5.4 px.
    #[test]
    fn figures_of_a_few_pixels_are_noted() {
        assert!(noted(lens([1280, 1024]), 4.0, [0.0, 0.0], None).is_empty());
        let found = noted(lens([128, 102]), 4.0, [0.0, 0.0], None);
        assert!(found.len() == 1 && found[0].starts_with("heron is only 5.4 pixels large in the picture of camera"), "{found:?}");
    }

    /// 24.9 x 18.7 mm with 4096 x 2304 pixels: (24.9 / 4096) / (18.7 / 2304) = 0.749.
    #[test]
    fn pixels_that_are_not_square_have_to_be_said_so() {
        let lens = |pixels| Lens::new(LensSpec { focal_length: 24.0, back: [24.9, 18.7], pixels }).unwrap();
        let found = noted(lens([4096, 2304]), 60.0, [0.0, 0.0], None);
        assert!(found.len() == 1 && found[0].contains("0.749") && found[0].contains("`pixel_aspect`"), "{found:?}");
        assert!(noted(lens([4096, 3072]), 60.0, [0.0, 0.0], None).is_empty());
        let said = lens([4096, 2304]).with(Optics { pixel_aspect: 0.749, ..Optics::default() }).unwrap();
        assert!(noted(said, 60.0, [0.0, 0.0], None).is_empty());
    }

    #[test]
    fn a_table_of_breathing_that_is_not_used_or_too_short_is_said() {
        let lens = || lens([1280, 1024]).with(Optics { breathing: vec![[600.0, 15.2], [3000.0, 15.0]], ..Optics::default() }).unwrap();
        let unused = noted(lens(), 60.0, [0.0, 0.0], None);
        assert!(unused.len() == 1 && unused[0].contains("`focus_distance`"), "{unused:?}");
        let short = noted(lens(), 60.0, [0.0, 0.0], Some(500.0));
        assert!(short.len() == 1 && short[0].contains("500 mm") && short[0].contains("frames 1 to 11"), "{short:?}");
        assert!(noted(lens(), 60.0, [0.0, 0.0], Some(600.0)).is_empty());
    }
}
