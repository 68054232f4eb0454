//! Every sentence about what a check found: for the terminal, the page and the JSON alike.
//!
//! Form: no full stop at the end; numbers with their unit. Invariant: nothing is judged here.

mod camera;
mod exposed;
mod focus;
mod hang;
pub(crate) mod haze;
mod motors;
mod paces;
mod stopping;
mod swing;

use super::figures::{distinct, figure, most};
pub(crate) use super::gap_words::{gap, nearest, pair};
use super::notes::{FLICKER, Note, NoteKind};
use super::register::Pair;
use super::report::Report;
use super::violation::{At, Between, Cause, Fix, Limit, Part, Subject, Violation};
use crate::bounds::with_unit;
pub(crate) use crate::bounds::{count, counted};
pub(crate) use exposed::test_pass;
pub(crate) use hang::line as hang_line;
pub(crate) use paces::{hindrance, runnable};
pub(crate) use stopping::against;
pub(crate) use swing::{line as swing_line, settling_line, short as swing_short, shortest};

use crate::compile::{Compiled, LONGEST_RUN};
use crate::mechanism::OutOfReach;
use crate::number::directed::{self, Places};
use crate::program::{Leg, Program};
use crate::shot::{Copy, Pass};
use crate::stage::{GroupId, Stage};

/// One sentence about an exceeded limit.
#[must_use]
pub(crate) fn violation(compiled: &Compiled, v: &Violation) -> String {
    let stage = compiled.stage();
    let id = v.subject.axis();
    let name = stage.axis_name(id);
    let unit = v.limit.unit(stage.axis(id).unit().symbol());
    let keys = v.between.as_ref().map_or(String::new(), |b| format!(", {}", keys(compiled, b)));
    let (value, allowed) = distinct(v.value, v.allowed, &unit);
    let when = instant(v.at);
    let part = if v.part == Part::Photographed { String::new() } else { format!(", in the {}", part_name(v.part)) };
    let plain = || {
        let what = match v.limit {
            Limit::Position => format!("position {value} is outside the travel, which ends at {allowed}"),
            limit => format!("{} {value} exceeds the limit of {allowed}", spoken(limit)),
        };
        format!("{name}: {what} at {when}{part}{keys}")
    };
    match (&v.cause, &v.subject) {
        (Cause::Gap, Subject::Pair(nearest, _)) => {
            let look = v.between.as_ref().map_or(String::new(), |b| format!(", {name}: {}", self::keys(compiled, b)));
            format!("{}{look}", gap(stage, nearest, &when))
        }
        (Cause::NoRoom, _) => {
            let (side, run, frames) = match v.part {
                Part::RunDown => ("last", "run-down", compiled.run_down()),
                _ => ("first", "run-up", compiled.run_up()),
            };
            let needs = if v.limit == Limit::Position {
                format!("; it needs {} more", figure((v.value - v.allowed).abs(), stage.axis(id).unit().symbol()))
            } else {
                String::new()
            };
            format!(
                "{}; {name} is moving at the {side} exposure and no {run} of 1 to {LONGEST_RUN} frames fits (shown: {}{needs})",
                plain(),
                count(u64::from(frames), "frame")
            )
        }
        (Cause::Step, _) => format!(
            "{name}: acceleration steps at {when}, so jerk is unbounded and exceeds the limit of {}; give the track a `blend`",
            with_unit(v.allowed, &unit)
        ),
        (Cause::TooLong { from, to, stretch: (first, last), moves, seconds, available }, _) => {
            let others = match moves.saturating_sub(1) {
                0 => String::new(),
                n => {
                    format!("; {} from frame {first} to {last} also {}", count(n, "more move"), if n == 1 { "fails" } else { "fail" })
                }
            };
            format!(
                "{name}: the move from frame {from} to {to} takes {} s; only {} s are available between exposures{keys}; limited by {}{others}",
                directed::up(seconds.0, Places::Decimals(3)),
                directed::down(available.0.max(0.0), Places::Decimals(3)),
                spoken(v.limit)
            )
        }
        (Cause::Slack, _) => {
            format!(
                "{name}: gravity cannot keep the wire taut at {when}{part}: the limb would need {value}, and gravity gives {allowed}{keys}"
            )
        }
        (Cause::ClosedTooShort(angle), _) => camera::closed_too_short(*angle, [&value, &allowed, &when]),
        (Cause::OpenTooLong, _) => camera::open_too_long([&value, &allowed]),
        (Cause::Hang { wire, share }, _) => hang::slack(&self::subject(stage, &v.subject), *wire, *share, [v.value, v.allowed], &when),
        (Cause::Stopping(to), _) => stopping::exceeded(stage, name, *to, [&value, &allowed, &when, &keys]),
        (Cause::Swing(mode), _) => {
            let who = swing::who(&self::subject(stage, &v.subject), *mode);
            swing::exceeded(&who, v.value, [&value, &allowed, &when, &keys])
        }
        (Cause::OutOfReach(why), _) => {
            let stuck = v.part.edge().is_some_and(|e| compiled.no_room().iter().any(|n| n.edge == e && n.axis == id));
            let none = if stuck { format!("; no {} of 1 to {LONGEST_RUN} frames helps", part_name(v.part)) } else { String::new() };
            let what = match why {
                Some(OutOfReach::Range { least, most, unit, .. }) => {
                    format!(
                        "the mechanism cannot reach {value} at {when}{part}; it reaches {} to {}",
                        figure(*least, ""),
                        figure(*most, unit)
                    )
                }
                Some(error) => {
                    format!("the mechanism cannot reach its position at {when}{part}: {error}; {name} is within reach up to {allowed}")
                }
                None => format!("not proven that the mechanism can reach its position at {when}{part}; proven up to {allowed}"),
            };
            format!("{name}: {what}{none}{keys}")
        }
        (Cause::OtherCount { pass, instant, frames }, _) => {
            let other = compiled.shot().passes().get(*pass).map(Pass::name).unwrap_or_default();
            format!(
                "{name}: does not register with pass {other}: step {} instead of {} at shutter {} of {when}, and in {} in all",
                v.value,
                v.allowed,
                instant.name(),
                count(u64::try_from(*frames).unwrap_or(u64::MAX), "frame")
            )
        }
        (Cause::Gap | Cause::Curve, _) => plain(),
    }
}

