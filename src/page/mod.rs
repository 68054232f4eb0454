//! The move on one page: verdict and cautions, a map of what every axis uses, every curve, the stage from above and from the side, the picture,
//! the day's passes on a clock.
//!
//! Form: one HTML file that needs nothing else: no network, no other file; a policy in its head forbids both, and every script but its own. Sizes in px for reading at arm's length;
//! greys, and one accent (vermilion of the colour-blind-safe palette of M. Okabe and K. Ito, 2008) for what exceeds a limit, which
//! is hatched too. Invariant: every text of the input files goes through escaping or `textContent`. Nothing here decides: verdicts are the check's.

mod before;
mod curves;
mod data;
mod drawn;
mod handle;
mod haze;
mod load_curves;
mod loads;
mod page_error;
mod panel;
mod plot;
mod policy;
mod scene;
mod seen;
mod sets;
mod sharp;
mod study;
mod tables;
mod takes;
mod tried;

pub(crate) use drawn::{Drawn, drawn};
pub(crate) use handle::{Keys, SeenFile};
pub(crate) use page_error::PageError;
pub(crate) use plot::{PLOT_BEGINS, PLOT_ENDS, plot};
pub(crate) use seen::{Pictured, pictured};
pub(crate) use study::{STUDY_BEGINS, study_page};
pub(crate) use tried::tried;

use maud::{DOCTYPE, PreEscaped, html};

use crate::check::{Report, words};
use crate::compile::Compiled;
use crate::output::manifest::{CAUTIONS, NOTICE};
use crate::output::takes::PassRecord;

/// How every page begins, so that one of ours is known as one.
pub(crate) const PAGE_BEGINS: &str = "<!DOCTYPE html><!-- movewright report -->";

/// How every page ends.
pub(crate) const PAGE_ENDS: &str = "</html>";

const STYLE: &str = include_str!("page.css");
const SCRIPT: &str = include_str!("page.js");
const LOADS: &str = include_str!("loads.js");
const LIVE: &str = include_str!("live.js");
const EDIT: &str = include_str!("edit.js");

/// The page of a compiled and checked shot.
///
/// # Errors
/// A body without a pose at a frame; more frames than a page holds.
pub(crate) fn page(report: &Report) -> Result<String, PageError> {
    let pictured = pictured(&report.compiled, None)?;
    made(report, &drawn(&report.compiled, None, None)?, &pictured, scripts(&report.compiled), Beside::default())
}

/// The same, where there is an old version with it in grey under what is new, and a table of what changed; and with a table of what is shot, where that is known.
///
/// # Errors
/// As [`page`], of either version.
pub(crate) fn page_with(report: &Report, old: Option<&Compiled>, takes: Option<&[PassRecord]>) -> Result<String, PageError> {
    old.map_or(Ok(()), drawn::fits)?;
    let pictured = pictured(&report.compiled, None)?;
    made(report, &drawn(&report.compiled, None, None)?, &pictured, scripts(&report.compiled), Beside { old, takes })
}

/// What a page may show beside the shot itself.
#[derive(Clone, Copy, Default)]
struct Beside<'a> {
    /// An old version.
    old: Option<&'a Compiled>,
    /// What a record of takes says of the passes.
    takes: Option<&'a [PassRecord]>,
}

/// A page of a stage without loads has no use for what draws them.
fn scripts(compiled: &Compiled) -> &'static [&'static str] {
    let has_loads = compiled.stage().bodies().iter().any(|b| b.swing().is_some() || b.hang().is_some());
    if has_loads { &[SCRIPT, LOADS] } else { &[SCRIPT] }
}

/// The same of what is drawn already, which asks where it came from for what is new; keys can be dragged in it where it is `editable`.
///
/// # Errors
/// A figure or a channel without a place at a frame.
pub(crate) fn live(report: &Report, drawn: &Drawn, pictured: &Pictured, editable: bool) -> Result<String, PageError> {
    made(report, drawn, pictured, if editable { &[SCRIPT, LOADS, EDIT, LIVE] } else { &[SCRIPT, LOADS, LIVE] }, Beside::default())
}

/// What is shown until there is a first page.
#[must_use]
pub(crate) fn waiting() -> String {
    let body = html! {
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(policy::policy(STYLE, &[LIVE], true));
                title { "movewright" }
                style { (PreEscaped(STYLE)) }
            }
            body { (live_line()) script { (PreEscaped(LIVE)) } }
        }
    };
    html! { (DOCTYPE) (body) }.into_string()
}

/// Where a page that is alive says what happens.
fn live_line() -> maud::Markup {
    html! {
        div id="live" role="status" { p id="live_state" { "reading the shot" } pre id="live_text" hidden {} }
    }
}

