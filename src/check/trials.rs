//! Trials of a moving pass at other paces: the search for the smallest that holds.
//!
//! What: see `runnable`. The curves are kept; only lengths of run-up and run-down follow from the pace, chosen as the compiler chooses them. What no pace changes at
//! given lengths - reach, clearance, the move to start and the return home - is judged once for each.
//! Invariant: the answer was itself tried and holds, and 0.999 of it fails. Limits: how far figures swing and whether axes have room to stop is looked at at the answer; at the other paces only where it fails there.

use core::cell::{Cell, OnceCell, RefCell};
use std::collections::BTreeMap;
use std::rc::Rc;

use super::clearance::{self, ClearanceReport, Nearest};
use super::limits;
use super::sway::Sway;
use super::violation::{Limit, Part, Subject, Violation};
use super::{reach, sections, slack, stopping, swing};
use crate::bounds::{Effort, Excess, PACE};
use crate::compile::{Edge, Known, Runners, Runs, ends, fastest_pace};
use crate::motion::curve::Piece;
use crate::motion::quintic::Node;
use crate::motion::{Peaks, Quintic};
use crate::number::directed::{Places, up};
use crate::program::Program;
use crate::shot::Pass;
use crate::stage::{Axis, AxisId, PacedPeaks, PerAxis, Torque};
use crate::time::Pace;

/// What keeps a pass from running at a pace.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Hindrance {
    /// An exceeded limit.
    Limit {
        /// Of an axis, or of two things too near each other.
        subject: Subject,
        /// Which.
        limit: Limit,
        /// Where in the pass.
        part: Part,
    },
    /// Things come too near in the run-up or run-down.
    Clearance(Part),
    /// The shutter never closes, so there is no time for the moves between exposures.
    NeverCloses,
    /// Each frame takes the time that it needs, whatever the pace.
    OwnTimes,
    /// The program cannot be planned.
    NoProgram,
    /// The trials have used up their budget of work: nothing is known.
    Budget,
}

/// A limit of an axis in the photographed span.
pub(super) fn photographed(axis: AxisId, limit: Limit) -> Hindrance {
    Hindrance::Limit { subject: Subject::Axis(axis), limit, part: Part::Photographed }
}

/// An axis that the pass moves.
struct Live<'a> {
    id: AxisId,
    axis: &'a Axis,
    torque: Option<Torque>,
    nodes: [Node; 2],
    /// True where lengths of run-up and run-down are chosen for it.
    runs: [bool; 2],
}

/// Whether wires are to be looked at at some lengths, or what no pace mends there.
type AtLengths = Result<bool, Hindrance>;

/// Trials of a moving pass at other paces.
pub(super) struct Trials<'a> {
    program: &'a Program,
    /// Gaps from run-up to run-down as the pass is, as if nothing swung: no pace changes those of the photographed span.
    still: Option<&'a ClearanceReport>,
    /// The smallest pace for the photographed span and the camera, and what limits it.
    floor: f64,
    limited_by: Option<Hindrance>,
    live: Vec<Live<'a>>,
    /// By lengths of run-up and run-down: what no pace mends there.
    known: RefCell<BTreeMap<[u32; 2], AtLengths>>,
    /// The program planned last, with its lengths: only one is kept, since each holds every curve.
    planned: RefCell<Option<([u32; 2], Rc<Program>)>>,
    runners: Runners<'a>,
    /// The fastest pace at which each axis is moved by the other passes.
    others: PerAxis<f64>,
    /// The axes that the pass moves.
    moves: PerAxis<bool>,
    /// Lengths of run-up and run-down by the bits of a pace, which rise with it.
    runs: RefCell<BTreeMap<u64, Rc<Runs>>>,
    /// Paces of the photographed span at which all wires are taut, and at which one is slack.
    taut_from: Cell<f64>,
    slack_to: Cell<Option<(f64, AxisId)>>,
    /// True where gravity alone keeps every wire taut throughout the photographed span.
    stands_taut: OnceCell<Option<bool>>,
    /// True where swing and room to stop are looked at wherever a pace is tried: they cost as much as all else.
    loads_count: Cell<bool>,
}

