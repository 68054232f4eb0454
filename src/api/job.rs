//! A compiled shot by name, and a checked one that may be written.

use std::io::Write;
use std::path::Path;

use super::{Error, Rows};
use crate::check::Approval;
use crate::check::{PassReport, Report, words};
use crate::compile::Compiled;
use crate::input::Sources;
use crate::number::Jet;
use crate::output::check_json;
use crate::output::columns::{self, Column};
use crate::output::rows::RowRate;
use crate::output::{Export, Written};
use crate::page;
use crate::stage::AxisId;
use crate::time::FrameTime;

impl Compiled {
    /// The axis of this full name.
    ///
    /// # Errors
    /// No such axis.
    pub fn axis(&self, name: &str) -> Result<CompiledAxis<'_>, Error> {
        let id = self.stage().axis_of_name(name).ok_or_else(|| Error::Unknown { what: "axis", name: name.to_owned() })?;
        Ok(CompiledAxis { compiled: self, id })
    }
}

/// One axis of a compiled shot.
#[derive(Debug, Clone, Copy)]
pub struct CompiledAxis<'a> {
    compiled: &'a Compiled,
    id: AxisId,
}

impl CompiledAxis<'_> {
    /// Position at a frame time, in the axis's unit.
    ///
    /// # Errors
    /// A frame before the run-up or after the run-down.
    pub fn at(&self, frame: impl Into<f64>) -> Result<f64, Error> {
        let frame = frame.into();
        self.compiled.motion(self.id).at(FrameTime(frame)).ok_or(Error::Outside { frame })
    }

    /// Position and its derivatives by frame time. Units: unit, unit/frame^k.
    ///
    /// # Errors
    /// As [`CompiledAxis::at`].
    pub fn jet(&self, frame: impl Into<f64>) -> Result<Jet, Error> {
        let frame = frame.into();
        self.compiled.motion(self.id).curve().jet(frame).ok_or(Error::Outside { frame })
    }

    /// The step it is on at a frame time.
    ///
    /// # Errors
    /// As [`CompiledAxis::at`].
    pub fn count(&self, frame: impl Into<f64>) -> Result<i64, Error> {
        let frame = frame.into();
        let position = self.at(frame)?;
        self.compiled.stage().axis(self.id).count(position).ok_or(Error::Outside { frame })
    }

    /// Its id.
    #[must_use]
    pub fn id(&self) -> AxisId {
        self.id
    }
}

impl Report {
    /// Approves the job for writing.
    ///
    /// # Errors
    /// Every exceeded limit, one sentence each.
    pub fn approve(&self) -> Result<Approved<'_>, Error> {
        if let Some(approval) = Approval::within_limits(self) {
            return Ok(Approved { approval });
        }
        let of = |p: &PassReport| {
            let name = p.name().to_owned();
            p.violations.iter().map(move |v| format!("pass {name}: {}", words::violation(&self.compiled, v))).collect::<Vec<_>>()
        };
        Err(Error::LimitsExceeded(self.passes.iter().flat_map(of).collect()))
    }

    /// The whole check as JSON, as `movewright check --json` writes it.
    ///
    /// # Errors
    /// A number that JSON cannot hold.
    pub fn json(&self) -> Result<String, Error> {
        check_json::text(self).map_err(|e| Error::Io(e.into()))
    }

    /// The move on one page of HTML that needs nothing else.
    ///
    /// # Errors
    /// A body without a pose.
    pub fn page(&self) -> Result<String, Error> {
        Ok(page::page(self)?)
    }

    /// One axis as a picture, SVG, at the pace of a pass.
    ///
    /// # Errors
    /// No such axis or pass.
    pub fn plot(&self, axis: &str, pass: &str) -> Result<String, Error> {
        let unknown = || Error::Unknown { what: "pass", name: pass.to_owned() };
        let pass = self.compiled.shot().passes().iter().find(|p| p.name() == pass).ok_or_else(unknown)?;
        self.compiled.axis(axis)?;
        Ok(page::plot(&self.compiled, pass, axis)?)
    }

    /// Lets the job be written although limits are exceeded: the manifest then says so.
    #[must_use]
    pub fn over_limits(&self) -> Approved<'_> {
        Approved { approval: Approval::over_limits(self) }
    }
}

/// A job that may be written.
#[derive(Debug, Clone, Copy)]
pub struct Approved<'a> {
    approval: Approval<'a>,
}

impl<'a> Approved<'a> {
    /// Writes the columns of one pass: `frame,timecode,AXIS,...`, one row for each photographed frame.
    ///
    /// # Errors
    /// No such pass; a writer that fails.
    pub fn columns(&self, out: impl Write, pass: &str, column: Column) -> Result<(), Error> {
        let report = self.pass(pass)?;
        Ok(columns::write(out, report.program.compiled(), report.program.pass(), column)?)
    }

    /// The program of one pass row by row, at a rate such as `100` or `30000/1001` rows per second.
    ///
    /// # Errors
    /// No such pass, no such rate; a move to start on which something comes too near.
    pub fn rows(&self, pass: &str, rate: &str) -> Result<Rows<'a>, Error> {
        Rows::new(self.pass(pass)?, RowRate::parse(rate)?)
    }

    /// Writes the output folder, completely or not at all. `sources` are the files that the job was read from: without them, and where a signal or mechanism
    /// of your own is part of the job, which no file describes, the folder cannot be verified later. A folder that differs is replaced only with `replace`.
    ///
    /// # Errors
    /// Whatever the system says; a folder that is not ours.
    pub fn write_folder(&self, folder: impl AsRef<Path>, sources: Option<&Sources>, replace: bool) -> Result<Written, Error> {
        let sources = sources.map(Sources::for_copying).unwrap_or_default();
        let export = Export { approval: self.approval, sources: &sources, replace, full_size: false, rows: None };
        Ok(export.write(folder.as_ref(), &mut |_| {})?)
    }

    fn pass(&self, name: &str) -> Result<&'a PassReport, Error> {
        let found = self.approval.report().passes.iter().find(|p| p.name() == name);
        found.ok_or_else(|| Error::Unknown { what: "pass", name: name.to_owned() })
    }
}
