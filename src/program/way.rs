//! How the axes come from home to their starts, and home again.
//!
//! What: before the run-up an axis goes from home to a place short of its start by its backlash and a margin, on the side from which it
//! then moves on, and from there to the start: so the play of the gears lies on the same side at the first exposure of every pass. After the run-down it
//! goes home. A part of a pass may begin elsewhere than at home, and come from the side from which the pass came there. Each leg is a rest-to-rest jerk-limited move, all axes ending together on the slowest.
//! Invariant: each leg keeps the axis's limits of velocity, acceleration, jerk, step rate and torque; travel is kept as it runs between two
//! places within it. Limits: that carriages and envelopes keep apart on the way is for `check::clearance` to say.

use super::course::Course;
use super::rest_move::RestMove;
use super::shaper::Shaper;
use super::shaping::Shapers;
use super::side::{before, first_direction};
use crate::compile::{Compiled, Direction, frame_time};
use crate::motion::Quintic;
use crate::motion::curve::{Curve, CurveBuilder, CurveError};
use crate::motion::point_to_point::{Limits, ProfileError, SevenSegment};
use crate::number::whole;
use crate::shot::{Exposure, Pass};
use crate::stage::{Axis, AxisId, PerAxis, Stage, Torque, Utilisation};
use crate::time::Seconds;

/// How one axis comes to its start.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Approach {
    /// Where the program begins: at home, unless it is said to begin elsewhere.
    pub begin: f64,
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

/// A leg of the way.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Leg {
    /// From home over the place of approach to the start.
    MoveToStart,
    /// From the end of the run-down home.
    ReturnHome,
}

/// Why a pass has no plan.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub(crate) enum NoPlan {
    /// No law takes an axis from one place to another.
    #[error("axis `{axis}` cannot be moved from rest to rest as its limits ask: {error}")]
    Law {
        /// Full name.
        axis: String,
        /// Why.
        error: WayError,
    },
    /// A figure does not come to rest before an exposure, where each frame takes only as long as it needs.
    #[error(
        "pass `{pass}` has `interval = \"shortest\"`, and group `{group}` does not settle within {limit} mm and an hour before frame {frame}; give its swing more `damping` or a larger `limit`, or move \
         it more slowly (`seconds_per_frame` changes only the exposure here)"
    )]
    Settling {
        /// The pass.
        pass: String,
        /// The group that swings.
        group: String,
        /// mm.
        limit: f64,
        /// The frame.
        frame: i64,
    },
    /// How a figure swings is not known.
    #[error("pass `{pass}` has `interval = \"shortest\"`, and how group `{group}` swings before frame {frame} is not known: {why}")]
    Swing {
        /// The pass.
        pass: String,
        /// The group that swings.
        group: String,
        /// The frame.
        frame: i64,
        /// Why.
        why: &'static str,
    },
}

/// What went wrong with a rest-to-rest move.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub(crate) enum WayError {
    /// The law.
    #[error(transparent)]
    Profile(#[from] ProfileError),
    /// Its curve.
    #[error(transparent)]
    Curve(#[from] CurveError),
    /// It lasts longer than seconds can be counted.
    #[error("it would last {0} s")]
    TooLong(f64),
}

impl NoPlan {
    pub(super) fn new(stage: &Stage, axis: AxisId, error: impl Into<WayError>) -> NoPlan {
        NoPlan::Law { axis: stage.axis_name(axis).to_owned(), error: error.into() }
    }
}

/// Move to start and return home of a pass.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Way {
    to_approach: Seconds,
    to_start: Seconds,
    back: Seconds,
    too_weak: Option<AxisId>,
    slowest: [Option<AxisId>; 2],
    whole_seconds: u64,
    approaches: PerAxis<Option<Approach>>,
    there: PerAxis<Option<Curve>>,
    home: PerAxis<Option<Curve>>,
}

