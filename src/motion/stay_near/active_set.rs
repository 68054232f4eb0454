//! Least squares of a few unknowns under many one-sided conditions, added one by one: the dual active-set method.
//!
//! What: the least 1/2 x'Hx + g'x under conditions n'x >= b, H positive definite. It starts without conditions and adds those that are found broken; so
//! a caller with thousands of conditions names only those that matter. Where a condition contradicts those in force, that is proven, not guessed from a lack of progress.
//! Source: D. Goldfarb, A. Idnani, A numerically stable dual method for solving strictly convex quadratic programs, Mathematical Programming 27, 1983 (from memory).
//! Limits: dense, for some tens of unknowns.

#![allow(clippy::indexing_slicing, reason = "dense matrices of one size n, indices below n")]

/// What came of adding a condition.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Added {
    /// It holds now, with all those in force.
    Holds,
    /// It contradicts those in force.
    Contradicts,
    /// Rounding left it undecided.
    Undecided,
}

/// The state of a solution.
#[derive(Debug, Clone, Default)]
pub(super) struct ActiveSet {
    n: usize,
    /// The unknowns.
    pub(super) x: Vec<f64>,
    /// Column by column: J with J'HJ = 1; the first columns span the conditions in force.
    j: Vec<f64>,
    /// Upper triangle, column by column, `n` long each.
    r: Vec<f64>,
    /// Multipliers of the conditions in force.
    u: Vec<f64>,
    /// Conditions tried or let go so far: what the work is counted by.
    pub(super) turns: u64,
    /// Room for what adding a condition works out on the way.
    scratch: (Vec<f64>, Vec<f64>),
}

/// Share of a condition's length below which what is left of it counts as none.
const DEPENDENT: f64 = 1e-22;

impl ActiveSet {
    /// The least without conditions. `h` is symmetric, row by row; `None` where it is not positive definite.
    pub(super) fn new(h: &[f64], g: &[f64]) -> Option<ActiveSet> {
        let n = g.len();
        let l = cholesky(h, n)?;
        // J = L'^-1, upper triangular: column k solves L' x = e_k.
        let mut j = vec![0.0; n * n];
        for k in 0..n {
            for i in (0..=k).rev() {
                let mut sum = if i == k { 1.0 } else { 0.0 };
                for m in i + 1..=k {
                    sum -= l[m * n + i] * j[k * n + m];
                }
                j[k * n + i] = sum / l[i * n + i];
            }
        }
        let mut x = vec![0.0; n];
        for k in 0..n {
            let along: f64 = (0..n).map(|i| j[k * n + i] * g[i]).sum();
            for i in 0..n {
                x[i] -= along * j[k * n + i];
            }
        }
        Some(ActiveSet {
            n,
            x,
            j,
            r: vec![0.0; n * n],
            u: Vec::with_capacity(n),
            turns: 0,
            scratch: (Vec::with_capacity(n), Vec::with_capacity(n)),
        })
    }

    /// Adds the condition n'x >= b, which `x` breaks, and goes to the least under all in force. `normal`: the parts of n that are not zero, with their unknowns in rising order.
    pub(super) fn add(&mut self, normal: &[(usize, f64)], b: f64) -> Added {
        let (mut d, mut r) = core::mem::take(&mut self.scratch);
        let added = self.add_with((normal, b), &mut d, &mut r);
        self.scratch = (d, r);
        added
    }

    /// The same with room for what is worked out on the way.
    fn add_with(&mut self, (normal, b): (&[(usize, f64)], f64), d: &mut Vec<f64>, r: &mut Vec<f64>) -> Added {
        let n = self.n;
        let mut multiplier = 0.0;
        d.resize(n, 0.0);
        for _ in 0..10 * n + 50 {
            self.turns += 1;
            let q = self.u.len();
            for (d, column) in d.iter_mut().zip(self.j.chunks_exact(n)) {
                *d = normal.iter().map(|(i, part)| column[*i] * part).sum();
            }
            let whole: f64 = d.iter().map(|x| x * x).sum();
            let free: f64 = d[q..].iter().map(|x| x * x).sum();
            // r = R^-1 d1.
            r.clear();
            r.extend_from_slice(&d[..q]);
            for i in (0..q).rev() {
                let mut left = r[i];
                for (column, r) in self.r.chunks_exact(n).zip(&*r).take(q).skip(i + 1) {
                    left -= column[i] * r;
                }
                r[i] = left / self.r[i * n + i];
            }
            let scale = r.iter().fold(0.0_f64, |m, r| m.max(r.abs()));
            let mut leaves: Option<(usize, f64)> = None;
            for (i, (r, u)) in r.iter().zip(&self.u).enumerate() {
                if *r > 1e-12 * scale && leaves.is_none_or(|(_, t)| u / r < t) {
                    leaves = Some((i, u / r));
                }
            }
            let dependent = q == n || free <= DEPENDENT * whole;
            if dependent {
                let Some((out, t)) = leaves else { return Added::Contradicts };
                for (u, r) in self.u.iter_mut().zip(&*r) {
                    *u -= t * r;
                }
                multiplier += t;
                self.drop(out);
                continue;
            }
            let missing = b - normal.iter().map(|(i, part)| part * self.x[*i]).sum::<f64>();
            let full = missing / free;
            if !full.is_finite() {
                return Added::Undecided;
            }
            let t = leaves.map_or(full, |(_, t)| t.min(full));
            for (column, d) in self.j.chunks_exact(n).zip(&*d).skip(q) {
                let along = t * d;
                for (x, j) in self.x.iter_mut().zip(column) {
                    *x += along * j;
                }
            }
            for (u, r) in self.u.iter_mut().zip(&*r) {
                *u -= t * r;
            }
            multiplier += t;
            match leaves {
                Some((out, at)) if at < full => self.drop(out),
                _ => {
                    self.take_in(d, multiplier);
                    return Added::Holds;
                }
            }
        }
        Added::Undecided
    }

