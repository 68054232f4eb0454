//! The least jerk over given knots within the tube around every sample.
//!
//! What: the least integral of jerk squared among the curves of quintic pieces over the knots that stay within 1 of every sample, by an interior-point method: Newton's method on the
//! conditions of the least, with products of slack and multiplier held above 0 and driven there together. Each step solves one banded system, so the work grows with the
//! samples and not with their square.
//! Source: S. Mehrotra, On the implementation of a primal-dual interior point method, SIAM J. Optimization 2(4), 1992 (from memory).
//! Accuracy: the integral is within 1e-6 of itself of the least, and mostly within 1e-8, by the gap between it and its dual.

#![allow(clippy::indexing_slicing, reason = "unknowns are counted three to a node, bands six to a row")]

use super::basis;
use super::samples::Samples;
use super::window::{State, factors};
use super::work::Work;

/// The tube: what lies between it and 1 pays for rounding.
const TUBE: f64 = 1.0 - 1e-7;
const BAND: usize = 6;
const MOST_STEPS: usize = 200;
/// What a step costs for a sample and for an unknown, in multiplications.
const EACH_SAMPLE: usize = 100;
const EACH_UNKNOWN: usize = 100;
/// Share of the integral to which the least is looked for, and that which is asked for where rounding ends the search.
const GOAL: f64 = 1e-8;
const ACCURACY: f64 = 1e-6;
/// How far coordinates of two curves within the tube are apart, in its half widths.
const APART: f64 = 10.0;

/// Lower band of a symmetric matrix: row i holds columns i-5 ..= i.
type Band = Vec<[f64; BAND]>;

struct Problem<'s> {
    samples: Samples<'s>,
    work: &'s Work,
    /// First sample of each piece and one behind the last.
    firsts: Vec<usize>,
    starts: Vec<f64>,
    lengths: Vec<f64>,
    factors: Vec<[f64; 6]>,
    /// Of every sample, in the node coordinates of its piece.
    rows: Vec<[f64; 6]>,
    /// Local time of every sample in its piece.
    places: Vec<f64>,
    /// Share of each piece in the measure of jerk.
    weights: Vec<f64>,
    /// Half of the objective is x'Hx.
    h: Band,
    is_fixed: Vec<bool>,
}

