//! The models of faults of one axis in one take, fitted row by row.
//!
//! What: d is the deviation, t the commanded and y the logged position. Straight lines through a fixed point (offset, scale, drift) are least squares by sums; sign and
//! units have no parameter; a scale and a sign are taken about home and about where the take began. Where something begins at a frame F, the sum of squares that is left is
//! followed for every F at once: for one jump from the totals, which the first look knows; for a log that is late or early from F on as the least prefix of the sum of
//! d^2 - (y - t of the other frame)^2; for an axis that stands from F on as the last stretch of rows within a band about their mean.
//! Units: steps, in the direction of positive travel. Invariant: memory does not grow with rows.

use super::cause::{CauseKind, Model};
use super::jumps::Jumps;
use super::seen::Seen;
use super::shifts::Shifts;
use super::sides::Sides;

/// Half the width of the band in which a take stands still or is on one level, in times of noise.
const BAND: f64 = 6.0;

/// What is known of axis and take before its rows are read again.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Known {
    /// Rows with a position, and the sum of their deviations.
    pub(super) rows: f64,
    pub(super) sum: f64,
    pub(super) noise: f64,
    /// What a position is multiplied with where its unit is mistaken.
    pub(super) mistaken: f64,
    /// Backlash of the axis, where the stage has it.
    pub(super) backlash: Option<f64>,
    /// Whether the commanded position changes.
    pub(super) moves: bool,
}

/// The models while rows are taken in.
#[derive(Debug, Clone)]
pub(super) struct Fit {
    known: Known,
    /// The first row with a position.
    first: Option<Seen>,
    rows: f64,
    /// Sum of squares of the deviations.
    squares: f64,
    /// Of the deviations less the first of them.
    off_sum: f64,
    off_squares: f64,
    home: Product,
    start: Product,
    time: Product,
    last_frame: i64,
    sign_home: f64,
    sign_start: f64,
    units: f64,
    largest: f64,
    stands: Stands,
    jumps: Jumps,
    sides: Sides,
    shifts: Shifts,
}

/// Sums for a line through a point.
#[derive(Debug, Clone, Copy, Default)]
struct Product {
    xx: f64,
    xd: f64,
}

impl Product {
    fn add(&mut self, x: f64, d: f64) {
        self.xx += x * x;
        self.xd += x * d;
    }

    /// Slope, and the squares that it explains.
    fn slope(&self) -> Option<(f64, f64)> {
        (self.xx > 0.0).then(|| (self.xd / self.xx, self.xd * self.xd / self.xx))
    }
}

/// A stretch of rows up to the last one in which the take stands.
#[derive(Debug, Clone, Copy, Default)]
struct Stands {
    rows: f64,
    first: f64,
    sum: f64,
    squares: f64,
    /// Sum of squares of the deviations before it.
    before: f64,
    least: f64,
    greatest: f64,
    /// Frame at which it most likely began: where the sum of squares that this saves, from the stretch's beginning, was least.
    saved: f64,
    least_saved: f64,
    frame: i64,
    rows_before_frame: f64,
}

impl Stands {
    fn add(&mut self, seen: &Seen, band: f64, squares: f64) {
        let mean = self.first + self.sum / self.rows.max(1.0);
        if !(self.rows > 0.0 && (seen.logged - mean).abs() <= band) {
            *self = Stands {
                first: seen.logged,
                before: squares,
                least: seen.target,
                greatest: seen.target,
                frame: seen.frame,
                ..Stands::default()
            };
        }
        let mean = self.first + self.sum / self.rows.max(1.0);
        if self.saved < self.least_saved {
            (self.least_saved, self.frame, self.rows_before_frame) = (self.saved, seen.frame, self.rows);
        }
        self.rows += 1.0;
        let off = seen.logged - self.first;
        self.sum += off;
        self.squares += off * off;
        self.least = self.least.min(seen.target);
        self.greatest = self.greatest.max(seen.target);
        self.saved += seen.deviation() * seen.deviation() - (seen.logged - mean) * (seen.logged - mean);
    }

    fn left(&self) -> f64 {
        self.before + self.squares - self.sum * self.sum / self.rows
    }
}

