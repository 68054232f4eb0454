//! Takes held against their pass, frame by frame.
//!
//! What: the pass's columns and every log are read in step by frame, each by a thread of its own that runs a few blocks of rows ahead; per axis the deviations of all takes at
//! a frame go into its statistics and, one by one, into what is remembered for a likely cause.
//! Units: logs in steps are held against the pass's steps, logs in units against its units; figures come in units, steps and, where the axis's place in the
//! picture is known, pixels. Deviations count in the direction of positive travel.
//! Invariant: the same numbers whatever the threads do: one thread adds, in the order of frames, axes and takes. Memory: a few blocks a log.

use std::io::Read;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};

use serde::Serialize;

use super::cause::{Cause, CauseKind, Trace};
use super::log::{Block, Log, LogError};
use super::statistics::{Greatest, Statistics};
use crate::bounds::count;
use crate::number::figures::figure;
use crate::stage::Axis;

/// Cells of a block of rows: small enough that a hundred logs fit in memory, large enough that handing one over costs nothing.
const BLOCK: usize = 1 << 14;

/// Blocks read ahead.
const AHEAD: usize = 2;

/// What must be known of an axis.
#[derive(Debug, Clone, PartialEq)]
pub struct AxisFacts {
    /// Full name.
    pub name: String,
    /// `mm` or `deg`.
    pub unit: &'static str,
    /// Steps of one unit, positive.
    pub steps_per_unit: f64,
    /// True where positive travel counts negative steps.
    pub reversed: bool,
    /// Steps of one full step of the motor.
    pub microsteps: u32,
    /// Pixels that one unit moves the picture at most, where that is known.
    pub pixels_per_unit: Option<f64>,
}

impl AxisFacts {
    /// The facts of an axis of a stage; its place in the picture is not known from it alone.
    #[must_use]
    pub fn of(name: &str, axis: &Axis) -> AxisFacts {
        let drive = axis.drive();
        AxisFacts {
            name: name.to_owned(),
            unit: axis.unit().symbol(),
            steps_per_unit: drive.steps_per_unit(),
            reversed: drive.is_reversed(),
            microsteps: drive.microsteps(),
            pixels_per_unit: None,
        }
    }
}

/// What the numbers of a log are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[non_exhaustive]
pub enum LogUnits {
    /// Steps from home.
    #[default]
    Steps,
    /// mm or deg.
    Units,
}

/// What is asked for.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[non_exhaustive]
pub struct Options {
    /// What pass and logs are in.
    pub units: LogUnits,
    /// Steps a position may be off; not negative.
    pub tolerance_steps: Option<f64>,
    /// Pixels a position may be off, for axes whose place in the picture is known; not negative.
    pub tolerance_pixels: Option<f64>,
}

/// A table to read: its name for messages and its bytes.
#[derive(Debug)]
pub struct Input<R> {
    /// Name.
    pub name: String,
    /// Bytes.
    pub reader: R,
}

/// What came of it.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct Comparison {
    /// Rows of the pass.
    pub frames: u64,
    /// The takes, in order.
    pub takes: Vec<TakeFacts>,
    /// True where every position of every take is within the tolerance that was given; none where none was.
    pub within_tolerance: Option<bool>,
    /// Axes that at least one take has, in order of the stage.
    pub axes: Vec<AxisComparison>,
    /// Axes that no take has.
    pub not_logged: Vec<String>,
}

/// What a take covers.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct TakeFacts {
    /// Name of the log.
    pub log: String,
    /// Frames it has.
    pub frames: u64,
    /// Frames of the pass that it lacks.
    pub frames_missing: u64,
    /// Axes of the pass that it lacks.
    pub axes_missing: Vec<String>,
}

/// One axis over all takes. Figures at the top are in units; numbers that need two takes are none with one.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct AxisComparison {
    /// Full name.
    pub axis: String,
    /// `mm` or `deg`.
    pub unit: &'static str,
    /// Takes that have it.
    pub takes: usize,
    /// Frames at which at least one take has it.
    pub frames: u64,
    /// The figures in units.
    #[serde(flatten)]
    pub units: Figures,
    /// Frames at which a take exceeds the tolerance; none where no tolerance was given.
    pub frames_over: Option<u64>,
    /// Frame of the largest deviation.
    pub largest_deviation_frame: Option<i64>,
    /// Frame of the largest difference between two takes.
    pub pass_to_pass_frame: Option<i64>,
    /// The same figures in steps.
    pub steps: Figures,
    /// The same figures in pixels at the picture, where they are known.
    pub pixels: Option<Figures>,
    /// What most likely happened, take by take, where it is plain; two of one take where they explain alike.
    pub likely_causes: Vec<LikelyCause>,
}

