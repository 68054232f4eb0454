//! Some knots in a row and the samples between them: can a curve stay near all of them, and which one does?
//!
//! Units: values in multiples of the allowed miss, so that the tube around the samples is 1 to either side. Each node has three coordinates:
//! position, velocity x s and acceleration x s^2, with its own length s.

#![allow(clippy::indexing_slicing, reason = "node and piece indices run below their own counts")]

use super::active_set::{ActiveSet, Added};
use super::basis;
use super::samples::Samples;
use super::work::Work;

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
    /// Rounding left it undecided, or the work is used up.
    Undecided,
}

/// Which of the curves that stay near is looked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Aim {
    /// The one of least jerk.
    LeastJerk,
    /// The one with the least squares of the misses, all but: it starts near the samples, so that few of them are pulled before it is known whether there is one at all.
    LeastSquares,
}

/// What the square of a miss counts beside the measure of jerk.
const OF_MISSES: f64 = 1e3;

/// Half the width of the tube that windows are solved in: a hair less than 1, so that what follows has room.
const TUBE: f64 = 1.0 - 2e-7;
/// What is still taken as inside.
const SLACK: f64 = 1e-9;
/// Times in a row that a sample may be pulled: where it is still the farthest outside then, rounding keeps it there.
const IN_A_ROW: u32 = 4;
/// Pulls of all samples for each unknown before rounding is taken to send the curve in circles; windows that end need five or fewer.
const MOST_PULLS: usize = 20;
/// Samples that are looked at together.
const AT_ONCE: usize = 8;

/// Knots in a row. The last knot may stand anywhere: the last piece goes on beyond it.
#[derive(Debug)]
pub(super) struct Window<'s> {
    samples: Samples<'s>,
    work: &'s Work,
    frames: Vec<f64>,
    /// First sample of each piece, and one behind the last.
    firsts: Vec<usize>,
    scales: Vec<f64>,
    /// Index of each coordinate among the unknowns, or its value.
    coordinates: Vec<Coordinate>,
    solution: ActiveSet,
    polynomials: Vec<[f64; 6]>,
    /// Local time of every sample in its piece, from the first sample on.
    places: Vec<f64>,
}

#[derive(Debug, Clone, Copy)]
enum Coordinate {
    Unknown(usize),
    Fixed(f64),
}

/// Unknowns of a piece, and what each counts.
struct Parts {
    parts: [(usize, f64); 6],
    count: usize,
}

impl Parts {
    fn unknowns(&self) -> &[(usize, f64)] {
        &self.parts[..self.count]
    }
}

