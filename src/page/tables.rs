//! What the page says in words and tables; they need no script.

use crate::check::pace::schedule::schedule;
use maud::{Markup, html};

use crate::check::clearance::{ClearanceReport, Nearest, Proof};
use crate::check::{PassReport, Report, words};
use crate::number::directed::{self, Places};
use crate::number::figures::{figure, least};
use crate::program::Leg;
use crate::time::{Seconds, hms};

/// Every limit that is exceeded, with what was tried.
pub(super) fn over(report: &Report) -> Markup {
    if report.within_limits() {
        return html! {};
    }
    let compiled = &report.compiled;
    html! {
        section {
            h2 { "Limits exceeded" }
            ul.over { @for p in &report.passes { @for v in &p.violations {
                li { strong { (words::subject(compiled.stage(), &v.subject)) } ", pass " (p.name()) ": " (words::violation(compiled, v))
                    @if !v.fixes.is_empty() { ul { @for f in &v.fixes { li { "fix (tested): " (words::fix(compiled, v, f)) } } } } }
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
    let compiled = p.program.compiled();
    let pace = p.program.clock().pace();
    let runs = |frames: u32| if p.program.stations().is_some() { 0.0 } else { pace.seconds_of(f64::from(frames)) };
    let (up, down) = (runs(compiled.run_up()), runs(compiled.run_down()));
    let all = [
        ("move to start", p.program.clock().begin().0),
        ("run-up", up),
        ("exposures", p.program.clock().running().0 - up - down),
        ("run-down", down),
        ("return home", p.program.way().back().0),
    ];
    all.into_iter().filter(|(_, s)| *s > 0.0).map(|(name, seconds)| Stretch { name, seconds }).collect()
}

/// Passes one after the other, as bars on one clock.
pub(super) fn clock(report: &Report) -> Markup {
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
            p { "Passes in the order of the shot, one directly after the other: " (hms(whole)) " in total, without the changes between them." }
            div.clock { @for (p, start) in report.passes.iter().zip(starts) {
                @let own = stretches(p);
                div.bar_row {
                    div.bar_name { (p.name()) ", " (p.program.pass().exposure().name()) ", " (p.program.clock().pace().get()) " s per frame"
                        @if let Some(test) = words::test_pass(&p.program) { ", " (test) } }
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
pub(super) fn passes(report: &Report) -> Markup {
    let compiled = &report.compiled;
    let stage = compiled.stage();
    html! {
        section {
            h2 { "Passes" }
            div.scroll { table {
                thead { tr { th { "pass" } th { "exposure" } th { "pace" } th { "shutter" } th { "starts" } th { "takes" } th { "home again" } th { "run-up" } th { "run-down" }
                    th { "move to start" } th { "return home" } th { "fastest possible" } } }
                @let day = schedule(report);
                tbody { @for (p, slot) in report.passes.iter().zip(&day.slots) {
                    @let program = &p.program;
                    tr {
                        td { (p.name()) } td { (program.pass().exposure().name()) } td { (program.clock().pace().get()) " s per frame" }
                        td { (program.pass().shutter().degrees()) " deg" }
                        td { (day.clock(slot.start)) } td { (program.clock().running()) } td { (day.clock(slot.end)) }
                        @if program.stations().is_none() {
                            td { (words::count(u64::from(compiled.run_up()), "frame")) } td { (words::count(u64::from(compiled.run_down()), "frame")) }
                        } @else { td { "-" } td { "-" } }
                        td { (words::leg(program, Leg::MoveToStart)) } td { (words::leg(program, Leg::ReturnHome)) }
                        td {
                            @match p.runnable.seconds_per_frame {
                                Some(t) => { (directed::up(t, Places::Decimals(4))) " s per frame" }
                                None => { @if p.runnable.is_known() { "none" } @else { "not known" } }
                            }
                            @if let Some(h) = &p.runnable.limited_by { ", limited by " (words::hindrance(stage, h)) }
                        }
                    }
                } }
            } }
            p { "Passes as written, one after the other; times " @if report.compiled.shot().lighting().start.is_some() { "of the day" } @else { "from the start" }
                ", each with the change before it. The list of passes: movewright pace SHOT --csv." }
            @let tight: Vec<&str> = no_room(report);
            @if !tight.is_empty() { p { "No room in the travel to remove backlash before the start: " (tight.join(", ")) "." } }
        }
    }
}

fn no_room(report: &Report) -> Vec<&str> {
    let stage = report.compiled.stage();
    let lacks = |p: &PassReport, id| p.program.way().approaches()[id].is_some_and(|a| !a.has_room);
    stage.axis_ids().filter(|id| report.passes.iter().any(|p| lacks(p, *id))).map(|id| stage.axis_name(id)).collect()
}

/// Every two passes against each other.
pub(super) fn registration(report: &Report) -> Markup {
    let stage = report.compiled.stage();
    html! {
        @if !report.registration.pairs.is_empty() {
            section {
                h2 { "Registration" }
                ul { @for pair in &report.registration.pairs {
                    li.over[!pair.misses.is_empty()] { (words::registration(report, pair))
                        @for m in pair.misses.iter().take(5) { br; (stage.axis_name(m.axis)) " at frame " (m.frame) } }
                } }
            }
        }
    }
}

/// Pairs shown of each pass and leg; the check's JSON has all.
const NEAREST: usize = 3;

/// The nearest pairs of every pass, of its move to start and its return home.
pub(super) fn clearance(report: &Report) -> Markup {
    let stage = report.compiled.stage();
    let nearest = |c: &ClearanceReport| {
        let mut pairs: Vec<Nearest> = c.pairs.clone();
        pairs.sort_by(|a, b| (a.gap - a.required).total_cmp(&(b.gap - b.required)));
        pairs.into_iter().take(NEAREST).collect::<Vec<_>>()
    };
    let mut rows: Vec<(&PassReport, Nearest, String)> = Vec::new();
    for p in &report.passes {
        rows.extend(p.clearance.iter().flat_map(nearest).map(|n| (p, n, format!("frame {:.2}", n.at))));
        for (leg, c) in p.way_clearance.iter() {
            let name = if *leg == Leg::MoveToStart { "move to start" } else { "return home" };
            rows.extend(c.iter().flat_map(nearest).map(|n| (p, n, format!("{name}, {}", Seconds(n.at)))));
        }
    }
    html! {
        @if !rows.is_empty() {
            section {
                h2 { "Clearance" }
                div.scroll { table {
                    thead { tr { th { "pass" } th { "body" } th { "and" } th { "gap, mm" } th { "required, mm" } th { "where" } } }
                    tbody { @for (p, n, when) in &rows {
                        @let (a, b) = words::pair(stage, n);
                        tr.over[!n.is_kept()] { td { (p.name()) } td { (a) } td { (b) }
                            td { @if n.proof == Proof::Bound { "at least " (least(n.gap, "")) } @else { (figure(n.gap, "")) } } td { (figure(n.required, "")) } td { (when) } }
                    } }
                } }
                p { "The " (NEAREST) " nearest pairs of every pass, of its move to start and of its return home." }
            }
        }
    }
}

/// Notes of one kind that are all shown at once; of more the first, and the others where asked for.
const FEW_NOTES: usize = 2;

/// Notes: no limit is exceeded by what they say. Those of one kind stand together.
pub(super) fn findings(report: &Report) -> Markup {
    let mut kinds: Vec<(&str, Vec<String>)> = Vec::new();
    for n in &report.notes {
        let text = words::note(&report.compiled, n);
        match kinds.iter_mut().find(|(kind, _)| *kind == n.kind.name()) {
            Some((_, all)) => all.push(text),
            None => kinds.push((n.kind.name(), vec![text])),
        }
    }
    html! {
        @if !kinds.is_empty() {
            section { h2 { "Notes (no limit exceeded)" } ul { @for (_, all) in &kinds {
                @if let [first, others @ ..] = all.as_slice() && all.len() > FEW_NOTES {
                    li { (first) details { summary { "and " (others.len()) " more of this kind" } ul { @for text in others { li { (text) } } } } }
                } @else { @for text in all { li { (text) } } }
            } } }
        }
    }
}
