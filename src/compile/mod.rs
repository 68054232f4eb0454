//! From a checked stage and shot to the move: one curve an axis, in frame time.
//!
//! Invariant: every axis's curve covers run-up, photographed span and run-down without a gap; passes share it and differ only in their clock. From
//! here on these pieces are the command: checks, columns and pictures all read them.

pub mod ends;
pub mod fit;
pub mod place;

use rayon::prelude::*;

use crate::motion::curve::{Curve, CurveBuilder};
use crate::motion::quintic::Node;
use crate::motion::{Peaks, Quintic};
use crate::number::whole;
use crate::shot::{Exposure, Shot};
use crate::signal::{AxisSignal, Layers};
use crate::stage::{Axis, ChannelId, Stage};

pub use ends::Edge;
pub use fit::{Break, FitError, Tolerance};

/// What is known of one axis's motion.
#[derive(Debug, Clone)]
pub struct AxisMove {
    curve: Curve,
    photographed: core::ops::Range<usize>,
    peaks: Peaks,
    breaks: Vec<Break>,
}

/// The compiled shot: one curve an axis, in stage order.
#[derive(Debug, Clone)]
pub struct Move {
    axes: Vec<AxisMove>,
    run_up: u32,
    run_down: u32,
    no_room: Vec<NoRoom>,
}

/// An axis that cannot come from rest into the shot, or to rest after it, in any whole number of frames tried.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NoRoom {
    /// Index of the axis.
    pub axis: usize,
    /// Which edge.
    pub edge: Edge,
}

/// Why a shot could not be compiled.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("channel `{channel}`: {error}")]
pub struct CompileError {
    /// Full name of the channel.
    pub channel: String,
    /// What went wrong.
    pub error: FitError,
}

/// Longest run-up or run-down tried, frames.
pub const LONGEST_RUN: u32 = 4096;

impl AxisMove {
    /// The whole curve: run-up, photographed span, run-down.
    #[must_use]
    pub fn curve(&self) -> &Curve {
        &self.curve
    }

    /// Indices of the pieces of the photographed span.
    #[must_use]
    pub fn photographed(&self) -> core::ops::Range<usize> {
        self.photographed.clone()
    }

    /// Extremes over the photographed span. Units: unit, unit/frame^k.
    #[must_use]
    pub fn peaks(&self) -> &Peaks {
        &self.peaks
    }

    /// Extremes over the run-up or run-down; `None` where there is none.
    #[must_use]
    pub fn edge_peaks(&self, edge: Edge) -> Option<Peaks> {
        let range = match edge {
            Edge::RunUp => 0..self.photographed.start,
            Edge::RunDown => self.photographed.end..self.curve.len(),
        };
        Peaks::of(&self.curve, range)
    }

    /// Steps in acceleration.
    #[must_use]
    pub fn breaks(&self) -> &[Break] {
        &self.breaks
    }

    /// True where the axis stands still throughout the photographed span.
    #[must_use]
    pub fn never_moves(&self) -> bool {
        self.curve.pieces().skip(self.photographed.start).take(self.photographed.len()).all(|p| p.quintic.is_hold())
            && self.peaks.least.value == self.peaks.greatest.value
    }
}

