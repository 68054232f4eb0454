//! What would help, tried by compiling again: nothing is offered that was not seen to work.
//!
//! What: a pace is offered where the whole pass was tried at it (see `runnable`). A change of one track is tried by compiling anew the axes that follow the track,
//! choosing run-up and run-down anew, and judging the axis as the check does: travel, rates and torque from run-up to run-down, its mechanism's reach, its wire, and
//! the clearance of what it moves. Two things that come too near are brought apart by a delay (see `later`) or a key. The other axes may not become worse, nor may the other passes.

use core::cell::OnceCell;
use std::collections::BTreeSet;

use super::clearance::{self, Nearest};
use super::judged::Tally;
use super::limb_weight::limb_weight;
use super::runnable::Runnable;
use super::violation::{Between, Cause, Fix, Limit, Part, Subject, Violation};
use super::{hang, later, moving, reach, slack, stopping, swing};
use crate::compile::{Compiled, Edge};
use crate::motion::Peaks;
use crate::motion::pendulum::settling::HOUR;
use crate::number::directed::{self, Places};
use crate::number::whole;
use crate::program::Program;
use crate::shot::{Place, Shape, Track};
use crate::signal::SourceKind;
use crate::stage::{AxisId, GroupId, PacedPeaks, PerAxis};

/// Adds fixes to the violations of one pass.
///
/// `known_apart` are the violations of an earlier pass of the same course.
pub(super) fn propose(program: &Program, runnable: &Runnable, violations: &mut [Violation], known_apart: &[Violation]) {
    let is_held = program.stations().is_some();
    let mut known: Vec<(Asked, Option<Fix>)> = Vec::new();
    let mut apart: Vec<(Option<[GroupId; 2]>, Option<Fix>)> = Vec::new();
    // What says most about where the curve goes is tried first: the trials have a budget.
    let mut order: Vec<&mut Violation> = violations.iter_mut().collect();
    order.sort_by(|a, b| plainness(b).cmp(&plainness(a)).then(b.severity().total_cmp(&a.severity())));
    for v in order.into_iter().take(MOST_TRIED) {
        if let (Cause::Hang { wire, .. }, Subject::Body(group, _)) = (v.cause, v.subject) {
            v.fixes.extend(hang::trim(program, group, wire).map(|(mass, share)| Fix::Trim { group, wire, mass, share }));
            continue;
        }
        if v.cause == Cause::Slack {
            v.fixes.extend(limb_weight(program, v.subject.axis()).map(Fix::Weight));
            continue;
        }
        if is_held {
            if let (Cause::TooLong { .. } | Cause::ClosedTooShort(_), Some(pace)) = (v.cause, runnable.offer) {
                v.fixes.push(Fix::HeldPace(pace));
            }
            continue;
        }
        if let (Cause::Gap, Subject::Pair(nearest, axis)) = (v.cause, v.subject) {
            let same =
                |k: &&Violation| matches!(k.subject, Subject::Pair(n, _) if (n.group, n.against) == (nearest.group, nearest.against));
            v.fixes = match known_apart.iter().find(same) {
                Some(known) => known.fixes.clone(),
                None => {
                    // What keeps two figures apart keeps their carriages apart too: whatever the group could meet was looked at.
                    let groups = later::groups(&nearest);
                    let by_time = match apart.iter().find(|(known, _)| *known == groups) {
                        Some((_, fix)) => *fix,
                        None => {
                            let fix = later::delay(program, &nearest);
                            apart.push((groups, fix));
                            fix
                        }
                    };
                    let key = || v.between.and_then(|b| moved_key(program, axis, &b));
                    by_time.into_iter().chain(key()).collect()
                }
            };
            continue;
        }
        if let (Cause::Swing(mode), Subject::Body(group, _)) = (v.cause, v.subject) {
            v.fixes.extend(settled(program, group, mode).map(Fix::Settle));
            continue;
        }
        // Jerk without bound has no pace; reach is not what these trials mend.
        if matches!(v.cause, Cause::Step | Cause::OutOfReach(_) | Cause::OpenTooLong) || v.limit == Limit::Register {
            continue;
        }
        // More room may be had by other keys as well, but these trials judge no stop.
        if matches!(v.cause, Cause::Stopping(_) | Cause::ClosedTooShort(_)) {
            v.fixes.extend(runnable.offer.map(Fix::Pace));
            continue;
        }
        let out_of_travel = v.limit == Limit::Position && v.part == Part::Photographed;
        if let (Some(pace), false) = (runnable.offer, out_of_travel) {
            v.fixes.push(Fix::Pace(pace));
        }
        let kind = match (out_of_travel, v.part.edge()) {
            (true, _) => Kind::Shape,
            (false, Some(edge)) => Kind::Rest(edge),
            (false, None) => Kind::Key,
        };
        // Speed, acceleration and jerk of an axis between the same keys ask the same question.
        let asked = Asked { kind, axis: v.subject.axis(), between: v.between };
        let fix = match known.iter().find(|(a, _)| *a == asked) {
            Some((_, fix)) => *fix,
            None => {
                let fix = match kind {
                    Kind::Shape => other_shape(program, v)
                        .or_else(|| v.between.and_then(|b| moved_key(program, v.subject.axis(), &b)))
                        .or_else(|| other_value(program, v)),
                    Kind::Rest(edge) => rests_at_the_edge(program, v, edge),
                    Kind::Key => v.between.and_then(|b| moved_key(program, v.subject.axis(), &b)).or_else(|| other_value(program, v)),
                };
                known.push((asked, fix));
                fix
            }
        };
        v.fixes.extend(fix);
    }
}

