//! What one step of each axis moves a mark in the picture.
//!
//! What: a mark on a body, a limb, a point of the stage or an obstacle lies on the ray of its place in the picture, at the depth of the origin of what it is on; with one axis alone in motion its speed in the
//! picture follows by exact derivatives, as in [`pixels`](super::pixels). Units: pixels to the right and down for one step of positive travel.
//! Limits: first order in the step; a mark nearer or further than that origin is taken to be at its depth; that focus changes the size of the picture is not counted.

use rayon::prelude::*;

use crate::compile::Compiled;
use crate::compile::place::NoPose;
use crate::mechanism::{Lens, Mechanism, Pixel, Pose, Real, Vector};
use crate::number::Jet;
use crate::shot::Pass;
use crate::stage::{AxisId, Body, Obstacle, Posture, Stage};
use crate::time::FrameTime;

/// A mark in the picture of a frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Mark<'a> {
    /// Frame.
    pub frame: i64,
    /// What it is on: `GROUP`, `GROUP.LIMB`, a point of the stage or an obstacle.
    pub owner: &'a str,
    /// To the right and down, pixels.
    pub at: [f64; 2],
}

/// Why a mark has no place on the stage.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub(crate) enum NoSight {
    /// No camera.
    #[error("the stage has no lens, so nothing is seen")]
    NoLens,
    /// A name that the stage does not have.
    #[error("the stage has no figure, limb, point or obstacle `{name}`; it has {}", listed(.known))]
    Unknown {
        /// The name.
        name: String,
        /// The names that it has.
        known: Vec<String>,
    },
    /// A frame that is not photographed.
    #[error("frame {frame} is not photographed; this shot has {first} to {last}")]
    NoFrame {
        /// Frame.
        frame: i64,
        /// First photographed frame.
        first: i64,
        /// Last photographed frame.
        last: i64,
    },
    /// A place beyond the edges of the picture.
    #[error("`{name}` is at {}, {} px in frame {frame}, which is outside the picture (0 to {}, 0 to {})", .at[0], .at[1], .pixels[0], .pixels[1])]
    Outside {
        /// What the mark is on.
        name: String,
        /// Frame.
        frame: i64,
        /// To the right and down, pixels.
        at: [f64; 2],
        /// Width and height of the picture.
        pixels: [u32; 2],
    },
    /// A figure that is not there.
    #[error("`{name}` is parked at home in pass {pass}; name the pass that photographs it")]
    Parked {
        /// What the mark is on.
        name: String,
        /// The pass.
        pass: String,
    },
    /// Behind the camera, or where the distortion says nothing.
    #[error("`{name}` is not in front of the camera in frame {frame}; check the name and the frame")]
    Unseen {
        /// What the mark is on.
        name: String,
        /// Frame.
        frame: i64,
    },
}

/// The axes that move a mark, and how far one step of each does.
pub(crate) type PerStep = Vec<(AxisId, [f64; 2])>;

/// The first camera and its lens, where its picture of `pass` can have all these marks.
///
/// # Errors
/// Every name, frame and place that the shot does not have, each once.
pub(crate) fn pictured<'c>(compiled: &'c Compiled, pass: &Pass, marks: &[Mark<'_>]) -> Result<(&'c Body, &'c Lens), Vec<NoSight>> {
    let stage = compiled.stage();
    let Some((camera, lens)) = stage.camera().and_then(|c| Some((c, c.lens()?))) else { return Err(vec![NoSight::NoLens]) };
    let frames = compiled.shot().frames();
    let mut wrong: Vec<NoSight> = Vec::new();
    for mark in marks {
        let mut add = |flaw: NoSight| {
            if !wrong.contains(&flaw) && wrong.len() < MOST_FLAWS {
                wrong.push(flaw)
            }
        };
        if !frames.contains(mark.frame) {
            add(NoSight::NoFrame { frame: mark.frame, first: frames.first(), last: frames.last() });
        }
        match Owner::of(stage, mark.owner) {
            None => add(NoSight::Unknown { name: mark.owner.to_owned(), known: names(stage) }),
            Some(Owner::Body(body, _)) if pass.park().contains(&body.group()) => {
                add(NoSight::Parked { name: mark.owner.to_owned(), pass: pass.name().to_owned() });
            }
            Some(_) => {}
        }
        if !lens.in_picture(Pixel { right: mark.at[0], down: mark.at[1] }) {
            add(NoSight::Outside { name: mark.owner.to_owned(), frame: mark.frame, at: mark.at, pixels: lens.pixels() });
        }
    }
    if wrong.is_empty() { Ok((camera, lens)) } else { Err(wrong) }
}

