//! What is drawn of a shot before it is checked: its curves, and where its bodies are; and what of it changed.

use serde::Serialize;

use super::curves::{AxisData, axes};
use super::data::escaped;
use super::page_error::PageError;
use super::scene::{BodyData, bodies};
use crate::compile::{Compiled, Counts};

/// Curves and places of a compiled shot.
pub(crate) struct Drawn {
    first: i64,
    last: i64,
    pub(super) axes: Vec<AxisData>,
    pub(super) bodies: Vec<BodyData>,
}

#[derive(Serialize)]
struct Part<'a> {
    first: i64,
    last: i64,
    axes: Vec<&'a AxisData>,
    bodies: Vec<&'a BodyData>,
}

/// Curves and places, for a page and to be compared with others.
///
/// # Errors
/// More frames than a page holds; a body without a pose at a frame.
pub(crate) fn drawn(compiled: &Compiled) -> Result<Drawn, PageError> {
    fits(compiled)?;
    let frames = compiled.shot().frames();
    Ok(Drawn { first: frames.first(), last: frames.last(), axes: axes(compiled), bodies: bodies(compiled)? })
}

/// A page holds so many frames of so many axes.
pub(super) fn fits(compiled: &Compiled) -> Result<(), PageError> {
    let (counts, most) = (Counts::of(compiled.stage(), compiled.shot()), compiled.budget().most_page_counts());
    if counts.product() > most { Err(PageError::TooLarge { counts, most }) } else { Ok(()) }
}

impl Drawn {
    /// As JSON: the axes and bodies that are not as they were.
    #[must_use]
    pub(crate) fn since(&self, before: &Drawn) -> String {
        let part = Part {
            first: self.first,
            last: self.last,
            axes: self.axes.iter().filter(|a| !before.axes.contains(a)).collect(),
            bodies: self.bodies.iter().filter(|b| !before.bodies.contains(b)).collect(),
        };
        serde_json::to_string(&part).map(escaped).unwrap_or_default()
    }
}