/// Whole seconds of rest before the run-up after which a figure keeps its limit of swing; `None` where an hour does not help.
fn settled(program: &Program, group: GroupId, mode: Option<usize>) -> Option<f64> {
    let compiled = program.compiled();
    let mends = |settle: f64| {
        let others = compiled.shot().passes().iter().enumerate();
        let passes = others.map(|(i, p)| if i == program.index() { p.settling(settle) } else { p.clone() }).collect();
        let again = compiled.with_passes(passes).ok().and_then(|c| Program::one(&c, program.index()).ok().flatten());
        again.is_some_and(|p| swing::keeps_limit(&p, group, mode))
    };
    let own = program.pass().settle().floor();
    let (mut short, mut long) = (own, own + 1.0);
    while !mends(long) {
        (short, long) = (long, own + 2.0 * (long - own));
        if !(long <= HOUR) {
            return None;
        }
    }
    while long - short > 1.0 {
        let middle = (0.5 * (short + long)).floor();
        if mends(middle) { long = middle } else { short = middle }
    }
    Some(long)
}

/// Violations with keys of their own before those without, in the photographed span before those outside, places before speeds.
fn plainness(v: &Violation) -> (bool, bool, u32) {
    (v.between.is_some(), v.part == Part::Photographed, v.limit.plainness())
}

/// What an offer depends on.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Asked {
    kind: Kind,
    axis: AxisId,
    between: Option<Between>,
}

/// What is tried to mend a violation.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Kind {
    /// The shape that stays between keys, or a key with another value.
    Shape,
    /// The shape that rests at the edge.
    Rest(Edge),
    /// A key at another frame, or with another value.
    Key,
}

/// Violations that get fixes: compiling again has its price, and after the first few a person starts over anyway.
const MOST_TRIED: usize = 32;

/// One track of the shot in another form.
struct Trial<'a> {
    program: &'a Program,
    axis: AxisId,
    track: usize,
    /// The axes that follow the track, the one to fix first.
    follow: Vec<AxisId>,
    follows: PerAxis<bool>,
    /// What every pass exceeds without the change, where it was asked for.
    before: Vec<OnceCell<Option<Tally>>>,
}

