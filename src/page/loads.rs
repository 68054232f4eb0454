//! What hangs, on the page: how far every figure swings in every pass.
//!
//! Invariant: nothing is judged here; what is not known is said.

use maud::{Markup, html};

use crate::check::swing::found::SwingReport;
use crate::check::{PassReport, Report};
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
