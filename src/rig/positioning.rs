//! The figures of ISO 230-2 of one axis, from the deviations at each target.
//!
//! What: with x_ij the deviation (measured less commanded) at target i, its mean and standard deviation s (n - 1) for either side: reversal B_i = mean from below - mean from above, B the largest |B_i|;
//! R_i = max(2 s_up + 2 s_down + |B_i|, 4 s_up, 4 s_down), R the largest; E = largest less least mean of either side; M = the same of (mean_up + mean_down) / 2; A = largest mean + 2 s less least mean - 2 s.
//! Source: ISO 230-2 from memory, confirmed by open reports of measurements, whose printed figures are in the tests. Units: of the axis.
//! Invariant: a figure that the readings do not give is `None`. Limits: deviations may have any zero, for every figure is a difference.

use super::measurement::{Approach, Measurement};

/// Mean and spread of one side of a target.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Side {
    /// Readings.
    pub(crate) readings: usize,
    /// Their mean.
    pub(crate) mean: f64,
    /// Their standard deviation with n - 1; `None` for one reading.
    pub(crate) deviation: Option<f64>,
}

/// One target.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct TargetFigures {
    /// Commanded position.
    pub(crate) position: f64,
    /// Approached from below.
    pub(crate) up: Option<Side>,
    /// Approached from above.
    pub(crate) down: Option<Side>,
}

/// The figures of an axis.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Positioning {
    /// B: largest reversal, absolute; `None` where no target was approached from both sides.
    pub(crate) reversal: Option<f64>,
    /// Mean reversal, with its sign.
    pub(crate) mean_reversal: Option<f64>,
    /// R: bidirectional repeatability; `None` where a target lacks a side or two readings of one.
    pub(crate) repeatability: Option<f64>,
    /// The same from below alone.
    pub(crate) repeatability_up: Option<f64>,
    /// The same from above alone.
    pub(crate) repeatability_down: Option<f64>,
    /// E: systematic deviation of both sides.
    pub(crate) systematic: f64,
    /// M: range of the mean of both sides.
    pub(crate) mean_range: Option<f64>,
    /// A: accuracy.
    pub(crate) accuracy: Option<f64>,
    /// Target by target.
    pub(crate) targets: Vec<TargetFigures>,
}

impl Positioning {
    /// The figures of deviations, one for each reading of the measurement.
    #[must_use]
    pub(crate) fn of(measurement: &Measurement, deviations: &[f64]) -> Positioning {
        let side = |indices: &[usize], approach: Approach| {
            let at =
                |i: &usize| measurement.readings().get(*i).filter(|r| r.approach == approach).and_then(|_| deviations.get(*i).copied());
            Side::of(&indices.iter().filter_map(at).collect::<Vec<f64>>())
        };
        let targets: Vec<TargetFigures> = measurement
            .targets()
            .iter()
            .map(|(position, indices)| TargetFigures {
                position: *position,
                up: side(indices, Approach::Up),
                down: side(indices, Approach::Down),
            })
            .collect();
        let reversals: Option<Vec<f64>> = targets.iter().map(TargetFigures::reversal).collect();
        let reversals = reversals.filter(|all| !all.is_empty());
        let largest = |of: &dyn Fn(&TargetFigures) -> Option<f64>| targets.iter().try_fold(0.0_f64, |most, t| Some(most.max(of(t)?)));
        let four_s = |side: Option<Side>| Some(4.0 * side?.deviation?);
        let sides = || targets.iter().flat_map(|t| [t.up, t.down]).flatten();
        let (means_low, means_high) = range(sides().map(|s| s.mean));
        let outer: Option<Vec<[f64; 2]>> = sides().map(|s| s.deviation.map(|d| [s.mean - 2.0 * d, s.mean + 2.0 * d])).collect();
        let both = targets.iter().map(|t| Some(0.5 * (t.up?.mean + t.down?.mean)));
        Positioning {
            reversal: reversals.as_ref().map(|all| all.iter().fold(0.0, |most, b| b.abs().max(most))),
            mean_reversal: reversals.as_ref().map(|all| all.iter().sum::<f64>() / crate::number::whole::count(all.len())),
            repeatability: largest(&TargetFigures::repeatability),
            repeatability_up: largest(&|t| four_s(t.up)),
            repeatability_down: largest(&|t| four_s(t.down)),
            systematic: means_high - means_low,
            mean_range: both.collect::<Option<Vec<f64>>>().map(|all| {
                let (low, high) = range(all.into_iter());
                high - low
            }),
            accuracy: outer.map(|all| range(all.iter().map(|[_, high]| *high)).1 - range(all.iter().map(|[low, _]| *low)).0),
            targets,
        }
    }
}

impl Side {
    fn of(values: &[f64]) -> Option<Side> {
        let first = *values.first()?;
        let n = crate::number::whole::count(values.len());
        // Differences from the first: large positions lose nothing.
        let off = values.iter().map(|x| x - first).sum::<f64>() / n;
        let squares: f64 = values.iter().map(|x| (x - first - off) * (x - first - off)).sum();
        Some(Side { readings: values.len(), mean: first + off, deviation: (values.len() > 1).then(|| (squares / (n - 1.0)).sqrt()) })
    }
}

impl TargetFigures {
    /// B_i; `None` where a side is missing.
    #[must_use]
    pub(crate) fn reversal(&self) -> Option<f64> {
        Some(self.up?.mean - self.down?.mean)
    }

