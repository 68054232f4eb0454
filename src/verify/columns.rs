//! The columns of all passes, read in step, frame by frame: against the oracle, against each other, against travel and limits.
//!
//! Invariant: memory grows with axes and passes, not with frames. Each count is held to the oracle's position within half a step for its rounding and the floor
//! that [`Oracle::floor`] states; each number of units within half a millionth and the same floor; counts and units of one position to each other
//! within the two roundings alone; two passes to each other exactly.

use std::path::Path;

use super::exposed::exposes;
use super::fault::{FaultKind, Faults};
use super::limits::History;
use super::moves::Moves;
use super::oracle::{Oracle, State, steps, steps_per_unit};
use super::record::Record;
use super::split;
use super::table::{Table, millionths, whole};
use crate::shot::{Exposure, Pass, Shot};
use crate::stage::{Axis, Stage, Swing};

/// Half a millionth: the rounding of six decimals.
const HALF_DECIMAL: f64 = 0.5e-6;

/// Position to steps and back: a handful of products and a sum, each 2^-53 of the numbers in it.
const CONVERSION: f64 = 1e-15;

/// The tables of all passes, read in step.
pub(super) struct Columns<'a> {
    what: Against<'a>,
    passes: Vec<PassTables<'a>>,
}

/// What tables are compared with.
#[derive(Debug, Clone, Copy)]
pub(super) struct Against<'a> {
    pub(super) stage: &'a Stage,
    pub(super) shot: &'a Shot,
    pub(super) oracle: &'a Oracle<'a>,
    /// True where the manifest says that nothing is over a limit.
    pub(super) within_limits: bool,
}

/// The two tables of one pass, and what is remembered of it.
struct PassTables<'a> {
    pass: &'a Pass,
    parked: Vec<bool>,
    steps: Reading,
    units: Reading,
    moves: Option<Moves>,
    history: Vec<History>,
}

struct Reading {
    file: String,
    table: Option<Table>,
}

/// The table of positions of one pass, read by itself.
pub(super) struct Positions(Reading);

impl Positions {
    /// Opens it.
    pub(super) fn open(dir: &Path, pass: &Pass, stage: &Stage, faults: &mut Faults) -> Positions {
        let file = format!("{}.units.csv", pass.name());
        let table = Table::open(&dir.join(&file), stage.axes().len());
        let table = table.map_err(|e| faults.file(FaultKind::Missing, &file, format!("cannot be read: {e}"))).ok();
        Positions(Reading::new(file, table, stage, faults))
    }

    /// Its name.
    pub(super) fn file(&self) -> &str {
        &self.0.file
    }

    /// Positions of a frame in units, `None` where they cannot be read.
    pub(super) fn row(&mut self, frame: i64, label: &str, axes: usize, faults: &mut Faults) -> Vec<Option<f64>> {
        self.0.row(frame, label, axes, millionths, faults).into_iter().map(|n| n.map(|n| n as f64 / 1e6)).collect()
    }

    /// After the last frame nothing may follow.
    pub(super) fn end(&mut self, faults: &mut Faults) {
        self.0.end(faults);
    }
}

/// What a frame has in one table, `None` where it cannot be read.
type Cells = Vec<Option<i64>>;

impl<'a> Columns<'a> {
    /// Opens every table of the folder.
    pub(super) fn open(what: Against<'a>, dir: &Path, there: &dyn Fn(&str) -> bool, record: &Record, faults: &mut Faults) -> Columns<'a> {
        let first_opening = |i: usize| record.passes.get(i).and_then(|p| p.first_opening_s);
        let passes = what.shot.passes().iter().enumerate();
        let passes = passes.map(|(i, p)| what.pass(dir, there, (p, first_opening(i)), faults)).collect();
        Columns { what, passes }
    }

    /// Reads the row of a frame in every table.
    pub(super) fn frame(&mut self, frame: i64, state: &State, faults: &mut Faults) {
        let (shot, span) = (self.what.shot, self.what.shot.frames());
        let label = self.what.shot.timecode_start().after(frame - span.first()).to_string();
        let axes = state.axes().len();
        let read = |p: &mut PassTables<'_>, faults: &mut Faults| {
            if !exposes(shot, p.pass, frame) {
                return (Cells::new(), Cells::new());
            }
            (p.steps.row(frame, &label, axes, whole, faults), p.units.row(frame, &label, axes, millionths, faults))
        };
        let rows: Vec<(Cells, Cells)> = self.passes.iter_mut().map(|p| read(p, faults)).collect();
        for (p, (counts, units)) in self.passes.iter_mut().zip(&rows).filter(|(p, _)| exposes(shot, p.pass, frame)) {
            self.what.frame(p, frame, counts, units, state, faults);
            if let Some(moves) = &mut p.moves {
                let (stage, pass, oracle) = (self.what.stage, p.pass, self.what.oracle);
                let pendulum = |swing: &Swing| split::length(swing, |c| oracle.value(pass, state, c));
                moves.at((stage, pass), frame, units, &pendulum, faults);
            }
        }
        self.what.register(&self.passes, frame, &rows, faults);
    }

