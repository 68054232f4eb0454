//! The least gap of two things over a course, and how much is known of it.
//!
//! Invariant: a gap is never above the true least one. Limits: a gap that is only a bound may be far below it.

use crate::stage::{GroupId, Utilisation};

/// What a body is measured against.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Against {
    /// Another body, by its group.
    Group(GroupId),
    /// Another part of the same figure.
    Own,
    /// The next carriage on a rail they share, by its group.
    Rail(GroupId),
    /// An obstacle, by its index.
    Obstacle(usize),
    /// A box to keep out of, by its index.
    KeepOut(usize),
}

impl Against {
    /// Its kind in files.
    #[must_use]
    pub(crate) fn name(self) -> &'static str {
        match self {
            Against::Group(_) => "envelopes",
            Against::Own => "figure",
            Against::Rail(_) => "rail",
            Against::Obstacle(_) => "obstacle",
            Against::KeepOut(_) => "keep_out",
        }
    }
}

/// How much is known of a gap.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Proof {
    /// The gap is the least one, to the tolerance of the report.
    Tight,
    /// The true least gap is this or more.
    Bound,
}

/// The least gap of two things over a pass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Nearest {
    /// The body's group.
    pub group: GroupId,
    /// What it is measured against.
    pub against: Against,
    /// Least gap, mm; negative where they overlap. Without what they swing.
    pub gap: f64,
    /// What was taken off it for their swing, mm.
    pub swing: f64,
    /// The nearest parts, by the numbers of their solids in the body and in the other; where they are known.
    pub parts: [Option<usize>; 2],
    /// When, on the clock of the course: frame time, or seconds of a leg.
    pub at: f64,
    /// Required clearance, mm.
    pub required: f64,
    /// How much is known.
    pub proof: Proof,
    /// By how much the gap may be above the one given, mm.
    pub tolerance: f64,
    /// What a margin is compared with: the required clearance, or the body's size where that is 0, mm.
    pub scale: f64,
}

impl Nearest {
    /// Utilisation of the required clearance, the gap counted with its tolerance.
    #[must_use]
    pub(crate) fn utilisation(&self) -> Utilisation {
        Utilisation::of_margin(self.gap + self.tolerance - self.required, self.scale)
    }

    /// True where the required clearance is kept.
    #[must_use]
    pub(crate) fn is_kept(&self) -> bool {
        !self.utilisation().is_exceeded()
    }
}

/// Everything that was measured in a pass.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct ClearanceReport {
    /// One entry a pair: rails first, then bodies in the order of the stage.
    pub pairs: Vec<Nearest>,
}

impl ClearanceReport {
    /// The pair with the least of gap less required clearance. Parts of one figure count where they meet: of others only that is known.
    #[must_use]
    pub(crate) fn worst(&self) -> Option<&Nearest> {
        let counts = |n: &&Nearest| n.against != Against::Own || !n.is_kept();
        self.pairs.iter().filter(counts).min_by(|a, b| (a.gap - a.required).total_cmp(&(b.gap - b.required)))
    }
}