impl<'a> Trial<'a> {
    fn new(program: &'a Program, axis: AxisId, track: usize) -> Trial<'a> {
        let (stage, shot) = (program.compiled().stage(), program.compiled().shot());
        let follows = |id: &AxisId| {
            // An aim follows what its target does, by whatever track.
            let aimed = shot.aims().iter().any(|a| a.which(stage, *id).is_some());
            let own = || stage.channels_of(*id).into_iter().flat_map(|c| program.compiled().sources_of(c));
            let focused = shot.focuses().iter().any(|f| f.moves(stage, *id));
            aimed || focused || own().any(|s| s.kind == SourceKind::Track && s.index == track)
        };
        let follow = core::iter::once(axis).chain(stage.axis_ids().filter(|id| *id != axis && follows(id))).collect::<Vec<_>>();
        let known: BTreeSet<AxisId> = follow.iter().copied().collect();
        let before = shot.passes().iter().map(|_| OnceCell::new()).collect();
        Trial { program, axis, track, follow, follows: PerAxis::new(stage, |id| known.contains(&id)), before }
    }

    /// The shot with the track in another form, where everything but clearance then holds.
    fn with(&self, track: Track) -> Option<Program> {
        let compiled = self.program.compiled();
        let (axis, pace) = (compiled.stage().axis(self.axis), self.program.clock().pace().get());
        // What exceeds a limit in the photographed span is no fix: then no other axis is compiled.
        let may = |peaks: &Peaks| PacedPeaks::new(peaks, pace).are_within(axis);
        let again = compiled.with_track(self.track, track, &self.follow, &may).ok()??;
        let again = Program::one(&again, self.program.index()).ok().flatten()?;
        self.holds(&again).then_some(again)
    }

    /// True where the axis itself keeps its limits in the photographed span: needed for all else, and quickly seen.
    fn may_hold(&self, track: Track) -> bool {
        let compiled = self.program.compiled();
        let (axis, pace) = (compiled.stage().axis(self.axis), self.program.clock().pace().get());
        let may = |peaks: &Peaks| PacedPeaks::new(peaks, pace).are_within(axis);
        compiled.with_track(self.track, track, &[self.axis], &may).is_ok_and(|again| again.is_some())
    }

    fn holds(&self, again: &Program) -> bool {
        let found = |p: &Program, id: AxisId| moving::axis(p, id).1.len();
        if found(again, self.axis) > 0 {
            return false;
        }
        // The axes that follow may exceed no more than before; nor may the others, whose run-up and run-down may have changed.
        let lengths = |c: &Compiled| (c.run_up(), c.run_down());
        let same = lengths(again.compiled()) == lengths(self.program.compiled());
        let others = again.compiled().stage().axis_ids().filter(|id| *id != self.axis && (!same || self.follows[*id]));
        if !others.into_iter().all(|id| found(again, id) <= found(self.program, id)) {
            return false;
        }
        let ours = |id: AxisId| self.follows[id];
        reach::first(again, &ours).is_none() && !slack::may_be_slack(again, &ours)
    }

    /// True where what the axes that follow move keeps its clearance.
    fn keeps_clear(&self, again: &Program) -> bool {
        let stage = again.compiled().stage();
        let moved = |group: GroupId| {
            let channels = stage.body_of(group).map(|b| b.every_channel().to_vec()).unwrap_or_default();
            channels.into_iter().flat_map(|c| stage.axes_of(c)).any(|a| self.follows[a])
        };
        let sway = swing::sway(again);
        let kept = |n: &Nearest| !later::touches(n, moved) || sway.off(n, None).is_kept();
        clearance::is_kept(&again.course(), sway.most(), &kept, again.compiled().work())
    }

    /// True where no axis exceeds more in another pass than before, and those that follow have the room to stop that they had there.
    fn spares_other_passes(&self, again: &Program) -> bool {
        let (old, new) = (self.program.compiled(), again.compiled());
        let mut others = (0..old.shot().passes().len()).filter(|i| *i != self.program.index());
        others.all(|i| {
            let before = self.before.get(i).and_then(|known| known.get_or_init(|| Tally::of_pass(old, i)).as_ref());
            let after = Program::one(new, i).ok().flatten();
            before.zip(after).is_some_and(|(before, after)| {
                Tally::of(&after).is_within(before) && stopping::keep_room(&after, old, &|id| self.follows[id])
            })
        })
    }

    /// True where clearance is kept, the axes that follow have room to stop, and the other passes are no worse.
    fn spares_all(&self, again: &Program) -> bool {
        self.keeps_clear(again) && stopping::have_room(again, &|id| self.follows[id]) && self.spares_other_passes(again)
    }

    /// True where the track in another form holds in every way, and nothing that follows it exceeds anything any more: what a person hopes for.
    fn mends_all(&self, track: Track) -> bool {
        let none = |again: &Program| self.follow.iter().all(|id| moving::axis(again, *id).1.is_empty());
        self.with(track).is_some_and(|again| none(&again) && self.spares_all(&again))
    }

    /// True where the track in another form holds in every way.
    fn mends(&self, track: Track) -> bool {
        self.with(track).is_some_and(|again| self.spares_all(&again))
    }
}

/// The frame to which the key after the violation would have to go, or the key before.
fn moved_key(program: &Program, axis: AxisId, between: &Between) -> Option<Fix> {
    let compiled = program.compiled();
    let shot = compiled.shot();
    let track = shot.tracks().get(between.track)?;
    let last = whole::real(shot.frames().last());
    let trial = Trial::new(program, axis, between.track);
    let tried = |key: usize, way: f64, end: f64| -> Option<Fix> {
        let from = track.keys().get(key)?.frame;
        let with = |frame: f64| track.with_key_at(key, frame);
        let mends = |frame: f64| with(frame).is_ok_and(|t| trial.mends(t));
        let quick = nearest_that(from, end, way, &|f| with(f).is_ok_and(|t| trial.may_hold(t)))?;
        let mends_all = |frame: f64| with(frame).is_ok_and(|t| trial.mends_all(t));
        let all = if mends_all(quick) { Some(quick) } else { nearest_that(quick, end, way, &mends_all) };
        let frame = match all {
            Some(frame) => frame,
            None if mends(quick) => quick,
            None => nearest_that(quick, end, way, &mends)?,
        };
        Some(Fix::KeyAt { track: between.track, key, frame, later: way > 0.0 })
    };
    let frame_of = |key: usize| track.keys().get(key).map(|k| k.frame);
    let later = |key: usize| tried(key, 1.0, frame_of(key + 1).map_or(last.max(frame_of(key)?), |next| next - 1.0));
    let earlier = |key: usize| {
        let first = whole::real(shot.frames().first());
        tried(key, -1.0, key.checked_sub(1).and_then(frame_of).map_or(first.min(frame_of(key)?), |previous| previous + 1.0))
    };
    let [before, after] = [between.before, between.after].map(|key| key.map(|(index, ..)| index));
    // First what gives the move between them more time, then what gives it less: one of them may be far too early or late.
    let more_time = || after.and_then(later).or_else(|| before.and_then(earlier));
    more_time().or_else(|| before.and_then(later)).or_else(|| after.and_then(earlier))
}

/// The whole frame nearest to `from`, towards `end`, that `holds`: by doubling steps, then halving.
fn nearest_that(from: f64, end: f64, way: f64, holds: &dyn Fn(f64) -> bool) -> Option<f64> {
    let start = if way > 0.0 { from.floor() } else { from.ceil() };
    let most = (end - start) * way;
    let (mut bad, mut step) = (0.0, 1.0_f64);
    while bad < most {
        let n = step.min(most.floor());
        if n <= bad {
            return None;
        }
        if holds(start + way * n) {
            let (mut low, mut high) = (bad, n);
            while high - low > 1.0 {
                let mid = (0.5 * (low + high)).floor();
                if holds(start + way * mid) {
                    high = mid;
                } else {
                    low = mid;
                }
            }
            return Some(start + way * high);
        }
        bad = n;
        step *= 2.0;
    }
    None
}

/// The value of a key beside the violation that is nearest to its own and holds, where the value on the line between its neighbours does.
fn other_value(program: &Program, v: &Violation) -> Option<Fix> {
    let b = v.between?;
    let track = program.compiled().shot().tracks().get(b.track)?;
    let trial = Trial::new(program, v.subject.axis(), b.track);
    let beside = |(index, ..): (usize, f64, Place)| [Some(index), index.checked_sub(1), Some(index + 1)];
    let mut keys: Vec<usize> = [b.after, b.before].into_iter().flatten().map(|(index, ..)| index).collect();
    // A curve swings on the far side of the neighbours of a bad key too.
    keys.extend([b.after, b.before].into_iter().flatten().flat_map(beside).flatten());
    let mut tried = BTreeSet::new();
    keys.retain(|k| tried.insert(*k));
    keys.into_iter().find_map(|index| {
        let (asked, line) = (track.keys().get(index)?.value, between_neighbours(track, index)?);
        let with = |value: f64| track.with_key_value(index, value).ok();
        let may_hold = |value: f64| with(value).is_some_and(|t| trial.may_hold(t));
        if !may_hold(line) {
            return None;
        }
        let mends = |value: f64| with(value).is_some_and(|t| trial.mends(t));
        let (good, bad) = nearest_value(line, asked, &may_hold);
        let mends_all = |value: f64| with(value).is_some_and(|t| trial.mends_all(t));
        let (good, is_good): (f64, &dyn Fn(f64) -> bool) = if mends_all(line) {
            (if mends_all(good) { good } else { nearest_value(line, bad, &mends_all).0 }, &mends_all)
        } else {
            (if mends(good) { good } else { nearest_value(line, bad, &mends).0 }, &mends)
        };
        // As it is printed it has to hold; so it is rounded towards the line.
        let places = Places::Mantissa(VALUE_DIGITS - 1);
        let rounded = if asked > line { directed::down(good, places) } else { directed::up(good, places) };
        let value: f64 = rounded.parse().ok()?;
        let fix = Fix::KeyValue { track: b.track, key: index, value };
        is_good(value).then_some(fix)
    })
}

/// Between a value that holds, as is taken, and one that does not: the last that holds and the first that does not, to a thousandth of the way.
fn nearest_value(mut good: f64, mut bad: f64, holds: &dyn Fn(f64) -> bool) -> (f64, f64) {
    for _ in 0..VALUE_HALVINGS {
        let middle = 0.5 * (good + bad);
        if holds(middle) {
            good = middle;
        } else {
            bad = middle;
        }
    }
    (good, bad)
}

/// Halvings of the way from one to the other.
const VALUE_HALVINGS: u32 = 10;

/// Digits of a value that is offered.
const VALUE_DIGITS: usize = 4;

/// The value at a key on the straight line between its neighbours; beside an only neighbour its value.
fn between_neighbours(track: &Track, index: usize) -> Option<f64> {
    let key = track.keys().get(index)?;
    let before = index.checked_sub(1).and_then(|i| track.keys().get(i));
    match (before, track.keys().get(index + 1)) {
        (Some(a), Some(b)) => Some(a.value + (b.value - a.value) * (key.frame - a.frame) / (b.frame - a.frame)),
        (Some(one), None) | (None, Some(one)) => Some(one.value),
        (None, None) => None,
    }
}

/// For an axis that is moving at the cut: the shape that rests there, if the whole shot then has its run-up or run-down.
fn rests_at_the_edge(program: &Program, v: &Violation, edge: Edge) -> Option<Fix> {
    let b = v.between?;
    let compiled = program.compiled();
    let track = compiled.shot().tracks().get(b.track)?;
    let stuck = compiled.no_room().iter().any(|n| n.axis == v.subject.axis() && n.edge == edge);
    if track.shape() == Shape::Monotone || !stuck {
        return None;
    }
    let mends = Trial::new(program, v.subject.axis(), b.track).mends(track.with_shape(Shape::Monotone).ok()?);
    mends.then_some(Fix::Rests { track: b.track, shape: Shape::Monotone, edge })
}

/// For a curve that leaves the travel though its keys do not: the shape that stays between keys.
fn other_shape(program: &Program, v: &Violation) -> Option<Fix> {
    let b = v.between?;
    let again = program.compiled().shot().tracks().get(b.track)?.with_shape(Shape::Monotone).ok()?;
    Trial::new(program, v.subject.axis(), b.track).mends(again).then_some(Fix::Monotone(b.track))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::check::fixture;
    use crate::shot::Exposure;
    use crate::stage::{AxisSpec, LoadSpec, Motor, Unit};

    /// Every offer, put into the shot and checked as a whole: the axis exceeds nothing any more, nothing else becomes worse, and the message's promise holds.
    fn offers_hold(compiled: &Compiled) -> usize {
        let report = compiled.check().unwrap();
        let mut offers = 0;
        for (i, p) in report.passes.iter().enumerate() {
            for v in &p.violations {
                for fix in &v.fixes {
                    let shot = compiled.shot();
                    let track = |t: &usize| shot.tracks().get(*t).unwrap();
                    let changed = match fix {
                        Fix::Pace(t) | Fix::HeldPace(t) => {
                            let pace = crate::time::Pace::new(*t).unwrap();
                            let passes = shot.passes().iter().enumerate().map(|(k, p)| if k == i { p.at_pace(pace) } else { p.clone() });
                            shot.with_passes(compiled.stage(), passes.collect()).unwrap()
                        }
                        Fix::Settle(seconds) => {
                            let passes = shot.passes().iter().enumerate();
                            let passes = passes.map(|(k, p)| if k == i { p.settling(*seconds) } else { p.clone() });
                            shot.with_passes(compiled.stage(), passes.collect()).unwrap()
                        }
                        Fix::CopyDelay { .. } | Fix::Later { .. } | Fix::Trim { .. } | Fix::Weight(_) => continue,
                        Fix::Monotone(t) => shot.with_track(*t, track(t).with_shape(Shape::Monotone).unwrap()),
                        Fix::Rests { track: t, shape, .. } => shot.with_track(*t, track(t).with_shape(*shape).unwrap()),
                        Fix::KeyAt { track: t, key, frame, .. } => shot.with_track(*t, track(t).with_key_at(*key, *frame).unwrap()),
                        Fix::KeyValue { track: t, key, value } => shot.with_track(*t, track(t).with_key_value(*key, *value).unwrap()),
                    };
                    let after = compiled.with_shot(changed).unwrap().check().unwrap();
                    let left = &after.passes.get(i).unwrap().violations;
                    let axis = v.subject.axis();
                    assert!(
                        left.iter().all(|l| l.subject.axis() != axis || (l.limit == Limit::Position && v.limit != Limit::Position)),
                        "{fix:?}: {left:?}"
                    );
                    assert!(left.len() < p.violations.len(), "{fix:?}: {left:?} of {:?}", p.violations);
                    offers += 1;
                }
            }
        }
        offers
    }

    /// Torque, a run-down that a later key makes impossible, and travel: seeds whose offers are put to the test.
    #[test]
    fn every_offer_holds_when_it_is_taken() {
        let mut g = crate::number::Generator::new(11);
        let mut offers = 0;
        for _ in 0..150 {
            let mut spec = AxisSpec::new("x", Unit::Millimetre, [-150.0, 450.0], [60.0, 25.0, 80.0]);
            spec.drive.travel_per_rev = 20.0;
            spec.motor = Some(Motor::new(200, Some(4e-5), None, vec![(0.0, 0.6), (200.0, 0.4), (600.0, 0.03)]).unwrap());
            spec.load = Some(LoadSpec { inertia: 20.0 + 60.0 * g.unit(), friction: 10.0, vertical: false, efficiency: 0.9 });
            let stage = fixture::stage("heron", vec![spec]);
            let keys: Vec<(f64, f64)> = (0..5_i32).map(|i| (f64::from(1 + 7 * i) + (5.0 * g.unit()).floor(), 300.0 * g.unit())).collect();
            let shape = if g.unit() < 0.5 { Shape::MinimumJerk } else { Shape::NaturalCubic };
            let track = fixture::track(&stage, "heron.x", shape, &keys);
            let passes = vec![fixture::pass(&stage, "picture", Exposure::Moving, 0.2 + 1.5 * g.unit())];
            offers += offers_hold(&fixture::compiled(stage, (1, 32), vec![track], passes));
        }
        assert!(offers > 60, "{offers} offers were tried");
    }

    #[test]
    fn the_nearest_frame_that_holds_is_found_in_both_directions() {
        assert_eq!(nearest_that(100.0, 200.0, 1.0, &|f| f >= 137.0), Some(137.0));
        assert_eq!(nearest_that(100.0, 120.0, 1.0, &|f| f >= 137.0), None);
        assert_eq!(nearest_that(100.5, 1.0, -1.0, &|f| f <= 80.0), Some(80.0));
    }
}
