//! What the page says in words and tables; they need no script.

use maud::{Markup, html};

use crate::check::clearance::{ClearanceReport, Proof};
use crate::check::{PassReport, Report, meeting};
use crate::shot::{Exposure, Shot};
use crate::stage::Stage;
use crate::time::hms;

/// Everything over a limit, with what was tried.
pub(super) fn over(stage: &Stage, report: &Report) -> Markup {
    if report.within_limits() {
        return html! {};
    }
    html! {
        section {
            h2 { "Over a limit" }
            ul.over { @for p in &report.passes { @for v in &p.violations {
                li { strong { (stage.axis_name(v.axis)) } ", pass " (p.name) ": " (v.message)
                    @if !v.advice.is_empty() { ul { @for a in &v.advice { li { "tried: " (a) } } } } }
            } } }
        }
    }
}

/// One stretch of a pass on the clock.
struct Stretch {
    name: &'static str,
    seconds: f64,
}

fn stretches(p: &PassReport) -> Vec<Stretch> {
    let runs = |frames: u32| f64::from(frames) * p.seconds_per_frame;
    let exposures = p.duration - runs(p.run_up) - runs(p.run_down);
    let all = [
        ("take-up", p.take_up.seconds()),
        ("run-up", runs(p.run_up)),
        ("exposures", exposures),
        ("run-down", runs(p.run_down)),
        ("back home", p.take_up.back),
    ];
    all.into_iter().filter(|(_, s)| *s > 0.0).map(|(name, seconds)| Stretch { name, seconds }).collect()
}

/// Passes one after the other, as bars on one clock.
pub(super) fn clock(shot: &Shot, report: &Report) -> Markup {
    let whole: f64 = report.passes.iter().flat_map(stretches).map(|s| s.seconds).sum();
    let starts: Vec<f64> = report
        .passes
        .iter()
        .scan(0.0, |before, p| {
            let start = *before;
            *before += stretches(p).iter().map(|s| s.seconds).sum::<f64>();
            Some(start)
        })
        .collect();
    html! {
        section {
            h2 { "The clock" }
            p { "Passes in the order of the shot, one right after the other: " (hms(whole)) " in all, changes between them not counted." }
            div.clock { @for ((p, pass), start) in report.passes.iter().zip(shot.passes()).zip(starts) {
                @let own = stretches(p);
                div.bar_row {
                    div.bar_name { (p.name) ", " (pass.exposure().name()) ", " (p.seconds_per_frame) " s a frame" }
                    div.bar { span.gap style=(width(start, whole)) {}
                        @for s in &own { span.stretch data-part=(s.name) style=(width(s.seconds, whole)) title=(format!("{}: {}", s.name, hms(s.seconds))) {} } }
                    div.bar_text { "from " (hms(start)) ": " @for (i, s) in own.iter().enumerate() { @if i > 0 { ", " } (s.name) " " (hms(s.seconds)) } }
                }
            } }
        }
    }
}

fn width(part: f64, whole: f64) -> String {
    format!("width:{:.3}%", if whole > 0.0 { 100.0 * part / whole } else { 0.0 })
}

/// Pass by pass: length, run-up, fastest pace.
pub(super) fn passes(stage: &Stage, shot: &Shot, report: &Report) -> Markup {
    html! {
        section {
            h2 { "Passes" }
            table {
                thead { tr { th { "pass" } th { "exposure" } th { "pace" } th { "shutter" } th { "takes" } th { "run-up" } th { "run-down" }
                    th { "take-up" } th { "back home" } th { "fastest moving pace" } } }
                tbody { @for (p, pass) in report.passes.iter().zip(shot.passes()) {
                    tr {
                        td { (p.name) } td { (p.exposure.name()) } td { (p.seconds_per_frame) " s" } td { (pass.shutter().degrees()) " deg" }
                        td { (hms(p.duration)) }
                        @if p.exposure == Exposure::Moving { td { (p.run_up) " frames" } td { (p.run_down) " frames" } } @else { td { "-" } td { "-" } }
                        td { (hms(p.take_up.seconds())) } td { (hms(p.take_up.back)) }
                        td { (format!("{:.4} s", p.fastest.seconds_per_frame))
                            @if let Some((axis, limit)) = p.fastest.limited_by { ", by " (limit.name()) " of " (stage.axis_name(axis)) } }
                    }
                } }
            }
            @let tight: Vec<&str> = no_room(stage, report);
            @if !tight.is_empty() { p { "No room in the travel to take up backlash before the start: " (tight.join(", ")) "." } }
        }
    }
}

