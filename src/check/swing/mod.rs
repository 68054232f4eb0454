//! How far each hanging figure swings in a pass, from rest at its start, and whether it hangs still enough during exposures.
//!
//! What: the exact curves of the program move the hanging point; the pendulum follows in closed form where slides alone move it sideways and the length is constant, elsewhere by steps of half a
//! radian at most, each as fine as what drives it asks for (see `motion::pendulum`). Further measured modes are driven alike, each for itself. Both figures are good to 1e-3 of the
//! peak: a search ends within 1e-5, a step errs by less than 1e-8 of the swing. Parked figures count: they hang still.
//! Invariant: work is counted; what is not computed is said, and exceeds its limit. Limits: small angles, a support that does not give way, no air that moves.

pub(crate) mod found;
mod seen;
pub(crate) mod settling;
mod support;

use super::keys_around;
use super::notes::{Note, NoteKind};
use super::violation::{At, Cause, Limit, Part, Subject, Violation};
use crate::bounds::{Effort, Excess, SWING_LENGTH};
use crate::mechanism::OutOfReach;
use crate::motion::pendulum::collocation::{Driven, POINTS, Stepped, is_resolved, step};
use crate::motion::pendulum::free::Free;
use crate::motion::pendulum::greatest::Swinging;
use crate::motion::pendulum::{GRAVITY, State, length, period};
use crate::number::whole;
use crate::program::Program;
use crate::stage::{AxisId, Body, GroupId, Utilisation};
use crate::time::{FrameTime, Seconds};
use found::{SwingReport, Swung, Unknown};
use support::{Stretch, Support};

/// Every swing of a pass, figure by figure in stage order.
pub(super) fn swings(program: &Program, effort: Effort) -> Vec<SwingReport> {
    of_bodies(program, effort, &|_| true)
}

fn of_bodies(program: &Program, effort: Effort, wanted: &dyn Fn(&Body) -> bool) -> Vec<SwingReport> {
    let mut found = Vec::new();
    for body in program.compiled().stage().bodies().iter().filter(|b| wanted(b)) {
        let Some(swing) = body.swing() else { continue };
        let support = Support::new(program, body, swing);
        let pendulum = Oscillator { length: None, scale: 1.0, damping: swing.damping };
        let modes = swing.modes.iter().map(|[period, damping]| Oscillator { length: Some(length(*period)), scale: 1.0, damping: *damping });
        for (i, oscillator) in core::iter::once(pendulum).chain(modes).enumerate() {
            let swung = Run::over(program, &support, oscillator, effort, &mut |_, _, _, _| ());
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
            axis: stage.body_of(s.group).and_then(|body| carriage(program, body)),
            frame: None,
            value: None,
            kind: NoteKind::SwingUnknown { pass: program.pass().name().to_owned(), group: s.group, why },
        })
        .collect()
}

/// True where a pass has a swing with a limit.
pub(super) fn has_limits(program: &Program) -> bool {
    program.compiled().stage().bodies().iter().filter_map(Body::swing).any(|swing| swing.limit.is_some())
}

fn violation(program: &Program, s: &SwingReport) -> Option<Violation> {
    let compiled = program.compiled();
    let axis = carriage(program, compiled.stage().body_of(s.group)?)?;
    let (at, value) = match s.found {
        Ok(swung) => (At::Frame(program.clock().frame_at(Seconds(swung.exposed.at))), swung.exposed.value),
        Err(Unknown::Budget) => (At::Frame(FrameTime::of_frame(compiled.shot().frames().first())), f64::INFINITY),
        Err(Unknown::NoLength(t) | Unknown::OutOfReach(t)) => (At::Time(Seconds(t)), f64::INFINITY),
    };
    let instant = match at {
        At::Frame(frame) => frame.0,
        At::Time(seconds) => seconds.0,
    };
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

/// The axis to look at first: of those that carry the hanging point, the first that moves in this pass; of a stage where nothing moves, any.
fn carriage(program: &Program, body: &Body) -> Option<AxisId> {
    let stage = program.compiled().stage();
    let all: Vec<AxisId> = body.channels().iter().flat_map(|c| stage.axes_of(*c)).collect();
    let moves = |a: &&AxisId| !program.parks(**a) && !program.compiled().motion(**a).never_moves();
    all.iter().find(moves).or(all.first()).copied().or(stage.axis_ids().next())
}

/// A pendulum or a further mode.
#[derive(Debug, Clone, Copy)]
struct Oscillator {
    /// Constant length, mm; `None` for the length of the pendulum.
    length: Option<f64>,
    /// Factor on either length: a period that is off has its square.
    scale: f64,
    damping: f64,
}

/// One oscillator on its way through a program.
struct Run<'a> {
    program: &'a Program,
    oscillator: Oscillator,
    /// What looking at what drives it once costs.
    cost: u64,
    effort: Effort,
    state: State,
    swung: Swung,
    work: u64,
    /// Told of every stretch over which everything stands: the state at its beginning, when it begins and ends, the length, mm.
    rests: &'a mut dyn FnMut(&State, f64, f64, f64),
}

/// Radians of a step at most.
const STEP: f64 = 0.5;

/// Halvings of a step at most.
const DEEPEST: u32 = 24;

/// Work that is counted together.
const BATCH: u64 = 4096;

/// Work of one look at joints or mechanisms, beside that of one at polynomials.
const JETS: u64 = 16;

