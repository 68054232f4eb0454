//! A pass, moving or held, judged axis by axis; and what it exceeds counted, so that a trial is compared with what is there.

use super::verdict::AxisReport;
use super::violation::Violation;
use super::{held, moving};
use crate::bounds::Effort;
use crate::compile::Compiled;
use crate::program::Program;
use crate::stage::PerAxis;

/// Every axis's figures, and every limit that is exceeded.
/// Looks at reach are counted as `effort`.
pub(super) fn check(program: &Program, effort: Effort) -> (PerAxis<AxisReport>, Vec<Violation>) {
    match program.stations() {
        None => moving::check(program, effort),
        Some(stations) => held::check(program, stations, effort),
    }
}

/// How many violations each axis has in one pass.
#[derive(Debug)]
pub(super) struct Tally(PerAxis<usize>);

impl Tally {
    /// Of a planned pass, as a trial.
    pub(super) fn of(program: &Program) -> Tally {
        let found = check(program, Effort::TrialReaches).1;
        Tally(PerAxis::new(program.compiled().stage(), |id| found.iter().filter(|v| v.subject.axis() == id).count()))
    }

    /// Of the pass of this index; `None` where it cannot be planned.
    pub(super) fn of_pass(compiled: &Compiled, index: usize) -> Option<Tally> {
        Program::one(compiled, index).ok().flatten().map(|program| Tally::of(&program))
    }

    /// True where no axis has more violations than in `other`.
    pub(super) fn is_within(&self, other: &Tally) -> bool {
        self.0.iter().zip(&other.0).all(|(own, other)| own <= other)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::check::fixture;
    use crate::shot::{Exposure, Shape};
    use crate::stage::{AxisSpec, Unit};

    #[test]
    fn one_axis_that_exceeds_more_is_enough() {
        // 300 mm between frames 10 and 12 exceed what either axis can; standing still exceeds nothing.
        let tally = |moving: Option<&str>| {
            let axis = |name: &str| AxisSpec::new(name, Unit::Millimetre, [-500.0, 500.0], [60.0, 25.0, 80.0]);
            let stage = fixture::stage("heron", vec![axis("x"), axis("y")]);
            let keys = [(1.0, 0.0), (10.0, 0.0), (12.0, 300.0), (32.0, 300.0)];
            let tracks = moving.map(|channel| fixture::track(&stage, channel, Shape::Monotone, &keys)).into_iter().collect();
            let passes = vec![fixture::pass(&stage, "picture", Exposure::Moving, 1.0)];
            Tally::of_pass(&fixture::compiled(stage, (1, 32), tracks, passes), 0).unwrap()
        };
        let [still, x, y] = [None, Some("heron.x"), Some("heron.y")].map(tally);
        assert!(still.is_within(&x) && x.is_within(&x));
        assert!(!x.is_within(&still) && !x.is_within(&y) && !y.is_within(&x));
    }
}
