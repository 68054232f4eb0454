//! Checks read the move and change nothing.
//!
//! Invariant: every verdict comes from exact extremes of the pieces, none from samples; nothing is printed here.

pub mod advice;
pub mod apart;
pub mod between;
pub mod changes;
pub mod clearance;
pub mod fastest;
pub mod findings;
pub mod held;
pub mod lag;
pub mod limits;
pub mod meeting;
pub mod motion_bound;
pub mod nearest;
pub mod pixels;
pub mod rail;
pub mod register;
pub mod report;
pub mod slack;
pub mod take_up;
pub mod torque;
pub mod within;

use rayon::prelude::*;

use crate::bounds::with_unit;
use crate::compile::{Edge, Move, SLACK};
use crate::motion::{Extreme, Peaks};
use crate::number::whole;
use crate::shot::{Exposure, Pass, Shot};
use crate::stage::{Axis, Stage};

pub use clearance::ClearanceReport;
pub use report::{AxisReport, Fastest, Finding, HeldReport, Limit, Part, PassReport, Report, Violation};

use torque::Torque;

/// Checks every pass of a compiled shot. `files` are the names of the input files, for places in messages.
#[must_use]
pub fn check(stage: &Stage, shot: &Shot, mv: &Move, files: &[String]) -> Report {
    let mut passes: Vec<PassReport> = shot
        .passes()
        .iter()
        .map(|pass| match pass.exposure() {
            Exposure::Moving => moving(stage, shot, mv, pass, files),
            Exposure::Held => held_pass(stage, shot, mv, pass, files),
        })
        .collect();
    let mut gaps = Vec::new();
    for (i, (pass, report)) in shot.passes().iter().zip(passes.iter_mut()).enumerate() {
        report.clearance = met(stage, shot, mv, pass, shot.passes().iter().take(i).zip(&gaps));
        report.violations.extend(meeting::violations(stage, shot, mv, pass, report.clearance.as_ref(), files));
        gaps.push(report.clearance.clone());
    }
    for (i, pass) in shot.passes().iter().enumerate() {
        let Some((report, earlier)) = passes.get_mut(..=i).and_then(<[PassReport]>::split_last_mut) else { continue };
        // Passes that come to the same start in the same way share what is near on it.
        report.way_clearance = match earlier.iter().find(|p| p.take_up == report.take_up) {
            Some(known) => known.way_clearance.clone(),
            None => clearance::on_the_way(stage, shot, pass, &report.take_up),
        };
    }
    let reversals: Vec<Vec<f64>> = mv.axes().iter().map(take_up::reversals).collect();
    let registration = register::register(stage, shot, mv);
    for pair in &registration.pairs {
        let misses = pair.misses.iter().map(|m| out_of_register(stage, shot, pair, m));
        if let Some(second) = passes.get_mut(pair.second) {
            second.violations.extend(misses);
        }
    }
    let mut findings = findings::findings(stage, shot, mv, &reversals);
    findings.extend(passes.iter().flat_map(|p| meeting::on_the_way(stage, &p.name, p.way_clearance.as_ref())));
    let pixels = pixels::pixels(stage, shot, mv);
    findings.extend(pixels::findings(stage, &pixels));
    Report { passes, findings, reversals, pixels, lag_between_paces: lag::between_paces(stage, shot, mv), registration }
}

/// A miss of registration as something over a limit: it belongs to the second pass of the pair.
fn out_of_register(stage: &Stage, shot: &Shot, pair: &register::Pair, m: &register::Miss) -> Violation {
    let frame = whole::real(m.frame);
    let count = |c: Option<i64>| c.map_or(f64::NAN, whole::real);
    let other = shot.passes().get(pair.first).map_or("", Pass::name);
    let (value, allowed) = (count(m.second), count(m.first));
    Violation {
        axis: m.axis,
        limit: Limit::Register,
        part: Part::Photographed,
        frame,
        span: (frame, frame),
        value,
        allowed,
        between: between::between(stage, shot, m.axis, frame),
        advice: Vec::new(),
        message: format!(
            "{}: does not register with pass {other}: {value} steps instead of {allowed} at shutter {} of frame {}, and at {} frames in all",
            stage.axis_name(m.axis),
            m.instant.name(),
            m.frame,
            m.frames
        ),
    }
}