/// The curve of least jerk; `start` is one that stays near. `None` where rounding gets in the way, or the work is used up.
pub(super) fn least_jerk((samples, work): (Samples<'_>, &Work), knots: &[usize], start: &[State], rest: bool) -> Option<Vec<State>> {
    let frames: Vec<f64> = knots.iter().map(|k| samples.frame(*k)).collect();
    let lengths: Vec<f64> = frames.windows(2).map(|w| w[1] - w[0]).collect();
    let scales: Vec<f64> = (0..frames.len())
        .map(|i| match (i.checked_sub(1).map(|b| lengths[b]), lengths.get(i)) {
            (Some(b), Some(a)) => b.min(*a),
            (b, a) => b.or(a.copied()).unwrap_or(1.0),
        })
        .collect();
    let mut firsts = knots.to_vec();
    *firsts.last_mut()? += 1;
    let factors: Vec<[f64; 6]> = (0..lengths.len()).map(|p| factors(lengths[p], scales[p], scales[p + 1])).collect();
    let n = 3 * frames.len();
    let mut is_fixed = vec![false; n];
    for node in [0, frames.len() - 1] {
        is_fixed[3 * node + 2] = true;
        is_fixed[3 * node + 1] = rest;
    }
    let mut x: Vec<f64> = Vec::with_capacity(n);
    for ([p, v, a], s) in start.iter().zip(&scales) {
        x.extend([*p, v * s, a * s * s]);
    }
    for (x, fixed) in x.iter_mut().zip(&is_fixed) {
        if *fixed {
            *x = 0.0;
        }
    }
    let h = vec![[0.0; BAND]; n];
    let (rows, places) = (Vec::with_capacity(samples.len()), Vec::with_capacity(samples.len()));
    let mut problem = Problem { samples, work, firsts, starts: frames, lengths, factors, rows, places, weights: Vec::new(), h, is_fixed };
    problem.place();
    problem.measure_jerk();
    let f = problem.jerk(&x);
    if f > 0.0 {
        // The measure is scaled so that multipliers are of the size of 1.
        let k = problem.lengths.len() as f64 / f;
        problem.h.iter_mut().flatten().chain(&mut problem.weights).for_each(|c| *c *= k);
    }
    let x = problem.solve(x)?;
    Some(x.chunks(3).zip(&scales).map(|(x, s)| [x[0], x[1] / s, x[2] / (s * s)]).collect())
}

impl Problem<'_> {
    fn measure_jerk(&mut self) {
        let gram = basis::jerk_gram();
        let typical = self.lengths.iter().copied().fold(f64::INFINITY, f64::min);
        for (piece, h) in self.lengths.iter().enumerate() {
            let k = typical / h;
            let weight = k * k * k * k * k;
            self.weights.push(weight);
            let f = &self.factors[piece];
            for row in 0..6 {
                for column in 0..=row {
                    self.h[3 * piece + row][5 - (row - column)] += weight * gram[row][column] * f[row] * f[column];
                }
            }
        }
    }

    fn jerk(&self, x: &[f64]) -> f64 {
        self.jerk_times(x).iter().zip(x).map(|(a, b)| a * b).sum()
    }

    /// The measure of jerk times `x`, by way of each piece's third derivative: there the values, which are far larger than it, cancel once and not in every sum.
    fn jerk_times(&self, x: &[f64]) -> Vec<f64> {
        let mut out = vec![0.0; x.len()];
        for (piece, f) in self.factors.iter().enumerate() {
            let mut own = [0.0; 6];
            for k in 0..6 {
                own[k] = f[k] * x[3 * piece + k];
            }
            let pull = basis::jerk_pull(own);
            for k in 0..6 {
                out[3 * piece + k] += self.weights[piece] * f[k] * pull[k];
            }
        }
        out
    }

    /// Notes every sample's local time and row.
    fn place(&mut self) {
        for piece in 0..self.lengths.len() {
            let (start, h, f) = (self.starts[piece], self.lengths[piece], &self.factors[piece]);
            for i in self.firsts[piece]..self.firsts[piece + 1] {
                let u = (self.samples.frame(i) - start) / h;
                let mut row = basis::row(u);
                for (r, f) in row.iter_mut().zip(f) {
                    *r *= f;
                }
                self.rows.push(row);
                self.places.push(u);
            }
        }
    }

    /// Calls `with` for every sample with its index, piece and row in the pieces' node coordinates.
    fn each(&self, mut with: impl FnMut(usize, usize, &[f64; 6])) {
        let first = self.firsts[0];
        for piece in 0..self.lengths.len() {
            let (from, to) = (self.firsts[piece] - first, self.firsts[piece + 1] - first);
            for (i, row) in self.rows[from..to].iter().enumerate() {
                with(from + i, piece, row);
            }
        }
    }

    /// Curve at every sample.
    fn at_samples(&self, x: &[f64], out: &mut [f64]) {
        let first = self.firsts[0];
        for (piece, f) in self.factors.iter().enumerate() {
            let mut c = [0.0; 6];
            for k in 0..6 {
                c[k] = f[k] * x[3 * piece + k];
            }
            let c = basis::coefficients(c);
            let (from, to) = (self.firsts[piece] - first, self.firsts[piece + 1] - first);
            for (out, u) in out[from..to].iter_mut().zip(&self.places[from..to]) {
                *out = basis::horner(&c, *u);
            }
        }
    }

    fn solve(&self, mut x: Vec<f64>) -> Option<Vec<f64>> {
        let m = self.samples.len();
        let n = x.len();
        let mut curve = vec![0.0; m];
        self.at_samples(&x, &mut curve);
        let miss = |curve: &[f64], i: usize| curve[i] - self.samples.value(i);
        // Slack below the upper and above the lower edge, and their multipliers.
        let mut s: Vec<[f64; 2]> = (0..m).map(|i| [(TUBE - miss(&curve, i)).max(0.05), (TUBE + miss(&curve, i)).max(0.05)]).collect();
        let mut z: Vec<[f64; 2]> = s.iter().map(|s| s.map(|s| 0.01 / s)).collect();
        let mut move_at = vec![0.0; m];
        let [mut aims, mut ds, mut dz] = [(); 3].map(|()| vec![[0.0; 2]; m]);
        let mut best: Option<(f64, Vec<f64>)> = None;
        let mut waited = 0;
        for _ in 0..MOST_STEPS {
            self.work.take(EACH_SAMPLE * m + EACH_UNKNOWN * n);
            if self.work.is_used_up() {
                return None;
            }
            let primal: Vec<[f64; 2]> = (0..m).map(|i| [s[i][0] + miss(&curve, i) - TUBE, s[i][1] - miss(&curve, i) - TUBE]).collect();
            let hx = self.jerk_times(&x);
            let mut dual = hx.clone();
            let mut band = self.h.clone();
            self.each(|i, piece, row| {
                let pull = z[i][0] - z[i][1];
                let weight = z[i][0] / s[i][0] + z[i][1] / s[i][1];
                for k in 0..6 {
                    dual[3 * piece + k] += pull * row[k];
                    let w = weight * row[k];
                    let line = &mut band[3 * piece + k];
                    for l in 0..=k {
                        line[5 - (k - l)] += w * row[l];
                    }
                }
            });
            self.fix(&mut band);
            for (d, fixed) in dual.iter_mut().zip(&self.is_fixed) {
                if *fixed {
                    *d = 0.0;
                }
            }
            let gap: f64 = s.iter().zip(&z).map(|(s, z)| s[0] * z[0] + s[1] * z[1]).sum();
            let mu = gap / (2 * m) as f64;
            let f: f64 = hx.iter().zip(&x).map(|(a, b)| a * b).sum();
            let off_primal = primal.iter().flatten().fold(0.0_f64, |m, r| m.max(r.abs()));
            // How far the integral can be from the least: the gap, and what is left of the dual conditions times how far coordinates within the tube can be apart.
            let bound = gap + APART * dual.iter().map(|d| d.abs()).sum::<f64>();
            if off_primal <= 1e-9 && best.as_ref().is_none_or(|(b, _)| bound < *b) {
                best = Some((bound, x.clone()));
                waited = 0;
            } else {
                waited += 1;
            }
            let enough = best.as_ref().is_some_and(|(b, _)| *b <= GOAL * f || (*b <= ACCURACY * f && waited >= 3));
            if enough {
                break;
            }
            let Some(factor) = Factor::of(band) else { break };
            let step = |aims: &[[f64; 2]], ds: &mut [[f64; 2]], dz: &mut [[f64; 2]], move_at: &mut [f64]| {
                let mut right: Vec<f64> = dual.iter().map(|d| -d).collect();
                self.each(|i, piece, row| {
                    let t = |side: usize| (z[i][side] * primal[i][side] - aims[i][side]) / s[i][side];
                    let pull = t(0) - t(1);
                    for k in 0..6 {
                        right[3 * piece + k] -= pull * row[k];
                    }
                });
                for (r, fixed) in right.iter_mut().zip(&self.is_fixed) {
                    if *fixed {
                        *r = 0.0;
                    }
                }
                factor.solve(&mut right);
                self.at_samples(&right, move_at);
                for i in 0..m {
                    for (side, sign) in [(0, 1.0), (1, -1.0)] {
                        ds[i][side] = -primal[i][side] - sign * move_at[i];
                        dz[i][side] = (-aims[i][side] - z[i][side] * ds[i][side]) / s[i][side];
                    }
                }
                right
            };
            for (aims, (s, z)) in aims.iter_mut().zip(s.iter().zip(&z)) {
                *aims = [s[0] * z[0], s[1] * z[1]];
            }
            let _along = step(&aims, &mut ds, &mut dz, &mut move_at);
            let (ap, ad) = (longest(&s, &ds), longest(&z, &dz));
            let after: f64 =
                (0..m).map(|i| (0..2).map(|k| (s[i][k] + ap * ds[i][k]) * (z[i][k] + ad * dz[i][k])).sum::<f64>()).sum::<f64>()
                    / (2 * m) as f64;
            let share = after / mu;
            let aim = share * share * share * mu;
            for (aims, (ds, dz)) in aims.iter_mut().zip(ds.iter().zip(&dz)) {
                *aims = [aims[0] + ds[0] * dz[0] - aim, aims[1] + ds[1] * dz[1] - aim];
            }
            let dx = step(&aims, &mut ds, &mut dz, &mut move_at);
            let keep = (1.0 - mu).clamp(0.99, 0.9995);
            let (ap, ad) = ((keep * longest(&s, &ds)).min(1.0), (keep * longest(&z, &dz)).min(1.0));
            for i in 0..n {
                x[i] += ap * dx[i];
            }
            for i in 0..m {
                for side in 0..2 {
                    s[i][side] += ap * ds[i][side];
                    z[i][side] += ad * dz[i][side];
                }
            }
            self.at_samples(&x, &mut curve);
        }
        best.filter(|(bound, x)| *bound <= ACCURACY * self.jerk(x)).map(|(_, x)| x)
    }

    fn fix(&self, band: &mut Band) {
        for i in (0..self.is_fixed.len()).filter(|i| self.is_fixed[*i]) {
            band[i] = [0.0, 0.0, 0.0, 0.0, 0.0, 1.0];
            for below in i + 1..(i + BAND).min(band.len()) {
                band[below][5 - (below - i)] = 0.0;
            }
        }
    }
}