impl Way {
    /// The way of a pass. A held pass starts and ends at its first and last station, a moving one with its run-up and run-down.
    ///
    /// # Errors
    /// An axis that no law takes there.
    pub(crate) fn plan(compiled: &Compiled, pass: &Pass) -> Result<Way, NoPlan> {
        let stage = compiled.stage();
        let approaches = PerAxis::new(stage, |id| (!pass.parks(stage, id)).then(|| approach(compiled, pass, id)).flatten());
        let shapers = Shapers::of(compiled, pass);
        let home = |id: AxisId| stage.axis(id).home();
        let known = &approaches;
        let at = |place: fn(&Approach) -> f64| move |id: AxisId| known[id].as_ref().map_or(stage.axis(id).home(), place);
        let (begin, from, start, end) = (at(|a| a.begin), at(|a| a.from), at(|a| a.start), at(|a| a.end));
        let laws = PerAxis::try_new(stage, |id| {
            let legs = approaches[id].as_ref().map(|a| {
                let shapers = [shapers.between(id, &begin, &from), shapers.between(id, &from, &start), shapers.between(id, &end, &home)];
                Legs::fastest(stage.axis(id), a, shapers)
            });
            legs.transpose().map_err(|e| NoPlan::new(stage, id, e))
        })?;
        let slowest = |leg: fn(&Legs) -> f64| {
            let all = stage.axis_ids().filter_map(|id| Some((id, laws[id].as_ref().map(leg)?)));
            all.filter(|(_, seconds)| *seconds > 0.0).max_by(|a, b| a.1.total_cmp(&b.1))
        };
        let seconds = |slowest: Option<(AxisId, f64)>| slowest.map_or(0.0, |(_, seconds)| seconds);
        let (there, back) = (slowest(|l| l.to_approach.duration()), slowest(|l| l.back.duration()));
        let slowest = [there, back].map(|s| s.map(|(id, _)| id));
        let (to_approach, back) = (seconds(there), seconds(back));
        let to_start = laws.iter().flatten().map(|l| l.to_start.duration()).fold(0.0, f64::max);
        let comes = to_approach + to_start + pass.rest_at_start();
        let whole_seconds = whole::ceiling(comes).and_then(|n| u64::try_from(n).ok());
        let Some(whole_seconds) = whole_seconds else {
            let [slowest, _] = slowest;
            let axis = slowest.map(|id| stage.axis_name(id).to_owned()).unwrap_or_default();
            return Err(NoPlan::Law { axis, error: WayError::TooLong(comes) });
        };
        let joined = |id: AxisId, legs: &[Move], until: f64| -> Result<Option<Curve>, NoPlan> {
            let curve = (until > 0.0).then(|| curve(stage.axis(id), legs, until));
            curve.transpose().map_err(|e| NoPlan::new(stage, id, e))
        };
        let until = comes.ceil();
        let there = PerAxis::try_new(stage, |id| match (&approaches[id], &laws[id]) {
            (Some(a), Some(l)) => {
                let to_approach = Move { from: a.begin, to: a.from, law: &l.to_approach, seconds: to_approach };
                joined(id, &[to_approach, Move { from: a.from, to: a.start, law: &l.to_start, seconds: to_start }], until)
            }
            _ => Ok(None),
        })?;
        let home = PerAxis::try_new(stage, |id| match (&approaches[id], &laws[id]) {
            (Some(a), Some(l)) => joined(id, &[Move { from: a.end, to: stage.axis(id).home(), law: &l.back, seconds: back }], back),
            _ => Ok(None),
        })?;
        Ok(Way {
            to_approach: Seconds(to_approach),
            to_start: Seconds(to_start),
            back: Seconds(back),
            too_weak: stage.axis_ids().find(|id| !pass.parks(stage, *id) && cannot_hold(stage.axis(*id))),
            slowest,
            whole_seconds,
            approaches,
            there,
            home,
        })
    }

    /// From home to the place of approach.
    #[must_use]
    pub(crate) fn to_approach(&self) -> Seconds {
        self.to_approach
    }

