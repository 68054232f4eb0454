//! An exceeded limit as data: which, what it is about, where, how it came to be, what would help.
//!
//! Units: of the axis, and seconds. Instants are frame times within run-up, exposures and run-down, seconds of the program on the way to the start and home.
//! Invariant: each fix was tried by compiling again.

use super::clearance::Nearest;
use super::register::Instant;
use super::stopping::against::Against;
use crate::compile::Edge;
use crate::mechanism::OutOfReach;
use crate::program::Leg;
use crate::shot::Place;
use crate::stage::{AxisId, GroupId, Utilisation};
use crate::time::{FrameTime, Seconds};

/// What can be exceeded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
#[non_exhaustive]
pub enum Limit {
    /// The soft limits of travel.
    Position,
    /// Speed.
    Velocity,
    /// Acceleration.
    Acceleration,
    /// Jerk.
    Jerk,
    /// Steps per second.
    StepRate,
    /// Pull-out torque of the motor.
    Torque,
    /// Required clearance.
    Clearance,
    /// A limb's wire that only pulls: what gravity can follow.
    Slack,
    /// How far a hanging figure swings during exposures.
    Swing,
    /// Room to stop after a fault.
    Stopping,
    /// What the camera needs between exposures, and the longest that it makes.
    Camera,
    /// The count of another pass at the same instant of the same exposure.
    Register,
}

impl Limit {
    /// Its name in files.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Limit::Position => "position",
            Limit::Velocity => "velocity",
            Limit::Acceleration => "acceleration",
            Limit::Jerk => "jerk",
            Limit::StepRate => "step_rate",
            Limit::Torque => "torque",
            Limit::Clearance => "clearance",
            Limit::Slack => "slack",
            Limit::Swing => "swing",
            Limit::Stopping => "stopping",
            Limit::Camera => "camera",
            Limit::Register => "register",
        }
    }

    /// A place says more about what is wrong than a speed, a speed more than a torque.
    pub(super) fn plainness(self) -> u32 {
        match self {
            Limit::Position => 6,
            Limit::Velocity => 5,
            Limit::Acceleration => 4,
            Limit::Jerk => 3,
            Limit::StepRate => 2,
            Limit::Torque => 1,
            Limit::Clearance | Limit::Slack | Limit::Swing | Limit::Stopping | Limit::Camera | Limit::Register => 0,
        }
    }

    /// Unit of a value under this limit, for an axis of unit `mm` or `deg`.
    #[must_use]
    pub fn unit(self, axis: &str) -> String {
        match self {
            Limit::Position | Limit::Stopping => axis.to_owned(),
            Limit::Velocity => format!("{axis}/s"),
            Limit::Acceleration => format!("{axis}/s2"),
            Limit::Jerk => format!("{axis}/s3"),
            Limit::StepRate => "steps/s".to_owned(),
            Limit::Torque => "N m".to_owned(),
            Limit::Clearance | Limit::Swing => "mm".to_owned(),
            Limit::Slack => "deg/s2".to_owned(),
            Limit::Camera => "s".to_owned(),
            Limit::Register => "steps".to_owned(),
        }
    }
}

/// Part of a pass.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
#[non_exhaustive]
pub enum Part {
    /// From home to the start.
    MoveToStart,
    /// Before the first exposure.
    RunUp,
    /// The photographed span, or the moves between held exposures.
    Photographed,
    /// After the last exposure.
    RunDown,
    /// From the end home.
    ReturnHome,
}

impl Part {
    /// Its name in files.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Part::MoveToStart => "move_to_start",
            Part::RunUp => "run_up",
            Part::Photographed => "photographed",
            Part::RunDown => "run_down",
            Part::ReturnHome => "return_home",
        }
    }

    /// The run-up or run-down.
    #[must_use]
    pub(crate) fn edge(self) -> Option<Edge> {
        match self {
            Part::RunUp => Some(Edge::RunUp),
            Part::RunDown => Some(Edge::RunDown),
            _ => None,
        }
    }
}

