//! A study as a page: what drives leave, what they do over a beat, and markers as recorded and as rebuilt.
//!
//! Form: three sections of panels; recorded rows as dots, what was computed as lines; the one accent is for what is farther off than `--within`. Invariant: names of the recording
//! go through escaping, and none is in a drawing; nothing is run and nothing loaded. Limits: the leading drives and the markers that move farthest; [`MOST_POINTS`] rows, evenly picked.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::panel::{Kind, Series, panel};
use super::policy;
use crate::number::figures::{figure, most};
use crate::number::whole;
use crate::study::beat::{Beat, Phases};
use crate::study::{Markers, Study, shown};

/// How every page of a study begins.
pub(crate) const STUDY_BEGINS: &str = "<!DOCTYPE html><!-- movewright study -->";

/// Drives on the page.
const MOST_DRIVES: usize = 4;

/// Numbers of drives whose residuals are drawn.
const MOST_NUMBERS: usize = 12;

/// Markers on the page.
const MOST_MARKERS: usize = 4;

/// Rows of a line.
const MOST_POINTS: usize = 2000;

/// Beats of the markers' lines.
const BEATS: f64 = 3.0;

/// Keys of the drawn beat.
const KEYS: usize = 12;

/// The style of every page, and what a study adds to it.
const STYLES: &str = concat!(include_str!("page.css"), include_str!("study.css"));

/// The page of a study of this file.
pub(crate) fn study_page(file: &str, markers: &Markers, study: &Study, within: Option<f64>) -> String {
    let drives = study.described().clamp(1, MOST_DRIVES).min(study.drives.count());
    let rebuilt_with = within.and_then(|within| study.needed(within)).unwrap_or(drives);
    let body = html! {
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta http-equiv="Content-Security-Policy" content=(policy::policy(STYLES, &[], false));
                title { (file) ": study" }
                style { (PreEscaped(STYLES)) }
            }
            body {
                header {
                    h1 { (file) }
                    p { (study.rows.len()) " complete rows of " (markers.times().len()) ", " (markers.names().len()) " markers in " (markers.dimensions()) "-D" }
                    p.verdict { (verdict(study, within)) }
                }
                main {
                    section {
                        h2 { "What drives leave" }
                        p { "Distance of markers from where they were recorded, mm, against the number of drives."
                            @if within.is_some() { " The broken line is --within. Large dots: more than that." } }
                        (residuals(study, within))
                    }
                    section {
                        h2 { @if study.period.is_some() { "Drives over a beat" } @else { "Drives over time" } }
                        p { "Position of each drive, mm. Dots: the rows of the recording. "
                            @if study.period.is_some() { "Line: the mean beat. Across: one beat, from the first row." } @else { "Across: seconds." } }
                        div.views { @for drive in 0..drives { figure { figcaption { "Drive " (drive + 1) } (over_a_beat(study, drive)) } } }
                    }
                    section {
                        h2 { "Markers, recorded and rebuilt" }
                        p { "The coordinate in which a marker moves farthest, mm, as seen from the body. Dots: recorded. Line: rebuilt from "
                            (rebuilt_with) @if rebuilt_with == 1 { " drive" } @else { " drives" } ". Across: seconds." }
                        div.views { @for (marker, axis) in farthest(study, markers) {
                            figure { figcaption { (markers.names().get(marker).map_or("", String::as_str)) "." (["x", "y", "z"].get(axis).copied().unwrap_or("")) }
                                (rebuilt(study, marker * study.dimensions + axis, rebuilt_with)) }
                        } }
                    }
                    @if !study.hinges.is_empty() { (hinges(study, markers)) }
                }
            }
        }
    };
    let text = html! { (DOCTYPE) (body) }.into_string();
    text.replacen("<!DOCTYPE html>", STUDY_BEGINS, 1)
}

fn verdict(study: &Study, within: Option<f64>) -> String {
    match within.map(|within| (within, study.needed(within))) {
        Some((within, Some(1))) => format!("1 drive stays within {}", figure(within, "mm")),
        Some((within, Some(n))) => format!("{n} drives stay within {}", figure(within, "mm")),
        Some((within, None)) => format!("No number of drives stays within {}", figure(within, "mm")),
        None => match study.rank {
            Some(0) => "No drive moves more than the noise of the recording".to_owned(),
            Some(1) => "1 drive moves more than the noise of the recording".to_owned(),
            Some(n) => format!("{n} drives move more than the noise of the recording"),
            None => "The noise of the recording is unknown: too few complete rows follow each other".to_owned(),
        },
    }
}

