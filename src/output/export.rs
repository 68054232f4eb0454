//! The folder of a compiled shot: columns of every pass, the inputs it was made from, the manifest.

use std::path::Path;

use super::channels::{self, ChannelError};
use super::columns::{self, Column, ColumnError};
use super::handoff::HandOff;
use super::handoff::poses::PoseError;
use super::handoff::sampling::Wishes;
use super::manifest;
use super::rows::{RowRate, RowsError, Table, Tracks};
use super::staged::{OurFolder, StagedError, StagedFolder, Written};
use crate::check::{Approval, Report};
use crate::program::Leg;

/// Why a folder was not written.
#[derive(Debug, thiserror::Error)]
pub(crate) enum ExportError {
    /// The folder.
    #[error(transparent)]
    Staged(#[from] StagedError),
    /// A table.
    #[error(transparent)]
    Columns(#[from] ColumnError),
    /// What the paint and CG departments take over.
    #[error(transparent)]
    Poses(#[from] PoseError),
    /// Rows for a controller.
    #[error("rows for a controller: {0}")]
    Rows(#[from] RowsError),
    /// A file within.
    #[error("cannot write: {0}")]
    Io(#[from] std::io::Error),
    /// Channels.
    #[error(transparent)]
    Channels(#[from] ChannelError),
    /// The manifest.
    #[error("the manifest could not be written: {0}")]
    Json(#[from] serde_json::Error),
}

/// What an export is made from.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Export<'a> {
    /// The job.
    pub approval: Approval<'a>,
    /// Input files: path below `source/` and bytes, the shot file first.
    pub sources: &'a [(String, Vec<u8>)],
    /// Replace a folder of ours that differs.
    pub replace: bool,
    /// What is asked of the files for other departments.
    pub wishes: Wishes,
    /// Write the whole program of every pass too, as rows at this rate.
    pub rows: Option<RowRate>,
    /// Rows of these parts instead, one report of one pass for each pass of the shot; all of them hold.
    pub parts: Option<&'a [Report]>,
}

impl Export<'_> {
    /// Writes the folder. `step` is called before each file with its name, for progress.
    ///
    /// # Errors
    /// See [`ExportError`]; nothing at the target has then changed.
    pub(crate) fn write(&self, target: &Path, step: &mut dyn FnMut(&str)) -> Result<Written, ExportError> {
        let report = self.approval.report();
        let compiled = &report.compiled;
        let (stage, shot) = (compiled.stage(), compiled.shot());
        let mut folder = StagedFolder::beside(target, OurFolder::Output, self.replace)?;
        for pass in shot.passes() {
            for (kind, column) in [("steps", Column::Steps), ("units", Column::Units)] {
                let name = format!("{}.{kind}.csv", pass.name());
                step(&name);
                folder.file(&name, |out| columns::write(out, compiled, pass, column).map_err(ExportError::from))?;
            }
        }
        for pass in &report.passes {
            let Some(held) = pass.program.stations() else { continue };
            folder.file(&format!("{}.moves.csv", pass.name()), |out| -> Result<(), ExportError> {
                let clock = pass.program.clock();
                let openings = clock.is_shortest();
                writeln!(out, "from_frame,to_frame,seconds,slowest{}", if openings { ",opens_s" } else { "" })?;
                for (i, m) in held.moves().iter().enumerate() {
                    let slowest = m.slowest.map(|a| stage.axis_name(a)).unwrap_or_default();
                    write!(out, "{},{},{:.6},{slowest}", m.from, m.to, m.seconds.0)?;
                    if openings {
                        write!(out, ",{:.6}", (clock.begin() + clock.opens(i + 1)).0)?;
                    }
                    writeln!(out)?;
                }
                Ok(())
            })?;
        }
        let mut rows = Vec::new();
        if let Some(rate) = self.rows {
            for (i, whole) in report.passes.iter().enumerate() {
                let part = self.parts.and_then(|parts| parts.get(i)?.passes.first());
                let checked = part.unwrap_or(whole);
                if !checked.way_is_clear(Leg::MoveToStart) && (part.is_some() || report.within_limits()) {
                    return Err(RowsError::TooNear { pass: checked.name().to_owned(), leg: Leg::MoveToStart }.into());
                }
                let tracks = Tracks::new(&checked.program, checked)?;
                let table = Table::new(&tracks, rate)?.with_shutter(true);
                let mut entry = manifest::rows(&tracks, rate, &table, checked.name());
                entry.part = part.map(|part| manifest::part(&part.program));
                step(&entry.file);
                folder.file(&entry.file, |out| table.write(out, &mut |_| {}).map_err(ExportError::from))?;
                rows.push(entry);
            }
        }
        let channels = channels::of_mechanisms(stage);
        if !channels.is_empty() {
            step("channels.csv");
            folder.file("channels.csv", |out| channels::write(out, compiled, &channels).map_err(ExportError::from))?;
        }
        HandOff { compiled, wishes: self.wishes }.add::<ExportError>(&mut folder, step)?;
        for (path, bytes) in self.sources {
            let full = format!("source/{path}");
            step(&full);
            folder.file(&full, |out| out.write_all(bytes).map_err(ExportError::from))?;
        }
        let source = self.sources.first().map_or("", |(path, _)| path.as_str());
        let mut m = manifest::manifest(report, source);
        m.hand_off = manifest::hand_off(compiled, self.wishes);
        m.files = folder.files().to_vec();
        for (pass, entry) in m.passes.iter_mut().zip(rows) {
            pass.rows = Some(entry);
        }
        step("manifest.json");
        folder.file("manifest.json", |out| -> Result<(), ExportError> {
            serde_json::to_writer_pretty(&mut *out, &m)?;
            writeln!(out)?;
            Ok(())
        })?;
        Ok(folder.put_in_place()?)
    }
}
