//! When the shutter opens on each frame of a held pass whose frames take only as long as each needs.
//!
//! What: forwards over the frames: the move, then the rest, then the exposure, and at once the next move. The rest is the least one of `settle` and more after which every figure with a limit of swing, and
//! each of its further modes, keeps that limit until the shutter has closed; what is left of the swing goes on into the next frame. Openings are rounded up to whole microseconds.
//! Invariant: work is counted. The limit is taken a millionth smaller, so that rounding exceeds nothing. Limits: what the swing is computed from, see `hanging`.

use super::clock::{MICRO, Openings, seconds};
use super::hanging::hung::{Hung, Oscillator, Unknown, Watcher};
use super::hanging::support::Support;
use super::held::{HeldMove, Stations, station};
use super::line::{Line, Timed};
use super::way::{Leg, NoPlan, Way};
use crate::bounds::{Effort, Excess};
use crate::compile::Compiled;
use crate::motion::Quintic;
use crate::motion::pendulum::State;
use crate::motion::pendulum::greatest::Swinging;
use crate::motion::pendulum::settling::{Decaying, HOUR, settled};
use crate::number::whole;
use crate::shot::Pass;
use crate::stage::{AxisId, GroupId};

/// Plans the openings of a held pass.
///
/// # Errors
/// A figure that does not settle within an hour, or whose swing is not known.
pub(super) fn openings(compiled: &Compiled, pass: &Pass, way: &Way, stations: &Stations) -> Result<Openings, NoPlan> {
    let mut plan = Plan::new(compiled, pass);
    let wedge = pass.wedge().map_or_else(Vec::new, |wedge| wedge.exposures(pass.pace(), pass.shutter()));
    let exposure = wedge.last().map_or(pass.pace().get() * pass.shutter().fraction(), |[_, closes]| seconds(*closes));
    // Since the end of the move to start, on which everything ends on a whole second.
    let begin = way.length(Leg::MoveToStart).0;
    let mut arrival = (way.to_approach() + way.to_start()).0 - begin;
    let exposed = stations.exposed();
    plan.carry(exposed.first(), arrival + begin, &|id| {
        let mut line = Line::default();
        line.curve(0.0, way.curves(Leg::MoveToStart)[id].as_ref(), compiled.stage().axis(id).home());
        let last = line.last().unwrap_or(compiled.stage().axis(id).home());
        line.hold(begin, last);
        line.pieces
    })?;
    let mut opens: Vec<u64> = Vec::with_capacity(stations.moves().len() + 1);
    let closing = |micros: u64| seconds(micros) + exposure;
    for (frame, number) in exposed.frames().enumerate() {
        let stands = |id: AxisId| vec![Timed { start: 0.0, end: 1.0, quintic: Quintic::hold(station(compiled, pass, id, number)) }];
        let rest = plan.rest(number, pass.settle().max(-arrival), exposure, &stands)?;
        let micros = micros(arrival + rest);
        opens.push(micros);
        let Some(m) = stations.moves().get(frame) else { break };
        let stood = closing(micros) - arrival;
        plan.carry(number, stood + m.seconds.0, &|id| moved(compiled, pass, stations, m, id, stood))?;
        arrival = closing(micros) + m.seconds.0;
    }
    let (first, last) = (opens.first().copied().unwrap_or(0), opens.last().copied().unwrap_or(0));
    let wedge: Vec<[u64; 2]> = wedge.into_iter().map(|exposure| exposure.map(|t| t + first)).collect();
    let end = wedge.last().map_or(micros(closing(last)), |[_, closes]| *closes);
    Ok(Openings { opens, end, wedge })
}

/// The whole microsecond that is not before.
fn micros(seconds: f64) -> u64 {
    whole::ceiling(seconds * MICRO).and_then(|n| u64::try_from(n).ok()).unwrap_or(0)
}

/// Standing for `stood` seconds, then a move.
fn moved(compiled: &Compiled, pass: &Pass, stations: &Stations, m: &HeldMove, id: AxisId, stood: f64) -> Vec<Timed> {
    let mut line = Line::default();
    let from = station(compiled, pass, id, m.from);
    line.hold(stood, from);
    let curve = stations.curve(compiled, pass, m, id);
    line.curve(stood, curve.as_ref(), from);
    let last = line.last().unwrap_or(from);
    line.hold(stood + m.seconds.0, last);
    line.pieces
}

/// Share of the limit that is left for rounding.
const SPARE: f64 = 1e-6;

/// Work of one search for a rest.
const SEARCH: u64 = 256;

/// How often the figures may ask for more rest after each other before one frame.
const MOST_ROUNDS: usize = 64;

