//! The check as text for people: passes, their axes with the most used first, what is over a limit and what would help.
//!
//! Form: plain columns that survive a narrow window and a printer; one accent, for what is over a limit.

use core::fmt::Write;

use crate::check::register::Pair;
use crate::check::report::{Peak, StretchReport};
use crate::check::{AxisReport, ClearanceReport, Limit, PassReport, Report, meeting};
use crate::output::manifest::NOTICE;
use crate::shot::{Exposure, Shot};
use crate::stage::Stage;
use crate::time::hms;

/// The whole text, ending in a line feed.
pub(super) fn text(stage: &Stage, shot: &Shot, report: &Report, colour: bool) -> String {
    let mut t = String::new();
    let frames = shot.frames();
    line(
        &mut t,
        &format!(
            "{}: {} axes, frames {} to {} at {} frames/s",
            shot.name(),
            stage.axes().len(),
            frames.first(),
            frames.last(),
            shot.frame_rate()
        ),
    );
    for pass in &report.passes {
        line(&mut t, "");
        pass_text(&mut t, stage, shot, pass, colour);
    }
    if !report.registration.pairs.is_empty() {
        line(&mut t, "");
    }
    let apart = report.lag_between_paces.iter().enumerate().filter_map(|(i, s)| s.map(|s| (i, s)));
    if let Some((axis, steps)) = apart.filter(|(_, s)| *s > 0.0).max_by(|a, b| a.1.total_cmp(&b.1)) {
        line(&mut t, &format!("rotor lag sets passes of different pace apart by {steps:.4} steps at most ({})", stage.axis_name(axis)));
    }
    for pair in &report.registration.pairs {
        line(&mut t, &registration(stage, shot, pair, colour));
    }
    if !report.findings.is_empty() {
        line(&mut t, "");
        line(&mut t, "worth knowing (over no limit)");
        findings(&mut t, stage, report);
    }
    line(&mut t, "");
    let verdict = if report.within_limits() {
        "every pass is within the limits that the stage file states".to_owned()
    } else {
        let n: usize = report.passes.iter().map(|p| p.violations.len()).sum();
        accent(&format!("{n} over a limit"), colour)
    };
    line(&mut t, &verdict);
    line(&mut t, NOTICE);
    t
}

fn line(t: &mut String, text: &str) {
    t.push_str(text);
    t.push('\n');
}

fn accent(text: &str, colour: bool) -> String {
    if colour { format!("\u{1b}[31m{text}\u{1b}[0m") } else { text.to_owned() }
}

fn pass_text(t: &mut String, stage: &Stage, shot: &Shot, p: &PassReport, colour: bool) {
    let shutter = shot.passes().iter().find(|q| q.name() == p.name).map_or(0.0, |q| q.shutter().degrees());
    line(
        t,
        &format!(
            "pass {}: {}, {} s a frame, shutter {} deg, takes {}",
            p.name,
            p.exposure.name(),
            p.seconds_per_frame,
            shutter,
            hms(p.duration)
        ),
    );
    if p.exposure == Exposure::Moving {
        line(t, &format!("  run-up {} frames, run-down {} frames", p.run_up, p.run_down));
    }
    line(
        t,
        &format!(
            "  before it {} from home to the start, backlash taken up; after it {} back home",
            hms(p.take_up.to_approach + p.take_up.to_start),
            hms(p.take_up.back)
        ),
    );
    for a in p.take_up.axes.iter().filter(|a| !a.has_room) {
        line(t, &format!("  {} has no room in its travel to take up its backlash before the start", stage.axis_name(a.axis)));
    }
    if let Some(held) = &p.held {
        let worst = held.moves.iter().max_by(|a, b| a.seconds.total_cmp(&b.seconds));
        if let Some(m) = worst {
            let who = m.slowest.map_or("nothing moves", |a| stage.axis_name(a));
            line(
                t,
                &format!(
                    "  moves between exposures: {:.3} s at most (frame {} to {}, {who}) of {:.3} s; each in {}.moves.csv",
                    m.seconds,
                    m.from,
                    m.from + 1,
                    held.available,
                    p.name
                ),
            );
        }
        if held.moves.len() <= FEW_MOVES {
            for chunk in held.moves.chunks(6) {
                let each: Vec<String> = chunk.iter().map(|m| format!("{}-{} {:.3} s", m.from, m.from + 1, m.seconds)).collect();
                line(t, &format!("    {}", each.join("   ")));
            }
        }
    }
    match p.fastest.limited_by {
        Some((axis, limit)) => line(
            t,
            &format!(
                "  fastest moving pace {:.4} s a frame, by {} of {}",
                p.fastest.seconds_per_frame,
                limit.name(),
                stage.axis_name(axis)
            ),
        ),
        None => line(t, "  nothing moves"),
    }
    if let Some(worst) = p.clearance.as_ref().and_then(ClearanceReport::worst) {
        line(t, &format!("  nearest: {}", meeting::sentence(stage, worst)));
    }
    axes_table(t, stage, p, colour);
    for v in &p.violations {
        line(t, &format!("  {} {}", accent("over:", colour), v.message));
        for a in &v.advice {
            line(t, &format!("        tried: {a}"));
        }
    }
}

