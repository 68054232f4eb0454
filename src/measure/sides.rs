//! Deviations by direction of travel: backlash.
//!
//! What: one level for either direction of travel, and one of its own before the axis first moves, where it stands as the move before left it. Where the axis reverses it is on
//! neither side for as long as it stands there; those rows count to the side that suits them. An axis that never reverses may lag from where it sets out.
//! Units: steps, in the direction of positive travel. Invariant: memory does not grow with rows.

use super::cause::{CauseKind, Model};
use super::seen::Seen;

/// Levels while rows are taken in.
#[derive(Debug, Clone, Default)]
pub(super) struct Sides {
    /// The first deviation: sums are of differences from it.
    reference: Option<f64>,
    direction: f64,
    target: Option<f64>,
    rest: Class,
    up: Class,
    down: Class,
    /// Rows at a reversal, by the direction that ends there.
    up_last: Class,
    down_last: Class,
    /// Rows since the axis last moved.
    here: Class,
    reverses: bool,
}

#[derive(Debug, Clone, Copy, Default)]
struct Class {
    n: f64,
    sum: f64,
    squares: f64,
    frame: Option<i64>,
}

impl Class {
    fn plus(self, other: Class) -> Class {
        let frame = match (self.frame, other.frame) {
            (Some(a), Some(b)) => Some(a.min(b)),
            (a, b) => a.or(b),
        };
        Class { n: self.n + other.n, sum: self.sum + other.sum, squares: self.squares + other.squares, frame }
    }

    fn left(&self) -> f64 {
        if self.n > 0.0 { self.squares - self.sum * self.sum / self.n } else { 0.0 }
    }

    fn mean(&self) -> f64 {
        self.sum / self.n
    }
}

impl Sides {
    /// Sign of the last motion so far.
    pub(super) fn direction(&self) -> f64 {
        self.direction
    }

    pub(super) fn next(&mut self, seen: &Seen, direction: f64) {
        if self.target.is_some_and(|t| t != seen.target) {
            self.leave(direction);
        }
        self.target = Some(seen.target);
        self.direction = direction;
        if seen.logged.is_nan() {
            return;
        }
        let off = seen.deviation() - *self.reference.get_or_insert(seen.deviation());
        self.here = self.here.plus(Class { n: 1.0, sum: off, squares: off * off, frame: Some(seen.frame) });
    }

    /// The axis moves on from here in this direction.
    fn leave(&mut self, direction: f64) {
        let reverses = direction * self.direction < 0.0;
        self.reverses |= reverses;
        let class = match (self.direction > 0.0, self.direction < 0.0, reverses) {
            (true, _, false) => &mut self.up,
            (true, _, true) => &mut self.up_last,
            (_, true, false) => &mut self.down,
            (_, true, true) => &mut self.down_last,
            _ => &mut self.rest,
        };
        *class = class.plus(core::mem::take(&mut self.here));
    }

    /// There are no more rows.
    pub(super) fn end(&mut self) {
        self.leave(self.direction);
    }

    pub(super) fn model(&self) -> Option<Model> {
        if self.reverses { self.two_sides() } else { self.one_side() }
    }

    fn two_sides(&self) -> Option<Model> {
        let mut best: Option<(Class, Class)> = None;
        for (up_last, down_last) in [(true, true), (true, false), (false, true), (false, false)] {
            let none = Class::default();
            let pick = |to_this: bool, class: Class| if to_this { class } else { none };
            let up = self.up.plus(pick(up_last, self.up_last)).plus(pick(!down_last, self.down_last));
            let down = self.down.plus(pick(down_last, self.down_last)).plus(pick(!up_last, self.up_last));
            let better = best.is_none_or(|(u, d)| up.left() + down.left() < u.left() + d.left());
            if up.n >= 2.0 && down.n >= 2.0 && better {
                best = Some((up, down));
            }
        }
        let (up, down) = best?;
        let reference = self.reference?;
        let between = down.mean() - up.mean();
        let parameters = if self.rest.n > 0.0 { 3.0 } else { 2.0 };
        // A side on which it deviates by next to none of that is not wrong.
        let wrong = |class: &Class| if (class.mean() + reference).abs() > 0.25 * between.abs() { class.n } else { 0.0 };
        let rows = wrong(&up) + wrong(&down) + self.rest.n;
        let left = up.left() + down.left() + self.rest.left();
        let frame = up.frame?.max(down.frame?);
        (between != 0.0).then(|| Model::new(CauseKind::Backlash, left, parameters, rows, frame, between))
    }

    /// Backlash of an axis that never reverses: from where it sets out it lags by all of it.
    fn one_side(&self) -> Option<Model> {
        let (moving, direction) = if self.up.n > 0.0 { (self.up, 1.0) } else { (self.down, -1.0) };
        let reference = self.reference.filter(|_| self.rest.n > 0.0 && moving.n > 0.0)?;
        let lag = -(moving.mean() + reference) * direction;
        // Before it sets out it is at no deviation.
        let rest = self.rest.squares + 2.0 * reference * self.rest.sum + self.rest.n * reference * reference;
        (lag > 0.0).then(|| Model::new(CauseKind::Backlash, rest + moving.left(), 3.0, moving.n, moving.frame.unwrap_or_default(), lag))
    }
}