/// A fix, as what to do.
#[must_use]
pub(crate) fn fix(compiled: &Compiled, v: &Violation, fix: &Fix) -> String {
    let stage = compiled.stage();
    let axis = stage.axis_name(v.subject.axis());
    let channel = |track: &usize| compiled.shot().tracks().get(*track).map(|t| stage.channel_name(t.channel())).unwrap_or_default();
    let mended = match &v.subject {
        Subject::Axis(_) | Subject::Body(..) | Subject::Shutter(_) => format!("{axis} is then within its limits"),
        Subject::Pair(nearest, _) => {
            let (a, b) = pair(stage, nearest);
            format!("{a} and {b} then keep their clearance")
        }
    };
    match fix {
        Fix::CopyDelay { copy, delay } => {
            let name = |of: fn(&Copy) -> GroupId| compiled.shot().copies().get(*copy).map(|c| stage.group_name(of(c))).unwrap_or_default();
            format!("write `delay = {delay}` in the copy from {} to {}: {mended}", name(Copy::from), name(Copy::to))
        }
        Fix::Later { group, delay } => {
            let others = if compiled.shot().retimes().is_empty() { "" } else { " above the others" };
            format!("add a retime{others}, `groups = [\"{}\"]` and `delay = {delay}`: {mended}", stage.group_name(*group))
        }
        Fix::Pace(t) => {
            format!(
                "run the pass at {t} s per frame or slower: every limit that depends on the pace then holds, from the move to start to the return home"
            )
        }
        Fix::Trim { group, wire, mass, share } => hang::trim(stage, *group, *wire, *mass, *share),
        Fix::Weight(weight) => hang::weight(weight),
        Fix::Settle(seconds) => {
            format!(
                "let it settle between the move to start and the run-up, `settle = {seconds}`: its swing during exposures is then within its limit"
            )
        }
        Fix::HeldPace(t) => format!("run the pass at {t} s per frame or slower, or choose a smaller shutter angle: every move then fits"),
        Fix::Monotone(track) => format!(
            "give the track of {} the shape `monotone`, which stays between its keys: {axis} is then within its limits",
            channel(track)
        ),
        Fix::Rests { track, shape, edge } => format!(
            "give the track of {} the shape `{}`, which rests at its first and last key: {axis} then has its {}",
            channel(track),
            shape.name(),
            edge.name()
        ),
        Fix::KeyValue { track, key, value } => {
            format!("give key {} of {} the value {value}: {mended}", key + 1, channel(track))
        }
        Fix::KeyAt { track, key, frame, .. } => {
            format!("put key {} of {} at frame {frame}: {mended}", key + 1, channel(track))
        }
    }
}

