//! What one step, and the backlash, of every camera and figure axis is worth in the picture.
//!
//! For each camera with a lens and each axis that moves it or a figure: the speed in the picture, pixels per unit of that axis alone,
//! of every figure's points (its origin, the ends of its body's rods, wires and proxies' middle lines), by exact derivatives; times a
//! step or a backlash it is pixels, to the first order. The worst over the photographed frames at shutter open, middle and close (of
//! every shutter of a moving pass), at points in front of the camera and within the picture. Above a quarter pixel it is a finding.
//! Limits: first order in the step; points between those looked at may move more; that a focus axis changes the size of the picture is not counted, nor points of limbs, so that an axis that only turns a limb is not here; of very long shots one of some frames is looked at, which a note says.

use std::collections::{BTreeMap, BTreeSet};

use rayon::prelude::*;

use super::notes::{Note, NoteKind};
use crate::compile::{Compiled, frame_time};
use crate::mechanism::{Lens, Mechanism, Pose, Vector};
use crate::number::Jet;
use crate::shot::{Exposure, Shot};
use crate::stage::{AxisId, Body, ChannelId, GroupId, Place, Stage};
use crate::time::FrameTime;

/// Pixels above which a step or a backlash is a finding: a quarter; common practice, no source.
pub(crate) const WORTH_KNOWING: f64 = 0.25;

/// What an axis is worth in a picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct PixelReport {
    /// The axis.
    pub axis: AxisId,
    /// The camera's group.
    pub camera: GroupId,
    /// Worst pixels of one step.
    pub step: f64,
    /// Worst pixels of the backlash, where it is given.
    pub backlash: Option<f64>,
    /// When both are.
    pub frame: FrameTime,
}

/// Axes set in motion one after the other at all moments together: beyond that only every so many frames are looked at.
const MOST_MOVED: u64 = 400_000;

/// Points that cost as much as an axis set in motion.
const POINTS: u64 = 16;

/// Pairs of figures in the picture that cost as much as an axis set in motion.
const PAIRS: u64 = 32;

/// Of how many frames one is looked at: 1 but for very long shots or very many figures.
#[must_use]
pub(super) fn stride(compiled: &Compiled) -> u64 {
    let (stage, of) = (compiled.stage(), |n: usize| u64::try_from(n).unwrap_or(u64::MAX));
    let cameras = of(stage.bodies().iter().filter(|b| b.lens().is_some()).count());
    // Some points cost as much as an axis.
    let points = |b: &Body| of(2 * (b.lines().len() + b.solids().len())) / POINTS;
    let own: u64 = stage.bodies().iter().map(|b| (1 + of(b.channels().len())) * (1 + points(b))).sum();
    let by_camera = stage.bodies().iter().filter(|b| b.lens().is_some()).map(|b| of(b.channels().len())).max().unwrap_or(0);
    let moved = own + by_camera * stage.bodies().iter().map(points).sum::<u64>();
    // Who covers whom is asked of every two.
    let figures = of(stage.bodies().len());
    let moved = moved + figures.saturating_mul(figures) / PAIRS;
    let moments = of(offsets(compiled.shot()).len()).saturating_mul(of(compiled.shot().frames().count()));
    cameras.saturating_mul(moved).saturating_mul(moments).div_ceil(MOST_MOVED).max(1)
}

