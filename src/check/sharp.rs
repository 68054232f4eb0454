//! What must be sharp, and how deep in front of a camera its parts are.
//!
//! Units: mm, along the optical axis from the entrance pupil. Limits: proxies speak for figures.

use crate::compile::Compiled;
use crate::mechanism::{Pose, Real, Vector};
use crate::shot::light::Sharp;
use crate::stage::{Body, GroupId, Posture};

/// What must be sharp. A group that every pass parks does not count.
pub(super) fn sharp(compiled: &Compiled, camera: &Body) -> Vec<(String, Sharp)> {
    let (stage, shot) = (compiled.stage(), compiled.shot());
    let shown = |b: &&Body| b.group() != camera.group() && b.lens().is_none() && !b.shown().is_empty();
    let every = || stage.bodies().iter().filter(shown).map(|b| (stage.group_name(b.group()).to_owned(), Sharp::Group(b.group()))).collect();
    let mut all: Vec<(String, Sharp)> = shot.lighting().sharp.clone().unwrap_or_else(every);
    let parked = |g: &GroupId| shot.passes().iter().all(|p| p.park().contains(g));
    all.retain(|(_, sharp)| !matches!(sharp, Sharp::Group(g) if parked(g)));
    all
}

/// Something that must be sharp, in its parts.
pub(super) struct Thing<'a> {
    pub(super) name: &'a str,
    pub(super) body: Option<&'a Body>,
    /// For what stands still: ends of its middle line, and its radius.
    pub(super) still: Option<([Vector; 2], f64)>,
}

impl<'a> Thing<'a> {
    /// A thing by its kind.
    pub(super) fn of(compiled: &'a Compiled, name: &'a str, sharp: Sharp) -> Option<Thing<'a>> {
        let stage = compiled.stage();
        Some(match sharp {
            Sharp::Group(group) => Thing { name, body: Some(stage.body_of(group)?), still: None },
            Sharp::Point(at) => Thing { name, body: None, still: Some(([Vector::from(at); 2], 0.0)) },
            Sharp::Obstacle(number) => {
                let shape = stage.surroundings().obstacles.get(number)?.shape;
                Thing { name, body: None, still: Some(([shape.from, shape.to], shape.radius)) }
            }
        })
    }

    /// Depths of its parts at one instant: least and greatest, mm.
    pub(super) fn depths_at(&self, camera: &Pose, place: Option<&Posture>) -> [f64; 2] {
        let mut all = [f64::INFINITY, f64::NEG_INFINITY];
        let mut add = |ends: [Vector; 2], radius: f64| {
            for end in ends {
                let depth = depth(camera, end);
                all = [all[0].min(depth - radius), all[1].max(depth + radius)];
            }
        };
        if let Some((ends, radius)) = self.still {
            add(ends, radius);
        }
        if let (Some(body), Some(place)) = (self.body, place) {
            body.shown().iter().for_each(|s| add(s.ends.map(|hold| place.out(&hold)), s.radius));
        }
        all
    }
}

/// How far a point is in front of a camera, along its look, mm.
pub(super) fn depth<T: Real>(camera: &Pose<T>, point: Vector<T>) -> T {
    -camera.turn.inward(point - camera.position).z
}
