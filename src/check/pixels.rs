//! What one step, and the backlash, of every camera and figure axis is worth in the picture.
//!
//! For each camera with a lens and each axis that moves it or a figure: the speed in the picture, pixels per unit of that axis alone,
//! of every figure's points (its origin, the ends of its rods and of its envelope's middle lines), by exact derivatives; times a
//! step or a backlash it is pixels, to the first order. The worst over the photographed frames at shutter open, middle and close (of
//! every shutter of the shot), at points in front of the camera and within the picture. Above a quarter pixel it is a finding.
//! Limits: first order in the step; points between those looked at may move more.

use rayon::prelude::*;

use super::meeting::axes_of;
use super::motion_bound::{plain, pose};
use super::report::Finding;
use crate::compile::{Move, frame_time};
use crate::mechanism::{Lens, Pose, Vector};
use crate::number::Jet;
use crate::shot::Shot;
use crate::stage::{Axis, Body, Stage};

/// Pixels above which a step or a backlash is a finding: a quarter; common practice, no source.
pub const WORTH_KNOWING: f64 = 0.25;

/// What an axis is worth in a picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PixelReport {
    /// Index of the axis.
    pub axis: usize,
    /// Index of the camera's group.
    pub camera: usize,
    /// Worst pixels of one step.
    pub step: f64,
    /// Worst pixels of the backlash, where it is given.
    pub backlash: Option<f64>,
    /// Frame time of both.
    pub frame: f64,
}

/// Every axis that shows, camera by camera in stage order.
#[must_use]
pub fn pixels(stage: &Stage, shot: &Shot, mv: &Move) -> Vec<PixelReport> {
    let mut all = Vec::new();
    for camera in stage.bodies() {
        let Some(lens) = camera.lens() else { continue };
        let figures: Vec<Figure<'_>> = stage
            .bodies()
            .iter()
            .filter(|b| b.lens().is_none())
            .map(|b| Figure { axes: moved_by(stage, b), points: points(b), body: b })
            .collect();
        let scene = Picture { stage, mv, camera, lens, camera_axes: moved_by(stage, camera), figures };
        let times = times(shot);
        let none = || vec![(0.0_f64, f64::NAN); stage.axes().len()];
        let worst = times
            .par_iter()
            .with_min_len(16)
            .fold(none, |mut worst, t| {
                scene.take_in(*t, &mut worst);
                worst
            })
            .reduce(none, |a, b| a.into_iter().zip(b).map(|(a, b)| worse(a, b)).collect());
        for (axis, ((speed, frame), a)) in worst.into_iter().zip(stage.axes()).enumerate() {
            if speed > 0.0 {
                let step = speed / a.drive().steps_per_unit().abs();
                all.push(PixelReport { axis, camera: camera.group(), step, backlash: a.backlash().map(|b| b * speed), frame });
            }
        }
    }
    all
}

/// Findings for what is worth more than a quarter pixel.
#[must_use]
pub fn findings(stage: &Stage, all: &[PixelReport]) -> Vec<Finding> {
    let mut found = Vec::new();
    for p in all {
        let name = stage.axis_name(p.axis);
        let camera = stage.groups().get(p.camera).map_or("", |g| g.name());
        for (what, worth) in [("one step", Some(p.step)), ("the backlash", p.backlash)] {
            let Some(worth) = worth.filter(|w| *w > WORTH_KNOWING) else { continue };
            found.push(Finding {
                kind: "pixels",
                axis: p.axis,
                frame: Some(p.frame),
                value: Some(worth),
                message: format!("{name}: {what} is worth {worth:.2} pixels in the picture of {camera} at frame {:.2}", p.frame),
            });
        }
    }
    found
}

/// The greater speed, and of equals the earlier.
fn worse(a: (f64, f64), b: (f64, f64)) -> (f64, f64) {
    if b.0 > a.0 || (b.0 == a.0 && b.1 < a.1) { b } else { a }
}

/// Shutter open, middle and close of every frame, for every different shutter of the shot.
fn times(shot: &Shot) -> Vec<f64> {
    let mut offsets: Vec<f64> = shot.passes().iter().map(|p| 0.5 * p.shutter().fraction()).flat_map(|half| [-half, half]).collect();
    offsets.push(0.0);
    offsets.sort_by(f64::total_cmp);
    offsets.dedup();
    shot.frames().frames().flat_map(|n| offsets.iter().map(move |o| frame_time(n) + o)).collect()
}

struct Figure<'a> {
    body: &'a Body,
    axes: Vec<usize>,
    points: Vec<Vector>,
}

struct Picture<'a> {
    stage: &'a Stage,
    mv: &'a Move,
    camera: &'a Body,
    lens: &'a Lens,
    camera_axes: Vec<usize>,
    figures: Vec<Figure<'a>>,
}

/// The axes that move a body, each once.
fn moved_by(stage: &Stage, body: &Body) -> Vec<usize> {
    let mut axes: Vec<usize> = body.channels().iter().flat_map(|c| axes_of(stage, *c)).collect();
    axes.sort_unstable();
    axes.dedup();
    axes
}

fn points(body: &Body) -> Vec<Vector> {
    let rods = body.rods().iter().flat_map(|r| [r.from, r.to]);
    let envelope = body.envelope().iter().flat_map(|c| [c.from, c.to]);
    let mut all = vec![Vector::new(0.0, 0.0, 0.0)];
    for p in rods.chain(envelope) {
        if !all.contains(&p) {
            all.push(p);
        }
    }
    all
}

impl Picture<'_> {
    /// The pose of a body at a moment with one axis alone in motion, by one unit a frame.
    fn pose(&self, body: &Body, t: f64, moving: Option<usize>) -> Option<Pose<Jet>> {
        let axis = |a: usize| {
            let p = self.mv.axes().get(a).and_then(|m| m.curve().at(t)).or_else(|| self.stage.axes().get(a).map(Axis::home));
            let p = p.unwrap_or(f64::NAN);
            if Some(a) == moving { Jet::time(p) } else { Jet::constant(p) }
        };
        pose(self.stage, body, &axis, &plain)
    }

    fn take_in(&self, t: f64, worst: &mut [(f64, f64)]) {
        let Some(camera) = self.pose(self.camera, t, None) else { return };
        let mut seen: Vec<Vector<Jet>> = Vec::new();
        let mut take = |axis: usize, camera: &Pose<Jet>, point: Vector<Jet>| {
            if let (Ok(speed), Some(best)) = (self.lens.speed(camera, point), worst.get_mut(axis)) {
                *best = worse(*best, (speed, t));
            }
        };
        for figure in &self.figures {
            let Some(still) = self.pose(figure.body, t, None) else { continue };
            let visible: Vec<Vector> = figure
                .points
                .iter()
                .copied()
                .filter(|p| {
                    let at = self.lens.project(&camera.value(), still.value().out_fixed(*p));
                    at.is_ok_and(|pixel| self.lens.in_picture(pixel))
                })
                .collect();
            if visible.is_empty() {
                continue;
            }
            seen.extend(visible.iter().map(|p| still.out_fixed(*p)));
            for axis in figure.axes.iter().filter(|a| !self.camera_axes.contains(a)) {
                let Some(moved) = self.pose(figure.body, t, Some(*axis)) else { continue };
                for p in &visible {
                    take(*axis, &camera, moved.out_fixed(*p));
                }
            }
        }
        for axis in &self.camera_axes {
            let Some(moved) = self.pose(self.camera, t, Some(*axis)) else { continue };
            for p in &seen {
                take(*axis, &moved, *p);
            }
        }
    }
}
