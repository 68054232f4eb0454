//! The passes as a table, and what is said of each: how it gets to its start and home, how fast it could run, what comes nearest.

use super::show::Show;
use super::wrap::{self, COLUMNS, text_line as line};
use crate::check::figures::figure;
use crate::check::hang::found::WireReport;
use crate::check::{ClearanceReport, PassReport, Report, folded, words};
use crate::number::directed::{self, Places};
use crate::program::{Leg, Stations};
use crate::stage::AxisId;

/// One line for each pass: exposure, pace, how long the shutter is open, frames of run-up and run-down, how long it takes.
pub(super) fn table(t: &mut String, report: &Report) {
    let width = report.passes.iter().map(|p| p.name().chars().count()).max().unwrap_or(0).clamp(4, NAME);
    let heads = format!("{:>8} {:>9} {:>9} {:>7} {:>9}  {}", "exposure", "s/frame", "exposed", "run-up", "run-down", "takes");
    wrap::line(t, &format!("{:width$} {heads}", "pass"), 0);
    for p in &report.passes {
        let (pass, clock) = (p.program.pass(), p.program.clock());
        let compiled = p.program.compiled();
        let (up, down) = match p.program.stations() {
            None => (compiled.run_up().to_string(), compiled.run_down().to_string()),
            Some(_) => ("-".to_owned(), "-".to_owned()),
        };
        let exposed = figure(clock.pace().get() * pass.shutter().fraction(), "s");
        let figures =
            format!("{:>8} {:>9} {exposed:>9} {up:>7} {down:>9}  {}", pass.exposure().name(), clock.pace().get(), clock.running());
        if p.name().chars().count() > width {
            line(t, p.name());
            wrap::line(t, &format!("{:width$} {figures}", ""), 0);
        } else {
            wrap::line(t, &format!("{:width$} {figures}", p.name()), 0);
        }
    }
}

/// Columns of the longest name that has its figures beside it.
const NAME: usize = 16;

/// What is said of passes, once for all of which it is the same.
pub(super) fn shared(t: &mut String, report: &Report, show: Show) {
    let mut said: Vec<(Vec<String>, Vec<&str>)> = Vec::new();
    for p in &report.passes {
        let facts = facts(p, show);
        match said.iter_mut().find(|(known, _)| *known == facts) {
            Some((_, names)) => names.push(p.name()),
            None => said.push((facts, vec![p.name()])),
        }
    }
    for (facts, names) in said {
        line(t, "");
        line(t, &folded::listed(&names));
        facts.iter().for_each(|fact| line(t, fact));
    }
    if !show.all && report.passes.len() > 1 {
        for fact in most_loaded(report) {
            line(t, &fact);
        }
    }
}

/// Swing, settling and wires of the pass in which each asks for most attention: they differ from pass to pass, and one line says enough.
fn most_loaded(report: &Report) -> Vec<String> {
    let passes = report.passes.iter();
    let swing = passes.clone().flat_map(|p| p.swings.iter().filter(|s| s.found.is_ok()).map(move |s| (p, s)));
    let swing = swing.max_by(|a, b| a.1.strain().total_cmp(&b.1.strain()));
    let settling = passes
        .clone()
        .flat_map(|p| p.settling.iter().filter(|s| s.longest.0 > 0.0).map(move |s| (p, s)))
        .max_by(|a, b| a.1.longest.0.total_cmp(&b.1.longest.0));
    let wire = passes.flat_map(|p| p.wires.iter().map(move |w| (p, w))).min_by(|a, b| spare(a.1).total_cmp(&spare(b.1)));
    let stage = report.compiled.stage();
    let mut lines = Vec::new();
    lines.extend(swing.map(|(p, s)| format!("swing in exposures, most in {}: {}", p.name(), words::swing_short(stage, s))));
    lines.extend(settling.map(|(p, s)| format!("settling, most in {}: {}", p.name(), words::settling_line(stage, s))));
    lines.extend(wire.map(|(p, w)| format!("wires, least in {}: {}", p.name(), words::hang_line(stage, w))));
    lines
}

/// What a wire carries beyond what it must, as a share of the weight.
fn spare(w: &WireReport) -> f64 {
    w.carried.map_or(f64::NEG_INFINITY, |[least, _]| least.share - w.required)
}