    /// The first axis of the pass whose motor cannot hold its load at standstill: it does neither leg, however slowly.
    #[must_use]
    pub(crate) fn too_weak(&self) -> Option<AxisId> {
        self.too_weak
    }

    /// The axis that takes longest on a leg; `None` where none moves.
    #[must_use]
    pub(crate) fn slowest(&self, leg: Leg) -> Option<AxisId> {
        let [there, back] = self.slowest;
        match leg {
            Leg::MoveToStart => there,
            Leg::ReturnHome => back,
        }
    }

    /// From the place of approach to the start.
    #[must_use]
    pub(crate) fn to_start(&self) -> Seconds {
        self.to_start
    }

    /// From the end of the run-down home.
    #[must_use]
    pub(crate) fn back(&self) -> Seconds {
        self.back
    }

    /// From home to the start: both legs, the pass's time to settle, and standing there up to the next whole second, so that what follows keeps its place among rows at whole rates.
    #[must_use]
    pub(crate) fn whole_seconds(&self) -> u64 {
        self.whole_seconds
    }

    /// How each axis comes to its start; `None` where it is parked.
    #[must_use]
    pub(crate) fn approaches(&self) -> &PerAxis<Option<Approach>> {
        &self.approaches
    }

    /// The curves of a leg, in seconds from its beginning; `None` for an axis that stands at home throughout, or where the leg takes no time.
    #[must_use]
    pub(crate) fn curves(&self, leg: Leg) -> &PerAxis<Option<Curve>> {
        match leg {
            Leg::MoveToStart => &self.there,
            Leg::ReturnHome => &self.home,
        }
    }

    /// How long a leg takes, standing up to the next whole second included.
    #[must_use]
    #[allow(clippy::cast_precision_loss, reason = "below 2^53: from a number of that size")]
    pub(crate) fn length(&self, leg: Leg) -> Seconds {
        match leg {
            Leg::MoveToStart => Seconds(self.whole_seconds as f64),
            Leg::ReturnHome => self.back,
        }
    }

    /// Where the bodies are on a leg, in seconds from its beginning.
    #[must_use]
    pub(crate) fn course<'a>(&'a self, stage: &'a Stage, leg: Leg) -> Course<'a> {
        let (curves, seconds) = (self.curves(leg), self.length(leg).0);
        Course::new(stage, (0.0, seconds), seconds / STRETCHES, PerAxis::new(stage, |id| curves[id].as_ref()))
    }
}

/// Stretches of a leg with which a search along it begins. A leg is a handful of pieces however long it lasts.
const STRETCHES: f64 = 64.0;

/// The fastest laws of one axis's legs.
#[derive(Debug)]
struct Legs {
    to_approach: RestMove,
    to_start: RestMove,
    back: RestMove,
}

impl Legs {
    fn fastest(axis: &Axis, a: &Approach, [to_approach, to_start, back]: [Shaper; 3]) -> Result<Legs, WayError> {
        Ok(Legs {
            to_approach: fastest(axis, a.from - a.begin, to_approach)?,
            to_start: fastest(axis, a.start - a.from, to_start)?,
            back: fastest(axis, axis.home() - a.end, back)?,
        })
    }
}

/// One move from rest to rest: its fastest law, and the seconds that it takes with all axes together.
struct Move<'a> {
    from: f64,
    to: f64,
    law: &'a RestMove,
    seconds: f64,
}

