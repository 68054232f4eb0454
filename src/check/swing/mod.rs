//! How far each hanging figure swings in a pass, from rest at its start, and whether it hangs still enough during exposures.
//!
//! What: the exact curves of the program move the hanging point, and the pendulum follows (see `program::hanging`). Further measured modes are driven alike, each for itself. Both figures are good to 1e-3 of the
//! peak: a search ends within 1e-5, a step errs by less than 1e-8 of the swing. Parked figures count: they hang still.
//! Invariant: work is counted; what is not computed is said, and exceeds its limit. Limits: small angles, a support that does not give way, no air that moves.

pub(crate) mod found;
mod seen;
pub(crate) mod settling;

use super::exceeded::axis_of_body;
use super::keys_around;
use super::notes::{Note, NoteKind};
use super::sway::Sway;
use super::violation::{At, Cause, Limit, Part, Subject, Violation};
use crate::bounds::{Effort, Excess};
use crate::motion::pendulum::greatest::Swinging;
use crate::motion::pendulum::{State, period};
use crate::number::whole;
use crate::program::Program;
use crate::program::hanging::hung::{Hung, Oscillator, Unknown, Watcher};
use crate::program::hanging::support::Support;
use crate::stage::{Body, GroupId, Swing, Utilisation};
use crate::time::{FrameTime, Seconds};
use found::{SwingReport, Swung};

/// Every swing of a pass, figure by figure in stage order.
pub(super) fn swings(program: &Program, effort: Effort) -> Vec<SwingReport> {
    of_bodies(program, effort, &|_| true)
}

fn of_bodies(program: &Program, effort: Effort, wanted: &dyn Fn(&Body) -> bool) -> Vec<SwingReport> {
    let mut found = Vec::new();
    for body in program.compiled().stage().bodies().iter().filter(|b| wanted(b)) {
        let Some(swing) = body.swing() else { continue };
        let support = support(program, body, swing, effort);
        for (i, oscillator) in Oscillator::all_of(swing).enumerate() {
            let over = |support| Run::over(program, support, oscillator, effort, &mut |_, _, _, _| ());
            let swung = support.as_ref().map_or(Err(Unknown::Budget), over);
            found.push(SwingReport {
                group: body.group(),
                mode: i.checked_sub(1),
                period: period(oscillator.length.unwrap_or(swing.length)),
                limit: swing.limit,
                found: swung,
                pixels: swung.ok().and_then(|s| seen::pixels(program, body, s.exposed)),
            });
        }
    }
    found
}

/// From where a figure hangs, over the whole program; `None` where the budget is used up: its axes' motion is long to form.
fn support<'a>(program: &'a Program, body: &Body, swing: &'a Swing, effort: Effort) -> Option<Support<'a>> {
    let is_left = program.compiled().work().left(effort) > 0;
    is_left.then(|| Support::new(program.compiled().stage(), body, swing, |id| program.timeline(id)))
}

/// The room that the figures of a pass need for their swing; it costs what trials may.
pub(super) fn sway(program: &Program) -> Sway {
    Sway::of(&of_bodies(program, Effort::TrialSwings, &|body| !body.solids().is_empty()))
}

/// True where a figure, or one of its further modes, is known to keep its limit; it costs what trials may.
pub(super) fn keeps_limit(program: &Program, group: GroupId, mode: Option<usize>) -> bool {
    let found = of_bodies(program, Effort::TrialSwings, &|body| body.group() == group);
    let own = found.iter().find(|s| s.mode == mode);
    own.is_some_and(|s| s.found.is_ok() && s.utilisation().is_none_or(|u| !u.is_exceeded()))
}

/// Swings that exceed their limit.
pub(super) fn violations(program: &Program, swings: &[SwingReport]) -> Vec<Violation> {
    let exceeded = swings.iter().filter(|s| s.utilisation().is_some_and(Utilisation::is_exceeded));
    exceeded.filter_map(|s| violation(program, s)).collect()
}

/// Swings that are not known, as notes.
pub(super) fn notes(program: &Program, swings: &[SwingReport]) -> Vec<Note> {
    let stage = program.compiled().stage();
    let unknown = swings.iter().filter_map(|s| s.found.err().map(|why| (s, why)));
    unknown
        .map(|(s, why)| Note {
            axis: stage.body_of(s.group).and_then(|body| axis_of_body(program, body)),
            frame: None,
            value: None,
            kind: NoteKind::SwingUnknown { pass: program.pass().name().to_owned(), group: s.group, why },
        })
        .collect()
}

