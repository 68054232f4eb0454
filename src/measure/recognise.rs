//! Which pass a log is of, where it is not of the pass it was compared with.
//!
//! What: the first [`ROWS`] rows of the log are laid over the tables of every pass of a folder, in steps and in units: row by row as they are numbered, and from the first row
//! of the table on at each of [`RATES`]. An axis fits where its mean square deviation is at most nine times that of noise: what rounding to whole steps leaves, or, if that is more, the lower half of
//! how much the change from row to row changes, of the deviations or of the log itself, whichever is less; of the log alone where fewer than [`ENOUGH`] rows meet a frame.
//! Criterion: an axis tells for a pass where it deviates from the pass that was asked for, fits this one and leaves, root mean square, at most a tenth of that deviation; where the log has
//! frames which the pass that was asked for has not, of how far the log moves. A log fits where at least one axis tells for it, and at least three for each one that does not fit. At another
//! rate or with other frame numbers one of them must move, and no fault may explain it. Of several that fit those are named that leave as little: at most twice the least.
//! Units: steps, in the direction of positive travel. Invariant: memory grows with axes, never with rows. Limits: rows that lie between frames are passed over; what begins after [`ROWS`] rows is not seen.

use std::io::Read;

use serde::Serialize;

use super::facts::{AxisFacts, LogUnits};
use super::log::{Block, Log, LogError};
use super::rows::Input;
use super::sums::{ROUNDING, lower_half};
use crate::bounds::{count, counted};

/// Rows of the log that are looked at.
const ROWS: usize = 2000;

/// Rows that must meet a frame of the pass.
const FEWEST: usize = 8;

/// Rows from which on the deviations themselves say what noise is; below, the log alone does.
const ENOUGH: usize = 30;

/// What an axis that fits leaves, in times of noise, root mean square.
const NOISE: f64 = 3.0;

/// What an axis that tells for a pass leaves, as a share of its deviation from the pass that was asked for, root mean square.
const SHARE: f64 = 0.1;

/// Axes that must tell for a pass, for each one that does not fit.
const TELLING: usize = 3;

/// Rows for how many frames: rates of logs, and frame rates of films.
const RATES: [(i64, i64); 21] = [
    (1, 1),
    (2, 1),
    (1, 2),
    (3, 1),
    (1, 3),
    (4, 1),
    (1, 4),
    (5, 1),
    (1, 5),
    (6, 1),
    (1, 6),
    (8, 1),
    (1, 8),
    (10, 1),
    (1, 10),
    (25, 24),
    (24, 25),
    (30, 25),
    (25, 30),
    (30, 24),
    (24, 30),
];

/// A table that the log may be of.
#[derive(Debug)]
pub(crate) struct Candidate<R> {
    /// Name of its pass.
    pub(crate) pass: String,
    /// What its numbers are.
    pub(crate) units: LogUnits,
    /// The table.
    pub(crate) table: Input<R>,
}

/// What the log was compared with, and what came of that.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Asked<'a> {
    /// Name of the pass.
    pub(crate) pass: &'a str,
    /// What the numbers of the log were taken for.
    pub(crate) units: LogUnits,
    /// Axes whose deviations no cause explains; `None` where nothing could be compared.
    pub(crate) unexplained: Option<&'a [String]>,
}

/// A pass that a log fits.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "cli", derive(schemars::JsonSchema))]
pub(crate) struct FittingPass {
    /// Name of the log.
    pub(crate) log: String,
    /// Name of the pass.
    pub(crate) pass: String,
    /// What the numbers of the log are: `steps` or `units`.
    pub(crate) log_units: &'static str,
    /// Rows of the log for `for_frames` frames of the pass.
    pub(crate) rows: i64,
    /// See there.
    pub(crate) for_frames: i64,
    /// Frame of the log's first row.
    pub(crate) first_row: i64,
    /// The frame of the pass that it is.
    pub(crate) first_frame: i64,
    /// Axes that deviate from the pass that was asked for and fit this one.
    pub(crate) axes: usize,
    /// Axes that do not fit this one.
    pub(crate) axes_off: usize,
    /// One line as text.
    pub(crate) message: String,
}

