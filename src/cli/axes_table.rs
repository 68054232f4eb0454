//! The table of axes, the most used first: of all passes together five of them and all that exceed a limit, or with `--all` of each pass all of them, with the share
//! of every limit.
//!
//! Form: fits 80 columns; a name too long for its column stands on a line of its own. What is exceeded is marked in the first column too, for those
//! who see no colour.

use super::show::accent;
use super::wrap::{self, number};
use crate::check::{AxisReport, PassReport, Report, Tightest, words};
use crate::stage::{AxisId, Stage, Utilisation};

/// Axes shown without `--all`; what exceeds a limit is shown besides, up to [`MOST_AXES`].
const FEW_AXES: usize = 5;

/// Axes shown without `--all` though more exceed a limit.
const MOST_AXES: usize = 12;

/// Columns of the longest name that has its figures beside it.
const NAME: usize = 22;

struct Row {
    name: String,
    tightest: Tightest,
    /// False where it stands still, within every limit.
    used: bool,
    unit: String,
    shares: [Option<Utilisation>; 5],
    reach: (f64, f64),
}

/// The axes of all passes, each in the pass that uses most of a limit of it.
pub(super) fn of_all(t: &mut String, report: &Report) {
    let stage = report.compiled.stage();
    let mut worst: Vec<(Row, &str)> = Vec::new();
    let (mut still, mut parked) = (0_usize, 0_usize);
    for id in stage.axis_ids() {
        let live: Vec<(Row, &str)> =
            report.passes.iter().filter(|p| !p.axes[id].parked).map(|p| (row(stage, id, &p.axes[id]), p.name())).collect();
        let most = live.into_iter().reduce(|a, b| if share(&b.0) > share(&a.0) { b } else { a });
        match most {
            Some((row, pass)) if row.used => worst.push((row, pass)),
            Some(_) => still += 1,
            None => parked += 1,
        }
    }
    worst.sort_by(|a, b| share(&b.0).total_cmp(&share(&a.0)));
    let over = worst.iter().filter(|(r, _)| r.tightest.utilisation.is_exceeded()).count();
    let shown = worst.len().min(FEW_AXES.max(over.min(MOST_AXES)));
    let name = |r: &Row| r.name.chars().count();
    let width = worst.iter().take(shown).map(|(r, _)| name(r)).filter(|n| *n <= NAME).max().unwrap_or(4).max(4);
    let several = report.passes.len() > 1;
    if shown > 0 {
        wrap::line(t, "", 0);
        let heads = format!("{:>6}  {:>7} {:>7} {:<7} {:>8}", "use", "peak", "limit", "", "frame");
        wrap::line(t, &format!("  {:width$} {heads}{}", "axis", if several { "  pass" } else { "" }), 0);
    }
    for (r, pass) in worst.iter().take(shown) {
        let Tightest { utilisation, value, allowed, frame, .. } = r.tightest;
        let used = format!("{:>6}", per_cent(utilisation, 5) + "%");
        let exceeded = utilisation.is_exceeded();
        let figures = format!(
            "{}  {:>7} {:>7} {:<7} {:>8}{}",
            if exceeded { accent(&used) } else { used },
            number(value, 7, 4),
            number(allowed, 7, 4),
            r.unit,
            format!("{:.2}", frame.0),
            if several { format!("  {pass}") } else { String::new() }
        );
        named(t, if exceeded { "! " } else { "  " }, &r.name, width, &figures);
    }
    more(t, &[(worst.len() - shown, "lower"), (still, "standing still"), (parked, "parked at home")]);
}

fn share(r: &Row) -> f64 {
    r.tightest.utilisation.share()
}

/// How many axes are not shown.
fn more(t: &mut String, counts: &[(usize, &str)]) {
    let rest: Vec<String> = counts.iter().filter(|(n, _)| *n > 0).map(|(n, what)| format!("{n} {what}")).collect();
    if !rest.is_empty() {
        wrap::line(t, &format!("  more axes: {} (--all)", rest.join(", ")), 2);
    }
}