/// What is said of a pass.
pub(super) fn facts(p: &PassReport, show: Show) -> Vec<String> {
    let program = &p.program;
    let stage = program.compiled().stage();
    let legs = [Leg::MoveToStart, Leg::ReturnHome].map(|leg| words::leg(program, leg));
    let mut facts = vec![match &legs {
        [there, home] if there == home => format!("  move to start and home: {there}"),
        [there, home] => format!("  move to start {there}, home {home}"),
    }];
    let cramped: Vec<AxisId> =
        stage.axis_ids().zip(program.way().approaches().iter()).filter(|(_, a)| a.is_some_and(|a| !a.has_room)).map(|(id, _)| id).collect();
    if let Some(first) = cramped.first() {
        let more = if cramped.len() > 1 { format!(" and {} more axes have", cramped.len() - 1) } else { " has".to_owned() };
        facts.push(format!("  {}{more} no room in the travel to remove backlash before the start", stage.axis_name(*first)));
    }
    facts.extend(words::test_pass(program).map(|test| format!("  {test}")));
    if let Some(held) = program.stations() {
        facts.extend(held.slowest().map(|m| {
            let who = m.slowest.map_or("nothing moves", |a| stage.axis_name(a));
            let available =
                held.available().map_or(String::new(), |s| format!(" {} s available;", directed::down(s.0, Places::Decimals(3))));
            format!(
                "  slowest move {} s (frame {} to {}, {who});{available} in {}.moves.csv",
                directed::up(m.seconds.0, Places::Decimals(3)),
                m.from,
                m.to,
                p.name()
            )
        }));
        facts.extend(program.saved().map(|saved| format!("  {}", words::shortest(program, saved))));
        if show.all {
            facts.extend(held_moves(held));
        }
    }
    if !program.clock().is_shortest() {
        facts.push(format!("  {}", words::runnable(stage, &p.runnable)));
    }
    let alone = show.all || program.compiled().shot().passes().len() == 1;
    let mut swings: Vec<_> = p.swings.iter().filter(|s| s.found.is_ok()).collect();
    swings.sort_by(|a, b| b.strain().total_cmp(&a.strain()));
    let shown = if show.all { swings.len() } else { swings.len().min(usize::from(alone)) };
    for (i, s) in swings.iter().take(shown).enumerate() {
        let more = if i + 1 == shown && shown < swings.len() { format!("; {} more (--all)", swings.len() - shown) } else { String::new() };
        facts.push(format!("  swing: {}{more}", words::swing_line(stage, s)));
    }
    // The figure that takes longest.
    if let Some(needs) = p.settling.iter().filter(|s| alone && s.longest.0 > 0.0).max_by(|a, b| a.longest.0.total_cmp(&b.longest.0)) {
        facts.push(format!("  settling: {}", words::settling_line(stage, needs)));
    }
    // The wire with least to spare speaks for all.
    if let Some(wire) = p.wires.iter().filter(|_| alone).min_by(|a, b| spare(a).total_cmp(&spare(b))) {
        facts.push(format!("  wires: {}", words::hang_line(stage, wire)));
    }
    if let Some(worst) = p.clearance.as_ref().and_then(ClearanceReport::worst) {
        facts.push(format!("  nearest: {}", words::nearest(stage, worst, &format!("frame {:.2}", worst.at))));
    }
    facts
}

/// Every move between exposures with its time, as many beside each other as fit; moves that follow each other and take as long are one.
fn held_moves(held: &Stations) -> Vec<String> {
    let mut runs: Vec<(i64, i64, u64, String)> = Vec::new();
    for m in held.moves() {
        let seconds = format!("{} s", directed::up(m.seconds.0, Places::Decimals(3)));
        match runs.last_mut() {
            Some((_, to, moves, same)) if *same == seconds && *to == m.from => (*to, *moves) = (m.to, *moves + 1),
            _ => runs.push((m.from, m.to, 1, seconds)),
        }
    }
    let each: Vec<String> =
        runs.iter().map(|(from, to, moves, s)| format!("{from}-{to}{} {s}", if *moves > 1 { " each" } else { "" })).collect();
    let width = each.iter().map(String::len).max().unwrap_or(1) + 3;
    let beside = |cells: &[String]| {
        let cells: String = cells.iter().map(|cell| format!("{cell:width$}")).collect();
        format!("    {}", cells.trim_end())
    };
    each.chunks(((COLUMNS - 4) / width).max(1)).map(beside).collect()
}