/// The passes that a log fits better than the one it was compared with: those that fit alike, or none; and which tables could not be read.
///
/// # Errors
/// A log that cannot be read.
pub(crate) fn recognise<R: Read>(
    log: Input<R>,
    asked: Asked<'_>,
    candidates: Vec<Candidate<R>>,
    axes: &[AxisFacts],
) -> Result<(Vec<FittingPass>, Vec<String>), LogError> {
    let names: Vec<&str> = axes.iter().map(|a| a.name.as_str()).collect();
    let (name, stride) = (log.name.clone(), axes.len().max(1));
    let mut log = Log::open(&log.name, log.reader, &names)?;
    let rows = Rows { block: log.block(Block::default(), ROWS, stride)?, stride, logged: log.logged().collect() };
    let mut unreadable = Vec::new();
    let mut laid: Vec<(String, LogUnits, Vec<Laid>)> = Vec::new();
    for candidate in candidates {
        let table = candidate.table.name.clone();
        match lay(&rows, candidate.table, &names) {
            Ok(all) => laid.push((candidate.pass, candidate.units, all)),
            Err(_) => unreadable.push(table),
        }
    }
    let judged = |units: LogUnits, laid: &Laid| rows.judged(laid, |i| axes.get(i).map_or(1.0, |f| f.to_steps(units)));
    let base: Option<Vec<Option<Judged>>> = laid
        .iter()
        .filter(|(pass, units, _)| pass == asked.pass && *units == asked.units)
        .flat_map(|(_, units, all)| all.iter().filter(|l| l.over.is_none()).map(|l| judged(*units, l)))
        .next();
    let mut fitting: Vec<(f64, FittingPass)> = Vec::new();
    for (pass, units, all) in &laid {
        let same = pass == asked.pass && *units == asked.units;
        let mut best: Option<(f64, FittingPass)> = None;
        for laid in all.iter().filter(|l| !(same && l.over.is_none())) {
            let found = judged(*units, laid);
            let unexplained = |axis: usize| asked.unexplained.is_none_or(|all| names.get(axis).is_some_and(|n| all.iter().any(|u| u == n)));
            let Some(evidence) = evidence(&found, base.as_deref(), laid, &unexplained) else { continue };
            // The ways to lay it begin with the simplest: another must leave far less.
            if best.as_ref().is_none_or(|(left, _)| !alike(*left, evidence.left)) {
                let of = FittingPass {
                    log: name.clone(),
                    pass: pass.clone(),
                    log_units: if *units == LogUnits::Steps { "steps" } else { "units" },
                    rows: laid.rate().0,
                    for_frames: laid.rate().1,
                    first_row: laid.first.0,
                    first_frame: laid.first.1,
                    axes: evidence.axes,
                    axes_off: evidence.off,
                    message: String::new(),
                };
                if best.as_ref().is_none_or(|(left, _)| evidence.left < *left) {
                    best = Some((evidence.left, FittingPass { message: message(&of, asked), ..of }));
                }
            }
        }
        fitting.extend(best);
    }
    let least = fitting.iter().map(|(left, _)| *left).fold(f64::INFINITY, f64::min);
    fitting.retain(|(left, _)| alike(*left, least));
    // Passes share a move: where the one that was asked for fits in another way, the others need not be named.
    if fitting.iter().any(|(_, fits)| fits.pass == asked.pass) {
        fitting.retain(|(_, fits)| fits.pass == asked.pass);
    }
    Ok((fitting.into_iter().map(|(_, fits)| fits).collect(), unreadable))
}

/// Whether something leaves as little as what leaves least, mean square in times of noise.
fn alike(left: f64, least: f64) -> bool {
    left <= 2.0 * least + ROUNDING
}

fn message(of: &FittingPass, asked: Asked<'_>) -> String {
    let mut said = format!("fits pass {}", of.pass);
    if of.pass != asked.pass {
        said.push_str(&format!(", not {}", asked.pass));
    }
    match (of.log_units, asked.units) {
        ("steps", LogUnits::Units) => said.push_str(", in steps: use --log-units steps"),
        ("units", LogUnits::Steps) => said.push_str(", in mm and deg: use --log-units units"),
        _ => {}
    }
    match (of.rows, of.for_frames) {
        (1, 1) => {}
        (rows, 1) => said.push_str(&format!(", with {rows} rows per frame")),
        (rows, frames) => said.push_str(&format!(", with {} for every {frames} frames", count(rows.unsigned_abs(), "row"))),
    }
    if of.first_row != of.first_frame {
        said.push_str(&format!(", if its first row, {}, is frame {}", of.first_row, of.first_frame));
    }
    let that = if asked.unexplained.is_some() { format!(" that deviate{} from {}", s(of.axes), asked.pass) } else { String::new() };
    let off = if of.axes_off == 0 { String::new() } else { format!(", {} not", counted(of.axes_off, "axis")) };
    said.push_str(&format!(" ({}{that} fit{}{off})", counted(of.axes, "axis"), s(of.axes)));
    said
}