/// A figure with a limit, as it swings now.
struct Figure<'a> {
    group: GroupId,
    limit: f64,
    support: Support<'a>,
    hung: Vec<Hung>,
}

struct Plan<'a> {
    compiled: &'a Compiled,
    pass: &'a Pass,
    figures: Vec<Figure<'a>>,
}

impl<'a> Plan<'a> {
    fn new(compiled: &'a Compiled, pass: &'a Pass) -> Plan<'a> {
        let of = |body: &'a crate::stage::Body| {
            let swing = body.swing()?;
            let support = Support::new(compiled.stage(), body, swing, |_| Vec::new());
            let hung = Oscillator::all_of(swing).map(|o| Hung::at_rest(o, &support)).collect();
            Some(Figure { group: body.group(), limit: swing.limit?, support, hung })
        };
        Plan { compiled, pass, figures: compiled.stage().bodies().iter().filter_map(of).collect() }
    }

    fn unknown(&self, group: GroupId, frame: i64, why: Unknown) -> NoPlan {
        let why = match why {
            Unknown::Budget => "the budget of work is used up",
            Unknown::NoLength(_) => "its pendulum has no length there",
            Unknown::OutOfReach(_) => "a mechanism cannot take its place there",
        };
        NoPlan::Swing { pass: self.pass.name().to_owned(), group: self.compiled.stage().group_name(group).to_owned(), frame, why }
    }

    /// Carries every figure over so many seconds.
    fn carry(&mut self, frame: i64, seconds: f64, line: &dyn Fn(AxisId) -> Vec<Timed>) -> Result<(), NoPlan> {
        let mut counted = Counted(self.compiled);
        let mut failed = None;
        for figure in &mut self.figures {
            figure.support.along(line);
            let done = figure.hung.iter_mut().try_for_each(|hung| hung.carry(&figure.support, seconds, &mut counted));
            failed = failed.or(done.err().map(|why| (figure.group, why)));
        }
        failed.map_or(Ok(()), |(group, why)| Err(self.unknown(group, frame, why)))
    }

    /// The rest that all of them need, `least` or more.
    fn rest(&mut self, frame: i64, least: f64, exposure: f64, stands: &dyn Fn(AxisId) -> Vec<Timed>) -> Result<f64, NoPlan> {
        let mut lengths: Vec<Vec<f64>> = Vec::new();
        for figure in &mut self.figures {
            figure.support.along(stands);
            let mut found = Vec::new();
            figure.support.stretches(1.0, &mut |stretch| {
                found = figure.hung.iter().map(|h| h.oscillator.length_over(stretch).unwrap_or(f64::NAN)).collect();
                false
            });
            lengths.push(found);
        }
        let (mut rest, mut asked) = (least, None);
        for _ in 0..MOST_ROUNDS {
            let before = rest;
            for (figure, lengths) in self.figures.iter().zip(&lengths) {
                for (hung, length) in figure.hung.iter().zip(lengths).filter(|(hung, _)| hung.state != State::default()) {
                    let of = Decaying {
                        state: &hung.state,
                        length: *length,
                        damping: hung.oscillator.damping,
                        limit: figure.limit * (1.0 - SPARE),
                    };
                    let work = if of.is_within(rest) { 8 } else { SEARCH };
                    self.compiled
                        .work()
                        .spend(Effort::Swings, work)
                        .map_err(|Excess { .. }| self.unknown(figure.group, frame, Unknown::Budget))?;
                    // An opening is rounded up by a microsecond at most.
                    let found = settled(&of, exposure + 2.0 / MICRO, rest, HOUR);
                    rest = found.ok_or_else(|| self.never(figure, frame))?;
                    asked = asked.or((rest > before).then_some(figure));
                }
            }
            if rest == before {
                return Ok(rest);
            }
        }
        // Figures that never hang still together.
        asked.map_or(Ok(rest), |figure| Err(self.never(figure, frame)))
    }

    fn never(&self, figure: &Figure<'_>, frame: i64) -> NoPlan {
        let group = self.compiled.stage().group_name(figure.group).to_owned();
        NoPlan::Settling { pass: self.pass.name().to_owned(), group, limit: figure.limit, frame }
    }
}

/// Counts the work of a plan.
struct Counted<'a>(&'a Compiled);

impl Watcher for Counted<'_> {
    fn spend(&mut self, work: u64) -> Result<(), Unknown> {
        self.0.work().spend(Effort::Swings, work).map_err(|Excess { .. }| Unknown::Budget)
    }

    fn look(&mut self, _path: &dyn Swinging, _begin: f64, _lasts: f64) -> Result<(), Unknown> {
        Ok(())
    }

    fn stands(&mut self, _state: &State, _begin: f64, _end: f64, _length: f64) {}
}