/// Undo, redo, and where the page says what can be dragged and what became of it.
fn edit_line() -> maud::Markup {
    html! {
        div id="edit" class="screen_only" hidden {
            p { button id="undo" type="button" disabled { "Undo" } " " button id="redo" type="button" disabled { "Redo" } " "
                kbd { "Ctrl+Z" } " " kbd { "Ctrl+Shift+Z" } " " span id="edit_text" role="status" {} }
            p id="edit_limits" {}
        }
    }
}

fn made(report: &Report, drawn: &Drawn, pictured: &Pictured, scripts: &[&str], beside: Beside<'_>) -> Result<String, PageError> {
    let old = beside.old;
    let (stage, shot) = (report.compiled.stage(), report.compiled.shot());
    let (alive, editable) = (scripts.contains(&LIVE), scripts.contains(&EDIT));
    let data = data::text(
        report,
        data::Shown { axes: &drawn.axes, bodies: &drawn.bodies, handles: drawn.handles.as_ref(), picture: pictured.0.as_ref() },
        old,
    )?;
    let within = report.within_limits();
    let over: usize = report.passes.iter().map(|p| p.violations.len()).sum();
    let body = html! {
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta http-equiv="Content-Security-Policy" content=(policy::policy(STYLE, scripts, alive));
                title { (shot.name()) ": report" }
                style { (PreEscaped(STYLE)) }
            }
            body {
                @if alive { (live_line()) }
                header data-fresh="header" {
                    h1 { (shot.name()) }
                    p { (stage.name()) ", " (stage.axes().len()) " axes, frames " (shot.frames().first()) " to " (shot.frames().last())
                        " at " (shot.frame_rate()) " frames/s, from " (shot.timecode_start()) }
                    @if within {
                        p.verdict { "Every pass is within the limits that the stage file states." }
                    } @else {
                        p.verdict.over { (words::exceeded(over)) }
                    }
                    p.notice { (NOTICE) }
                    details.screen_only { summary { "Cautions (" (CAUTIONS.len()) ", in full when printed)" } ul { @for c in CAUTIONS { li { (c) } } } }
                    div.print_only { p { "Cautions" } ul { @for c in CAUTIONS { li { (c) } } } }
                }
                main {
                    div data-fresh="over" { (tables::over(report)) }
                    @if let Some(old) = old { (before::table(old, &report.compiled)) }
                    section {
                        h2 { "Share of the tightest limit" }
                        p { span.screen_only { label for="pass" { "Pass " } select id="pass" {} } span.print_only id="pass_name" {}
                            " Rows are axes, columns are frames. Darker is nearer to a limit; " span.swatch {} " exceeds one. "
                            span.screen_only { "Select a row to see its curves: " kbd { "up" } " and " kbd { "down" } " change the row, " kbd { "Esc" } " closes the curves." } }
                        div id="map" {}
                    }
                    section id="axis" hidden { h2 id="axis_name" {} @if editable { (edit_line()) } div id="curves" {} p id="axis_text" {} }
                    section id="stage" hidden {
                        h2 { "The stage" }
                        p { button id="play" type="button" { "Play" } " "
                            label for="frame" { "Frame " } output id="frame_text" for="frame" {} }
                        input id="frame" type="range" step="1";
                        div.views {
                            figure { figcaption { "From above" } div id="plan" {} }
                            figure { figcaption { "From the side" } div id="side" {} }
                            figure { figcaption { span { "Turned" } span.screen_only { ": drag it, or use the arrow keys; " kbd { "Home" } " turns it back" } }
                                div id="turned" tabindex="0" {} }
                            figure id="picture_figure" { figcaption id="picture_name" { "The picture" } div id="picture" {} }
                        }
                        div id="near_section" hidden { p { "Where it is tightest in this pass:" } ul id="near" {} }
                    }
                    div data-fresh="tables" {
                        (tables::clock(report))
                        (tables::passes(report))
                        (takes::takes(beside.takes))
                        (tables::registration(report))
                        (tables::clearance(report))
                        (loads::swing(report))
                        (loads::hang(report))
                        (loads::settling(report))
                        (loads::stopping(report))
                        (haze::haze(report))
                        (tables::findings(report))
                    }
                }
                script id="data" type="application/json" { (PreEscaped(data)) }
                @for script in scripts { script { (PreEscaped(script)) } }
            }
        }
    };
    // The mark follows the document type, where a browser looks first.
    let text = html! { (DOCTYPE) (body) }.into_string();
    Ok(text.replacen("<!DOCTYPE html>", PAGE_BEGINS, 1))
}
