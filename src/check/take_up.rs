//! Backlash: how every axis comes to its start from the same side, and where it turns round within the shot.
//!
//! What: before the run-up an axis goes from home to a place short of its start by its backlash and a margin, on the side from which it
//! then moves on, and from there to the start; after the run-down it goes home. Each leg is a rest-to-rest jerk-limited move, all
//! axes ending together on the slowest. So the play of the gears lies on the same side at the first exposure of every pass.
//! Invariant: reversals are zeros of velocity with a change of sign, from roots; none is missed between samples. Each leg keeps the axis's
//! limits of velocity, acceleration, jerk, step rate and torque; travel is kept as it runs between two places within it.
//! That carriages and envelopes keep apart on the way is for [`super::clearance`] to say.

use super::held::{effective, exact_torque};
use super::torque::Torque;
use crate::compile::{AxisMove, Move};
use crate::motion::bernstein::roots;
use crate::motion::curve::{Curve, CurveBuilder};
use crate::motion::point_to_point::SevenSegment;
use crate::motion::quintic::{Node, Quintic};
use crate::shot::{Pass, Shot};
use crate::stage::{Axis, Stage};

/// Which way an axis moves.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Direction {
    /// Towards greater positions.
    Up,
    /// Towards smaller positions.
    Down,
}

impl Direction {
    fn sign(self) -> f64 {
        match self {
            Direction::Up => 1.0,
            Direction::Down => -1.0,
        }
    }
}

/// How one axis comes to its start.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Approach {
    /// Index of the axis.
    pub axis: usize,
    /// Where the pass starts.
    pub start: f64,
    /// Where the pass ends.
    pub end: f64,
    /// Where it turns to approach; equal to `start` where it never moves, or has no room.
    pub from: f64,
    /// The side: it arrives moving this way. `None` where it never moves.
    pub direction: Option<Direction>,
    /// False where the travel has no room for the approach.
    pub has_room: bool,
}

/// Take-up and return of a whole pass.
#[derive(Debug, Clone, PartialEq)]
pub struct TakeUp {
    /// Seconds from home to the place of approach.
    pub to_approach: f64,
    /// Seconds from there to the start.
    pub to_start: f64,
    /// Seconds from the end of the run-down to home.
    pub back: f64,
    /// Every live axis.
    pub axes: Vec<Approach>,
}

impl TakeUp {
    /// Length of the way from home to the start: both legs, and standing there up to the next whole second, so that what follows keeps its
    /// place among rows at whole rates. Unit: s.
    #[must_use]
    pub fn seconds(&self) -> f64 {
        (self.to_approach + self.to_start).ceil()
    }

    /// The way of one axis from home over its place of approach to its start, as a curve in seconds from 0 to [`seconds`](Self::seconds);
    /// a parked axis stands at home throughout. `None` where the take-up takes no time, or no law takes the axis there.
    #[must_use]
    pub fn way(&self, axis: &Axis, index: usize) -> Option<Curve> {
        let approach = self.axes.iter().find(|a| a.axis == index);
        let mut curve = CurveBuilder::starting_at(0.0, 16);
        for (from, to, seconds) in approach.iter().flat_map(|a| [(axis.home(), a.from, self.to_approach), (a.from, a.start, self.to_start)])
        {
            if seconds > 0.0 {
                leg(&mut curve, axis, from, to, seconds)?;
            }
        }
        if curve.end() < self.seconds() {
            curve.push(self.seconds(), Quintic::hold(approach.map_or(axis.home(), |a| a.start)));
        }
        curve.finish().ok()
    }
}

/// Appends one leg: between the instants at which its jerk changes the law is a cubic, so the quintic through both ends is the law itself.
fn leg(curve: &mut CurveBuilder, axis: &Axis, from: f64, to: f64, seconds: f64) -> Option<()> {
    let law = fastest(axis, to - from)?.stretched(seconds).ok()?;
    let begin = curve.end();
    let p = law.phases();
    let (first, cruise) = (p.first, p.first + p.cruise);
    let changes = [p.first_jerk, first - p.first_jerk, first, cruise, cruise + p.second_jerk, seconds - p.second_jerk, seconds];
    let mut node = Node::rest(from);
    let mut since = 0.0;
    for (i, t) in changes.into_iter().enumerate() {
        let next = if i + 1 == changes.len() {
            Node::rest(to)
        } else {
            let state = law.at(t.min(seconds))?;
            Node { p: from + state.position, v: state.velocity, a: state.acceleration }
        };
        // A phase of no length, or of nothing but rounding, is none.
        if t - since > seconds * 1e-12 {
            curve.push(begin + t, Quintic::between(node, next, t - since));
            (node, since) = (next, t);
        }
    }
    Some(())
}

/// Margin beyond the backlash: half of it, and no less than a full step.
#[must_use]
pub fn margin(axis: &Axis, backlash: f64) -> f64 {
    let full_step = f64::from(axis.drive().microsteps()) / axis.drive().steps_per_unit();
    (0.5 * backlash).max(full_step)
}