impl<'a> Run<'a> {
    fn over(
        program: &'a Program,
        support: &Support<'_>,
        oscillator: Oscillator,
        effort: Effort,
        rests: &'a mut dyn FnMut(&State, f64, f64, f64),
    ) -> Result<Swung, Unknown> {
        let cost = if support.is_plain() { 1 } else { JETS };
        let mut run = Run { program, oscillator, cost, effort, state: State::default(), swung: Swung::default(), work: 0, rests };
        let mut failed = None;
        support.stretches(program.duration().0, &mut |stretch| {
            failed = run.stretch(stretch).err();
            failed.is_none()
        });
        run.spend(BATCH).err().or(failed).map_or(Ok(run.swung), Err)
    }

    /// Counts work; the budget is asked from time to time.
    fn spend(&mut self, n: u64) -> Result<(), Unknown> {
        self.work += n;
        if self.work < BATCH {
            return Ok(());
        }
        let spent = core::mem::take(&mut self.work);
        self.program.compiled().work().spend(self.effort, spent).map_err(|Excess { .. }| Unknown::Budget)
    }

    /// True for a length that a pendulum may have; that of a mode comes from its period, which has bounds of its own.
    fn is_long_enough(&self, length: f64) -> bool {
        self.oscillator.length.is_some() || length >= self.oscillator.scale * SWING_LENGTH.least
    }

    fn stretch(&mut self, stretch: &Stretch<'_>) -> Result<(), Unknown> {
        let lasts = stretch.end - stretch.start;
        self.spend(8)?;
        if let (true, Some(length)) = (stretch.stands(), self.length(stretch)) {
            (self.rests)(&self.state, stretch.start, stretch.end, length);
        }
        if self.state == State::default() && stretch.stands() {
            return Ok(());
        }
        if let (Some(length), Some(acceleration)) = (self.length(stretch), stretch.acceleration()) {
            if !self.is_long_enough(length) {
                return Err(Unknown::NoLength(stretch.start));
            }
            if (GRAVITY / length).sqrt() * lasts > STEP {
                let free = Free::new(&self.state, length, self.oscillator.damping, lasts, acceleration);
                self.look(&free, stretch.start, lasts)?;
                self.state = free.state(lasts);
                return Ok(());
            }
        }
        self.steps(stretch)
    }

    /// The length over a stretch, where it is constant.
    fn length(&self, stretch: &Stretch<'_>) -> Option<f64> {
        self.oscillator.length.or(stretch.constant_length()).map(|l| self.oscillator.scale * l)
    }

    /// Integrates over a stretch.
    fn steps(&mut self, stretch: &Stretch<'_>) -> Result<(), Unknown> {
        let lasts = stretch.end - stretch.start;
        let driven = |run: &mut Run<'_>, t: f64| -> Result<Driven, Unknown> {
            run.spend(run.cost)?;
            let at = stretch.start + t;
            let mut driven = stretch.at((t / lasts).min(1.0)).map_err(|_: OutOfReach| Unknown::OutOfReach(at))?;
            if let Some(length) = run.oscillator.length {
                driven.length = [length, 0.0, 0.0];
            }
            driven.length = driven.length.map(|l| run.oscillator.scale * l);
            let [length, ..] = driven.length;
            if run.is_long_enough(length) { Ok(driven) } else { Err(Unknown::NoLength(at)) }
        };
        let mut t = 0.0;
        let mut first = driven(self, 0.0)?;
        let mut halved = 0;
        while t < lasts {
            let most = STEP / (GRAVITY / first.length[0]).sqrt() * two_to_minus(halved);
            let left = lasts - t;
            let parts = (left / most).ceil().max(1.0);
            let (h, is_last) = if parts > 1.0 { (left / parts, false) } else { (left, true) };
            let mut points = [Driven::default(); 4];
            for (point, share) in points.iter_mut().zip(POINTS) {
                *point = driven(self, t + share * h)?;
            }
            let last = driven(self, if is_last { lasts } else { t + h })?;
            if halved < DEEPEST && !is_resolved(&points, &last) {
                halved += 1;
                continue;
            }
            let next = step(&self.state, self.oscillator.damping, h, &points).ok_or(Unknown::NoLength(stretch.start + t))?;
            let path = Stepped::new((&self.state, &first), (&next, &last), self.oscillator.damping, h);
            self.look(&path, stretch.start + t, h)?;
            if !next.angle.iter().chain(&next.rate).all(|x| x.is_finite()) {
                return Err(Unknown::NoLength(stretch.start + t));
            }
            (self.state, first) = (next, last);
            halved = halved.saturating_sub(1);
            if is_last {
                break;
            }
            t += h;
        }
        Ok(())
    }

    /// Takes in how far a path swings from `begin` on, for `lasts` seconds.
    fn look(&mut self, path: &impl Swinging, begin: f64, lasts: f64) -> Result<(), Unknown> {
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
        let clock = *self.program.clock();
        let start = begin.max(clock.begin().0);
        let close = begin + lasts;
        if !(start < close) {
            return Ok(());
        }
        let half = 0.5 * clock.open();
        let (first, last) = clock.photographed();
        let frame = |t: f64| clock.frame_at(Seconds(t)).0;
        let from = whole::ceiling(frame(start) - half).unwrap_or(first).max(first);
        let to = whole::floor(frame(close) + half).unwrap_or(last).min(last);
        for n in from..=to {
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

fn two_to_minus(n: u32) -> f64 {
    crate::number::elementary::two_to_the(-i32::try_from(n).unwrap_or(0))
}