impl From<Leg> for Part {
    fn from(leg: Leg) -> Part {
        match leg {
            Leg::MoveToStart => Part::MoveToStart,
            Leg::ReturnHome => Part::ReturnHome,
        }
    }
}

/// An instant of a pass.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum At {
    /// Frame time.
    Frame(FrameTime),
    /// Seconds of the program, from the start of the move to start.
    Time(Seconds),
}

impl At {
    /// The instant as a number of its own clock: a frame time, or seconds.
    #[must_use]
    pub(super) fn number(self) -> f64 {
        match self {
            At::Frame(frame) => frame.0,
            At::Time(seconds) => seconds.0,
        }
    }

    /// The frame time, where it has one.
    #[must_use]
    pub fn frame(self) -> Option<FrameTime> {
        match self {
            At::Frame(frame) => Some(frame),
            At::Time(_) => None,
        }
    }
}

/// Two neighbouring keys around a frame; on an end of the track one of them is missing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Between {
    /// Index of the track within the shot.
    pub track: usize,
    /// Index of the copy through which the track drives the channel, if one does.
    pub copy: Option<usize>,
    /// Index, frame (of this channel) and place of the key before.
    pub before: Option<(usize, f64, Place)>,
    /// Index, frame (of this channel) and place of the key after.
    pub after: Option<(usize, f64, Place)>,
}

/// What a violation is about.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Subject {
    /// An axis.
    Axis(AxisId),
    /// Two things too near each other, and the axis to look at first.
    Pair(Nearest, AxisId),
    /// A hanging figure, and the axis to look at first.
    Body(GroupId, AxisId),
    /// The camera's shutter; no axis is to blame, the first one stands for it.
    Shutter(AxisId),
}

impl Subject {
    /// The axis it is about, or the one to look at first.
    #[must_use]
    pub(crate) fn axis(&self) -> AxisId {
        match self {
            Subject::Axis(axis) | Subject::Pair(_, axis) | Subject::Body(_, axis) | Subject::Shutter(axis) => *axis,
        }
    }
}

/// How a limit came to be exceeded.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Cause {
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
        /// Frame at which it arrives.
        to: i64,
        /// The frame that the first move of this stretch leaves, and that at which the last one arrives.
        stretch: (i64, i64),
        /// Moves of the stretch.
        moves: u64,
        /// Its length.
        seconds: Seconds,
        /// The time there is.
        available: Seconds,
    },
    /// Gravity cannot keep a wire taut.
    Slack,
    /// One of the three wires of a figure carries too little.
    Hang {
        /// Which.
        wire: usize,
        /// Share of the weight that it carries.
        share: f64,
    },
    /// A figure swings too far; which of its further modes, `None` for the pendulum.
    Swing(Option<usize>),
    /// There is less room than it takes to stop.
    Stopping(Against),
    /// A mechanism cannot take the place; without a reason where it was not proven that it can.
    OutOfReach(Option<OutOfReach>),
    /// Things come too near.
    Gap,
    /// The shutter is closed for less time than the camera needs; the shutter angle that leaves it at this pace, deg, where one does.
    ClosedTooShort(Option<f64>),
    /// An exposure is longer than the camera makes.
    OpenTooLong,
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

/// A weight on a limb that was tried.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct LimbWeight {
    /// kg.
    pub mass: f64,
    /// Along the arm, mm; negative on the other side of the joint.
    pub distance: f64,
    /// Mass (kg), centre of mass (mm) and inertia (kg m2) of the limb with it.
    pub limb: [f64; 3],
}

/// A change that was tried and seen to work.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Fix {
    /// Another pace, seconds per frame.
    Pace(f64),
    /// A weight at one of the three wires of a figure, kg, and the share of the weight that the wire then carries.
    Trim {
        /// The figure.
        group: GroupId,
        /// Which wire.
        wire: usize,
        /// kg.
        mass: f64,
        /// Share of the weight.
        share: f64,
    },
    /// A weight on the limb whose wire is slack.
    Weight(LimbWeight),
    /// So many seconds of rest between the move to start and the run-up.
    Settle(f64),
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
    /// A copy with another delay, so that two things stay apart.
    CopyDelay {
        /// Index of the copy.
        copy: usize,
        /// The delay, frames.
        delay: f64,
    },
    /// A retime of a group, so that two things stay apart.
    Later {
        /// The group.
        group: GroupId,
        /// By how many frames; negative for earlier.
        delay: f64,
    },
    /// A key with another value.
    KeyValue {
        /// Index of the track.
        track: usize,
        /// Index of the key.
        key: usize,
        /// The value.
        value: f64,
    },
}