    /// R_i; `None` where a side is missing or has one reading.
    #[must_use]
    pub(crate) fn repeatability(&self) -> Option<f64> {
        let (up, down) = (self.up?.deviation?, self.down?.deviation?);
        Some((2.0 * up + 2.0 * down + self.reversal()?.abs()).max(4.0 * up).max(4.0 * down))
    }
}

fn range(values: impl Iterator<Item = f64>) -> (f64, f64) {
    values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| (low.min(x), high.max(x)))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::super::measurement::Reading;
    use super::*;
    use crate::stage::{Axis, AxisSpec, Unit};

    /// Readings of three reports that open projects publish; see the two tests.
    fn figures(targets: [f64; 5], up: [[f64; 5]; 5], down: [[f64; 5]; 5]) -> Positioning {
        let mut spec = AxisSpec::new("track", Unit::Millimetre, [-20.0, 20.0], [1.0, 1.0, 1.0]);
        // So fine that a whole step is the target.
        (spec.drive.travel_per_rev, spec.drive.microsteps) = (2e-3, 1000);
        let axis = Axis::new(spec).unwrap();
        let one =
            |approach| move |(target, values): (f64, [f64; 5])| values.map(|measured| Reading { commanded: target, measured, approach });
        let readings: Vec<Reading> = targets
            .into_iter()
            .zip(up)
            .flat_map(one(Approach::Up))
            .chain(targets.into_iter().zip(down).flat_map(one(Approach::Down)))
            .collect();
        let measurement = Measurement::new(&axis, readings).unwrap();
        let deviations: Vec<f64> = measurement.readings().iter().map(|r| r.measured - r.commanded).collect();
        Positioning::of(&measurement, &deviations)
    }

    /// Source: `muts/data/week42_22/xyz/target_x_report_8A.md` of github.com/anderssandstrom/ecmc_target_muts_logger at 61b551aa, mm. DIFFERENCE: it prints E = 0.02806, which is the range of the means
    /// from below alone; by the definition it is 0.06354.
    #[test]
    fn the_figures_of_a_published_report_are_found() {
        let p = figures(
            [-4.0, -2.0, 0.0, 2.0, 4.0],
            [
                [-3.99861, -3.98366, -3.98366, -3.95012, -3.95335],
                [-2.00655, -1.98836, -1.98109, -1.9419, -1.93341],
                [-0.02782, -0.00802, -0.01005, 0.01986, 0.0344],
                [1.97474, 1.99616, 2.00181, 2.03495, 2.04909],
                [4.00316, 4.00397, 4.00963, 4.03024, 4.05165],
            ],
            [
                [-4.10205, -4.01598, -3.99861, -3.99254, -3.96143],
                [-2.11969, -2.02392, -2.00251, -1.99968, -1.9617],
                [-0.13005, -0.02904, -0.01489, -0.01126, 0.01622],
                [1.94767, 1.97191, 1.98848, 2.00949, 2.02323],
                [3.94983, 3.98054, 3.98538, 4.01731, 4.03024],
            ],
        );
        let near = |got: Option<f64>, printed: f64| assert!((got.unwrap() - printed).abs() < 2e-5, "{got:?} {printed}");
        near(p.reversal, 0.05124);
        near(p.mean_reversal, 0.03544);
        near(p.repeatability_up, 0.12529);
        near(p.repeatability_down, 0.23715);
        near(p.repeatability, 0.23715);
        near(p.mean_range, 0.02226);
        near(p.accuracy, 0.24337);
        near(Some(p.systematic), 0.06354);
        for (target, printed) in p.targets.iter().zip([0.21182, 0.23715, 0.22499, 0.14346, 0.13263]) {
            near(target.repeatability(), printed);
        }
    }

    /// Source: `examples/test/fat_sat/report.md` of github.com/paulscherrerinstitute/ecmccfg at 072a917e, mm. DIFFERENCE: it prints R = 6.29e-5, the larger of the two sides, and E = 2.46e-5, of one side;
    /// by the definitions R is the largest R_i, 6.882e-5, and E is 3.68e-5.
    #[test]
    fn repeatability_is_the_largest_of_the_targets_and_not_of_the_sides() {
        let p = figures(
            [-10.0, -4.88, 0.24, 5.36, 10.48],
            [
                [-10.00008102, -10.00010202, -10.00008702, -10.00009202, -10.00010002],
                [-4.88008702, -4.88009702, -4.88009702, -4.88009502, -4.88008202],
                [0.23992798, 0.23990998, 0.23991198, 0.23991298, 0.23991298],
                [5.35989798, 5.35991398, 5.35991398, 5.35990698, 5.35992198],
                [10.47989998, 10.47988798, 10.47987098, 10.47989098, 10.47990298],
            ],
            [
                [-10.00009902, -10.00009402, -10.00008202, -10.00009102, -10.00009402],
                [-4.88010302, -4.88010402, -4.88009502, -4.88011102, -4.88009302],
                [0.23991398, 0.23989798, 0.23990898, 0.23992398, 0.23990098],
                [5.35992798, 5.35990798, 5.35990498, 5.35989698, 5.35991898],
                [10.47989598, 10.47987398, 10.47986998, 10.47985898, 10.47989298],
            ],
        );
        let near = |got: Option<f64>, printed: f64| assert!((got.unwrap() - printed).abs() < 2e-8, "{got:?} {printed}");
        near(p.reversal, 1.22e-5);
        near(p.mean_reversal, 5.4e-6);
        near(p.repeatability_up, 5.033e-5);
        near(p.repeatability_down, 6.29e-5);
        near(p.repeatability, 6.882e-5);
        near(p.mean_range, 2.77e-5);
        near(p.accuracy, 8.881e-5);
        near(Some(p.systematic), 3.68e-5);
    }
}