/// Every axis that shows, camera by camera in stage order.
#[must_use]
pub(crate) fn pixels(compiled: &Compiled) -> Vec<PixelReport> {
    let stage = compiled.stage();
    let mut all = Vec::new();
    let (frames, offsets, stride) = (compiled.shot().frames(), offsets(compiled.shot()), stride(compiled));
    let looked_at: Vec<i64> = frames.frames().step_by(usize::try_from(stride).unwrap_or(usize::MAX)).collect();
    for camera in stage.bodies() {
        let Some(lens) = camera.lens() else { continue };
        let figures: Vec<Figure<'_>> = stage
            .bodies()
            .iter()
            .filter(|b| b.lens().is_none())
            .map(|b| Figure { axes: moved_by(stage, b), points: points(b), body: b })
            .collect();
        let scene = Picture { stage, compiled, camera, lens, camera_axes: moved_by(stage, camera), figures };
        let none = || vec![(0.0_f64, f64::INFINITY); stage.axes().len()];
        let worst = looked_at
            .par_iter()
            .with_min_len(8)
            .fold(none, |mut worst, frame| {
                offsets.iter().for_each(|o| scene.take_in(frame_time(*frame) + o, &mut worst));
                worst
            })
            .reduce(none, |a, b| a.into_iter().zip(b).map(|(a, b)| worse(a, b)).collect());
        for ((speed, frame), (axis, a)) in worst.into_iter().zip(stage.each_axis()) {
            if speed > 0.0 {
                let step = speed / a.drive().steps_per_unit().abs();
                all.push(PixelReport {
                    axis,
                    camera: camera.group(),
                    step,
                    backlash: a.backlash().map(|b| b * speed),
                    frame: FrameTime(frame),
                });
            }
        }
    }
    all
}

/// Notes on what is worth more than a quarter pixel, looked at in one of `stride` frames.
pub(super) fn notes(all: &[PixelReport], stride: u64) -> Vec<Note> {
    let mut found = Vec::new();
    if stride > 1 && !all.is_empty() {
        found.push(Note { axis: None, frame: None, value: None, kind: NoteKind::PixelsSampled { stride } });
    }
    for p in all {
        for (backlash, worth) in [(false, Some(p.step)), (true, p.backlash)] {
            let Some(worth) = worth.filter(|w| *w > WORTH_KNOWING) else { continue };
            let kind = NoteKind::Pixels { camera: p.camera, backlash };
            found.push(Note { axis: Some(p.axis), frame: Some(p.frame), value: Some(worth), kind });
        }
    }
    found
}

/// The greater speed, and of equals the earlier.
fn worse(a: (f64, f64), b: (f64, f64)) -> (f64, f64) {
    if b.0 > a.0 || (b.0 == a.0 && b.1 < a.1) { b } else { a }
}

/// Shutter open, middle and close, frames from the middle, for every different shutter of a moving pass; the middle alone where all are held.
pub(super) fn offsets(shot: &Shot) -> Vec<f64> {
    let mut offsets: Vec<f64> = shot
        .passes()
        .iter()
        .filter(|p| p.exposure() == Exposure::Moving)
        .map(|p| 0.5 * p.shutter().fraction())
        .flat_map(|half| [-half, half])
        .collect();
    offsets.push(0.0);
    offsets.sort_by(f64::total_cmp);
    offsets.dedup();
    offsets
}

struct Figure<'a> {
    body: &'a Body,
    axes: Vec<Moves>,
    points: Vec<Vector>,
}

struct Picture<'a> {
    stage: &'a Stage,
    compiled: &'a Compiled,
    camera: &'a Body,
    lens: &'a Lens,
    camera_axes: Vec<Moves>,
    figures: Vec<Figure<'a>>,
}

/// An axis that moves a body, and which of the body's channels it moves.
struct Moves {
    axis: AxisId,
    channels: Vec<usize>,
}

/// The axes that move a body, each once.
fn moved_by(stage: &Stage, body: &Body) -> Vec<Moves> {
    let mut by_axis: BTreeMap<AxisId, Vec<usize>> = BTreeMap::new();
    for (i, channel) in body.channels().iter().enumerate() {
        for axis in stage.axes_of(*channel) {
            by_axis.entry(axis).or_default().push(i);
        }
    }
    by_axis.into_iter().map(|(axis, channels)| Moves { axis, channels }).collect()
}