    /// After the last frame.
    pub(super) fn end(&mut self, faults: &mut Faults) {
        for p in &mut self.passes {
            p.steps.end(faults);
            p.units.end(faults);
            if let Some(moves) = &mut p.moves {
                moves.end(faults);
            }
        }
    }
}

impl<'a> Against<'a> {
    fn pass(
        &self,
        dir: &Path,
        there: &dyn Fn(&str) -> bool,
        (pass, first_opening): (&'a Pass, Option<f64>),
        faults: &mut Faults,
    ) -> PassTables<'a> {
        let name = pass.name();
        let mut table = |file: &str| {
            if !there(file) {
                faults.needed(file);
                return None;
            }
            Table::open(&dir.join(file), self.stage.axes().len())
                .map_err(|e| faults.file(FaultKind::Missing, file, format!("cannot be read: {e}")))
                .ok()
        };
        let (steps, units, moves) = (format!("{name}.steps.csv"), format!("{name}.units.csv"), format!("{name}.moves.csv"));
        let (steps_table, units_table) = (table(&steps), table(&units));
        let held = pass.exposure() == Exposure::Held;
        let moves_table = if held { table(&moves) } else { None };
        let moves = held.then(|| Moves::new(&moves, moves_table, (pass, first_opening), self.within_limits, faults));
        let axes = self.stage.axes();
        let histories = axes.iter().map(|a| History::new(a, pass.pace().get() * f64::from(pass.every()))).collect();
        PassTables {
            pass,
            parked: self.stage.axis_ids().map(|a| pass.parks(self.stage, a)).collect(),
            steps: Reading::new(steps, steps_table, self.stage, faults),
            units: Reading::new(units, units_table, self.stage, faults),
            moves,
            history: histories,
        }
    }

    /// One frame of one pass.
    fn frame(&self, p: &mut PassTables<'_>, frame: i64, counts: &Cells, units: &Cells, state: &State, faults: &mut Faults) {
        let axes = self.stage.each_axis().zip(self.stage.axis_names());
        let cells = counts.iter().zip(units).zip(p.parked.iter().zip(&mut p.history));
        for (((i, axis), name), ((count, unit), (parked, history))) in axes.zip(cells) {
            let name = Some(name.as_str());
            let (expected, floor) = if *parked { (axis.home(), 0.0) } else { (state.axis(i), self.oracle.floor(i, state)) };
            let known = *parked || self.oracle.is_known(i);
            let kind = if *parked { FaultKind::Parked } else { FaultKind::Position };
            let home = if *parked { ", parked at home" } else { "" };
            if let Some(n) = count {
                let exact = steps(axis, expected);
                if known && !((*n as f64 - exact).abs() <= 0.5 + floor) {
                    faults.at(kind, &p.steps.file, name, frame, || format!("stands on step {n}, expected {exact:.3} rounded{home}"));
                }
                if self.within_limits
                    && p.pass.exposure() == Exposure::Moving
                    && !parked
                    && let Some(what) = history.next(*n)
                {
                    faults.at(FaultKind::Limits, &p.steps.file, name, frame, || what);
                }
            }
            if let Some(u) = unit {
                let u = *u as f64 / 1e6;
                let room = HALF_DECIMAL + CONVERSION * (u.abs() + expected.abs()) + floor / steps_per_unit(axis);
                let symbol = axis.unit().symbol();
                if known && !((u - expected).abs() <= room) {
                    faults
                        .at(kind, &p.units.file, name, frame, || format!("stands at {u} {symbol}, expected {expected:.6} {symbol}{home}"));
                }
                let travel = axis.travel();
                let slack = HALF_DECIMAL + 1e-9 * (travel.upper - travel.lower);
                if self.within_limits && !(travel.lower - slack <= u && u <= travel.upper + slack) {
                    let (lower, upper) = (travel.lower, travel.upper);
                    faults.at(FaultKind::Travel, &p.units.file, name, frame, || {
                        format!("{u} {symbol} is outside the travel, {lower} to {upper} {symbol}")
                    });
                }
                if let Some(n) = count {
                    agreement(axis, &p.steps.file, name, frame, (*n, u), faults);
                }
            }
        }
    }

