//! Gaps between envelopes, obstacles, boxes and carriages at one instant, and which of them are too small.
//!
//! What: capsules are placed by each body's chain; two segments are nearest at their ends or where the line between them is square to both (any textbook of
//! geometry); the distance from a box along a segment has one valley, found by cutting it into thirds. Invariant: shares no code with the check. Units: mm.
//! Tolerance: a gap passes where it is no more than 1e-6 of the scene below what is required, as in the check, and by what an honest place may be off.
//! Limits: instants only; between them nothing is looked at.

use super::figure::{Point, add, dot, length, less, point};
use super::oracle::{Oracle, State};
use super::parts::Figure;
use super::posed::{BEYOND_FIRST_ORDER, ROUNDING, shifted};
use crate::shot::Pass;
use crate::stage::{Body, ChannelId, GroupId, Hold, Place as Part, Rail, Solid, Stage};

/// A gap passes where it is no more than this share of the scene's size below what is required.
const OF_THE_SCENE: f64 = 1e-6;

/// A margin is exceeded by more than this share of its scale.
const SLACK: f64 = 1e-9;

/// Something that is too near.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct TooNear {
    /// The first body's group.
    pub(super) body: GroupId,
    /// The other thing.
    pub(super) other: String,
    pub(super) gap: f64,
    pub(super) required: f64,
}

/// The bodies of a stage that can meet anything.
pub(super) struct Gaps<'a> {
    stage: &'a Stage,
    bodies: Vec<&'a Body>,
    /// How far each body may honestly be off, mm.
    rooms: Vec<f64>,
    /// How far a carriage may honestly be off, mm.
    carriage_room: f64,
    scene: f64,
    /// Carriages next to each other on a rail, the lower first.
    neighbours: Vec<(GroupId, &'a Rail, GroupId, &'a Rail)>,
}

