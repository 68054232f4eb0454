//! A compiled shot by name, and a checked one that may be written.

use std::io::Write;
use std::sync::Arc;

use super::error::Kind;
use super::{Error, Folder, RowTable, Rows};
use crate::bounds::Budget;
use crate::check::{Approval, PassReport, Report, Violation, words};
use crate::compile::Compiled;
use crate::input::{Loaded, Rejection, Sources};
use crate::motion::Curve;
use crate::number::Jet;
use crate::output::check_json;
use crate::output::columns::{self, Column};
use crate::output::rows::RowRate;
use crate::page;
use crate::shot::Shot;
use crate::stage::{AxisId, Stage};
use crate::time::{FrameTime, Seconds};

impl Loaded {
    /// Compiles the shot. Messages then name the files it was read from, which are returned for the output folder.
    ///
    /// # Errors
    /// Every cause for which a channel or axis has no curve, with its place in the files.
    pub fn compile(self) -> Result<(Compiled, Sources), Error> {
        let Loaded { stage, shot, sources } = self;
        let files = sources.names();
        match Compiled::compile(stage, shot) {
            Ok(compiled) => Ok((compiled.with_files(files), sources)),
            Err(errors) => Err(Rejection::of_flaws(sources, errors.iter().map(|e| (e.place(), e.flaw()))).into()),
        }
    }
}

impl Compiled {
    /// Compiles `shot` for `stage`.
    ///
    /// # Errors
    /// A shot of another stage; every cause for which a channel or axis has no curve.
    pub fn new(stage: impl Into<Arc<Stage>>, shot: impl Into<Arc<Shot>>) -> Result<Compiled, Error> {
        Ok(Compiled::compile(stage, shot)?)
    }

    /// The same for a job that is large on purpose: it may cost a thousand times the usual work. What would cost more than usual is refused otherwise, since
    /// it is mostly a slip of a unit.
    ///
    /// # Errors
    /// As [`Compiled::new`].
    pub fn large(stage: impl Into<Arc<Stage>>, shot: impl Into<Arc<Shot>>) -> Result<Compiled, Error> {
        Ok(Compiled::within(Budget::Large, stage, shot)?)
    }

    /// Another shot on the same stage: how a change is tried.
    ///
    /// # Errors
    /// As [`Compiled::new`].
    pub fn with_shot(&self, shot: Shot) -> Result<Compiled, Error> {
        Ok(self.with(shot)?)
    }

    /// Plans and checks every pass.
    ///
    /// # Errors
    /// An axis that no law takes to its start, from station to station, or home.
    pub fn check(&self) -> Result<Report, Error> {
        Ok(self.checked()?)
    }

    /// The axis of this full name.
    ///
    /// # Errors
    /// No such axis.
    pub fn axis(&self, name: &str) -> Result<CompiledAxis<'_>, Error> {
        let id = self.stage().axis_of_name(name).ok_or_else(|| Kind::Unknown { what: "axis", name: name.to_owned() })?;
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
        self.compiled.motion(self.id).at(FrameTime(frame)).ok_or_else(|| Kind::Outside { frame }.into())
    }

    /// Position and its derivatives by frame time. Units: unit, unit/frame^k.
    ///
    /// # Errors
    /// As [`CompiledAxis::at`].
    pub fn jet(&self, frame: impl Into<f64>) -> Result<Jet, Error> {
        let frame = frame.into();
        self.compiled.motion(self.id).curve().jet(frame).ok_or_else(|| Kind::Outside { frame }.into())
    }

    /// Its curve: from here on these pieces are the command.
    #[must_use]
    pub fn curve(&self) -> &Curve {
        self.compiled.motion(self.id).curve()
    }

    /// The step it is on at a frame time.
    ///
    /// # Errors
    /// As [`CompiledAxis::at`].
    pub fn count(&self, frame: impl Into<f64>) -> Result<i64, Error> {
        let frame = frame.into();
        let position = self.at(frame)?;
        self.compiled.stage().axis(self.id).count(position).ok_or_else(|| Kind::Outside { frame }.into())
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
        let of = |p: &PassReport| p.messages().into_iter().map(|m| format!("pass {}: {m}", p.name())).collect::<Vec<_>>();
        Err(Kind::LimitsExceeded(self.passes.iter().flat_map(of).collect()).into())
    }

    /// What was checked.
    #[must_use]
    pub fn compiled(&self) -> &Compiled {
        &self.compiled
    }

    /// Notes on the move, one sentence each: no limit is exceeded by them.
    #[must_use]
    pub fn notes(&self) -> Vec<String> {
        self.notes.iter().map(|n| words::note(&self.compiled, n)).collect()
    }

    /// The whole check as JSON, as `movewright check --json` writes it.
    ///
    /// # Errors
    /// A number that JSON cannot hold.
    pub fn json(&self) -> Result<String, Error> {
        Ok(check_json::text(self).map_err(std::io::Error::from)?)
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
        let unknown = || Kind::Unknown { what: "pass", name: pass.to_owned() };
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

impl PassReport {
    /// The sentence of every violation, in their order.
    #[must_use]
    pub fn messages(&self) -> Vec<String> {
        self.violations.iter().map(|v| words::violation(self.program.compiled(), v)).collect()
    }

    /// What would help against a violation of this pass; each was tried.
    #[must_use]
    pub fn fixes(&self, of: &Violation) -> Vec<String> {
        of.fixes.iter().map(|f| words::fix(self.program.compiled(), of, f)).collect()
    }

    /// How long it takes, from the start of the run-up to the end of the run-down.
    #[must_use]
    pub fn duration(&self) -> Seconds {
        self.program.clock().running()
    }

    /// How long the whole program and the return home take.
    #[must_use]
    pub fn program_duration(&self) -> Seconds {
        self.program.duration()
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

    /// The program of one pass as a table of rows, to be written as plain CSV.
    ///
    /// # Errors
    /// As [`Approved::rows`]; a held pass whose moves do not fit.
    pub fn table(&self, pass: &str, rate: &str) -> Result<RowTable<'a>, Error> {
        RowTable::new(self.pass(pass)?, RowRate::parse(rate)?)
    }

    /// The output folder: what goes into it is chosen first, then it is written.
    #[must_use]
    pub fn folder(&self) -> Folder<'a> {
        Folder::of(self.approval)
    }

    fn pass(&self, name: &str) -> Result<&'a PassReport, Error> {
        let found = self.approval.report().passes.iter().find(|p| p.name() == name);
        found.ok_or_else(|| Kind::Unknown { what: "pass", name: name.to_owned() }.into())
    }
}
