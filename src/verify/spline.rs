//! Splines by their definition: polynomials between neighbouring points, and one linear condition a row.
//!
//! What: the unknowns are all coefficients of all pieces, u = (x - x_i) / h_i local; the rows say that a piece has the values at its two ends, that
//! derivatives go through the inner points, and what happens at the outer ends. Solved by Gaussian elimination with partial pivoting inside the band
//! (any numerical analysis textbook). Slow and obvious on purpose: the compiler solves other, smaller systems.
//! Invariant: points strictly rising, at least two of them.

use std::collections::VecDeque;

/// A piecewise polynomial through points.
#[derive(Debug, Clone)]
pub(super) struct Piecewise {
    points: Vec<f64>,
    pieces: Vec<Vec<f64>>,
}

/// A condition at an outer end: the derivative of this order has this value, in units of x.
#[derive(Debug, Clone, Copy)]
pub(super) struct EndCondition {
    pub(super) order: usize,
    pub(super) value: f64,
}

/// The spline of `degree` through the points, continuous up to derivative `degree - 1`, with the conditions at either end.
pub(super) fn spline(x: &[f64], y: &[f64], degree: usize, ends: &[EndCondition]) -> Option<Piecewise> {
    let width = degree + 1;
    let lengths: Vec<f64> = x.iter().zip(x.iter().skip(1)).map(|(a, b)| b - a).collect();
    let last = lengths.len().checked_sub(1)?;
    let mut rows = Vec::new();
    let mut row = |piece: usize, factors: Vec<f64>, right: f64| rows.push(Row { start: piece * width, factors: factors.into(), right });
    for (i, ((y0, y1), h)) in y.iter().zip(y.iter().skip(1)).zip(&lengths).enumerate() {
        row(i, derivative(width, 0, 0.0), *y0);
        row(i, derivative(width, 0, 1.0), *y1);
        for end in ends {
            let right = end.value * power(*h, end.order);
            if i == 0 {
                row(i, derivative(width, end.order, 0.0), right);
            }
            if i == last {
                row(i, derivative(width, end.order, 1.0), right);
            }
        }
        if let Some(next) = lengths.get(i + 1) {
            for order in 1..degree {
                let stretch = power(h / next, order);
                let mut factors = derivative(width, order, 1.0);
                factors.extend(derivative(width, order, 0.0).iter().map(|f| -f * stretch));
                row(i, factors, 0.0);
            }
        }
    }
    let solution = solve(rows)?;
    Some(Piecewise { points: x.to_vec(), pieces: solution.chunks(width).map(<[f64]>::to_vec).collect() })
}

/// The cubic spline over one period: value, slope and second derivative are the same at both ends.
///
/// For any second derivative m at both ends there is one spline; it depends on m linearly, so the m that closes the slope follows from two of them.
pub(super) fn periodic_cubic(x: &[f64], y: &[f64]) -> Option<Piecewise> {
    let with = |y: &[f64], m: f64| spline(x, y, 3, &[EndCondition { order: 2, value: m }]);
    let (base, change) = (with(y, 0.0)?, with(&vec![0.0; y.len()], 1.0)?);
    let opening = |s: &Piecewise| Some(s.end_slope()? - s.start_slope()?);
    let m = -opening(&base)? / opening(&change)?;
    let pieces = base.pieces.iter().zip(&change.pieces).map(|(b, c)| b.iter().zip(c).map(|(b, c)| b + m * c).collect()).collect();
    Some(Piecewise { points: base.points, pieces })
}

impl Piecewise {
    /// Value at `t`, by the first or last piece for times outside.
    pub(super) fn at(&self, t: f64) -> f64 {
        let i = self.points.partition_point(|p| *p <= t).saturating_sub(1).min(self.pieces.len().saturating_sub(1));
        match (self.points.get(i), self.points.get(i + 1), self.pieces.get(i)) {
            (Some(from), Some(to), Some(piece)) => {
                let u = (t - from) / (to - from);
                piece.iter().rev().fold(0.0, |sum, c| sum * u + c)
            }
            _ => f64::NAN,
        }
    }

    /// Largest sum of the terms of a piece, without their signs.
    pub(super) fn size(&self) -> f64 {
        self.pieces.iter().map(|piece| piece.iter().map(|c| c.abs()).sum()).fold(0.0, f64::max)
    }

    /// No slope is steeper: the terms of the derivative without their signs, at the end of a piece.
    pub(super) fn steepest(&self) -> f64 {
        let spans = self.points.iter().zip(self.points.iter().skip(1)).map(|(a, b)| b - a);
        let sums = self.pieces.iter().map(|piece| piece.iter().enumerate().map(|(k, c)| count(k) * c.abs()).sum::<f64>());
        sums.zip(spans).map(|(sum, h)| sum / h).fold(0.0, f64::max)
    }

    /// Slope at the first point.
    pub(super) fn start_slope(&self) -> Option<f64> {
        Some(self.pieces.first()?.get(1)? / (self.points.get(1)? - self.points.first()?))
    }