impl Move {
    /// Compiles `shot` for `stage`.
    ///
    /// # Errors
    /// Every channel whose curve cannot be computed.
    pub fn compile(stage: &Stage, shot: &Shot) -> Result<Move, Vec<CompileError>> {
        let named = |channel: ChannelId, error: FitError| CompileError { channel: stage.channel_name(channel).to_owned(), error };
        let layers = Layers::of(shot).map_err(|(c, e)| vec![named(c, e.into())])?;
        let indexed: Vec<(usize, &Axis)> = stage.axes().iter().enumerate().collect();
        let results: Vec<Result<Shown, CompileError>> = indexed
            .par_iter()
            .with_min_len(16)
            .map(|(i, axis)| photographed(stage, shot, &layers, *i, axis).map_err(|e| named(ChannelId(*i), e)))
            .collect();
        let mut shown = Vec::with_capacity(results.len());
        let mut errors = Vec::new();
        for result in results {
            match result {
                Ok(s) => shown.push(s),
                Err(e) => errors.push(e),
            }
        }
        if !errors.is_empty() {
            return Err(errors);
        }
        let (run_up, stuck_up) = run(stage, shot, &shown, Edge::RunUp);
        let (run_down, stuck_down) = run(stage, shot, &shown, Edge::RunDown);
        let no_room = stuck_up.into_iter().chain(stuck_down).collect();
        let mut axes = Vec::with_capacity(shown.len());
        for (i, s) in shown.into_iter().enumerate() {
            axes.push(s.whole(run_up, run_down).map_err(|e| vec![named(ChannelId(i), e)])?);
        }
        Ok(Move { axes, run_up, run_down, no_room })
    }

    /// Compiles one axis alone, over the photographed span: how advice is tried. Run-up and run-down are those of `self`.
    ///
    /// # Errors
    /// A curve that cannot be computed.
    pub fn axis_again(&self, stage: &Stage, shot: &Shot, axis: usize) -> Result<AxisMove, FitError> {
        let layers = Layers::of(shot).map_err(|(_, e)| e)?;
        let Some(a) = stage.axes().get(axis) else { return Err(FitError::NotFinite { at: f64::NAN }) };
        photographed(stage, shot, &layers, axis, a)?.whole(self.run_up, self.run_down)
    }

    /// Curves of any clock as a move, one an axis in stage order: how a way that is no part of the shot is looked at by the checks.
    /// `None` where a curve's extremes cannot be told.
    #[must_use]
    pub fn along(curves: Vec<Curve>) -> Option<Move> {
        let whole = |curve: Curve| {
            let photographed = 0..curve.len();
            Some(AxisMove { peaks: Peaks::of(&curve, photographed.clone())?, curve, photographed, breaks: Vec::new() })
        };
        let axes = curves.into_iter().map(whole).collect::<Option<Vec<_>>>()?;
        Some(Move { axes, run_up: 0, run_down: 0, no_room: Vec::new() })
    }

    /// Axes in stage order.
    #[must_use]
    pub fn axes(&self) -> &[AxisMove] {
        &self.axes
    }

    /// Frames of the run-up; 0 where everything rests at the first exposure.
    #[must_use]
    pub fn run_up(&self) -> u32 {
        self.run_up
    }

    /// Frames of the run-down.
    #[must_use]
    pub fn run_down(&self) -> u32 {
        self.run_down
    }

    /// Axes that cannot come from rest into the shot or to rest after it.
    #[must_use]
    pub fn no_room(&self) -> &[NoRoom] {
        &self.no_room
    }
}

/// The curve of the photographed span alone.
struct Shown {
    curve: Curve,
    peaks: Peaks,
    breaks: Vec<Break>,
}

impl Shown {
    fn node(&self, edge: Edge) -> Node {
        let (piece, u) = match edge {
            Edge::RunUp => (self.curve.piece(0), 0.0),
            Edge::RunDown => (self.curve.piece(self.curve.len() - 1), 1.0),
        };
        piece.map_or(Node::default(), |p| p.quintic.jet(u, p.length()).into())
    }

