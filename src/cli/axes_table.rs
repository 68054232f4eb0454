//! The table of a pass's axes: the most used first, ten of them and all that is over a limit; `--all` for the rest, with the share of every limit.
//!
//! Form: fits 80 columns; a name too long for its column stands on a line of its own. What is over is marked in the first column too, for those
//! who see no colour.

use super::table::Show;
use super::wrap::{self, number};
use crate::check::report::{Peak, StretchReport};
use crate::check::{AxisReport, Limit, PassReport};
use crate::stage::Stage;

/// Axes shown without `--all`; what is over a limit is shown besides.
const FEW_AXES: usize = 10;

/// Columns of the longest name that has its figures beside it.
const NAME: usize = 22;

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

/// Adds the table.
pub(super) fn add(t: &mut String, stage: &Stage, p: &PassReport, show: Show) {
    let mut rows: Vec<Row> = p.axes.iter().filter(|a| !a.parked).filter_map(|a| row(stage, a)).collect();
    rows.sort_by(|a, b| b.share.total_cmp(&a.share));
    let parked: Vec<&str> = p.axes.iter().filter(|a| a.parked).map(|a| stage.axis_name(a.axis)).collect();
    let still: Vec<&str> = rows.iter().filter(|r| r.share == 0.0).map(|r| r.name.as_str()).collect();
    let used: Vec<&Row> = rows.iter().filter(|r| r.share != 0.0).collect();
    let over = used.iter().filter(|r| r.share > 1.0).count();
    let shown = if show.all { used.len() } else { used.len().min(FEW_AXES.max(over)) };
    let width = used.iter().take(shown).map(|r| r.name.len()).filter(|n| *n <= NAME).max().unwrap_or(4).max(4);
    if shown > 0 {
        let heads = format!("{:>6}  {:<12} {:>8} {:>8} {:<7} {:>8}", "use", "of", "peak", "limit", "", "frame");
        wrap::line(t, &format!("  {:width$} {heads}", "axis"), 0);
    }
    for r in used.iter().take(shown) {
        let share = format!("{:>6}", format!("{}%", number(r.share * 100.0, 5, 1)));
        let mark = if r.share > 1.0 { "! " } else { "  " };
        let figures = format!(
            "{}  {:<12} {:>8} {:>8} {:<7} {:>8}",
            if r.share > 1.0 { show.accent(&share) } else { share },
            r.limit.name(),
            number(r.value, 8, 4),
            number(r.allowed, 8, 4),
            r.unit,
            number(r.frame, 8, 2)
        );
        named(t, mark, &r.name, width, &figures);
    }
    if show.all {
        shares(t, &used, width);
        names(t, "stand still", &still);
        names(t, "parked at home", &parked);
        return;
    }
    let rest: Vec<String> = [(used.len() - shown, "used less"), (still.len(), "that stand still"), (parked.len(), "parked at home")]
        .iter()
        .filter(|(n, _)| *n > 0)
        .map(|(n, what)| format!("{n} {what}"))
        .collect();
    if !rest.is_empty() {
        wrap::line(t, &format!("  axes left out: {}; --all shows them", rest.join(", ")), 2);
    }
}

/// How much of each limit is used, and where the axis goes.
fn shares(t: &mut String, used: &[&Row], width: usize) {
    if used.is_empty() {
        return;
    }
    let heads = format!("{:>6}{:>6}{:>6}{:>6}{:>6} {:>11} {:>11}", "vel%", "acc%", "jerk%", "rate%", "torq%", "least", "greatest");
    wrap::line(t, &format!("  {:width$} {heads}", "axis"), 0);
    for r in used {
        let each: String = r.shares.iter().map(|s| format!("{:>6}", s.map_or("-".to_owned(), |s| number(s * 100.0, 5, 1)))).collect();
        let figures = format!("{each} {:>11} {:>11}", number(r.reach.0, 11, 3), number(r.reach.1, 11, 3));
        named(t, "  ", &r.name, width, &figures);
    }
}

fn named(t: &mut String, mark: &str, name: &str, width: usize, figures: &str) {
    if name.len() > width {
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
