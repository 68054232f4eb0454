//! What is left of a measurement behind its line: a bow, an error that repeats with a turn, a place that stands out.
//!
//! What: a bow is a parabola over the measured travel; errors that repeat have the period of one motor turn or of one output turn. A pattern is named where chance alone would give it in fewer than one
//! of two thousand measurements ([`chance::RARE`]), it exceeds half a step and what the gauge can show, and it explains at least half of what the readings of one target and side do not scatter themselves. The most improbable is taken
//! first, then the others are judged again. Then a target stands out where its mean is as improbable, times the number of means.
//! Units: of the axis. Invariant: what could not be judged is listed, never taken for absent. Limits: a period longer than half the measured travel, or the same place of the turn at every target, shows nothing.

use super::chance;
use super::fit::{Base, Last, last};
use super::measurement::{Approach, Measurement};
use crate::number::elementary::{TURN, cos, sin};
use crate::number::{student, whole};
use crate::stage::Axis;

/// A shape that is looked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Shape {
    /// A parabola.
    Bow,
    /// A wave with the period of a motor turn. Unit: unit.
    MotorTurn(f64),
    /// A wave with the period of an output turn. Unit: unit.
    OutputTurn(f64),
}

/// A shape that was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Pattern {
    /// Which.
    pub(crate) shape: Shape,
    /// Height of the bow over the line between its ends, positive where the middle reads more; or half the height of a wave. Unit: unit.
    pub(crate) amplitude: f64,
}

/// A target that stands out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Uneven {
    /// Commanded position.
    pub(crate) position: f64,
    /// From which side.
    pub(crate) approach: Approach,
    /// How much more the gauge shows than line and patterns.
    pub(crate) deviation: f64,
}

/// What is left.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Residual {
    /// Patterns, the most improbable first.
    pub(crate) patterns: Vec<Pattern>,
    /// Shapes that these readings cannot show.
    pub(crate) not_judged: Vec<Shape>,
    /// The target that stands out most.
    pub(crate) uneven: Option<Uneven>,
    /// False where too few positions were measured more than once for a target to stand out.
    pub(crate) targets_judged: bool,
    /// The columns of the patterns, to be fitted beside the line.
    pub(super) columns: Vec<Vec<f64>>,
}

/// Degrees of freedom that a judgement needs.
const FREEDOM: usize = 5;

impl Residual {
    /// Searches what a line leaves of a measurement.
    #[must_use]
    pub(crate) fn of(axis: &Axis, measurement: &Measurement) -> Residual {
        let values: Vec<f64> = measurement.readings().iter().map(|r| r.measured).collect();
        let own = Scatter::of(measurement, &values);
        let mut columns = Base::of(measurement).columns();
        let base = columns.len();
        let Some(mut now) = last(&columns, &values) else { return Residual::default() };
        let mut open = shapes(axis);
        let mut found = Residual::default();
        let enough = |columns: usize| measurement.targets().len() >= columns && values.len() >= columns + FREEDOM;
        let smallest = measurement.smallest(axis);
        loop {
            let judged: Vec<(Shape, Option<Judged>)> = open
                .iter()
                .map(|shape| (*shape, Judged::of(*shape, measurement, &columns, &now, &values).filter(|j| enough(j.columns.len()))))
                .collect();
            found.not_judged = judged.iter().filter(|(_, j)| j.is_none()).map(|(shape, _)| *shape).collect();
            let named = judged
                .into_iter()
                .filter_map(|(shape, judged)| Some((shape, judged?)))
                .filter(|(_, j)| j.chance < chance::RARE && j.amplitude.abs() >= smallest)
                .filter(|(_, j)| now.rest - j.then.rest >= 0.5 * (now.rest - own.rest))
                .reduce(|best, next| if next.1.then.rest < best.1.then.rest { next } else { best });
            let Some((shape, judged)) = named else { break };
            found.patterns.push(Pattern { shape, amplitude: judged.amplitude });
            open.retain(|o| *o != shape);
            (columns, now) = (judged.columns, judged.then);
        }
        found.columns = columns.split_off(base);
        found.targets_judged = own.freedom >= 2 * FREEDOM;
        if found.targets_judged {
            found.uneven = own.uneven(measurement, &now.residuals, smallest);
        }
        found
    }
}

fn shapes(axis: &Axis) -> Vec<Shape> {
    let drive = axis.drive();
    let (motor, output) = (1.0 / drive.motor_revs_per_unit(), drive.travel_per_rev());
    let mut shapes = vec![Shape::Bow, Shape::OutputTurn(output)];
    if drive.gear_ratio() != 1.0 {
        shapes.push(Shape::MotorTurn(motor));
    }
    shapes
}

