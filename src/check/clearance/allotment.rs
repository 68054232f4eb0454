//! How far the searches of a course may go: shares of what the budget has left, so that one pair cannot use up what the others need.
//!
//! Invariant: shares depend on what was spent before and on the order of the stage alone, never on which thread was first.

use crate::bounds::{Effort, Meter};

/// Things searched side by side before what they have spent is counted.
pub(super) const BATCH: usize = 8;

/// What the searches of one course may spend.
#[derive(Debug)]
pub(super) struct Allotment<'m> {
    meter: &'m Meter,
    effort: Effort,
    left: u64,
}

impl<'m> Allotment<'m> {
    /// Half of what is left: the courses after this one need some too.
    pub(super) fn half(meter: &'m Meter, effort: Effort) -> Allotment<'m> {
        Allotment { meter, effort, left: meter.left(effort) / 2 }
    }

    /// What each of a batch may spend.
    pub(super) fn share(&self, batch: usize) -> u64 {
        self.left / u64::try_from(batch.max(1)).unwrap_or(u64::MAX)
    }

    /// Counts what was spent. Where that is more than there was, nothing is left.
    pub(super) fn spent(&mut self, n: u64) {
        self.left = self.left.saturating_sub(n);
        self.meter.spent(self.effort, n);
    }

    /// True where nothing is left.
    pub(super) fn is_used_up(&self) -> bool {
        self.left == 0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bounds::Budget;

    #[test]
    fn half_is_for_this_course_and_shares_are_even() {
        let meter = Meter::new(Budget::Usual, 0);
        let most = meter.most(Effort::Boxes);
        let mut course = Allotment::half(&meter, Effort::Boxes);
        assert_eq!(course.share(4), most / 8);
        course.spent(most / 2 - 10);
        assert_eq!((course.share(1), course.is_used_up(), meter.left(Effort::Boxes)), (10, false, most - (most / 2 - 10)));
        course.spent(u64::MAX);
        assert!(course.is_used_up());
        assert_eq!(Allotment::half(&meter, Effort::Boxes).share(1), 0);
    }
}