/// How long a leg of a pass takes, and from where; or that it cannot be done.
#[must_use]
pub(crate) fn leg(program: &Program, leg: Leg) -> String {
    let stage = program.compiled().stage();
    match (program.way().too_weak(), leg) {
        (Some(id), _) => format!("none; the motor of {} cannot hold its load at standstill", stage.axis_name(id)),
        (None, leg) => {
            let slowest = program.way().slowest(leg).map_or(String::new(), |id| format!(" ({})", stage.axis_name(id)));
            match leg {
                Leg::MoveToStart => format!("{}{slowest}", program.clock().begin()),
                Leg::ReturnHome => format!("{}{slowest}", program.way().back()),
            }
        }
    }
}

/// One sentence about a note.
#[must_use]
pub(crate) fn note(compiled: &Compiled, n: &Note) -> String {
    let stage = compiled.stage();
    let name = n.axis.map_or("", |id| stage.axis_name(id));
    let unit = n.axis.map_or("", |id| stage.axis(id).unit().symbol());
    let (value, frame) = (n.value.unwrap_or_default(), n.frame.map_or(0.0, |f| f.0));
    match &n.kind {
        NoteKind::Overshoot { keys: [low, high], .. } => format!(
            "{name}: overshoots its keys ({low} to {high} {unit}) by {} at frame {frame:.2}; the shape `monotone` does not",
            figure(value, unit)
        ),
        NoteKind::AccelerationStep => format!(
            "{name}: acceleration steps by {} at frame {frame}, so jerk is unbounded; give the track a `blend`",
            figure(value, &format!("{unit}/frame2"))
        ),
        NoteKind::AtZero { channel } => {
            let (name, unit) = (stage.channel_name(*channel), stage.channel_unit(*channel));
            format!(
                "{name}: only cycles drive it and their amount is 0 at frame {frame:.2}: it stands at 0 {unit}, {} from home; \
                 add a track at home if it should stay there",
                figure(value, unit)
            )
        }
        NoteKind::NeverMoves { driven } => {
            let why = if *driven { "its layers keep it still" } else { "nothing drives it" };
            format!("{name}: never moves in the photographed span; {why}")
        }
        NoteKind::Reversals { times, steps } => format!(
            "{name}: reverses {} in the photographed span (first: frame {frame:.2}); each may lose {steps:.1} steps to backlash ({value} {unit})",
            if *times == 1 { "once".to_owned() } else { format!("{times} times") }
        ),
        NoteKind::TorqueUnchecked => {
            format!("{name}: torque is not checked; the stage file gives no load, rotor inertia or torque table")
        }
        NoteKind::BlendedCorner => {
            format!("{name}: the corner at frame {frame} misses its key by {} (`blend`)", figure(value, unit))
        }
        NoteKind::Pixels { camera, backlash } => format!(
            "{name}: {} shows as {value:.2} px ({}, frame {frame:.2})",
            if *backlash { "backlash" } else { "one step" },
            stage.group_name(*camera)
        ),
        NoteKind::Openings { per_exposure } if *per_exposure > FLICKER => format!(
            "{name}: flickers: up to {} openings per exposure (limit {FLICKER}) at frame {frame:.2}; turn it slower",
            most(*per_exposure, "")
        ),
        NoteKind::Openings { per_exposure } => {
            format!("{name}: no flicker: at most {} openings per exposure (limit {FLICKER})", most(*per_exposure, ""))
        }
        NoteKind::RopeStretch { height } => {
            format!(
                "{name}: the rope stretches by up to {} mm under its load, at a height of {height:.1} mm (frame {frame:.2})",
                most(value, "")
            )
        }
        NoteKind::NearSingular { limit: Limit::Position } => format!(
            "{name}: near frame {frame:.2} the mechanism is close to singular: the position there is uncertain by up to {} steps",
            most(value, "")
        ),
        NoteKind::NearSingular { limit } => format!(
            "{name}: near frame {frame:.2} the mechanism is close to singular: the {} there is uncertain by up to {} % of its limit; keep further away from that place",
            spoken(*limit),
            directed::up(value, Places::Decimals(2))
        ),
        NoteKind::SharpPlate { held, moving } => format!(
            "pass {held} stops for each exposure, pass {moving} moves: a sharp clean plate cannot patch a blurred picture; \
             add a moving clean pass with the shutter and stop of {moving}, gobos running"
        ),
        NoteKind::PixelsSampled { stride } => {
            format!("what a step is worth in the picture was looked at in one of {stride} frames: the shot is long")
        }
        NoteKind::Covers { camera, front, behind } => {
            let frames = if value == 1.0 { "1 frame".to_owned() } else { format!("{value} frames") };
            let [front, behind, camera] = [front, behind, camera].map(|g| stage.group_name(*g));
            format!(
                "{front} covers {behind} in the picture of {camera}, by the outlines of their proxies, in {frames}, first at frame {frame:.0}"
            )
        }
        NoteKind::LeavesPicture { camera, figure, rods } => {
            let (what, verb) = if *rods {
                (format!("rods of {}", stage.group_name(*figure)), "leave")
            } else {
                (stage.group_name(*figure).to_owned(), "leaves")
            };
            let frames = if value == 1.0 { "1 frame".to_owned() } else { format!("{value} frames") };
            format!("{what} {verb} the picture of {}: not wholly in it in {frames}, first at frame {frame:.2}", stage.group_name(*camera))
        }
        NoteKind::LostInHaze { figure } => haze::lost(stage.group_name(*figure), value, frame),
        NoteKind::OutOfFocus { passes, what, stop, last, chosen } => focus::soft((passes, what), *stop, (frame, *last, value), *chosen),
        NoteKind::FewPixels { camera, figure } => format!(
            "{} is only {value:.1} pixels large in the picture of {} (frame {frame:.2})",
            stage.group_name(*figure),
            stage.group_name(*camera)
        ),
        NoteKind::PixelAspect { camera, said } => format!(
            "{}: `film_back` and `pixels` make pixels {value:.3} times as wide as high; the stage file says {said}. Correct them, or set `pixel_aspect`",
            stage.group_name(*camera)
        ),
        NoteKind::BreathingUnused { camera } => format!(
            "{}: `breathing` is not used: the group has no channel `focus_distance` in mm; the focal length stays {value} mm",
            stage.group_name(*camera)
        ),
        NoteKind::FocusOutsideBreathing { camera, last } => format!(
            "{}: the focus is outside the table `breathing` in frames {frame} to {} ({} at the first); the focal length at its end is used",
            stage.group_name(*camera),
            last.0,
            figure(value, "mm")
        ),
        NoteKind::BrakeNotStated => stopping::brake_not_stated(name),
        NoteKind::Drops => stopping::drops(name, value),
        NoteKind::CoastsTooFar { pass, room } => {
            stopping::coasts(name, pass, [&figure(value, unit), &figure(*room, unit), &format!("frame {frame:.2}")])
        }
        NoteKind::StoppingUnknown { pass } => {
            format!(
                "pass {pass}, {name}: room to stop was not looked at: the budget of work is used up; --large allows a thousand times as much"
            )
        }
        NoteKind::InertiaRatio => motors::inertia(name, value),
        NoteKind::Resonance { pass, band } => motors::resonance(pass, name, *band, [&figure(value, "s"), &format!("{frame:.2}")]),
        NoteKind::Grain { pass, camera, steps, frames } => {
            motors::grain(&format!("pass {pass}, {name}"), stage.group_name(*camera), (*steps, *frames), value, frame)
        }
        NoteKind::HangUnknown { pass, group } => hang::unknown(pass, stage.group_name(*group)),
        NoteKind::WireOverloaded { pass, group, wire, allowed } => {
            hang::overloaded(pass, stage.group_name(*group), *wire, [value, *allowed])
        }
        NoteKind::StallBreaks { group, breaking } => hang::stall_breaks(name, stage.group_name(*group), [value, *breaking]),
        NoteKind::SwingUnknown { pass, group, why } => swing::unknown(pass, stage.group_name(*group), "the swing", *why),
        NoteKind::SettlingUnknown { pass, group, why } => swing::unknown(pass, stage.group_name(*group), "the time to settle", *why),
        NoteKind::GapsNotProven => "some gaps are neither proven nor disproven; --large searches up to a thousand times as far".to_owned(),
        NoteKind::FixesNotTried => {
            "not every fix was tried: the budget of work for trials is used up; --large allows a thousand times as much".to_owned()
        }
        NoteKind::WayClearance { pass, leg, nearest, at } => {
            let (what, cure) = match leg {
                Leg::MoveToStart => ("move to start", "move the axes to their starts one after the other"),
                Leg::ReturnHome => ("return home", "bring the axes home one after the other"),
            };
            format!("pass {pass}, {what}: {}; {cure}", gap(stage, nearest, &format!("{:.1} s", at.0)))
        }
    }
}