    fn whole(self, run_up: u32, run_down: u32) -> Result<AxisMove, FitError> {
        let before = usize::from(run_up > 0);
        let n = self.curve.len();
        if run_up == 0 && run_down == 0 {
            return Ok(AxisMove { curve: self.curve, photographed: 0..n, peaks: self.peaks, breaks: self.breaks });
        }
        let (start, end) = (self.curve.start(), self.curve.end());
        let (up, down) = (f64::from(run_up), f64::from(run_down));
        let mut whole = CurveBuilder::starting_at(start - up, n + 2);
        if run_up > 0 {
            whole.push(start, ends::piece(Edge::RunUp, self.node(Edge::RunUp), up));
        }
        for piece in self.curve.pieces() {
            whole.push(piece.end, *piece.quintic);
        }
        if run_down > 0 {
            whole.push(end + down, ends::piece(Edge::RunDown, self.node(Edge::RunDown), down));
        }
        Ok(AxisMove { curve: whole.finish()?, photographed: before..before + n, peaks: self.peaks, breaks: self.breaks })
    }
}

fn photographed(stage: &Stage, shot: &Shot, layers: &Layers, index: usize, axis: &Axis) -> Result<Shown, FitError> {
    let (from, to) = shot.frames().photographed();
    let signal = AxisSignal::of(stage, shot, layers, index)?;
    let tolerance = tolerance(shot, axis, &signal, from, to)?;
    within_a_layer(&signal, from, to)?;
    let (curve, breaks) = fit::curve(&signal, from, to, &tolerance)?;
    let peaks = Peaks::of(&curve, 0..curve.len()).ok_or(FitError::NotFinite { at: from })?;
    Ok(Shown { curve, peaks, breaks })
}

/// A drum's speed jumps where its rope passes to another layer: nothing may be fitted across, so a move that crosses is refused.
fn within_a_layer(signal: &AxisSignal<'_>, from: f64, to: f64) -> Result<(), FitError> {
    let Some((height, changes)) = signal.layered() else { return Ok(()) };
    // The height's own curve tells its extremes exactly; a wide tolerance in its derivatives asks for no needless pieces.
    let wide = Tolerance { position: 1e-3, velocity: f64::MAX, acceleration: f64::MAX, jerk: f64::MAX };
    let (curve, _) = fit::curve(&AxisSignal::Own(height.clone()), from, to, &wide)?;
    let peaks = Peaks::of(&curve, 0..curve.len()).ok_or(FitError::NotFinite { at: from })?;
    match changes.iter().find(|h| peaks.least.value < **h && **h < peaks.greatest.value) {
        Some(height) => Err(FitError::OutOfReach { at: peaks.greatest.at, error: crate::signal::NoPlace::LayerChange { height: *height } }),
        None => Ok(()),
    }
}

/// How many times too fast an axis may be for its fit to follow its limits down: what is further over them is over all the same, and fitted
/// to a thousandth of itself, so that a limit next to nothing does not cost pieces without end.
const FAR_OVER: f64 = 32.0;

/// A sixteenth of a step, and a thousandth of the axis's limits at the fastest pace that matters: that of the fastest moving pass,
/// or the pace at which the axis itself would be at a limit, whichever is faster.
fn tolerance(shot: &Shot, axis: &Axis, signal: &AxisSignal<'_>, from: f64, to: f64) -> Result<Tolerance, FitError> {
    let limits = axis.limits();
    let mut pace = shot.passes().iter().map(|p| p.pace().get()).fold(f64::INFINITY, f64::min);
    if signal.as_keyed().is_none() && signal.at_rest().is_none() {
        let knots = signal.knots(from, to)?;
        let mut own: f64 = 0.0;
        for (a, b) in knots.iter().zip(knots.iter().skip(1)) {
            let branch = 0.5 * (a.at + b.at);
            for t in [a.at, 0.5 * (a.at + branch), branch, 0.5 * (branch + b.at), b.at] {
                let j = signal.jet(t, branch);
                // Layers that cancel leave rounding: no pace is asked of what stands.
                if ends::stands(Node { p: j.p, v: j.v, a: j.a }, axis.drive().steps_per_unit()) {
                    continue;
                }
                own = own.max(pace_at(j.v, j.a, j.j, limits.velocity, limits.acceleration, limits.jerk));
            }
        }
        if own > 0.0 {
            pace = pace.min(own).max(own / FAR_OVER);
        }
    }
    Ok(Tolerance {
        position: 1.0 / (16.0 * axis.drive().steps_per_unit()),
        velocity: limits.velocity * pace / 1000.0,
        acceleration: limits.acceleration * pace * pace / 1000.0,
        jerk: limits.jerk * pace * pace * pace / 1000.0,
    })
}

