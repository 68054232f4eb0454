//! All hand-off files of a folder, read in step with the frames: poses, scenes, rods.
//!
//! Invariant: only files that are there are opened; which should be there is said elsewhere. Poses of a frame are worked out once for all files that need them.

use std::collections::BTreeSet;
use std::path::Path;

use super::expected::Requests;
use super::fault::Faults;
use super::oracle::Oracle;
use super::posed::Posed;
use super::poses::Poses;
use super::rods::Rods;
use super::scene::{Scene, Size};
use crate::shot::Shot;
use crate::stage::Stage;

/// The files being read.
pub(super) struct HandedOver<'a> {
    stage: &'a Stage,
    shot: &'a Shot,
    poses: Vec<Poses<'a>>,
    scenes: Vec<Scene<'a>>,
    rods: Vec<Rods<'a>>,
}

impl<'a> HandedOver<'a> {
    /// Opens what there is.
    pub(super) fn open(
        dir: &Path,
        there: &BTreeSet<String>,
        requests: Requests,
        (stage, shot): (&'a Stage, &'a Shot),
        faults: &mut Faults,
    ) -> HandedOver<'a> {
        let mut all = HandedOver { stage, shot, poses: Vec::new(), scenes: Vec::new(), rods: Vec::new() };
        if stage.bodies().is_empty() {
            return all;
        }
        let model = (Size { divisor: 1000.0, name: "model" }, "");
        let full = (Size { divisor: 1000.0 * stage.scale(), name: "full" }, ".full_size");
        for (size, mark) in [Some(model), requests.full_size.then_some(full)].into_iter().flatten() {
            for (stem, cameras) in [("camera", true), ("bodies", false)] {
                let name = format!("{stem}{mark}.csv");
                if there.contains(&name) {
                    all.poses.push(Poses::open(dir, &name, stage, cameras, size.divisor, faults));
                }
            }
            let name = format!("scene{mark}.glb");
            if there.contains(&name) {
                all.scenes.push(Scene::open(dir, &name, stage, shot, size, faults));
            }
        }
        all.rods = shot.passes().iter().map(|pass| Rods::open(dir, there, stage, pass, faults)).collect();
        all
    }

    /// Reads what every file has of a frame.
    pub(super) fn frame(&mut self, oracle: &Oracle<'_>, frame: i64, faults: &mut Faults) {
        if !(self.poses.is_empty() && self.scenes.is_empty()) {
            let state = oracle.state(frame as f64);
            let posed: Vec<Posed> = self.stage.bodies().iter().map(|b| Posed::of(oracle, self.stage, None, b, &state, true)).collect();
            let label = self.shot.timecode_start().after(frame - self.shot.frames().first()).to_string();
            self.poses.iter_mut().for_each(|p| p.frame(frame, &label, &posed, faults));
            self.scenes.iter_mut().for_each(|s| s.frame(frame, &posed, faults));
        }
        self.rods.iter_mut().for_each(|r| r.frame(oracle, frame, faults));
    }

    /// After the last frame nothing may follow.
    pub(super) fn end(&mut self, faults: &mut Faults) {
        self.poses.iter_mut().for_each(|p| p.end(faults));
        self.rods.iter_mut().for_each(|r| r.end(faults));
    }
}
