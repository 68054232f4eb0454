//! Mechanisms stay within reach where no channel asks for their places: in run-up and run-down, between stations, on the move to start and the return home.
//!
//! What: an axis with a range of its own reaches that range, and the exact extremes of the axis's pieces show whether it is kept. Axes that must fit together do so
//! throughout a stretch of time where an enclosure of their pose exists ([`Enclosure`]); where it does not, the stretch is halved until one does or the middle has no pose.
//! Within the photographed span of a moving pass the compiler has refused what is out of reach. Between stations every axis goes straight on from one place to the next: where the whole box
//! that the axes span over some moves is within reach, these moves need no look of their own. Invariant: no sample says that a place is reached.
//! Work: looks that find nothing are counted; where the budget is used up, what is not proven counts as out of reach.

use core::cell::Cell;

use super::clearance::enclosure::Enclosure;
use super::exceeded::finding;
use super::sections::{self, Section};
use super::slack;
use super::violation::{Cause, Limit, Part, Violation};
use crate::bounds::Effort;
use crate::mechanism::{IntervalJet, OutOfReach, Range};
use crate::motion::Peaks;
use crate::program::{Program, Stations};
use crate::stage::{AxisId, Machine};

/// Halvings after which a pose that is not proven counts as none: 2^-20 of a section.
const DEEPEST: u32 = 20;

/// Halvings of one section after which the same is said.
const MOST_LOOKS: u64 = 4096;

/// The first section of a pass in which a mechanism leaves its reach whose axes count, at the worst of it. It costs what trials may.
pub(super) fn first(program: &Program, counts: &dyn Fn(AxisId) -> bool) -> Option<Violation> {
    let mut found = Vec::new();
    each(program, Effort::TrialReaches, &mut |section| {
        if found.is_empty() {
            in_section(program, section, Effort::TrialReaches, counts, &mut found);
        }
    });
    found.into_iter().next()
}

/// Every section of a pass in which a mechanism leaves its reach, at the worst of it.
fn violations(program: &Program, effort: Effort) -> Vec<Violation> {
    let mut found = Vec::new();
    each(program, effort, &mut |section| in_section(program, section, effort, &|_| true, &mut found));
    found
}

