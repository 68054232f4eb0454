//! All hand-off files of a folder, read in step with the frames: poses, scenes, rods, silhouettes, channels.
//!
//! Invariant: only files that are there are opened; which should be there is said elsewhere. Poses of a frame are worked out once for all files that need them.

use std::collections::BTreeSet;
use std::path::Path;

use super::channels::{self, Channels};
use super::expected::Requests;
use super::fault::{FaultKind, Faults};
use super::haze::{self, Haze};
use super::oracle::Oracle;
use super::parts::handed_over;
use super::picture::is_one_to_one;
use super::posed::{Posed, focus};
use super::poses::{Poses, Row};
use super::record::Record;
use super::rods::Rods;
use super::scene::Scene;
use super::silhouettes::Silhouettes;
use super::size::Size;
use super::stretched::wires;
use super::usd::{Counts, Sample, Usd};
use crate::shot::{Exposure, Shot};
use crate::stage::{Body, Stage};

/// How the files count frames, and when within a frame they say where things are.
#[derive(Debug, Clone)]
struct Counted {
    shift: i64,
    /// Frames from the middle.
    offsets: Vec<f64>,
}

impl Counted {
    /// From what the manifest says; one sample at the middle, and the shot's own numbers, where it says nothing.
    fn new(record: &Record, shot: &Shot) -> Counted {
        let Some(h) = &record.hand_off else { return Counted { shift: 0, offsets: vec![0.0] } };
        let shift = h.first_frame.saturating_sub(shot.frames().first());
        let moving = shot.passes().iter().find(|p| p.exposure() == Exposure::Moving);
        let open = moving.map_or(0.0, |p| p.shutter().degrees() / 360.0);
        let samples = h.samples_per_frame.clamp(1, 64);
        let at = |k: u32| if samples == 1 { 0.0 } else { open * (f64::from(k) / f64::from(samples - 1) - 0.5) };
        Counted { shift, offsets: (0..samples).map(at).collect() }
    }
}

/// The files being read.
pub(super) struct HandedOver<'a> {
    stage: &'a Stage,
    shot: &'a Shot,
    counted: Counted,
    poses: Vec<Poses<'a>>,
    scenes: Vec<Scene>,
    texts: Vec<Usd<'a>>,
    rods: Vec<Rods<'a>>,
    silhouettes: Vec<Silhouettes<'a>>,
    channels: Option<Channels<'a>>,
    haze: Option<Haze>,
}

