//! What a check found, as data: text and JSON are made from it elsewhere.
//!
//! Units: of the axis, and seconds; frames as frame times. Peaks of a moving pass are exact extremes over the photographed span
//! [first - 1/2, last + 1/2].

use super::clearance::ClearanceReport;
use super::clearance::Nearest;
use super::pixels::PixelReport;
use super::register::Registration;
use super::take_up::TakeUp;
use crate::shot::{Exposure, Place};

/// What can be exceeded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Limit {
    /// The soft ends of travel.
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
    /// Distance kept from what must not be met.
    Clearance,
    /// A limb's wire that only pulls: what gravity can follow.
    Slack,
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
            Limit::Register => "register",
        }
    }

    /// Unit of a value under this limit, for an axis of unit `mm` or `deg`.
    #[must_use]
    pub fn unit(self, axis: &str) -> String {
        match self {
            Limit::Position => axis.to_owned(),
            Limit::Velocity => format!("{axis}/s"),
            Limit::Acceleration => format!("{axis}/s2"),
            Limit::Jerk => format!("{axis}/s3"),
            Limit::StepRate => "steps/s".to_owned(),
            Limit::Torque => "N m".to_owned(),
            Limit::Clearance => "mm".to_owned(),
            Limit::Slack => "deg/s2".to_owned(),
            Limit::Register => "steps".to_owned(),
        }
    }
}

/// A peak against its limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Peak {
    /// The peak, absolute.
    pub value: f64,
    /// The limit; `None` where the stage file gives none.
    pub limit: Option<f64>,
    /// Frame time of the peak.
    pub frame: f64,
}

impl Peak {
    /// Share of the limit, 1 at the limit; `None` without one.
    #[must_use]
    pub fn share(&self) -> Option<f64> {
        self.limit.map(|l| self.value / l)
    }
}

/// Least and greatest position against the travel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reach {
    /// Least position.
    pub min: f64,
    /// Frame time at which it is taken.
    pub min_frame: f64,
    /// Greatest position.
    pub max: f64,
    /// Frame time at which it is taken.
    pub max_frame: f64,
    /// Lower end of travel.
    pub lower: f64,
    /// Upper end of travel.
    pub upper: f64,
}

/// Peaks of one stretch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StretchReport {
    /// Positions.
    pub position: Reach,
    /// Speed.
    pub velocity: Peak,
    /// Acceleration.
    pub acceleration: Peak,
    /// Jerk.
    pub jerk: Peak,
    /// Step rate.
    pub step_rate: Peak,
}

/// Torque at the instant at which it is nearest to what the motor has.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TorqueReport {
    /// Torque asked of the motor, N m.
    pub demand: f64,
    /// Pull-out torque at that speed, N m.
    pub available: f64,
    /// Frame time.
    pub frame: f64,
}

/// One axis in one pass.
#[derive(Debug, Clone, PartialEq)]
pub struct AxisReport {
    /// Index within the stage.
    pub axis: usize,
    /// True where its group is parked in this pass.
    pub parked: bool,
    /// The photographed span.
    pub photographed: StretchReport,
    /// The run-up, where there is one.
    pub run_up: Option<StretchReport>,
    /// The run-down, where there is one.
    pub run_down: Option<StretchReport>,
    /// Torque, where motor and load are given.
    pub torque: Option<TorqueReport>,
}

/// Part of a pass.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Part {
    /// Before the first exposure.
    RunUp,
    /// The photographed span, or the moves between held exposures.
    Photographed,
    /// After the last exposure.
    RunDown,
}

impl Part {
    /// Its name.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Part::RunUp => "run_up",
            Part::Photographed => "photographed",
            Part::RunDown => "run_down",
        }
    }
}

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

/// Something over a limit.
#[derive(Debug, Clone, PartialEq)]
pub struct Violation {
    /// Index of the axis.
    pub axis: usize,
    /// What is exceeded.
    pub limit: Limit,
    /// Where in the pass.
    pub part: Part,
    /// Frame time of the worst value.
    pub frame: f64,
    /// Frame times between which the limit is exceeded, to the pieces of the curve.
    pub span: (f64, f64),
    /// The worst value; infinite for jerk where acceleration steps.
    pub value: f64,
    /// What is allowed.
    pub allowed: f64,
    /// The keys it lies between, where a track drives the axis.
    pub between: Option<Between>,
    /// What would help; each was tried by compiling again.
    pub advice: Vec<String>,
    /// One line for people.
    pub message: String,
}