impl<'a> Gaps<'a> {
    /// Of a pass whose shot begins and ends at these states; carriages keep the order in which the pass starts, parked ones at home. `None` where nothing could meet.
    pub(super) fn new((oracle, stage, pass): (&Oracle<'_>, &'a Stage, &Pass), states: &[&State]) -> Option<Gaps<'a>> {
        let start = |channel| states.first().map_or(f64::NAN, |state| oracle.value(pass, state, channel));
        let bodies: Vec<&Body> = stage.bodies().iter().filter(|b| !b.solids().is_empty()).collect();
        let mut carriages: Vec<(f64, GroupId, &Rail)> =
            stage.bodies().iter().filter_map(|b| b.rail().map(|r| (start(r.channel), b.group(), r))).collect();
        carriages.sort_by(|a, b| a.2.name.cmp(&b.2.name).then(a.0.total_cmp(&b.0)));
        let pairs = carriages.iter().zip(carriages.iter().skip(1)).filter(|(a, b)| a.2.name == b.2.name);
        let neighbours: Vec<_> = pairs.map(|(a, b)| (a.1, a.2, b.1, b.2)).collect();
        let around = stage.surroundings();
        if neighbours.is_empty()
            && bodies.len() < 2
            && bodies.iter().all(|b| b.own_pairs().is_empty())
            && (bodies.is_empty() || around.obstacles.is_empty() && around.keep_out.is_empty())
        {
            return None;
        }
        let mut gaps = Gaps { stage, rooms: vec![0.0; bodies.len()], bodies, carriage_room: 0.0, scene: 0.0, neighbours };
        let mut corners: Option<(Point, Point)> = None;
        for state in states {
            for (body, ends) in gaps.bodies.iter().zip(gaps.placed(&|c| state.channel(c))) {
                for (ends, capsule) in ends.iter().zip(body.solids()) {
                    for e in ends {
                        let (lo, hi) = (e.map(|x| x - capsule.radius), e.map(|x| x + capsule.radius));
                        corners = Some(corners.map_or((lo, hi), |(l, h)| (each(l, lo, f64::min), each(h, hi, f64::max))));
                    }
                }
            }
        }
        gaps.scene = corners.map_or(0.0, |(lo, hi)| length(less(hi, lo)));
        Some(gaps)
    }

    /// The diagonal of the box around all envelopes, mm.
    pub(super) fn scene(&self) -> f64 {
        self.scene
    }

    /// Works out again how far the bodies may honestly be off.
    pub(super) fn allow_for(&mut self, oracle: &Oracle<'_>, pass: Option<&Pass>, state: &State) {
        let on_rails: Vec<ChannelId> = self.neighbours.iter().flat_map(|(_, a, _, b)| [a.channel, b.channel]).collect();
        self.carriage_room = oracle.rooms(&on_rails, state).iter().map(|(_, room)| *room).fold(0.0, f64::max);
        for (room, body) in self.rooms.iter_mut().zip(&self.bodies) {
            let all = |value: &dyn Fn(ChannelId) -> f64| solids(body, value);
            let (here, moved, known) = shifted((oracle, self.stage, pass), body, state, true, &all);
            let of_end = |(i, end): (usize, &Point)| {
                let shifts = moved.iter().filter_map(|m| m.as_flattened().get(i)).map(|there| length(less(*there, *end)));
                ROUNDING * (1.0 + length(*end)) + BEYOND_FIRST_ORDER * shifts.sum::<f64>()
            };
            let farthest = here.as_flattened().iter().enumerate().map(of_end).fold(0.0, f64::max);
            *room = if known { farthest } else { f64::INFINITY };
        }
    }

    /// What is too near with these values of the channels.
    pub(super) fn too_near(&self, value: &dyn Fn(ChannelId) -> f64) -> Vec<TooNear> {
        let mut found = Vec::new();
        for (below, a, above, b) in &self.neighbours {
            let gap = (value(b.channel) - b.reach[0]) - (value(a.channel) + a.reach[1]);
            let (required, reaches) = (a.gap.max(b.gap), b.reach[0] + a.reach[1]);
            let scale = if required > 0.0 { required } else { reaches.max(1.0) };
            let size = value(a.channel).abs() + value(b.channel).abs() + reaches;
            if gap < required - SLACK * scale - OF_THE_SCENE * size - 2.0 * self.carriage_room {
                let other = format!("the next carriage on {}, {}", a.name, self.stage.group_name(*above));
                found.push(TooNear { body: *below, other, gap, required });
            }
        }
        let (around, placed) = (self.stage.surroundings(), self.placed(value));
        let required = around.clearance;
        for (i, (body, mine)) in self.bodies.iter().zip(&placed).enumerate() {
            let size = |s: &Solid| {
                let [a, b] = s.ends;
                let long = if a.place == b.place { length(less(point(b.at), point(a.at))) } else { 0.0 };
                long + 2.0 * s.radius
            };
            let greatest_size = body.solids().iter().map(size).fold(0.0, f64::max);
            let scale = if required > 0.0 { required } else { greatest_size };
            let own = self.rooms.get(i).copied().unwrap_or(0.0);
            let least = required - SLACK * scale - OF_THE_SCENE * self.scene - own;
            let not_below = -SLACK * greatest_size - OF_THE_SCENE * self.scene - 2.0 * own;
            for (i, j) in body.own_pairs() {
                let of = |k: usize| Some((*mine.get(k)?, body.solids().get(k)?.radius));
                let (Some((a, r)), Some((b, s))) = (of(*i), of(*j)) else { continue };
                let gap = segments(a, b) - r - s;
                if gap < not_below {
                    let other = "another part of the same figure".to_owned();
                    found.push(TooNear { body: body.group(), other, gap, required: 0.0 });
                }
            }
            let mut see = |gap: f64, room: f64, other: &dyn Fn() -> String| {
                if gap < least - room {
                    found.push(TooNear { body: body.group(), other: other(), gap, required });
                }
            };
            for (j, (other, theirs)) in self.bodies.iter().zip(&placed).enumerate().skip(i + 1) {
                let gap = nearest(body.solids(), mine, other.solids(), theirs, least);
                see(gap, self.rooms.get(j).copied().unwrap_or(0.0), &|| self.stage.group_name(other.group()).to_owned());
            }
            for o in &around.obstacles {
                let ends = [o.shape.from, o.shape.to];
                let shape = Solid { ends: ends.map(|at| Hold { place: Part::Stage, at }), radius: o.shape.radius };
                let gap = nearest(body.solids(), mine, &[shape], &[ends.map(point)], least);
                see(gap, 0.0, &|| o.name.clone());
            }
            for o in &around.keep_out {
                let (least_corner, greatest) = (point(o.least), point(o.greatest));
                let gaps =
                    body.solids().iter().zip(mine).map(|(c, ends)| from_box(*ends, least_corner, greatest, least + c.radius) - c.radius);
                see(gaps.fold(f64::INFINITY, f64::min), 0.0, &|| o.name.clone());
            }
        }
        found
    }

    /// The ends of every capsule of every body.
    fn placed(&self, value: &dyn Fn(ChannelId) -> f64) -> Vec<Vec<[Point; 2]>> {
        self.bodies.iter().map(|body| solids(body, value)).collect()
    }
}

/// The ends of every capsule of a figure.
fn solids(body: &Body, value: &dyn Fn(ChannelId) -> f64) -> Vec<[Point; 2]> {
    let figure = Figure::of(body, value);
    body.solids().iter().map(|s| s.ends.map(|hold| figure.out(&hold))).collect()
}

