//! From a checked stage and shot to the move: one curve for each axis, in frame time.
//!
//! Invariant: every axis's curve covers run-up, photographed span and run-down without a gap; passes share it and differ only in their clock. From
//! here on these pieces are the command: checks, columns and pictures all read them.

mod axis_move;
mod compiled;
pub mod ends;
mod error;
pub mod fit;
pub mod place;
mod run;
pub mod tolerance;

use rayon::prelude::*;

use axis_move::Shown;
use fit::Fitted;

use crate::motion::Peaks;
use crate::motion::quintic::Node;
use crate::number::whole;
use crate::shot::Shot;
use crate::signal::{AxisSignal, Layers};
use crate::stage::{AxisId, PerAxis, Stage};

pub use axis_move::AxisMove;
pub use compiled::Compiled;
pub use ends::Edge;
pub(crate) use ends::Known;
pub use error::CompileError;
pub use fit::{Break, Coarse, FitError};
pub use run::{LONGEST_RUN, NoRoom};
pub(crate) use run::{Runners, Runs, fastest_pace};
pub use tolerance::{Tolerance, pace_at};

/// The curves of a shot, one for each axis.
#[derive(Debug)]
pub(crate) struct Move {
    axes: PerAxis<AxisMove>,
    run_up: u32,
    run_down: u32,
    no_room: Vec<NoRoom>,
}

impl Move {
    /// Compiles `shot` for `stage`, which it belongs to.
    fn compile(stage: &Stage, shot: &Shot) -> Result<Move, Vec<CompileError>> {
        let layers = Layers::of(shot).map_err(|(c, e)| vec![CompileError::layer(stage, shot, c, e)])?;
        let ids: Vec<AxisId> = stage.axis_ids().collect();
        let results: Vec<Result<Shown, CompileError>> = ids
            .par_iter()
            .with_min_len(16)
            .map(|id| photographed(stage, shot, &layers, *id).map_err(|e| CompileError::axis(stage, shot, *id, e)))
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
            return Err(error::folded(errors));
        }
        Move::put_together(stage, shot, shown)
    }

    /// The same curves for other passes: run-up and run-down are chosen anew.
    fn for_passes(&self, stage: &Stage, shot: &Shot) -> Result<Move, Vec<CompileError>> {
        Move::put_together(stage, shot, self.axes.iter().map(AxisMove::shown).collect())
    }

    /// Adds run-up and run-down to the photographed spans, one for each axis in stage order.
    fn put_together(stage: &Stage, shot: &Shot, shown: Vec<Shown>) -> Result<Move, Vec<CompileError>> {
        let nodes: Vec<[Node; 2]> = shown.iter().map(|s| [s.node(Edge::RunUp), s.node(Edge::RunDown)]).collect();
        let Runs { frames: [run_up, run_down], no_room } =
            Runners::new(stage, nodes).runs(&|id| fastest_pace(stage, shot.passes().iter(), id), [Known::NOTHING; 2]);
        let mut rest = shown.into_iter();
        let axes = PerAxis::try_new(stage, |id| {
            let shown = rest.next().ok_or(FitError::NotFinite { at: 0.0 });
            shown.and_then(|s| s.whole(run_up, run_down)).map_err(|e| vec![CompileError::axis(stage, shot, id, e)])
        })?;
        Ok(Move { axes, run_up, run_down, no_room })
    }

    /// Compiles some axes of another shot anew; the others keep their curves. Run-up and run-down are chosen for all.
    fn with_axes_again(&self, stage: &Stage, shot: &Shot, axes: &[AxisId]) -> Result<Move, Vec<CompileError>> {
        let layers = Layers::of(shot).map_err(|(c, e)| vec![CompileError::layer(stage, shot, c, e)])?;
        let again = |id: AxisId| photographed(stage, shot, &layers, id).map_err(|e| vec![CompileError::axis(stage, shot, id, e)]);
        let known = stage.axis_ids().zip(self.axes.iter());
        let shown: Result<Vec<Shown>, _> = known.map(|(id, m)| if axes.contains(&id) { again(id) } else { Ok(m.shown()) }).collect();
        Move::put_together(stage, shot, shown?)
    }
}

fn photographed(stage: &Stage, shot: &Shot, layers: &Layers, id: AxisId) -> Result<Shown, FitError> {
    let (from, to) = shot.frames().photographed();
    let signal = AxisSignal::of(stage, shot, layers, id)?;
    within_a_layer(&signal, from, to)?;
    let Fitted { curve, breaks, coarse } = fit::curve(&signal, from, to, &tolerance::AtOwnPace::of(stage.axis(id)))?;
    let peaks = Peaks::of(&curve, 0..curve.len()).ok_or(FitError::NotFinite { at: from })?;
    Ok(Shown { curve, peaks, breaks, coarse })
}

/// A drum's speed jumps where its rope passes to another layer: nothing may be fitted across, so a move that crosses is refused.
fn within_a_layer(signal: &AxisSignal<'_>, from: f64, to: f64) -> Result<(), FitError> {
    let Some((height, changes)) = signal.layered() else { return Ok(()) };
    // The height's own curve tells its extremes exactly; a wide tolerance in its derivatives asks for no needless pieces.
    let wide = Tolerance { position: 1e-3, velocity: f64::MAX, acceleration: f64::MAX, jerk: f64::MAX };
    let Fitted { curve, .. } = fit::curve(&AxisSignal::Own(height.clone()), from, to, &wide)?;
    let peaks = Peaks::of(&curve, 0..curve.len()).ok_or(FitError::NotFinite { at: from })?;
    match changes.iter().find(|h| peaks.least.value < **h && **h < peaks.greatest.value) {
        Some(height) => Err(FitError::OutOfReach { at: peaks.greatest.at, error: crate::signal::NoPlace::LayerChange { height: *height } }),
        None => Ok(()),
    }
}

/// The frames of a shot as frame times, for reading curves at mid-exposure.
#[must_use]
pub fn frame_time(frame: i64) -> f64 {
    whole::real(frame)
}