/// The statistics of one axis in one unit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[non_exhaustive]
pub struct Figures {
    /// Greatest 4 s_i.
    pub repeatability: Option<f64>,
    /// Greatest mean_i + 2 s_i less least mean_i - 2 s_i.
    pub accuracy: Option<f64>,
    /// Greatest mean_i less least mean_i.
    pub mean_range: Option<f64>,
    /// Largest deviation of any take, absolute.
    pub largest_deviation: Option<f64>,
    /// Largest difference between two takes at one frame.
    pub pass_to_pass: Option<f64>,
}

/// A likely cause in one take.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct LikelyCause {
    /// Name of the log.
    pub log: String,
    /// `offset`, `frame_shift`, `lost_steps`, `backlash` or `slip`.
    pub cause: &'static str,
    /// Frames by which the take is late, negative where it is early; none for other causes.
    pub late_frames: Option<i64>,
    /// How much, steps.
    pub steps: f64,
    /// The same in units.
    pub units: f64,
    /// Frame at which it was first seen.
    pub frame: i64,
    /// One line as text.
    pub message: String,
}

/// Holds the logs of takes against the columns of their pass.
///
/// # Errors
/// A table that cannot be read, a column that is no axis, a frame that the pass does not have: the first one found.
pub fn compare<R: Read + Send>(
    pass: Input<R>,
    takes: Vec<Input<R>>,
    axes: &[AxisFacts],
    options: &Options,
) -> Result<Comparison, LogError> {
    let names: Vec<&str> = axes.iter().map(|a| a.name.as_str()).collect();
    let open = |input: Input<R>| Log::open(&input.name, input.reader, &names).map(|log| (input.name, log));
    let (pass_name, pass) = open(pass)?;
    let takes = takes.into_iter().map(open).collect::<Result<Vec<_>, _>>()?;
    let facts: Vec<(String, Vec<usize>)> = takes.iter().map(|(name, log)| (name.clone(), log.logged().collect())).collect();
    let rows = (BLOCK / axes.len().max(1)).max(1);
    std::thread::scope(|scope| {
        let start = |name: String, log: Log<R>| {
            let (send, receive) = sync_channel(AHEAD);
            scope.spawn(move || read_on(log, rows, &send));
            Rows { name, receive, block: Block::default(), row: 0, axes: axes.len(), rows_read: 0 }
        };
        let mut pass = start(pass_name, pass);
        let mut logs: Vec<Rows> = takes.into_iter().map(|(name, log)| start(name, log)).collect();
        let mut held = Held::new(axes, options, &facts);
        while let Some(frame) = pass.frame()? {
            for log in &mut logs {
                if let Some(f) = log.frame()?.filter(|f| *f < frame) {
                    return Err(log.stranger(f, &pass.name));
                }
            }
            held.frame(frame, &pass, &logs);
            for log in &mut logs {
                if log.frame()? == Some(frame) {
                    log.next();
                }
            }
            pass.next();
        }
        for log in &mut logs {
            if let Some(f) = log.frame()? {
                return Err(log.stranger(f, &pass.name));
            }
        }
        Ok(held.finish(pass.rows_read, &logs, &facts))
    })
}

/// Reads blocks until the end or until nobody wants more.
fn read_on<R: Read>(mut log: Log<R>, rows: usize, send: &SyncSender<Result<Block, LogError>>) {
    loop {
        let block = log.block(rows);
        let last = block.as_ref().map_or(true, |b| b.frames.is_empty());
        if send.send(block).is_err() || last {
            return;
        }
    }
}

/// The rows of one table as they come.
struct Rows {
    name: String,
    receive: Receiver<Result<Block, LogError>>,
    block: Block,
    row: usize,
    axes: usize,
    rows_read: u64,
}