/// Clearance of a pass; that of an earlier one where the same groups are parked, since the pace does not matter.
fn met<'a>(
    stage: &Stage,
    shot: &Shot,
    mv: &Move,
    pass: &Pass,
    mut earlier: impl Iterator<Item = (&'a Pass, &'a Option<ClearanceReport>)>,
) -> Option<ClearanceReport> {
    let parked = |p: &Pass| -> Vec<bool> { (0..stage.axes().len()).map(|a| p.parks(stage, a)).collect() };
    let same = |p: &Pass| p.exposure() == pass.exposure() && parked(p) == parked(pass);
    match earlier.find(|(p, _)| same(p)) {
        Some((_, known)) => known.clone(),
        None => clearance::clearance(stage, shot, mv, pass),
    }
}

fn moving(stage: &Stage, shot: &Shot, mv: &Move, pass: &Pass, files: &[String]) -> PassReport {
    let pace = pass.pace().get();
    let indexed: Vec<(usize, &Axis)> = stage.axes().iter().enumerate().collect();
    let checked: Vec<(AxisReport, Vec<Violation>)> = indexed
        .par_iter()
        .with_min_len(16)
        .filter_map(|(i, axis)| {
            let m = mv.axes().get(*i)?;
            let parked = pass.parks(stage, *i);
            if parked {
                let frame = whole::real(shot.frames().first());
                return Some((parked_report(*i, axis, frame), Vec::new()));
            }
            let part = |p: Option<Peaks>| p.map(|p| limits::stretch(axis, &p, pace));
            let report = AxisReport {
                axis: *i,
                parked,
                photographed: limits::stretch(axis, m.peaks(), pace),
                run_up: part(m.edge_peaks(Edge::RunUp)),
                run_down: part(m.edge_peaks(Edge::RunDown)),
                torque: Torque::of(axis).and_then(|t| {
                    let pieces = m.curve().pieces();
                    t.worst(pieces, pace)
                }),
            };
            let mut found = Vec::new();
            for (which, s) in
                [(Part::RunUp, report.run_up), (Part::Photographed, Some(report.photographed)), (Part::RunDown, report.run_down)]
            {
                let Some(s) = s else { continue };
                found.extend(limits::stretches(axis, m, which, &s, pace).iter().map(|o| violation(stage, shot, *i, o, files)));
            }
            found.extend(torque_violation(stage, shot, mv, *i, &report, files));
            found.extend(break_violations(stage, shot, *i, m.breaks(), files));
            Some((report, found))
        })
        .collect();
    let (axes, found): (Vec<_>, Vec<_>) = checked.into_iter().unzip();
    let mut violations: Vec<Violation> = found.into_iter().flatten().collect();
    for (axis, over) in slack::slack(stage, shot, pass) {
        let mut v = violation(stage, shot, axis, &over, files);
        let keys = between::clause(v.between.as_ref(), files);
        v.message = format!(
            "{}: gravity cannot keep the wire taut at frame {:.2}: the limb would have to follow with {}, and gravity gives {}{keys}",
            stage.axis_name(axis),
            over.frame,
            shown(over.value, "deg/s2"),
            shown(over.allowed, "deg/s2")
        );
        violations.push(v);
    }
    advice::advise(stage, shot, mv, pass, &mut violations);
    for v in &mut violations {
        explain_no_room(stage, mv, v);
    }
    PassReport {
        clearance: None,
        way_clearance: None,
        name: pass.name().to_owned(),
        exposure: pass.exposure(),
        seconds_per_frame: pace,
        duration: pass.pace().seconds_of(whole::count(shot.frames().count()) + f64::from(mv.run_up()) + f64::from(mv.run_down())),
        run_up: mv.run_up(),
        run_down: mv.run_down(),
        fastest: fastest::fastest(stage, mv.axes(), &|i| !pass.parks(stage, i)),
        axes,
        violations,
        take_up: take_up::take_up(stage, shot, pass, mv),
        held: None,
    }
}

