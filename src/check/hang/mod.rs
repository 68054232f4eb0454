//! Whether every wire of a figure on three wires stays taut and holds, and which weight where would help.
//!
//! What: over every part of a pass, move to start and return home included, the share of the weight that each wire carries follows from the figure's lean alone (`stage::hang`). Over a stretch of time ranges
//! of the pose with their derivatives bound the shares; stretches are halved until no bound is more than 1e-6 of the weight beyond what was seen. A trim weight is looked for at the wire that carries too
//! little, where it helps most, and tried over the whole pass.
//! Invariant: no sample decides; work is counted, and what was not looked at is said in a note. Limits: statics, see `stage::hang`.

pub(crate) mod found;

use super::clearance::enclosure::Enclosure;
use super::exceeded::axis_of_body;
use super::notes::{Note, NoteKind};
use super::sections::{self, Section};
use super::violation::{At, Cause, Limit, Part, Subject, Violation};
use crate::bounds::Effort;
use crate::compile::Compiled;
use crate::mechanism::IntervalJet;
use crate::number::Jet;
use crate::number::directed::{Places, up};
use crate::number::elementary::TURN;
use crate::program::Program;
use crate::stage::{AxisId, Body, GroupId, Hang, Stage, Unit, Utilisation};
use crate::time::{FrameTime, Seconds};
use found::{Carried, WireReport};

/// Every wire of every figure on three wires, in stage order.
pub(super) fn wires(program: &Program, effort: Effort) -> Vec<WireReport> {
    let hung = program.compiled().stage().bodies().iter().filter_map(|body| Some((body, body.hang()?)));
    hung.flat_map(|(body, hang)| of_figure(program, body, hang, effort)).collect()
}

/// Wires that carry too little.
pub(super) fn violations(program: &Program, wires: &[WireReport]) -> Vec<Violation> {
    let slack = wires.iter().filter(|w| w.utilisation().is_some_and(Utilisation::is_exceeded));
    slack.filter_map(|w| violation(program, w)).collect()
}

/// What is not known, and wires and motors that could break.
pub(super) fn notes(program: &Program, wires: &[WireReport]) -> Vec<Note> {
    let (stage, pass) = (program.compiled().stage(), program.pass().name());
    let mut notes = Vec::new();
    for w in wires {
        let Some([_, most]) = w.carried else {
            notes.push(Note {
                axis: None,
                frame: None,
                value: None,
                kind: NoteKind::HangUnknown { pass: pass.to_owned(), group: w.group },
            });
            continue;
        };
        let breaking = stage.body_of(w.group).and_then(Body::hang).and_then(|hang| hang.breaking);
        let Some([load, factor]) = breaking else { continue };
        let tension = most.share * w.weight;
        if Utilisation::of(tension, load / factor).is_exceeded() {
            let kind = NoteKind::WireOverloaded { pass: pass.to_owned(), group: w.group, wire: w.wire, allowed: load / factor };
            notes.push(Note { axis: None, frame: most.at.frame(), value: Some(tension), kind });
        }
    }
    notes
}

/// Motors that can break a wire of what they carry when it is caught.
pub(super) fn stalls(stage: &Stage) -> Vec<Note> {
    let mut notes = Vec::new();
    for body in stage.bodies() {
        let Some([breaking, _]) = body.hang().and_then(|hang| hang.breaking) else { continue };
        let mut axes: Vec<AxisId> = body.channels().iter().flat_map(|c| stage.axes_of(*c)).collect();
        axes.sort_by_key(|id| id.index());
        axes.dedup();
        let pulls = axes.into_iter().filter_map(|id| Some((id, pull(stage, id)?))).filter(|(_, force)| *force > breaking);
        notes.extend(pulls.map(|(axis, force)| Note {
            axis: Some(axis),
            frame: None,
            value: Some(force),
            kind: NoteKind::StallBreaks { group: body.group(), breaking },
        }));
    }
    notes
}

/// The force with which an axis that carries weight pulls at most, N: its holding torque, or else its pull-out torque at standstill, through gear and losses.
fn pull(stage: &Stage, id: AxisId) -> Option<f64> {
    let axis = stage.axis(id);
    let load = axis.load().filter(|load| load.vertical && axis.unit() == Unit::Millimetre)?;
    let motor = axis.motor()?;
    let torque = motor.holding_torque().or(motor.torque().first().map(|(_, torque)| *torque))?;
    Some(torque * TURN * axis.drive().motor_revs_per_unit() * 1000.0 * load.efficiency)
}

/// kg at the wire that helps it most, after which every wire of the figure carries enough throughout the pass, and the share that this one then carries; `None` where no weight there does.
pub(super) fn trim(program: &Program, group: GroupId, wire: usize) -> Option<(f64, f64)> {
    let body = program.compiled().stage().body_of(group)?;
    let hang = body.hang()?;
    let [least, _] = of_figure(program, body, hang, Effort::TrialSwings).get(wire)?.carried?;
    // The weight hangs from its own wire alone, however the figure leans: (m s + w) / (m + w) = required.
    let more = hang.mass * (hang.least_tension - least.share) / (1.0 - hang.least_tension);
    let more: f64 = up(more, Places::Mantissa(1)).parse().ok().filter(|more| *more > 0.0)?;
    let after = of_figure(program, body, &hang.trimmed(wire, more), Effort::TrialSwings);
    let holds = after.iter().all(|w| w.utilisation().is_some_and(|u| !u.is_exceeded()));
    let [then, _] = after.get(wire)?.carried?;
    holds.then_some((more, then.share))
}