/// From one pace tried to the next.
const FINE: f64 = 1.03;

/// The same while none holds.
const COARSE: f64 = 1.25;

/// How closely the border is known.
const CLOSE: f64 = 5e-5;

/// How often the search starts again beyond a pace that fails.
const MOST_STARTS: usize = 64;

impl<'a> Trials<'a> {
    pub(super) fn new(program: &'a Program, still: Option<&'a ClearanceReport>, floor: f64, limited_by: Option<Hindrance>) -> Trials<'a> {
        let compiled = program.compiled();
        let (stage, runners) = (compiled.stage(), compiled.runners());
        let live = stage.each_axis().filter(|(id, _)| !program.parks(*id)).map(|(id, axis)| {
            let m = compiled.motion(id);
            let nodes = [m.node(Edge::RunUp), m.node(Edge::RunDown)];
            Live { id, axis, torque: Torque::of(axis), nodes, runs: nodes.map(|n| !ends::stands(n, axis.drive().steps_per_unit())) }
        });
        let others = || compiled.shot().passes().iter().enumerate().filter(|(i, _)| *i != program.index()).map(|(_, p)| p);
        let live = live.collect();
        Trials {
            program,
            still,
            floor,
            limited_by,
            live,
            known: RefCell::default(),
            planned: RefCell::default(),
            runners,
            others: PerAxis::new(stage, |id| fastest_pace(stage, others(), id)),
            moves: PerAxis::new(stage, |id| !program.parks(id)),
            runs: RefCell::default(),
            taut_from: Cell::new(f64::INFINITY),
            slack_to: Cell::new(None),
            stands_taut: OnceCell::new(),
            loads_count: Cell::new(false),
        }
    }

    /// The smallest pace that holds as the module's text says, and what limits it.
    pub(super) fn search(&self) -> Result<(f64, Option<Hindrance>), Hindrance> {
        let least = self.floor.max(PACE.least);
        let (mut pace, mut failing): (f64, Option<(f64, Hindrance)>) = (least, None);
        for _ in 0..MOST_STARTS {
            while let Some(hindrance) = self.hindrance(pace) {
                failing = Some((pace, hindrance));
                pace *= COARSE;
                if pace > PACE.most {
                    return Err(hindrance);
                }
            }
            let Some((below, _)) = failing else {
                match self.first_failing(pace) {
                    Some(found) => (pace, failing) = (found.0 * FINE, Some(found)),
                    // Nothing faster is within the photographed span's limits, or allowed at all.
                    None => {
                        let given = self.rounded(pace);
                        let Some(found) = self.loads_at(given) else {
                            return Ok((given, self.limited_by));
                        };
                        (pace, failing) = (given * FINE, Some((given, found)));
                    }
                }
                continue;
            };
            let (below, holding, hindrance) = self.border(below, pace);
            let given = self.rounded(holding);
            let given = if self.hindrance(0.999 * given).is_some() { given } else { below / 0.999 };
            match self.hindrance(given).map(|h| (given, h)).or_else(|| self.first_failing(given)) {
                Some(found) => (pace, failing) = (found.0 * FINE, Some(found)),
                None => match self.loads_at(given) {
                    Some(found) => (pace, failing) = (given * FINE, Some((given, found))),
                    None => return Ok((given, hindrance)),
                },
            }
        }
        Err(failing.map_or(Hindrance::NoProgram, |(_, hindrance)| hindrance))
    }

    /// A figure that swings too far, or an axis without room to stop, at a pace that holds otherwise: from then on both count at every pace tried.
    fn loads_at(&self, pace: f64) -> Option<Hindrance> {
        if self.loads_count.get() {
            return None;
        }
        let found = self.loads(pace);
        self.loads_count.set(found.is_some());
        found
    }

    /// What limits a pace that is to be printed: swing and room to stop are looked at in any case.
    pub(super) fn fails(&self, pace: f64) -> Option<Hindrance> {
        self.hindrance(pace).or_else(|| self.loads_at(pace))
    }

    /// The border between a pace that fails and one that holds: both ends, and what fails below it.
    fn border(&self, mut below: f64, mut above: f64) -> (f64, f64, Option<Hindrance>) {
        let mut hindrance = self.hindrance(below);
        while above - below > CLOSE * above {
            let middle = 0.5 * (below + above);
            match self.hindrance(middle) {
                Some(found) => (below, hindrance) = (middle, Some(found)),
                None => above = middle,
            }
        }
        (below, above, hindrance)
    }

    /// Six digits, where that holds.
    fn rounded(&self, pace: f64) -> f64 {
        let rounded = up(pace, Places::Mantissa(5)).parse().unwrap_or(pace);
        if self.hindrance(rounded).is_none() { rounded } else { pace }
    }

    /// The first pace tried from here, which holds, to the larger of four times it and the pass's own that fails.
    fn first_failing(&self, from: f64) -> Option<(f64, Hindrance)> {
        if self.only_rates() {
            return None;
        }
        let grid = self.grid(from);
        // Lengths are found from the slowest pace on, each with what the slower one shows.
        for pace in grid.iter().rev() {
            let _lengths = self.runs(*pace);
        }
        let pairs = core::iter::once(from).chain(grid.iter().copied()).zip(&grid);
        pairs.map(|(last, next)| (last, *next)).find_map(|(last, next)| {
            let between = self.between(last, next, 4);
            between.or_else(|| self.hindrance(next).map(|h| (next, h)))
        })
    }

    /// True where only velocity, acceleration, jerk, step rate and travel can stand in the way, of axes that rest at the edges or for which lengths are chosen:
    /// then a pace that holds makes every slower one hold, for what will do at the one will do at the other.
    fn only_rates(&self) -> bool {
        let stage = self.program.compiled().stage();
        let rests = |live: &Live<'_>, node: &Node| {
            let at_rest = Peaks::of_piece(&Piece { index: 0, start: 0.0, end: 1.0, quintic: &Quintic::hold(node.p) });
            node.v == 0.0 && node.a == 0.0 && PacedPeaks::new(&at_rest, 1.0).are_within(live.axis)
        };
        let simple =
            |live: &Live<'_>| live.torque.is_none() && live.nodes.iter().zip(live.runs).all(|(node, runs)| runs || rests(live, node));
        stage.bodies().is_empty() && stage.machines().is_empty() && self.live.iter().all(simple)
    }

    /// The paces tried after `from`.
    fn grid(&self, from: f64) -> Vec<f64> {
        let own = self.program.clock().pace().get();
        let to = (4.0 * from).max(own).min(PACE.most);
        let mut grid = Vec::new();
        let mut last = from;
        while last < to {
            let mut next = (last * FINE).min(to);
            // The pass's own pace is one of those tried.
            if last < own && own < next {
                next = own;
            }
            grid.push(next);
            last = next;
        }
        grid
    }

    /// Between two paces at which the runs have other lengths: what fails on the slower side of the change.
    fn between(&self, from: f64, to: f64, halvings: u32) -> Option<(f64, Hindrance)> {
        if halvings == 0 || self.runs(from).map(|r| r.frames) == self.runs(to).map(|r| r.frames) {
            return None;
        }
        let middle = 0.5 * (from + to);
        let found = self.between(from, middle, halvings - 1).or_else(|| self.hindrance(middle).map(|h| (middle, h)));
        found.or_else(|| self.between(middle, to, halvings - 1))
    }

    /// The shot's passes with this one at another pace.
    fn passes(&self, pace: f64) -> Option<Vec<Pass>> {
        let pace = Pace::new(pace).ok()?;
        let all = self.program.compiled().shot().passes().iter().enumerate();
        Some(all.map(|(i, p)| if i == self.program.index() { p.at_pace(pace) } else { p.clone() }).collect())
    }

    /// The lengths at a pace. What will do at one pace will do at every slower one, so lengths never rise with it: neighbours bound what is looked for.
    fn runs(&self, pace: f64) -> Option<Rc<Runs>> {
        Pace::new(pace).ok()?;
        let mut runs = self.runs.borrow_mut();
        let bits = pace.to_bits();
        if let Some(found) = runs.get(&bits) {
            return Some(Rc::clone(found));
        }
        let roomy = |(_, runs): (&u64, &Rc<Runs>)| runs.no_room.is_empty().then(|| Rc::clone(runs));
        let (faster, slower) = (runs.range(..bits).next_back().and_then(roomy), runs.range(bits..).next().and_then(roomy));
        let found = match (faster, slower) {
            (Some(faster), Some(slower)) if faster.frames == slower.frames => slower,
            (faster, slower) => {
                let [least_up, least_down] = slower.map_or([1, 1], |s| s.frames);
                let [up, down] = faster.map_or([None, None], |f| f.frames.map(Some));
                let known = [Known { least: least_up, will_do: up }, Known { least: least_down, will_do: down }];
                let moved = |id: AxisId| if self.moves[id] { self.others[id].min(pace) } else { self.others[id] };
                Rc::new(self.runners.runs(&moved, known))
            }
        };
        runs.insert(bits, Rc::clone(&found));
        Some(found)
    }

    /// What keeps the pass from running at a pace; `None` where it holds. Travel and clearance of the photographed span, which no pace changes, are left out.
    pub(super) fn hindrance(&self, pace: f64) -> Option<Hindrance> {
        let Some(runs) = self.runs(pace) else { return Some(Hindrance::NoProgram) };
        if pace < self.floor {
            return self.limited_by.or(Some(Hindrance::NoProgram));
        }
        let frames = runs.frames;
        let [up, down] = frames;
        for (i, edge, n) in [(0, Edge::RunUp, up), (1, Edge::RunDown, down)] {
            // An axis for which the lengths were chosen, at this very pace, keeps its limits there: that is how they were chosen.
            let chosen = |live: &Live<'_>| runs.no_room.is_empty() && live.runs.get(i) == Some(&true) && pace <= self.others[live.id];
            let found = self.live.iter().filter(|live| n > 0 && !chosen(live)).find_map(|live| live.hindrance(edge, n, pace));
            if found.is_some() {
                return found;
            }
        }
        let known = self.known.borrow().get(&frames).copied();
        let found = match known.unwrap_or_else(|| self.at_lengths(frames, pace)) {
            Ok(true) => match self.planned(frames, pace) {
                Some(program) => self.slack(&program, pace),
                None => Some(Hindrance::NoProgram),
            },
            Ok(false) => None,
            Err(hindrance) => Some(hindrance),
        };
        if self.loads_count.get() { found.or_else(|| self.loads(pace)) } else { found }
    }

    /// A figure that swings too far, or an axis without room to stop, at a pace.
    fn loads(&self, pace: f64) -> Option<Hindrance> {
        let frames = self.runs(pace)?.frames;
        let (Ok(at), Some(program)) = (Pace::new(pace), self.planned(frames, pace)) else { return Some(Hindrance::NoProgram) };
        let program = program.at_pace(at);
        // Every piece is put on the clock of this pace.
        let compiled = program.compiled();
        let pieces: usize = compiled.stage().axis_ids().map(|id| compiled.motion(id).curve().len()).sum();
        if compiled.work().spend(Effort::TrialSwings, u64::try_from(pieces).unwrap_or(u64::MAX)).is_err() {
            return Some(Hindrance::Budget);
        }
        let swings = swing::swings(&program, Effort::TrialSwings);
        let too_far = swing::violations(&program, &swings);
        if too_far.is_empty()
            && let Some(part) = self.too_near(&program, &Sway::of(&swings))
        {
            return Some(Hindrance::Clearance(part));
        }
        let violations = match Some(too_far).filter(|found| !found.is_empty()) {
            Some(found) => found,
            None => stopping::violations(&program, &stopping::stops(&program, Effort::TrialStops), &[]),
        };
        let used_up = |effort| program.compiled().work().left(effort) == 0;
        if used_up(Effort::TrialSwings) || used_up(Effort::TrialStops) {
            return Some(Hindrance::Budget);
        }
        let violation = violations.into_iter().next()?;
        Some(Hindrance::Limit { subject: violation.subject, limit: violation.limit, part: violation.part })
    }

    /// The part of a pass in which something comes too near because it swings, and would not otherwise.
    fn too_near(&self, program: &Program, sway: &Sway) -> Option<Part> {
        if sway.is_none() {
            return None;
        }
        let kept = |n: &Nearest| !n.is_kept() || sway.off(n, None).is_kept();
        let lengths = |p: &Program| [p.compiled().run_up(), p.compiled().run_down()];
        // What is known of the pass as it is shows enough of the photographed span, and of runs of the same lengths.
        let parts: &[Part] = match self.still.is_none_or(|found| found.pairs.iter().all(kept)) {
            true if lengths(program) == lengths(self.program) => &[],
            true => &[Part::RunUp, Part::RunDown],
            false => &[Part::RunUp, Part::Photographed, Part::RunDown],
        };
        parts.iter().copied().find(|part| {
            let mut all = true;
            sections::see_part(program, *part, 1.0, &mut |section| {
                all = clearance::is_kept(&section.course, sway.most(), &kept, program.compiled().work());
            });
            !all
        })
    }

    /// What lengths of run-up and run-down do that no pace changes: reach and clearance there, the move to start and the return home.
    fn at_lengths(&self, frames: [u32; 2], pace: f64) -> AtLengths {
        let stage = self.program.compiled().stage();
        let found = if stage.bodies().is_empty() && stage.machines().is_empty() {
            Ok(false)
        } else {
            let planned = self.planned(frames, pace).ok_or(Hindrance::NoProgram);
            planned.and_then(|program| judged(&program)).map(|()| slack::has_wires(self.program))
        };
        self.known.borrow_mut().insert(frames, found);
        found
    }

    /// The program at a pace at which run-up and run-down have these lengths.
    fn planned(&self, frames: [u32; 2], pace: f64) -> Option<Rc<Program>> {
        if let Some((_, program)) = self.planned.borrow().as_ref().filter(|(known, _)| *known == frames) {
            return Some(Rc::clone(program));
        }
        let own = self.program.compiled();
        let program = if frames == [own.run_up(), own.run_down()] {
            Rc::new(self.program.at_pace(Pace::new(pace).ok()?))
        } else {
            let compiled = own.with_passes(self.passes(pace)?).ok()?;
            Rc::new(Program::one(&compiled, self.program.index()).ok().flatten()?)
        };
        *self.planned.borrow_mut() = Some((frames, Rc::clone(&program)));
        Some(program)
    }

    /// A wire that is slack at a pace. Where gravity keeps them taut at rest, one that is slack is so at every faster pace, and one that is taut at every slower one.
    fn slack(&self, program: &Program, pace: f64) -> Option<Hindrance> {
        let of = |axis, part| Hindrance::Limit { subject: Subject::Axis(axis), limit: Limit::Slack, part };
        for edge in [Part::RunUp, Part::RunDown] {
            match slack_in(program, edge, pace) {
                Ok(None) => {}
                Ok(Some(axis)) => return Some(of(axis, edge)),
                Err(Excess { .. }) => return Some(Hindrance::Budget),
            }
        }
        let is_monotone = self.stands_taut() == Some(true);
        if is_monotone && pace >= self.taut_from.get() {
            return None;
        }
        if let Some((_, axis)) = self.slack_to.get().filter(|(known, _)| is_monotone && pace <= *known) {
            return Some(of(axis, Part::Photographed));
        }
        let Ok(found) = slack_in(program, Part::Photographed, pace) else { return Some(Hindrance::Budget) };
        match found {
            Some(axis) => self.slack_to.set(Some((pace, axis))),
            None => self.taut_from.set(pace),
        }
        found.map(|axis| of(axis, Part::Photographed))
    }

    /// True where every wire is taut with its limb at rest, wherever it is in the photographed span: otherwise some pace is too slow. `None` where the budget of trials was
    /// used up before that was known.
    pub(super) fn stands_taut(&self) -> Option<bool> {
        *self.stands_taut.get_or_init(|| slack_in(self.program, Part::Photographed, f64::INFINITY).ok().map(|found| found.is_none()))
    }
}

