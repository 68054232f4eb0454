//! What a camera is focused on, in plain numbers: the distance of a target, or of two between which it is pulled.
//!
//! What: a target's origin seen from the camera's place, its depth along the look, and from there back to the film plane; between two targets the reciprocals weighted by
//! the part of the way, 6 u^5 - 15 u^4 + 10 u^3. Shares no code with the compiler's focus. Limits: positions only.

use super::figure::Point;
use super::parts::part;
use crate::shot::Focus;
use crate::stage::{ChannelId, GroupId, Place as Part, Stage};

/// What a focus needs at hand.
#[derive(Debug)]
pub(super) struct Follow {
    pub(super) channel: ChannelId,
    pub(super) camera: GroupId,
    back: f64,
    focal: f64,
    /// Frame; the group and part, or the place on the stage.
    marks: Vec<(f64, Mark)>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Mark {
    On(GroupId, Part),
    At(Point),
}

impl Follow {
    /// The focus's data.
    pub(super) fn new(focus: &Focus) -> Follow {
        let mark = |t: &crate::shot::Target| t.at.map_or(Mark::At(t.from), |g| Mark::On(g, t.limb.map_or(Part::Body, Part::Limb)));
        let marks = focus.pulls().iter().map(|p| (p.frame, mark(&p.target))).collect();
        Follow { channel: focus.channel(), camera: focus.camera(), back: focus.film_plane(), focal: focus.focal_length(), marks }
    }

    /// The channel's value, mm, at choreography time `at` of the camera's group, with `value` as the value of every other channel; `None` where a target is too near.
    pub(super) fn distance(&self, stage: &Stage, at: f64, value: &dyn Fn(ChannelId) -> f64) -> Option<f64> {
        let camera = part(stage.body_of(self.camera)?, Part::Body, value);
        let of = |mark: Mark| {
            let origin = match mark {
                Mark::At(point) => point,
                Mark::On(group, which) => part(stage.body_of(group)?, which, value).out([0.0; 3]),
            };
            let [_, _, z] = camera.inward(origin);
            Some(self.back - z).filter(|distance| *distance > self.focal)
        };
        let mut before = None;
        for (frame, mark) in &self.marks {
            if *frame > at {
                let Some((start, from)) = before.filter(|(_, from)| from != mark) else { return of(*mark) };
                let u: f64 = (at - start) / (frame - start);
                let way = u * u * u * ((6.0 * u - 15.0) * u + 10.0);
                let reciprocal = (1.0 - way) / of(from)? + way / of(*mark)?;
                return Some(1.0 / reciprocal);
            }
            before = Some((*frame, *mark));
        }
        of(before?.1)
    }
}
