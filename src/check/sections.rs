//! The parts of a pass one after the other, each with where the axes are on a clock of its own: move to start, run-up, exposures or the moves between them,
//! run-down, return home.
//!
//! Invariant: every instant of the program at which an axis moves lies in a section. Between the moves of a held pass every axis stands where a move ends.

use super::violation::{At, Part};
use crate::compile::Edge;
use crate::program::{Course, HeldMove, Leg, Program};
use crate::stage::AxisId;
use crate::time::{FrameTime, Seconds};

/// One part of a pass.
pub(super) struct Section<'a> {
    /// Which part of the pass it is, and when.
    pub(super) timing: Timing,
    /// Where the axes are, on the section's clock.
    pub(super) course: Course<'a>,
}

/// Which part of a pass something is in, and what its instants are on the clock of the pass.
#[derive(Debug, Clone, Copy)]
pub(super) struct Timing {
    /// Which.
    pub(super) part: Part,
    /// Seconds of one unit of the section's clock.
    pub(super) pace: f64,
    clock: Clock,
}

/// What the clock of a section counts.
#[derive(Debug, Clone, Copy)]
enum Clock {
    /// Frame time.
    Frames,
    /// Seconds of a move between two stations.
    Move(HeldMove),
    /// Seconds since this second of the program.
    Since(Seconds),
}

impl Timing {
    /// Of one move between two stations.
    pub(super) fn of_move(m: &HeldMove) -> Timing {
        Timing { part: Part::Photographed, pace: 1.0, clock: Clock::Move(*m) }
    }

    /// An instant of the section as one of the pass. On a move between stations frame time goes on evenly from one to the other.
    pub(super) fn at(&self, t: f64) -> At {
        match self.clock {
            Clock::Frames => At::Frame(FrameTime(t)),
            Clock::Move(m) => At::Frame(m.frame_after(t / m.seconds.0)),
            Clock::Since(begin) => At::Time(begin + Seconds(t)),
        }
    }
}

impl Section<'_> {
    /// An instant of the section as one of the pass.
    pub(super) fn at(&self, t: f64) -> At {
        self.timing.at(t)
    }

    /// A stretch of the section on the clock of [`Section::at`].
    pub(super) fn span(&self, from: f64, to: f64) -> (f64, f64) {
        (self.at(from).number(), self.at(to).number())
    }

    /// The pieces of an axis's curve that lie in the section; none where it stands at home.
    pub(super) fn pieces(&self, axis: AxisId) -> impl Iterator<Item = crate::motion::curve::Piece<'_>> {
        let (from, to) = self.course.span();
        let curve = self.course.curve(axis).ok();
        let range = curve.map_or(0..0, |c| c.overlapping(from, to));
        curve.into_iter().flat_map(move |c| c.pieces().skip(range.start).take(range.len()))
    }
}

/// Every section of a pass, in order.
pub(super) fn each(program: &Program, see: &mut dyn FnMut(&Section<'_>)) {
    each_with(program, &|_| true, see);
}

/// The same, of a held pass only those moves whose number, counted from 0, `wanted` says.
pub(super) fn each_with(program: &Program, wanted: &dyn Fn(usize) -> bool, see: &mut dyn FnMut(&Section<'_>)) {
    let compiled = program.compiled();
    leg(program, Leg::MoveToStart, see);
    match program.stations() {
        None => {
            for part in [Part::RunUp, Part::Photographed, Part::RunDown] {
                see_part(program, part, program.clock().pace().get(), see);
            }
        }
        Some(stations) => {
            for (_, m) in stations.moves().iter().enumerate().filter(|(i, _)| wanted(*i)) {
                if let Some(path) = stations.path(compiled, program.pass(), m) {
                    see(&Section { timing: Timing::of_move(m), course: path.course() });
                }
            }
        }
    }
    leg(program, Leg::ReturnHome, see);
}

/// Move to start and return home.
pub(super) fn each_on_the_way(program: &Program, see: &mut dyn FnMut(&Section<'_>)) {
    leg(program, Leg::MoveToStart, see);
    leg(program, Leg::ReturnHome, see);
}

fn leg(program: &Program, leg: Leg, see: &mut dyn FnMut(&Section<'_>)) {
    let course = program.way().course(program.compiled().stage(), leg);
    let begin = if leg == Leg::ReturnHome { program.end() } else { Seconds(0.0) };
    let (from, to) = course.span();
    if from < to {
        see(&Section { timing: Timing { part: Part::from(leg), pace: 1.0, clock: Clock::Since(begin) }, course });
    }
}

/// One part of a moving pass, where there is one, run at this pace.
pub(super) fn see_part(program: &Program, part: Part, pace: f64, see: &mut dyn FnMut(&Section<'_>)) {
    let (from, to) = program.compiled().shot().frames().photographed();
    let whole = program.course();
    let (start, end) = whole.span();
    let span = match part.edge() {
        Some(Edge::RunUp) => (start, from),
        Some(Edge::RunDown) => (to, end),
        None => (from, to),
    };
    if span.0 < span.1 {
        see(&Section { timing: Timing { part, pace, clock: Clock::Frames }, course: whole.over(span) });
    }
}