/// The time one move between held exposures takes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeldMove {
    /// The frame it leaves; it arrives at the next.
    pub from: i64,
    /// Seconds of the slowest axis, on which all end together.
    pub seconds: f64,
    /// The slowest axis; `None` where nothing moves.
    pub slowest: Option<usize>,
}

/// Moves between held exposures.
#[derive(Debug, Clone, PartialEq)]
pub struct HeldReport {
    /// Seconds between two exposures, settling taken off.
    pub available: f64,
    /// One entry for each pair of neighbouring frames.
    pub moves: Vec<HeldMove>,
}

/// The smallest pace within the limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fastest {
    /// Seconds a frame.
    pub seconds_per_frame: f64,
    /// The axis that stands in the way of a faster one, and its limit; `None` where nothing moves.
    pub limited_by: Option<(usize, Limit)>,
}

/// One pass.
#[derive(Debug, Clone, PartialEq)]
pub struct PassReport {
    /// Name.
    pub name: String,
    /// Moving or held.
    pub exposure: Exposure,
    /// Pace.
    pub seconds_per_frame: f64,
    /// Length with run-up and run-down, seconds.
    pub duration: f64,
    /// Frames of the run-up in this pass.
    pub run_up: u32,
    /// Frames of the run-down in this pass.
    pub run_down: u32,
    /// The smallest pace within limits over the photographed span, as if the pass were moving.
    pub fastest: Fastest,
    /// Every axis in stage order.
    pub axes: Vec<AxisReport>,
    /// Everything over a limit, the earliest first within an axis.
    pub violations: Vec<Violation>,
    /// Moves between exposures, where held.
    pub held: Option<HeldReport>,
    /// From home to the start, taking up backlash, and back.
    pub take_up: TakeUp,
    /// Gaps of carriages and envelopes; `None` where nothing could meet.
    pub clearance: Option<ClearanceReport>,
    /// Gaps on the take-up, `frame` in its seconds; `None` where nothing could meet.
    pub way_clearance: Option<ClearanceReport>,
}

impl PassReport {
    /// True where nothing is over a limit.
    #[must_use]
    pub fn within_limits(&self) -> bool {
        self.violations.is_empty()
    }

    /// True where everything keeps its distance on the take-up, as far as the stage says what could meet.
    #[must_use]
    pub fn way_is_clear(&self) -> bool {
        self.way_clearance.iter().flat_map(|c| &c.pairs).all(Nearest::is_kept)
    }
}

/// Something worth knowing that is not over a limit.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    /// Kind, for machines: `overshoot`, `acceleration_step`, `never_moves`, `reversals`, `torque_unchecked`, `blended_corner`, `pixels`,
    /// `openings`, `flicker`, `rope_stretch`, `take_up_clearance`.
    pub kind: &'static str,
    /// Index of the axis.
    pub axis: usize,
    /// Frame time, where it has one.
    pub frame: Option<f64>,
    /// Size, where it has one, in the unit the message names.
    pub value: Option<f64>,
    /// One line for people.
    pub message: String,
}

/// The whole check.
#[derive(Debug, Clone, PartialEq)]
pub struct Report {
    /// Every pass in the order of the shot.
    pub passes: Vec<PassReport>,
    /// Findings of the move, which all passes share.
    pub findings: Vec<Finding>,
    /// For each axis the frame times within the photographed span at which it turns round.
    pub reversals: Vec<Vec<f64>>,
    /// For each axis by how many steps rotor lag can set two moving passes of different pace apart; `None` where it cannot be known.
    pub lag_between_paces: Vec<Option<f64>>,
    /// Whether the passes register, pair by pair.
    pub registration: Registration,
    /// What a step and the backlash of camera and figure axes are worth in the picture; empty without a lens.
    pub pixels: Vec<PixelReport>,
}

impl Report {
    /// True where nothing is over a limit in any pass.
    #[must_use]
    pub fn within_limits(&self) -> bool {
        self.passes.iter().all(PassReport::within_limits)
    }
}
