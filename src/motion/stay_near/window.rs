//! Some knots in a row and the samples between them: can a curve stay near all of them, and which one does?
//!
//! Units: values in multiples of the allowed miss, so that the tube around the samples is 1 to either side. Each node has three coordinates:
//! position, velocity x s and acceleration x s^2, with its own length s.

#![allow(clippy::indexing_slicing, reason = "node and piece indices run below their own counts")]

use super::active_set::{ActiveSet, Added};
use super::basis;
use super::samples::Samples;

/// Position, velocity and acceleration at a knot, per frame.
pub(super) type State = [f64; 3];

/// What of a node is given.
#[derive(Debug, Clone, Copy)]
pub(super) enum Given {
    /// Nothing.
    Free,
    /// Velocity (where true) and acceleration are 0.
    End(bool),
    /// All of it.
    State(State),
}

/// What came of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Outcome {
    /// The curve stays near every sample asked for.
    Near,
    /// No curve with these knots does.
    Impossible,
    /// Rounding left it undecided.
    Undecided,
}

/// Half the width of the tube that windows are solved in: a hair less than 1, so that what follows has room.
const TUBE: f64 = 1.0 - 2e-7;
/// What is still taken as inside.
const SLACK: f64 = 1e-9;

/// Knots in a row. The last knot may stand anywhere: the last piece goes on beyond it.
#[derive(Debug)]
pub(super) struct Window<'s> {
    samples: Samples<'s>,
    frames: Vec<f64>,
    /// First sample of each piece, and one behind the last.
    firsts: Vec<usize>,
    scales: Vec<f64>,
    /// Index of each coordinate among the unknowns, or its value.
    coordinates: Vec<Coordinate>,
    solution: ActiveSet,
    polynomials: Vec<[f64; 6]>,
}

#[derive(Debug, Clone, Copy)]
enum Coordinate {
    Unknown(usize),
    Fixed(f64),
}