fn held_pass(stage: &Stage, shot: &Shot, mv: &Move, pass: &Pass, files: &[String]) -> PassReport {
    let plan = held::plan(stage, shot, pass, mv);
    let mut violations: Vec<Violation> =
        stretches_too_long(&plan.too_long).iter().map(|(t, last)| too_long(stage, shot, t, *last, plan.report.available, files)).collect();
    for (i, t) in plan.torque.iter().enumerate() {
        let Some(t) = t.filter(|t| t.demand > t.available * (1.0 + SLACK)) else { continue };
        let over = limits::Over {
            limit: Limit::Torque,
            part: Part::Photographed,
            frame: t.frame,
            span: (t.frame - 0.5, t.frame + 0.5),
            value: t.demand,
            allowed: t.available,
        };
        violations.push(violation(stage, shot, i, &over, files));
    }
    let slowest = plan.report.moves.iter().map(|m| m.seconds).fold(0.0, f64::max);
    if !plan.too_long.is_empty() && pass.shutter().fraction() < 1.0 {
        let needed = (slowest + pass.settle()) / (1.0 - pass.shutter().fraction());
        let needed = (needed * 100.0).ceil() / 100.0;
        // Seconds between exposures grow with the pace alone, so the pace is tried by the same sum that refused.
        if needed * (1.0 - pass.shutter().fraction()) - pass.settle() >= slowest {
            for v in violations.iter_mut().filter(|v| v.limit != Limit::Torque) {
                v.advice.push(format!("run the pass at {needed} s a frame or slower, or close the shutter further: every move then fits"));
            }
        }
    }
    for (i, s) in plan.axes.iter().enumerate() {
        let room = SLACK * (s.position.upper - s.position.lower);
        for (value, frame, allowed, out) in [
            (s.position.min, s.position.min_frame, s.position.lower, !(s.position.lower - room <= s.position.min)),
            (s.position.max, s.position.max_frame, s.position.upper, !(s.position.max <= s.position.upper + room)),
        ] {
            if out {
                let over = limits::Over { limit: Limit::Position, part: Part::Photographed, frame, span: (frame, frame), value, allowed };
                violations.push(violation(stage, shot, i, &over, files));
            }
        }
    }
    let axes = plan
        .axes
        .into_iter()
        .enumerate()
        .map(|(i, photographed)| AxisReport {
            axis: i,
            parked: pass.parks(stage, i),
            photographed,
            run_up: None,
            run_down: None,
            torque: plan.torque.get(i).copied().flatten().filter(|_| !pass.parks(stage, i)),
        })
        .collect();
    PassReport {
        clearance: None,
        way_clearance: None,
        name: pass.name().to_owned(),
        exposure: pass.exposure(),
        seconds_per_frame: pass.pace().get(),
        duration: pass.pace().seconds_of(whole::count(shot.frames().count())),
        run_up: 0,
        run_down: 0,
        fastest: fastest::fastest(stage, mv.axes(), &|i| !pass.parks(stage, i)),
        axes,
        violations,
        take_up: take_up::take_up(stage, shot, pass, mv),
        held: Some(plan.report),
    }
}

fn parked_report(index: usize, axis: &Axis, frame: f64) -> AxisReport {
    let at = |value| Extreme { value, at: frame };
    let still = Peaks { least: at(axis.home()), greatest: at(axis.home()), velocity: at(0.0), acceleration: at(0.0), jerk: at(0.0) };
    AxisReport { axis: index, parked: true, photographed: limits::stretch(axis, &still, 1.0), run_up: None, run_down: None, torque: None }
}

fn violation(stage: &Stage, shot: &Shot, axis: usize, over: &limits::Over, files: &[String]) -> Violation {
    let unit = stage.axes().get(axis).map_or("", |a| a.unit().symbol());
    let name = stage.axis_name(axis);
    let keys = between::between(stage, shot, axis, over.frame);
    let unit = over.limit.unit(unit);
    let what = match over.limit {
        Limit::Position => format!("{} leaves the travel, which ends at {}", shown(over.value, &unit), shown(over.allowed, &unit)),
        _ => format!("{} is over the limit of {}", shown(over.value, &unit), shown(over.allowed, &unit)),
    };
    let part = match over.part {
        Part::RunUp => ", in the run-up",
        Part::RunDown => ", in the run-down",
        Part::Photographed => "",
    };
    let keys_in_words = between::clause(keys.as_ref(), files);
    Violation {
        axis,
        limit: over.limit,
        part: over.part,
        frame: over.frame,
        span: over.span,
        value: over.value,
        allowed: over.allowed,
        between: keys,
        advice: Vec::new(),
        message: format!("{name}: {} of {what} at frame {:.2}{part}{keys_in_words}", over.limit.name(), over.frame),
    }
}

/// A number with its unit, to six significant digits, which is what a person compares by.
fn shown(value: f64, unit: &str) -> String {
    let size = value.abs();
    let text = if size != 0.0 && !(1e-3..1e7).contains(&size) {
        format!("{value:.5e}")
    } else {
        let mut decimals = 6_usize;
        let mut bound = 1.0;
        while decimals > 0 && size >= bound {
            bound *= 10.0;
            decimals -= 1;
        }
        let text = format!("{value:.decimals$}");
        if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
    };
    with_unit_text(&text, unit)
}

fn with_unit_text(text: &str, unit: &str) -> String {
    if unit.is_empty() { text.to_owned() } else { format!("{text} {unit}") }
}