    /// Every pass on the step of the first pass in which the axis is live, of those that expose the frame.
    fn register(&self, passes: &[PassTables<'_>], frame: i64, rows: &[(Cells, Cells)], faults: &mut Faults) {
        for (i, name) in self.stage.axis_names().iter().enumerate() {
            let mut live = passes.iter().zip(rows).filter(|(p, _)| p.parked.get(i) == Some(&false) && exposes(self.shot, p.pass, frame));
            let Some((reference, (counts, units))) = live.next() else { continue };
            for (p, (other_counts, other_units)) in live {
                for (file, a, b, what) in [(&p.steps.file, counts, other_counts, "step"), (&p.units.file, units, other_units, "millionth")]
                {
                    if let (Some(Some(a)), Some(Some(b))) = (a.get(i), b.get(i))
                        && a != b
                    {
                        let first = reference.pass.name();
                        faults.at(FaultKind::Register, file, Some(name), frame, || format!("stands on {what} {b}, pass {first} on {a}"));
                    }
                }
            }
        }
    }
}

fn agreement(axis: &Axis, file: &str, name: Option<&str>, frame: i64, (count, units): (i64, f64), faults: &mut Faults) {
    let per_unit = steps_per_unit(axis);
    let exact = steps(axis, units);
    let room = 0.5 + (HALF_DECIMAL + CONVERSION * (units.abs() + axis.home().abs())) * per_unit;
    if !((count as f64 - exact).abs() <= room) {
        faults.at(FaultKind::Agreement, file, name, frame, || {
            format!("step {count} and {units} {} are not one position", axis.unit().symbol())
        });
    }
}

impl Reading {
    /// Starts; the header is read at once.
    fn new(file: String, table: Option<Table>, stage: &Stage, faults: &mut Faults) -> Reading {
        let mut reading = Reading { file, table };
        let header = reading.table.as_mut().map(|t| t.line().map(|l| l.map(str::to_owned)));
        match header {
            None => {}
            Some(Ok(Some(header))) => {
                let mut columns = header.split(',');
                let mut expected = ["frame", "timecode"].into_iter().chain(stage.axis_names().iter().map(String::as_str));
                let wrong = (1..).map_while(|n| match (columns.next(), expected.next()) {
                    (None, None) => None,
                    pair => Some((n, pair)),
                });
                if let Some((n, (found, expected))) = wrong.into_iter().find(|(_, (f, e))| f != e) {
                    let shown = |c: Option<&str>| c.map_or("nothing".to_owned(), |c| format!("`{c}`"));
                    faults.file(FaultKind::Columns, &reading.file, format!("column {n} is {}, expected {}", shown(found), shown(expected)));
                    reading.table = None;
                }
            }
            Some(other) => {
                let what = other.err().unwrap_or_else(|| "is empty".to_owned());
                faults.file(FaultKind::Columns, &reading.file, what);
                reading.table = None;
            }
        }
        reading
    }

    /// The cells of the next row, which must be that of `frame`; after a row that is not, the table is left.
    fn row(&mut self, frame: i64, label: &str, axes: usize, number: fn(&str) -> Option<i64>, faults: &mut Faults) -> Cells {
        let nothing = vec![None; axes];
        let Some(table) = &mut self.table else { return nothing };
        let wrong = match table.line() {
            Ok(Some(line)) => {
                let mut cells = line.split(',');
                let found = cells.next().unwrap_or_default();
                let timecode = cells.next().unwrap_or_default();
                let numbers: Cells = cells.map(number).collect();
                if whole(found) != Some(frame) {
                    format!("the row of frame {frame} is missing or out of place: found `{found}`")
                } else if numbers.len() != axes {
                    format!("a row has {} positions, expected {axes}", numbers.len())
                } else {
                    if timecode != label {
                        let timecode = timecode.to_owned();
                        faults.at(FaultKind::Timecode, &self.file, None, frame, || format!("has label `{timecode}`, expected {label}"));
                    }
                    if numbers.contains(&None) {
                        faults.at(FaultKind::Rows, &self.file, None, frame, || "a cell is not a number in its one spelling".to_owned());
                    }
                    return numbers;
                }
            }
            Ok(None) => format!("ends before frame {frame}"),
            Err(what) => what,
        };
        faults.at(FaultKind::Rows, &self.file, None, frame, || wrong);
        self.table = None;
        nothing
    }

    /// After the last frame nothing may follow.
    fn end(&mut self, faults: &mut Faults) {
        if let Some(table) = &mut self.table
            && table.line() != Ok(None)
        {
            faults.file(FaultKind::Rows, &self.file, "goes on after the last frame".to_owned());
        }
    }
}
