//! The program of a pass one row after the other, for a controller of your own.

use std::io::Write;

use super::Error;
use crate::check::PassReport;
use crate::output::rows::{Extent, RowRate, RowsError, Table, Tracks};
use crate::program::{Leg, Program};
use crate::stage::AxisId;
use crate::time::Seconds;

/// One instant of a program.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct Row {
    /// Stage time.
    pub t: Seconds,
    /// The step each axis is on, in stage order.
    pub counts: Vec<i64>,
    /// Velocity of each axis, steps/s.
    pub velocities: Vec<f64>,
    /// Acceleration of each axis, steps/s2.
    pub accelerations: Vec<f64>,
    /// The photographed frame, while its shutter is open.
    pub frame: Option<i64>,
}

impl Row {
    /// True while a frame is exposed.
    #[must_use]
    pub fn shutter(&self) -> bool {
        self.frame.is_some()
    }
}

/// Rows from the start of the move to start to the first instant not before the end, where everything rests.
#[derive(Debug, Clone)]
pub struct Rows<'a> {
    program: &'a Program,
    rate: RowRate,
    axes: Vec<AxisId>,
    next: u64,
    rows: u64,
}

impl<'a> Rows<'a> {
    pub(super) fn new(report: &'a PassReport, rate: RowRate) -> Result<Rows<'a>, Error> {
        if !report.way_is_clear(Leg::MoveToStart) {
            return Err(RowsError::TooNear { pass: report.name().to_owned(), leg: Leg::MoveToStart }.into());
        }
        let program = report.program.as_ref();
        let rows = rate.rows_of(program, Extent::Program)?;
        Ok(Rows { program, rate, axes: program.compiled().stage().axis_ids().collect(), next: 0, rows })
    }

    /// Full names of the axes, in the order of a row.
    #[must_use]
    pub fn axes(&self) -> &'a [String] {
        self.program.compiled().stage().axis_names()
    }

    fn row(&self, k: u64) -> Option<Row> {
        let t = Seconds(self.rate.seconds(k));
        let within = Seconds(t.0.min(self.program.end().0));
        let stage = self.program.compiled().stage();
        let n = self.axes.len();
        let mut row = Row {
            t,
            counts: Vec::with_capacity(n),
            velocities: Vec::with_capacity(n),
            accelerations: Vec::with_capacity(n),
            frame: self.program.clock().exposed_frame(t),
        };
        for id in &self.axes {
            let (axis, motion) = (stage.axis(*id), self.program.motion(*id, within)?);
            row.counts.push(axis.count(motion.position)?);
            row.velocities.push(axis.drive().steps(motion.velocity));
            row.accelerations.push(axis.drive().steps(motion.acceleration));
        }
        Some(row)
    }
}

impl Iterator for Rows<'_> {
    type Item = Row;

    fn next(&mut self) -> Option<Row> {
        if self.next >= self.rows {
            return None;
        }
        let row = self.row(self.next)?;
        self.next += 1;
        Some(row)
    }

    fn size_hint(&self) -> (usize, Option<usize>) {
        let left = usize::try_from(self.rows - self.next).unwrap_or(usize::MAX);
        (left, Some(left))
    }
}

impl ExactSizeIterator for Rows<'_> {}

/// The rows of a program as plain CSV: `t_s,AXIS,...`, integer steps.
#[derive(Debug)]
pub struct RowTable<'a> {
    report: &'a PassReport,
    tracks: Tracks<'a>,
    rate: RowRate,
    derivatives: u8,
    shutter: bool,
    frame: bool,
}

impl<'a> RowTable<'a> {
    pub(super) fn new(report: &'a PassReport, rate: RowRate) -> Result<RowTable<'a>, Error> {
        let rows = Rows::new(report, rate)?;
        Ok(RowTable { report, tracks: Tracks::new(rows.program, report)?, rate, derivatives: 0, shutter: false, frame: false })
    }

    /// With a column `AXIS:steps_per_s` for each axis, after all positions.
    #[must_use]
    pub fn with_velocities(mut self) -> Self {
        self.derivatives = self.derivatives.max(1);
        self
    }

    /// With velocities, and a column `AXIS:steps_per_s2` for each axis after them.
    #[must_use]
    pub fn with_accelerations(mut self) -> Self {
        self.derivatives = 2;
        self
    }

    /// With a column `shutter` after all axes: 1 while a frame is exposed.
    #[must_use]
    pub fn with_shutter(mut self) -> Self {
        self.shutter = true;
        self
    }

    /// With a last column `frame`: the photographed frame while it is exposed, otherwise empty.
    #[must_use]
    pub fn with_frame(mut self) -> Self {
        self.frame = true;
        self
    }

    /// With the return home after the end of the program.
    ///
    /// # Errors
    /// A return home on which something comes too near.
    pub fn with_return_home(self) -> Result<Self, Error> {
        if !self.report.way_is_clear(Leg::ReturnHome) {
            return Err(RowsError::TooNear { pass: self.report.name().to_owned(), leg: Leg::ReturnHome }.into());
        }
        Ok(RowTable { tracks: self.tracks.reaching(Extent::ReturnHome), ..self })
    }

    /// Writes header and rows, on all threads, and returns the number of rows. Memory does not grow with it.
    ///
    /// # Errors
    /// Whatever the writer says; an axis without a position that can be counted.
    pub fn write(&self, out: &mut (impl Write + Send)) -> Result<u64, Error> {
        let table = Table::new(&self.tracks, self.rate)?.with_derivatives(self.derivatives).with_shutter(self.shutter);
        let table = table.with_frame(self.frame);
        table.write(out, &mut |_| {})?;
        Ok(table.rows())
    }
}
