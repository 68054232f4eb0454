//! The rows of a pass's program: every row's form and second, and one row of each exposure against the oracle.
//!
//! What: header, number of rows, `t_s` of every row (row k at k / rate), whole numbers, the shutter 0 or 1; the first row at home; and of each
//! frame the row nearest to mid-exposure, on the position that the stage and the shot lead to at that row's own instant.
//! Invariant: memory is that of one line. Limits: between those rows only the form is read here, the hash stands for the rest.

use std::collections::BTreeSet;
use std::path::Path;

use super::fault::{FaultKind, Faults};
use super::oracle::{Oracle, steps};
use super::record::{Record, RowsRecord};
use super::table::{Table, whole};
use crate::shot::{Exposure, Pass, Shot};
use crate::stage::Stage;

/// Holds the rows of every pass that has some.
pub(super) fn check(
    dir: &Path,
    there: &BTreeSet<String>,
    record: &Record,
    stage: &Stage,
    shot: &Shot,
    oracle: &Oracle<'_>,
    faults: &mut Faults,
) {
    for (p, pass) in record.passes.iter().zip(shot.passes()) {
        let Some(rows) = &p.rows else { continue };
        // Opened only where it is a listed file below the folder.
        if !there.contains(&rows.file) {
            faults.needed(&rows.file);
            continue;
        }
        let runs = match pass.exposure() {
            Exposure::Moving => (f64::from(record.clock.run_up_frames), f64::from(record.clock.run_down_frames)),
            Exposure::Held => (0.0, 0.0),
        };
        let checked = Table::open(&dir.join(&rows.file), stage.axes().len() + 1)
            .map_err(|e| format!("cannot be read: {e}"))
            .and_then(|table| Rows { stage, shot, oracle, pass, rows, runs }.check(table));
        if let Err(what) = checked {
            faults.file(FaultKind::Rows, &rows.file, what);
        }
    }
}

struct Rows<'a> {
    stage: &'a Stage,
    shot: &'a Shot,
    oracle: &'a Oracle<'a>,
    pass: &'a Pass,
    rows: &'a RowsRecord,
    /// Frames of run-up and run-down.
    runs: (f64, f64),
}

impl Rows<'_> {
    /// The first thing that does not hold.
    fn check(&self, mut table: Table) -> Result<(), String> {
        let hz = self.rows.rate_hz;
        let pace = self.pass.pace().get();
        let frames = self.shot.frames();
        let program = pace * (frames.count() as f64 + self.runs.0 + self.runs.1);
        let duration = self.rows.take_up_s + program;
        if !(0.0 < hz && 0.0 <= self.rows.take_up_s && self.rows.take_up_s.floor() == self.rows.take_up_s) {
            return Err(format!("the manifest has {hz} rows a second and a take-up of {} s", self.rows.take_up_s));
        }
        // The last row is the last that is not after the end; products of rounded numbers may miss by the last bits.
        let count = self.rows.rows as f64;
        if !((count - 1.0) / hz <= duration * (1.0 + 1e-12) && duration * (1.0 - 1e-12) < count / hz) {
            return Err(format!("the manifest has {count} rows at {hz} a second, the program takes {duration} s"));
        }
        let mut header = String::from("t_s");
        for name in self.stage.axis_names() {
            header.push(',');
            header.push_str(name);
        }
        header.push_str(",shutter");
        if table.line()? != Some(header.as_str()) {
            return Err("the header is not `t_s`, the stage's axes in order, `shutter`".to_owned());
        }
        // Half a frame after its beginning, the slot of a frame is at mid-exposure.
        let middle = |frame: i64| self.rows.take_up_s + ((frame - frames.first()) as f64 + 0.5 + self.runs.0) * pace;
        let mut frame = frames.first();
        for row in 0..self.rows.rows {
            let t = row as f64 / hz;
            let line = table.line()?.ok_or_else(|| format!("ends before row {row}"))?;
            let cells = self.cells(line, row, t)?;
            if row == 0 && cells.iter().any(|n| *n != 0) {
                return Err("row 0 is not at home, where every axis is on step 0".to_owned());
            }
            while frame <= frames.last() && middle(frame) <= t + 0.5 / hz {
                self.nearest(&cells, row, t, (frame, middle(frame)))?;
                frame += 1;
            }
        }
        match table.line()? {
            None => Ok(()),
            Some(_) => Err(format!("goes on after row {}", self.rows.rows.saturating_sub(1))),
        }
    }

    /// The row at `t`, where it is the nearest to the middle of a frame's exposure.
    fn nearest(&self, cells: &[i64], row: u64, t: f64, (frame, middle): (i64, f64)) -> Result<(), String> {
        let (pace, off) = (self.pass.pace().get(), t - middle);
        let near = off.abs() <= 0.5 / self.rows.rate_hz * (1.0 + 1e-9);
        match self.pass.exposure() {
            Exposure::Moving if near => self.positions(cells, row, frame as f64 + off / pace),
            // Where rows are few the nearest may fall outside the exposure; the axes are then on their way.
            Exposure::Held if near && off.abs() <= 0.5 * self.pass.shutter().fraction() * pace => self.positions(cells, row, frame as f64),
            _ => Ok(()),
        }
    }

    /// The counts of a row.
    fn cells(&self, line: &str, row: u64, t: f64) -> Result<Vec<i64>, String> {
        let mut cells = line.split(',');
        let second = cells.next().unwrap_or_default();
        if second.parse::<f64>().ok() != Some(t) {
            return Err(format!("row {row} is at `{second}` s, expected {t}"));
        }
        let mut counts =
            cells.map(whole).collect::<Option<Vec<i64>>>().ok_or_else(|| format!("row {row} holds what is no whole number"))?;
        match counts.pop() {
            Some(0 | 1) if counts.len() == self.stage.axes().len() => Ok(counts),
            _ => Err(format!("row {row} has not one step for every axis and the shutter as 0 or 1")),
        }
    }

    fn positions(&self, counts: &[i64], row: u64, frame: f64) -> Result<(), String> {
        for ((i, axis), count) in self.stage.each_axis().zip(counts) {
            let parked = self.pass.parks(self.stage, i);
            if !parked && !self.oracle.is_known(i) {
                continue;
            }
            let expected = if parked { axis.home() } else { self.oracle.position(i, frame) };
            let floor = if parked { 0.0 } else { self.oracle.floor(i, expected) };
            let exact = steps(axis, expected);
            if !((*count as f64 - exact).abs() <= 0.5 + floor) {
                let name = self.stage.axis_name(i);
                return Err(format!("row {row}, at frame {frame:.4}: {name} stands on step {count}, expected {exact:.3} rounded"));
            }
        }
        Ok(())
    }
}