/// Every section in which the compiler has not refused what is out of reach.
fn each(program: &Program, effort: Effort, see: &mut dyn FnMut(&Section<'_>)) {
    if program.compiled().stage().machines().is_empty() {
        return;
    }
    let Some(stations) = program.stations() else {
        sections::each(program, &mut |section| {
            if section.timing.part != Part::Photographed {
                see(section);
            }
        });
        return;
    };
    let open = open_moves(program, stations, effort);
    sections::each_with(program, &|i| open.get(i).is_none_or(|o| *o), see);
}

/// Of every move of a held pass, whether it is not proven yet that every mechanism stays within its reach. Boxes that are too long cost looks; where none is left, the moves
/// that come after them are looked at one by one.
fn open_moves(program: &Program, stations: &Stations, effort: Effort) -> Vec<bool> {
    let (compiled, work) = (program.compiled(), program.compiled().work());
    let mut open = vec![false; stations.moves().len()];
    for machine in compiled.stage().machines() {
        if machine.axes().iter().all(|id| program.parks(*id)) {
            continue;
        }
        let home = |id: AxisId| vec![compiled.stage().axis(id).home(); open.len() + 1];
        let stands = |id: &AxisId| if program.parks(*id) { home(*id) } else { stations.positions(compiled.motion(*id).curve()) };
        let places: Vec<(AxisId, Vec<f64>)> = machine.axes().iter().map(|id| (*id, stands(id))).collect();
        let mut stride = Stride { moves: 1, before_longer: 0 };
        let mut from = 0;
        while from < open.len() {
            let to = (from + stride.moves).min(open.len());
            if keeps_to(program, machine, &places, from..=to) {
                stride.lengthen();
                from = to;
            } else if work.spend(effort, 1).is_err() {
                open.iter_mut().skip(from).for_each(|o| *o = true);
                break;
            } else if stride.shorten() {
                open.iter_mut().skip(from).take(1).for_each(|o| *o = true);
                from += 1;
            }
        }
    }
    open
}

/// Over how many moves a box is tried.
struct Stride {
    moves: usize,
    before_longer: u8,
}

impl Stride {
    /// Boxes that hold before a longer one is tried, once one was too long.
    const PATIENCE: u8 = 8;

    fn lengthen(&mut self) {
        match self.before_longer.checked_sub(1) {
            Some(less) => self.before_longer = less,
            None => self.moves = (2 * self.moves).min(1024),
        }
    }

    /// True where it is as short as it can be already.
    fn shorten(&mut self) -> bool {
        let is_shortest = self.moves == 1;
        (self.moves, self.before_longer) = ((self.moves / 2).max(1), Self::PATIENCE);
        is_shortest
    }
}

/// True where a mechanism has a place wherever its axes are within the box that they span over these stations.
fn keeps_to(program: &Program, machine: &Machine, places: &[(AxisId, Vec<f64>)], stations: core::ops::RangeInclusive<usize>) -> bool {
    // What is not known may be anywhere.
    let range = |id: AxisId| {
        let at = places.iter().find(|(known, _)| *known == id).and_then(|(_, at)| at.get(stations.clone()));
        let all = at.and_then(|at| at.iter().map(|x| Range { lo: *x, hi: *x }).reduce(Range::joined));
        all.unwrap_or(Range::WHOLE)
    };
    if machine.has_ranges() {
        let home = |id: AxisId| program.compiled().stage().axis(id).home();
        let at = |axis: AxisId, value: f64| machine.reaches(|id| if id == axis { value } else { home(id) }).is_ok();
        return machine.axes().iter().all(|axis| at(*axis, range(*axis).lo) && at(*axis, range(*axis).hi));
    }
    // Whether there is a place does not depend on how fast they move.
    machine.encloses(|id| IntervalJet { p: range(id), v: Range::ZERO, a: Range::ZERO })
}

/// Wires that go slack and mechanisms that leave their reach; a wire near or beyond its dead centre has no slack of its own.
pub(super) fn with_slack(program: &Program, effort: Effort) -> Vec<Violation> {
    let reach = violations(program, effort);
    let lost = |s: &Violation| reach.iter().any(|r| r.part == s.part && r.subject.axis() == s.subject.axis());
    let mut all: Vec<Violation> = slack::violations(program).into_iter().filter(|s| !lost(s)).collect();
    all.extend(reach);
    all
}

/// Adds the violations of one section, of axes that count.
fn in_section(program: &Program, section: &Section<'_>, effort: Effort, counts: &dyn Fn(AxisId) -> bool, found: &mut Vec<Violation>) {
    for machine in program.compiled().stage().machines() {
        if machine.axes().iter().all(|a| section.pieces(*a).all(|p| p.quintic.is_hold())) {
            continue;
        }
        if machine.has_ranges() {
            found.extend(
                machine
                    .axes()
                    .iter()
                    .enumerate()
                    .filter(|(_, axis)| counts(**axis))
                    .filter_map(|(which, axis)| beyond(program, section, machine, *axis, machine.mechanism().axis_range(which)?)),
            );
        } else if machine.axes().first().is_some_and(|axis| counts(*axis)) {
            found.extend(first_misfit(program, section, machine, effort));
        }
    }
}

/// An axis with a range of its own, at the end that it passes furthest.
fn beyond(program: &Program, section: &Section<'_>, machine: &Machine, axis: AxisId, [lower, upper]: [f64; 2]) -> Option<Violation> {
    let peaks = section.pieces(axis).map(|p| Peaks::of_piece(&p)).reduce(|a, b| a.joined(&b))?;
    let ends = [(peaks.least, lower, lower - peaks.least.value), (peaks.greatest, upper, peaks.greatest.value - upper)];
    // Where the other axes are makes no difference.
    let home = |id: AxisId| program.compiled().stage().axis(id).home();
    let at = |value: f64| machine.reaches(|id| if id == axis { value } else { home(id) });
    let lost = ends.into_iter().filter_map(|(e, end, by)| at(e.value).err().map(|why| (e, end, by, why)));
    let (extreme, allowed, _, why) = lost.reduce(|a, b| if b.2 > a.2 { b } else { a })?;
    let span =
        section.pieces(axis).find(|p| p.start <= extreme.at && extreme.at <= p.end).map_or((extreme.at, extreme.at), |p| (p.start, p.end));
    let at = section.at(extreme.at);
    let span = section.span(span.0, span.1);
    let cause = Cause::OutOfReach(Some(why));
    Some(finding(program.compiled(), axis, Limit::Position, section.timing.part, (at, span), (extreme.value, allowed), cause))
}

/// A mechanism whose axes must fit together, at the first instant at which they do not fit together. The value is where its first axis is then, the allowed one where it was last
/// while they did.
fn first_misfit(program: &Program, section: &Section<'_>, machine: &Machine, effort: Effort) -> Option<Violation> {
    let axis = *machine.axes().first()?;
    let enclosure = Enclosure::new(&section.course);
    let (from, to) = section.course.span();
    let work = program.compiled().work();
    let most = work.left(effort).min(MOST_LOOKS);
    let left = Cell::new(most);
    let found = first_lost(&enclosure, machine, from, to, 0, &left);
    work.spent(effort, most - left.get());
    let (at, why) = found?;
    let place = |t: f64| enclosure.jet(axis, t).p;
    // The last instant before it with a pose, by halving: figures for a report, which a trial does not give.
    let (mut inside, mut outside) = (from, at);
    let halvings = if effort == Effort::TrialReaches { 0 } else { 60 };
    for _ in 0..halvings {
        let middle = 0.5 * (inside + outside);
        if lost(&enclosure, machine, middle).is_none() { inside = middle } else { outside = middle }
    }
    let cause = Cause::OutOfReach(why);
    let figures = (place(at), place(inside));
    Some(finding(
        program.compiled(),
        axis,
        Limit::Position,
        section.timing.part,
        (section.at(at), section.span(inside, at)),
        figures,
        cause,
    ))
}

/// Why the mechanism has no place at an instant.
fn lost(enclosure: &Enclosure<'_>, machine: &Machine, t: f64) -> Option<OutOfReach> {
    machine.reaches(|axis| enclosure.jet(axis, t).p).err()
}

/// The first instant that has no pose, or none that is proven.
fn first_lost(
    enclosure: &Enclosure<'_>,
    machine: &Machine,
    from: f64,
    to: f64,
    depth: u32,
    left: &Cell<u64>,
) -> Option<(f64, Option<OutOfReach>)> {
    let channel = machine.channels().first().copied()?;
    if enclosure.channel_range(channel, from, to).is_some() {
        return None;
    }
    let middle = 0.5 * (from + to);
    left.set(left.get().saturating_sub(1));
    if depth >= DEEPEST || left.get() == 0 {
        return Some((middle, lost(enclosure, machine, middle)));
    }
    first_lost(enclosure, machine, from, middle, depth + 1, left).or_else(|| first_lost(enclosure, machine, middle, to, depth + 1, left))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::panic, reason = "tests")]
