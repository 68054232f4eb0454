//! The straight line through the readings of an axis, with one jump between the two sides of approach.
//!
//! What: measured = level + slope x (commanded - middle) + approach x reversal / 2, least squares, with approach 1 from below and -1 from above. Columns are made orthogonal one after the other
//! (modified Gram-Schmidt), so the last coefficient and its standard error need no matrix. A bow or a wave that was found is fitted with them: otherwise few positions would take it for a slope. Source: textbook least squares.
//! Invariant: standard errors come from the residuals with readings - coefficients degrees of freedom. Limits: they take noise for independent; a bow that is left raises them.

use super::measurement::Measurement;
use crate::number::whole;

/// What a column must keep of its square sum when those before it are removed: less, and its coefficient would be noise.
const INDEPENDENT: f64 = 1e-3;

/// A value with its standard error.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Estimate {
    /// The value.
    pub(crate) value: f64,
    /// Its standard error.
    pub(crate) error: f64,
}

/// The line.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Fit {
    /// Measured units for one commanded.
    pub(crate) slope: Estimate,
    /// Middle of the commanded positions. Unit: unit.
    pub(crate) middle: f64,
    /// Half the distance between the first and the last of them. Unit: unit.
    pub(crate) half: f64,
    /// What the gauge shows there, between the two sides. Unit: unit.
    pub(crate) level: f64,
    /// How much more the gauge shows from below than from above; `None` where only one side was measured. Unit: unit.
    pub(crate) reversal: Option<Estimate>,
    /// Standard deviation of what is left. Unit: unit.
    pub(crate) deviation: f64,
    /// Degrees of freedom.
    pub(crate) freedom: usize,
    /// What is left of each reading. Unit: unit.
    pub(crate) residuals: Vec<f64>,
}

impl Fit {
    /// Fits a measurement beside columns of patterns; `None` where the side of approach cannot be distinguished from the position.
    #[must_use]
    pub(super) fn of(measurement: &Measurement, patterns: &[Vec<f64>]) -> Option<Fit> {
        let base = Base::of(measurement);
        let y: Vec<f64> = measurement.readings().iter().map(|r| r.measured).collect();
        let freedom = y.len().checked_sub(base.columns().len() + patterns.len()).filter(|f| *f > 0)?;
        let reversed = base.sides.is_some();
        let (ones, u, d) = (base.ones.as_slice(), base.places.as_slice(), base.sides.as_deref().unwrap_or_default());
        let order = |columns: [&'_ [f64]; 3]| {
            let base = columns.into_iter().filter(|c| !c.is_empty()).map(<[f64]>::to_vec);
            // The last stays last.
            let mut all: Vec<Vec<f64>> = base.collect();
            let at = all.len().saturating_sub(1);
            all.splice(at..at, patterns.iter().cloned());
            all
        };
        let slope = last(&order([ones, d, u]), &y)?;
        let level = last(&order([u, d, ones]), &y)?;
        let deviation = (slope.rest / whole::count(freedom)).sqrt();
        let error = |l: &Last| deviation / l.squares.sqrt();
        let reversal = match reversed.then(|| last(&order([ones, u, d]), &y)) {
            Some(found) => found.map(|l| Some(Estimate { value: 2.0 * l.coefficient, error: 2.0 * error(&l) }))?,
            None => None,
        };
        Some(Fit {
            slope: Estimate { value: slope.coefficient / base.half, error: error(&slope) / base.half },
            middle: base.middle,
            half: base.half,
            level: level.coefficient,
            reversal,
            deviation,
            freedom,
            residuals: slope.residuals,
        })
    }
}

/// The columns that every fit has.
#[derive(Debug, Clone)]
pub(super) struct Base {
    /// 1.
    pub(super) ones: Vec<f64>,
    /// Commanded positions, -1 to 1.
    pub(super) places: Vec<f64>,
    /// 1 or -1 by the side; `None` where there is one side only.
    pub(super) sides: Option<Vec<f64>>,
    middle: f64,
    half: f64,
}

impl Base {
    /// The columns of a measurement.
    pub(super) fn of(measurement: &Measurement) -> Base {
        let readings = measurement.readings();
        let (low, high) = readings.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), r| (l.min(r.commanded), h.max(r.commanded)));
        let (middle, half) = (0.5 * (low + high), 0.5 * (high - low));
        Base {
            ones: vec![1.0; readings.len()],
            places: readings.iter().map(|r| (r.commanded - middle) / half).collect(),
            sides: measurement.has_both_sides().then(|| readings.iter().map(|r| r.approach.sign()).collect()),
            middle,
            half,
        }
    }

    /// All of them.
    pub(super) fn columns(&self) -> Vec<Vec<f64>> {
        [Some(&self.ones), Some(&self.places), self.sides.as_ref()].into_iter().flatten().cloned().collect()
    }
}

/// The last of several coefficients, and what is left.
#[derive(Debug, Clone)]
pub(super) struct Last {
    /// The coefficient.
    pub(super) coefficient: f64,
    /// Square sum of its column less those before it.
    pub(super) squares: f64,
    /// What is left of each value.
    pub(super) residuals: Vec<f64>,
    /// Square sum of what is left.
    pub(super) rest: f64,
}

/// Fits columns to values; `None` where a column is as good as a sum of those before it.
pub(super) fn last(columns: &[Vec<f64>], values: &[f64]) -> Option<Last> {
    let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(x, y)| x * y).sum::<f64>();
    let less = |from: &mut [f64], column: &[f64], share: f64| from.iter_mut().zip(column).for_each(|(x, c)| *x -= share * c);
    let mut kept: Vec<(Vec<f64>, f64)> = Vec::new();
    let mut residuals = values.to_vec();
    let mut found = None;
    for column in columns {
        let mut own = column.clone();
        let before = dot(&own, &own);
        for (other, squares) in &kept {
            let share = dot(&own, other) / squares;
            less(&mut own, other, share);
        }
        let squares = dot(&own, &own);
        if !(squares > INDEPENDENT * before) {
            return None;
        }
        let coefficient = dot(&residuals, &own) / squares;
        less(&mut residuals, &own, coefficient);
        found = Some((coefficient, squares));
        kept.push((own, squares));
    }
    let (coefficient, squares) = found?;
    let rest = dot(&residuals, &residuals);
    Some(Last { coefficient, squares, residuals, rest })
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    /// Longley's way of checking a regression by hand: y = 2 + 3x with residuals 1, -2, 1 that no line explains.
    #[test]
    fn the_last_coefficient_and_what_is_left_are_those_by_hand() {
        let x = vec![0.0, 1.0, 2.0];
        let l = last(&[vec![1.0; 3], x], &[3.0, 3.0, 9.0]).unwrap();
        assert!((l.coefficient - 3.0).abs() < 1e-14 && (l.rest - 6.0).abs() < 1e-13 && (l.squares - 2.0).abs() < 1e-14, "{l:?}");
        assert!(last(&[vec![1.0; 3], vec![2.0; 3]], &[1.0, 2.0, 3.0]).is_none());
    }
}