fn violation(program: &Program, w: &WireReport) -> Option<Violation> {
    let compiled = program.compiled();
    let stage = compiled.stage();
    let [least, _] = w.carried?;
    let body = stage.body_of(w.group)?;
    let axis = axis_of_body(program, body)?;
    let instant = least.at.number();
    Some(Violation {
        subject: Subject::Body(w.group, axis),
        limit: Limit::Slack,
        part: least.part,
        at: least.at,
        span: (instant, instant),
        value: least.share * w.weight,
        allowed: w.required * w.weight,
        between: None,
        cause: Cause::Hang { wire: w.wire, share: least.share },
        fixes: Vec::new(),
    })
}

/// What has been seen of a figure: the least and the most that each wire carries.
struct Seen {
    found: [Option<[Carried; 2]>; 3],
}

impl Seen {
    fn see(&mut self, shares: [f64; 3], at: At, part: Part) {
        for (found, share) in self.found.iter_mut().zip(shares) {
            let here = Carried { share, at, part };
            match found {
                None => *found = Some([here; 2]),
                Some([least, most]) => {
                    if !(share >= least.share) {
                        *least = here;
                    }
                    if share > most.share {
                        *most = here;
                    }
                }
            }
        }
    }

    /// True where a part may hold a share beyond what was seen.
    fn is_beaten_by(&self, ranges: &[(f64, f64); 3]) -> bool {
        self.found.iter().zip(ranges).any(|(found, (lo, hi))| match found {
            None => true,
            Some([least, most]) => !(*lo >= least.share - CLOSE) || !(*hi <= most.share + CLOSE),
        })
    }
}

/// Share of the weight to which a least or greatest share is found.
const CLOSE: f64 = 1e-6;

/// Halvings of a stretch at most.
const DEEPEST: u32 = 40;

/// Work of one look at a pose and its ranges, beside that of one at polynomials.
const LOOK: u64 = 48;

/// Looks at one section at most; then what was seen counts as not known.
const MOST_LOOKS: u64 = 1 << 14;

fn of_figure(program: &Program, body: &Body, hang: &Hang, effort: Effort) -> Vec<WireReport> {
    let compiled = program.compiled();
    let mut seen = Seen { found: [None; 3] };
    let mut is_lost = false;
    // A held pass in which nothing moves has no section, and a figure that is parked hangs as at home.
    let first = FrameTime::of_frame(compiled.shot().frames().first());
    match compiled.posture_at(Some(program.pass()), body, first) {
        Ok(posture) => seen.see(hang.shares(posture.body()), At::Frame(first), Part::Photographed),
        Err(_) => is_lost = true,
    }
    if let Some(home) = at_home(compiled, body) {
        seen.see(hang.shares(&home), At::Time(Seconds(0.0)), Part::MoveToStart);
    }
    sections::each(program, &mut |section| {
        let looked = if is_lost { Some(0) } else { in_section(section, body, hang, &mut seen) };
        is_lost |= looked.is_none_or(|looked| compiled.work().spend(effort, looked * LOOK).is_err());
    });
    let report = |(wire, found): (usize, Option<[Carried; 2]>)| WireReport {
        group: body.group(),
        wire,
        weight: hang.weight(),
        required: hang.least_tension,
        carried: found.filter(|_| !is_lost),
    };
    seen.found.into_iter().enumerate().map(report).collect()
}

fn at_home(compiled: &Compiled, body: &Body) -> Option<crate::mechanism::Pose<f64>> {
    let values: Vec<f64> = body.channels().iter().map(|c| compiled.stage().channel_rest(*c)).collect();
    (values.len() == body.channels().len()).then(|| body.pose(&values))
}

/// Looks over a section; how many parts were looked at, `None` where that was not enough.
fn in_section(section: &Section<'_>, body: &Body, hang: &Hang, seen: &mut Seen) -> Option<u64> {
    let enclosure = Enclosure::new(&section.course);
    let mut looked = 0;
    let mut open: Vec<(f64, f64, u32)> = section.course.stretches().map(|(from, to)| (from, to, 0)).collect();
    open.reverse();
    while let Some((from, to, depth)) = open.pop() {
        looked += 1;
        let (middle, h) = (0.5 * (from + to), 0.5 * (to - from));
        let here = hang.shares(&enclosure.pose_jet(body, middle)?);
        seen.see(here.map(|share| share.p), section.at(middle), section.timing.part);
        if !(h > 0.0) {
            continue;
        }
        let ranges = enclosure.pose_range(body, from, to).map(|pose| hang.shares(&pose));
        let Some(ranges) = ranges else {
            if depth >= DEEPEST || looked >= MOST_LOOKS {
                return None;
            }
            open.extend([(middle, to, depth + 1), (from, middle, depth + 1)]);
            continue;
        };
        let [a, b, c] = here;
        let [ra, rb, rc] = ranges;
        if !seen.is_beaten_by(&[bounds(a, ra, h), bounds(b, rb, h), bounds(c, rc, h)]) {
            continue;
        }
        if depth >= DEEPEST || looked >= MOST_LOOKS {
            return None;
        }
        open.extend([(middle, to, depth + 1), (from, middle, depth + 1)]);
    }
    Some(looked)
}

/// What a share lies between over a stretch, from its value in the middle and the ranges of its derivatives.
fn bounds(here: Jet, over: IntervalJet, h: f64) -> (f64, f64) {
    let first = over.v.size() * h;
    let second = here.v.abs() * h + 0.5 * over.a.size() * h * h;
    let by = if second < first { second } else { first };
    (over.p.lo.max(here.p - by), over.p.hi.min(here.p + by))
}
