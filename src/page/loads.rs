//! Loads on the page: how far every figure swings in every pass, what wires carry, how long held frames rest, and which axes have least room to stop.
//!
//! Invariant: nothing is judged here; what is not known is said.

use maud::{Markup, html};

use crate::check::hang::found::WireReport;
use crate::check::stopping::found::Stopping;
use crate::check::swing::found::SwingReport;
use crate::check::swing::settling::{self, Settling};
use crate::check::{PassReport, Report, words};
use crate::number::figures::figure;
use crate::stage::Utilisation;

/// A row for each hanging figure and mode of every pass.
pub(super) fn swing(report: &Report) -> Markup {
    let stage = report.compiled.stage();
    let rows: Vec<(&PassReport, &SwingReport)> = report.passes.iter().flat_map(|p| p.swings.iter().map(move |s| (p, s))).collect();
    html! {
        @if !rows.is_empty() {
            section {
                h2 { "Swing" }
                div.scroll { table {
                    thead { tr { th { "pass" } th { "figure" } th { "period, s" } th { "peak, mm" } th { "during exposures, mm" } th { "in the picture, px" } th { "limit, mm" } } }
                    tbody { @for (p, s) in &rows {
                        tr.over[s.utilisation().is_some_and(Utilisation::is_exceeded)] {
                            td { (p.name()) } td { (stage.group_name(s.group)) @if let Some(mode) = s.mode { " (mode " (mode + 1) ")" } } td { (figure(s.period, "")) }
                            @match s.found {
                                Ok(found) => { td { (figure(found.peak.value, "")) } td { (figure(found.exposed.value, "")) } }
                                Err(_) => { td { "not computed" } td { "not computed" } }
                            }
                            td { @match s.pixels { Some(pixels) => (figure(pixels, "")), None => "-" } }
                            td { @match s.limit { Some(limit) => (figure(limit, "")), None => "-" } }
                        }
                    } }
                } }
            }
        }
    }
}

/// A row for each wire of every figure on three wires, in every pass.
pub(super) fn hang(report: &Report) -> Markup {
    let stage = report.compiled.stage();
    let rows: Vec<(&PassReport, &WireReport)> = report.passes.iter().flat_map(|p| p.wires.iter().map(move |w| (p, w))).collect();
    let share = |share: f64| format!("{:.1} %", 100.0 * share);
    html! {
        @if !rows.is_empty() {
            section {
                h2 { "What wires carry" }
                div.scroll { table {
                    thead { tr { th { "pass" } th { "figure" } th { "wire" } th { "least, share of the weight" } th { "required" } th { "most" } } }
                    tbody { @for (p, w) in &rows {
                        tr.over[w.utilisation().is_some_and(Utilisation::is_exceeded)] {
                            td { (p.name()) } td { (stage.group_name(w.group)) } td { (w.wire + 1) }
                            @match w.carried {
                                Some([least, most]) => { td { (share(least.share)) } td { (share(w.required)) } td { (figure(most.share * w.weight, "N")) } }
                                None => { td { "not computed" } td { (share(w.required)) } td { "not computed" } }
                            }
                        }
                    } }
                } }
            }
        }
    }
}

/// A row for each figure with a limit of swing in every held pass: how long its frames rest, and how long they need to.
pub(super) fn settling(report: &Report) -> Markup {
    let stage = report.compiled.stage();
    let rows: Vec<(&PassReport, &Settling, f64)> = report
        .passes
        .iter()
        .filter(|p| !p.settling.is_empty())
        .flat_map(|p| {
            let least = settling::rests(&p.program).into_iter().fold(f64::INFINITY, f64::min);
            p.settling.iter().map(move |s| (p, s, least))
        })
        .collect();
    let seconds = |s: f64| if s.is_finite() { figure(s, "") } else { "more than an hour".to_owned() };
    html! {
        @if !rows.is_empty() {
            section {
                h2 { "Settling" }
                div.scroll { table {
                    thead { tr { th { "pass" } th { "figure" } th { "shortest rest, s" } th { "longest needed, s" } th { "frame" } th { "period 10 % longer" } th { "10 % shorter" } th { "half the damping" } } }
                    tbody { @for (p, s, least) in &rows {
                        @let (longest, frame) = s.longest;
                        tr.over[is_over(p, s)] {
                            td { (p.name()) } td { (stage.group_name(s.group)) @if let Some(mode) = s.mode { " (mode " (mode + 1) ")" } }
                            td { (seconds(*least)) } td { (seconds(longest)) } td { (frame) } @for other in s.guessed { td { (seconds(other)) } }
                        }
                    } }
                } }
                p { "What each frame of a held pass must rest after its move until the figure stays within its limit of swing. The curves of an axis show it frame by frame." }
            }
        }
    }
}

/// True where the check says that a figure swings too far in a pass.
fn is_over(p: &PassReport, s: &Settling) -> bool {
    let swing = p.swings.iter().find(|w| w.group == s.group && w.mode == s.mode);
    swing.and_then(SwingReport::utilisation).is_some_and(Utilisation::is_exceeded)
}

/// Axes shown of each pass; the check's JSON has all.
const TIGHTEST: usize = 3;

/// The axes of every pass that use the largest share of their room to stop.
pub(super) fn stopping(report: &Report) -> Markup {
    let stage = report.compiled.stage();
    let tightest = |p: &PassReport| {
        let mut stops: Vec<Stopping> = p.stops.iter().filter_map(|(_, s)| *s).collect();
        stops.sort_by(|a, b| b.utilisation().share().total_cmp(&a.utilisation().share()));
        stops.truncate(TIGHTEST);
        stops
    };
    html! {
        section {
            h2 { "Room to stop" }
            div.scroll { table {
                thead { tr { th { "pass" } th { "axis" } th { "needs" } th { "has" } th { "to" } th { "takes, s" } th { "where" } } }
                tbody { @for p in &report.passes { @for s in tightest(p) {
                    @let unit = stage.axis(s.axis).unit().symbol();
                    tr.over[s.utilisation().is_exceeded()] {
                        td { (p.name()) } td { (stage.axis_name(s.axis)) } td { (figure(s.distance, unit)) } td { (figure(s.room, unit)) }
                        td { (words::against(stage, s.against)) } td { (figure(s.seconds, "")) } td { @if let Some(frame) = s.at.frame() { "frame " (format!("{:.2}", frame.0)) } }
                    }
                } } }
            } }
            p { "The " (TIGHTEST) " axes of every pass that use most of their room after a fault, from run-up to run-down." }
        }
    }
}
