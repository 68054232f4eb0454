//! Two axes whose columns are swapped.
//!
//! What: of each pair of suspect axes the log of either is compared with the pass of the other, in the numbers of the files, until it leaves more than a plain model may.
//! Units: steps of the axis whose log it is. Invariant: memory grows with pairs of axes, never with rows.

use super::cause::{CauseKind, Model};

/// A pair that may be swapped.
#[derive(Debug, Clone, Copy)]
struct Pair {
    axes: [usize; 2],
    /// What either leaves so far, and what it may.
    left: [f64; 2],
    most: [f64; 2],
}

/// Every pair of one take that may be swapped.
#[derive(Debug, Clone, Default)]
pub(super) struct Swaps {
    pairs: Vec<Pair>,
}

impl Swaps {
    /// `suspects`: axes, and what a plain model of each may leave.
    pub(super) fn new(suspects: &[(usize, f64)]) -> Swaps {
        let pairs = suspects.iter().enumerate().flat_map(|(i, (a, most_a))| {
            let rest = suspects.iter().skip(i + 1);
            rest.map(move |(b, most_b)| Pair { axes: [*a, *b], left: [0.0; 2], most: [*most_a, *most_b] })
        });
        Swaps { pairs: pairs.collect() }
    }

    /// Takes in a row of pass and log; `to_steps` are the steps of one of the file's numbers, by axis.
    pub(super) fn add(&mut self, pass: &[f64], log: &[f64], to_steps: &[f64]) {
        self.pairs.retain_mut(|pair| {
            let [a, b] = pair.axes;
            let off = |logged: usize, commanded: usize| {
                let difference = log.get(logged)? - pass.get(commanded)?;
                let steps = difference * to_steps.get(logged)?;
                Some(if steps.is_nan() { 0.0 } else { steps * steps })
            };
            let (Some(of_a), Some(of_b)) = (off(a, b), off(b, a)) else { return false };
            let ([left_a, left_b], [most_a, most_b]) = (&mut pair.left, pair.most);
            *left_a += of_a;
            *left_b += of_b;
            *left_a <= most_a && *left_b <= most_b
        });
    }

    /// The model of an axis that was swapped with another, the least of them if there are several. `rows`, `frame` and `largest` are of the axis.
    pub(super) fn model(&self, axis: usize, rows: f64, frame: i64, largest: f64) -> Option<Model> {
        let of = |pair: &Pair| match pair.axes {
            [a, b] if a == axis => Some((b, pair.left)),
            [a, b] if b == axis => Some((a, [pair.left[1], pair.left[0]])),
            _ => None,
        };
        let least = self.pairs.iter().filter_map(of).min_by(|x, y| (x.1[0] + x.1[1]).total_cmp(&(y.1[0] + y.1[1])))?;
        let mut model = Model::new(CauseKind::Swapped, least.1[0], 1.0, rows, frame, largest);
        model.other = Some(least.0);
        Some(model)
    }
}
