//! The hand-off of a take as it was measured: the files of the plan's hand-off with the measured positions in them, and how far each figure is off in the picture.
//!
//! Form: the files of [`HandOff`], [`SHIFTS`] with the columns `frame,body,x,y,right_px,down_px` (the measured place in the picture, and that less the planned one), `PASS.units.csv` with the
//! measured positions, copies of the plan's manifest ([`PLAN`]) and `source/`, and [`ENTRY`], which says what they were made from. Invariant: a deviation holds for the whole of its frame; an axis without one is as planned, and [`ENTRY`] names it.
//! Limits: shifts are those of the origins of bodies and limbs, in the picture of the first camera, at mid-exposure, where they are in front of the camera.

use std::io;
use std::path::Path;

use serde::Serialize;

use super::columns::{self, Column, ColumnError};
use super::decimals::decimals;
use super::handoff::HandOff;
use super::handoff::poses::{PoseError, PosedBody, posed};
use super::handoff::sampling::{Sampling, Wishes};
use super::manifest::{CAUTIONS, FileEntry, NOTICE};
use super::staged::{OurFolder, StagedError, StagedFolder};
use crate::compile::{CompileError, Compiled};
use crate::mechanism::Vector;
use crate::motion::curve::CurveError;
use crate::shot::{Pass, Shot};
use crate::stage::PerAxis;

/// The table of shifts.
pub(crate) const SHIFTS: &str = "shifts.csv";

/// What the folder was made from.
pub(crate) const ENTRY: &str = "measured.json";

/// The plan's manifest.
pub(crate) const PLAN: &str = "plan.json";

const COLUMNS: [&str; 6] = ["frame", "body", "x", "y", "right_px", "down_px"];