/// The take-up of a pass. A held pass starts and ends at its first and last station, a moving one with its run-up and run-down.
#[must_use]
pub fn take_up(stage: &Stage, shot: &Shot, pass: &Pass, mv: &Move) -> TakeUp {
    let mut t = TakeUp { to_approach: 0.0, to_start: 0.0, back: 0.0, axes: Vec::new() };
    for (i, (axis, m)) in stage.axes().iter().zip(mv.axes()).enumerate() {
        if pass.parks(stage, i) {
            continue;
        }
        let (start, end) = match pass.exposure() {
            crate::shot::Exposure::Moving => (m.curve().at(m.curve().start()), m.curve().at(m.curve().end())),
            crate::shot::Exposure::Held => {
                let at = |n| m.curve().at(crate::compile::frame_time(n));
                (at(shot.frames().first()), at(shot.frames().last()))
            }
        };
        let (Some(start), Some(end)) = (start, end) else { continue };
        let a = approach(axis, i, m, start, end);
        t.to_approach = t.to_approach.max(seconds(axis, a.from - axis.home()));
        t.to_start = t.to_start.max(seconds(axis, start - a.from));
        t.back = t.back.max(seconds(axis, axis.home() - end));
        t.axes.push(a);
    }
    t
}

fn approach(axis: &Axis, index: usize, m: &AxisMove, start: f64, end: f64) -> Approach {
    let direction = first_direction(m);
    let backlash = axis.backlash().unwrap_or(0.0);
    let mut a = Approach { axis: index, start, end, from: start, direction, has_room: true };
    if let (Some(d), true) = (direction, backlash > 0.0) {
        let from = start - d.sign() * (backlash + margin(axis, backlash));
        a.has_room = axis.travel().lower <= from && from <= axis.travel().upper;
        if a.has_room {
            a.from = from;
        }
    }
    a
}

/// The way the axis first moves.
fn first_direction(m: &AxisMove) -> Option<Direction> {
    m.curve().pieces().find(|p| !p.quintic.is_hold()).map(|p| {
        // The first coefficient after the position that is not zero leads the motion away from rest.
        let [_, rest @ ..] = p.quintic.0;
        let lead = rest.into_iter().find(|c| *c != 0.0).unwrap_or(0.0);
        if lead > 0.0 { Direction::Up } else { Direction::Down }
    })
}

/// Seconds of a rest-to-rest move under the axis's limits.
fn seconds(axis: &Axis, distance: f64) -> f64 {
    fastest(axis, distance).map_or(0.0, |s| s.duration())
}

/// How often a leg is slowed down, each time by a quarter, to spare the motor.
const SLOWER: usize = 24;

/// The rest-to-rest move over a distance in the shortest time that the axis's limits allow, slowed down in quarters until the motor's
/// torque is enough for it. Where it never is, standing still asks too much already, and the pass is over its torque limit.
fn fastest(axis: &Axis, distance: f64) -> Option<SevenSegment> {
    let mut law = SevenSegment::rest_to_rest(distance, &effective(axis)?).ok()?;
    if let Some(model) = Torque::of(axis).filter(|_| distance != 0.0) {
        for _ in 0..SLOWER {
            if exact_torque(&model, &law, 0.0).is_none_or(|t| t.demand <= t.available) {
                break;
            }
            law = law.stretched(1.25 * law.duration()).ok()?;
        }
    }
    Some(law)
}

