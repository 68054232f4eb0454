//! One pass on its stage clock, planned once, in seconds: move to start, run-up, exposures or stations, run-down, return home.
//!
//! Invariant: every second of a program has one position for each axis; a parked axis stands at home throughout. Frame time and seconds are different
//! types. Torque, clearance on the way, rows and page read this one plan. Passes that come and go the same way share it.

pub(crate) mod clock;
pub(crate) mod course;
pub(crate) mod hanging;
pub(crate) mod held;
mod line;
pub(crate) mod motion;
mod part;
pub(crate) mod rest_move;
pub(crate) mod reversals;
mod shaper;
mod shaping;
mod shortest;
mod side;
mod stopped;
pub(crate) mod timeline;
pub(crate) mod way;

use std::sync::Arc;

use crate::compile::Compiled;
use crate::number::whole;
use crate::shot::{Exposure, Interval, Pass};
use crate::stage::{AxisId, PerAxis};
pub(crate) use crate::stage::{Torque, TorqueUse};
use crate::time::{Pace, Seconds};

pub(crate) use crate::compile::Direction;
pub(crate) use clock::Clock;
pub(crate) use course::Course;
pub(crate) use held::{HeldMove, Stations};
pub(crate) use part::{NoPart, Part};
pub(crate) use way::{Leg, NoPlan, Way};

/// The program of one pass.
#[derive(Debug, Clone)]
pub(crate) struct Program {
    compiled: Compiled,
    pass: usize,
    clock: Clock,
    way: Arc<Way>,
    stations: Option<Arc<Stations>>,
}

impl Program {
    /// Plans every pass of a compiled shot, in the order of the shot.
    ///
    /// # Errors
    /// An axis that no law takes from one place to another.
    pub(crate) fn all(compiled: &Compiled) -> Result<Vec<Arc<Program>>, NoPlan> {
        let mut planned: Vec<Arc<Program>> = Vec::new();
        for (index, pass) in compiled.shot().passes().iter().enumerate() {
            let known = planned.iter().find(|p| comes_the_same_way(compiled, p.pass(), pass)).map(|p| Arc::clone(&p.way));
            planned.push(Arc::new(Program::plan(compiled, index, pass, known)?));
        }
        Ok(planned)
    }

    /// Plans the pass of this index alone; `None` where there is none.
    ///
    /// # Errors
    /// As [`Program::all`].
    pub(crate) fn one(compiled: &Compiled, index: usize) -> Result<Option<Program>, NoPlan> {
        compiled.shot().passes().get(index).map(|pass| Program::plan(compiled, index, pass, None)).transpose()
    }

    fn plan(compiled: &Compiled, index: usize, pass: &Pass, known: Option<Arc<Way>>) -> Result<Program, NoPlan> {
        let way = match known {
            Some(way) => way,
            None => Arc::new(Way::plan(compiled, pass)?),
        };
        let stations = match pass.exposure() {
            Exposure::Held => Some(Arc::new(Stations::plan(compiled, pass)?)),
            Exposure::Moving => None,
        };
        let shortest = match stations.as_deref() {
            Some(stations) if pass.interval() == Interval::Shortest => Some(Arc::new(shortest::openings(compiled, pass, &way, stations)?)),
            _ => None,
        };
        let clock = Clock::of(compiled, pass, &way, shortest);
        Ok(Program { compiled: compiled.clone(), pass: index, clock, way, stations })
    }

    /// The same at another pace at which run-up and run-down have the same lengths: how a pace is tried. Of a moving pass.
    #[must_use]
    pub(crate) fn at_pace(&self, pace: Pace) -> Program {
        Program { clock: Clock::of(&self.compiled, &self.pass().at_pace(pace), &self.way, None), ..self.clone() }
    }

    /// Index of the pass in the shot.
    #[must_use]
    pub(crate) fn index(&self) -> usize {
        self.pass
    }

    /// The compiled shot.
    #[must_use]
    pub(crate) fn compiled(&self) -> &Compiled {
        &self.compiled
    }

    /// The pass.
    #[must_use]
    #[allow(clippy::indexing_slicing, reason = "the index of one of the shot's own passes, from `all`")]
    pub(crate) fn pass(&self) -> &Pass {
        &self.compiled.shot().passes()[self.pass]
    }

    /// Its clock.
    #[must_use]
    pub(crate) fn clock(&self) -> &Clock {
        &self.clock
    }

    /// How the axes come to their starts and go home again.
    #[must_use]
    pub(crate) fn way(&self) -> &Way {
        &self.way
    }

    /// True where another program's axes come and go as these do.
    #[must_use]
    pub(crate) fn shares_way(&self, other: &Program) -> bool {
        Arc::ptr_eq(&self.way, &other.way)
    }

    /// The stations of a held pass and the moves between them; `None` for a moving pass.
    #[must_use]
    pub(crate) fn stations(&self) -> Option<&Stations> {
        self.stations.as_deref()
    }

    /// True where the axis stays at home in this pass.
    #[must_use]
    pub(crate) fn parks(&self, axis: AxisId) -> bool {
        self.pass().parks(self.compiled.stage(), axis)
    }

    /// From the start of the move to start to the end of the run-down, or of the last slot. Unit: s.
    #[must_use]
    pub(crate) fn end(&self) -> Seconds {
        self.clock.end()
    }

    /// The whole program and the return home. Unit: s.
    #[must_use]
    pub(crate) fn duration(&self) -> Seconds {
        self.end() + self.way.back()
    }