/// The ending of a verb.
fn s(n: usize) -> &'static str {
    if n == 1 { "s" } else { "" }
}

/// The first rows of the log.
struct Rows {
    block: Block,
    stride: usize,
    logged: Vec<usize>,
}

/// The log laid over a table in one way: its rows that meet a frame, with the cells of the table there.
struct Laid {
    /// Rows for how many frames from the first row on; `None` where rows are taken as they are numbered.
    over: Option<(i64, i64)>,
    /// Frame of the log's first row, and the frame of the table that it is.
    first: (i64, i64),
    rows: Vec<usize>,
    cells: Vec<f64>,
}

impl Laid {
    fn rate(&self) -> (i64, i64) {
        self.over.unwrap_or((1, 1))
    }

    /// The row of the log that is this frame of the table; `None` where none can be.
    fn row_of(&self, frame: i64) -> Option<i64> {
        let Some((rows, frames)) = self.over else { return Some(frame) };
        let since = frame.checked_sub(self.first.1)?.checked_mul(rows)?;
        (since % frames == 0).then(|| self.first.0.checked_add(since / frames)).flatten()
    }

    /// Whether the row of the log that belongs to a frame of the table comes after this one.
    fn is_beyond(&self, frame: i64, row: i64) -> bool {
        let (rows, frames) = self.rate();
        (i128::from(frame) - i128::from(self.first.1)) * i128::from(rows)
            > (i128::from(row) - i128::from(self.first.0)) * i128::from(frames)
    }

    /// Whether a row of the log has to meet a frame.
    fn meets(&self, row: i64) -> bool {
        let Some((rows, frames)) = self.over else { return true };
        row.checked_sub(self.first.0).and_then(|n| n.checked_mul(frames)).is_some_and(|n| n % rows == 0)
    }
}

/// The log laid over a table in every way in which each of its rows that must meet a frame does.
fn lay<R: Read>(rows: &Rows, table: Input<R>, names: &[&str]) -> Result<Vec<Laid>, LogError> {
    let Some(first_row) = rows.block.frames.first().copied() else { return Ok(Vec::new()) };
    let mut table = Log::open(&table.name, table.reader, names)?;
    let mut all: Vec<Laid> = Vec::new();
    let mut block = Block::default();
    loop {
        block = table.block(block, ROWS, rows.stride)?;
        let Some(first_frame) = block.frames.first().copied() else { break };
        if all.is_empty() {
            let rates = RATES.iter().filter(|rate| **rate != (1, 1) || first_row != first_frame);
            let ways = core::iter::once(None).chain(rates.map(|rate| Some(*rate)));
            all.extend(ways.map(|over| Laid {
                over,
                first: (first_row, if over.is_none() { first_row } else { first_frame }),
                rows: Vec::new(),
                cells: Vec::new(),
            }));
        }
        for (frame, cells) in block.frames.iter().zip(block.cells.chunks_exact(rows.stride)) {
            for laid in &mut all {
                if let Some(row) = laid.row_of(*frame).and_then(|n| rows.block.frames.binary_search(&n).ok()) {
                    laid.rows.push(row);
                    laid.cells.extend_from_slice(cells);
                }
            }
        }
        let last = rows.block.frames.last().copied().unwrap_or(first_row);
        if block.frames.last().is_some_and(|frame| all.iter().all(|laid| laid.is_beyond(*frame, last))) {
            break;
        }
    }
    all.retain(|laid| laid.rows.len() >= FEWEST && laid.rows.len() == rows.block.frames.iter().filter(|row| laid.meets(**row)).count());
    Ok(all)
}

