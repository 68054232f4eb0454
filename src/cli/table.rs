//! The check as text for people: passes, their axes with the most used first, what is over a limit and what would help.
//!
//! Form: lines of 80 columns that survive a narrow window and a printer; one accent, for what is over a limit.

use core::fmt::Write;

use super::axes_table;
use super::wrap::{self, COLUMNS};
use crate::check::register::Pair;
use crate::check::report::HeldReport;
use crate::check::{ClearanceReport, PassReport, Report, meeting};
use crate::output::manifest::NOTICE;
use crate::shot::{Exposure, Shot};
use crate::stage::Stage;
use crate::time::hms;

/// How much of a text is shown, and how.
#[derive(Debug, Clone, Copy)]
pub(super) struct Show {
    /// Everything, not only what matters first.
    pub(super) all: bool,
    /// What is over a limit in red.
    pub(super) colour: bool,
}

impl Show {
    /// The text, set off where colours are shown.
    pub(super) fn accent(self, text: &str) -> String {
        if self.colour { format!("\u{1b}[31m{text}\u{1b}[0m") } else { text.to_owned() }
    }
}

/// The whole text, ending in a line feed.
pub(super) fn text(stage: &Stage, shot: &Shot, report: &Report, show: Show) -> String {
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
        pass_text(&mut t, stage, shot, pass, show);
    }
    if !report.registration.pairs.is_empty() {
        line(&mut t, "");
    }
    let apart = report.lag_between_paces.iter().enumerate().filter_map(|(i, s)| s.map(|s| (i, s)));
    if let Some((axis, steps)) = apart.filter(|(_, s)| *s > 0.0).max_by(|a, b| a.1.total_cmp(&b.1)) {
        line(&mut t, &format!("rotor lag sets passes of different pace apart by {steps:.4} steps at most ({})", stage.axis_name(axis)));
    }
    for pair in &report.registration.pairs {
        line(&mut t, &registration(stage, shot, pair, show));
    }
    if !report.findings.is_empty() {
        line(&mut t, "");
        line(&mut t, "worth knowing (over no limit)");
        findings(&mut t, stage, report, show);
    }
    line(&mut t, "");
    let verdict = if report.within_limits() {
        "every pass is within the limits that the stage file states".to_owned()
    } else {
        over(stage, report, show)
    };
    line(&mut t, &verdict);
    wrap::line(&mut t, NOTICE, 0);
    t
}

/// How many limits are exceeded, and the first few of them by name: what is told in full above may have left the window.
fn over(stage: &Stage, report: &Report, show: Show) -> String {
    let all: Vec<String> = report
        .passes
        .iter()
        .flat_map(|p| p.violations.iter().map(move |v| format!("{} of {} in pass {}", v.limit.name(), stage.axis_name(v.axis), p.name)))
        .collect();
    let few: Vec<&str> = all.iter().take(FEW_OVER).map(String::as_str).collect();
    let more = if few.len() < all.len() { ", ..." } else { "" };
    format!("{}: {}{more}", show.accent(&format!("{} over a limit", all.len())), few.join(", "))
}

/// What is over a limit, named again at the end.
const FEW_OVER: usize = 3;

fn line(t: &mut String, text: &str) {
    wrap::line(t, text, 2);
}

fn pass_text(t: &mut String, stage: &Stage, shot: &Shot, p: &PassReport, show: Show) {
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
    line(t, &format!("  before it {} from home to the start, backlash taken up", hms(p.take_up.to_approach + p.take_up.to_start)));
    line(t, &format!("  after it {} back home", hms(p.take_up.back)));
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
        if show.all {
            held_moves(t, held);
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
    axes_table::add(t, stage, p, show);
    for v in &p.violations {
        wrap::line(t, &format!("  {} {}", show.accent("over:"), v.message), 6);
        for a in &v.advice {
            wrap::line(t, &format!("        tried: {a}"), 7);
        }
    }
}

/// Every move between exposures with its time, as many beside each other as fit; moves that follow each other and take as long are one.
fn held_moves(t: &mut String, held: &HeldReport) {
    let mut runs: Vec<(i64, i64, String)> = Vec::new();
    for m in &held.moves {
        let seconds = format!("{:.3} s", m.seconds);
        match runs.last_mut() {
            Some((_, to, same)) if *same == seconds && *to == m.from => *to += 1,
            _ => runs.push((m.from, m.from + 1, seconds)),
        }
    }
    let each: Vec<String> =
        runs.iter().map(|(from, to, s)| format!("{from}-{to}{} {s}", if to - from > 1 { " each" } else { "" })).collect();
    let width = each.iter().map(String::len).max().unwrap_or(1) + 3;
    for beside in each.chunks(((COLUMNS - 4) / width).max(1)) {
        let cells: String = beside.iter().map(|cell| format!("{cell:width$}")).collect();
        line(t, &format!("    {}", cells.trim_end()));
    }
}

/// One line about two passes.
fn registration(stage: &Stage, shot: &Shot, pair: &Pair, show: Show) -> String {
    let name = |i: usize| shot.passes().get(i).map_or("", |p| p.name());
    let who = format!("passes {} and {}", name(pair.first), name(pair.second));
    if !pair.misses.is_empty() {
        return show.accent(&format!("{who} do not register: {} axes miss", pair.misses.len()));
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

fn findings(t: &mut String, stage: &Stage, report: &Report, show: Show) {
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
            let shown = if show.all { names.len() } else { names.len().min(FEW_NAMES) };
            let more = if shown < names.len() { format!(" and {} more; --all names them", names.len() - shown) } else { String::new() };
            line(t, &format!("  {what}: {}{more}", names.iter().take(shown).copied().collect::<Vec<_>>().join(", ")));
            continue;
        }
        let shown = if show.all { all.len() } else { all.len().min(FEW_FINDINGS) };
        for f in all.iter().take(shown) {
            line(t, &format!("  {}", f.message));
        }
        if shown < all.len() {
            line(t, &format!("  and {} more of this kind; --all shows them", all.len() - shown));
        }
    }
}

/// Axes of one kind of finding named without `--all`.
const FEW_NAMES: usize = 8;

/// Findings of one kind shown without `--all`.
const FEW_FINDINGS: usize = 5;