fn points(body: &Body) -> Vec<Vector> {
    let rods = body.lines().iter().flat_map(|l| l.ends);
    let proxies = body.shown().iter().chain(body.solids()).flat_map(|s| s.ends);
    let on_body = rods.chain(proxies).filter(|h| h.place == Place::Body).map(|h| h.at);
    let mut known = BTreeSet::new();
    let all = core::iter::once(Vector::new(0.0, 0.0, 0.0)).chain(on_body);
    // Zero of either sign is one place.
    all.filter(|p| known.insert([p.x, p.y, p.z].map(|x| (x + 0.0).to_bits()))).collect()
}

impl Picture<'_> {
    /// Values of a body's channels at a moment, nothing moving.
    fn still(&self, body: &Body, t: f64) -> Option<Vec<Jet>> {
        self.stage.channel_values(body.channels(), &|a| Ok(Jet::constant(self.position(a, t)?)), &forward).ok()
    }

    /// The same with one axis alone in motion, by one unit a frame: only the channels it moves are computed again.
    fn moved(&self, body: &Body, still: &[Jet], t: f64, by: &Moves) -> Option<Pose<Jet>> {
        let wanted: Vec<ChannelId> = by.channels.iter().filter_map(|i| body.channels().get(*i).copied()).collect();
        let axis = |a: AxisId| {
            let p = self.position(a, t)?;
            Ok(if a == by.axis { Jet::time(p) } else { Jet::constant(p) })
        };
        let changed = self.stage.channel_values(&wanted, &axis, &forward).ok()?;
        let mut values = still.to_vec();
        for (i, value) in by.channels.iter().zip(changed) {
            if let Some(slot) = values.get_mut(*i) {
                *slot = value;
            }
        }
        Some(body.pose(&values))
    }

    fn position(&self, axis: AxisId, t: f64) -> Result<f64, Lost> {
        self.compiled.motion(axis).at(FrameTime(t)).ok_or(Lost)
    }

    fn take_in(&self, t: f64, worst: &mut [(f64, f64)]) {
        let Some(camera_still) = self.still(self.camera, t) else { return };
        let camera = self.camera.pose(&camera_still);
        let Ok(focus) = self.compiled.focus_at(None, self.camera, FrameTime(t)) else { return };
        let lens = self.lens.focused(focus);
        let mut seen: Vec<Vector<Jet>> = Vec::new();
        let mut take = |axis: AxisId, camera: &Pose<Jet>, point: Vector<Jet>| {
            if let (Ok(speed), Some(best)) = (lens.speed(camera, point), worst.get_mut(axis.index())) {
                *best = worse(*best, (speed, t));
            }
        };
        for figure in &self.figures {
            let Some(values) = self.still(figure.body, t) else { continue };
            let still = figure.body.pose(&values);
            let visible: Vec<Vector> = figure
                .points
                .iter()
                .copied()
                .filter(|p| {
                    let at = lens.project(&camera.value(), still.value().out_fixed(*p));
                    at.is_ok_and(|pixel| lens.in_picture(pixel))
                })
                .collect();
            if visible.is_empty() {
                continue;
            }
            seen.extend(visible.iter().map(|p| still.out_fixed(*p)));
            for by in figure.axes.iter().filter(|a| self.camera_axes.iter().all(|c| c.axis != a.axis)) {
                let Some(moved) = self.moved(figure.body, &values, t, by) else { continue };
                for p in &visible {
                    take(by.axis, &camera, moved.out_fixed(*p));
                }
            }
        }
        for by in &self.camera_axes {
            let Some(moved) = self.moved(self.camera, &camera_still, t, by) else { continue };
            for p in &seen {
                take(by.axis, &moved, *p);
            }
        }
    }
}

/// No position or pose at an instant: nothing is seen then.
struct Lost;

fn forward(mechanism: &dyn Mechanism, axes: &[Jet], channels: &mut [Jet]) -> Result<(), Lost> {
    mechanism.to_channels(axes, channels).map_err(|_| Lost)
}