/// For each mark the axes that move it in the picture of the first camera; as `pass` has them.
///
/// # Errors
/// As [`pictured`]; the first mark that is not seen.
pub(crate) fn per_step(compiled: &Compiled, pass: &Pass, marks: &[Mark<'_>]) -> Result<Vec<PerStep>, Vec<NoSight>> {
    let (camera, lens) = pictured(compiled, pass, marks)?;
    let scene = Scene { compiled, pass, camera, lens, camera_axes: axes_of(compiled.stage(), camera) };
    let frames: Vec<&[Mark<'_>]> = marks.chunk_by(|a, b| a.frame == b.frame).collect();
    let all: Result<Vec<Vec<PerStep>>, NoSight> = frames.par_iter().map(|marks| scene.frame(marks)).collect();
    all.map(|all| all.into_iter().flatten().collect()).map_err(|flaw| vec![flaw])
}

/// Flaws that are told.
const MOST_FLAWS: usize = 20;

/// What a mark is on.
#[derive(Clone, Copy)]
enum Owner<'a> {
    Body(&'a Body, Option<usize>),
    Fixed(Vector),
}

impl<'a> Owner<'a> {
    fn of(stage: &'a Stage, name: &str) -> Option<Owner<'a>> {
        let (group, limb) = name.split_once('.').map_or((name, None), |(group, limb)| (group, Some(limb)));
        let body = stage.bodies().iter().find(|b| b.lens().is_none() && stage.group_name(b.group()) == group);
        match (body, limb) {
            (Some(body), None) => return Some(Owner::Body(body, None)),
            (Some(body), Some(limb)) => {
                return body.limbs().iter().position(|l| l.name() == limb).map(|number| Owner::Body(body, Some(number)));
            }
            (None, _) => {}
        }
        let around = stage.surroundings();
        let point = around.points.iter().find(|(n, _)| n == name).map(|(_, at)| *at);
        let middle = |o: &Obstacle| (o.shape.from + o.shape.to).times(0.5);
        point.or_else(|| around.obstacles.iter().find(|o| o.name == name).map(middle)).map(Owner::Fixed)
    }
}

/// The first of these names, and how many more there are.
fn listed(names: &[String]) -> String {
    let shown: Vec<&str> = names.iter().take(MOST_NAMES).map(String::as_str).collect();
    match names.len() - shown.len() {
        0 if shown.is_empty() => "none".to_owned(),
        0 => shown.join(", "),
        more => format!("{} and {more} more", shown.join(", ")),
    }
}

/// Names that an error lists.
const MOST_NAMES: usize = 12;

/// Every name that a mark can have.
fn names(stage: &Stage) -> Vec<String> {
    let figures = stage.bodies().iter().filter(|b| b.lens().is_none());
    let parts = figures.flat_map(|b| {
        let group = stage.group_name(b.group());
        core::iter::once(group.to_owned()).chain(b.limbs().iter().map(move |l| format!("{group}.{}", l.name())))
    });
    let around = stage.surroundings();
    parts.chain(around.points.iter().map(|(n, _)| n.clone())).chain(around.obstacles.iter().map(|o| o.name.clone())).collect()
}

/// The axes that move a body or its limbs, each once.
fn axes_of(stage: &Stage, body: &Body) -> Vec<AxisId> {
    let mut axes: Vec<AxisId> = body.every_channel().iter().flat_map(|channel| stage.axes_of(*channel)).collect();
    axes.sort_unstable();
    axes.dedup();
    axes
}

struct Scene<'a> {
    compiled: &'a Compiled,
    pass: &'a Pass,
    camera: &'a Body,
    lens: &'a Lens,
    camera_axes: Vec<AxisId>,
}

/// A body that stands, and the same with each of its axes in motion.
struct Moved {
    still: Posture<f64>,
    /// The same as a number that does not change.
    resting: Posture<Jet>,
    by_axis: Vec<(AxisId, Posture<Jet>)>,
}

impl Scene<'_> {
    /// The marks of one frame.
    fn frame(&self, marks: &[Mark<'_>]) -> Result<Vec<PerStep>, NoSight> {
        let Some(first) = marks.first() else { return Ok(Vec::new()) };
        let unseen = |owner: &str| NoSight::Unseen { name: owner.to_owned(), frame: first.frame };
        let t = FrameTime::of_frame(first.frame);
        let stage = self.compiled.stage();
        let camera = self.moved(self.camera, &self.camera_axes, t).ok_or_else(|| unseen(first.owner))?;
        let focus = self.compiled.focus_at(Some(self.pass), self.camera, t).map_err(|_| unseen(first.owner))?;
        let lens = self.lens.focused(focus);
        let eye = *camera.still.body();
        let mut found = Vec::with_capacity(marks.len());
        for together in marks.chunk_by(|a, b| a.owner == b.owner) {
            let Some(name) = together.first().map(|m| m.owner) else { continue };
            let Some(owner) = Owner::of(stage, name) else { return Err(unseen(name)) };
            let moved = match owner {
                Owner::Body(body, _) => Some(self.moved(body, &axes_of(stage, body), t).ok_or_else(|| unseen(name))?),
                Owner::Fixed(_) => None,
            };
            let origin = match (owner, &moved) {
                (Owner::Body(_, limb), Some(moved)) => part(&moved.still, limb).position,
                (Owner::Fixed(at), _) => at,
                (Owner::Body(..), None) => return Err(unseen(name)),
            };
            let ahead = -eye.inward(origin).z;
            if !(0.0 < ahead) {
                return Err(unseen(name));
            }
            for mark in together {
                let [x, y] = lens.direction(mark.at).ok_or_else(|| unseen(name))?;
                let place = eye.out_fixed(Vector::new(x * ahead, -y * ahead, -ahead));
                found.push(self.mark(&lens, (&camera, owner, moved.as_ref()), place).ok_or_else(|| unseen(name))?);
            }
        }
        Ok(found)
    }

    /// What each axis does to a mark at this place of the stage.
    fn mark(&self, lens: &Lens, (camera, owner, moved): (&Moved, Owner<'_>, Option<&Moved>), place: Vector) -> Option<PerStep> {
        let stage = self.compiled.stage();
        let limb = if let Owner::Body(_, limb) = owner { limb } else { None };
        let held = moved.map(|moved| part(&moved.still, limb).inward(place));
        let own = moved.map_or(&[][..], |m| &m.by_axis[..]);
        let resting = Vector::constant(place);
        let mut found = PerStep::new();
        for axis in self.camera_axes.iter().chain(own.iter().map(|(axis, _)| axis).filter(|a| !self.camera_axes.contains(a))) {
            let eye = camera.by_axis.iter().find(|(a, _)| a == axis).map_or(&camera.resting, |(_, posture)| posture).body();
            let carried = own.iter().find(|(a, _)| a == axis).zip(held);
            let point = carried.map_or(resting, |((_, posture), held)| part(posture, limb).out_fixed(held));
            let Pixel { right, down } = lens.project(eye, point).ok()?;
            let per_unit = stage.axis(*axis).drive().steps_per_unit().abs();
            let shift = [right.v / per_unit, down.v / per_unit];
            if shift != [0.0; 2] {
                found.push((*axis, shift));
            }
        }
        Some(found)
    }

    /// A body at a moment, and with one unit a frame of each of `axes`.
    fn moved(&self, body: &Body, axes: &[AxisId], t: FrameTime) -> Option<Moved> {
        let stage = self.compiled.stage();
        let at = |id: AxisId| {
            if self.pass.parks(stage, id) { Ok(stage.axis(id).home()) } else { self.compiled.motion(id).at(t).ok_or(NoPose::Outside) }
        };
        let still = self.compiled.posture_at(Some(self.pass), body, t).ok()?;
        let with = |moving: Option<AxisId>| {
            let axis = |id: AxisId| at(id).map(|p| if Some(id) == moving { Jet::time(p) } else { Jet::constant(p) });
            Some(body.posture(&stage.channel_values(body.every_channel(), &axis, &forward).ok()?))
        };
        let by_axis = axes.iter().map(|axis| Some((*axis, with(Some(*axis))?))).collect::<Option<Vec<_>>>()?;
        Some(Moved { still, resting: with(None)?, by_axis })
    }
}

/// A limb, or the body.
fn part<T: Real>(posture: &Posture<T>, limb: Option<usize>) -> &Pose<T> {
    limb.map_or_else(|| posture.body(), |number| posture.limb(number))
}

fn forward(mechanism: &dyn Mechanism, axes: &[Jet], channels: &mut [Jet]) -> Result<(), NoPose> {
    Ok(mechanism.to_channels(axes, channels)?)
}
