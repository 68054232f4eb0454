//! How much work a shot may cost, in counted units: refused is what would take minutes or gigabytes, mostly by a slip of a unit.
//!
//! What: each kind of work has a bound: a part that every shot has, and a part for each axis, frame and pass, so that a long shot of many axes may cost more. The
//! first part of each is about a third of a second of one core; `Budget::Large` allows a thousand times the usual.
//! Invariant: work is counted, not timed, so the same files are refused on every machine. A count is spent before the work is done.
//! Limits: the counts are of one job; jobs side by side have a meter each.

use core::sync::atomic::{AtomicU64, Ordering};

/// A kind of work.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Effort {
    /// Layers evaluated at an instant while curves are fitted; a mechanism or an aim counts as some layers.
    Places,
    /// Pieces of all curves.
    Pieces,
    /// Layers evaluated while fixes are tried.
    Trials,
    /// Capsules placed and compared over a stretch of time, for clearance.
    Boxes,
    /// The same while paces and fixes are tried.
    TrialBoxes,
    /// Places along a swing, and looks at what drives it.
    Swings,
    /// The same while paces are tried.
    TrialSwings,
    /// Parts of curves looked at for room to stop.
    Stops,
    /// The same while paces are tried.
    TrialStops,
    /// Looks for the place of a mechanism over a stretch of time that found none.
    Reaches,
    /// The same while paces and fixes are tried.
    TrialReaches,
    /// Multiplications while curves are found that stay near recordings.
    Follows,
}

impl Effort {
    /// Every kind.
    pub(crate) const ALL: [Effort; 12] = [
        Effort::Places,
        Effort::Pieces,
        Effort::Trials,
        Effort::Boxes,
        Effort::TrialBoxes,
        Effort::Swings,
        Effort::TrialSwings,
        Effort::Stops,
        Effort::TrialStops,
        Effort::Reaches,
        Effort::TrialReaches,
        Effort::Follows,
    ];

    /// What every shot may cost, and what it may cost more for each axis, frame and pass; recordings for each sample.
    const fn usual(self) -> (u64, u64) {
        match self {
            Effort::Places => (6_000_000, 2),
            Effort::Pieces => (100_000, 1),
            Effort::Trials => (1_200_000, 0),
            Effort::Boxes => (1_500_000, 2),
            Effort::TrialBoxes => (800_000, 0),
            Effort::Swings => (6_000_000, 4),
            Effort::TrialSwings => (2_400_000, 0),
            Effort::Stops => (2_000_000, 16),
            Effort::TrialStops => (2_000_000, 0),
            Effort::Reaches => (60_000, 1),
            Effort::TrialReaches => (30_000, 0),
            Effort::Follows => (500_000_000, 12_000),
        }
    }

    /// Its unit, for messages.
    #[must_use]
    pub(crate) const fn unit(self) -> &'static str {
        match self {
            Effort::Places | Effort::Trials => "evaluations of layers",
            Effort::Pieces => "pieces of curves",
            Effort::Boxes | Effort::TrialBoxes => "capsules compared over a stretch of time",
            Effort::Swings | Effort::TrialSwings => "places along swings",
            Effort::Stops | Effort::TrialStops => "parts of curves looked at for room to stop",
            Effort::Reaches | Effort::TrialReaches => "looks for the place of a mechanism",
            Effort::Follows => "multiplications",
        }
    }

    fn slot<T>(
        self,
        [places, pieces, trials, boxes, trial_boxes, swings, trial_swings, stops, trial_stops, reaches, trial_reaches, follows]: &[T; 12],
    ) -> &T {
        match self {
            Effort::Places => places,
            Effort::Pieces => pieces,
            Effort::Trials => trials,
            Effort::Boxes => boxes,
            Effort::TrialBoxes => trial_boxes,
            Effort::Swings => swings,
            Effort::TrialSwings => trial_swings,
            Effort::Stops => stops,
            Effort::TrialStops => trial_stops,
            Effort::Reaches => reaches,
            Effort::TrialReaches => trial_reaches,
            Effort::Follows => follows,
        }
    }
}

/// How much work is allowed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) enum Budget {
    /// What a usual shot of some hundred frames needs, many times over.
    #[default]
    Usual,
    /// A thousand times as much, for what is that large on purpose.
    Large,
}

/// Axes x frames x passes that are computed without being asked for.
pub(crate) const MOST_COUNTS: u64 = 100_000_000;

impl Budget {
    /// The most of a kind of work for a shot of so many axes x frames x passes.
    #[must_use]
    pub(crate) const fn most(self, work: Effort, counts: u64) -> u64 {
        let (base, each) = work.usual();
        let usual = base.saturating_add(each.saturating_mul(counts));
        match self {
            Budget::Usual => usual,
            Budget::Large => usual.saturating_mul(1000),
        }
    }

    /// The most pairs of bodies and obstacles x passes.
    #[must_use]
    pub(crate) const fn most_pairs(self) -> u64 {
        match self {
            Budget::Usual => 300_000,
            Budget::Large => 300_000_000,
        }
    }

    /// The most frames x held passes: the moves between exposures are kept in memory.
    #[must_use]
    pub(crate) const fn most_stations(self) -> u64 {
        match self {
            Budget::Usual => 4_000_000,
            Budget::Large => 4_000_000_000,
        }
    }