    /// Slope at the last point.
    pub(super) fn end_slope(&self) -> Option<f64> {
        let width = self.pieces.last()?.len();
        let slope: f64 = self.pieces.last()?.iter().zip(derivative(width, 1, 1.0)).map(|(c, f)| c * f).sum();
        let [.., before, last] = self.points.as_slice() else { return None };
        Some(slope / (last - before))
    }
}

/// Factors of the coefficients in the derivative of this order at local time 0 or 1.
fn derivative(width: usize, order: usize, u: f64) -> Vec<f64> {
    (0..width)
        .map(|k| {
            if k < order || (u == 0.0 && k != order) {
                return 0.0;
            }
            (0..order).map(|i| count(k - i)).product()
        })
        .collect()
}

fn power(x: f64, n: usize) -> f64 {
    (0..n).map(|_| x).product()
}

fn count(n: usize) -> f64 {
    n as f64
}

/// One equation: factors of the unknowns from `start` on.
struct Row {
    start: usize,
    factors: VecDeque<f64>,
    right: f64,
}

/// Solves the equations. `None` where they have no single finite solution.
fn solve(mut rows: Vec<Row>) -> Option<Vec<f64>> {
    let unknowns = rows.len();
    rows.sort_by_key(|r| r.start);
    // Rows of equal weight, so that the choice of pivots means something.
    for r in &mut rows {
        let most = r.factors.iter().fold(0.0_f64, |m, f| m.max(f.abs()));
        r.factors.iter_mut().for_each(|f| *f /= most);
        r.right /= most;
    }
    let mut waiting = rows.into_iter().peekable();
    let mut active: Vec<Row> = Vec::new();
    let mut pivots: Vec<Row> = Vec::with_capacity(unknowns);
    for column in 0..unknowns {
        while let Some(row) = waiting.next_if(|r| r.start <= column) {
            active.push(row);
        }
        let front = |r: &Row| r.factors.front().copied().unwrap_or(0.0);
        let best = active.iter().enumerate().max_by(|a, b| front(a.1).abs().total_cmp(&front(b.1).abs())).map(|(i, _)| i)?;
        let pivot = active.swap_remove(best);
        let head = front(&pivot);
        if !(head.abs() > 0.0 && head.is_finite()) {
            return None;
        }
        for r in &mut active {
            let share = front(r) / head;
            if r.factors.len() < pivot.factors.len() {
                r.factors.resize(pivot.factors.len(), 0.0);
            }
            for (f, p) in r.factors.iter_mut().zip(&pivot.factors) {
                *f -= share * p;
            }
            r.right -= share * pivot.right;
            r.factors.pop_front();
        }
        pivots.push(pivot);
    }
    let mut known: VecDeque<f64> = VecDeque::with_capacity(unknowns);
    for pivot in pivots.iter().rev() {
        let mut factors = pivot.factors.iter();
        let head = factors.next()?;
        let rest: f64 = factors.zip(&known).map(|(f, x)| f * x).sum();
        known.push_front((pivot.right - rest) / head);
    }
    known.iter().all(|x| x.is_finite()).then(|| known.into())
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    /// 10 u^3 - 15 u^4 + 6 u^5: the one quintic from rest at 0 to rest at 1.
    #[test]
    fn a_quintic_from_rest_to_rest() {
        let still = [EndCondition { order: 1, value: 0.0 }, EndCondition { order: 2, value: 0.0 }];
        let s = spline(&[0.0, 1.0], &[0.0, 1.0], 5, &still).unwrap();
        for u in [0.0, 0.25, 0.5, 0.75, 1.0] {
            let want: f64 = u * u * u * (10.0 + u * (-15.0 + 6.0 * u));
            assert!((s.at(u) - want).abs() < 1e-14);
        }
    }

    /// Moments of the natural cubic through (0,0), (1,1), (2,0): -3 in the middle (three-moment equation 4 M = 6 (-1 - 1)), by hand.
    #[test]
    fn a_natural_spline_worked_by_hand() {
        let s = spline(&[0.0, 1.0, 2.0], &[0.0, 1.0, 0.0], 3, &[EndCondition { order: 2, value: 0.0 }]).unwrap();
        assert!((s.at(0.5) - 0.6875).abs() < 1e-14);
        assert!((s.start_slope().unwrap() - 1.5).abs() < 1e-14 && (s.end_slope().unwrap() + 1.5).abs() < 1e-14);
    }

    #[test]
    fn a_periodic_spline_closes() {
        let s = periodic_cubic(&[0.0, 0.35, 0.6, 1.0], &[-18.0, 42.0, 10.0, -18.0]).unwrap();
        assert!((s.start_slope().unwrap() - s.end_slope().unwrap()).abs() < 1e-11);
        assert!((s.at(0.35) - 42.0).abs() < 1e-12 && (s.at(1.0) + 18.0).abs() < 1e-12);
    }

    #[test]
    fn points_that_coincide_have_no_spline() {
        assert!(spline(&[0.0, 0.0, 1.0], &[0.0, 1.0, 0.0], 3, &[EndCondition { order: 2, value: 0.0 }]).is_none());
    }
}
