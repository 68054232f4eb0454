//! What a check before this one, of a shot on an equal stage, already knows: gaps in passes whose axes all run as they did.
//!
//! Invariant: what is taken over is what would be found again. Gaps of a moving pass depend on the curves of the axes that it does not park; those of a held pass, and of the ways, also on how
//! the pass runs too. Limits: where a search was not ended, or more than half of the budget was used, nothing is taken over. A search beside what was taken over may go further than it would alone.

use super::clearance::{Nearest, Proof};
use super::report::{PassReport, Report};
use crate::bounds::Effort;
use crate::compile::Compiled;
use crate::program::Program;
use crate::shot::Exposure;
use crate::stage::PerAxis;

/// A report with which axes still run as they did.
pub(super) struct Before<'a> {
    passes: &'a [PassReport],
    spare: f64,
    unchanged: PerAxis<bool>,
}

impl<'a> Before<'a> {
    /// What is known of a shot before this one.
    pub(super) fn new(report: &'a Report, now: &Compiled) -> Before<'a> {
        let work = report.compiled.work();
        let has_cost_little = work.used(Effort::Boxes) <= work.left(Effort::Boxes);
        let pairs = |p: &'a PassReport| {
            let ways = p.way_clearance.iter().filter_map(|(_, c)| c.as_ref());
            p.clearance.iter().chain(ways).flat_map(|c| &c.pairs)
        };
        let is_ended = |n: &Nearest| n.is_kept() || n.proof == Proof::Tight;
        let is_known = has_cost_little && report.passes.iter().flat_map(pairs).all(is_ended);
        let passes = if is_known { report.passes.as_slice() } else { &[] };
        Before { passes, spare: report.spare, unchanged: now.unchanged_since(&report.compiled) }
    }

    /// How much more than what is required its gaps are known to, mm.
    pub(super) fn spare(&self) -> f64 {
        self.spare
    }

    /// A pass with the same bodies on the same course.
    pub(super) fn same_course(&self, program: &Program) -> Option<&'a PassReport> {
        let pass = program.pass();
        self.same(program, |old| match pass.exposure() {
            Exposure::Moving => old.pass().exposure() == Exposure::Moving,
            Exposure::Held => old.pass() == pass,
        })
    }

    /// A pass to whose start, and from whose end, the same axes go in the same way.
    pub(super) fn same_way(&self, program: &Program) -> Option<&'a PassReport> {
        self.same(program, |old| old.pass() == program.pass())
    }

    fn same(&self, program: &Program, runs_alike: impl Fn(&Program) -> bool) -> Option<&'a PassReport> {
        let stage = program.compiled().stage();
        let stays =
            |old: &Program| stage.axis_ids().all(|id| program.parks(id) == old.parks(id) && (program.parks(id) || self.unchanged[id]));
        self.passes.iter().find(|p| runs_alike(&p.program) && stays(&p.program))
    }
}
