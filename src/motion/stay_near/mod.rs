//! A curve that stays near samples: few quintic pieces, C2, the least jerk that their knots allow.
//!
//! Units: frames, and the samples' unit. Invariants: knots stand at samples, the first and the last among them; no sample is missed by more than asked; without any one inner knot no curve of such pieces
//! stays near every sample; among the curves over the knots that do, this one has the least integral of jerk squared, to 1e-6 of it. Acceleration is 0 at both ends, so that going straight on (or standing, where
//! the ends are at rest) is C2 as well. Only + - * / and square roots: the same bits everywhere.
//! Limits: knots are few, not fewest; they stand at samples only.

mod active_set;
mod basis;
mod knots;
mod least_jerk;
mod samples;
mod window;
mod work;

use super::quintic::{Node, Quintic};
use samples::Samples;
use work::Work;

/// What the curve does at its ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) enum Ends {
    /// It goes straight on at its end speed.
    #[default]
    Straight,
    /// It starts and stops.
    Rest,
}

/// A curve near samples.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Fit {
    /// Its knots: frame, and what the curve does there. At least two.
    pub nodes: Vec<(f64, Node)>,
    /// Farthest miss of a sample.
    pub worst: f64,
    /// Root of the mean square of all misses.
    pub rms: f64,
    /// What it cost, in multiplications.
    pub(crate) cost: u64,
}

/// Why there is no curve.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum CannotFit {
    /// Fewer than two samples, frames that do not rise, or numbers that are not finite.
    #[error("samples need two or more rising frames and finite values")]
    Malformed,
    /// The allowed miss is so small beside the values that rounding decides.
    #[error("the samples cannot be followed so closely: rounding decides; a larger distance is needed")]
    TooClose,
    /// More work than is allowed: mostly a distance far below the noise of the samples.
    #[error("following {samples} samples so closely would take more than {most} multiplications")]
    TooCostly {
        /// How many samples.
        samples: usize,
        /// What is allowed.
        most: u64,
    },
}

/// The curve near `samples` (frame, value) that misses none by more than `within`, for at most so many multiplications.
///
/// # Errors
/// [`CannotFit`].
pub(crate) fn fit(samples: &[(f64, f64)], within: f64, ends: Ends, most: u64) -> Result<Fit, CannotFit> {
    let work = Work::new(most);
    match near(samples, within, ends, &work) {
        Err(CannotFit::Malformed) => Err(CannotFit::Malformed),
        _ if work.is_used_up() => Err(CannotFit::TooCostly { samples: samples.len(), most }),
        found => found,
    }
}

/// The same; where more was taken than is allowed, whatever was found by then.
fn near(samples: &[(f64, f64)], within: f64, ends: Ends, work: &Work) -> Result<Fit, CannotFit> {
    let (frames, values): (Vec<f64>, Vec<f64>) = samples.iter().copied().unzip();
    let rising = frames.iter().zip(frames.iter().skip(1)).all(|(a, b)| a < b);
    let finite = samples.iter().all(|(f, v)| f.is_finite() && v.is_finite());
    let (Some(first), true, true, true) = (values.first().copied(), within > 0.0 && within.is_finite(), rising, finite) else {
        return Err(CannotFit::Malformed);
    };
    let scaled: Vec<f64> = values.iter().map(|v| (v - first) / within).collect();
    let reduced = Samples::new(&frames, &scaled).ok_or(CannotFit::Malformed)?;
    let (low, high) = scaled.iter().fold((0.0_f64, 0.0_f64), |(l, h), v| (l.min(*v), h.max(*v)));
    let nodes: Vec<(f64, Node)> = if high - low <= 2.0 {
        // A constant is near all of them.
        let middle = first + 0.5 * (low + high) * within;
        let end = |frame: Option<&f64>| frame.map(|f| (*f, Node::rest(middle)));
        [end(frames.first()), end(frames.last())].into_iter().flatten().collect()
    } else {
        let rest = ends == Ends::Rest;
        let chosen = knots::choose(reduced, rest, work).ok_or(CannotFit::TooClose)?;
        let states = least_jerk::least_jerk((reduced, work), &chosen.knots, &chosen.states, rest).ok_or(CannotFit::TooClose)?;
        let node = |[p, v, a]: [f64; 3]| Node { p: first + p * within, v: v * within, a: a * within };
        chosen.knots.iter().zip(states).map(|(k, s)| (reduced.frame(*k), node(s))).collect()
    };
    let (worst, rms) = misses(&nodes, samples);
    if worst <= within { Ok(Fit { nodes, worst, rms, cost: work.used() }) } else { Err(CannotFit::TooClose) }
}

/// Farthest and root mean square miss of the curve over `nodes`.
fn misses(nodes: &[(f64, Node)], samples: &[(f64, f64)]) -> (f64, f64) {
    let (mut worst, mut squares) = (0.0_f64, 0.0);
    let mut left = samples;
    for ((f0, n0), (f1, n1)) in nodes.iter().zip(nodes.iter().skip(1)) {
        let h = f1 - f0;
        let piece = Quintic::between(*n0, *n1, h);
        let here = left.partition_point(|(f, _)| f <= f1);
        for (frame, value) in left.iter().take(here) {
            let miss = (piece.at((frame - f0) / h) - value).abs();
            worst = worst.max(miss);
            squares += miss * miss;
        }
        left = left.get(here..).unwrap_or_default();
    }
    (worst, (squares / (samples.len().max(1)) as f64).sqrt())
}