impl<'s> Window<'s> {
    /// A window over knots at samples `knots`; `beyond` puts one more knot at a frame behind them.
    pub(super) fn new(samples: Samples<'s>, knots: &[usize], beyond: Option<f64>, given: impl Fn(usize) -> Given) -> Option<Window<'s>> {
        let mut frames: Vec<f64> = knots.iter().map(|k| samples.frame(*k)).collect();
        let mut firsts = knots.to_vec();
        match beyond {
            Some(frame) => {
                frames.push(frame);
                firsts.push(knots.last().copied()? + 1);
            }
            None => *firsts.last_mut()? += 1,
        }
        let nodes = frames.len();
        let lengths: Vec<f64> = frames.windows(2).map(|w| w[1] - w[0]).collect();
        let scales: Vec<f64> = (0..nodes)
            .map(|i| {
                let before = i.checked_sub(1).map(|b| lengths[b]);
                let after = lengths.get(i).copied();
                match (before, after) {
                    (Some(b), Some(a)) => b.min(a),
                    (b, a) => b.or(a).unwrap_or(1.0),
                }
            })
            .collect();
        let mut coordinates = Vec::with_capacity(3 * nodes);
        let mut unknowns = 0;
        let mut guess = Vec::new();
        for (i, s) in scales.iter().enumerate() {
            let known = match given(i) {
                Given::Free => [None; 3],
                Given::End(rest) => [None, rest.then_some(0.0), Some(0.0)],
                Given::State([p, v, a]) => [Some(p), Some(v * s), Some(a * s * s)],
            };
            let near = samples.nearest_value(frames[i]);
            for (value, start) in known.into_iter().zip([near, 0.0, 0.0]) {
                match value {
                    Some(value) => coordinates.push(Coordinate::Fixed(value)),
                    None => {
                        coordinates.push(Coordinate::Unknown(unknowns));
                        guess.push(start);
                        unknowns += 1;
                    }
                }
            }
        }
        let (h, g) = objective(&lengths, &scales, &coordinates, &guess);
        let solution = ActiveSet::new(&h, &g)?;
        let mut window = Window { samples, frames, firsts, scales, coordinates, solution, polynomials: Vec::new() };
        window.form();
        Some(window)
    }

    /// Makes the curve stay near every sample of the window.
    pub(super) fn stay_near_all(&mut self) -> Outcome {
        for _ in 0..100 * (self.solution.x.len() + 1) {
            let Some((at, above)) = self.worst() else { return Outcome::Near };
            match self.pull(at, above) {
                Outcome::Near => {}
                other => return other,
            }
        }
        Outcome::Undecided
    }

    /// Makes the curve stay near every sample before `upto`, the last piece going on as far.
    pub(super) fn near_up_to(&mut self, upto: usize) -> Outcome {
        if let Some(last) = self.firsts.last_mut() {
            *last = upto;
        }
        self.stay_near_all()
    }

    /// Takes sample after sample into the last piece as long as the curve can stay near all; how many samples from the start of the file are near then.
    pub(super) fn reach(&mut self, upto: usize) -> Option<usize> {
        if self.stay_near_all() != Outcome::Near {
            return None;
        }
        let last = self.firsts.len() - 1;
        let (start, h) = (self.frames[last - 1], self.frames[last] - self.frames[last - 1]);
        let mut kept = self.solution.clone();
        while self.firsts[last] < upto {
            let i = self.firsts[last];
            let u = (self.samples.frame(i) - start) / h;
            if u > 2.0 {
                break;
            }
            self.firsts[last] += 1;
            let miss = basis::horner(&self.polynomials[last - 1], u) - self.samples.value(i);
            if miss.abs() <= TUBE + SLACK {
                continue;
            }
            kept.clone_from(&self.solution);
            if self.stay_near_all() != Outcome::Near {
                self.firsts[last] -= 1;
                self.solution = kept;
                self.form();
                break;
            }
        }
        Some(self.firsts[last])
    }

    /// The state at node `i`.
    pub(super) fn state(&self, i: usize) -> State {
        let s = self.scales[i];
        let x = |k: usize| self.coordinate(3 * i + k);
        [x(0), x(1) / s, x(2) / (s * s)]
    }

    /// How far the last piece goes beyond its knot, as a multiple of its length.
    pub(super) fn stretch(&self) -> f64 {
        let last = self.frames.len() - 1;
        let (start, end) = (self.frames[last - 1], self.frames[last]);
        (self.samples.frame(self.firsts[last] - 1) - start) / (end - start)
    }

    fn coordinate(&self, i: usize) -> f64 {
        match self.coordinates[i] {
            Coordinate::Unknown(k) => self.solution.x[k],
            Coordinate::Fixed(value) => value,
        }
    }

    /// Factors from a piece's own coordinates to those of its nodes.
    fn factors(&self, piece: usize) -> [f64; 6] {
        factors(self.frames[piece + 1] - self.frames[piece], self.scales[piece], self.scales[piece + 1])
    }

    fn form(&mut self) {
        self.polynomials = (0..self.frames.len() - 1)
            .map(|piece| {
                let f = self.factors(piece);
                let mut x = [0.0; 6];
                for (k, x) in x.iter_mut().enumerate() {
                    *x = f[k] * self.coordinate(3 * piece + k);
                }
                basis::coefficients(x)
            })
            .collect();
    }

    /// The sample farthest outside, and whether the curve runs above it.
    fn worst(&self) -> Option<(usize, bool)> {
        let mut worst = (TUBE + SLACK, None);
        for (piece, c) in self.polynomials.iter().enumerate() {
            let (start, h) = (self.frames[piece], self.frames[piece + 1] - self.frames[piece]);
            for i in self.firsts[piece]..self.firsts[piece + 1] {
                let miss = basis::horner(c, (self.samples.frame(i) - start) / h) - self.samples.value(i);
                // Written so that what is not a number counts as outside.
                if !(miss.abs() <= worst.0) {
                    worst = (miss.abs(), Some((i, miss > 0.0)));
                }
            }
        }
        worst.1
    }

    /// Puts the curve to the edge of the tube at sample `i`.
    fn pull(&mut self, i: usize, above: bool) -> Outcome {
        let pieces = self.frames.len() - 1;
        let piece = (0..pieces).rev().find(|p| self.firsts[*p] <= i).unwrap_or(0);
        let h = self.frames[piece + 1] - self.frames[piece];
        let row = basis::row((self.samples.frame(i) - self.frames[piece]) / h);
        let f = self.factors(piece);
        let sign = if above { -1.0 } else { 1.0 };
        let mut normal = vec![0.0; self.solution.x.len()];
        let mut fixed = 0.0;
        for k in 0..6 {
            let weight = row[k] * f[k];
            match self.coordinates[3 * piece + k] {
                Coordinate::Unknown(j) => normal[j] = sign * weight,
                Coordinate::Fixed(value) => fixed += weight * value,
            }
        }
        let edge = sign * (self.samples.value(i) - fixed) - TUBE;
        let outcome = match self.solution.add(&normal, edge) {
            Added::Holds => Outcome::Near,
            Added::Contradicts => Outcome::Impossible,
            Added::Undecided => Outcome::Undecided,
        };
        self.form();
        outcome
    }
}

/// Factors from a piece's own coordinates (velocity x h, acceleration x h^2) to those of its nodes (x s, x s^2).
pub(super) fn factors(h: f64, s0: f64, s1: f64) -> [f64; 6] {
    let (a, b) = (h / s0, h / s1);
    [1.0, a, a * a, 1.0, b, b * b]
}

/// Jerk, each piece in its own time so that long and short ones count alike, and a little of the distance from a guess, so that there is one least. Whether a curve can stay near does
/// not depend on it.
fn objective(lengths: &[f64], scales: &[f64], coordinates: &[Coordinate], guess: &[f64]) -> (Vec<f64>, Vec<f64>) {
    const LITTLE: f64 = 1e-6;
    let n = guess.len();
    let mut h = vec![0.0; n * n];
    let mut g: Vec<f64> = guess.iter().map(|x| -LITTLE * x).collect();
    for i in 0..n {
        h[i * n + i] = LITTLE;
    }
    let gram = basis::jerk_gram();
    for (piece, length) in lengths.iter().enumerate() {
        let f = factors(*length, scales[piece], scales[piece + 1]);
        for k in 0..6 {
            let Coordinate::Unknown(row) = coordinates[3 * piece + k] else { continue };
            for m in 0..6 {
                let weight = gram[k][m] * f[k] * f[m] * 1e-2;
                match coordinates[3 * piece + m] {
                    Coordinate::Unknown(column) => h[row * n + column] += weight,
                    Coordinate::Fixed(value) => g[row] += weight * value,
                }
            }
        }
    }
    (h, g)
}
