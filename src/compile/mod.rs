//! From a checked stage and shot to the move: one curve for each axis, in frame time.
//!
//! Invariant: every axis's curve covers run-up, photographed span and run-down without a gap; passes share it and differ only in their clock. From
//! here on these pieces are the command: checks, columns and pictures all read them.

mod axis_move;
mod blame;
mod compiled;
mod counts;
mod displaced;
pub(crate) mod ends;
mod entry;
mod error;
pub(crate) mod fit;
mod pendulum;
pub(crate) mod place;
mod run;
pub(crate) mod tolerance;

use std::collections::BTreeSet;

use rayon::prelude::*;

use axis_move::Shown;
use fit::{Costs, Fitted};

use crate::bounds::{Effort, Meter};
use crate::motion::Peaks;
use crate::motion::quintic::Node;
use crate::number::whole;
use crate::shot::Shot;
use crate::signal::{AxisSignal, Layers, NoPlace};
use crate::stage::{AxisId, PerAxis, Stage};

pub(crate) use axis_move::AxisMove;
pub use compiled::Compiled;
pub(crate) use counts::Counts;
pub(crate) use ends::Edge;
pub(crate) use ends::Known;
pub(crate) use entry::{Direction, Entry};
pub(crate) use error::CompileError;
pub(crate) use fit::{Coarse, FitError};
pub(crate) use run::{LONGEST_RUN, NoRoom};
pub(crate) use run::{Runners, Runs, fastest_pace};
pub(crate) use tolerance::Tolerance;

/// Pieces below which the calling thread works alone: some milliseconds of fitting, a fraction of one otherwise. On a busy machine other threads
/// may begin later than that.
pub(crate) const WORTH_A_THREAD: usize = 1024;

/// The curves of a shot, one for each axis.
#[derive(Debug)]
pub(crate) struct Move {
    axes: PerAxis<AxisMove>,
    run_up: u32,
    run_down: u32,
    no_room: Vec<NoRoom>,
}

/// What curves are made from, and what making them may cost.
#[derive(Clone, Copy)]
struct Basis<'a> {
    stage: &'a Stage,
    shot: &'a Shot,
    layers: &'a Layers,
    costs: Costs<'a>,
    /// A shot before this one on an equal stage, with the same frames: what is as it was there is not computed again.
    before: Option<&'a AsBefore<'a>>,
}

/// The photographed span of an axis where its signal is as it was.
type AsBefore<'a> = dyn Fn(AxisId, &AxisSignal<'_>) -> Option<Shown> + Sync + 'a;

/// What an axis costs in a trial that keeps its curve, beside the pieces: run-up and run-down are chosen for all axes, and the passes planned anew.
const KEPT: usize = 4;

impl Move {
    /// Compiles every axis.
    fn compile(basis: Basis<'_>, again: &Meter) -> Result<Move, Vec<CompileError>> {
        let ids: Vec<AxisId> = basis.stage.axis_ids().collect();
        let (alone, results) = basis.photographed_all(&ids);
        let ends = |r: &Result<Shown, FitError>| matches!(r, Err(FitError::TooCostly { .. }));
        let mut shown = Vec::with_capacity(results.len());
        let mut errors = Vec::new();
        match results.iter().position(ends) {
            // What came before it was computed one after the other: it would be the same again.
            Some(first) if first < alone => {
                errors.extend(ids.iter().zip(results).take(first + 1).filter_map(|(id, r)| Some(basis.error(*id, r.err()?))));
                return Err(error::folded(errors));
            }
            Some(_) => {
                // Which axis comes too late depends on which came first. One after the other it is always the same.
                let basis = Basis { costs: Costs { meter: again, ..basis.costs }, ..basis };
                for id in ids {
                    let result = basis.photographed(id);
                    let ends = ends(&result);
                    errors.extend(result.err().map(|e| basis.error(id, e)));
                    if ends {
                        break;
                    }
                }
                return Err(error::folded(errors));
            }
            None => {}
        }
        for (id, result) in ids.into_iter().zip(results) {
            match result {
                Ok(s) => shown.push((id, s)),
                Err(e) => errors.push(basis.error(id, e)),
            }
        }
        if !errors.is_empty() {
            blame::add(&mut errors, (basis.stage, basis.shot, basis.layers), &shown);
            return Err(error::folded(errors));
        }
        Move::put_together(basis, shown.into_iter().map(|(_, s)| s).collect())
    }

    /// The same curves for other passes: run-up and run-down are chosen anew.
    fn for_passes(&self, basis: Basis<'_>) -> Result<Move, Vec<CompileError>> {
        Move::put_together(basis, self.axes.iter().map(AxisMove::shown).collect())
    }