/// Held moves are listed one by one up to this many; beyond it the written table has them.
const FEW_MOVES: usize = 60;

struct Row {
    name: String,
    share: f64,
    limit: Limit,
    value: f64,
    allowed: f64,
    unit: String,
    frame: f64,
    shares: [Option<f64>; 5],
    reach: (f64, f64),
}

fn axes_table(t: &mut String, stage: &Stage, p: &PassReport, colour: bool) {
    let mut rows: Vec<Row> = p.axes.iter().filter(|a| !a.parked).filter_map(|a| row(stage, a)).collect();
    rows.sort_by(|a, b| b.share.total_cmp(&a.share));
    let parked = p.axes.iter().filter(|a| a.parked).count();
    let width = rows.iter().map(|r| r.name.len()).max().unwrap_or(4).max(4);
    line(
        t,
        &format!(
            "  {:width$}  {:>6}  {:<12} {:>12} {:>12} {:<9} {:>8}   {:>5} {:>5} {:>5} {:>5} {:>5}   {:>11} {:>11}",
            "axis", "use", "of", "peak", "limit", "", "frame", "vel%", "acc%", "jerk%", "rate%", "torq%", "least", "greatest"
        ),
    );
    let mut still = 0;
    for r in &rows {
        if r.share == 0.0 {
            still += 1;
            continue;
        }
        let use_ = format!("{:>5.1}%", r.share * 100.0);
        let use_ = if r.share > 1.0 { accent(&use_, colour) } else { use_ };
        let mut shares = String::new();
        for s in r.shares {
            let _infallible = match s {
                Some(s) => write!(shares, " {:>5.1}", s * 100.0),
                None => write!(shares, " {:>5}", "-"),
            };
        }
        line(
            t,
            &format!(
                "  {:width$}  {use_}  {:<12} {:>12.4} {:>12.4} {:<9} {:>8.2}  {shares}   {:>11.3} {:>11.3}",
                r.name,
                r.limit.name(),
                r.value,
                r.allowed,
                r.unit,
                r.frame,
                r.reach.0,
                r.reach.1
            ),
        );
    }
    if still > 0 {
        line(t, &format!("  and {still} axes that stand still"));
    }
    if parked > 0 {
        line(t, &format!("  and {parked} axes parked at home"));
    }
}