/// The moves one after the other, then standing until `until`.
fn curve(axis: &Axis, moves: &[Move<'_>], until: f64) -> Result<Curve, WayError> {
    let mut curve = CurveBuilder::starting_at(0.0, 8 * moves.len());
    let mut stands = axis.home();
    for m in moves {
        if m.seconds > 0.0 {
            leg(&mut curve, m)?;
        }
        stands = m.to;
    }
    if curve.end() < until {
        curve.push(until, Quintic::hold(stands));
    }
    Ok(curve.finish()?)
}

fn leg(curve: &mut CurveBuilder, m: &Move<'_>) -> Result<(), WayError> {
    m.law.stretched(m.seconds)?.append(curve, m.from, m.to);
    Ok(())
}

/// Margin beyond the backlash: half of it, and no less than a full step.
#[must_use]
pub(crate) fn margin(axis: &Axis, backlash: f64) -> f64 {
    let full_step = f64::from(axis.drive().microsteps()) / axis.drive().steps_per_unit();
    (0.5 * backlash).max(full_step)
}

fn approach(compiled: &Compiled, pass: &Pass, id: AxisId) -> Option<Approach> {
    let (axis, m) = (compiled.stage().axis(id), compiled.motion(id));
    let frames = pass.exposed(compiled.shot().frames());
    let (start, end) = match pass.exposure() {
        Exposure::Moving => (m.curve().start(), m.curve().end()),
        Exposure::Held => (frame_time(frames.first()), frame_time(frames.last())),
    };
    // A frame alone is come to as the passes that run through the shot come to it.
    let came = pass.wedge().and_then(|wedge| before(m.curve(), frame_time(wedge.frame())));
    let (start, end) = (m.curve().at(start)?, m.curve().at(end)?);
    let entry = compiled.entry();
    let direction = entry.and_then(|e| e.sides[id]).or(came).or_else(|| first_direction(m));
    let begin = entry.map_or(axis.home(), |e| e.stands[id]);
    let backlash = axis.backlash().unwrap_or(0.0);
    let mut a = Approach { begin, start, end, from: start, direction, has_room: true };
    if let (Some(d), true) = (direction, backlash > 0.0) {
        let from = start - d.sign() * (backlash + margin(axis, backlash));
        a.has_room = axis.travel().lower <= from && from <= axis.travel().upper;
        if a.has_room {
            a.from = from;
        }
    }
    Some(a)
}

/// The axis's limits for moves from point to point, its step rate counted as a limit of velocity.
///
/// # Errors
/// Limits that are no positive numbers, which a checked axis does not have.
pub(crate) fn effective(axis: &Axis) -> Result<Limits, ProfileError> {
    let l = axis.limits();
    let by_rate = l.step_rate.map_or(f64::INFINITY, |r| r / axis.drive().steps_per_unit());
    Limits::new(l.velocity.min(by_rate), l.acceleration, l.jerk)
}

/// True where standing still asks the motor for too much.
fn cannot_hold(axis: &Axis) -> bool {
    Torque::of(axis).is_some_and(|m| Utilisation::of(m.demand(0.0), m.available(0.0)).is_exceeded())
}

/// How often a leg is slowed down, each time by a quarter, to spare the motor.
const SLOWER: usize = 24;

/// The rest-to-rest move over a distance in the shortest time that the axis's limits allow, slowed down in quarters until the motor's
/// torque is enough for it, split or not. Where it never is, standing still asks too much already: slowing down is no help, and [`Way::too_weak`] names the axis.
fn fastest(axis: &Axis, distance: f64, shaper: Shaper) -> Result<RestMove, WayError> {
    let law = SevenSegment::rest_to_rest(distance, &effective(axis)?)?;
    if let Some(model) = Torque::of(axis).filter(|_| distance != 0.0) {
        let mut slower = law;
        for _ in 0..SLOWER {
            let own = RestMove::new(slower, shaper.clone());
            if own.stretched(own.duration())?.torque(&model, 0.0).is_none_or(|t| t.demand <= t.available) {
                return Ok(own);
            }
            slower = slower.stretched(1.25 * slower.duration())?;
        }
    }
    Ok(RestMove::new(law, shaper))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "tests")]
mod tests {
    use super::*;
    use crate::program::tests::one_axis;
    use crate::shot::Shape;

