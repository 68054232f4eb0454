//! `movewright compare ... --hand-off DIR`: the hand-off of a pass as it was measured.

use std::path::Path;

use serde::Serialize;

use super::coded::Coded;
use super::compare_folder::{Failure, WrittenFolder, wrong};
use super::wrap;
use crate::bounds::Code;
use crate::check::words::axes;
use crate::compile::Compiled;
use crate::measure::Deviations;
use crate::number::figures::figure;
use crate::output::measured::{Measured, SHIFTS, WorstShift};
use crate::stage::PerAxis;

/// What was written.
#[derive(Debug, Serialize, schemars::JsonSchema)]
pub(super) struct HandedOff {
    /// The folder.
    pub(super) folder: String,
    /// How far each body is off in the picture at its worst.
    pub(super) shifts: Vec<WorstShift>,
    /// Axes of which nothing was measured, or which the pass parks: as planned.
    pub(super) axes_as_planned: Vec<String>,
}

/// Writes the hand-off of a pass of `folder` with what its axes were off.
///
/// # Errors
/// A stage without bodies; whatever writing says.
pub(super) fn write(
    target: &Path,
    folder: &WrittenFolder,
    compiled: &Compiled,
    source: &'static str,
    from: &[&Path],
    found: Deviations,
) -> Result<HandedOff, Failure> {
    let stage = compiled.stage();
    if stage.bodies().is_empty() {
        return Err(wrong(
            Code::MissingBody,
            "--hand-off: the stage does not say where its bodies are (`[[group.joint]]`), so there is nothing to hand over",
        ));
    }
    let Some(pass) = folder.pass() else { return Err(wrong(Code::UnknownPass, "--pass: the shot in the folder does not have it")) };
    if pass.every() > 1 || pass.wedge().is_some() {
        let title = format!("--hand-off: pass `{}` exposes only some of the frames, and measured positions need every frame", pass.name());
        return Err(wrong(Code::MissingFrame, title));
    }
    let mut not_measured = found.not_logged;
    let deviations = PerAxis::new(stage, |id| {
        let measured = found.by_axis.get(id.index()).filter(|by| !by.is_empty());
        // A parked figure is not in the picture; it is handed over as it was choreographed.
        if pass.parks(stage, id) {
            let name = stage.axis_name(id);
            if measured.is_some() {
                not_measured.push(name.to_owned());
            }
            return Vec::new();
        }
        measured.cloned().unwrap_or_default()
    });
    let measured = Measured {
        compiled,
        pass,
        deviations,
        plan: (&folder.bytes, &folder.hash),
        sources: folder.sources()?,
        source,
        names: from.iter().map(|path| path.display().to_string()).collect(),
        not_measured: not_measured.clone(),
        wishes: folder.wishes(),
    };
    let shifts = measured.write(target, &mut |_| {}).map_err(|error| wrong(error.code(), format!("--hand-off: {error}")))?;
    Ok(HandedOff { folder: target.display().to_string(), shifts, axes_as_planned: not_measured })
}

impl HandedOff {
    /// What was written, and the bodies that are furthest off.
    pub(super) fn add_to(&self, text: &mut String, all: bool) {
        wrap::line(text, &format!("hand-off with measured positions: {}", self.folder), 2);
        let mut far: Vec<&WorstShift> = self.shifts.iter().collect();
        far.sort_by(|a, b| b.px.total_cmp(&a.px));
        let shown = if all { far.len() } else { far.len().min(FEW) };
        for shift in far.iter().take(shown) {
            let px = figure(shift.px, "px");
            wrap::line(text, &format!("  {}: {px} from the plan at frame {}", shift.body, shift.frame), 4);
        }
        if shown < far.len() {
            wrap::line(text, &format!("  {} more, nearer to the plan (--all; every frame in {SHIFTS})", far.len() - shown), 4);
        }
        if !self.axes_as_planned.is_empty() {
            let names = wrap::names(&self.axes_as_planned, all);
            wrap::line(text, &format!("  as planned, because not measured: {} ({names})", axes(self.axes_as_planned.len())), 4);
        }
    }
}

/// Bodies that are shown without `--all`.
const FEW: usize = 5;
