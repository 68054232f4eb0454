//! Moves between held exposures: their times, found again from the written positions.
//!
//! What: every move lasts as long as the slowest axis's shortest rest-to-rest move ([`Bounds::shortest`]). Distances are known to two roundings of half a
//! millionth, so times must lie in the interval that these leave.

use super::fault::{FaultKind, Faults};
use super::law::Bounds;
use super::split;
use super::table::{Table, millionths, whole};
use crate::shot::{Interval, Pass};
use crate::stage::{Axis, Stage, Swing};

/// Half a millionth, the rounding of six decimals.
const HALF_DECIMAL: f64 = 0.5e-6;

/// Two ways to the same time differ by roundings of a few 2^-53; this is a thousand of them and far below what is written.
const ARITHMETIC: f64 = 1e-12;

/// The table of moves of one held pass, read in step with the columns.
#[derive(Debug)]
pub(super) struct Moves {
    file: String,
    table: Option<Table>,
    /// Seconds between exposures, settling taken off; `None` where each frame takes only as long as it needs.
    available: Option<f64>,
    /// The same: where the shutter opened last, how long it is open, how long everything rests at least, seconds.
    openings: Option<[f64; 3]>,
    /// Frames from one exposure to the next.
    step: i64,
    before: Vec<Option<i64>>,
    /// Of every axis that is split, the length of its pendulum at the frame before, mm.
    lengths: Vec<Option<f64>>,
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
    pub(super) fn new(
        file: &str,
        table: Option<Table>,
        (pass, first_opening): (&Pass, Option<f64>),
        within_limits: bool,
        faults: &mut Faults,
    ) -> Moves {
        let open = pass.shutter().degrees() / 360.0;
        let shortest = pass.interval() == Interval::Shortest;
        let available = (!shortest).then(|| pass.pace().get() * (1.0 - open) - pass.settle());
        let opens = first_opening.filter(|_| shortest);
        // A wedge has one frame, so nothing follows.
        let openings = opens.map(|opens| [opens, pass.pace().get() * open, pass.settle()]);
        let (file_name, step) = (file.to_owned(), i64::from(pass.every()));
        let (before, lengths) = (Vec::new(), Vec::new());
        let mut moves = Moves { file: file_name, table, available, openings, step, before, lengths, within_limits };
        let header = moves.table.as_mut().map(|t| t.line().map(|l| l.map(str::to_owned)));
        let expected = if shortest { "from_frame,to_frame,seconds,slowest,opens_s" } else { "from_frame,to_frame,seconds,slowest" };
        if let Some(header) = header
            && header != Ok(Some(expected.to_owned()))
        {
            faults.file(FaultKind::Columns, file, format!("has another header than {expected}"));
            moves.table = None;
        }
        moves
    }

    /// The instant at which the shutter opens on the frame that a move of so many seconds leads to.
    fn opening(&mut self, cell: Option<&str>, seconds: f64, from: i64, faults: &mut Faults) {
        let Some([last, exposure, settle]) = self.openings else { return };
        let found = cell.and_then(millionths).map(|n| n as f64 / 1e6);
        let least = last + exposure + seconds + settle - 3.0 * HALF_DECIMAL;
        match found {
            Some(opens) if least <= opens => self.openings = Some([opens, exposure, settle]),
            _ => {
                let found = found.map_or("no instant".to_owned(), |s| format!("{s} s"));
                faults.at(FaultKind::Moves, &self.file, None, from, || {
                    format!("the shutter opens again at {found}, after exposure, move and settling it is {least:.6} s at the earliest")
                });
            }
        }
    }

    /// Takes in the positions at `frame`, in millionths, `None` where they are not known, and holds the move that led there to its row.
    pub(super) fn at(
        &mut self,
        (stage, pass): (&Stage, &Pass),
        frame: i64,
        now: &[Option<i64>],
        pendulum: &dyn Fn(&Swing) -> f64,
        faults: &mut Faults,
    ) {
        let lengths: Vec<Option<f64>> = stage.axis_ids().map(|id| split::swing(stage, pass, id).map(pendulum)).collect();
        if !self.before.is_empty() {
            let delays = stage.axis_ids().zip(lengths.iter().zip(&self.lengths)).map(|(id, lengths)| match lengths {
                (Some(a), Some(b)) => split::swing(stage, pass, id).map_or(0.0, |swing| split::delay(&split::split(swing, 0.5 * (a + b)))),
                _ => 0.0,
            });
            let each = stage.axes().iter().zip(delays).zip(now.iter().zip(&self.before));
            let spans: Option<Vec<Span>> = each.map(|((a, delay), (n, b))| Some(span(a, delay, (*n)?, (*b)?))).collect();
            self.row(stage, frame - self.step, spans.as_deref(), faults);
        }
        self.lengths = lengths;
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
        let expected = if self.openings.is_some() { 5 } else { 4 };
        let [from_cell, to_cell, seconds, slowest, more @ ..] = cells.as_slice() else {
            faults.at(FaultKind::Rows, &self.file, None, from, || format!("a row has {} cells, expected {expected}", cells.len()));
            self.table = None;
            return;
        };
        if cells.len() != expected {
            faults.at(FaultKind::Rows, &self.file, None, from, || format!("a row has {} cells, expected {expected}", cells.len()));
            self.table = None;
            return;
        }
        let (Some(seconds), true) = (millionths(seconds), whole(from_cell) == Some(from) && whole(to_cell) == Some(from + self.step))
        else {
            faults.at(FaultKind::Rows, &self.file, None, from, || {
                format!("found `{line}`, expected the move from frame {from} to {}", from + self.step)
            });
            self.table = None;
            return;
        };
        let seconds = seconds as f64 / 1e6;
        self.opening(more.first().copied(), seconds, from, faults);
        if let Some(available) = self.available
            && self.within_limits
            && !(seconds <= available * (1.0 + 1e-9) + HALF_DECIMAL)
        {
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

fn span(axis: &Axis, delay: f64, now: i64, before: i64) -> Span {
    let bounds = Bounds::of(axis);
    // What does not move is not split.
    let seconds = |distance: f64| if distance > 0.0 { bounds.shortest(distance).seconds() + delay } else { 0.0 };
    let distance = now.abs_diff(before) as f64 / 1e6;
    Span { least: seconds(distance - 2.0 * HALF_DECIMAL), most: seconds(distance + 2.0 * HALF_DECIMAL) }
}