/// A shape tried beside what is fitted already.
struct Judged {
    columns: Vec<Vec<f64>>,
    then: Last,
    amplitude: f64,
    chance: f64,
}

impl Judged {
    /// `None` where the readings cannot show it.
    fn of(shape: Shape, measurement: &Measurement, columns: &[Vec<f64>], now: &Last, values: &[f64]) -> Option<Judged> {
        let readings = measurement.readings();
        let with = |more: &[&Vec<f64>]| columns.iter().chain(more.iter().copied()).cloned().collect::<Vec<_>>();
        match shape {
            Shape::Bow => {
                let square: Vec<f64> = Base::of(measurement).places.iter().map(|u| u * u).collect();
                let columns = with(&[&square]);
                let then = last(&columns, values)?;
                let freedom = values.len().checked_sub(columns.len())?;
                let error = (then.rest / whole::count(freedom) / then.squares).sqrt();
                let chance = student::beyond(then.coefficient / error, freedom);
                // At both ends of the measured travel the square is 1, in the middle 0.
                Some(Judged { amplitude: -then.coefficient, columns, then, chance })
            }
            Shape::MotorTurn(period) | Shape::OutputTurn(period) => {
                let (low, high) =
                    readings.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), r| (l.min(r.commanded), h.max(r.commanded)));
                if !(2.0 * period <= high - low) {
                    return None;
                }
                let wave = |of: fn(f64) -> f64| readings.iter().map(|r| of(TURN * (r.commanded / period).fract())).collect::<Vec<f64>>();
                let (s, c) = (wave(sin), wave(cos));
                let (columns, other) = (with(&[&s, &c]), with(&[&c, &s]));
                let (then, sine) = (last(&columns, values)?, last(&other, values)?.coefficient);
                let freedom = values.len().checked_sub(columns.len())?;
                let chance = chance::of_two_columns(now.rest, then.rest, freedom);
                let amplitude = (sine * sine + then.coefficient * then.coefficient).sqrt();
                Some(Judged { columns, then, amplitude, chance })
            }
        }
    }
}

/// How far readings of one target and side scatter about their own mean.
struct Scatter {
    cells: Vec<(f64, Approach, Vec<usize>)>,
    rest: f64,
    freedom: usize,
}

impl Scatter {
    fn of(measurement: &Measurement, values: &[f64]) -> Scatter {
        let side = |indices: &[usize], approach: Approach| {
            indices.iter().copied().filter(|i| measurement.readings().get(*i).is_some_and(|r| r.approach == approach)).collect::<Vec<_>>()
        };
        let cells: Vec<(f64, Approach, Vec<usize>)> = measurement
            .targets()
            .into_iter()
            .flat_map(|(position, indices)| [Approach::Up, Approach::Down].map(|a| (position, a, side(&indices, a))))
            .filter(|(.., indices)| !indices.is_empty())
            .collect();
        let rest = cells
            .iter()
            .map(|(.., indices)| {
                let centre = mean(indices, values);
                indices.iter().filter_map(|i| values.get(*i)).map(|x| (x - centre) * (x - centre)).sum::<f64>()
            })
            .sum();
        let freedom = values.len() - cells.len();
        Scatter { cells, rest, freedom }
    }

    /// The target and side that stands out most of what is left.
    fn uneven(&self, measurement: &Measurement, residuals: &[f64], smallest: f64) -> Option<Uneven> {
        let deviation = (self.rest / whole::count(self.freedom)).sqrt();
        let means = whole::count(self.cells.len().min(measurement.readings().len()));
        let out = |(position, approach, indices): &(f64, Approach, Vec<usize>)| {
            let off = mean(indices, residuals);
            let chance = means * student::beyond(off * whole::count(indices.len()).sqrt() / deviation, self.freedom);
            (chance < chance::RARE && off.abs() >= smallest).then_some(Uneven { position: *position, approach: *approach, deviation: off })
        };
        self.cells.iter().filter_map(out).reduce(|a, b| if b.deviation.abs() > a.deviation.abs() { b } else { a })
    }
}

fn mean(indices: &[usize], values: &[f64]) -> f64 {
    let first = indices.first().and_then(|i| values.get(*i)).copied().unwrap_or(0.0);
    let off: f64 = indices.iter().filter_map(|i| values.get(*i)).map(|x| x - first).sum();
    first + off / whole::count(indices.len())
}