impl<'s> Window<'s> {
    /// A window over knots at samples `knots`; `beyond` puts one more knot at a frame behind them.
    pub(super) fn new(
        (samples, work): (Samples<'s>, &'s Work),
        knots: &[usize],
        beyond: Option<f64>,
        aim: Aim,
        given: impl Fn(usize) -> Given,
    ) -> Option<Window<'s>> {
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
        work.take(unknowns * unknowns * (unknowns / 3 + 10));
        let (mut h, mut g) = objective(&lengths, &scales, &coordinates, &guess);
        let polynomials = vec![[0.0; 6]; lengths.len()];
        let solution = ActiveSet::default();
        let mut window = Window { samples, work, frames, firsts, scales, coordinates, solution, polynomials, places: Vec::new() };
        window.place();
        if aim == Aim::LeastSquares {
            window.add_squares(&mut h, &mut g);
        }
        window.solution = ActiveSet::new(&h, &g)?;
        window.form();
        Some(window)
    }

    /// Adds the squares of the misses to the objective.
    fn add_squares(&self, h: &mut [f64], g: &mut [f64]) {
        let n = g.len();
        self.work.take(50 * self.places.len());
        for piece in 0..self.frames.len() - 1 {
            for i in self.firsts[piece]..self.firsts[piece + 1] {
                let (parts, fixed) = self.parts(piece, i);
                let left = fixed - self.samples.value(i);
                for (row, part) in parts.unknowns() {
                    g[*row] += OF_MISSES * part * left;
                    for (column, other) in parts.unknowns() {
                        h[row * n + column] += OF_MISSES * part * other;
                    }
                }
            }
        }
    }

    /// Notes the local times of samples that came in.
    fn place(&mut self) {
        for (piece, knots) in self.frames.windows(2).enumerate() {
            let (start, h) = (knots[0], knots[1] - knots[0]);
            let known = self.firsts[0] + self.places.len();
            let samples = self.samples;
            self.places.extend((self.firsts[piece].max(known)..self.firsts[piece + 1]).map(|i| (samples.frame(i) - start) / h));
        }
    }

    /// Makes the curve stay near every sample of the window.
    pub(super) fn stay_near_all(&mut self) -> Outcome {
        let unknowns = self.solution.x.len();
        let (mut last, mut in_a_row) = (None, 0);
        for _ in 0..MOST_PULLS * (unknowns + 1) {
            let Some((at, above)) = self.worst() else { return Outcome::Near };
            in_a_row = if last == Some((at, above)) { in_a_row + 1 } else { 1 };
            last = Some((at, above));
            if in_a_row > IN_A_ROW || self.work.is_used_up() {
                return Outcome::Undecided;
            }
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
        self.place();
        self.stay_near_all()
    }

    /// Takes samples into the last piece as long as the curve can stay near all; how many samples from the start of the file are near then.
    pub(super) fn reach(&mut self, upto: usize) -> Option<usize> {
        if self.stay_near_all() != Outcome::Near {
            return None;
        }
        let last = self.firsts.len() - 1;
        let (start, h) = (self.frames[last - 1], self.frames[last] - self.frames[last - 1]);
        let mut kept = self.solution.clone();
        // Twice as many at a time; once they were too many, half of what is left open.
        let (mut more, mut too_many) = (4, upto + 1);
        loop {
            let near = self.firsts[last];
            let to = (near + more).min(too_many - 1);
            for i in near..to {
                let u = (self.samples.frame(i) - start) / h;
                if u > 2.0 {
                    break;
                }
                self.places.push(u);
                self.firsts[last] += 1;
            }
            let taken = self.firsts[last];
            if taken == near {
                return Some(near);
            }
            kept.clone_from(&self.solution);
            if self.stay_near_all() == Outcome::Near {
                more = if too_many > upto { 2 * more } else { (too_many - taken).div_ceil(2) };
                if taken < to {
                    return Some(taken);
                }
            } else {
                self.places.truncate(near - self.firsts[0]);
                self.firsts[last] = near;
                self.solution.clone_from(&kept);
                self.form();
                too_many = taken;
                more = (taken - near) / 2;
            }
        }
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
        for piece in 0..self.frames.len() - 1 {
            let f = self.factors(piece);
            let mut x = [0.0; 6];
            for (k, x) in x.iter_mut().enumerate() {
                *x = f[k] * self.coordinate(3 * piece + k);
            }
            self.polynomials[piece] = basis::coefficients(x);
        }
    }

    /// The sample farthest outside, and whether the curve runs above it.
    fn worst(&self) -> Option<(usize, bool)> {
        let mut worst = (TUBE + SLACK, None);
        let first = self.firsts[0];
        self.work.take(4 * self.places.len());
        for (piece, c) in self.polynomials.iter().enumerate() {
            let (from, to) = (self.firsts[piece], self.firsts[piece + 1]);
            let values = self.samples.values(from, to);
            let places = &self.places[from - first..to - first];
            for (n, (places, values)) in places.chunks(AT_ONCE).zip(values.chunks(AT_ONCE)).enumerate() {
                let mut misses = [0.0; AT_ONCE];
                for ((miss, u), value) in misses.iter_mut().zip(places).zip(values) {
                    *miss = basis::horner(c, *u) - value;
                }
                // Written so that what is not a number counts as outside.
                if misses.iter().all(|miss| miss.abs() <= worst.0) {
                    continue;
                }
                for (k, miss) in misses.iter().take(places.len()).enumerate() {
                    if !(miss.abs() <= worst.0) {
                        worst = (miss.abs(), Some((from + n * AT_ONCE + k, *miss > 0.0)));
                    }
                }
            }
        }
        worst.1
    }

    /// What each unknown counts at sample `i`, and what is known of the curve there.
    fn parts(&self, piece: usize, i: usize) -> (Parts, f64) {
        let row = basis::row(self.places[i - self.firsts[0]]);
        let f = self.factors(piece);
        let mut unknown = Parts { parts: [(0, 0.0); 6], count: 0 };
        let mut fixed = 0.0;
        for k in 0..6 {
            let weight = row[k] * f[k];
            match self.coordinates[3 * piece + k] {
                Coordinate::Unknown(j) => {
                    unknown.parts[unknown.count] = (j, weight);
                    unknown.count += 1;
                }
                Coordinate::Fixed(value) => fixed += weight * value,
            }
        }
        (unknown, fixed)
    }

    /// Puts the curve to the edge of the tube at sample `i`.
    fn pull(&mut self, i: usize, above: bool) -> Outcome {
        let pieces = self.frames.len() - 1;
        let piece = (0..pieces).rev().find(|p| self.firsts[*p] <= i).unwrap_or(0);
        let (mut normal, fixed) = self.parts(piece, i);
        let sign = if above { -1.0 } else { 1.0 };
        normal.parts.iter_mut().for_each(|(_, part)| *part *= sign);
        let edge = sign * (self.samples.value(i) - fixed) - TUBE;
        let (unknowns, turns) = (self.solution.x.len(), self.solution.turns);
        let added = self.solution.add(normal.unknowns(), edge);
        let turns = usize::try_from(self.solution.turns - turns).unwrap_or(usize::MAX);
        self.work.take(turns.saturating_mul(4 * unknowns * unknowns + 50));
        let outcome = match added {
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
