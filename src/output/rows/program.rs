//! The program of a pass: where every axis is, and whether the shutter is open, at any second of the stage clock.
//!
//! What: at 0 s every axis stands at home. The take-up brings it to its start and leaves it standing there up to a whole second; then follow
//! the run-up of a moving pass, or the opening of the first frame's slot of a held one (frame n has the slot n - 1/2 to n + 1/2), and frame
//! time is `start + (t - take-up) / pace`. A moving axis follows its curve; a held one stands at the mid-exposure positions and goes from
//! each to the next as soon as the shutter closes. A parked axis stands at home.
//! Invariant: every second from 0 to the duration has one position an axis. Limits: the way back home is not part of it.

use super::RowsError;
use super::held::{Held, Leg};
use crate::check::{held, take_up};
use crate::compile::{Move, frame_time};
use crate::motion::Peaks;
use crate::motion::curve::Curve;
use crate::number::whole;
use crate::shot::{Exposure, Pass, Shot};
use crate::stage::{Axis, Stage};

/// A pass on its stage clock.
#[derive(Debug)]
pub struct Program<'a> {
    stage: &'a Stage,
    clock: Clock,
    axes: Vec<Course<'a>>,
    held: Option<Held>,
}

/// Position and velocity at an instant. Units: unit (mm or deg), unit/s.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Motion {
    /// Position.
    pub position: f64,
    /// Velocity.
    pub velocity: f64,
}

/// From seconds to frames.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Clock {
    /// Seconds of the take-up.
    pub(super) take_up: f64,
    /// Frame time at the end of the take-up.
    pub(super) start: f64,
    /// Frame time at the end.
    pub(super) end: f64,
    /// Seconds a frame.
    pub(super) pace: f64,
    /// Seconds, the take-up counted.
    pub(super) duration: f64,
    /// First and last photographed frame.
    pub(super) first: f64,
    pub(super) last: f64,
    /// Part of a frame for which the shutter is open.
    pub(super) open: f64,
}

/// One axis and how it goes.
#[derive(Debug)]
pub(super) struct Course<'a> {
    pub(super) axis: &'a Axis,
    pub(super) name: &'a str,
    pub(super) way: Way<'a>,
    /// From home to the start, in seconds; `None` where the take-up takes no time.
    pub(super) take_up: Option<Curve>,
    /// Greatest acceleration, unit/s2, and jerk, unit/s3; infinite where acceleration steps.
    pub(super) acceleration: f64,
    pub(super) jerk: f64,
}

