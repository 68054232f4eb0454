//! Where bodies are at every frame, for everybody who takes over from the machine: poses, sizes, and decimals.
//!
//! Invariant: poses are read from the compiled curves, the ones that become steps; neighbouring quaternions never differ in sign alone, so that
//! whoever goes straight from one to the next takes the short way. Nothing is clamped: a body without a pose is an error with its frame.

use nalgebra::{Isometry3, UnitQuaternion};

use super::sampling::Sampling;
use crate::compile::Compiled;
use crate::compile::place::NoPose;
use crate::mechanism::{Lens, Vector};
use crate::shot::Pass;
use crate::stage::{Body, Line, Place, Posture, Solid, Stage};
use crate::time::FrameTime;

/// Why poses could not be written.
#[derive(Debug, thiserror::Error)]
pub(crate) enum PoseError {
    /// The writer failed.
    #[error("the poses could not be written: {0}")]
    Csv(#[from] csv::Error),
    /// The writer failed.
    #[error("the poses could not be written: {0}")]
    Io(#[from] std::io::Error),
    /// The scene could not be put into words.
    #[error("the scene could not be written: {0}")]
    Json(#[from] serde_json::Error),
    /// A mechanism has no pose for where its axes stand, or the move does not reach that frame.
    #[error("`{body}` has no pose at frame {at}: {error}")]
    NoPose {
        /// Name of the body's group.
        body: String,
        /// Frame time.
        at: f64,
        /// Why.
        error: NoPose,
    },
    /// More than one file of its kind can hold.
    #[error("the scene has {bytes} bytes, more than one binary glTF file can hold (4294967295)")]
    TooLong {
        /// Length in bytes.
        bytes: usize,
    },
}

/// Whose millimetres are written as metres.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Size {
    /// The model's own.
    Model,
    /// Those of the real thing the model stands for: divided by the stage's scale.
    Full,
}

impl Size {
    /// What a length in mm is divided by to be written in metres.
    #[must_use]
    pub(crate) fn divisor(self, stage: &Stage) -> f64 {
        match self {
            Size::Model => 1000.0,
            Size::Full => 1000.0 * stage.scale(),
        }
    }

    /// `model` or `full`, as in files.
    #[must_use]
    pub(crate) fn name(self) -> &'static str {
        match self {
            Size::Model => "model",
            Size::Full => "full",
        }
    }
}

/// A body or a limb with its pose at every sample of every photographed frame.
#[derive(Debug, Clone)]
pub(crate) struct PosedBody<'a> {
    /// `GROUP`, or `GROUP.LIMB`.
    pub name: String,
    /// The body.
    pub body: &'a Body,
    /// The limb; `None` for the body itself.
    pub limb: Option<usize>,
    /// One pose for each sample, in the stage's axes, mm.
    pub poses: Vec<Isometry3<f64>>,
    /// Of a limb, the same in the axes of its parent.
    pub on_parent: Vec<Isometry3<f64>>,
    /// How a camera is focused at each of them, mm from the film plane; empty for what is none, or has no such channel.
    pub focus: Vec<f64>,
    /// Of a body with wires, the two ends of each of them at each sample, in the stage's axes, mm.
    pub wires: Vec<Vec<Vector>>,
}

impl<'a> PosedBody<'a> {
    /// The lens, where it is the body of a camera.
    #[must_use]
    pub(crate) fn lens(&self) -> Option<&Lens> {
        self.body.lens().filter(|_| self.limb.is_none())
    }

    /// The place on the figure that it is.
    #[must_use]
    pub(crate) fn place(&self) -> Place {
        Place::of(self.limb)
    }

    /// The rods that stand on it.
    pub(crate) fn rods(&self) -> impl Iterator<Item = &'a Line> + use<'a> {
        let place = self.place();
        self.body.rods().filter(move |l| l.ends[0].place == place)
    }