fn each([a, b, c]: Point, [x, y, z]: Point, f: fn(f64, f64) -> f64) -> Point {
    [f(a, x), f(b, y), f(c, z)]
}

/// The least gap of two sets of capsules, exact where it is below `wanted`.
fn nearest(a: &[Solid], mine: &[[Point; 2]], b: &[Solid], theirs: &[[Point; 2]], wanted: f64) -> f64 {
    let mut gap = f64::INFINITY;
    for (a, p) in a.iter().zip(mine) {
        for (b, q) in b.iter().zip(theirs) {
            let radii = a.radius + b.radius;
            let middle = |[x, y]: &[Point; 2]| add(*x, *y).map(|s| 0.5 * s);
            let half = |[x, y]: &[Point; 2]| 0.5 * length(less(*x, *y));
            // No point is farther from its segment's middle than half of its length.
            let bound = length(less(middle(p), middle(q))) - half(p) - half(q) - radii;
            gap = gap.min(if bound > wanted { bound } else { segments(*p, *q) - radii });
        }
    }
    gap
}

/// Distance of a point from a segment.
fn from_segment(p: Point, [a, b]: [Point; 2]) -> f64 {
    let (along, to) = (less(b, a), less(p, a));
    let whole = dot(along, along);
    let share = if whole > 0.0 { (dot(to, along) / whole).clamp(0.0, 1.0) } else { 0.0 };
    length(less(to, along.map(|x| x * share)))
}

/// Distance of two segments.
fn segments(a: [Point; 2], b: [Point; 2]) -> f64 {
    let ([p0, p1], [q0, q1]) = (a, b);
    let at_ends = from_segment(p0, b).min(from_segment(p1, b)).min(from_segment(q0, a)).min(from_segment(q1, a));
    let (u, v, w) = (less(p1, p0), less(q1, q0), less(p0, q0));
    let (uu, uv, vv, uw, vw) = (dot(u, u), dot(u, v), dot(v, v), dot(u, w), dot(v, w));
    let whole = uu * vv - uv * uv;
    let (s, t) = ((uv * vw - vv * uw) / whole, (uu * vw - uv * uw) / whole);
    if 0.0 < s && s < 1.0 && 0.0 < t && t < 1.0 {
        let between = less(add(w, u.map(|x| x * s)), v.map(|x| x * t));
        return at_ends.min(length(between));
    }
    at_ends
}

/// Distance of a segment from a box, exact where it is below `wanted`.
fn from_box([p, q]: [Point; 2], least: Point, greatest: Point, wanted: f64) -> f64 {
    let along = less(q, p);
    let at = |s: f64| {
        let x = add(p, along.map(|a| a * s));
        length(less(x, each(each(x, least, f64::max), greatest, f64::min)))
    };
    if at(0.5) - 0.5 * length(along) > wanted {
        return at(0.5) - 0.5 * length(along);
    }
    let (mut from, mut to) = (0.0, 1.0);
    for _ in 0..80 {
        let third = (to - from) / 3.0;
        if at(from + third) <= at(to - third) {
            to -= third;
        } else {
            from += third;
        }
    }
    at(0.5 * (from + to)).min(at(0.0)).min(at(1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn distances_by_hand() {
        // Crossing 3 mm above each other; end to end; parallel and side by side; a point.
        let x = [[-1.0, 0.0, 0.0], [1.0, 0.0, 0.0]];
        for (other, want) in [
            ([[0.0, 3.0, -1.0], [0.0, 3.0, 1.0]], 3.0),
            ([[4.0, 4.0, 0.0], [9.0, 9.0, 0.0]], 5.0),
            ([[-1.0, 2.0, 0.0], [1.0, 2.0, 0.0]], 2.0),
            ([[0.0, 0.0, 7.0], [0.0, 0.0, 7.0]], 7.0),
            ([[0.0, -1.0, 0.0], [0.0, 1.0, 0.0]], 0.0),
        ] {
            assert!((segments(x, other) - want).abs() < 1e-15 && (segments(other, x) - want).abs() < 1e-15, "{other:?}");
        }
        let box_of = |least, greatest| from_box(x, least, greatest, 100.0);
        assert!((box_of([-9.0, 2.0, -1.0], [9.0, 5.0, 1.0]) - 2.0).abs() < 1e-12);
        assert!((box_of([4.0, 4.0, -1.0], [9.0, 5.0, 1.0]) - 5.0).abs() < 1e-12);
        assert_eq!(box_of([0.2, -1.0, -1.0], [0.3, 1.0, 1.0]), 0.0);
    }
}
