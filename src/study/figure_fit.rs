//! A figure of the stage, its axes set so that markers on it are where they were recorded.
//!
//! What: row by row the positions of axes, each within its travel, that leave the least sum of squares at the markers: damped Gauss-Newton steps (K. Levenberg 1944, D. W. Marquardt 1963) with the
//! derivatives of the stage's own kinematics; an axis at an end of its travel stays there while the slope leads outwards. Invariant: every axis within its travel; a place that a mechanism cannot take is
//! never one of a solution. Limits: a least nearby, from the row before.

use nalgebra::{DMatrix, DVector};

use crate::mechanism::{Mechanism, OutOfReach, Pose, Real, Vector};
use crate::number::Jet;
use crate::stage::{AxisId, Body, Posture, Stage};

/// Steps of a row.
const MOST_STEPS: usize = 30;

/// Share of the squares below which a step is the last.
const ENOUGH: f64 = 1e-10;

/// Share of the squares of all coordinates below which what is left is rounding.
const ROUNDING: f64 = 1e-24;

/// A marker on a figure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Seat {
    /// The limb's number; `None` on the body.
    pub(crate) limb: Option<usize>,
    /// Where on it, mm.
    pub(crate) at: Vector,
}

/// A figure whose axes are sought.
#[derive(Debug, Clone)]
pub(crate) struct Figure<'a> {
    pub(crate) stage: &'a Stage,
    pub(crate) body: &'a Body,
    /// The axes that may move, with their travel; every other one is at home.
    pub(crate) axes: Vec<AxisId>,
}

