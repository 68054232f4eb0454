//! Where a camera has to turn so that a point stands in the middle of its picture: found by trial, in plain numbers.
//!
//! What: the point seen from the camera is q; aimed means q.x = q.y = 0 and q.z < 0. From the two axes' rest, Newton's method with slopes from small trial turns
//! (a ten-thousandth of a degree to either side), no step longer than ten degrees; near an instant at which the angles are known it starts from those. Shares no
//! code with the compiler's aim. Limits: what it does not find within a hundred steps it does not know; the slopes are good to 1e-8, which costs steps, not closeness.

use crate::shot::Aim;
use crate::shot::aim::Offset;
use crate::stage::{ChannelId, GroupId, Place as Part, Stage};

use super::figure::{Place, Point, add, length};
use super::parts::part;
use super::shapes::{monotone, pairs};

/// Trial turn, deg.
const TRIAL: f64 = 1e-4;

/// What an aim needs at hand.
#[derive(Debug)]
pub(super) struct Sight {
    pub(super) channels: [ChannelId; 2],
    pub(super) camera: GroupId,
    at: Option<(GroupId, Part)>,
    from: Point,
    without: Vec<ChannelId>,
    smooth: Option<f64>,
    offset: [Coordinate; 3],
}

#[derive(Debug)]
enum Coordinate {
    Fixed(f64),
    Keyed(Vec<(f64, f64)>),
}

impl Sight {
    /// The aim's data.
    pub(super) fn new(aim: &Aim) -> Sight {
        let offset = match aim.offset() {
            Offset::Fixed(at) => at.map(Coordinate::Fixed),
            Offset::Keyed([x, y, z]) => [x, y, z].map(|keys| Coordinate::Keyed(pairs(keys))),
        };
        Sight {
            channels: aim.channels(),
            camera: aim.camera(),
            at: aim.at().map(|g| (g, aim.limb().map_or(Part::Body, Part::Limb))),
            from: aim.from(),
            without: aim.without().to_vec(),
            smooth: aim.smooth(),
            offset,
        }
    }

    /// Where the target is, mm: its offset read at choreography time `at` of the camera's group, its channels by `value`, their time shifted by some frames.
    pub(super) fn target(&self, stage: &Stage, at: f64, value: &dyn Fn(ChannelId, f64) -> f64) -> Option<Point> {
        let [x, y, z] = &self.offset;
        let coordinate = |p: &Coordinate| match p {
            Coordinate::Fixed(x) => *x,
            Coordinate::Keyed(keys) => monotone(keys, at),
        };
        let offset = [coordinate(x), coordinate(y), coordinate(z)];
        let Some((group, which)) = self.at else { return Some(add(self.from, offset)) };
        let body = stage.body_of(group)?;
        let place = |shift: f64| {
            let of = |c: ChannelId| if self.without.contains(&c) { stage.channel_rest(c) } else { value(c, shift) };
            part(body, which, &of).out(offset)
        };
        let Some(width) = self.smooth else { return Some(place(0.0)) };
        // A triangle: of 17 places a sixteenth of the width apart, the middle one counts nine times, the outermost once.
        let mut sum = [0.0; 3];
        for (i, weight) in [1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 8.0, 7.0, 6.0, 5.0, 4.0, 3.0, 2.0, 1.0].into_iter().enumerate() {
            let there = place(width * (i as f64 - 8.0) / 16.0);
            sum.iter_mut().zip(there).for_each(|(s, x)| *s += weight * x);
        }
        Some(sum.map(|x| x / 81.0))
    }

    /// The two angles, deg, under which the target is in the middle, with `value` as the value of every other channel; `None` where the search does not end. `near` is where it may start.
    pub(super) fn angles(
        &self,
        stage: &Stage,
        target: Point,
        near: Option<[f64; 2]>,
        value: &dyn Fn(ChannelId) -> f64,
    ) -> Option<[f64; 2]> {
        let rest = self.channels.map(|c| stage.channel_rest(c));
        near.and_then(|near| self.from(stage, target, near, value)).or_else(|| self.from(stage, target, rest, value))
    }

    fn from(&self, stage: &Stage, target: Point, start: [f64; 2], value: &dyn Fn(ChannelId) -> f64) -> Option<[f64; 2]> {
        let camera = stage.body_of(self.camera)?;
        let off = |angles: [f64; 2]| -> (f64, f64, f64) {
            let of = |c: &ChannelId| match self.channels.iter().position(|a| a == c) {
                Some(0) => angles[0],
                Some(_) => angles[1],
                None => value(*c),
            };
            let q = Place::of(camera.chain(), &|i| camera.channels().get(i).map_or(f64::NAN, of)).inward(target);
            let far = length(q);
            let [x, y, z] = q.map(|x| x / far);
            (x, y, z)
        };
        let mut angles = start;
        for _ in 0..100 {
            let (x, y, z) = off(angles);
            if x.abs() < 1e-12 && y.abs() < 1e-12 {
                return (z < 0.0).then_some(angles);
            }
            let slope = |which: usize| {
                let turned = |by: f64| off(if which == 0 { [angles[0] + by, angles[1]] } else { [angles[0], angles[1] + by] });
                let (a, b) = (turned(TRIAL), turned(-TRIAL));
                ((a.0 - b.0) / (2.0 * TRIAL), (a.1 - b.1) / (2.0 * TRIAL))
            };
            let ((ax, ay), (bx, by)) = (slope(0), slope(1));
            let det = ax * by - bx * ay;
            let step = [(x * by - y * bx) / det, (y * ax - x * ay) / det];
            if !(step[0].is_finite() && step[1].is_finite()) {
                return None;
            }
            angles = [angles[0] - step[0].clamp(-10.0, 10.0), angles[1] - step[1].clamp(-10.0, 10.0)];
        }
        // Closer than a hundred-millionth of a degree is as near as plain numbers come on a large stage.
        let (x, y, z) = off(angles);
        (x.abs() < 1e-10 && y.abs() < 1e-10 && z < 0.0).then_some(angles)
    }
}