    /// What is shown of it, with its number among the proxies for pictures of the whole group; nothing of a camera's group, whose proxies would stand in its own view.
    pub(crate) fn proxies(&self) -> impl Iterator<Item = (usize, &'a Solid)> + use<'a> {
        let (body, place) = (self.body, self.place());
        (1_usize..).zip(body.shown()).filter(move |(_, s)| body.lens().is_none() && s.ends[0].place == place)
    }

    /// True for a limb that is on this one, or on this body.
    #[must_use]
    pub(crate) fn is_carried_by(&self, parent: &PosedBody<'_>) -> bool {
        let limb = self.limb.and_then(|i| self.body.limbs().get(i));
        self.body.group() == parent.body.group() && limb.is_some_and(|l| l.parent() == parent.limb)
    }
}

/// Every body of the stage with its poses, in the stage's order, each followed by its limbs. No pass parks anything here: this is the shot as it was choreographed.
///
/// # Errors
/// A body without a pose at a frame.
pub(crate) fn posed<'a>(compiled: &'a Compiled, sampling: &Sampling) -> Result<Vec<PosedBody<'a>>, PoseError> {
    let (stage, shot) = (compiled.stage(), compiled.shot());
    let mut all = Vec::with_capacity(stage.bodies().len());
    for body in stage.bodies() {
        let first = all.len();
        let one = |limb: Option<usize>| PosedBody {
            name: stage.part_name(body, Place::of(limb)),
            body,
            limb,
            poses: Vec::new(),
            on_parent: Vec::new(),
            focus: Vec::new(),
            wires: Vec::new(),
        };
        all.push(one(None));
        all.extend((0..body.limbs().len()).map(|i| one(Some(i))));
        for t in shot.frames().frames().flat_map(|frame| sampling.instants(frame)) {
            let posture = posture(compiled, None, body, t)?;
            let focus = focus(compiled, None, body, t)?;
            let ends: Vec<Vector> = body.wires().flat_map(|(l, _)| l.ends).map(|hold| posture.out(&hold)).collect();
            for posed in all.iter_mut().skip(first) {
                let Some((number, limb)) = posed.limb.and_then(|i| Some((i, body.limbs().get(i)?))) else {
                    add(&mut posed.poses, posture.body().isometry());
                    posed.focus.extend(focus);
                    if !ends.is_empty() {
                        posed.wires.push(ends.clone());
                    }
                    continue;
                };
                let (pose, parent) = (posture.limb(number).isometry(), limb.parent().map_or(posture.body(), |p| posture.limb(p)));
                add(&mut posed.on_parent, parent.isometry().inv_mul(&pose));
                add(&mut posed.poses, pose);
            }
        }
    }
    Ok(all)
}

/// Goes on with a pose, its quaternion the nearer one.
fn add(poses: &mut Vec<Isometry3<f64>>, mut next: Isometry3<f64>) {
    if let Some(last) = poses.last() {
        next.rotation = nearer(&last.rotation, next.rotation);
    }
    poses.push(next);
}

/// A figure at frame time `t`, mm; with a pass, as that pass has it.
///
/// # Errors
/// A body without a pose there.
pub(crate) fn posture(compiled: &Compiled, pass: Option<&Pass>, body: &Body, t: FrameTime) -> Result<Posture, PoseError> {
    let lost = |error| PoseError::NoPose { body: name(compiled.stage(), body).to_owned(), at: t.0, error };
    compiled.posture_at(pass, body, t).map_err(lost)
}

/// How a camera is focused at frame time `t`, mm from the film plane; `None` where no channel says it.
///
/// # Errors
/// No place there.
pub(crate) fn focus(compiled: &Compiled, pass: Option<&Pass>, camera: &Body, t: FrameTime) -> Result<Option<f64>, PoseError> {
    let lost = |error| PoseError::NoPose { body: name(compiled.stage(), camera).to_owned(), at: t.0, error };
    compiled.focus_at(pass, camera, t).map_err(lost)
}

/// Name of a body's group.
#[must_use]
pub(crate) fn name<'a>(stage: &'a Stage, body: &Body) -> &'a str {
    stage.group_name(body.group())
}

/// A quaternion and its negative are one turn; of the two, the one nearer to the last.
fn nearer(last: &UnitQuaternion<f64>, next: UnitQuaternion<f64>) -> UnitQuaternion<f64> {
    let along = last.w * next.w + last.i * next.i + last.j * next.j + last.k * next.k;
    if along < 0.0 { UnitQuaternion::new_unchecked(-next.into_inner()) } else { next }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearer_of_two_quaternions_of_one_turn() {
        let axis = nalgebra::Vector3::y_axis();
        let (a, b) = (UnitQuaternion::from_axis_angle(&axis, 3.0), UnitQuaternion::from_axis_angle(&axis, 3.3));
        let turned = UnitQuaternion::new_unchecked(-b.into_inner());
        assert_eq!(nearer(&a, turned).into_inner(), b.into_inner());
        assert_eq!(nearer(&a, b).into_inner(), b.into_inner());
    }
}