impl Fit {
    pub(super) fn new(known: Known) -> Fit {
        let band = BAND * known.noise;
        Fit {
            known,
            first: None,
            rows: 0.0,
            squares: 0.0,
            off_sum: 0.0,
            off_squares: 0.0,
            home: Product::default(),
            start: Product::default(),
            time: Product::default(),
            last_frame: 0,
            sign_home: 0.0,
            sign_start: 0.0,
            units: 0.0,
            largest: 0.0,
            stands: Stands::default(),
            jumps: Jumps::new(known.rows, known.sum, band),
            sides: Sides::default(),
            shifts: Shifts::default(),
        }
    }

    /// Takes in the next row of the pass; `direction` is the sign of its last motion up to there, 0 where it has not moved.
    pub(super) fn add(&mut self, seen: Seen, direction: f64) {
        if direction != self.sides.direction() && self.sides.direction() != 0.0 {
            self.jumps.turned(self.rows);
        }
        self.sides.next(&seen, direction);
        self.shifts.add(&seen);
        if seen.logged.is_nan() {
            return;
        }
        let (t, y, d) = (seen.target, seen.logged, seen.deviation());
        let first = *self.first.get_or_insert(seen);
        self.jumps.add(seen.frame, d);
        self.stands.add(&seen, BAND * self.known.noise, self.squares);
        self.rows += 1.0;
        self.squares += d * d;
        let off = d - first.deviation();
        self.off_sum += off;
        self.off_squares += off * off;
        self.home.add(t, d);
        self.start.add(t - first.target, d);
        self.time.add((seen.frame - first.frame) as f64, d);
        self.last_frame = seen.frame;
        let square = |x: f64| x * x;
        self.sign_home += square(y + t);
        self.sign_start += square(y + t - 2.0 * first.target);
        self.units += square(y - self.known.mistaken * t);
        self.largest = self.largest.max(d.abs());
    }

    /// Sum of squares of the deviations.
    pub(super) fn squares(&self) -> f64 {
        self.squares
    }

    /// The frame of the first row, and the largest deviation.
    pub(super) fn from(&self) -> (i64, f64) {
        (self.first.map_or(0, |f| f.frame), self.largest)
    }

    /// Every model that can be fitted.
    pub(super) fn models(&mut self) -> Vec<Model> {
        let Some(first) = self.first else { return Vec::new() };
        self.sides.end();
        self.shifts.end();
        let (n, frame) = (self.rows, first.frame);
        let mut models = Vec::new();
        let mean = first.deviation() + self.off_sum / n;
        models.push(Model::new(CauseKind::Offset, self.off_squares - self.off_sum * self.off_sum / n, 1.0, n, frame, mean));
        // A multiple of a position that never changes is an offset.
        if self.known.moves {
            for product in [self.home, self.start] {
                if let Some((slope, explained)) = product.slope() {
                    models.push(Model::new(CauseKind::Scale, self.squares - explained, 1.0, n, frame, 1.0 + slope));
                }
            }
        }
        if let Some((slope, explained)) = self.time.slope() {
            let whole = slope * (self.last_frame - frame) as f64;
            models.push(Model::new(CauseKind::Drift, self.squares - explained, 1.0, n, frame, whole));
        }
        for left in [self.sign_home, self.sign_start] {
            models.push(Model::new(CauseKind::Sign, left, 0.0, n, frame, -1.0));
        }
        models.push(Model::new(CauseKind::Units, self.units, 0.0, n, frame, self.known.mistaken));
        let stands = &self.stands;
        if stands.rows >= 2.0 && stands.greatest - stands.least > BAND * self.known.noise {
            let whole = stands.rows == n;
            let (parameters, from) = if whole && stands.rows_before_frame == 0.0 { (1.0, frame) } else { (3.0, stands.frame) };
            let rows = stands.rows - stands.rows_before_frame;
            models.push(Model::new(CauseKind::Frozen, stands.left(), parameters, rows, from, self.largest));
        }
        models.extend(self.shifts.models(n, self.squares));
        let sides = self.sides.model();
        let lost = self.jumps.models(self.squares);
        // Jumps at reversals, each by what the axis has for backlash, may be that, even where it is not taken up again. Those that come and go there are no steps lost.
        let as_backlash = self.known.backlash.and_then(|b| self.jumps.as_backlash(b));
        let come_and_go = self.jumps.come_and_go_at_turns();
        models.extend(sides);
        models.extend(as_backlash);
        models.extend(lost.into_iter().filter(|m| !come_and_go || m.further.is_empty()));
        models
    }
}
