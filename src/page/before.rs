//! The shot as it was: curves, channels and outlines that are not as they are now, to lie in grey under the new ones; and what changed, as a table.
//!
//! Invariant: axes, channels, figures and passes are matched by name, as [`crate::check::changes`] matches them; what is the same is left out. Old curves are drawn at the
//! pace of the old pass of the same name, old outlines are what the old camera saw in it: of a pass that is new there are none.

use maud::{Markup, html};
use serde::Serialize;

use super::curves::{AxisData, ChannelData, axes, channel_data};
use super::page_error::PageError;

use super::seen::{FrameData, Picture, picture};
use super::sets::Sets;
use crate::check::changes::{self, AxisChange, Changes};
use crate::check::words::counted;
use crate::compile::Compiled;
use crate::number::figures::figure;
use crate::output::channels;
use crate::shot::Pass;

/// What a page draws of the old version.
#[derive(Serialize)]
pub(super) struct Before {
    first: i64,
    last: i64,
    axes: Vec<AxisData>,
    channels: Vec<ChannelData>,
    /// Name and seconds per frame of every pass.
    passes: Vec<(String, f64)>,
    /// Pixels of the old picture.
    size: Option<[u32; 2]>,
    figures: Vec<OldFigure>,
}

/// A figure as the old camera saw it, for each set of the new version and each old frame; `null` where the pass is new.
#[derive(Serialize)]
struct OldFigure {
    name: String,
    sets: Vec<Option<Vec<FrameData>>>,
}

/// Everything of the old version that is drawn elsewhere than now.
pub(super) fn before(old: &Compiled, new: &Compiled, now: (&[AxisData], &[ChannelData], Option<&Picture>)) -> Result<Before, PageError> {
    let frames = old.shot().frames();
    let mut was = axes(old, None);
    was.retain(|a| now.0.iter().any(|n| n.name == a.name && n.unit == a.unit && !n.runs_like(a)));
    let mut channels = channel_data(old, &channels::of_mechanisms(old.stage()), None)?;
    let same_frames = frames == new.shot().frames();
    channels.retain(|c| now.1.iter().any(|n| n.name == c.name && n.unit == c.unit && !(same_frames && n.values == c.values)));
    let passes = old.shot().passes().iter().map(|p| (p.name().to_owned(), p.pace().get())).collect();
    let (size, figures) = match now.2 {
        Some(picture) => old_figures(old, new, picture)?,
        None => (None, Vec::new()),
    };
    Ok(Before { first: frames.first(), last: frames.last(), axes: was, channels, passes, size, figures })
}

fn old_figures(old: &Compiled, new: &Compiled, now: &Picture) -> Result<(Option<[u32; 2]>, Vec<OldFigure>), PageError> {
    let Sets { shown, .. } = Sets::of(new);
    let named = |pass: &Pass| old.shot().passes().iter().find(|p| p.name() == pass.name());
    let matched: Vec<Option<&Pass>> = shown.into_iter().map(named).collect();
    let known: Vec<&Pass> = matched.iter().flatten().copied().collect();
    let Some(was) = picture(old, &known, None)? else { return Ok((None, Vec::new())) };
    let same_frames = old.shot().frames() == new.shot().frames() && was.size == now.size;
    let mut figures = Vec::new();
    for figure in &was.figures {
        let Some(is) = now.figures.iter().find(|f| f.name == figure.name) else { continue };
        // Sets of the old picture are those passes that are known, in their order.
        let mut old_sets = 0..;
        let mut of = |pass: &Option<&Pass>| pass.and_then(|_| figure.of_set(old_sets.next()?)).map(<[FrameData]>::to_vec);
        let sets: Vec<Option<Vec<FrameData>>> = matched.iter().map(&mut of).collect();
        let same = |(set, list): (usize, &Option<Vec<FrameData>>)| list.is_none() || list.as_deref() == is.of_set(set);
        if !(same_frames && sets.iter().enumerate().all(same)) {
            figures.push(OldFigure { name: figure.name.clone(), sets });
        }
    }
    Ok((Some(was.size), figures))
}

/// What changed: axes with how far, and which passes to shoot again.
pub(super) fn table(old: &Compiled, new: &Compiled) -> Markup {
    let Changes { axes, passes, .. } = changes::between(old, new);
    html! {
        section id="changes" {
            h2 { "What changed since " (old.shot().name()) }
            p { "In the curves and in the picture below, the old version lies in grey under the new one." }
            @if axes.is_empty() { p { "No axis has changed." } } @else {
                div.scroll { table {
                    thead { tr { th { "axis" } th { "change" } th { "frames" } th { "at most" } th { "at frame" } th { "in the picture" } } }
                    tbody { @for a in &axes { (row(a)) } }
                } }
            }
            ul { @for p in &passes {
                li { strong { (p.pass) } ": " @if p.good { "still good" } @else { "shoot again" } @for reason in &p.reasons { "; " (reason) } }
            } }
        }
    }
}

fn row(a: &AxisChange) -> Markup {
    let frames = match (a.first_frame, a.last_frame) {
        (Some(first), Some(last)) => format!("{first} to {last} ({})", counted(a.frames, "frame")),
        _ => String::new(),
    };
    html! { tr {
        td { (a.axis) } td { (a.change) } td { (frames) }
        td { @if let (Some(units), Some(steps)) = (a.max_units, a.max_steps) {
            (figure(units, a.unit)) " (" (counted(usize::try_from(steps).unwrap_or(usize::MAX), "step")) ")"
        } }
        td { @if let Some(frame) = a.at_frame { (frame) } }
        td { @if let Some(px) = a.max_px { (figure(px, "px")) } }
    } }
}