fn no_room<'a>(stage: &'a Stage, report: &Report) -> Vec<&'a str> {
    let mut axes: Vec<usize> = report.passes.iter().flat_map(|p| &p.take_up.axes).filter(|a| !a.has_room).map(|a| a.axis).collect();
    axes.sort_unstable();
    axes.dedup();
    axes.into_iter().map(|a| stage.axis_name(a)).collect()
}

/// Every two passes against each other.
pub(super) fn registration(stage: &Stage, shot: &Shot, report: &Report) -> Markup {
    let name = |i: usize| shot.passes().get(i).map_or("", |p| p.name());
    html! {
        @if !report.registration.pairs.is_empty() {
            section {
                h2 { "Registration" }
                ul { @for pair in &report.registration.pairs {
                    li { (name(pair.first)) " and " (name(pair.second)) ": "
                        @if pair.misses.is_empty() { "register to the step on " (pair.live) " axes" }
                        @else { strong.over { "do not register" } " on " (pair.misses.len()) " of " (pair.live) " axes" }
                        @if !pair.parked.is_empty() { "; " (pair.parked.len()) " axes parked in one of them" }
                        @if !pair.same_blur { "; their exposures blur differently" }
                        @for m in pair.misses.iter().take(5) { br; (stage.axis_name(m.axis)) " at frame " (m.frame) }
                    }
                } }
            }
        }
    }
}

/// Pairs shown of each pass and take-up; the check's JSON has all.
const NEAREST: usize = 3;

/// The nearest pairs of every pass, and of its take-up.
pub(super) fn clearance(stage: &Stage, report: &Report) -> Markup {
    let any = report.passes.iter().any(|p| p.clearance.is_some() || p.way_clearance.is_some());
    let nearest = |c: &ClearanceReport| {
        let mut pairs: Vec<_> = c.pairs.clone();
        pairs.sort_by(|a, b| (a.gap - a.kept).total_cmp(&(b.gap - b.kept)));
        pairs.into_iter().take(NEAREST).collect::<Vec<_>>()
    };
    html! {
        @if any {
            section {
                h2 { "Clearance" }
                table {
                    thead { tr { th { "pass" } th { "who" } th { "and" } th { "gap, mm" } th { "to be kept, mm" } th { "where" } } }
                    tbody { @for p in &report.passes { @for (c, way) in [(&p.clearance, false), (&p.way_clearance, true)] { @for n in c.iter().flat_map(&nearest) {
                        @let (a, b) = meeting::pair(stage, &n);
                        tr.over[!n.is_kept()] { td { (p.name) } td { (a) } td { (b) }
                            td { @if n.proof == Proof::Bound { "at least " } (format!("{:.1}", n.gap)) } td { (n.kept) }
                            td { @if way { (format!("take-up, {:.1} s", n.frame)) } @else { (format!("frame {:.2}", n.frame)) } } }
                    } } } }
                }
                p { "Of every pass and its take-up the " (NEAREST) " nearest." }
            }
        }
    }
}

/// What is worth knowing though it is over no limit.
pub(super) fn findings(report: &Report) -> Markup {
    html! {
        @if !report.findings.is_empty() {
            section { h2 { "Worth knowing (over no limit)" } ul { @for f in &report.findings { li { (f.message) } } } }
        }
    }
}