mod tests {
    use super::*;
    use crate::check::At;
    use crate::check::fixture;
    use crate::compile::Compiled;
    use crate::mechanism::{CarriedFrom, Drum, DrumSpec, LimbWire, LimbWireSpec, Mechanism, Spool, Swashplate, SwashplateSpec};
    use crate::number::{Generator, elementary};
    use crate::program::HeldMove;
    use crate::shot::{Exposure, Shape};
    use crate::stage::{AxisSpec, MachineSpec, Stage, Unit};

    fn machine(stage: Stage, channels: &[&str], axes: &[&str], mechanism: impl Mechanism + 'static) -> Stage {
        let full = |names: &[&str]| -> Vec<String> { names.iter().map(|n| format!("heron.{n}")).collect() };
        stage.with_machines(vec![MachineSpec::new(mechanism, full(channels), full(axes))]).unwrap()
    }

    /// A wing on a wire whose joint and guide leave 76.385 mm below its neutral length; limits in mm/s, mm/s2, mm/s3.
    fn wing(limits: [f64; 3]) -> Stage {
        // The least wire is |guide - arm| less the length at the neutral angle: a guide 160 mm above, an arm of 110 mm, 50 - 126.385 mm.
        let wire = LimbWire::new(LimbWireSpec { arm: 110.0, guide: [0.0, 160.0], neutral: NEUTRAL }).unwrap();
        let stage = fixture::stage("heron", vec![AxisSpec::new("wing", Unit::Millimetre, [-200.0, 200.0], limits)]);
        machine(stage, &["lift"], &["wing"], wire)
    }

    /// Law of cosines: 126.385^2 = 110^2 + 160^2 - 2 x 110 x 160 sin(angle), angle 38.1 deg.
    const NEUTRAL: f64 = 38.119_4;

    fn compiled(stage: Stage, channels: &[(&str, &[(f64, f64)])], frames: (i64, i64), exposure: Exposure, pace: f64) -> Compiled {
        let tracks = channels.iter().map(|(c, keys)| fixture::track(&stage, c, Shape::NaturalCubic, keys)).collect();
        let passes = vec![fixture::pass(&stage, "picture", exposure, pace)];
        fixture::compiled(stage, frames, tracks, passes)
    }