/// Two passes compared, in a sentence.
#[must_use]
pub(crate) fn registration(report: &Report, pair: &Pair) -> String {
    let name = |i: usize| report.passes.get(i).map(super::PassReport::name).unwrap_or_default();
    format!("passes {} and {} {}", name(pair.first), name(pair.second), how_they_match(report, pair))
}

/// How two passes match, as what follows their names.
#[must_use]
pub(crate) fn how_they_match(report: &Report, pair: &Pair) -> String {
    let stage = report.compiled.stage();
    if !pair.misses.is_empty() {
        return format!("do not register: {} of {} are on different steps", pair.misses.len(), axes(pair.live));
    }
    let parked = if pair.parked.is_empty() { String::new() } else { format!(" ({} parked)", pair.parked.len()) };
    let at = if pair.same_blur { "at shutter open, middle and close" } else { "at mid-exposure" };
    let mut sentences = vec![format!("match step for step {at} on {}{parked}", axes(pair.live))];
    if !pair.same_blur {
        sentences.push("motion blur differs".to_owned());
    }
    if let Some(first) = pair.approaches.first() {
        sentences.push(format!(
            "{} approach from opposite directions (first: {}, {} {}): backlash may show",
            axes(pair.approaches.len()),
            stage.axis_name(first.axis),
            if first.frames == 1 { "at frame" } else { "from frame" },
            first.frame
        ));
    }
    sentences.join("; ")
}

