//! One axis in one pass, judged by itself: what a key does to its limits while it is being moved.
//!
//! Invariant: figures and violations are those that the whole check finds for this axis alone. Limits: what concerns several axes or bodies (clearance, slack wires, register, reach) is left to the
//! whole check.

use super::verdict::AxisReport;
use super::violation::Violation;
use super::{held, moving, usage};
use crate::program::Program;
use crate::stage::{AxisId, Utilisation};

/// What was found of one axis.
pub(crate) struct OneAxis {
    /// Its figures.
    pub(crate) report: AxisReport,
    /// Every limit of its own that is exceeded.
    pub(crate) violations: Vec<Violation>,
    /// How much of its tightest limit it uses in each frame.
    pub(crate) usage: Vec<Utilisation>,
}

/// Judges one axis in a planned pass.
pub(crate) fn one_axis(program: &Program, id: AxisId) -> OneAxis {
    let (report, violations) = match program.stations().filter(|_| !program.parks(id)) {
        Some(stations) => held::axis(program, stations, id),
        None => moving::axis(program, id),
    };
    let usage = usage::row(program, &violations, id);
    OneAxis { report, violations, usage }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::bounds::Effort;
    use crate::check::{fixture, judged};
    use crate::shot::{Exposure, Shape};
    use crate::stage::{AxisSpec, Unit};

    /// Both kinds of pass, within the limits and beyond them.
    #[test]
    fn one_axis_has_the_figures_of_the_whole_check() {
        let axis = |name: &str| AxisSpec::new(name, Unit::Millimetre, [-500.0, 500.0], [60.0, 25.0, 80.0]);
        let stage = fixture::stage("heron", vec![axis("x"), axis("y")]);
        let track = |channel: &str, far: f64| fixture::track(&stage, channel, Shape::Monotone, &[(1.0, 0.0), (10.0, 0.0), (12.0, far)]);
        let tracks = vec![track("heron.x", 300.0), track("heron.y", 1.0)];
        let passes =
            [Exposure::Moving, Exposure::Held].map(|e| fixture::pass(&stage, if e == Exposure::Held { "held" } else { "moving" }, e, 2.0));
        let compiled = fixture::compiled(stage, (1, 32), tracks, passes.into());
        let mut exceeded = 0;
        for program in Program::all(&compiled).unwrap() {
            let (axes, violations) = judged::check(&program, Effort::Reaches);
            for id in compiled.stage().axis_ids() {
                let one = one_axis(&program, id);
                assert_eq!(one.report.photographed, axes[id].photographed);
                let of_axis: Vec<&Violation> = violations.iter().filter(|v| v.subject.axis() == id).collect();
                assert_eq!(
                    one.violations.iter().map(|v| (v.limit, v.span)).collect::<Vec<_>>(),
                    of_axis.iter().map(|v| (v.limit, v.span)).collect::<Vec<_>>()
                );
                assert_eq!(one.usage.iter().any(|u| u.is_exceeded()), !of_axis.is_empty());
                exceeded += of_axis.len();
            }
        }
        assert!(exceeded > 1, "{exceeded}");
    }
}
