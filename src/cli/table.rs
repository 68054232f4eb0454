//! The check as text for people: passes, their axes with the most used first, exceeded limits and what would help.
//!
//! Form: lines of 80 columns that survive a narrow window and a printer; one accent, for exceeded limits.

use super::axes_table;
use super::show::{Show, accent};
use super::wrap::{self, COLUMNS};
use crate::check::{ClearanceReport, PassReport, Report, words};
use crate::number::directed::{self, Places};
use crate::output::manifest::NOTICE;
use crate::program::{Leg, Stations};

/// The whole text, ending in a line feed.
pub(super) fn text(report: &Report, show: Show) -> String {
    let mut t = String::new();
    let (stage, shot) = (report.compiled.stage(), report.compiled.shot());
    let frames = shot.frames();
    line(
        &mut t,
        &format!(
            "{}: {}, frames {} to {} at {} frames/s",
            shot.name(),
            words::axes(stage.axes().len()),
            frames.first(),
            frames.last(),
            shot.frame_rate()
        ),
    );
    for pass in &report.passes {
        line(&mut t, "");
        pass_text(&mut t, pass, show);
    }
    if !report.registration.pairs.is_empty() {
        line(&mut t, "");
    }
    let apart = stage.axis_ids().filter_map(|id| report.lag_between_paces[id].map(|s| (id, s)));
    if let Some((axis, steps)) = apart.filter(|(_, s)| *s > 0.0).max_by(|a, b| a.1.total_cmp(&b.1)) {
        line(
            &mut t,
            &format!(
                "rotor lag: passes of different pace may differ by up to {} steps ({})",
                directed::up(steps, Places::Decimals(4)),
                stage.axis_name(axis)
            ),
        );
    }
    for pair in &report.registration.pairs {
        let text = words::registration(report, pair);
        line(&mut t, &if pair.misses.is_empty() { text } else { accent(&text) });
    }
    if !report.notes.is_empty() {
        line(&mut t, "");
        line(&mut t, "Notes (no limit exceeded)");
        notes(&mut t, report, show);
    }
    line(&mut t, "");
    let verdict = if report.within_limits() { words::WITHIN.to_owned() } else { exceeded(report) };
    line(&mut t, &verdict);
    wrap::line(&mut t, NOTICE, 0);
    t
}

/// How many limits are exceeded, and the first few of them by name: what stands in full above may have left the window.
fn exceeded(report: &Report) -> String {
    let stage = report.compiled.stage();
    let named = |p: &PassReport| -> Vec<String> {
        let of = |v: &crate::check::Violation| {
            format!("{} of {} in pass {}", words::spoken(v.limit), words::subject(stage, &v.subject), p.name())
        };
        p.violations.iter().map(of).collect()
    };
    let all: Vec<String> = report.passes.iter().flat_map(named).collect();
    let few: Vec<&str> = all.iter().take(FEW_OVER).map(String::as_str).collect();
    let more = if few.len() < all.len() { ", ..." } else { "" };
    format!("{}: {}{more}", accent(&words::exceeded(all.len())), few.join(", "))
}

/// Exceeded limits named again at the end.
const FEW_OVER: usize = 3;

fn line(t: &mut String, text: &str) {
    wrap::line(t, text, 2);
}

fn pass_text(t: &mut String, p: &PassReport, show: Show) {
    let program = &p.program;
    let (compiled, pass, clock) = (program.compiled(), program.pass(), program.clock());
    let stage = compiled.stage();
    line(
        t,
        &format!(
            "pass {}: {}, {} s per frame, shutter {} deg, takes {}",
            p.name(),
            pass.exposure().name(),
            clock.pace().get(),
            pass.shutter().degrees(),
            clock.running()
        ),
    );
    if program.stations().is_none() {
        let frames = |n: u32| words::count(u64::from(n), "frame");
        line(t, &format!("  run-up {}, run-down {}", frames(compiled.run_up()), frames(compiled.run_down())));
    }
    line(t, &format!("  move to start: {}", words::leg(program, Leg::MoveToStart)));
    line(t, &format!("  return home: {}", words::leg(program, Leg::ReturnHome)));
    for (id, a) in stage.axis_ids().zip(program.way().approaches().iter()) {
        if a.is_some_and(|a| !a.has_room) {
            line(t, &format!("  {} has no room in its travel to remove its backlash before the start", stage.axis_name(id)));
        }
    }
    if let Some(held) = program.stations() {
        if let Some(m) = held.slowest() {
            let who = m.slowest.map_or("nothing moves", |a| stage.axis_name(a));
            line(
                t,
                &format!(
                    "  moves between exposures: slowest {} s (frame {} to {}, {who}), {} s available; each in {}.moves.csv",
                    directed::up(m.seconds.0, Places::Decimals(3)),
                    m.from,
                    m.from + 1,
                    directed::down(held.available().0, Places::Decimals(3)),
                    p.name()
                ),
            );
        }
        if show.all {
            held_moves(t, held);
        }
    }
    line(t, &format!("  {}", words::runnable(stage, &p.runnable)));
    if let Some(worst) = p.clearance.as_ref().and_then(ClearanceReport::worst) {
        line(t, &format!("  nearest: {}", words::gap(stage, worst, &format!("frame {:.2}", worst.at))));
    }
    axes_table::add(t, p, show);
    for v in &p.violations {
        wrap::line(t, &format!("  {} {}", accent("exceeded:"), words::violation(compiled, v)), 6);
        for f in &v.fixes {
            wrap::line(t, &format!("        fix (tested): {}", words::fix(compiled, v, f)), 8);
        }
    }
}

/// Every move between exposures with its time, as many beside each other as fit; moves that follow each other and take as long are one.
fn held_moves(t: &mut String, held: &Stations) {
    let mut runs: Vec<(i64, i64, String)> = Vec::new();
    for m in held.moves() {
        let seconds = format!("{} s", directed::up(m.seconds.0, Places::Decimals(3)));
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

fn notes(t: &mut String, report: &Report, show: Show) {
    let stage = report.compiled.stage();
    let mut kinds: Vec<&str> = Vec::new();
    for n in &report.notes {
        if !kinds.contains(&n.kind.name()) {
            kinds.push(n.kind.name());
        }
    }
    for kind in kinds {
        let all: Vec<_> = report.notes.iter().filter(|n| n.kind.name() == kind).collect();
        // Kinds that say the same of every axis are one list of names.
        let shared = match kind {
            "never_moves" => Some("never move in the photographed span"),
            "torque_unchecked" => Some("torque not checked, for want of load, rotor inertia or torque table"),
            _ => None,
        };
        if let (Some(what), true) = (shared, all.len() > 1) {
            let names: Vec<&str> = all.iter().filter_map(|n| n.axis).map(|id| stage.axis_name(id)).collect();
            let shown = if show.all { names.len() } else { names.len().min(FEW_NAMES) };
            let more = if shown < names.len() { format!(" and {} more (--all)", names.len() - shown) } else { String::new() };
            line(t, &format!("  {what}: {}{more}", names.iter().take(shown).copied().collect::<Vec<_>>().join(", ")));
            continue;
        }
        let shown = if show.all { all.len() } else { all.len().min(FEW_NOTES) };
        for n in all.iter().take(shown) {
            line(t, &format!("  {}", words::note(&report.compiled, n)));
        }
        if shown < all.len() {
            line(t, &format!("  and {} more of this kind (--all)", all.len() - shown));
        }
    }
}

/// Axes of one kind of note named without `--all`.
const FEW_NAMES: usize = 8;

/// Notes of one kind shown without `--all`.
const FEW_NOTES: usize = 5;
