//! Who covers whom in the picture, at the outlines of proxies.
//!
//! What: at the middle of an exposure the rough outlines of the proxies that are for pictures are seen through the lens; where those of two figures have a point in common, the figure whose proxy
//! is nearer there, by the distance of its middle line along the optical axis, covers the other.
//! Limits: outlines lie within the true ones, so a slight touch may go unsaid; outlines that meet beyond the picture's edge count if both reach into the picture; two proxies that
//! pass through each other in depth are ordered by their middles.

use std::collections::BTreeMap;

use super::notes::{Note, NoteKind};
use crate::mechanism::convex::meet;
use crate::mechanism::rough_outline::{Extent, rough_outline};
use crate::mechanism::{Lens, Pixel, Pose};
use crate::stage::{Body, GroupId, Posture};
use crate::time::FrameTime;

/// Which figures, by their number, covered which, since when and how often.
#[derive(Debug, Default)]
pub(super) struct Covering {
    seen: BTreeMap<(usize, usize), (FrameTime, f64)>,
}

/// A proxy in the picture.
struct Shape {
    outline: Vec<Pixel>,
    extent: Extent,
    ahead: f64,
}

impl Covering {
    /// Looks at an instant at which the figures stand so.
    pub(super) fn look(&mut self, (lens, camera): (&Lens, &Pose<f64>), figures: &[&Body], places: &[Option<Posture>], t: FrameTime) {
        let [across, down] = lens.pixels().map(f64::from);
        let picture = Extent([0.0, across, 0.0, down]);
        let mut all: Vec<(usize, Extent, Vec<Shape>)> = Vec::new();
        for (i, (figure, place)) in figures.iter().zip(places).enumerate() {
            let Some(place) = place else { continue };
            let shapes = figure.shown().iter().map(|solid| {
                let ends = solid.ends.map(|end| camera.inward(place.out(&end)));
                let outline = rough_outline(lens, ends, solid.radius);
                Shape { extent: Extent::of(&outline), outline, ahead: -0.5 * (ends[0].z + ends[1].z) }
            });
            let shapes: Vec<Shape> = shapes.filter(|s| s.extent.meets(picture)).collect();
            if let Some(extent) = shapes.iter().map(|s| s.extent).reduce(Extent::joined) {
                all.push((i, extent, shapes));
            }
        }
        // From left to right: what begins beyond the right end of a figure cannot meet it.
        all.sort_by(|a, b| a.1.0[0].total_cmp(&b.1.0[0]));
        for (k, (i, extent, shapes)) in all.iter().enumerate() {
            let near = all.iter().skip(k + 1).take_while(|(_, other, _)| other.0[0] <= extent.0[1]);
            for (j, _, others) in near.filter(|(_, other, _)| extent.meets(*other)) {
                let pairs = shapes.iter().flat_map(|a| others.iter().map(move |b| (a, b)));
                // The deepest overlap in sight decides: the pair whose nearer proxy is nearest.
                let nearest = pairs
                    .filter(|(a, b)| a.extent.meets(b.extent) && meet(&a.outline, &b.outline))
                    .map(|(a, b)| (a.ahead.min(b.ahead), a.ahead <= b.ahead))
                    .min_by(|x, y| x.0.total_cmp(&y.0));
                if let Some((_, first)) = nearest {
                    let (_, count) = self.seen.entry(if first { (*i, *j) } else { (*j, *i) }).or_insert((t, 0.0));
                    *count += 1.0;
                }
            }
        }
    }

    /// What was seen, in the order of the stage.
    pub(super) fn notes(self, camera: GroupId, figures: &[&Body]) -> Vec<Note> {
        let group = |i: usize| figures.get(i).map(|b| b.group());
        let of = |((front, behind), (t, count)): ((usize, usize), (FrameTime, f64))| {
            let kind = NoteKind::Covers { camera, front: group(front)?, behind: group(behind)? };
            Some(Note { axis: None, frame: Some(t), value: Some(count), kind })
        };
        self.seen.into_iter().filter_map(of).collect()
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "tests")]
mod tests {
    use crate::check::{fixture, framing, words};
    use crate::mechanism::{JointKind, JointSpec, Lens, LensSpec};
    use crate::shot::{Exposure, Shape};
    use crate::stage::{AxisSpec, BodySpec, Capsule, Stage, Surroundings, Unit};

    /// Half a pixel a millimetre at 3 m. Two balls of 100 mm: at 3 m 50 px and more, one at rest, the other at 2 m passes before it from `from` to `to` mm; what is noted of covering.
    fn noted(from: f64, to: f64) -> Vec<String> {
        let lens = Lens::new(LensSpec { focal_length: 15.0, back: [12.8, 10.24], pixels: [1280, 1024] }).unwrap();
        let mm = |name: &str| AxisSpec::new(name, Unit::Millimetre, [-1e4, 1e4], [1e6, 1e6, 1e6]);
        let groups = ["camera", "heron", "crane"].map(|g| fixture::group(g, vec![mm("fly")])).to_vec();
        let figure = |name: &str, ahead: f64| BodySpec {
            joints: vec![JointSpec { kind: JointKind::Slide([1.0, 0.0, 0.0]), channel: Some(0), rest: 0.0, offset: [0.0, 0.0, -ahead] }],
            channels: vec![format!("{name}.fly")],
            envelope: vec![Capsule { from: [0.0; 3].into(), to: [0.0; 3].into(), radius: 100.0 }.into()],
            ..BodySpec::new(name)
        };
        let bodies = vec![BodySpec { lens: Some(lens), ..BodySpec::new("camera") }, figure("heron", 3000.0), figure("crane", 2000.0)];
        let stage = Stage::new("marsh", 1.0, groups).unwrap().with_bodies(bodies, Surroundings::default()).unwrap();
        let passes = vec![fixture::pass(&stage, "picture", Exposure::Moving, 60.0)];
        let track = fixture::track(&stage, "crane.fly", Shape::Linear, &[(1.0, from), (11.0, to)]);
        let compiled = fixture::compiled(stage, (1, 11), vec![track], passes);
        framing::notes(&compiled, 1).iter().map(|n| words::note(&compiled, n)).filter(|t| t.contains("covers")).collect()
    }

    /// On the axis the heron has a half width of 1500 tan(asin(1/30)) = 50.03 px, the crane at 400 mm aside reaches inward to
    /// 1500 tan(atan(0.2) - asin(100 / sqrt(2000^2 + 400^2))) = 224.0 px: apart. 80 mm a frame bring it to 240 mm at frame 3, 105 px: apart still; to 160 mm at frame 4, 45 px: it
    /// covers the heron, and so until frame 8.
    #[test]
    fn the_nearer_one_covers_while_it_passes() {
        assert_eq!(noted(400.0, 400.0), Vec::<String>::new());
        let found = noted(-400.0, 400.0);
        assert_eq!(found, ["crane covers heron in the picture of camera, by the outlines of their proxies, in 5 frames, first at frame 4"]);
    }
}
