//! What haze does to each figure, as a table; it needs no script.

use maud::{Markup, html};

use crate::check::haze::VeiledBody;
use crate::check::{Report, words};
use crate::number::figures::figure;

/// What to measure on the stage, and each figure at its farthest and nearest, the one that loses most first; nothing where the shot has no haze.
pub(super) fn haze(report: &Report) -> Markup {
    let Some(found) = &report.haze else { return html! {} };
    let stage = report.compiled.stage();
    let mut figures: Vec<&VeiledBody> = found.figures().collect();
    figures.sort_by(|a, b| b.least.1.stops.total_cmp(&a.least.1.stops));
    let percent = words::haze::percent;
    html! {
        section {
            h2 { "Haze" }
            @for text in words::haze::measure(found) { p { (text) } }
            div.scroll { table {
                thead { tr { th { "figure" } th { "light at its farthest" } th { "frame" } th { "stops" } th { "veiling light" } th { "light at its nearest" } th { "frame" }
                    th { "density" } } }
                tbody { @for b in &figures {
                    @let ((far, least), (near, greatest)) = (b.least, b.greatest);
                    tr { td { (stage.group_name(b.group)) } td { (percent(least.transmission)) } td { (far.0) } td { (figure(least.stops, "")) }
                        td { (percent(least.veiling_light())) } td { (percent(greatest.transmission)) } td { (near.0) }
                        td { (words::haze::within(least.density_for_a_tenth())) } }
                } }
            } }
            p { (words::haze::LEGEND) "." @if found.stride > 1 { " Looked at one of " (found.stride) " frames." } }
        }
    }
}