/// The first axis whose wire is slack in a part of a moving pass at a pace.
fn slack_in(program: &Program, part: Part, pace: f64) -> Result<Option<AxisId>, Excess> {
    let mut found = Ok(None);
    sections::see_part(program, part, pace, &mut |section| found = slack::first_slack(program, section));
    found
}

impl Live<'_> {
    /// What the axis exceeds in a run-up or run-down of this length at this pace.
    fn hindrance(&self, edge: Edge, frames: u32, pace: f64) -> Option<Hindrance> {
        let [up, down] = self.nodes;
        let (node, part) = if edge == Edge::RunUp { (up, Part::RunUp) } else { (down, Part::RunDown) };
        let quintic = ends::piece(edge, node, f64::from(frames));
        let piece = Piece { index: 0, start: 0.0, end: f64::from(frames), quintic: &quintic };
        let report = limits::stretch(self.axis, &Peaks::of_piece(&piece), pace);
        let rates = limits::exceeded(&report).into_iter().flatten().map(|(limit, ..)| limit).next();
        let torque = || self.torque.as_ref()?.worst(core::iter::once(piece), pace).filter(|t| t.utilisation().is_exceeded());
        let limit = rates.or_else(|| torque().map(|_| Limit::Torque))?;
        Some(Hindrance::Limit { subject: Subject::Axis(self.id), limit, part })
    }
}

