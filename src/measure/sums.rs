//! The first look at the deviations of one take: whether an axis deviates by more than noise, and how large that noise is.
//!
//! What: an axis is suspect where the mean square of its deviations is more than three times that of noise, or where one of them is more than seven times as large as noise.
//! Here noise is half the mean square of the change from row to row, and at least that of rounding to whole steps, 1/12.
//! Noise that models are compared with is estimated so that a third of foreign rows do little to it, and a smooth deviation nothing: from the lower half of how much the
//! change from row to row changes, in a sample of rows, of the deviations or of the log itself, whichever is less.
//! Units: steps, in the direction of positive travel. Invariant: one pass over the rows, in their order; memory grows with axes, never with rows.

use super::lanes::Four;

/// Mean square of what rounding to whole steps does: 1/12.
pub(super) const ROUNDING: f64 = 1.0 / 12.0;

/// Suspect where the mean square is more than this many times that of noise.
const MORE: f64 = 3.0;

/// Suspect where a deviation is more than this many times the noise.
const PEAK: f64 = 7.0;

/// Rows in the sample of changes.
const SAMPLE: usize = 256;

/// Mean of the lower half of |z| for a standard normal z, times the root of 6, which is the spread of a change of change: 1, -2 and 1 times three of them.
/// D: 2 (phi(0) - phi(0.67449)) / 0.5 = 0.32468 with phi the density; times 2.44949.
const LOWER_HALF: f64 = 0.795_30;

/// Sums of the axes of a group in one take.
#[derive(Debug, Clone, Copy)]
pub(super) struct Group {
    n: Four,
    sum: Four,
    squares: Four,
    pairs: Four,
    changes: Four,
    lowest: Four,
    highest: Four,
    least: Four,
    greatest: Four,
    last: Four,
}

/// What a stretch of rows brought: how many positions each axis has there, its lowest and its highest deviation.
#[derive(Debug, Clone, Copy)]
pub(super) struct Brought {
    pub(super) rows: Four,
    pub(super) lowest: Four,
    pub(super) highest: Four,
}

impl Group {
    pub(super) fn new() -> Group {
        let (zero, above, below) = (Four::of(0.0), Four::of(f64::INFINITY), Four::of(f64::NEG_INFINITY));
        Group {
            n: zero,
            sum: zero,
            squares: zero,
            pairs: zero,
            changes: zero,
            lowest: above,
            highest: below,
            least: above,
            greatest: below,
            last: Four::of(f64::NAN),
        }
    }

    /// The take has no row here: what comes next has none before it.
    pub(super) fn lacks(&mut self) {
        self.last = Four::of(f64::NAN);
    }

    /// Takes in rows of pass and log, of `stride` numbers each, from number `at` on.
    pub(super) fn add(&mut self, pass: &[f64], log: &[f64], stride: usize, at: usize, to_steps: Four) -> Brought {
        let mut g = *self;
        (g.lowest, g.highest) = (Four::of(f64::INFINITY), Four::of(f64::NEG_INFINITY));
        for (targets, logged) in pass.chunks_exact(stride).zip(log.chunks_exact(stride)) {
            let target = Four::from(targets, at);
            let d = Four::from(logged, at).minus(target).times(to_steps);
            let t = target.times(to_steps);
            let change = d.minus(g.last);
            let (deviation, changed) = (d.or_zero(), change.or_zero());
            g.n = g.n.plus(d.is_there());
            g.sum = g.sum.plus(deviation);
            g.squares = g.squares.plus(deviation.times(deviation));
            g.pairs = g.pairs.plus(change.is_there());
            g.changes = g.changes.plus(changed.times(changed));
            g.lowest = g.lowest.least(d);
            g.highest = g.highest.greatest(d);
            g.least = g.least.least(t);
            g.greatest = g.greatest.greatest(t);
            g.last = d;
        }
        let brought = Brought { rows: g.n.minus(self.n), lowest: g.lowest, highest: g.highest };
        (g.lowest, g.highest) = (self.lowest.least(g.lowest), self.highest.greatest(g.highest));
        *self = g;
        brought
    }

    /// The sums of one axis of the group.
    pub(super) fn of(&self, lane: usize) -> Sums {
        let at = |four: &Four| four.0.get(lane).copied().unwrap_or(f64::NAN);
        Sums {
            n: at(&self.n),
            sum: at(&self.sum),
            squares: at(&self.squares),
            pairs: at(&self.pairs),
            changes: at(&self.changes),
            largest: at(&self.highest).max(-at(&self.lowest)),
            least: at(&self.least),
            greatest: at(&self.greatest),
        }
    }
}

/// Sums of one axis in one take.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Sums {
    /// Rows with a position.
    pub(super) n: f64,
    /// Sum of the deviations.
    pub(super) sum: f64,
    /// Sum of their squares.
    pub(super) squares: f64,
    /// Rows whose row before has a position too, and the sum of squares of the change between the two.
    pub(super) pairs: f64,
    pub(super) changes: f64,
    /// Largest deviation, absolute.
    pub(super) largest: f64,
    /// Least and greatest commanded position.
    pub(super) least: f64,
    pub(super) greatest: f64,
}

