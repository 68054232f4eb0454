//! The rows of a pass's program: every row's form and second, and one row of each exposure against the oracle.
//!
//! What: header, number of rows, `t_s` of every row (row k at k / rate), whole numbers, the shutter 0 or 1; the first row at home; of each
//! frame the row nearest to mid-exposure, on the position that the stage and the shot lead to at that row's own instant; and the last row, the first one not
//! before the end, where the axes came to rest: at home where parked, at the last station of a held pass, at the edge of the photographed span where there is
//! no run-down, otherwise as near to the row before it as the limits allow an axis that comes to rest at the end.
//! Invariant: memory is that of two lines. Limits: between those rows only the form is read here, the hash stands for the rest; in a folder that says it
//! exceeds limits the last row after a run-down is compared with nothing.

use std::collections::BTreeSet;
use std::path::Path;

use super::fault::{FaultKind, Faults};
use super::oracle::{Oracle, steps, steps_per_unit};
use super::record::{Record, RowsRecord};
use super::row_clock::RowClock;
use super::table::{Table, whole};
use crate::shot::{Exposure, Pass, Shot};
use crate::stage::{Axis, Stage};

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
            Exposure::Moving => (record.clock.run_up_frames, record.clock.run_down_frames),
            Exposure::Held => (0, 0),
        };
        let within_limits = record.within_limits;
        let checked = Table::open(&dir.join(&rows.file), stage.axes().len() + 1)
            .map_err(|e| format!("cannot be read: {e}"))
            .and_then(|table| Rows { stage, shot, oracle, pass, rows, runs, within_limits }.check(table));
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
    runs: (u32, u32),
    /// True where the folder says that no limit is exceeded.
    within_limits: bool,
}

/// Instants that one product and one sum give differ by this share of them, no more.
const LAST_BITS: f64 = 1e-12;