/// The longest step that keeps all above 0, as far as it matters.
fn longest(values: &[[f64; 2]], steps: &[[f64; 2]]) -> f64 {
    let mut longest = f64::INFINITY;
    for (v, d) in values.iter().flatten().zip(steps.iter().flatten()) {
        if *d < 0.0 {
            longest = longest.min(-v / d);
        }
    }
    longest.min(1.0 / 0.99)
}

/// A banded Cholesky factor.
struct Factor(Band);

impl Factor {
    fn of(mut a: Band) -> Option<Factor> {
        for i in 0..a.len() {
            for k in i.saturating_sub(5)..=i {
                let mut sum = a[i][5 - (i - k)];
                for m in i.saturating_sub(5).max(k.saturating_sub(5))..k {
                    sum -= a[i][5 - (i - m)] * a[k][5 - (k - m)];
                }
                if k == i {
                    if !(sum > 0.0) {
                        return None;
                    }
                    a[i][5] = sum.sqrt();
                } else {
                    a[i][5 - (i - k)] = sum / a[k][5];
                }
            }
        }
        Some(Factor(a))
    }

    fn solve(&self, x: &mut [f64]) {
        let a = &self.0;
        for i in 0..x.len() {
            for k in i.saturating_sub(5)..i {
                x[i] -= a[i][5 - (i - k)] * x[k];
            }
            x[i] /= a[i][5];
        }
        for i in (0..x.len()).rev() {
            x[i] /= a[i][5];
            for k in i.saturating_sub(5)..i {
                x[k] -= a[i][5 - (i - k)] * x[i];
            }
        }
    }
}
