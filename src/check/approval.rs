//! A checked job that may be written.
//!
//! Invariant: either no limit is exceeded, or somebody said aloud that it is to be written all the same.

use super::report::Report;

/// A checked job that may be written.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Approval<'a> {
    report: &'a Report,
}

impl<'a> Approval<'a> {
    /// The job, where no limit is exceeded.
    #[must_use]
    pub(crate) fn within_limits(report: &'a Report) -> Option<Approval<'a>> {
        report.within_limits().then_some(Approval { report })
    }

    /// The job, whatever is exceeded: what is written then says so.
    #[must_use]
    pub(crate) fn over_limits(report: &'a Report) -> Approval<'a> {
        Approval { report }
    }

    /// The check.
    #[must_use]
    pub(crate) fn report(&self) -> &'a Report {
        self.report
    }
}