impl Rows {
    /// The frame of the row that is next; `None` at the end.
    fn frame(&mut self) -> Result<Option<i64>, LogError> {
        if self.row >= self.block.frames.len() {
            // After the last block the sender is gone: the end stays the end.
            match self.receive.recv() {
                Ok(block) => (self.block, self.row) = (block?, 0),
                Err(_) => return Ok(None),
            }
        }
        Ok(self.block.frames.get(self.row).copied())
    }

    /// The row's cells, one an axis, if it is of this frame.
    fn cells(&self, frame: i64) -> Option<&[f64]> {
        if self.block.frames.get(self.row) != Some(&frame) {
            return None;
        }
        self.block.cells.get(self.row * self.axes..(self.row + 1) * self.axes)
    }

    fn next(&mut self) {
        self.row += 1;
        self.rows_read += 1;
    }

    fn stranger(&self, frame: i64, pass: &str) -> LogError {
        LogError { log: self.name.clone(), line: 0, what: format!("has frame {frame}, which {pass} does not have") }
    }
}

/// What is remembered of every axis.
struct Held<'a> {
    facts: &'a [AxisFacts],
    options: &'a Options,
    axes: Vec<AxisHeld>,
    /// Scratch: rows of the takes that have this frame.
    rows: Vec<usize>,
    deviations: Vec<f64>,
}

struct AxisHeld {
    statistics: Statistics,
    traces: Vec<Option<Trace>>,
    /// From deviations of the logs to steps in the direction of positive travel.
    to_steps: f64,
    most: f64,
    over: u64,
    last: f64,
    direction: f64,
}

impl<'a> Held<'a> {
    fn new(facts: &'a [AxisFacts], options: &'a Options, takes: &[(String, Vec<usize>)]) -> Held<'a> {
        let axes = facts
            .iter()
            .enumerate()
            .map(|(i, f)| {
                let to_steps = match options.units {
                    LogUnits::Steps if f.reversed => -1.0,
                    LogUnits::Steps => 1.0,
                    LogUnits::Units => f.steps_per_unit,
                };
                let pixels = options.tolerance_pixels.zip(f.pixels_per_unit).map(|(p, per_unit)| p / per_unit * f.steps_per_unit);
                let most = options.tolerance_steps.unwrap_or(f64::INFINITY).min(pixels.unwrap_or(f64::INFINITY));
                let traces = takes.iter().map(|(_, logged)| logged.contains(&i).then(|| Trace::new(f.microsteps))).collect();
                AxisHeld { statistics: Statistics::default(), traces, to_steps, most, over: 0, last: f64::NAN, direction: 0.0 }
            })
            .collect();
        Held { facts, options, axes, rows: Vec::new(), deviations: Vec::new() }
    }

    fn frame(&mut self, frame: i64, pass: &Rows, logs: &[Rows]) {
        let Some(targets) = pass.cells(frame) else { return };
        self.rows.clear();
        self.rows.extend(logs.iter().enumerate().filter(|(_, log)| log.cells(frame).is_some()).map(|(i, _)| i));
        for (i, (target, axis)) in targets.iter().zip(&mut self.axes).enumerate() {
            let moved = (target - axis.last) * axis.to_steps;
            if moved > 0.0 {
                axis.direction = 1.0;
            } else if moved < 0.0 {
                axis.direction = -1.0;
            }
            axis.last = *target;
            self.deviations.clear();
            for take in &self.rows {
                let logged = logs.get(*take).and_then(|l| l.cells(frame)).and_then(|c| c.get(i)).copied().unwrap_or(f64::NAN);
                if logged.is_nan() {
                    continue;
                }
                let deviation = (logged - target) * axis.to_steps;
                self.deviations.push(deviation);
                if let Some(Some(trace)) = axis.traces.get_mut(*take) {
                    trace.add(frame, target * axis.to_steps, deviation, axis.direction);
                }
            }
            axis.statistics.add(frame, &self.deviations);
            if self.deviations.iter().any(|d| d.abs() > axis.most) {
                axis.over += 1;
            }
        }
    }

    fn finish(&self, frames: u64, logs: &[Rows], takes: &[(String, Vec<usize>)]) -> Comparison {
        let asked = self.options.tolerance_steps.is_some() || self.options.tolerance_pixels.is_some();
        let logged = |i: usize| takes.iter().filter(|(_, l)| l.contains(&i)).count();
        let named = |wanted: &dyn Fn(usize) -> bool| -> Vec<String> {
            self.facts.iter().enumerate().filter(|(i, _)| wanted(*i)).map(|(_, f)| f.name.clone()).collect()
        };
        let axes: Vec<AxisComparison> = self
            .facts
            .iter()
            .zip(&self.axes)
            .enumerate()
            .filter(|(i, _)| logged(*i) > 0)
            .map(|(i, (f, held))| axis_comparison(f, held, logged(i), takes, asked))
            .collect();
        Comparison {
            frames,
            takes: takes
                .iter()
                .zip(logs)
                .map(|((log, has), rows)| TakeFacts {
                    log: log.clone(),
                    frames: rows.rows_read,
                    frames_missing: frames.saturating_sub(rows.rows_read),
                    axes_missing: named(&|i| !has.contains(&i)),
                })
                .collect(),
            within_tolerance: asked.then(|| axes.iter().all(|a| a.frames_over == Some(0))),
            axes,
            not_logged: named(&|i| logged(i) == 0),
        }
    }
}