    fn out_of_reach(compiled: &Compiled) -> Vec<Violation> {
        let report = compiled.check().unwrap();
        let all = report.passes.iter().flat_map(|p| p.violations.clone());
        all.filter(|v| matches!(v.cause, Cause::OutOfReach(_))).collect()
    }

    /// At 60 deg at the first frame and moving down from the dead centre at 90 deg, one frame of run-up has room; at 74 deg no length has.
    #[test]
    fn a_run_up_keeps_a_wing_short_of_its_dead_centre_where_it_can() {
        for (first, fits) in [(60.0, true), (74.0, false)] {
            let keys: &[(f64, f64)] = &[(1.0, first), (12.0, -45.0), (24.0, 0.0)];
            let compiled = compiled(wing([40.0, 30.0, 60.0]), &[("heron.lift", keys)], (1, 24), Exposure::Moving, 12.0);
            let [lower, upper] = compiled.stage().machines().iter().find_map(|m| m.mechanism().axis_range(0)).unwrap();
            let id = compiled.stage().axis_of_name("heron.wing").unwrap();
            let edge = compiled.motion(id).edge_peaks(crate::compile::Edge::RunUp).unwrap();
            let kept = lower < edge.least.value && edge.greatest.value < upper;
            let found = out_of_reach(&compiled);
            assert_eq!((kept, found.iter().all(|v| v.part != Part::RunUp)), (fits, fits), "{lower} {edge:?} {found:?}");
            // The move to start then ends out of reach too.
            if let Some(v) = found.iter().find(|v| v.part == Part::RunUp) {
                assert_eq!(v.limit, Limit::Position);
                assert!((v.allowed - lower).abs() < 1e-9 && v.value < lower);
                let text = crate::check::words::violation(&compiled, v);
                assert!(text.contains("the mechanism cannot reach") && text.contains("no run-up of 1 to 4096 frames helps"), "{text}");
            }
        }
    }

    #[test]
    fn a_drum_keeps_its_rope_in_the_run_down() {
        // One layer of 10 turns, 2 of them wound at height 0; the last frame is less than a turn from the end, moving towards it.
        let drum =
            Drum::new(DrumSpec { radius: 30.0, rope_diameter: 2.0, spool: Some(Spool { turns_per_layer: 10.0, layers: 1, wound: 2.0 }) });
        let drum = drum.unwrap();
        let [_, top] = drum.heights();
        let stage = fixture::stage("heron", vec![AxisSpec::new("drum", Unit::Degree, [-1000.0, 9000.0], [400.0, 400.0, 2000.0])]);
        let stage = machine(stage, &["height"], &["drum"], drum);
        let keys: &[(f64, f64)] = &[(1.0, 0.0), (12.0, 0.3 * top), (24.0, 0.95 * top)];
        let found = out_of_reach(&compiled(stage, &[("heron.height", keys)], (1, 24), Exposure::Moving, 1.0));
        assert!(found.iter().any(|v| v.part == Part::RunDown && (v.allowed - 2880.0).abs() < 1e-9 && v.value > 2880.0), "{found:?}");
    }

    /// A plate on short rods: each actuator's place is within reach, and straight on between two poses they do not fit together.
    #[test]
    fn three_axes_that_leave_their_reach_between_two_places_are_found() {
        let spec =
            SwashplateSpec { radius: 100.0, azimuths: [-60.0, 60.0, 180.0], rod_length: Some(30.0), carried_from: CarriedFrom::Below };
        let axis = |name: &str| AxisSpec::new(name, Unit::Millimetre, [-300.0, 300.0], [50.0, 20.0, 60.0]);
        let stage = fixture::stage("heron", vec![axis("a"), axis("b"), axis("c")]);
        let plate = Swashplate::new(spec).unwrap();
        let stage = machine(stage, &["heave", "pitch", "roll"], &["a", "b", "c"], plate.clone());
        // A run-up that starts far from the first frame: the roll is moving fast near the end of what the rods allow.
        let range = |roll: f64| plate.actuators(0.0, 0.0, roll).is_ok();
        let most = (1..900).map(|i| f64::from(i) * 0.1).take_while(|r| range(*r)).last().unwrap();
        let keys: &[(f64, f64)] = &[(1.0, -0.92 * most), (12.0, 0.0), (24.0, 0.0)];
        let found = out_of_reach(&compiled(stage.clone(), &[("heron.roll", keys)], (1, 24), Exposure::Moving, 0.2));
        assert!(found.iter().any(|v| v.part == Part::RunUp && matches!(v.at, At::Frame(_))), "{found:?}");
        // At rest at the first frame nothing leaves the reach.
        let keys: &[(f64, f64)] = &[(1.0, 0.0), (24.0, 0.0)];
        assert_eq!(out_of_reach(&compiled(stage, &[("heron.roll", keys)], (1, 24), Exposure::Moving, 0.2)).len(), 0);
    }