/// Frame times within the photographed span at which the axis turns round.
#[must_use]
pub fn reversals(m: &AxisMove) -> Vec<f64> {
    let mut found = Vec::new();
    let mut last = 0.0_f64;
    let mut stopped_at = f64::NAN;
    let range = m.photographed();
    for piece in m.curve().pieces().skip(range.start).take(range.len()) {
        if piece.quintic.is_hold() {
            continue;
        }
        let [v0, v1, v2, v3, v4] = piece.quintic.velocity();
        let at = |u: f64| v0 + u * (v1 + u * (v2 + u * (v3 + u * v4)));
        let mut cuts = vec![0.0];
        roots([v0, v1, v2, v3, v4], &mut |u| cuts.push(u));
        cuts.push(1.0);
        for (a, b) in cuts.iter().zip(cuts.iter().skip(1)) {
            let way = at(0.5 * (a + b));
            if way == 0.0 {
                continue;
            }
            if last * way < 0.0 {
                // Where it stood still between, it turns when it moves on.
                let turn = piece.start + a * piece.length();
                found.push(if stopped_at.is_nan() { turn } else { turn.max(stopped_at) });
            }
            last = if way > 0.0 { 1.0 } else { -1.0 };
        }
        stopped_at = piece.end;
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shot::{Exposure, Key, Shape, ShotSpec, Track};
    use crate::stage::{AxisSpec, ChannelId, GroupSpec, Unit};
    use crate::time::{FrameRate, FrameSpan, Timecode};

    fn compiled(keys: &[(f64, f64)], backlash: f64, lower: f64) -> Option<(Stage, Shot, Move)> {
        let mut spec = AxisSpec::new("yaw", Unit::Degree, [lower, 400.0], [10.0, 2.0, 10.0]);
        spec.backlash = Some(backlash);
        let stage = Stage::new("marsh", 1.0, vec![GroupSpec { name: "heron".into(), axes: vec![Axis::new(spec).ok()?] }]).ok()?;
        let rate = FrameRate::parse("24").ok()?;
        let keys = keys.iter().map(|(f, v)| Key::new(*f, *v)).collect();
        let shot = ShotSpec {
            name: "turns".into(),
            frame_rate: rate,
            frames: FrameSpan::new(1, 60).ok()?,
            timecode_start: Timecode::from_count(0, rate),
            tracks: vec![Track::new(ChannelId(0), Shape::PoseToPose, None, keys).ok()?],
            cycles: vec![],
            drifts: vec![],
            copies: vec![],
            passes: vec![Pass::new(&stage, "picture", Exposure::Moving, 10.0, 180.0, 0.0, vec![]).ok()?],
        };
        let shot = Shot::new(&stage, shot).ok()?;
        let mv = Move::compile(&stage, &shot).ok()?;
        Some((stage, shot, mv))
    }

    #[test]
    fn it_comes_from_the_side_it_then_moves_away_from() {
        let found = compiled(&[(5.0, 10.0), (40.0, 90.0)], 1.0, -50.0);
        let up = found.as_ref().and_then(|(s, h, m)| h.passes().first().map(|p| take_up(s, h, p, m)));
        let a = up.as_ref().and_then(|t| t.axes.first().copied());
        // A full step of this axis is 1.8 degrees, more than half of the backlash.
        assert_eq!(a.map(|a| (a.from, a.direction, a.has_room)), Some((10.0 - 2.8, Some(Direction::Up), true)));
        let down = compiled(&[(5.0, 10.0), (40.0, -20.0)], 1.0, -50.0);
        let a = down.as_ref().and_then(|(s, h, m)| h.passes().first().and_then(|p| take_up(s, h, p, m).axes.first().copied()));
        assert_eq!(a.map(|a| (a.from, a.direction)), Some((12.8, Some(Direction::Down))));
        // No room below: said, and the start is gone to directly.
        let tight = compiled(&[(5.0, 10.0), (40.0, 90.0)], 20.0, -5.0);
        let a = tight.as_ref().and_then(|(s, h, m)| h.passes().first().and_then(|p| take_up(s, h, p, m).axes.first().copied()));
        assert_eq!(a.map(|a| (a.from, a.has_room)), Some((10.0, false)));
    }

    #[test]
    fn the_way_takes_the_textbook_time() {
        // Rest to rest with v, a and j reached: T = h/v + v/a + a/j (L. Biagiotti, C. Melchiorri 2008, 3.4.3 case 1.a).
        let found = compiled(&[(5.0, 200.0), (40.0, 100.0)], 0.0, -50.0);
        let t = found.as_ref().and_then(|(s, h, m)| h.passes().first().map(|p| take_up(s, h, p, m)));
        assert!(t.is_some_and(|t| (t.to_approach - (20.0 + 5.0 + 0.2)).abs() < 1e-9 && (t.back - (10.0 + 5.0 + 0.2)).abs() < 1e-9));
    }

    #[test]
    fn the_way_goes_from_home_over_the_place_of_approach_to_the_start_within_limits() {
        let found = compiled(&[(5.0, -20.0), (40.0, 90.0)], 3.0, -50.0);
        let (way, t) = found
            .as_ref()
            .and_then(|(s, h, m)| {
                let t = take_up(s, h, h.passes().first()?, m);
                Some((t.way(s.axes().first()?, 0)?, t))
            })
            .map_or((None, None), |(w, t)| (Some(w), Some(t)));
        let (Some(way), Some(t)) = (way, t) else { unreachable!("it compiles") };
        assert_eq!((way.start(), way.end()), (0.0, (t.to_approach + t.to_start).ceil()));
        assert_eq!((way.at(0.0), way.at(way.end())), (Some(0.0), Some(-20.0)));
        // Backlash 3 and a full step of 1.8 as margin, below the start since it then moves up.
        assert!(way.at(t.to_approach).is_some_and(|p| (p + 24.8).abs() < 1e-12));
        let peaks = crate::motion::Peaks::of(&way, 0..way.len());
        let at_most = |value: f64, limit: f64| value <= limit * (1.0 + 1e-9);
        assert!(peaks.is_some_and(|p| {
            at_most(p.velocity.value, 10.0)
                && at_most(p.acceleration.value, 2.0)
                && at_most(p.jerk.value, 10.0)
                && p.least.value >= -24.8 - 1e-12
        }));
    }

    #[test]
    fn every_reversal_is_found_and_a_rest_on_the_way_is_none() {
        let m = compiled(&[(5.0, 0.0), (15.0, 30.0), (25.0, 30.0), (35.0, 60.0), (45.0, 20.0)], 0.1, -50.0);
        let turns = m.as_ref().and_then(|(_, _, m)| m.axes().first().map(reversals));
        assert_eq!(turns, Some(vec![35.0]));
    }
}