fn violation(program: &Program, s: &SwingReport) -> Option<Violation> {
    let compiled = program.compiled();
    let axis = axis_of_body(program, compiled.stage().body_of(s.group)?)?;
    let (at, value) = match s.found {
        Ok(swung) => (At::Frame(program.clock().frame_at(Seconds(swung.exposed.at))), swung.exposed.value),
        Err(Unknown::Budget) => (At::Frame(FrameTime::of_frame(compiled.shot().frames().first())), f64::INFINITY),
        Err(Unknown::NoLength(t) | Unknown::OutOfReach(t)) => (At::Time(Seconds(t)), f64::INFINITY),
    };
    let instant = at.number();
    Some(Violation {
        subject: Subject::Body(s.group, axis),
        limit: Limit::Swing,
        part: Part::Photographed,
        at,
        span: (instant, instant),
        value,
        allowed: s.limit?,
        between: at.frame().and_then(|frame| keys_around::between(compiled, axis, frame)),
        cause: Cause::Swing(s.mode),
        fixes: Vec::new(),
    })
}

/// One oscillator on its way through a program.
struct Run<'a> {
    program: &'a Program,
    effort: Effort,
    swung: Swung,
    work: u64,
    /// Called with every stretch over which everything stands: the state at its beginning, when it begins and ends, the length, mm.
    rests: &'a mut dyn FnMut(&State, f64, f64, f64),
}

/// Work that is counted together.
const BATCH: u64 = 4096;

impl<'a> Run<'a> {
    fn over(
        program: &'a Program,
        support: &Support<'_>,
        oscillator: Oscillator,
        effort: Effort,
        rests: &'a mut dyn FnMut(&State, f64, f64, f64),
    ) -> Result<Swung, Unknown> {
        // A batch is worked before it is paid for: where nothing is left, none is begun.
        if program.compiled().work().left(effort) == 0 {
            return Err(Unknown::Budget);
        }
        let mut run = Run { program, effort, swung: Swung::default(), work: 0, rests };
        let done = Hung::at_rest(oscillator, support).carry(support, program.duration().0, &mut run);
        run.pay().and(done).map(|()| run.swung)
    }

    fn pay(&mut self) -> Result<(), Unknown> {
        let spent = core::mem::take(&mut self.work);
        self.program.compiled().work().spend(self.effort, spent).map_err(|Excess { .. }| Unknown::Budget)
    }
}

impl Watcher for Run<'_> {
    /// Counts work; the budget is asked from time to time.
    fn spend(&mut self, n: u64) -> Result<(), Unknown> {
        self.work += n;
        if self.work < BATCH { Ok(()) } else { self.pay() }
    }

    fn stands(&mut self, state: &State, begin: f64, end: f64, length: f64) {
        (self.rests)(state, begin, end, length);
    }

    /// Takes in how far a path swings from `begin` on, for `lasts` seconds.
    fn look(&mut self, path: &dyn Swinging, begin: f64, lasts: f64) -> Result<(), Unknown> {
        let end = self.program.end().0;
        if begin >= end {
            let looked = self.swung.return_home.take_in(path, begin, 0.0, lasts);
            return self.spend(looked);
        }
        let looked = self.swung.peak.take_in(path, begin, 0.0, lasts);
        self.spend(looked)?;
        if path.most(0.0, lasts) <= self.swung.exposed.value {
            return Ok(());
        }
        // The windows of the shutter that lie in the stretch, at least in part.
        let program = self.program;
        let clock = program.clock();
        let start = begin.max(clock.begin().0);
        let close = begin + lasts;
        if !(start < close) {
            return Ok(());
        }
        let half = 0.5 * clock.open();
        let exposed = clock.exposed();
        let (first, last) = (exposed.first(), exposed.last());
        let frame = |t: f64| clock.frame_at(Seconds(t)).0;
        let from = whole::ceiling(frame(start) - half).unwrap_or(first).max(first);
        let to = whole::floor(frame(close) + half).unwrap_or(last).min(last);
        for n in (from..=to).filter(|n| exposed.contains(*n)) {
            let [opens, closes] = [-half, half].map(|d| clock.seconds_at(FrameTime(FrameTime::of_frame(n).0 + d)).0);
            let (a, b) = ((opens - begin).max(0.0), (closes - begin).min(lasts));
            if a <= b {
                if path.most(a, lasts) <= self.swung.exposed.value {
                    return Ok(());
                }
                let looked = self.swung.exposed.take_in(path, begin, a, b);
                self.spend(looked)?;
            }
        }
        Ok(())
    }
}