    fn way(keys: &[(f64, f64)], backlash: f64, lower: f64) -> Way {
        let compiled = one_axis(keys, Shape::StopAtKeys, backlash, lower);
        Way::plan(&compiled, &compiled.shot().passes()[0]).unwrap()
    }

    fn approach_of(way: &Way) -> Approach {
        way.approaches().first().copied().flatten().unwrap()
    }

    #[test]
    fn it_comes_from_the_side_it_then_moves_away_from() {
        let a = approach_of(&way(&[(5.0, 10.0), (40.0, 90.0)], 1.0, -50.0));
        // A full step of this axis is 1.8 degrees, more than half of the backlash.
        assert_eq!((a.from, a.direction, a.has_room), (10.0 - 2.8, Some(Direction::Up), true));
        let a = approach_of(&way(&[(5.0, 10.0), (40.0, -20.0)], 1.0, -50.0));
        assert_eq!((a.from, a.direction), (12.8, Some(Direction::Down)));
        // No room below: reported, and the axis goes to the start directly.
        let a = approach_of(&way(&[(5.0, 10.0), (40.0, 90.0)], 20.0, -5.0));
        assert_eq!((a.from, a.has_room), (10.0, false));
    }

    #[test]
    fn the_way_takes_the_textbook_time() {
        // Rest to rest with v, a and j reached: T = h/v + v/a + a/j (L. Biagiotti, C. Melchiorri 2008, 3.4.3 case 1.a).
        let w = way(&[(5.0, 200.0), (40.0, 100.0)], 0.0, -50.0);
        assert!((w.to_approach().0 - (20.0 + 5.0 + 0.2)).abs() < 1e-9 && (w.back().0 - (10.0 + 5.0 + 0.2)).abs() < 1e-9);
    }

    /// At 10 deg/s and at a billionth of that a leg is a handful of pieces, and a search along it begins with as many stretches.
    #[test]
    fn a_long_way_is_cut_no_finer_than_a_short_one() {
        let w = way(&[(5.0, 200.0), (40.0, 100.0)], 1.0, -50.0);
        let compiled = one_axis(&[(5.0, 200.0), (40.0, 100.0)], Shape::StopAtKeys, 1.0, -50.0);
        let stretches = |w: &Way| w.course(compiled.stage(), Leg::MoveToStart).stretches().count();
        let mut long = w.clone();
        long.whole_seconds *= 1_000_000_000;
        assert_eq!((stretches(&w), stretches(&long)), (64, 64));
        assert!(w.curves(Leg::MoveToStart).iter().flatten().all(|c| c.len() <= 16));
    }

    #[test]
    fn the_way_goes_from_home_over_the_place_of_approach_to_the_start_within_limits() {
        let w = way(&[(5.0, -20.0), (40.0, 90.0)], 3.0, -50.0);
        let there = w.curves(Leg::MoveToStart).first().unwrap().as_ref().unwrap();
        assert_eq!((there.start(), there.end()), (0.0, (w.to_approach() + w.to_start()).0.ceil()));
        assert_eq!((there.at(0.0), there.at(there.end())), (Some(0.0), Some(-20.0)));
        // Backlash 3 and a full step of 1.8 as margin, below the start since it then moves up.
        assert!(there.at(w.to_approach().0).is_some_and(|p| (p + 24.8).abs() < 1e-12));
        let home = w.curves(Leg::ReturnHome).first().unwrap().as_ref().unwrap();
        assert_eq!((home.at(0.0), home.at(home.end()), home.end()), (Some(90.0), Some(0.0), w.back().0));
        for curve in [there, home] {
            let p = crate::motion::Peaks::of(curve, 0..curve.len()).unwrap();
            let at_most = |value: f64, limit: f64| value <= limit * (1.0 + 1e-9);
            assert!(at_most(p.velocity.value, 10.0) && at_most(p.acceleration.value, 2.0) && at_most(p.jerk.value, 10.0));
            assert!(p.least.value >= -24.8 - 1e-12);
        }
    }
}
