//! Held passes: between exposures every axis makes a rest-to-rest jerk-limited move, all ending together on the slowest.
//!
//! Invariant: each move is the seven-segment law in its shortest time under the axis's limits, stretched to the slowest axis's time; so a
//! stretched axis runs at (its own time / the common time)^k of its peaks. Every axis stands still during exposures, at the curve's own position at
//! mid-exposure, bit for bit.

use std::sync::OnceLock;

use super::course::{Course, OnDemand};
use super::rest_move::RestMove;
use super::shaper::Shaper;
use super::shaping::{self, Shapers};
use super::way::{NoPlan, effective};
use crate::compile::{Compiled, frame_time};
use crate::motion::Quintic;
use crate::motion::curve::{Curve, CurveBuilder, Walk};
use crate::motion::point_to_point::{Limits, SevenSegment};
use crate::shot::{Interval, Pass};
use crate::stage::{AxisId, PerAxis, Swing};
use crate::time::{ExposedFrames, FrameTime, Seconds};

/// The time one move between held exposures takes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct HeldMove {
    /// The frame it leaves.
    pub from: i64,
    /// The next frame that is exposed, at which it arrives.
    pub to: i64,
    /// Time of the slowest axis, on which all end together.
    pub seconds: Seconds,
    /// The slowest axis; `None` where nothing moves.
    pub slowest: Option<AxisId>,
}

impl HeldMove {
    /// Frame time when this share of the move has passed: it goes on evenly from the frame left to the frame at which it arrives.
    #[must_use]
    pub(crate) fn frame_after(&self, share: f64) -> FrameTime {
        FrameTime(frame_time(self.from) + share * (frame_time(self.to) - frame_time(self.from)))
    }
}

/// Where every axis stands at each exposure, and the moves between. Memory grows with the frames, not with frames times axes: laws are formed when asked for.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Stations {
    exposed: ExposedFrames,
    available: Option<Seconds>,
    moves: Vec<HeldMove>,
    limits: PerAxis<Limits>,
    /// Of every axis whose group swings in a shaped pass: its pendulum among those below.
    shaped: PerAxis<Option<usize>>,
    /// Pendulums with their lengths at every station, mm.
    lengths: Vec<Lengths>,
}

/// A pendulum, and its length at every station, mm.
type Lengths = (Swing, Vec<f64>);

/// One move of all axes between two stations, in seconds. An analysis asks for few of the axes, and there are as many moves as frames: a curve is formed when it is first asked for.
#[derive(Debug, Clone)]
pub(crate) struct HeldPath<'a> {
    stations: &'a Stations,
    compiled: &'a Compiled,
    pass: &'a Pass,
    moves: HeldMove,
    curves: PerAxis<OnceLock<Option<Curve>>>,
}

impl HeldPath<'_> {
    /// Where the bodies are on the move.
    #[must_use]
    pub(crate) fn course(&self) -> Course<'_> {
        let seconds = self.moves.seconds.0;
        Course::on_demand(self.compiled.stage(), (0.0, seconds), seconds, self)
    }
}

impl OnDemand for HeldPath<'_> {
    fn curve(&self, axis: AxisId) -> Option<&Curve> {
        self.curves[axis].get_or_init(|| self.stations.curve(self.compiled, self.pass, &self.moves, axis)).as_ref()
    }
}

impl Stations {
    /// The stations of a held pass.
    ///
    /// # Errors
    /// An axis that no law takes from one station to the next.
    pub(crate) fn plan(compiled: &Compiled, pass: &Pass) -> Result<Stations, NoPlan> {
        let (stage, exposed) = (compiled.stage(), pass.exposed(compiled.shot().frames()));
        let limits = PerAxis::try_new(stage, |id| effective(stage.axis(id)).map_err(|e| NoPlan::new(stage, id, e)))?;
        let pairs = exposed.frames().zip(exposed.frames().skip(1));
        let moves = pairs.map(|(from, to)| HeldMove { from, to, seconds: Seconds(0.0), slowest: None }).collect();
        let between = pass.pace().get() * (1.0 - pass.shutter().fraction()) - pass.settle();
        let available = (pass.interval() == Interval::Frame).then_some(Seconds(between));
        let (shaped, lengths) = lengths(compiled, pass);
        let mut s = Stations { exposed, available, moves, limits, shaped, lengths };
        for id in stage.axis_ids().filter(|id| !pass.parks(stage, *id) && compiled.motion(*id).curve().still().is_none()) {
            let limits = s.limits[id];
            let stands = s.positions(compiled.motion(id).curve());
            let mut moves = core::mem::take(&mut s.moves);
            for (i, ((a, b), common)) in stands.iter().zip(stands.iter().skip(1)).zip(&mut moves).enumerate() {
                let law = SevenSegment::rest_to_rest(b - a, &limits).map_err(|e| NoPlan::new(stage, id, e))?;
                let seconds = RestMove::new(law, s.shaper(id, i)).duration();
                if seconds > common.seconds.0 {
                    (common.seconds, common.slowest) = (Seconds(seconds), Some(id));
                }
            }
            s.moves = moves;
        }
        Ok(s)
    }