impl Fix {
    /// True where the pass runs at another pace, and all else stays.
    pub(crate) fn is_pace(&self) -> bool {
        matches!(self, Fix::Pace(_) | Fix::HeldPace(_))
    }
}

/// A limit that is exceeded.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct Violation {
    /// What it is about.
    pub(crate) subject: Subject,
    /// What is exceeded.
    pub limit: Limit,
    /// Where in the pass.
    pub part: Part,
    /// The worst instant.
    pub at: At,
    /// Between which instants it is exceeded, to the pieces of the curve, on the clock of `at`.
    pub(crate) span: (f64, f64),
    /// The worst value; infinite for jerk where acceleration steps.
    pub value: f64,
    /// What is allowed.
    pub allowed: f64,
    /// The keys it lies between, where a track drives the axis.
    pub(crate) between: Option<Between>,
    /// How it came to be.
    pub(crate) cause: Cause,
    /// What would help; each was tried by compiling again.
    pub(crate) fixes: Vec<Fix>,
}

impl Violation {
    /// True where it is about two things at once, so that neither alone need be at fault.
    pub(super) fn is_between_two(&self) -> bool {
        matches!(self.cause, Cause::Gap | Cause::Stopping(Against::Carriage(_)))
    }

    /// How much of the limit is used, where the peaks of an axis do not show it; more than all of it in any case.
    pub(super) fn beside_peaks(&self) -> Option<Utilisation> {
        let used = match (&self.subject, &self.cause) {
            (Subject::Pair(nearest, _), _) => nearest.utilisation(),
            (Subject::Shutter(_), _) => return None,
            (_, Cause::Curve | Cause::NoRoom | Cause::Gap | Cause::Swing(_) | Cause::Hang { .. }) => return None,
            (_, Cause::ClosedTooShort(_) | Cause::OpenTooLong) => return None,
            (_, Cause::Stopping(_)) => Utilisation::of_margin(self.allowed - self.value, self.allowed.abs().max(f64::MIN_POSITIVE)),
            (_, Cause::Step) => Utilisation::of(f64::INFINITY, self.allowed),
            (_, Cause::TooLong { seconds, available, .. }) => Utilisation::of(seconds.0, available.0),
            // A place has no share of a reach: it is in or out.
            (_, Cause::OutOfReach(_)) => Utilisation::JUST_EXCEEDED,
            // Two-sided: by how much the two differ.
            (_, Cause::Slack | Cause::OtherCount { .. }) => {
                Utilisation::of_margin(-(self.value - self.allowed).abs(), self.allowed.abs().max(f64::MIN_POSITIVE))
            }
        };
        Some(used.max(Utilisation::JUST_EXCEEDED))
    }

    /// By how many times the limit is exceeded, for comparing violations of one kind; 1 where that has no meaning.
    pub(super) fn severity(&self) -> f64 {
        let ratio = self.value.abs() / self.allowed.abs();
        match (self.limit, self.cause) {
            (_, Cause::TooLong { seconds, available, .. }) => seconds.0 / available.0.max(f64::MIN_POSITIVE),
            (Limit::Position | Limit::Clearance | Limit::Slack | Limit::Stopping | Limit::Camera | Limit::Register, _) => 1.0,
            _ if ratio.is_nan() => 1.0,
            _ => ratio,
        }
    }

    /// The axis it is about; where two things are too near each other, the one to look at first.
    #[must_use]
    pub fn axis(&self) -> AxisId {
        self.subject.axis()
    }

    /// The frame of the worst instant, where it has one.
    #[must_use]
    pub fn frame(&self) -> Option<f64> {
        self.at.frame().map(|f| f.0)
    }
}