/// How an axis goes.
#[derive(Debug, Clone, Copy)]
pub(super) enum Way<'a> {
    /// It stands at home.
    Parked,
    /// Along its curve.
    Moving(&'a Curve),
    /// From one point of its curve to the next, between exposures.
    Held(&'a Curve),
}

impl Clock {
    /// Frame time at `t` seconds, which are not before the end of the take-up. Rounding may not lead it past the end.
    pub(super) fn frame(&self, t: f64) -> f64 {
        (self.start + self.since(t) / self.pace).min(self.end)
    }

    /// Seconds since the end of the take-up.
    pub(super) fn since(&self, t: f64) -> f64 {
        t - self.take_up
    }

    /// True while a frame is exposed: from the instant the shutter opens to just before it closes.
    pub(super) fn open(&self, t: f64) -> bool {
        if t < self.take_up {
            return false;
        }
        let x = self.frame(t);
        let n = (x + 0.5).floor();
        let (since, half) = (x - n, 0.5 * self.open);
        self.first <= n && n <= self.last && -half <= since && since < half
    }
}

impl<'a> Program<'a> {
    /// The program of one pass.
    ///
    /// # Errors
    /// [`RowsError::DoesNotFit`] where a held pass has a move that is longer than the time between two exposures.
    pub fn new(stage: &'a Stage, shot: &'a Shot, mv: &'a Move, pass: &'a Pass) -> Result<Program<'a>, RowsError> {
        let frames = shot.frames();
        let (from, to) = frames.photographed();
        let pace = pass.pace();
        let (run_up, run_down) = match pass.exposure() {
            Exposure::Moving => (f64::from(mv.run_up()), f64::from(mv.run_down())),
            Exposure::Held => (0.0, 0.0),
        };
        let way_there = take_up::take_up(stage, shot, pass, mv);
        let clock = Clock {
            take_up: way_there.seconds(),
            start: from - run_up,
            end: to + run_down,
            pace: pace.get(),
            duration: way_there.seconds() + pace.seconds_of(whole::count(frames.count()) + run_up + run_down),
            first: frame_time(frames.first()),
            last: frame_time(frames.last()),
            open: pass.shutter().fraction(),
        };
        let plan = (pass.exposure() == Exposure::Held).then(|| held::plan(stage, shot, pass, mv));
        if let Some(t) = plan.as_ref().and_then(|p| p.too_long.first()) {
            let axis = stage.axis_name(t.axis).to_owned();
            return Err(RowsError::DoesNotFit { axis, from: t.from, seconds: t.seconds, available: held::available(pass) });
        }
        let mut axes = Vec::with_capacity(stage.axes().len());
        for (i, (axis, m)) in stage.axes().iter().zip(mv.axes()).enumerate() {
            let (way, acceleration, jerk) = match (pass.parks(stage, i), &plan) {
                (true, _) => (Way::Parked, 0.0, 0.0),
                (false, Some(plan)) => {
                    let peaks = plan.axes.get(i);
                    (Way::Held(m.curve()), peaks.map_or(0.0, |p| p.acceleration.value), peaks.map_or(0.0, |p| p.jerk.value))
                }
                (false, None) => {
                    let (a, j) = peaks(m.curve(), pace.get());
                    (Way::Moving(m.curve()), a, if m.breaks().is_empty() { j } else { f64::INFINITY })
                }
            };
            let take_up = way_there.way(axis, i);
            let on_the_way = take_up.as_ref().map_or((0.0, 0.0), |curve| peaks(curve, 1.0));
            axes.push(Course {
                axis,
                name: stage.axis_name(i),
                way,
                take_up,
                acceleration: acceleration.max(on_the_way.0),
                jerk: jerk.max(on_the_way.1),
            });
        }
        let held = plan.map(|p| Held::new(&clock, p.report.moves.iter().map(|m| m.seconds).collect()));
        Ok(Program { stage, clock, axes, held })
    }

    /// The stage.
    #[must_use]
    pub fn stage(&self) -> &'a Stage {
        self.stage
    }

    /// Length: take-up, run-up, exposures, run-down. Unit: s.
    #[must_use]
    pub fn duration(&self) -> f64 {
        self.clock.duration
    }

    /// Length of the take-up, a whole number: where the run-up (or the first slot of a held pass) begins. Unit: s.
    #[must_use]
    pub fn take_up(&self) -> f64 {
        self.clock.take_up
    }

    /// The instant at which the shutter opens on the first frame. Unit: s.
    #[must_use]
    pub fn first_opening(&self) -> f64 {
        self.clock.take_up + (self.clock.first - 0.5 * self.clock.open - self.clock.start) * self.clock.pace
    }

    /// Frame time at `t` seconds; `None` unless `take_up <= t <= duration`: before, no frame is near.
    #[must_use]
    pub fn frame_time(&self, t: f64) -> Option<f64> {
        (self.within(t) && self.clock.take_up <= t).then(|| self.clock.frame(t))
    }

    /// True while a frame is exposed: from the instant at which the shutter opens to just before it closes. `t` in seconds.
    #[must_use]
    pub fn shutter_open(&self, t: f64) -> bool {
        self.clock.open(t)
    }

    /// Where an axis (by its index on the stage) is at `t` seconds, and its velocity; `None` outside the program, or for no such axis.
    #[must_use]
    pub fn motion(&self, axis: usize, t: f64) -> Option<Motion> {
        if !self.within(t) {
            return None;
        }
        let course = self.axes.get(axis)?;
        if t < self.clock.take_up {
            let curve = course.take_up.as_ref()?;
            return Some(Motion { position: curve.at(t)?, velocity: curve.jet(t)?.v });
        }
        match (course.way, &self.held) {
            (Way::Moving(curve), _) => {
                let x = self.clock.frame(t);
                Some(Motion { position: curve.at(x)?, velocity: curve.jet(x)?.v / self.clock.pace })
            }
            (Way::Held(curve), Some(held)) => {
                held.leg(&self.clock, course.axis, curve, held.index(&self.clock, t))?.motion(self.clock.since(t))
            }
            (Way::Held(_), None) | (Way::Parked, _) => Some(Motion { position: course.axis.home(), velocity: 0.0 }),
        }
    }

    /// The step an axis is on at `t` seconds: what the table of rows holds.
    #[must_use]
    pub fn count(&self, axis: usize, t: f64) -> Option<i64> {
        self.axes.get(axis)?.axis.count(self.motion(axis, t)?.position)
    }

    pub(super) fn clock(&self) -> &Clock {
        &self.clock
    }

    pub(super) fn courses(&self) -> &[Course<'a>] {
        &self.axes
    }

    /// The move of a held pass that has begun last at `t` seconds.
    pub(super) fn leg_index(&self, t: f64) -> Option<i64> {
        Some(self.held.as_ref()?.index(&self.clock, t))
    }

    pub(super) fn leg(&self, course: &Course<'_>, curve: &Curve, index: i64) -> Option<Leg> {
        self.held.as_ref()?.leg(&self.clock, course.axis, curve, index)
    }

    fn within(&self, t: f64) -> bool {
        0.0 <= t && t <= self.clock.duration
    }
}

/// Greatest acceleration and jerk of a whole curve, in seconds.
fn peaks(curve: &Curve, pace: f64) -> (f64, f64) {
    Peaks::of(curve, 0..curve.len())
        .map_or((f64::INFINITY, f64::INFINITY), |p| (p.acceleration.value / (pace * pace), p.jerk.value / (pace * pace * pace)))
}