    /// Adds run-up and run-down to the photographed spans, one for each axis in stage order.
    fn put_together(basis: Basis<'_>, shown: Vec<Shown>) -> Result<Move, Vec<CompileError>> {
        let Basis { stage, shot, .. } = basis;
        let nodes: Vec<[Node; 2]> = shown.iter().map(|s| [s.node(Edge::RunUp), s.node(Edge::RunDown)]).collect();
        let Runs { frames: [run_up, run_down], no_room, cost } =
            Runners::new(stage, nodes).runs(&|id| fastest_pace(stage, shot.passes().iter(), id), [Known::NOTHING; 2]);
        // Of the shot itself they are chosen once; trials do it again and again.
        if basis.costs.places == Effort::Trials {
            basis.costs.meter.spent(Effort::Trials, cost);
        }
        let mut rest = shown.into_iter();
        let axes = PerAxis::try_new(stage, |id| {
            let shown = rest.next().ok_or(FitError::NotFinite { at: 0.0 });
            shown.and_then(|s| s.whole(run_up, run_down)).map_err(|e| vec![basis.error(id, e)])
        })?;
        Ok(Move { axes, run_up, run_down, no_room })
    }

    /// Compiles some axes of another shot anew; the others keep their curves. Run-up and run-down are chosen for all. `None` where the first does not pass `may`.
    fn with_axes_again(&self, basis: Basis<'_>, axes: &[AxisId], may: &dyn Fn(&Peaks) -> bool) -> Result<Option<Move>, Vec<CompileError>> {
        let again = |id: AxisId| basis.photographed(id).map_err(|e| vec![basis.error(id, e)]);
        let mut first = axes.first().map(|id| again(*id).map(|shown| (*id, shown))).transpose()?;
        if first.as_ref().is_some_and(|(_, shown)| !may(&shown.peaks)) {
            return Ok(None);
        }
        // The other curves are copied and put together again.
        let copied = self.axes.iter().map(|m| KEPT + m.curve.len()).sum();
        if let (Some(id), Err(e)) = (axes.first(), basis.costs.spend(basis.costs.pieces, copied, 0.0)) {
            return Err(vec![basis.error(*id, e)]);
        }
        let axes: BTreeSet<AxisId> = axes.iter().copied().collect();
        let mut shown = Vec::with_capacity(self.axes.len());
        for (id, m) in basis.stage.axis_ids().zip(self.axes.iter()) {
            shown.push(match first.take_if(|(known, _)| *known == id) {
                Some((_, known)) => known,
                None if axes.contains(&id) => again(id)?,
                None => m.shown(),
            });
        }
        Move::put_together(basis, shown).map(Some)
    }
}

impl Basis<'_> {
    fn error(&self, id: AxisId, error: FitError) -> CompileError {
        CompileError::axis(self.stage, self.shot, self.layers, id, error)
    }

    /// Every axis, in order, and how many of them were made on the calling thread, one after the other, as the first pieces are.
    fn photographed_all(&self, ids: &[AxisId]) -> (usize, Vec<Result<Shown, FitError>>) {
        let mut results = Vec::with_capacity(ids.len());
        let (mut rest, mut pieces) = (ids, 0);
        while let [id, others @ ..] = rest
            && pieces < WORTH_A_THREAD
        {
            let shown = self.photographed(*id);
            pieces += shown.as_ref().map_or(WORTH_A_THREAD, |s| s.curve.len());
            results.push(shown);
            rest = others;
        }
        let alone = results.len();
        results.par_extend(rest.par_iter().with_min_len(16).map(|id| self.photographed(*id)));
        (alone, results)
    }

    fn photographed(&self, id: AxisId) -> Result<Shown, FitError> {
        let (from, to) = self.shot.frames().photographed();
        let signal = AxisSignal::of(self.stage, self.shot, self.layers, id)?;
        if let Some(known) = self.before.and_then(|known| known(id, &signal)) {
            return Ok(known);
        }
        self.within_a_layer(&signal, from, to)?;
        let tolerance = tolerance::AtOwnPace::of(self.stage.axis(id));
        let Fitted { curve, breaks, coarse } = fit::curve(&signal, from, to, &tolerance, &self.costs)?;
        let peaks = Peaks::of(&curve, 0..curve.len()).ok_or(FitError::NotFinite { at: from })?;
        if let Some((at, error)) = signal.too_near([peaks.least, peaks.greatest]) {
            return Err(FitError::OutOfReach { at, error });
        }
        Ok(Shown { curve, peaks, breaks, coarse })
    }

    /// A drum's speed jumps where its rope passes to another layer: nothing may be fitted across, so a move that crosses is refused.
    fn within_a_layer(&self, signal: &AxisSignal<'_>, from: f64, to: f64) -> Result<(), FitError> {
        let Some((height, changes)) = signal.layered() else { return Ok(()) };
        // The height's own curve gives its extremes exactly; a wide tolerance in its derivatives asks for no needless pieces.
        let wide = Tolerance { position: 1e-3, velocity: f64::MAX, acceleration: f64::MAX, jerk: f64::MAX };
        let Fitted { curve, .. } = fit::curve(&AxisSignal::Own(height.clone()), from, to, &wide, &self.costs)?;
        let peaks = Peaks::of(&curve, 0..curve.len()).ok_or(FitError::NotFinite { at: from })?;
        match changes.iter().find(|h| peaks.least.value < **h && **h < peaks.greatest.value) {
            Some(height) => Err(FitError::OutOfReach { at: peaks.greatest.at, error: NoPlace::LayerChange { height: *height } }),
            None => Ok(()),
        }
    }
}

/// The frames of a shot as frame times, for reading curves at mid-exposure.
#[must_use]
pub(crate) fn frame_time(frame: i64) -> f64 {
    whole::real(frame)
}
