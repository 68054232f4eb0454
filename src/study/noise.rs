//! How many drives move more than the noise of the recording.
//!
//! What: where six complete rows follow each other, the fifth divided difference of a drive's position, scaled so that white noise keeps its size, is all but free of motion that is smooth from row to
//! row. A drive counts where the mean square of its position is more than 2 + 100/n times that of these differences, over n rows. 2 is the square of the threshold of M. Gavish and D. L. Donoho,
//! The Optimal Hard Threshold for Singular Values is 4/sqrt(3), IEEE Transactions on Information Theory 60 (2014) 5040, for many more rows than coordinates and known noise; 100/n covers what chance
//! does in short recordings: of 200 of noise alone, 20 to 300 rows of 12 to 120 coordinates, fewer than one in a hundred then shows a drive (own simulation).
//! Limits: noise that is smooth, as after a filter, counts as motion; motion that changes within two rows counts as noise.

use super::drives::Drives;
use crate::number::whole;

/// Rows of a difference.
const SPAN: usize = 6;

/// Fewest differences from which the noise is taken.
const FEWEST: usize = 3;

/// Below this share of the first drive a further one is rounding.
const ROUNDING: f64 = 1e-9;

/// A drive that moves less, mm, does not move: numbers leave rounded to a millionth.
const STILL: f64 = 1e-6;

/// Differences of the complete rows that follow each other.
#[derive(Debug, Clone)]
pub(crate) struct Noise {
    /// First row of each difference, among the complete ones, and its weights.
    windows: Vec<(usize, [f64; SPAN])>,
    /// Mean square of a series over that of its differences from which it moves.
    threshold: f64,
}

impl Noise {
    /// `rows`: indices of the complete rows among all, `times`: of all rows; `None` where too few complete rows follow each other.
    pub(crate) fn of(rows: &[usize], times: &[f64]) -> Option<Noise> {
        let windows: Vec<(usize, [f64; SPAN])> =
            rows.windows(SPAN).enumerate().filter_map(|(i, w)| Some((i, weights(w, times)?))).collect();
        (windows.len() >= FEWEST).then(|| Noise { windows, threshold: 2.0 + 100.0 / whole::count(rows.len()) })
    }

    /// True where a quantity over the complete rows, given by its components and of this mean square, is more than its noise.
    pub(crate) fn is_exceeded(&self, components: &[Vec<f64>], mean_square: f64) -> bool {
        mean_square > self.threshold * components.iter().map(|c| self.square(c)).sum::<f64>()
    }

    /// Mean square of the noise of a series.
    fn square(&self, series: &[f64]) -> f64 {
        let differences = self.windows.iter().map(|(from, weights)| {
            let d: f64 = weights.iter().zip(series.get(*from..).unwrap_or_default()).map(|(w, x)| w * x).sum();
            d * d
        });
        differences.sum::<f64>() / whole::count(self.windows.len())
    }
}

/// Drives that move more than the noise; `None` where that is not known.
pub(crate) fn rank(drives: &Drives, noise: Option<&Noise>) -> Option<usize> {
    let noise = noise?;
    let largest = (0..drives.count()).map(|d| drives.rms(d)).fold(0.0, f64::max);
    let is_motion = |drive: &usize| {
        let column: Vec<f64> = drives.positions.column(*drive).iter().copied().collect();
        let rms = drives.rms(*drive);
        rms > STILL && rms > ROUNDING * largest && noise.is_exceeded(&[column], rms * rms)
    };
    Some((0..drives.count()).filter(is_motion).count())
}

/// Weights of the fifth divided difference, of length one; `None` where the rows do not follow each other.
fn weights(rows: &[usize], times: &[f64]) -> Option<[f64; SPAN]> {
    let (first, last) = (rows.first()?, rows.last()?);
    if last - first + 1 != SPAN {
        return None;
    }
    let t = times.get(*first..=*last)?;
    let mut weights = [0.0; SPAN];
    for (i, (weight, here)) in weights.iter_mut().zip(t).enumerate() {
        let others = t.iter().enumerate().filter(|(j, _)| *j != i);
        *weight = 1.0 / others.map(|(_, other)| here - other).product::<f64>();
    }
    let length = weights.iter().map(|w| w * w).sum::<f64>().sqrt();
    (length.is_finite() && length > 0.0).then(|| weights.map(|w| w / length))
}
