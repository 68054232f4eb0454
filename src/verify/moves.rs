//! Moves between held exposures: their times, found again from the written positions.
//!
//! What: every move lasts as long as the slowest axis's shortest rest-to-rest move ([`Bounds::shortest`]). Distances are known to two roundings of half a
//! millionth, so times must lie in the interval that these leave.

use super::fault::{FaultKind, Faults};
use super::law::Bounds;
use super::table::{Table, millionths, whole};
use crate::shot::Pass;
use crate::stage::{Axis, Stage};

/// Half a millionth, the rounding of six decimals.
const HALF_DECIMAL: f64 = 0.5e-6;

/// Two ways to the same time differ by roundings of a few 2^-53; this is a thousand of them and far below what is written.
const ARITHMETIC: f64 = 1e-12;

/// The table of moves of one held pass, read in step with the columns.
#[derive(Debug)]
pub(super) struct Moves {
    file: String,
    table: Option<Table>,
    /// Seconds between exposures, settling taken off.
    available: f64,
    before: Vec<Option<i64>>,
    within_limits: bool,
}

/// Shortest and longest time that a move may honestly take, seconds.
#[derive(Debug, Clone, Copy)]
struct Span {
    least: f64,
    most: f64,
}

impl Moves {
    /// Starts; the header is read at once.
    pub(super) fn new(file: &str, table: Option<Table>, pass: &Pass, within_limits: bool, faults: &mut Faults) -> Moves {
        let available = pass.pace().get() * (1.0 - pass.shutter().degrees() / 360.0) - pass.settle();
        let mut moves = Moves { file: file.to_owned(), table, available, before: Vec::new(), within_limits };
        let header = moves.table.as_mut().map(|t| t.line().map(|l| l.map(str::to_owned)));
        if let Some(header) = header
            && header != Ok(Some("from_frame,to_frame,seconds,slowest".to_owned()))
        {
            faults.file(FaultKind::Columns, file, "has another header than from_frame,to_frame,seconds,slowest".to_owned());
            moves.table = None;
        }
        moves
    }

    /// Takes in the positions at `frame`, in millionths, `None` where they are not known, and holds the move that led there to its row.
    pub(super) fn at(&mut self, stage: &Stage, frame: i64, now: &[Option<i64>], first: bool, faults: &mut Faults) {
        if !first {
            let spans: Option<Vec<Span>> =
                stage.axes().iter().zip(now.iter().zip(&self.before)).map(|(a, (n, b))| Some(span(a, (*n)?, (*b)?))).collect();
            self.row(stage, frame - 1, spans.as_deref(), faults);
        }
        self.before.clear();
        self.before.extend_from_slice(now);
    }

    /// What is left after the last frame must be nothing.
    pub(super) fn end(&mut self, faults: &mut Faults) {
        if let Some(table) = &mut self.table
            && table.line() != Ok(None)
        {
            faults.file(FaultKind::Rows, &self.file, "goes on after the last frame".to_owned());
        }
    }

    fn row(&mut self, stage: &Stage, from: i64, spans: Option<&[Span]>, faults: &mut Faults) {
        let Some(table) = &mut self.table else { return };
        let line = match table.line().map(|l| l.map(str::to_owned)) {
            Ok(Some(line)) => line,
            other => {
                let what = other.err().unwrap_or_else(|| "a row is missing".to_owned());
                faults.at(FaultKind::Rows, &self.file, None, from, || what);
                self.table = None;
                return;
            }
        };
        let cells: Vec<&str> = line.split(',').collect();
        let [from_cell, to_cell, seconds, slowest] = cells.as_slice() else {
            faults.at(FaultKind::Rows, &self.file, None, from, || format!("a row has {} cells, expected 4", cells.len()));
            self.table = None;
            return;
        };
        let (Some(seconds), true) = (millionths(seconds), whole(from_cell) == Some(from) && whole(to_cell) == Some(from + 1)) else {
            faults.at(FaultKind::Rows, &self.file, None, from, || {
                format!("found `{line}`, expected the move from frame {from} to {}", from + 1)
            });
            self.table = None;
            return;
        };
        let seconds = seconds as f64 / 1e6;
        if self.within_limits && !(seconds <= self.available * (1.0 + 1e-9) + HALF_DECIMAL) {
            let available = self.available;
            faults.at(FaultKind::Limits, &self.file, None, from, || format!("takes {seconds} s, between exposures are {available} s"));
        }
        let Some(spans) = spans else { return };
        let least = spans.iter().map(|s| s.least).fold(0.0, f64::max) * (1.0 - ARITHMETIC) - HALF_DECIMAL;
        let most = spans.iter().map(|s| s.most).fold(0.0, f64::max) * (1.0 + ARITHMETIC) + HALF_DECIMAL;
        if !(least <= seconds && seconds <= most) {
            faults.at(FaultKind::Moves, &self.file, None, from, || {
                format!("takes {seconds} s, the positions need {least:.6} to {most:.6} s")
            });
        }
        let slow_enough = stage
            .axis_of_name(slowest)
            .and_then(|i| spans.get(i.index()))
            .is_some_and(|s| seconds <= s.most * (1.0 + ARITHMETIC) + HALF_DECIMAL);
        if !(slow_enough || (slowest.is_empty() && seconds == 0.0)) {
            faults.at(FaultKind::Moves, &self.file, None, from, || format!("`{slowest}` is not the axis that takes longest"));
        }
    }
}

fn span(axis: &Axis, now: i64, before: i64) -> Span {
    let bounds = Bounds::of(axis);
    let seconds = |distance: f64| bounds.shortest(distance.max(0.0)).seconds();
    let distance = now.abs_diff(before) as f64 / 1e6;
    Span { least: seconds(distance - 2.0 * HALF_DECIMAL), most: seconds(distance + 2.0 * HALF_DECIMAL) }
}
