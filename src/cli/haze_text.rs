//! Haze as text: what to measure on the stage, and a table of figures with the light that arrives and how steady the smoke must be.
//!
//! Form: fits 80 columns; a name too long for its column stands on a line of its own. Without `--all` only the figures that lose most.

use super::show::Show;
use super::wrap::{self, text_line as line};
use crate::check::haze::VeiledBody;
use crate::check::{Report, words};

/// Figures shown without `--all`.
const FEW_FIGURES: usize = 5;

/// Columns of the longest name that has its figures beside it.
const NAME: usize = 16;

/// Adds what haze does; nothing where the shot has none.
pub(super) fn add(t: &mut String, report: &Report, show: Show) {
    let Some(found) = &report.haze else { return };
    let stage = report.compiled.stage();
    line(t, "");
    words::haze::measure(found).iter().for_each(|text| line(t, text));
    let mut figures: Vec<&VeiledBody> = found.figures().collect();
    figures.sort_by(|a, b| b.least.1.stops.total_cmp(&a.least.1.stops));
    let shown = if show.all { figures.len() } else { figures.len().min(FEW_FIGURES) };
    let names = figures.iter().take(shown).map(|b| stage.group_name(b.group).chars().count());
    let width = names.filter(|n| *n <= NAME).max().unwrap_or(6).max(6);
    if shown > 0 {
        let heads = format!("{:>9} {:>7} {:>9} {:>7} {:>9} {:>7} {:>9}", "light", "frame", "to", "frame", "veil", "stops", "density");
        wrap::line(t, &format!("  {:width$} {heads}", "figure"), 0);
    }
    let percent = words::haze::percent;
    for b in figures.iter().take(shown) {
        let ((far, least), (near, greatest)) = (b.least, b.greatest);
        let row = format!(
            "{:>9} {:>7} {:>9} {:>7} {:>9} {:>7.2} {:>9}",
            percent(least.transmission),
            far.0,
            percent(greatest.transmission),
            near.0,
            percent(least.veiling_light()),
            least.stops,
            words::haze::within(least.density_for_a_tenth())
        );
        let name = stage.group_name(b.group);
        if name.chars().count() > width {
            line(t, &format!("  {name}"));
            wrap::line(t, &format!("  {:width$} {row}", ""), 0);
        } else {
            wrap::line(t, &format!("  {name:width$} {row}"), 0);
        }
    }
    if shown > 0 {
        line(t, &format!("  {}", words::haze::LEGEND));
    }
    if let Some(far) = figures.first().filter(|_| !found.haze.bands().is_empty()) {
        line(t, &format!("  {}", words::haze::bands(stage.group_name(far.group), &found.haze, far.least.1, far.least.0.0)));
    }
    if shown < figures.len() {
        line(t, &format!("  figures left out: {} that lose less (--all)", figures.len() - shown));
    }
    if found.stride > 1 {
        line(t, &format!("  looked at one of {} frames: the shot is long", found.stride));
    }
}