/// All axes of a pass.
pub(super) fn of_pass(t: &mut String, p: &PassReport) {
    let stage = p.program.compiled().stage();
    let axes = || stage.axis_ids().zip(p.axes.iter());
    let mut rows: Vec<Row> = axes().filter(|(_, a)| !a.parked).map(|(id, a)| row(stage, id, a)).collect();
    rows.sort_by(|a, b| share(b).total_cmp(&share(a)));
    let parked: Vec<&str> = axes().filter(|(_, a)| a.parked).map(|(id, _)| stage.axis_name(id)).collect();
    let still: Vec<&str> = rows.iter().filter(|r| !r.used).map(|r| r.name.as_str()).collect();
    let used: Vec<&Row> = rows.iter().filter(|r| r.used).collect();
    let width = used.iter().map(|r| r.name.chars().count()).filter(|n| *n <= NAME).max().unwrap_or(4).max(4);
    if !used.is_empty() {
        let heads = format!("{:>6}  {:<12} {:>8} {:>8} {:<7} {:>8}", "use", "of", "peak", "limit", "", "frame");
        wrap::line(t, &format!("  {:width$} {heads}", "axis"), 0);
    }
    for r in &used {
        let Tightest { limit, utilisation, value, allowed, frame } = r.tightest;
        let share = format!("{:>6}", per_cent(utilisation, 5) + "%");
        let exceeded = utilisation.is_exceeded();
        let figures = format!(
            "{}  {:<12} {:>8} {:>8} {:<7} {:>8}",
            if exceeded { accent(&share) } else { share },
            words::spoken(limit),
            number(value, 8, 4),
            number(allowed, 8, 4),
            r.unit,
            format!("{:.2}", frame.0)
        );
        named(t, if exceeded { "! " } else { "  " }, &r.name, width, &figures);
    }
    shares(t, &used, width);
    names(t, "stand still", &still);
    names(t, "parked at home", &parked);
}

/// How much of each limit is used, and where the axis goes.
fn shares(t: &mut String, used: &[&Row], width: usize) {
    if used.is_empty() {
        return;
    }
    let heads = format!("{:>6}{:>6}{:>6}{:>6}{:>6} {:>11} {:>11}", "vel%", "acc%", "jerk%", "rate%", "torq%", "least", "greatest");
    wrap::line(t, &format!("  {:width$} {heads}", "axis"), 0);
    for r in used {
        let each: String = r.shares.iter().map(|s| format!("{:>6}", s.map_or("-".to_owned(), |s| per_cent(s, 5)))).collect();
        let figures = format!("{each} {:>11} {:>11}", number(r.reach.0, 11, 3), number(r.reach.1, 11, 3));
        named(t, "  ", &r.name, width, &figures);
    }
}

fn named(t: &mut String, mark: &str, name: &str, width: usize, figures: &str) {
    if name.chars().count() > width {
        t.push_str(&format!("{mark}{name}\n  {:width$} {figures}\n", ""));
    } else {
        t.push_str(&format!("{mark}{name:width$} {figures}\n"));
    }
}

fn names(t: &mut String, what: &str, names: &[&str]) {
    if !names.is_empty() {
        wrap::line(t, &format!("  {what}: {}", names.join(", ")), 2);
    }
}

/// Per cent of a limit with one decimal; what exceeds its limit never reads as 100.0, what keeps it never as more.
fn per_cent(used: Utilisation, width: usize) -> String {
    let share = 100.0 * used.share();
    let shown = if used.is_exceeded() { share.max(100.1) } else { share.min(100.0) };
    number(shown, width, 1)
}

/// The worst of an axis over run-up, photographed span and run-down.
fn row(stage: &Stage, id: AxisId, a: &AxisReport) -> Row {
    let mut shares = [None; 5];
    for (_, s) in a.stretches() {
        for ((_, peak), slot) in s.rates().into_iter().zip(shares.iter_mut()) {
            if let Some(used) = peak.utilisation() {
                *slot = Some(slot.map_or(used, |known: Utilisation| known.max(used)));
            }
        }
    }
    if let (Some(torque), Some(slot)) = (a.torque, shares.last_mut()) {
        *slot = Some(torque.utilisation());
    }
    let tightest = a.tightest();
    let reach = a.stretches().fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), (_, s)| (lo.min(s.position.min), hi.max(s.position.max)));
    Row {
        name: stage.axis_name(id).to_owned(),
        used: a.moves() || tightest.utilisation.is_exceeded(),
        unit: tightest.limit.unit(stage.axis(id).unit().symbol()),
        tightest,
        shares,
        reach,
    }
}