fn residuals(study: &Study, within: Option<f64>) -> Markup {
    let of = |value: fn(&crate::study::drives::Residual) -> f64| -> Vec<(f64, f64)> {
        study.residuals.iter().take(MOST_NUMBERS).map(|r| (whole::count(r.n), value(r))).collect()
    };
    let worst = of(|r| r.worst);
    let mut all = vec![
        Series { name: "rms", kind: Kind::Second, points: of(|r| r.rms) },
        Series { name: "worst", kind: Kind::Line, points: worst.clone() },
    ];
    if let Some(within) = within {
        let last = worst.last().map_or(1.0, |p| p.0);
        all.push(Series { name: "within", kind: Kind::Limit, points: vec![(1.0, within), (last, within)] });
        all.push(Series { name: "", kind: Kind::Over, points: worst.into_iter().filter(|p| !(p.1 <= within)).collect() });
    }
    panel("what drives leave, against their number", &all)
}

fn over_a_beat(study: &Study, drive: usize) -> Markup {
    let every = study.times.len().div_ceil(MOST_POINTS).max(1);
    let first = study.times.first().copied().unwrap_or(0.0);
    let place = |t: f64| study.period.map_or(t, |period| ((t - first) / period).fract());
    let rows = study.times.iter().enumerate().step_by(every).map(|(row, t)| (place(*t), study.drives.at(row, drive)));
    let mut all = vec![Series { name: "", kind: Kind::Dots, points: rows.collect() }];
    if let Some(period) = study.period
        && let Some(beat) = Beat::fit(&study.drives, drive + 1, &Phases::of(&study.times, period), KEYS)
    {
        let at = |i: u32| f64::from(i) / 200.0;
        let points = (0..=200).map(at).map(|x| (x, beat.at(drive, x))).collect();
        all.push(Series { name: "", kind: Kind::Line, points });
    }
    panel("the positions of a drive", &all)
}

fn rebuilt(study: &Study, coordinate: usize, drives: usize) -> Markup {
    let width = study.drives.mean.len();
    let first = study.times.first().copied().unwrap_or(0.0);
    let end = study.period.map_or(f64::INFINITY, |period| first + BEATS * period);
    let rows: Vec<(usize, f64)> = study.times.iter().copied().enumerate().take_while(|(_, t)| *t <= end).collect();
    let every = rows.len().div_ceil(MOST_POINTS).max(1);
    let rows = || rows.iter().step_by(every);
    let recorded = rows().filter_map(|(row, t)| Some((*t, *study.moving.get(row * width + coordinate)?)));
    let again = rows().filter_map(|(row, t)| {
        let positions: Vec<f64> = (0..drives).map(|drive| study.drives.at(*row, drive)).collect();
        Some((*t, *study.drives.rebuilt(&positions).get(coordinate)?))
    });
    let all =
        [Series { name: "", kind: Kind::Dots, points: recorded.collect() }, Series { name: "", kind: Kind::Line, points: again.collect() }];
    panel("a marker, recorded and rebuilt", &all)
}

/// The markers that move farthest, each with the coordinate in which it does.
fn farthest(study: &Study, markers: &Markers) -> Vec<(usize, usize)> {
    let width = study.drives.mean.len();
    let range = |coordinate: usize| {
        let values = study.moving.iter().skip(coordinate).step_by(width.max(1));
        let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), x| (l.min(*x), h.max(*x)));
        high - low
    };
    let widest = |marker: usize| {
        let all = (0..study.dimensions).map(|axis| (axis, range(marker * study.dimensions + axis)));
        all.reduce(|a, b| if b.1 > a.1 { b } else { a }).unwrap_or((0, 0.0))
    };
    let mut all: Vec<(usize, (usize, f64))> = (0..markers.names().len()).map(|m| (m, widest(m))).collect();
    all.sort_by(|a, b| b.1.1.total_cmp(&a.1.1));
    all.into_iter().take(MOST_MARKERS).map(|(marker, (axis, _))| (marker, axis)).collect()
}

fn hinges(study: &Study, markers: &Markers) -> Markup {
    let names = |of: &[(usize, f64)]| {
        let name = |(m, radius): &(usize, f64)| format!("{} ({radius:.1} mm)", markers.names().get(*m).map_or("", String::as_str));
        of.iter().map(name).collect::<Vec<_>>().join(", ")
    };
    let numbers = |of: [f64; 3], digits: usize| of.map(|x| format!("{x:.digits$}")).join(", ");
    html! {
        section {
            h2 { "Hinges" }
            p { "Markers that turn about one axis of the body, with their distances from it." }
            div.scroll { table {
                thead { tr { th { "markers" } th { "pivot, mm" } th { "axis" } th { "sweep" } th { "rms off" } th { "standard error of the axis" } } }
                tbody { @for hinge in &study.hinges { tr {
                    td { (names(&hinge.markers)) } td { (numbers(hinge.pivot, 1)) } td { (numbers(hinge.turn, 4)) }
                    td { (figure(shown(hinge.sweep()), "deg")) } td { (figure(shown(hinge.rms), "mm")) } td { (most(hinge.axis_error, "deg")) }
                } } }
            } }
        }
    }
}