/// Why a measured hand-off was not written.
#[derive(Debug, thiserror::Error)]
pub(crate) enum MeasuredError {
    /// The folder.
    #[error(transparent)]
    Staged(#[from] StagedError),
    /// The table of positions.
    #[error(transparent)]
    Columns(#[from] ColumnError),
    /// A pose that the measured positions do not have, or a table.
    #[error(transparent)]
    Poses(#[from] PoseError),
    /// The pass alone does not compile.
    #[error("the pass cannot be compiled alone: {}", .0.first().map_or_else(String::new, ToString::to_string))]
    Pass(Vec<CompileError>),
    /// A deviation that is no number.
    #[error("the measured positions make no curve: {0}")]
    Curve(#[from] CurveError),
    /// The entry.
    #[error("the entry could not be written: {0}")]
    Json(#[from] serde_json::Error),
    /// A file within.
    #[error("cannot write: {0}")]
    Io(#[from] io::Error),
}

/// What is written.
#[derive(Debug)]
pub(crate) struct Measured<'a> {
    /// The plan.
    pub compiled: &'a Compiled,
    /// The pass that was run.
    pub pass: &'a Pass,
    /// What each axis was off, frame by frame, mm or deg; empty where nothing is known.
    pub deviations: PerAxis<Vec<f64>>,
    /// The plan's manifest, and its BLAKE3.
    pub plan: (&'a [u8], &'a str),
    /// The files below `source/` of the plan: path with `source/`, bytes.
    pub sources: Vec<(String, Vec<u8>)>,
    /// Where the deviations come from.
    pub source: &'static str,
    /// Names of the files that they come from.
    pub names: Vec<String>,
    /// Axes without a deviation, because nothing was measured of them.
    pub not_measured: Vec<String>,
    /// What is asked of the files.
    pub wishes: Wishes,
}

/// How far a body is off in the picture at its worst.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub(crate) struct WorstShift {
    /// `GROUP`, or `GROUP.LIMB`.
    pub body: String,
    /// Pixels.
    pub px: f64,
    /// When.
    pub frame: i64,
}

#[derive(Serialize)]
struct Entry<'a> {
    format: u32,
    kind: &'static str,
    shot: &'a str,
    pass: &'a str,
    folder_hash: &'a str,
    source: &'static str,
    measured_from: &'a [String],
    axes_as_planned: &'a [String],
    files: &'a [FileEntry],
    cautions: Vec<&'static str>,
}

impl Measured<'_> {
    /// Writes the folder; the worst shift of each body, in the order of the stage.
    ///
    /// # Errors
    /// See [`MeasuredError`]; nothing was then written.
    pub(crate) fn write(&self, target: &Path, step: &mut dyn FnMut(&str)) -> Result<Vec<WorstShift>, MeasuredError> {
        let plan = self.compiled.with_passes(vec![self.pass.clone()]).map_err(MeasuredError::Pass)?;
        let measured = plan.displaced(&self.deviations)?;
        let shot = measured.shot();
        let mut folder = StagedFolder::beside(target, OurFolder::New, false)?;
        let name = format!("{}.units.csv", self.pass.name());
        step(&name);
        folder.file(&name, |out| columns::write(out, &measured, self.pass, Column::Units).map_err(MeasuredError::from))?;
        HandOff { compiled: &measured, wishes: self.wishes }.add::<MeasuredError>(&mut folder, step)?;
        let middles = Sampling::new(shot, Wishes { samples: None, ..self.wishes });
        let (as_planned, as_measured) = (posed(&plan, &middles)?, posed(&measured, &middles)?);
        let mut worst = Vec::new();
        step(SHIFTS);
        folder.file(SHIFTS, |out| -> Result<(), MeasuredError> {
            worst = shifts(out, shot, (&as_planned, &as_measured), &middles)?;
            Ok(())
        })?;
        let (manifest, folder_hash) = self.plan;
        folder.file(PLAN, |out| out.write_all(manifest).map_err(MeasuredError::from))?;
        for (path, bytes) in &self.sources {
            step(path);
            folder.file(path, |out| out.write_all(bytes).map_err(MeasuredError::from))?;
        }
        let files = folder.files().to_vec();
        let entry = Entry {
            format: 1,
            kind: "movewright measured hand-off",
            shot: shot.name(),
            pass: self.pass.name(),
            folder_hash,
            source: self.source,
            measured_from: &self.names,
            axes_as_planned: &self.not_measured,
            files: &files,
            cautions: core::iter::once(NOTICE).chain(CAUTIONS).collect(),
        };
        folder.file(ENTRY, |out| -> Result<(), MeasuredError> {
            serde_json::to_writer_pretty(&mut *out, &entry)?;
            writeln!(out)?;
            Ok(())
        })?;
        folder.put_in_place()?;
        Ok(worst)
    }
}

fn shifts(
    out: impl io::Write,
    shot: &Shot,
    (planned, measured): (&[PosedBody<'_>], &[PosedBody<'_>]),
    middles: &Sampling,
) -> Result<Vec<WorstShift>, PoseError> {
    let mut table = csv::WriterBuilder::new().terminator(csv::Terminator::Any(b'\n')).from_writer(out);
    table.write_record(COLUMNS)?;
    let camera = |bodies: &'_ [PosedBody<'_>]| bodies.iter().position(|b| b.lens().is_some());
    let mut worst: Vec<WorstShift> = Vec::new();
    let mut text = String::new();
    let mut digits = itoa::Buffer::new();
    if let Some((plan, real)) = camera(planned).and_then(|i| planned.get(i)).zip(camera(measured).and_then(|i| measured.get(i))) {
        for (nth, frame) in shot.frames().frames().enumerate() {
            for (was, is) in planned.iter().zip(measured).filter(|(b, _)| b.body.lens().is_none()) {
                let Some((was, is, name)) = seen(plan, was, nth).zip(seen(real, is, nth)).map(|(a, b)| (a, b, &is.name)) else { continue };
                let off = [is[0] - was[0], is[1] - was[1]];
                let px = (off[0] * off[0] + off[1] * off[1]).sqrt();
                match worst.iter_mut().find(|w| w.body == *name) {
                    Some(known) if known.px < px => (known.px, known.frame) = (px, frame),
                    Some(_) => {}
                    None => worst.push(WorstShift { body: name.clone(), px, frame }),
                }
                let mut record = csv::ByteRecord::new();
                record.push_field(digits.format(middles.number(frame)).as_bytes());
                record.push_field(name.as_bytes());
                for number in is.into_iter().chain(off) {
                    decimals(&mut text, number, 4);
                    record.push_field(text.as_bytes());
                }
                table.write_byte_record(&record)?;
            }
        }
    }
    table.flush()?;
    Ok(worst)
}

/// Where a body's origin is in the picture of a camera at the sample of this number; `None` where the camera does not look there.
fn seen(camera: &PosedBody<'_>, body: &PosedBody<'_>, nth: usize) -> Option<[f64; 2]> {
    let lens = camera.lens()?.focused(camera.focus.get(nth).copied());
    let origin = body.poses.get(nth)?.translation.vector.into();
    let at = camera.poses.get(nth)?.inverse_transform_point(&origin);
    let pixel = lens.project_seen(Vector::new(at.x, at.y, at.z)).ok()?;
    Some([pixel.right, pixel.down])
}
