//! Deviations on levels: none at first, and from some frames on another one.
//!
//! What: one jump is found exactly, as the frame at which a jump explains most, from the total that the first look knows. Up to four are found row by row: a new level begins
//! where three rows in a row, or the last rows, leave the level so far by more than a band and agree among themselves.
//! Units: steps. Invariant: memory does not grow with rows.

use super::cause::{CauseKind, Model};

/// Jumps that are followed; a take with more is no plain case of lost steps.
const MOST: usize = 4;

/// Rows that make a level.
const FEWEST: f64 = 3.0;

/// Levels while rows are taken in.
#[derive(Debug, Clone)]
pub(super) struct Jumps {
    total_rows: f64,
    total: f64,
    band: f64,
    rows: f64,
    sum: f64,
    /// What the best single jump explains, and where it is.
    explains: f64,
    single: Jump,
    /// Levels that are over.
    over: Vec<Level>,
    now: Level,
    /// Rows that may begin another one.
    next: Option<Level>,
    last_turn: Option<f64>,
}

#[derive(Debug, Clone, Copy, Default, PartialEq)]
struct Jump {
    frame: i64,
    /// Row, from 0.
    row: f64,
    by: f64,
    at_turn: bool,
}

/// Deviations near one value: their mean, and their sum of squares about it.
#[derive(Debug, Clone, Copy, Default)]
struct Level {
    begins: Jump,
    n: f64,
    mean: f64,
    squares: f64,
}

impl Level {
    /// Running mean and sum of squares (B. Welford, Technometrics 4(3) 1962, from memory).
    fn add(&mut self, x: f64) {
        self.n += 1.0;
        let off = x - self.mean;
        self.mean += off / self.n;
        self.squares += off * (x - self.mean);
    }

    /// Takes in what another level holds.
    fn absorb(&mut self, other: &Level) {
        let n = self.n + other.n;
        let off = other.mean - self.mean;
        self.squares += other.squares + off * off * self.n * other.n / n;
        self.mean += off * other.n / n;
        self.n = n;
    }
}

impl Jumps {
    pub(super) fn new(total_rows: f64, total: f64, band: f64) -> Jumps {
        Jumps {
            total_rows,
            total,
            band,
            rows: 0.0,
            sum: 0.0,
            explains: 0.0,
            single: Jump::default(),
            over: Vec::new(),
            now: Level::default(),
            next: None,
            last_turn: None,
        }
    }

    /// The axis moves the other way from this row on.
    pub(super) fn turned(&mut self, row: f64) {
        self.last_turn = Some(row);
        let levels = self.over.iter_mut().chain([&mut self.now]).chain(&mut self.next).map(|level| &mut level.begins);
        for jump in levels.chain([&mut self.single]) {
            jump.at_turn |= jump.row >= row - 1.0;
        }
    }

    pub(super) fn add(&mut self, frame: i64, d: f64) {
        let row = self.rows;
        let at_turn = self.last_turn.is_some_and(|turn| row - turn <= 1.0);
        let mut here = Jump { frame, row, by: 0.0, at_turn };
        self.level(here, d);
        if row > 0.0 && row < self.total_rows {
            let (rest, rows) = (self.total - self.sum, self.total_rows - row);
            if rest * rest / rows > self.explains {
                here.by = rest / rows;
                (self.explains, self.single) = (rest * rest / rows, here);
            }
        }
        self.sum += d;
        self.rows += 1.0;
    }

    fn level(&mut self, begins: Jump, d: f64) {
        if self.over.len() > MOST {
            return;
        }
        if self.now.n == 0.0 || (d - self.now.mean).abs() <= self.band {
            if let Some(next) = self.next.take() {
                self.now.absorb(&next);
            }
            self.now.add(d);
            return;
        }
        let new = Level { begins, n: 1.0, mean: d, squares: 0.0 };
        match &mut self.next {
            Some(next) if (d - next.mean).abs() <= self.band => next.add(d),
            Some(next) => self.now.absorb(&core::mem::replace(next, new)),
            None => self.next = Some(new),
        }
        if let Some(next) = self.next.filter(|next| next.n >= FEWEST) {
            self.next = None;
            self.over.push(core::mem::replace(&mut self.now, next));
        }
    }

    /// All jumps with their sizes, and what they leave; none where they are too many or come back to no deviation.
    fn several(&self) -> Option<(Vec<Jump>, f64)> {
        let levels: Vec<Level> = self.over.iter().copied().chain([self.now]).chain(self.next).collect();
        let last = levels.last()?;
        // What comes back was not lost.
        if levels.len() < 3 || levels.len() > MOST + 1 || last.mean.abs() <= self.band {
            return None;
        }
        // The first level is at no deviation.
        let mut before = 0.0;
        let mut left = levels.first().map_or(0.0, |l| l.n * l.mean * l.mean);
        let mut jumps = Vec::new();
        for (i, level) in levels.iter().enumerate() {
            left += level.squares;
            if i > 0 {
                jumps.push(Jump { by: level.mean - before, ..level.begins });
                before = level.mean;
            }
        }
        Some((jumps, left))
    }

    /// One jump, and more than one. `squares`: sum of squares of all deviations.
    pub(super) fn models(&self, squares: f64) -> Vec<Model> {
        let mut models = Vec::new();
        if self.explains > 0.0 {
            let j = &self.single;
            models.push(Model::new(CauseKind::LostSteps, squares - self.explains, 3.0, self.rows - j.row, j.frame, j.by));
        }
        if let Some((jumps, left)) = self.several() {
            models.extend(many(CauseKind::LostSteps, &jumps, left, self.rows));
        }
        models
    }

    /// Whether there is more than one jump, each where the axis turns, and each the other way than the one before.
    pub(super) fn come_and_go_at_turns(&self) -> bool {
        let Some((jumps, _)) = self.several() else { return false };
        let back = jumps.iter().zip(jumps.iter().skip(1)).all(|(a, b)| a.by * b.by < 0.0);
        back && jumps.iter().all(|jump| jump.at_turn)
    }

    /// Backlash of this size at every jump, where each is at a turn and as large.
    pub(super) fn as_backlash(&self, backlash: f64) -> Option<Model> {
        let (jumps, left) = self.several()?;
        let alike = |j: &Jump| j.at_turn && (j.by.abs() - backlash).abs() <= (0.5 * self.band).max(1.0);
        let mut model = many(CauseKind::Backlash, &jumps, left, self.rows).filter(|_| jumps.iter().all(alike))?;
        model.further.clear();
        model.amount = backlash;
        Some(model)
    }
}

fn many(kind: CauseKind, jumps: &[Jump], left: f64, rows: f64) -> Option<Model> {
    let first = jumps.first()?;
    let parameters = 3.0 * jumps.len() as f64;
    let mut model = Model::new(kind, left, parameters, rows - first.row, first.frame, first.by);
    model.further = jumps.iter().skip(1).map(|j| (j.frame, j.by)).collect();
    Some(model)
}
