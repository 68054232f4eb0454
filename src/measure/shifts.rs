//! A log that is late or early by some frames, from its beginning or from a frame on.
//!
//! What: for each number of frames, e is the logged position less the commanded one of that many frames before or after. Late from frame F on leaves d^2 summed before F and e^2
//! from F on; the F at which that is least is where the sum of d^2 - e^2 so far is least, so that every F is tried with one number remembered.
//! Before the pass's first row and after its last one the axis stands or goes on as fast, whichever suits.
//! Units: rows of the pass are its frames; positions in steps. Invariant: memory does not grow with rows.

use super::cause::{CauseKind, Model};
use super::seen::Seen;

/// Most frames that a take is looked for earlier or later.
const MOST: usize = 8;

/// Fewest rows that say so.
const FEWEST: f64 = 8.0;

#[derive(Debug, Clone, Copy, Default)]
struct Shift {
    rows: f64,
    /// Sum of e^2, and of d^2 - e^2.
    left: f64,
    saved: f64,
    /// Where the latter was least.
    least: f64,
    rows_before: f64,
    first: Option<i64>,
    frame: i64,
}

impl Shift {
    fn add(&mut self, seen: &Seen, e: f64) {
        if seen.logged.is_nan() {
            return;
        }
        let first = *self.first.get_or_insert(seen.frame);
        if self.rows == 0.0 {
            self.frame = first;
        }
        if self.saved < self.least {
            (self.least, self.frame, self.rows_before) = (self.saved, seen.frame, self.rows);
        }
        self.rows += 1.0;
        self.left += e * e;
        self.saved += seen.deviation() * seen.deviation() - e * e;
    }
}

/// Every shift while rows are taken in.
#[derive(Debug, Clone, Default)]
pub(super) struct Shifts {
    /// The last rows, the latest first.
    before: [Option<Seen>; MOST],
    late: [Shift; MOST],
    early: [Shift; MOST],
    rows: usize,
    start: f64,
    /// How far the axis went in its first frame.
    stride: f64,
}

impl Shifts {
    pub(super) fn add(&mut self, now: &Seen) {
        match self.rows {
            0 => self.start = now.target,
            1 => self.stride = now.target - self.start,
            _ => {}
        }
        let near = |target: f64, y: f64| if (y - target).abs() < (y - self.start).abs() { y - target } else { y - self.start };
        for (k, (late, early)) in (1_usize..).zip(self.late.iter_mut().zip(&mut self.early)) {
            match self.before.get(k - 1).copied().flatten() {
                Some(then) => {
                    late.add(now, now.logged - then.target);
                    early.add(&then, then.logged - now.target);
                }
                // Which way it came is known from the second row on.
                None if self.rows > 0 => late.add(now, near(self.start - (k - self.rows) as f64 * self.stride, now.logged)),
                None => {}
            }
        }
        self.before.rotate_right(1);
        if let Some(latest) = self.before.first_mut() {
            *latest = Some(*now);
        }
        self.rows += 1;
    }

    /// There are no more rows.
    pub(super) fn end(&mut self) {
        let [Some(last), Some(then), ..] = self.before else { return };
        let stride = last.target - then.target;
        for (k, early) in (1_usize..).zip(&mut self.early) {
            // The oldest first.
            for (back, seen) in self.before.iter().enumerate().take(k).rev() {
                let Some(seen) = seen else { continue };
                let goes_on = last.target + (k - back) as f64 * stride;
                let (near, far) = (seen.logged - goes_on, seen.logged - last.target);
                early.add(seen, if near.abs() < far.abs() { near } else { far });
            }
        }
    }

    /// The shift that leaves least, throughout and from a frame on. `rows`, `squares`: of all deviations.
    pub(super) fn models(&self, rows: f64, squares: f64) -> Vec<Model> {
        let late = (1_i32..).zip(&self.late);
        let early = (1_i32..).map(|k| -k).zip(&self.early);
        let all: Vec<(i32, &Shift)> = late.chain(early).filter(|(_, s)| s.rows >= FEWEST).collect();
        let best = |left: &dyn Fn(&Shift) -> f64| {
            let order = |a: &&(i32, &Shift), b: &&(i32, &Shift)| left(a.1).total_cmp(&left(b.1)).then(a.0.abs().cmp(&b.0.abs()));
            all.iter().min_by(order).copied()
        };
        let mut models = Vec::new();
        if let Some((k, s)) = best(&|s| s.left) {
            models.push(Model::new(CauseKind::FrameShift, s.left, 1.0, rows, s.first.unwrap_or_default(), f64::from(k)));
        }
        if let Some((k, s)) = best(&|s| s.left + s.least).filter(|(_, s)| s.rows_before > 0.0 && s.rows_before < s.rows && squares > 0.0) {
            models.push(Model::new(CauseKind::FrameShift, s.left + s.least, 3.0, s.rows - s.rows_before, s.frame, f64::from(k)));
        }
        models
    }
}