/// Reach, clearance of run-up and run-down, and the wires on the way.
fn judged(program: &Program) -> Result<(), Hindrance> {
    let of = |v: &Violation| Hindrance::Limit { subject: v.subject, limit: v.limit, part: v.part };
    if let Some(v) = reach::first(program, &|_| true) {
        let used_up = program.compiled().work().left(Effort::TrialReaches) == 0;
        return Err(if used_up { Hindrance::Budget } else { of(&v) });
    }
    let mut taut = Ok(());
    sections::each_on_the_way(program, &mut |section| {
        let of = |axis| Hindrance::Limit { subject: Subject::Axis(axis), limit: Limit::Slack, part: section.timing.part };
        if taut.is_ok() {
            let found = slack::first_slack(program, section).map_err(|Excess { .. }| Hindrance::Budget);
            taut = found.and_then(|slack| slack.map_or(Ok(()), |axis| Err(of(axis))));
        }
    });
    taut?;
    for part in [Part::RunUp, Part::RunDown] {
        let mut kept = true;
        sections::see_part(program, part, 1.0, &mut |section| {
            kept = clearance::is_kept(&section.course, 0.0, &Nearest::is_kept, program.compiled().work())
        });
        if !kept {
            let used_up = program.compiled().work().left(Effort::TrialBoxes) == 0;
            return Err(if used_up { Hindrance::Budget } else { Hindrance::Clearance(part) });
        }
    }
    Ok(())
}