    /// Time between the close of one exposure and the opening of the next, settling taken off; below 0 where there is none. `None` where each frame takes only as long as it needs.
    #[must_use]
    pub(crate) fn available(&self) -> Option<Seconds> {
        self.available
    }

    /// One entry for each pair of neighbouring exposures.
    #[must_use]
    pub(crate) fn moves(&self) -> &[HeldMove] {
        &self.moves
    }

    /// The slowest of all moves; `None` where there is one frame only.
    #[must_use]
    pub(crate) fn slowest(&self) -> Option<&HeldMove> {
        self.moves.iter().max_by(|a, b| a.seconds.0.total_cmp(&b.seconds.0).then(b.from.cmp(&a.from)))
    }

    /// Where an axis with this curve stands at each exposure.
    #[must_use]
    pub(crate) fn positions(&self, curve: &Curve) -> Vec<f64> {
        let n = self.exposed.count();
        if let Some(at) = curve.still() {
            return vec![at; n];
        }
        let (mut walk, mut all) = (Walk::new(curve), Vec::with_capacity(n));
        // The curve covers every photographed frame.
        all.extend(self.exposed.frames().filter_map(|n| walk.at(frame_time(n))));
        all
    }

    /// The move of this number, counted from 0, over `distance` in the axis's own shortest time.
    #[must_use]
    pub(crate) fn law(&self, axis: AxisId, number: usize, distance: f64) -> Option<RestMove> {
        let law = SevenSegment::rest_to_rest(distance, &self.limits[axis]).ok()?;
        Some(RestMove::new(law, self.shaper(axis, number)))
    }

    fn shaper(&self, axis: AxisId, number: usize) -> Shaper {
        let Some((swing, lengths)) = self.shaped[axis].and_then(|i| self.lengths.get(i)) else { return Shaper::default() };
        let at = |i: usize| lengths.get(i).copied().unwrap_or(swing.length);
        shaping::shaper(swing, 0.5 * (at(number) + at(number + 1)))
    }

    /// Every axis on one move, in seconds from its beginning; `None` where nothing moves.
    #[must_use]
    pub(crate) fn path<'a>(&'a self, compiled: &'a Compiled, pass: &'a Pass, moves: &HeldMove) -> Option<HeldPath<'a>> {
        let curves = || PerAxis::new(compiled.stage(), |_| OnceLock::new());
        (moves.seconds.0 > 0.0).then(|| HeldPath { stations: self, compiled, pass, moves: *moves, curves: curves() })
    }

    /// One axis on one move; `None` where it is parked, or nothing moves.
    #[must_use]
    pub(crate) fn curve(&self, compiled: &Compiled, pass: &Pass, moves: &HeldMove, id: AxisId) -> Option<Curve> {
        let (stage, seconds) = (compiled.stage(), moves.seconds.0);
        if pass.parks(stage, id) || !(seconds > 0.0) {
            return None;
        }
        let [a, b] = [moves.from, moves.to].map(|frame| station(compiled, pass, id, frame));
        let mut curve = CurveBuilder::starting_at(0.0, 8);
        let number = self.exposed.number(moves.from)?;
        match self.law(id, number, b - a).and_then(|law| law.stretched(seconds).ok()) {
            Some(law) if a != b => law.append(&mut curve, a, b),
            _ => curve.push(seconds, Quintic::hold(a)),
        }
        curve.finish().ok()
    }

    /// The frames at which everything stands.
    #[must_use]
    pub(crate) fn exposed(&self) -> ExposedFrames {
        self.exposed
    }

    /// Each move of an axis that stands at `positions`, in its own shortest time, with the time that all take.
    pub(crate) fn laws<'a>(&'a self, axis: AxisId, positions: &'a [f64]) -> impl Iterator<Item = (&'a HeldMove, RestMove)> + 'a {
        let pairs = positions.iter().zip(positions.iter().skip(1)).zip(&self.moves).enumerate();
        pairs.filter_map(move |(i, ((a, b), common))| self.law(axis, i, b - a).map(|law| (common, law)))
    }
}

/// Where an axis stands while a frame is exposed. Its curve covers every photographed frame.
pub(super) fn station(compiled: &Compiled, pass: &Pass, id: AxisId, frame: i64) -> f64 {
    let home = compiled.stage().axis(id).home();
    if pass.parks(compiled.stage(), id) { home } else { compiled.motion(id).curve().at(frame_time(frame)).unwrap_or(home) }
}

/// Which axes are shaped, by which pendulum, and the lengths of those at every station.
fn lengths(compiled: &Compiled, pass: &Pass) -> (PerAxis<Option<usize>>, Vec<Lengths>) {
    let (stage, shapers) = (compiled.stage(), Shapers::of(compiled, pass));
    let mut known: Vec<(&Swing, Vec<f64>)> = Vec::new();
    let shaped = PerAxis::new(stage, |id| {
        let swing = shapers.swing(id)?;
        Some(known.iter().position(|(s, _)| core::ptr::eq(*s, swing)).unwrap_or_else(|| {
            let length = |frame| shaping::length_at(stage, swing, &|id| station(compiled, pass, id, frame));
            known.push((swing, pass.exposed(compiled.shot().frames()).frames().map(length).collect()));
            known.len() - 1
        }))
    });
    (shaped, known.into_iter().map(|(swing, lengths)| (swing.clone(), lengths)).collect())
}