impl Figure<'_> {
    /// Positions at home.
    pub(crate) fn home(&self) -> Vec<f64> {
        self.axes.iter().map(|a| self.stage.axis(*a).home()).collect()
    }

    /// The figure with its axes at these positions.
    pub(crate) fn posture(&self, at: &[f64]) -> Option<Posture> {
        self.posture_of(|i| at.get(i).copied(), |m, axes, channels| m.to_channels_at_rest(axes, channels))
    }

    /// Values of the body's channels with the axes at these positions.
    pub(crate) fn values(&self, at: &[f64]) -> Option<Vec<f64>> {
        self.values_of(|i| at.get(i).copied(), |m, axes, channels| m.to_channels_at_rest(axes, channels))
    }

    /// The figure so, and how it moves for each unit of one axis.
    fn moving(&self, at: &[f64], axis: usize) -> Option<Posture<Jet>> {
        let position = |i: usize| {
            let p = at.get(i).copied()?;
            Some(if i == axis { Jet { p, v: 1.0, a: 0.0, j: 0.0 } } else { Jet::constant(p) })
        };
        self.posture_of(position, |m, axes, channels| m.to_channels(axes, channels))
    }

    fn posture_of<T: Real>(
        &self,
        position: impl Fn(usize) -> Option<T>,
        forward: impl Fn(&dyn Mechanism, &[T], &mut [T]) -> Result<(), OutOfReach>,
    ) -> Option<Posture<T>> {
        Some(self.body.posture(&self.values_of(position, forward)?))
    }

    fn values_of<T: Real>(
        &self,
        position: impl Fn(usize) -> Option<T>,
        forward: impl Fn(&dyn Mechanism, &[T], &mut [T]) -> Result<(), OutOfReach>,
    ) -> Option<Vec<T>> {
        let axis = |id: AxisId| {
            let moved = self.axes.iter().position(|a| *a == id).and_then(&position);
            Ok(moved.unwrap_or_else(|| T::constant(self.stage.axis(id).home())))
        };
        self.stage.channel_values(self.body.every_channel(), &axis, &forward).ok()
    }

    /// Positions of the axes that bring the seats to the points, from positions nearby; `held`: an axis that stays at home.
    pub(crate) fn fitted(&self, seats: &[Seat], points: &[Vector], from: &[f64], held: Option<usize>) -> Option<Vec<f64>> {
        let mut at = from.to_vec();
        if let Some((slot, home)) = held.and_then(|held| at.get_mut(held).zip(self.home().get(held).copied())) {
            *slot = home;
        }
        let ends: Vec<[f64; 2]> = self.axes.iter().map(|a| self.stage.axis(*a).travel()).map(|t| [t.lower, t.upper]).collect();
        let mut squares = self.squares(seats, points, &at)?;
        let rounding = ROUNDING * points.iter().map(|p| p.dot(*p)).sum::<f64>();
        let mut damping = 1e-3;
        for _ in 0..MOST_STEPS {
            if squares <= rounding {
                break;
            }
            let (matrix, slope) = self.normal(seats, points, &at, held, &ends)?;
            let mut gain = 0.0;
            let mut is_done = false;
            while damping < 1e10 && !is_done {
                let mut damped = matrix.clone();
                for i in 0..at.len() {
                    let own = matrix.get((i, i)).copied().unwrap_or(0.0);
                    // What does not move anything here, or is held, keeps its place.
                    if let Some(slot) = damped.get_mut((i, i)) {
                        *slot = if own > 0.0 { own * (1.0 + damping) } else { 1.0 };
                    }
                }
                let step = damped.cholesky().map(|c| c.solve(&slope));
                // What the step can gain at most, but for bends.
                is_done = step.as_ref().is_some_and(|step| !(step.dot(&slope) > ENOUGH * squares));
                let next = step.map(|step| -> Vec<f64> {
                    let to = at.iter().zip(step.iter()).zip(&ends);
                    to.map(|((x, step), [low, high])| (x + step).clamp(*low, *high)).collect()
                });
                let found = next.and_then(|next| Some((self.squares(seats, points, &next)?, next)));
                match found {
                    Some((less, next)) if less <= squares => {
                        gain = squares - less;
                        (at, squares) = (next, less);
                        damping = (damping * 0.1).max(1e-9);
                        break;
                    }
                    _ => damping *= 10.0,
                }
            }
            if !(gain > ENOUGH * squares) {
                break;
            }
        }
        Some(at)
    }

    fn squares(&self, seats: &[Seat], points: &[Vector], at: &[f64]) -> Option<f64> {
        let posture = self.posture(at)?;
        Some(seats.iter().zip(points).map(|(seat, point)| off(&posture, seat, *point)).map(|d| d.dot(d)).sum())
    }

    /// Squares and slopes of the axes that are free to move.
    fn normal(
        &self,
        seats: &[Seat],
        points: &[Vector],
        at: &[f64],
        held: Option<usize>,
        ends: &[[f64; 2]],
    ) -> Option<(DMatrix<f64>, DVector<f64>)> {
        let n = at.len();
        let here = self.posture(at)?;
        let offs: Vec<Vector> = seats.iter().zip(points).map(|(seat, point)| off(&here, seat, *point)).collect();
        let mut ways: Vec<Vec<Vector>> = Vec::with_capacity(n);
        for axis in 0..n {
            let moving = self.moving(at, axis)?;
            let way = |seat: &Seat| {
                let p = place(&moving, seat.limb).out_fixed(seat.at);
                Vector::new(p.x.v, p.y.v, p.z.v)
            };
            ways.push(seats.iter().map(way).collect());
        }
        let slope = |way: &[Vector]| way.iter().zip(&offs).map(|(w, d)| w.dot(*d)).sum::<f64>();
        let slopes: Vec<f64> = ways.iter().map(|way| slope(way)).collect();
        let is_free = |i: usize| {
            let (Some(x), Some([low, high]), Some(slope)) = (at.get(i), ends.get(i), slopes.get(i)) else { return false };
            held != Some(i) && !(x <= low && *slope < 0.0) && !(x >= high && *slope > 0.0)
        };
        let both = |i: usize, j: usize| match (ways.get(i), ways.get(j)) {
            (Some(a), Some(b)) if is_free(i) && is_free(j) => a.iter().zip(b).map(|(a, b)| a.dot(*b)).sum(),
            _ => 0.0,
        };
        let matrix = DMatrix::from_fn(n, n, both);
        let slope = DVector::from_fn(n, |i, _| if is_free(i) { slopes.get(i).copied().unwrap_or(0.0) } else { 0.0 });
        Some((matrix, slope))
    }
}

/// From where a seat is to its point.
pub(crate) fn off(posture: &Posture, seat: &Seat, point: Vector) -> Vector {
    point - place(posture, seat.limb).out_fixed(seat.at)
}

/// The pose of a limb, or of the body.
pub(crate) fn place<T: Real>(posture: &Posture<T>, limb: Option<usize>) -> &Pose<T> {
    limb.map_or_else(|| posture.body(), |limb| posture.limb(limb))
}