/// How many limits are exceeded.
#[must_use]
pub(crate) fn exceeded(n: usize) -> String {
    format!("{} exceeded", limits(n))
}

/// A number of limits.
#[must_use]
pub(crate) fn limits(n: usize) -> String {
    counted(n, "limit")
}

/// The verdict where nothing is.
pub(crate) const WITHIN: &str = "every pass is within the limits that the stage file states";

/// A number of axes.
#[must_use]
pub(crate) fn axes(n: usize) -> String {
    counted(n, "axis")
}

/// A limit as people say it.
#[must_use]
pub(crate) fn spoken(limit: Limit) -> &'static str {
    match limit {
        Limit::StepRate => "step rate",
        other => other.name(),
    }
}

/// What the axis or pair of a violation is called.
#[must_use]
pub(crate) fn subject(stage: &Stage, subject: &Subject) -> String {
    match subject {
        Subject::Axis(axis) => stage.axis_name(*axis).to_owned(),
        Subject::Body(group, _) => stage.group_name(*group).to_owned(),
        Subject::Shutter(_) => "the camera".to_owned(),
        Subject::Pair(n, _) => {
            let (a, b) = pair(stage, n);
            format!("{a} and {b}")
        }
    }
}

fn part_name(part: Part) -> &'static str {
    match part {
        Part::MoveToStart => "move to start",
        Part::RunUp => "run-up",
        Part::Photographed => "photographed span",
        Part::RunDown => "run-down",
        Part::ReturnHome => "return home",
    }
}

fn instant(at: At) -> String {
    match at {
        At::Frame(frame) => format!("frame {:.2}", frame.0),
        At::Time(seconds) => format!("{:.1} s", seconds.0),
    }
}

/// The keys in words: `between key 2 (frame 120, shot.toml:14) and key 3 (frame 336, shot.toml:14)`.
fn keys(compiled: &Compiled, between: &Between) -> String {
    let name = |(index, frame, place): (usize, f64, crate::shot::Place)| {
        // Where a retime puts a key it seldom has a short number.
        let frame = (1000.0 * frame).round() / 1000.0;
        let file = usize::try_from(place.file).ok().and_then(|i| compiled.files().get(i));
        match file {
            Some(file) if place.line > 0 => format!("key {} (frame {frame}, {file}:{})", index + 1, place.line),
            _ => format!("key {} (frame {frame})", index + 1),
        }
    };
    let keys = match (between.before, between.after) {
        (Some(a), Some(b)) => format!("between {} and {}", name(a), name(b)),
        (Some(a), None) => format!("after {}, the last", name(a)),
        (None, Some(b)) => format!("before {}, the first", name(b)),
        (None, None) => return String::new(),
    };
    match between.copy.and_then(|i| compiled.shot().copies().get(i)) {
        Some(copy) => format!("{keys}, through the copy from {} with `delay = {}`", compiled.stage().group_name(copy.from()), copy.delay()),
        None => keys,
    }
}