impl<'a> HandedOver<'a> {
    /// Opens what there is.
    pub(super) fn open(
        dir: &Path,
        there: &BTreeSet<String>,
        (record, requests): (&Record, Requests),
        (stage, shot): (&'a Stage, &'a Shot),
        faults: &mut Faults,
    ) -> HandedOver<'a> {
        let counted = Counted::new(record, shot);
        let mut all = HandedOver {
            stage,
            shot,
            counted,
            poses: Vec::new(),
            scenes: Vec::new(),
            texts: Vec::new(),
            rods: Vec::new(),
            silhouettes: Vec::new(),
            channels: None,
            haze: None,
        };
        if there.contains(channels::FILE) {
            all.channels = Some(Channels::open(dir, stage, faults));
        }
        if stage.bodies().is_empty() {
            return all;
        }
        if there.contains(haze::FILE) {
            all.haze = Haze::open(dir, stage, shot, faults);
        }
        let model = (Size { divisor: 1000.0, name: "model" }, "");
        let full = (Size { divisor: 1000.0 * stage.scale(), name: "full" }, ".full_size");
        for (size, mark) in [Some(model), requests.full_size.then_some(full)].into_iter().flatten() {
            for (stem, cameras) in [("camera", true), ("bodies", false)] {
                let name = format!("{stem}{mark}.csv");
                if there.contains(&name) {
                    all.poses.push(Poses::open(dir, &name, (stage, shot), cameras, (size.divisor, all.counted.offsets.len() > 1), faults));
                }
            }
            let name = format!("scene{mark}.usda");
            if there.contains(&name) {
                let counts = Counts { first_frame: shot.frames().first() + all.counted.shift, samples: all.counted.offsets.len() };
                all.texts.push(Usd::open(dir, &name, (stage, shot), (size, counts), faults));
            }
            let name = format!("scene{mark}.glb");
            if there.contains(&name) {
                all.scenes.push(Scene::open(dir, &name, (stage, shot), (size, shot.frames().first() + all.counted.shift), faults));
            }
        }
        for body in stage.bodies() {
            if body.lens().is_some_and(|lens| !lens.distortion().is_none() && !is_one_to_one(lens)) {
                let group = stage.group_name(body.group());
                faults.file(
                    FaultKind::Source,
                    "source/",
                    format!("the lens of {group} folds where its distortion is taken to be one to one"),
                );
            }
        }
        all.rods = shot.passes().iter().map(|pass| Rods::open(dir, there, stage, pass, faults)).collect();
        all.silhouettes = shot.passes().iter().map(|pass| Silhouettes::open(dir, there, stage, pass, faults)).collect();
        all
    }

    /// Reads what every file has of a frame.
    pub(super) fn frame(&mut self, oracle: &Oracle<'_>, frame: i64, faults: &mut Faults) {
        let number = frame.saturating_add(self.counted.shift);
        let label = self.shot.timecode_start().after(frame - self.shot.frames().first()).to_string();
        let stage = self.stage;
        if let Some(channels) = &mut self.channels {
            channels.frame(oracle, frame, &label, faults);
        }
        let parts = handed_over(stage);
        let posed = |t: f64, on_parent: bool| -> Vec<Posed> {
            let state = oracle.state(t);
            parts.iter().map(|(body, part, _)| Posed::of_part(oracle, stage, (*body, *part), &state, on_parent)).collect()
        };
        if !self.scenes.is_empty() {
            let all = posed(frame as f64, true);
            let wires = wires(oracle, stage, &oracle.state(frame as f64));
            self.scenes.iter_mut().for_each(|s| s.frame(frame, (&all, &wires), faults));
        }
        if let Some(haze) = &mut self.haze {
            haze.frame(number, &posed(frame as f64, false), faults);
        }
        let HandedOver { counted, poses, texts, .. } = self;
        for (sample, offset) in counted.offsets.iter().enumerate() {
            if poses.is_empty() && texts.is_empty() {
                break;
            }
            let t = frame as f64 + offset;
            let (all, state) = (posed(t, false), oracle.state(t));
            let focus = |b: &Body| focus(oracle, stage, None, b, &state);
            let row = Row { number, label: &label, sample: sample + 1, at: number as f64 + offset };
            poses.iter_mut().for_each(|p| p.frame(&row, &all, &focus, faults));
            if !texts.is_empty() {
                let time = if counted.offsets.len() > 1 { format!("{:.6}", row.at) } else { number.to_string() };
                let (posed, wires) = (posed(t, true), wires(oracle, stage, &state));
                let sample = Sample { frame, time: &time, posed: &posed, wires: &wires, focus: &focus };
                texts.iter_mut().for_each(|u| u.sample(&sample, faults));
            }
        }
        self.rods.iter_mut().for_each(|r| r.frame(oracle, (frame, number), faults));
        self.silhouettes.iter_mut().for_each(|s| s.frame(oracle, (frame, number), faults));
    }

    /// After the last frame nothing may follow.
    pub(super) fn end(&mut self, faults: &mut Faults) {
        self.poses.iter_mut().for_each(|p| p.end(faults));
        self.rods.iter_mut().for_each(|r| r.end(faults));
        self.silhouettes.iter_mut().for_each(|s| s.end(faults));
        self.channels.iter_mut().for_each(|c| c.end(faults));
        self.haze.iter_mut().for_each(|h| h.end(faults));
    }
}