    /// The most axes x frames x passes on a page, which a browser must hold.
    #[must_use]
    pub(crate) const fn most_page_counts(self) -> u64 {
        self.most_counts() / 20
    }

    /// The most rows x axes of one table for a controller: its rate is asked for, so it may be larger than the columns.
    #[must_use]
    pub(crate) const fn most_row_counts(self) -> u64 {
        self.most_counts().saturating_mul(10)
    }

    /// The most axes x frames x passes.
    #[must_use]
    pub(crate) const fn most_counts(self) -> u64 {
        match self {
            Budget::Usual => MOST_COUNTS,
            Budget::Large => u64::MAX,
        }
    }
}

/// More work than the budget allows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("more than {most} {}", work.unit())]
pub(crate) struct Excess {
    /// Of what.
    pub work: Effort,
    /// What is allowed.
    pub most: u64,
}

/// What following all recordings of one shot may cost together: each what its samples are worth, and all together as much again as any shot may.
///
/// Invariant: counted in the order of the recordings, whether their curves are known already or not, so the same recordings are refused on every machine and in every run.
#[derive(Debug)]
pub(crate) struct Allowance {
    budget: Budget,
    /// Taken so far beyond what the samples were worth.
    beyond: u64,
}

impl Allowance {
    /// Nothing taken.
    #[must_use]
    pub(crate) const fn new(budget: Budget) -> Allowance {
        Allowance { budget, beyond: 0 }
    }

    /// The most that the next recording may cost, of so many samples.
    #[must_use]
    pub(crate) fn most(&self, samples: usize) -> u64 {
        self.budget.most(Effort::Follows, u64::try_from(samples).unwrap_or(u64::MAX)).saturating_sub(self.beyond)
    }

    /// Takes what a recording costs, which is no more than it may.
    pub(crate) fn take(&mut self, samples: usize, cost: u64) {
        let worth = self.most(samples).saturating_sub(self.most(0));
        self.beyond = self.beyond.saturating_add(cost.saturating_sub(worth));
    }
}

/// What a job has cost so far, beside what it may.
#[derive(Debug)]
pub(crate) struct Meter {
    most: [u64; 12],
    used: [AtomicU64; 12],
}

impl Meter {
    /// Nothing used, of the budget of a shot of so many axes x frames x passes.
    #[must_use]
    pub(crate) fn new(budget: Budget, counts: u64) -> Meter {
        Meter { most: Effort::ALL.map(|work| budget.most(work, counts)), used: [const { AtomicU64::new(0) }; 12] }
    }

    /// Takes `n` of a kind of work that is still to be done. Where that is more than is left, nothing is left.
    ///
    /// # Errors
    /// With it the work is more than is allowed.
    pub(crate) fn spend(&self, work: Effort, n: u64) -> Result<(), Excess> {
        let most = *work.slot(&self.most);
        let taken = |used: u64| Some(used.saturating_add(n).min(most.max(used)));
        let before = work.slot(&self.used).fetch_update(Ordering::Relaxed, Ordering::Relaxed, taken).unwrap_or(u64::MAX);
        if before.saturating_add(n) <= most { Ok(()) } else { Err(Excess { work, most }) }
    }

    /// Counts `n` of a kind of work that was done, be it more than was left.
    pub(crate) fn spent(&self, work: Effort, n: u64) {
        let add = |used: u64| Some(used.saturating_add(n));
        let _always = work.slot(&self.used).fetch_update(Ordering::Relaxed, Ordering::Relaxed, add);
    }

    /// What has been used of a kind of work.
    #[must_use]
    pub(crate) fn used(&self, work: Effort) -> u64 {
        work.slot(&self.used).load(Ordering::Relaxed)
    }

    /// What is allowed of a kind of work.
    #[cfg(test)]
    #[must_use]
    pub(crate) fn most(&self, work: Effort) -> u64 {
        *work.slot(&self.most)
    }

    /// What is left of a kind of work.
    #[must_use]
    pub(crate) fn left(&self, work: Effort) -> u64 {
        work.slot(&self.most).saturating_sub(self.used(work))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_allowed_grows_with_the_shot_and_a_thousandfold_when_asked() {
        let of = |budget: Budget, counts| budget.most(Effort::Pieces, counts);
        assert_eq!((of(Budget::Usual, 0), of(Budget::Usual, 1000), of(Budget::Large, 1000)), (100_000, 101_000, 101_000_000));
        assert_eq!(Budget::Large.most(Effort::Places, u64::MAX), u64::MAX);
    }

    #[test]
    fn the_last_unit_is_allowed_and_one_more_is_not() {
        let meter = Meter::new(Budget::Usual, 0);
        assert_eq!(meter.spend(Effort::Pieces, 99_999), Ok(()));
        assert_eq!((meter.left(Effort::Pieces), meter.used(Effort::Boxes)), (1, 0));
        assert_eq!(meter.spend(Effort::Pieces, 1), Ok(()));
        let excess = meter.spend(Effort::Pieces, 1);
        assert_eq!(excess, Err(Excess { work: Effort::Pieces, most: 100_000 }));
        assert_eq!((meter.left(Effort::Pieces), meter.used(Effort::Pieces)), (0, 100_000));
    }
}