/// How an axis of the log lies over a table.
#[derive(Debug, Clone, Copy)]
struct Judged {
    /// Mean square of its deviations, and of noise.
    left: f64,
    noise: f64,
    /// Mean square of noise at the least: by the deviations even where they are few.
    least_noise: f64,
    /// Mean square of the log about its mean.
    log_moves: f64,
    /// Whether the pass moves it by more than noise.
    moves: bool,
}

impl Judged {
    fn fits(&self) -> bool {
        self.left <= NOISE * NOISE * self.noise
    }

    fn deviates(&self) -> bool {
        self.left > NOISE * NOISE * self.least_noise
    }
}

impl Rows {
    /// Each axis; `None` where it is not logged, or in too few rows.
    fn judged(&self, laid: &Laid, to_steps: impl Fn(usize) -> f64) -> Vec<Option<Judged>> {
        let of = |axis: usize| {
            let at = |row: usize| self.block.cells.get(row * self.stride + axis).copied();
            let pairs: Vec<(f64, f64)> = laid
                .rows
                .iter()
                .zip(laid.cells.iter().skip(axis).step_by(self.stride))
                .filter_map(|(row, target)| Some((at(*row)?, *target)))
                .filter(|(logged, target)| !logged.is_nan() && !target.is_nan())
                .collect();
            if pairs.len() < FEWEST || !self.logged.contains(&axis) {
                return None;
            }
            let (n, scale) = (pairs.len() as f64, to_steps(axis));
            let deviations: Vec<f64> = pairs.iter().map(|(logged, target)| (logged - target) * scale).collect();
            let positions: Vec<f64> = (0..self.block.frames.len()).filter_map(at).map(|y| y * scale).collect();
            let mean = pairs.iter().map(|(logged, _)| logged).sum::<f64>() / n;
            let (of_log, of_deviations) = (bends(&positions), bends(&deviations));
            let least = of_log.min(of_deviations);
            let noise = if pairs.len() < ENOUGH { of_log } else { least };
            let (lowest, highest) = pairs.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), (_, t)| (l.min(*t), h.max(*t)));
            let noise = (noise * noise).max(ROUNDING);
            let ranges = (highest - lowest) * scale;
            Some(Judged {
                left: deviations.iter().map(|d| d * d).sum::<f64>() / n,
                noise,
                least_noise: (least * least).max(ROUNDING),
                log_moves: pairs.iter().map(|(logged, _)| (logged - mean) * scale).map(|y| y * y).sum::<f64>() / n,
                moves: ranges * ranges > NOISE * NOISE * noise,
            })
        };
        (0..self.stride).map(of).collect()
    }
}

/// Noise, by how much the change from row to row changes.
fn bends(values: &[f64]) -> f64 {
    let bend = |w: &[f64]| if let [a, b, c] = w { (c - 2.0 * b + a).abs() } else { f64::NAN };
    lower_half(values.windows(3).map(bend))
}

/// What the axes say of a pass.
struct Evidence {
    /// Axes that tell for it, and that do not fit it.
    axes: usize,
    off: usize,
    /// What it leaves: mean over all axes of the mean square in times of noise.
    left: f64,
}

/// Whether a log fits, laid in this way.
fn evidence(
    found: &[Option<Judged>],
    base: Option<&[Option<Judged>]>,
    laid: &Laid,
    unexplained: &dyn Fn(usize) -> bool,
) -> Option<Evidence> {
    let (mut telling, mut moving, mut off, mut left, mut all) = (0, 0, 0, 0.0, 0.0);
    for (axis, judged) in found.iter().enumerate() {
        let Some(judged) = judged else { continue };
        all += 1.0;
        left += judged.left / judged.noise;
        let was = match base {
            Some(base) => base.get(axis).copied().flatten().filter(Judged::deviates).map(|b| b.left),
            None => Some(judged.log_moves).filter(|moves| *moves > NOISE * NOISE * judged.noise),
        };
        if !judged.fits() {
            off += 1;
        } else if was.is_some_and(|was| judged.left <= SHARE * SHARE * was) {
            telling += 1;
            moving += usize::from(judged.moves && unexplained(axis));
        }
    }
    (telling > 0 && telling >= TELLING * off && (laid.over.is_none() || moving > 0)).then(|| Evidence {
        axes: telling,
        off,
        left: left / all,
    })
}