    /// What it saves beside the same pass with `seconds_per_frame` for each frame; below 0 where it takes longer. `None` where it is that pass, or a wedge.
    #[must_use]
    pub(crate) fn saved(&self) -> Option<Seconds> {
        let evenly = Seconds(self.clock.pace().seconds_of(whole::count(self.clock.exposed().count())));
        (self.clock.is_shortest() && self.pass().wedge().is_none()).then(|| evenly - self.clock.running())
    }

    /// Where the bodies are while it runs, from the start of the run-up to the end of the run-down; frame time.
    #[must_use]
    pub(crate) fn course(&self) -> Course<'_> {
        let stage = self.compiled.stage();
        Course::new(
            stage,
            self.clock.span(),
            STRETCH,
            PerAxis::new(stage, |id| (!self.parks(id)).then(|| self.compiled.motion(id).curve())),
        )
    }
}

/// Frames of a stretch with which a search along a pass begins: small beside a wing's beat.
const STRETCH: f64 = 4.0;

/// True where two passes have the same axes at the same starts and ends.
fn comes_the_same_way(compiled: &Compiled, a: &Pass, b: &Pass) -> bool {
    let alone = |pass: &Pass| pass.wedge().map(crate::shot::Wedge::frame);
    a.exposure() == b.exposure() && alone(a) == alone(b) && a.rest_at_start() == b.rest_at_start() && a.parks_like(compiled.stage(), b)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
pub(crate) mod tests {
    use super::motion::Motion;
    use super::*;
    use crate::shot::{Key, Shape, Shot, ShotSpec, Track};
    use crate::stage::{Axis, AxisSpec, GroupSpec, Stage, Unit};
    use crate::time::{FrameRate, FrameSpan, Timecode};

    /// One turning axis, 10 deg/s, 2 deg/s2, 10 deg/s3, frames 1 to 60, one moving pass at 10 s per frame and one held at 40.
    pub(crate) fn one_axis(keys: &[(f64, f64)], shape: Shape, backlash: f64, lower: f64) -> Compiled {
        let mut spec = AxisSpec::new("yaw", Unit::Degree, [lower, 400.0], [10.0, 2.0, 10.0]);
        spec.backlash = Some(backlash);
        let stage = Stage::new("marsh", 1.0, vec![GroupSpec { name: "heron".into(), axes: vec![Axis::new(spec).unwrap()] }]).unwrap();
        let rate = FrameRate::parse("24").unwrap();
        let keys = keys.iter().map(|(f, v)| Key::new(*f, *v)).collect();
        let pass = |name, exposure, pace| Pass::new(&stage, name, exposure, pace, 180.0, 0.0, vec![]).unwrap();
        let shot = ShotSpec {
            name: "turns".into(),
            frame_rate: rate,
            frames: FrameSpan::new(1, 60).unwrap(),
            timecode_start: Timecode::from_count(0, rate),
            tracks: vec![Track::new(stage.channel("heron.yaw").unwrap(), shape, None, keys).unwrap()],
            cycles: vec![],
            drifts: vec![],
            copies: vec![],
            passes: vec![pass("picture", Exposure::Moving, 10.0), pass("still", Exposure::Held, 40.0)],
        };
        let shot = Shot::new(&stage, shot).unwrap();
        Compiled::new(stage, shot).unwrap()
    }

    #[test]
    fn every_second_has_a_position_and_the_parts_meet() {
        let compiled = one_axis(&[(1.0, 30.0), (30.0, 90.0), (60.0, 10.0)], Shape::MinimumJerk, 1.0, -50.0);
        let id = compiled.stage().axis_ids().next().unwrap();
        for program in Program::all(&compiled).unwrap() {
            let end = program.end().0;
            assert!(program.motion(id, Seconds(-0.1)).is_none() && program.motion(id, Seconds(end + 0.1)).is_none());
            assert_eq!(program.motion(id, Seconds(0.0)).unwrap(), Motion { position: 0.0, velocity: 0.0, acceleration: 0.0 });
            let rest = program.motion(id, Seconds(end)).unwrap();
            assert!(rest.velocity.abs() < 1e-12, "{rest:?}");
            let mut last = 0.0;
            for i in 0..=20_000_u32 {
                let here = program.motion(id, Seconds(end * f64::from(i) / 20_000.0)).unwrap().position;
                // No faster than the limit of 10 deg/s, held moves included.
                assert!((here - last).abs() <= 10.0 * end / 20_000.0 + 1e-9, "{i}");
                last = here;
            }
        }
    }

    #[test]
    fn passes_that_come_the_same_way_share_it() {
        let compiled = one_axis(&[(1.0, 30.0), (60.0, 10.0)], Shape::MinimumJerk, 1.0, -50.0);
        let two = compiled.shot().passes().iter().chain(compiled.shot().passes()).enumerate();
        let renamed = two.map(|(i, p)| p.clone().named(&format!("p{i}"))).collect();
        let again = compiled.with_shot(compiled.shot().with_passes(compiled.stage(), renamed).unwrap()).unwrap();
        let programs = Program::all(&again).unwrap();
        let shares = |a: usize, b: usize| programs.get(a).unwrap().shares_way(programs.get(b).unwrap());
        assert!(shares(0, 2) && shares(1, 3) && !shares(0, 1));
    }

    #[test]
    fn a_shot_of_another_stage_is_refused() {
        let (a, b) =
            (one_axis(&[(1.0, 0.0)], Shape::MinimumJerk, 0.0, -50.0), Axis::new(AxisSpec::new("yaw", Unit::Degree, [0.0, 1.0], [1.0; 3])));
        let other = Stage::new("marsh", 1.0, vec![GroupSpec { name: "crane".into(), axes: vec![b.unwrap()] }]).unwrap();
        assert_eq!(Compiled::compile(other, a.shot().clone()).unwrap_err(), vec![crate::compile::CompileError::OtherStage]);
    }
}