impl Rows<'_> {
    /// The first thing that does not hold.
    fn check(&self, mut table: Table) -> Result<(), String> {
        let pace = self.pass.pace().get();
        let frames = self.shot.frames();
        let (clock, begin) = self.clock()?;
        let hz = clock.hz();
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
        let middle = |frame: i64| begin + ((frame - frames.first()) as f64 + 0.5 + f64::from(self.runs.0)) * pace;
        let mut frame = frames.first();
        let mut before: Vec<i64> = Vec::new();
        for row in 0..self.rows.rows {
            let t = clock.seconds(row);
            let line = table.line()?.ok_or_else(|| format!("ends before row {row}"))?;
            let cells = self.cells(line, row, t, clock.is_exact(row))?;
            if row == 0 && cells.iter().any(|n| *n != 0) {
                return Err("row 0 is not at home, where every axis is on step 0".to_owned());
            }
            while frame <= frames.last() && middle(frame) <= t + 0.5 / hz {
                if !clock.is_over(row) {
                    self.nearest(&cells, row, t, (frame, middle(frame), hz))?;
                }
                frame += 1;
            }
            if clock.is_over(row) {
                let since = clock.end() - clock.seconds(row.saturating_sub(1));
                self.at_rest(&cells, &before, since)?;
            }
            before = cells;
        }
        match table.line()? {
            None => Ok(()),
            Some(_) => Err(format!("goes on after row {}", self.rows.rows.saturating_sub(1))),
        }
    }

    /// The clock that the manifest states, and the seconds of the move to start; what it says of the program's length must agree with the shot.
    fn clock(&self) -> Result<(RowClock, f64), String> {
        let (rows, pace) = (self.rows, self.pass.pace().get());
        let begin = whole_seconds(rows.move_to_start_s).ok_or_else(|| {
            format!("the manifest has a move to start of {} s, which is no whole number of seconds", rows.move_to_start_s)
        })?;
        let frames = self.shot.frames().count() as u64 + u64::from(self.runs.0) + u64::from(self.runs.1);
        let clock = RowClock::new(&rows.rate, begin, frames, pace)
            .ok_or_else(|| format!("the manifest has `{}` rows per second, which is no rate", rows.rate))?;
        let open = self.pass.shutter().degrees() / 360.0;
        let opening = rows.move_to_start_s + (f64::from(self.runs.0) + 0.5 - 0.5 * open) * pace;
        for (what, found, expected) in [
            ("rate_hz", rows.rate_hz, clock.hz()),
            ("duration_s", rows.duration_s, clock.end()),
            ("first_opening_s", rows.first_opening_s, opening),
        ] {
            if !((found - expected).abs() <= LAST_BITS * expected) {
                return Err(format!("the manifest has {what} {found}, expected {expected}"));
            }
        }
        let last = rows.rows.checked_sub(1).filter(|last| clock.is_over(*last) && (*last == 0 || !clock.is_over(last - 1)));
        if last.is_none() {
            return Err(format!(
                "the manifest has {} rows at {} per second; the last one must be the first that is not before the end, {} s",
                rows.rows,
                rows.rate,
                clock.end()
            ));
        }
        Ok((clock, rows.move_to_start_s))
    }

    /// The row at `t`, where it is the nearest to the middle of a frame's exposure.
    fn nearest(&self, cells: &[i64], row: u64, t: f64, (frame, middle, hz): (i64, f64, f64)) -> Result<(), String> {
        let (pace, off) = (self.pass.pace().get(), t - middle);
        let near = off.abs() <= 0.5 / hz * (1.0 + 1e-9);
        match self.pass.exposure() {
            // Where rows are few the nearest may fall outside the frame, in the run-up or the move to start: no row is at this frame.
            Exposure::Moving if near && off.abs() <= 0.5 * pace => self.positions(cells, row, frame as f64 + off / pace),
            // The same, and outside the exposure the axes are on their way.
            Exposure::Held if near && off.abs() <= 0.5 * self.pass.shutter().fraction() * pace => self.positions(cells, row, frame as f64),
            _ => Ok(()),
        }
    }

    /// The last row: everything stands. `before` is the row before it, `since` seconds before the end.
    fn at_rest(&self, cells: &[i64], before: &[i64], since: f64) -> Result<(), String> {
        let row = self.rows.rows.saturating_sub(1);
        let last = self.shot.frames().last() as f64;
        match (self.pass.exposure(), self.runs.1) {
            (Exposure::Held, _) => return self.positions(cells, row, last),
            (Exposure::Moving, 0) => return self.positions(cells, row, last + 0.5),
            (Exposure::Moving, _) => {}
        }
        for (((id, axis), count), earlier) in self.stage.each_axis().zip(cells).zip(before) {
            let most = if self.pass.parks(self.stage, id) { 0.0 } else { stopping_steps(axis, since) + 1.0 };
            let moved = (*count as f64 - *earlier as f64).abs();
            if (self.within_limits || self.pass.parks(self.stage, id)) && !(moved <= most) {
                let name = self.stage.axis_name(id);
                return Err(format!(
                    "row {row}, after the end: {name} stands {moved} steps from the row before; coming to rest within its limits it moves at most {most:.3}"
                ));
            }
        }
        Ok(())
    }

    /// The counts of a row.
    fn cells(&self, line: &str, row: u64, t: f64, exact: bool) -> Result<Vec<i64>, String> {
        let mut cells = line.split(',');
        let second = cells.next().unwrap_or_default();
        let at = second.parse::<f64>().unwrap_or(f64::NAN);
        let allowed = if exact { 0.0 } else { 1e-15 * t };
        if !((at - t).abs() <= allowed) {
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
        let state = self.oracle.state(frame);
        for ((i, axis), count) in self.stage.each_axis().zip(counts) {
            let parked = self.pass.parks(self.stage, i);
            if !parked && !self.oracle.is_known(i) {
                continue;
            }
            let expected = if parked { axis.home() } else { state.axis(i) };
            let floor = if parked { 0.0 } else { self.oracle.floor(i, &state) };
            let exact = steps(axis, expected);
            if !((*count as f64 - exact).abs() <= 0.5 + floor) {
                let name = self.stage.axis_name(i);
                return Err(format!("row {row}, at frame {frame:.4}: {name} stands on step {count}, expected {exact:.3} rounded"));
            }
        }
        Ok(())
    }
}

/// How far an axis moves at most, in steps, in the last seconds before it rests with no velocity and no acceleration, within its limits.
///
/// D: backwards from rest, jerk up to J gives J t^3 / 6, acceleration up to A less than A t^2 / 2, velocity up to V less than V t.
fn stopping_steps(axis: &Axis, seconds: f64) -> f64 {
    let (l, t) = (axis.limits(), seconds);
    let units = (l.jerk * t * t * t / 6.0).min(0.5 * l.acceleration * t * t).min(l.velocity * t);
    // The limits themselves may be reached to the last bits.
    let steps = units * steps_per_unit(axis) * (1.0 + 1e-9);
    l.step_rate.map_or(steps, |rate| steps.min(rate * t * (1.0 + 1e-9)))
}

/// A number of seconds that the manifest states as a whole number.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "checked to be whole and below 2^53")]
fn whole_seconds(s: f64) -> Option<u64> {
    ((0.0..=9_007_199_254_740_992.0).contains(&s) && s.floor() == s).then_some(s as u64)
}