fn axis_comparison(f: &AxisFacts, held: &AxisHeld, takes: usize, names: &[(String, Vec<usize>)], asked: bool) -> AxisComparison {
    let s = &held.statistics;
    let figures = |factor: f64| {
        let scaled = |x: Option<f64>| x.map(|x| x * factor);
        Figures {
            repeatability: scaled(s.repeatability().map(|g| g.value)),
            accuracy: scaled(s.accuracy()),
            mean_range: scaled(s.mean_range()),
            largest_deviation: scaled(s.largest_deviation().map(|g| g.value)),
            pass_to_pass: scaled(s.pass_to_pass().map(|g| g.value)),
        }
    };
    let frame = |g: Option<Greatest>| g.filter(|g| g.value > 0.0).map(|g| g.frame);
    AxisComparison {
        axis: f.name.clone(),
        unit: f.unit,
        takes,
        frames: s.frames(),
        units: figures(1.0 / f.steps_per_unit),
        frames_over: asked.then_some(held.over),
        largest_deviation_frame: frame(s.largest_deviation()),
        pass_to_pass_frame: frame(s.pass_to_pass()),
        steps: figures(1.0),
        pixels: f.pixels_per_unit.map(|p| figures(p / f.steps_per_unit)),
        likely_causes: names
            .iter()
            .zip(&held.traces)
            .flat_map(|((log, _), trace)| trace.iter().flat_map(Trace::causes).map(|c| likely(f, log, &c)))
            .collect(),
    }
}

fn full_steps(full: f64) -> String {
    format!("{full} full {}", if full.abs() == 1.0 { "step" } else { "steps" })
}

fn likely(f: &AxisFacts, log: &str, c: &Cause) -> LikelyCause {
    let units = c.steps / f.steps_per_unit;
    let size = format!("{} ({})", figure(units, f.unit), figure(c.steps, "steps"));
    let full = (c.steps / f64::from(f.microsteps)).round_ties_even();
    let message = match c.kind {
        CauseKind::FrameShift => {
            let way = if c.late > 0 { "late" } else { "early" };
            let frames = count(c.late.unsigned_abs(), "frame");
            format!("the log is {frames} {way} (up to {size}): correct its frame numbers, or check what triggers the log")
        }
        CauseKind::Offset => format!("off by {size} throughout: steps lost before frame {}, or a different reference position", c.frame),
        CauseKind::LostSteps if c.times == 1 => format!("{} lost at frame {}: off by {size} from there on", full_steps(full), c.frame),
        CauseKind::LostSteps => format!("steps lost {} times, first {} at frame {}: {size}", c.times, full_steps(full), c.frame),
        CauseKind::Backlash => format!("{size} between the two directions of travel: backlash"),
        CauseKind::Slip => format!("drifts by {size} over the take: slip"),
    };
    LikelyCause {
        log: log.to_owned(),
        cause: c.kind.name(),
        late_frames: (c.kind == CauseKind::FrameShift).then_some(c.late),
        steps: c.steps,
        units,
        frame: c.frame,
        message,
    }
}