impl Sums {
    pub(super) fn is_suspect(&self) -> bool {
        let noise = if self.pairs > 0.0 { (0.5 * self.changes / self.pairs).max(ROUNDING) } else { ROUNDING };
        self.squares > MORE * noise * self.n || self.largest * self.largest > PEAK * PEAK * noise
    }
}

/// How the change from row to row changes, of the deviation and of the log itself, in rows evenly spread over the take. A steady change is no noise.
#[derive(Debug, Clone, Default)]
pub(super) struct Sample {
    /// Every how many rows; a power of two.
    stride: u64,
    /// Cells of each sampled row, an axis each, in the numbers of the files.
    deviations: Vec<Vec<f64>>,
    positions: Vec<Vec<f64>>,
}

/// A row of the pass and of the log.
type Row<'a> = (&'a [f64], &'a [f64]);

impl Sample {
    /// Whether it takes this row in, from row 2 on.
    pub(super) fn wants(&self, row: u64) -> bool {
        row > 1 && row.is_multiple_of(self.stride.max(1))
    }

    /// Takes in a row after the two before it; cells that are not there are NaN.
    pub(super) fn add(&mut self, row: u64, before: Row, last: Row, now: Row) {
        self.stride = self.stride.max(1);
        if self.deviations.len() == SAMPLE {
            // Every second row stays.
            for kept in [&mut self.deviations, &mut self.positions] {
                let mut stays = false;
                kept.retain(|_| {
                    stays = !stays;
                    stays
                });
            }
            self.stride *= 2;
            if !self.wants(row) {
                return;
            }
        }
        let bends = |a: f64, b: f64, c: f64| (c - 2.0 * b + a).abs();
        let logged = || before.1.iter().zip(last.1).zip(now.1).map(|((a, b), c)| (*a, *b, *c));
        let passed = before.0.iter().zip(last.0).zip(now.0).map(|((a, b), c)| (*a, *b, *c));
        self.positions.push(logged().map(|(a, b, c)| bends(a, b, c)).collect());
        self.deviations.push(logged().zip(passed).map(|(y, t)| bends(y.0 - t.0, y.1 - t.1, y.2 - t.2)).collect());
    }

    /// The noise of an axis, steps; `to_steps` are the steps of one of the file's numbers.
    pub(super) fn noise(&self, axis: usize, to_steps: f64) -> f64 {
        let of = |rows: &[Vec<f64>]| lower_half(rows.iter().filter_map(|row| row.get(axis)).copied());
        (of(&self.deviations).min(of(&self.positions)) * to_steps.abs()).max(ROUNDING.sqrt())
    }
}

/// Noise by the lower half of how much the change from row to row changes, absolute; NaN are passed over, 0 where there is nothing else.
pub(super) fn lower_half(changes: impl Iterator<Item = f64>) -> f64 {
    let mut changes: Vec<f64> = changes.filter(|x| !x.is_nan()).collect();
    changes.sort_by(f64::total_cmp);
    changes.truncate(changes.len().div_ceil(2));
    if changes.is_empty() { 0.0 } else { changes.iter().sum::<f64>() / changes.len() as f64 / LOWER_HALF }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::number::Generator;

    /// Sum of twelve uniform numbers less six: spread 1.
    fn normal(g: &mut Generator) -> f64 {
        (0..12).map(|_| g.unit()).sum::<f64>() - 6.0
    }

    #[test]
    fn noise_is_estimated_whatever_a_third_of_the_rows_do() {
        for (spread, foreign) in [(1.0, 0), (1.0, 3), (20.0, 0), (20.0, 3), (0.0, 0)] {
            let mut g = Generator::new(7);
            let mut s = Sample::default();
            let (mut last, mut before) = (0.0, 0.0);
            for row in 0..5000_u64 {
                let x =
                    (spread * normal(&mut g)).round_ties_even() + if foreign > 0 && row % 9 < foreign { 900.0 * row as f64 } else { 0.0 };
                if s.wants(row) {
                    s.add(row, (&[0.0], &[before]), (&[0.0], &[last]), (&[0.0], &[x]));
                    assert!(s.deviations.len() <= SAMPLE);
                }
                (before, last) = (last, x);
            }
            let found = s.noise(0, -1.0);
            let want = spread.max(ROUNDING.sqrt());
            let most = if foreign > 0 { 3.0 } else { 1.3 };
            assert!(found >= 0.7 * want && found <= most * want, "{spread} {foreign}: {found}");
        }
    }

    #[test]
    fn noise_alone_is_not_suspect_and_what_is_larger_is() {
        let quiet = Sums { n: 100.0, squares: 100.0, pairs: 99.0, changes: 198.0, largest: 4.0, ..Sums::default() };
        assert!(!quiet.is_suspect());
        // At three times, and at seven: not yet. Beyond: suspect.
        assert!(!Sums { squares: 300.0, largest: 7.0, ..quiet }.is_suspect());
        assert!(Sums { squares: 300.1, ..quiet }.is_suspect() && Sums { largest: 7.01, ..quiet }.is_suspect());
        assert!(!Sums { n: 1.0, ..Sums::default() }.is_suspect());
    }
}
