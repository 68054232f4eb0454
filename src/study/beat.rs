//! The mean beat: what every beat of a recording has in common, as a periodic cubic spline for each drive.
//!
//! What: least squares over the rows, each at its place within the beat; uniform cubic B-splines that close over the beat (C. de Boor, A Practical Guide to Splines, 1978), given as their values
//! at the knots: the one periodic cubic spline through these values is the same curve, and that is what a `[[cycle]]` is. Invariant: a fit is refused where rows are too few for its keys.

use nalgebra::DMatrix;

use super::drives::Drives;
use crate::number::whole;

/// Periods that are tried on the way to the best.
const STEPS: usize = 40;

/// Share of a section that is kept at each step: the golden ratio.
const KEPT: f64 = 0.618_033_988_749_894_8;

/// The mean beat of the leading drives.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Beat {
    /// A column of B-spline coefficients for each drive.
    coefficients: DMatrix<f64>,
}

/// Rows with their places within the beat, 0 to 1.
#[derive(Debug, Clone)]
pub(crate) struct Phases {
    /// Index of each row among those of the drives.
    pub(crate) rows: Vec<usize>,
    /// Beats since the first row of all.
    pub(crate) beats: Vec<f64>,
}

impl Phases {
    /// All rows at these times, for a period.
    pub(crate) fn of(times: &[f64], period: f64) -> Phases {
        let first = times.first().copied().unwrap_or(0.0);
        Phases { rows: (0..times.len()).collect(), beats: times.iter().map(|t| (t - first) / period).collect() }
    }

    /// The rows of every second beat: the first, third, and so on, or the others.
    pub(crate) fn alternate(&self, first: bool) -> Phases {
        let both = self.rows.iter().zip(&self.beats);
        let is_even = |beat: f64| (0.5 * beat.floor()).fract() == 0.0;
        let (rows, beats) = both.filter(|(_, beat)| is_even(**beat) == first).map(|(row, beat)| (*row, *beat)).unzip();
        Phases { rows, beats }
    }
}

impl Beat {
    /// The mean beat with so many keys; `None` where the rows leave some of them open.
    pub(crate) fn fit(drives: &Drives, leading: usize, phases: &Phases, keys: usize) -> Option<Beat> {
        if keys < 4 || phases.rows.len() < 2 * keys {
            return None;
        }
        let mut squares = DMatrix::zeros(keys, keys);
        let mut sums = DMatrix::zeros(keys, leading);
        for (row, beat) in phases.rows.iter().zip(&phases.beats) {
            let shares = shares(*beat, keys)?;
            for (i, a) in shares {
                for (j, b) in shares {
                    *squares.get_mut((i, j))? += a * b;
                }
                for drive in 0..leading {
                    *sums.get_mut((i, drive))? += a * drives.at(*row, drive);
                }
            }
        }
        // A key that hardly any row holds would be free to go anywhere.
        let least = squares.diagonal().min();
        let usual = squares.trace() / whole::count(keys);
        if !(least >= 0.05 * usual) {
            return None;
        }
        Some(Beat { coefficients: squares.cholesky()?.solve(&sums) })
    }

    /// Position of a drive at a place in the beat.
    pub(crate) fn at(&self, drive: usize, beat: f64) -> f64 {
        let keys = self.coefficients.nrows();
        let at = |(key, share): (usize, f64)| share * self.coefficients.get((key, drive)).copied().unwrap_or(f64::NAN);
        shares(beat, keys).map_or(f64::NAN, |shares| shares.into_iter().map(at).sum())
    }

    /// Beat and value of each key of a drive.
    pub(crate) fn keys(&self, drive: usize) -> Vec<(f64, f64)> {
        let n = self.coefficients.nrows();
        let beat = |key: usize| whole::count(key) / whole::count(n);
        (0..n).map(|key| (beat(key), self.at(drive, beat(key)))).collect()
    }

    /// Sum of squares that the beat misses.
    fn missed(&self, drives: &Drives, leading: usize, phases: &Phases) -> f64 {
        let of = |(row, beat): (&usize, &f64)| -> f64 {
            let off = (0..leading).map(|d| drives.at(*row, d) - self.at(d, *beat));
            off.map(|x| x * x).sum()
        };
        phases.rows.iter().zip(&phases.beats).map(of).sum()
    }
}

/// The period near `period` at which the beats are most alike: a golden section over a tenth of a beat to either side at the last beat.
pub(crate) fn refined(drives: &Drives, leading: usize, times: &[f64], period: f64, keys: usize) -> f64 {
    let miss = |period: f64| {
        let phases = Phases::of(times, period);
        Beat::fit(drives, leading, &phases, keys).map_or(f64::INFINITY, |beat| beat.missed(drives, leading, &phases))
    };
    let beats = match (times.first(), times.last()) {
        (Some(first), Some(last)) => ((last - first) / period).max(1.0),
        _ => 1.0,
    };
    let (mut low, mut high) = (period * (1.0 - 0.1 / beats), period * (1.0 + 0.1 / beats));
    let (mut a, mut b) = (high - KEPT * (high - low), low + KEPT * (high - low));
    let (mut at_a, mut at_b) = (miss(a), miss(b));
    for _ in 0..STEPS {
        if at_a <= at_b {
            (high, b, at_b) = (b, a, at_a);
            a = high - KEPT * (high - low);
            at_a = miss(a);
        } else {
            (low, a, at_a) = (a, b, at_b);
            b = low + KEPT * (high - low);
            at_b = miss(b);
        }
    }
    let (best, at_best) = if at_a <= at_b { (a, at_a) } else { (b, at_b) };
    if at_best <= miss(period) { best } else { period }
}

/// The four keys around a place in the beat, with their shares.
fn shares(beat: f64, keys: usize) -> Option<[(usize, f64); 4]> {
    let x = (beat - beat.floor()) * whole::count(keys);
    let first = usize::try_from(whole::floor(x)?).ok()?;
    let f = x - whole::count(first);
    let g = 1.0 - f;
    let f3 = f * f * f;
    let key = |after: usize| (first + keys - 1 + after) % keys;
    Some([
        (key(0), g * g * g / 6.0),
        (key(1), (3.0 * f3 - 6.0 * f * f + 4.0) / 6.0),
        (key(2), (-3.0 * f3 + 3.0 * f * f + 3.0 * f + 1.0) / 6.0),
        (key(3), f3 / 6.0),
    ])
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    #[test]
    fn shares_are_one_together_and_meet_at_the_knots() {
        for beat in [0.0, 0.03, 0.25, 0.49, 0.999, 7.6, -0.2] {
            let sum: f64 = shares(beat, 8).unwrap().iter().map(|(_, s)| s).sum();
            assert!((sum - 1.0).abs() < 1e-14, "{beat}: {sum}");
        }
        let at = |beat: f64, key: usize| shares(beat, 8).unwrap().iter().filter(|(k, _)| *k == key).map(|(_, s)| s).sum::<f64>();
        assert!((at(0.25, 2) - 2.0 / 3.0).abs() < 1e-14 && (at(0.25, 1) - 1.0 / 6.0).abs() < 1e-14);
    }
}