    /// Turns J so that the condition with components `d` is spanned by one more column.
    fn take_in(&mut self, d: &mut [f64], multiplier: f64) {
        let (n, q) = (self.n, self.u.len());
        for k in (q + 1..n).rev() {
            self.turn(k - 1, d, k);
        }
        self.r[q * n..=q * n + q].copy_from_slice(&d[..=q]);
        self.u.push(multiplier);
    }

    /// The rotation of columns k-1 and k of J that makes `d[k]` zero.
    fn turn(&mut self, at: usize, d: &mut [f64], k: usize) {
        let (a, b) = (d[at], d[k]);
        if b == 0.0 {
            return;
        }
        let length = (a * a + b * b).sqrt();
        let (c, s) = (a / length, b / length);
        d[at] = length;
        d[k] = 0.0;
        self.rotate(at, k, c, s);
    }

    fn rotate(&mut self, one: usize, two: usize, c: f64, s: f64) {
        let n = self.n;
        let (left, right) = self.j.split_at_mut(two * n);
        for (a, b) in left[one * n..(one + 1) * n].iter_mut().zip(&mut right[..n]) {
            (*a, *b) = (c * *a + s * *b, c * *b - s * *a);
        }
    }

    /// Takes condition `out` out of force.
    fn drop(&mut self, out: usize) {
        let (n, q) = (self.n, self.u.len());
        for k in out + 1..q {
            for i in 0..=k {
                self.r[(k - 1) * n + i] = self.r[k * n + i];
            }
            // Column k-1 now reaches down to row k: one rotation of rows k-1 and k.
            let (a, b) = (self.r[(k - 1) * n + k - 1], self.r[(k - 1) * n + k]);
            let length = (a * a + b * b).sqrt();
            let (c, s) = if length == 0.0 { (1.0, 0.0) } else { (a / length, b / length) };
            self.r[(k - 1) * n + k - 1] = length;
            self.r[(k - 1) * n + k] = 0.0;
            for m in k + 1..q {
                let (a, b) = (self.r[m * n + k - 1], self.r[m * n + k]);
                self.r[m * n + k - 1] = c * a + s * b;
                self.r[m * n + k] = c * b - s * a;
            }
            self.rotate(k - 1, k, c, s);
        }
        self.u.remove(out);
    }
}

/// The lower triangle L with LL' = h, row by row.
fn cholesky(h: &[f64], n: usize) -> Option<Vec<f64>> {
    let mut l = vec![0.0; n * n];
    for i in 0..n {
        for k in 0..=i {
            let mut sum = h[i * n + k];
            for m in 0..k {
                sum -= l[i * n + m] * l[k * n + m];
            }
            if i == k {
                if !(sum > 0.0) {
                    return None;
                }
                l[i * n + i] = sum.sqrt();
            } else {
                l[i * n + k] = sum / l[k * n + k];
            }
        }
    }
    Some(l)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    /// Example of Goldfarb and Idnani's paper as many solvers quote it (from memory): least 1/2 x'x - (0, 5, 0)x under three conditions.
    #[test]
    fn a_known_example_has_its_known_solution() {
        let h = [1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0];
        let mut s = ActiveSet::new(&h, &[0.0, -5.0, 0.0]).unwrap();
        let conditions = [([(0, -4.0), (1, -3.0)], -8.0), ([(0, 2.0), (1, 1.0)], 2.0), ([(1, -2.0), (2, 1.0)], 0.0)];
        for _ in 0..10 {
            let broken = conditions.iter().find(|(n, b)| n.iter().map(|(i, n)| n * s.x[*i]).sum::<f64>() < b - 1e-12);
            let Some((n, b)) = broken else { break };
            assert_eq!(s.add(n, *b), Added::Holds);
        }
        for (got, want) in s.x.iter().zip([10.0 / 21.0, 22.0 / 21.0, 44.0 / 21.0]) {
            assert!((got - want).abs() < 1e-12, "{:?}", s.x);
        }
    }

    #[test]
    fn contradictions_are_found() {
        let mut s = ActiveSet::new(&[2.0, 0.0, 0.0, 3.0], &[0.0, 0.0]).unwrap();
        assert_eq!(s.add(&[(0, 1.0), (1, 1.0)], 4.0), Added::Holds);
        assert_eq!(s.add(&[(0, 1.0), (1, -1.0)], 2.0), Added::Holds);
        assert_eq!(s.add(&[(0, -1.0)], -2.5), Added::Contradicts);
    }
}