    /// A plate on rods of 30 mm stands here and there, as far from level as it can. Between two stations its actuators go straight on: some ways lead out of reach, and each
    /// of those is looked at; all others hold at every instant sampled. Where it hardly moves, no move is looked at by itself.
    #[test]
    fn moves_that_need_no_look_of_their_own_stay_within_reach() {
        let spec =
            SwashplateSpec { radius: 100.0, azimuths: [-60.0, 60.0, 180.0], rod_length: Some(30.0), carried_from: CarriedFrom::Below };
        let axis = |name: &str| AxisSpec::new(name, Unit::Millimetre, [-300.0, 300.0], [50.0, 20.0, 60.0]);
        let plate = Swashplate::new(spec).unwrap();
        let stage = fixture::stage("heron", vec![axis("a"), axis("b"), axis("c")]);
        let stage = machine(stage, &["heave", "pitch", "roll"], &["a", "b", "c"], plate.clone());
        let mut g = Generator::new(7);
        let mut tilts = |share: f64| -> Vec<[f64; 2]> {
            let tilted = |tilt: f64, d: f64| [tilt * elementary::cos(d), tilt * elementary::sin(d)];
            let reached = |[pitch, roll]: [f64; 2]| plate.actuators(0.0, pitch, roll).is_ok();
            let farthest = |d: f64| (1..900).map(|i| f64::from(i) * 0.1).take_while(|t| reached(tilted(*t, d))).last().unwrap();
            (0..40).map(|_| g.between(0.0, elementary::TURN)).map(|d| tilted(share * farthest(d), d)).collect()
        };
        for (share, some_are_lost) in [(0.97, true), (0.01, false)] {
            let tilts = tilts(share);
            let keys = |of: fn(&[f64; 2]) -> f64| -> Vec<(f64, f64)> { (1_u8..).map(f64::from).zip(tilts.iter().map(of)).collect() };
            let channels = [("heron.pitch", keys(|t| t[0])), ("heron.roll", keys(|t| t[1]))];
            let tracks = channels.iter().map(|(c, keys)| fixture::track(&stage, c, Shape::Linear, keys)).collect();
            let compiled = fixture::compiled(stage.clone(), (1, 40), tracks, vec![fixture::pass(&stage, "still", Exposure::Held, 1000.0)]);
            let programs = Program::all(&compiled).unwrap();
            let program = programs.first().unwrap();
            let stations = program.stations().unwrap();
            let open = open_moves(program, stations, Effort::Reaches);
            let machine = compiled.stage().machines().first().unwrap();
            let is_lost = |m: &HeldMove| {
                let path = stations.path(&compiled, program.pass(), m).unwrap();
                let course = path.course();
                let enclosure = Enclosure::new(&course);
                (0..=64).any(|i| lost(&enclosure, machine, course.span().1 * f64::from(i) / 64.0).is_some())
            };
            let lost: Vec<bool> = stations.moves().iter().map(is_lost).collect();
            assert_eq!((open.len(), lost.contains(&true)), (39, some_are_lost));
            assert!(lost.iter().zip(&open).all(|(lost, open)| !lost || *open), "{lost:?} {open:?}");
            assert_eq!(open.contains(&true), some_are_lost, "{open:?}");
            assert_eq!(violations(program, Effort::Reaches).is_empty(), !some_are_lost);
            // Where no look is left, every move from the first box on that is too long is looked at by itself.
            compiled.work().spent(Effort::Reaches, compiled.work().left(Effort::Reaches));
            let short = open_moves(program, stations, Effort::Reaches);
            let first = open.iter().position(|o| *o).unwrap_or(open.len());
            assert!(short.iter().skip(first).all(|o| *o) && short.contains(&true) == some_are_lost, "{short:?}");
        }
    }
}
