//! What is drawn of a shot before it is checked: its curves, and where its bodies are; and what of it changed.

use serde::Serialize;

use super::curves::{AxisData, axes};
use super::data::escaped;
use super::handle::{Handles, SeenFile};
use super::page_error::PageError;
use super::scene::{BodyData, bodies};
use crate::compile::{Compiled, Counts};

/// Curves and places of a compiled shot.
pub(crate) struct Drawn {
    first: i64,
    last: i64,
    pub(super) axes: Vec<AxisData>,
    pub(super) bodies: Vec<BodyData>,
    /// Where keys may be dragged.
    pub(super) handles: Option<Handles>,
}

#[derive(Serialize)]
struct Part<'a> {
    first: i64,
    last: i64,
    axes: Vec<&'a AxisData>,
    bodies: Vec<&'a BodyData>,
    #[serde(skip_serializing_if = "Option::is_none")]
    files: Option<&'a [SeenFile]>,
}

/// Curves and places, for a page and to be compared with others; with `files`, those that the shot was read from, keys may be dragged.
///
/// What stands where it stood in a shot `before`, on an equal stage, is taken over.
///
/// # Errors
/// More frames than a page holds; a body without a pose at a frame.
pub(crate) fn drawn(compiled: &Compiled, files: Option<Vec<SeenFile>>, before: Option<(&Compiled, &Drawn)>) -> Result<Drawn, PageError> {
    fits(compiled)?;
    let frames = compiled.shot().frames();
    let handles = files.and_then(|files| Handles::new(compiled, files));
    let axes = axes(compiled, handles.as_ref());
    Ok(Drawn {
        first: frames.first(),
        last: frames.last(),
        axes,
        bodies: bodies(compiled, before.map(|(old, drawn)| (old, drawn.bodies.as_slice())))?,
        handles,
    })
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
            files: self.handles.as_ref().map(Handles::files),
        };
        serde_json::to_string(&part).map(escaped).unwrap_or_default()
    }
}