/// The worst of an axis over run-up, photographed span and run-down.
fn row(stage: &Stage, a: &AxisReport) -> Option<Row> {
    let axis = stage.axes().get(a.axis)?;
    let unit = axis.unit().symbol();
    let parts: Vec<&StretchReport> = [Some(&a.photographed), a.run_up.as_ref(), a.run_down.as_ref()].into_iter().flatten().collect();
    let mut shares = [None; 5];
    let mut worst: Option<(f64, Limit, f64, f64, f64)> = None;
    let mut see = |slot: Option<&mut Option<f64>>, share: f64, limit: Limit, value: f64, allowed: f64, frame: f64| {
        if let Some(slot) = slot {
            *slot = Some(slot.map_or(share, |s: f64| s.max(share)));
        }
        if worst.is_none_or(|(s, ..)| share > s) {
            worst = Some((share, limit, value, allowed, frame));
        }
    };
    for s in &parts {
        let peaks: [(Limit, &Peak); 4] = [
            (Limit::Velocity, &s.velocity),
            (Limit::Acceleration, &s.acceleration),
            (Limit::Jerk, &s.jerk),
            (Limit::StepRate, &s.step_rate),
        ];
        for ((limit, peak), slot) in peaks.into_iter().zip(shares.iter_mut()) {
            if let (Some(share), Some(allowed)) = (peak.share(), peak.limit) {
                see(Some(slot), share, limit, peak.value, allowed, peak.frame);
            }
        }
        // Travel is a use of room, shown only where it is left: a figure near its soft end is no strain.
        let r = &s.position;
        let length = r.upper - r.lower;
        let (below, above) = (r.lower - r.min, r.max - r.upper);
        if below > 1e-9 * length {
            see(None, 1.0 + below / length, Limit::Position, r.min, r.lower, r.min_frame);
        }
        if above > 1e-9 * length {
            see(None, 1.0 + above / length, Limit::Position, r.max, r.upper, r.max_frame);
        }
    }
    if let (Some(torque), Some(slot)) = (a.torque, shares.last_mut()) {
        let share = if torque.available > 0.0 { torque.demand / torque.available } else { f64::INFINITY };
        see(Some(slot), share, Limit::Torque, torque.demand, torque.available, torque.frame);
    }
    let (share, limit, value, allowed, frame) = worst?;
    let moves = a.photographed.velocity.value > 0.0 || a.photographed.position.min < a.photographed.position.max;
    let share = if moves || share > 1.0 { share } else { 0.0 };
    let reach = parts.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), s| (lo.min(s.position.min), hi.max(s.position.max)));
    Some(Row { name: stage.axis_name(a.axis).to_owned(), share, limit, value, allowed, unit: limit.unit(unit), frame, shares, reach })
}

/// One line about two passes.
fn registration(stage: &Stage, shot: &Shot, pair: &Pair, colour: bool) -> String {
    let name = |i: usize| shot.passes().get(i).map_or("", |p| p.name());
    let who = format!("passes {} and {}", name(pair.first), name(pair.second));
    if !pair.misses.is_empty() {
        return accent(&format!("{who} do not register: {} axes miss", pair.misses.len()), colour);
    }
    let mut text = format!("{who} register to the step on {} axes", pair.live);
    text.push_str(if pair.same_blur { " at shutter open, middle and close" } else { " at mid-exposure; their blur differs" });
    if !pair.parked.is_empty() {
        let _infallible = write!(text, "; {} parked axes are left out", pair.parked.len());
    }
    if let Some(first) = pair.approaches.first() {
        let _infallible = write!(
            text,
            "; {} axes come into exposures from different sides (first {}, frame {}): backlash shows there",
            pair.approaches.len(),
            stage.axis_name(first.axis),
            first.frame
        );
    }
    text
}

fn findings(t: &mut String, stage: &Stage, report: &Report) {
    let mut kinds: Vec<&str> = Vec::new();
    for f in &report.findings {
        if !kinds.contains(&f.kind) {
            kinds.push(f.kind);
        }
    }
    for kind in kinds {
        let all: Vec<_> = report.findings.iter().filter(|f| f.kind == kind).collect();
        // Kinds that say the same of every axis are one list of names.
        let shared = match kind {
            "never_moves" => Some("never move in the photographed span"),
            "torque_unchecked" => Some("torque not checked, for want of load, rotor inertia or torque table"),
            _ => None,
        };
        if let (Some(what), true) = (shared, all.len() > 1) {
            let names: Vec<&str> = all.iter().map(|f| stage.axis_name(f.axis)).collect();
            line(t, &format!("  {what}: {}", names.join(", ")));
            continue;
        }
        for f in all.iter().take(FEW_FINDINGS) {
            line(t, &format!("  {}", f.message));
        }
        if all.len() > FEW_FINDINGS {
            line(t, &format!("  and {} more of this kind, all in --json", all.len() - FEW_FINDINGS));
        }
    }
}

/// Findings of one kind shown in the text; `--json` has all.
const FEW_FINDINGS: usize = 12;
