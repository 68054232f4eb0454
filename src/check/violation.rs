//! An exceeded limit as data: what it is about, where, how it came to be, what would help.
//!
//! Units: of the axis, and seconds.
//! Invariant: each fix was tried by compiling again.

use super::clearance::Nearest;
use super::register::Instant;
use super::verdict::{At, Limit, Part};
use crate::compile::Edge;
use crate::shot::Place;
use crate::stage::{AxisId, Utilisation};
use crate::time::Seconds;

/// Two neighbouring keys around a frame; on an end of the track one of them is missing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Between {
    /// Index of the track within the shot.
    pub track: usize,
    /// Frames by which a copy runs later; 0 where the track drives the channel itself.
    pub delay: f64,
    /// Index, frame (of this channel) and place of the key before.
    pub before: Option<(usize, f64, Place)>,
    /// Index, frame (of this channel) and place of the key after.
    pub after: Option<(usize, f64, Place)>,
}

/// What a violation is about.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Subject {
    /// An axis.
    Axis(AxisId),
    /// Two things too near each other, and the axis to look at first.
    Pair(Nearest, AxisId),
}

impl Subject {
    /// The axis it is about, or the one to look at first.
    #[must_use]
    pub fn axis(&self) -> AxisId {
        match self {
            Subject::Axis(axis) | Subject::Pair(_, axis) => *axis,
        }
    }
}

/// How a limit came to be exceeded.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Cause {
    /// The curve exceeds it.
    Curve,
    /// The axis moves at an edge of the photographed span, and no run-up or run-down has room.
    NoRoom,
    /// Acceleration steps: jerk is unbounded.
    Step,
    /// A move between held exposures is longer than there is time.
    TooLong {
        /// Frame it leaves.
        from: i64,
        /// First and last frame that moves of this stretch leave.
        stretch: (i64, i64),
        /// Its length.
        seconds: Seconds,
        /// The time there is.
        available: Seconds,
    },
    /// Gravity cannot keep a wire taut.
    Slack,
    /// Things come too near.
    Gap,
    /// Another count than in an earlier pass.
    OtherCount {
        /// Index of the earlier pass.
        pass: usize,
        /// Instant of the exposure.
        instant: Instant,
        /// Frames at which it differs.
        frames: usize,
    },
}

/// A change that was tried and seen to work.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Fix {
    /// Another pace, seconds per frame.
    Pace(f64),
    /// Another pace of a held pass, seconds per frame.
    HeldPace(f64),
    /// The track of this index in the shape `monotone`.
    Monotone(usize),
    /// The track of this index in a shape that rests at the edge.
    Rests {
        /// Index of the track.
        track: usize,
        /// The shape.
        shape: crate::shot::Shape,
        /// Which edge.
        edge: Edge,
    },
    /// A key at another frame.
    KeyAt {
        /// Index of the track.
        track: usize,
        /// Index of the key.
        key: usize,
        /// The frame.
        frame: f64,
        /// True where it goes later, false where earlier.
        later: bool,
    },
}

/// A limit that is exceeded.
#[derive(Debug, Clone, PartialEq)]
pub struct Violation {
    /// What it is about.
    pub subject: Subject,
    /// What is exceeded.
    pub limit: Limit,
    /// Where in the pass.
    pub part: Part,
    /// The worst instant.
    pub at: At,
    /// Between which instants it is exceeded, to the pieces of the curve, on the clock of `at`.
    pub span: (f64, f64),
    /// The worst value; infinite for jerk where acceleration steps.
    pub value: f64,
    /// What is allowed.
    pub allowed: f64,
    /// The keys it lies between, where a track drives the axis.
    pub between: Option<Between>,
    /// How it came to be.
    pub cause: Cause,
    /// What would help; each was tried by compiling again.
    pub fixes: Vec<Fix>,
}

impl Violation {
    /// How much of the limit is used, where the peaks of an axis do not show it; more than all of it in any case.
    pub(super) fn beside_peaks(&self) -> Option<Utilisation> {
        let used = match (&self.subject, &self.cause) {
            (Subject::Pair(nearest, _), _) => nearest.utilisation(),
            (_, Cause::Curve | Cause::NoRoom | Cause::Gap) => return None,
            (_, Cause::Step) => Utilisation::of(f64::INFINITY, self.allowed),
            (_, Cause::TooLong { seconds, available, .. }) => Utilisation::of(seconds.0, available.0),
            // Two-sided: by how much the two differ.
            (_, Cause::Slack | Cause::OtherCount { .. }) => {
                Utilisation::of_margin(-(self.value - self.allowed).abs(), self.allowed.abs().max(f64::MIN_POSITIVE))
            }
        };
        Some(used.max(Utilisation::JUST_EXCEEDED))
    }

    /// The frame of the worst instant, where it has one.
    #[must_use]
    pub fn frame(&self) -> Option<f64> {
        self.at.frame().map(|f| f.0)
    }
}