/// Seconds a frame at which a velocity, an acceleration and a jerk (per frame^k) are within limits (per s^k): time scaling is exact.
#[must_use]
pub fn pace_at(v: f64, a: f64, j: f64, velocity: f64, acceleration: f64, jerk: f64) -> f64 {
    (v.abs() / velocity).max((a.abs() / acceleration).sqrt()).max(crate::number::elementary::cbrt(j.abs() / jerk))
}

/// The length of run-up or run-down, and the axes for which there is none.
fn run(stage: &Stage, shot: &Shot, shown: &[Shown], edge: Edge) -> (u32, Vec<NoRoom>) {
    let moving: Vec<(usize, Node, f64)> = shown
        .iter()
        .enumerate()
        .filter_map(|(i, s)| {
            let axis = stage.axes().get(i)?;
            let pace = shot
                .passes()
                .iter()
                .filter(|p| p.exposure() == Exposure::Moving && !p.parks(stage, i))
                .map(|p| p.pace().get())
                .fold(f64::INFINITY, f64::min);
            let node = s.node(edge);
            (pace.is_finite() && !ends::stands(node, axis.drive().steps_per_unit())).then_some((i, node, pace))
        })
        .collect();
    if moving.is_empty() {
        return (0, Vec::new());
    }
    let can = |k: usize, frames: u32| match moving.get(k) {
        Some((i, node, pace)) => stage.axes().get(*i).is_some_and(|axis| can_run(axis, edge, *node, frames, *pace)),
        None => true,
    };
    let (frames, stuck) = ends::shortest(moving.len(), LONGEST_RUN, &can);
    let stuck = stuck.into_iter().filter_map(|k| moving.get(k).map(|(i, ..)| NoRoom { axis: *i, edge })).collect();
    (frames, stuck)
}

/// True where the axis can do the run-up or run-down of this length within its limits and travel at this pace.
#[must_use]
pub fn can_run(axis: &Axis, edge: Edge, node: Node, frames: u32, pace: f64) -> bool {
    let h = f64::from(frames);
    let quintic: Quintic = ends::piece(edge, node, h);
    let piece = crate::motion::curve::Piece { index: 0, start: 0.0, end: h, quintic: &quintic };
    let peaks = Peaks::of_piece(&piece);
    within(axis, &peaks, pace)
}

/// A peak is over its limit when it is over it by more than 1e-9 of it.
///
/// Peaks are computed to a few 2^-50 of the piece's coefficients and paces to 2^-52, cubed; 1e-9 is a thousand times that and
/// far below what any motor can tell.
pub const SLACK: f64 = 1e-9;

/// True where peaks (per frame^k) keep travel and limits at this pace (seconds a frame).
#[must_use]
pub fn within(axis: &Axis, peaks: &Peaks, pace: f64) -> bool {
    let (l, travel) = (axis.limits(), axis.travel());
    let over = 1.0 + SLACK;
    let room = SLACK * (travel.upper - travel.lower);
    peaks.velocity.value / pace <= l.velocity * over
        && peaks.acceleration.value / (pace * pace) <= l.acceleration * over
        && peaks.jerk.value / (pace * pace * pace) <= l.jerk * over
        && l.step_rate.is_none_or(|r| peaks.velocity.value * axis.drive().steps_per_unit() / pace <= r * over)
        && travel.lower - room <= peaks.least.value
        && peaks.greatest.value <= travel.upper + room
}

/// The frames of a shot as frame times, for reading curves at mid-exposure.
#[must_use]
pub fn frame_time(frame: i64) -> f64 {
    whole::real(frame)
}