fn torque_violation(stage: &Stage, shot: &Shot, mv: &Move, axis: usize, report: &AxisReport, files: &[String]) -> Option<Violation> {
    let t = report.torque?;
    if t.demand <= t.available * (1.0 + SLACK) {
        return None;
    }
    let (from, to) = shot.frames().photographed();
    let part = if t.frame < from {
        Part::RunUp
    } else if t.frame > to {
        Part::RunDown
    } else {
        Part::Photographed
    };
    let span = mv.axes().get(axis).and_then(|m| m.curve().piece_at(t.frame)).map_or((t.frame, t.frame), |p| (p.start, p.end));
    let over = limits::Over { limit: Limit::Torque, part, frame: t.frame, span, value: t.demand, allowed: t.available };
    Some(violation(stage, shot, axis, &over, files))
}

/// A step in acceleration is jerk without bound: over any limit of it.
fn break_violations(stage: &Stage, shot: &Shot, axis: usize, breaks: &[crate::compile::Break], files: &[String]) -> Vec<Violation> {
    let limit = stage.axes().get(axis).map_or(0.0, |a| a.limits().jerk);
    breaks
        .iter()
        .map(|b| {
            let over = limits::Over {
                limit: Limit::Jerk,
                part: Part::Photographed,
                frame: b.at,
                span: (b.at, b.at),
                value: f64::INFINITY,
                allowed: limit,
            };
            let mut v = violation(stage, shot, axis, &over, files);
            v.message = format!(
                "{}: acceleration steps at frame {}, so jerk has no bound and is over the limit of {}; give the track a `blend`",
                stage.axis_name(axis),
                b.at,
                with_unit(limit, &Limit::Jerk.unit(stage.axes().get(axis).map_or("", |a| a.unit().symbol())))
            );
            v
        })
        .collect()
}

/// Runs of neighbouring frames of one axis that do not fit, each as its slowest move and its last frame.
fn stretches_too_long(all: &[held::TooLong]) -> Vec<(held::TooLong, i64)> {
    let mut runs: Vec<(held::TooLong, i64)> = Vec::new();
    for t in all {
        match runs.last_mut() {
            Some((worst, last)) if worst.axis == t.axis && *last + 1 == t.from => {
                *last = t.from;
                if t.seconds > worst.seconds {
                    *worst = held::TooLong { first: worst.first, ..*t };
                }
            }
            _ => runs.push((*t, t.from)),
        }
    }
    runs
}

fn too_long(stage: &Stage, shot: &Shot, t: &held::TooLong, last: i64, room: f64, files: &[String]) -> Violation {
    let frame = whole::real(t.from) + 0.5;
    let over = limits::Over {
        limit: t.limit,
        part: Part::Photographed,
        frame,
        span: (whole::real(t.first), whole::real(last) + 1.0),
        value: t.value,
        allowed: t.allowed,
    };
    let mut v = violation(stage, shot, t.axis, &over, files);
    let keys = between::clause(v.between.as_ref(), files);
    let others = match last - t.first {
        0 => String::new(),
        n => format!("; so do {n} more of the moves from frame {} to {}", t.first, last + 1),
    };
    v.message = format!(
        "{}: the move from frame {} to {} takes {:.3} s within its limits, and {:.3} s lie between the exposures{keys}; {} binds{others}",
        stage.axis_name(t.axis),
        t.from,
        t.from + 1,
        t.seconds,
        room.max(0.0),
        t.limit.name()
    );
    v
}

/// Says of a run-up or run-down without room what it is.
fn explain_no_room(stage: &Stage, mv: &Move, v: &mut Violation) {
    let edge = match v.part {
        Part::RunUp => Edge::RunUp,
        Part::RunDown => Edge::RunDown,
        Part::Photographed => return,
    };
    if !mv.no_room().iter().any(|n| n.axis == v.axis && n.edge == edge) {
        return;
    }
    let name = stage.axis_name(v.axis);
    let unit = stage.axes().get(v.axis).map_or("", |a| a.unit().symbol());
    let (side, frames) = match edge {
        Edge::RunUp => ("first", mv.run_up()),
        Edge::RunDown => ("last", mv.run_down()),
    };
    let needs =
        if v.limit == Limit::Position { format!("; it needs {} more", shown((v.value - v.allowed).abs(), unit)) } else { String::new() };
    v.message = format!(
        "{}; {name} is moving at the {side} exposure and no {} of 1 to {} frames has room (shown: {frames} frames{needs})",
        v.message,
        edge.name(),
        crate::compile::LONGEST_RUN
    );
}
