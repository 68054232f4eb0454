//! What a check found, as data: sentences are made from it in `words`, text and JSON elsewhere.
//!
//! Units: of the axis, and seconds. Instants are frame times within run-up, exposures and run-down, seconds of the program on the way to the start and
//! home. Peaks of a moving pass are exact extremes over the photographed span [first - 1/2, last + 1/2].

use super::violation::{Limit, Part, Violation};
use crate::program::TorqueUse;
use crate::stage::{Axis, PacedPeaks, Travel, Utilisation};
use crate::time::FrameTime;

/// A peak against its limit.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub struct Peak {
    /// The peak, absolute.
    pub value: f64,
    /// The limit; `None` where the stage file gives none.
    pub limit: Option<f64>,
    /// When.
    pub frame: FrameTime,
}

impl Peak {
    /// Utilisation of the limit; `None` without one.
    #[must_use]
    pub fn utilisation(&self) -> Option<Utilisation> {
        self.limit.map(|limit| Utilisation::of(self.value, limit))
    }
}

/// Least and greatest position against the travel.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub struct Reach {
    /// Least position.
    pub min: f64,
    /// When.
    pub min_frame: FrameTime,
    /// Greatest position.
    pub max: f64,
    /// When.
    pub max_frame: FrameTime,
    /// The travel.
    pub travel: Travel,
}

impl Reach {
    /// Utilisation at either end: position, its instant, the end, how much of it is used.
    #[must_use]
    pub(crate) fn ends(&self) -> [(f64, FrameTime, f64, Utilisation); 2] {
        let Travel { lower, upper } = self.travel;
        let length = upper - lower;
        [
            (self.min, self.min_frame, lower, Utilisation::of_margin(self.min - lower, length)),
            (self.max, self.max_frame, upper, Utilisation::of_margin(upper - self.max, length)),
        ]
    }
}

/// Peaks of one stretch.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
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

impl StretchReport {
    /// Peaks in seconds beside the limits of their axis.
    #[must_use]
    pub(crate) fn new(axis: &Axis, paced: &PacedPeaks) -> StretchReport {
        let (l, p) = (axis.limits(), paced.get());
        let peak = |e: crate::motion::Extreme, limit| Peak { value: e.value, limit, frame: FrameTime(e.at) };
        StretchReport {
            position: Reach {
                min: p.least.value,
                min_frame: FrameTime(p.least.at),
                max: p.greatest.value,
                max_frame: FrameTime(p.greatest.at),
                travel: axis.travel(),
            },
            velocity: peak(p.velocity, Some(l.velocity)),
            acceleration: peak(p.acceleration, Some(l.acceleration)),
            jerk: peak(p.jerk, Some(l.jerk)),
            step_rate: Peak { value: paced.step_rate(axis), limit: l.step_rate, frame: FrameTime(p.velocity.at) },
        }
    }

    /// Velocity, acceleration, jerk and step rate.
    #[must_use]
    pub(crate) fn rates(&self) -> [(Limit, &Peak); 4] {
        [
            (Limit::Velocity, &self.velocity),
            (Limit::Acceleration, &self.acceleration),
            (Limit::Jerk, &self.jerk),
            (Limit::StepRate, &self.step_rate),
        ]
    }
}

/// The limit of which an axis uses the largest share.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub struct Tightest {
    /// Which.
    pub limit: Limit,
    /// How much of it.
    pub utilisation: Utilisation,
    /// The value.
    pub value: f64,
    /// What is allowed.
    pub allowed: f64,
    /// When.
    pub frame: FrameTime,
}

impl Tightest {
    /// The worst of what violations exceed beside the peaks of their axis.
    pub(super) fn beside_peaks<'v>(violations: impl Iterator<Item = &'v Violation>) -> Option<Tightest> {
        Tightest::worst(violations.filter_map(Tightest::of))
    }

    fn of(v: &Violation) -> Option<Tightest> {
        let (utilisation, frame) = (v.beside_peaks()?, v.at.frame()?);
        Some(Tightest { limit: v.limit, utilisation, value: v.value, allowed: v.allowed, frame })
    }

    fn worst(each: impl Iterator<Item = Tightest>) -> Option<Tightest> {
        each.max_by(|a, b| a.utilisation.share().total_cmp(&b.utilisation.share()))
    }
}

/// One axis in one pass.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct AxisReport {
    /// True where its group is parked in this pass.
    pub parked: bool,
    /// The photographed span.
    pub photographed: StretchReport,
    /// The run-up, where there is one.
    pub run_up: Option<StretchReport>,
    /// The run-down, where there is one.
    pub run_down: Option<StretchReport>,
    /// Torque at its worst, where motor and load are given.
    pub torque: Option<TorqueUse>,
    /// True where a step in acceleration makes jerk unbounded.
    pub jerk_unbounded: bool,
    /// What is exceeded though no peak shows it: a move between exposures that is too long, a wire that goes slack.
    pub(crate) beside_peaks: Option<Tightest>,
}

impl AxisReport {
    /// The same with what violations exceed beside the peaks.
    pub(super) fn and_beside<'v>(self, violations: impl Iterator<Item = &'v Violation>) -> AxisReport {
        let beside_peaks = Tightest::worst(self.beside_peaks.into_iter().chain(Tightest::beside_peaks(violations)));
        AxisReport { beside_peaks, ..self }
    }

    /// Run-up, photographed span and run-down, those there are.
    pub fn stretches(&self) -> impl Iterator<Item = (Part, &StretchReport)> {
        let parts =
            [(Part::RunUp, self.run_up.as_ref()), (Part::Photographed, Some(&self.photographed)), (Part::RunDown, self.run_down.as_ref())];
        parts.into_iter().filter_map(|(part, s)| s.map(|s| (part, s)))
    }

    /// The limit that is used most, over run-up, photographed span and run-down. Travel counts only where it is left: a figure near a soft limit is no
    /// strain. Register and clearance are no matter of one axis.
    #[must_use]
    pub fn tightest(&self) -> Tightest {
        let v = &self.photographed.velocity;
        let mut worst = Tightest {
            limit: Limit::Velocity,
            utilisation: Utilisation::NONE,
            value: 0.0,
            allowed: v.limit.unwrap_or(0.0),
            frame: v.frame,
        };
        let mut see = |limit, utilisation: Utilisation, value, allowed, frame| {
            if utilisation.share() > worst.utilisation.share() || (utilisation.share().is_nan() && !worst.utilisation.share().is_nan()) {
                worst = Tightest { limit, utilisation, value, allowed, frame };
            }
        };
        for (_, s) in self.stretches() {
            for (limit, peak) in s.rates() {
                if let (Some(used), Some(allowed)) = (peak.utilisation(), peak.limit) {
                    see(limit, used, peak.value, allowed, peak.frame);
                }
            }
            for (value, frame, allowed, used) in s.position.ends() {
                if used.is_exceeded() {
                    see(Limit::Position, used, value, allowed, frame);
                }
            }
        }
        if let Some(t) = &self.torque {
            see(Limit::Torque, t.utilisation(), t.demand, t.available, FrameTime(t.at));
        }
        if let Some(t) = self.beside_peaks {
            see(t.limit, t.utilisation, t.value, t.allowed, t.frame);
        }
        if self.jerk_unbounded {
            let j = &self.photographed.jerk;
            let allowed = j.limit.unwrap_or(0.0);
            see(Limit::Jerk, Utilisation::of(f64::INFINITY, allowed), f64::INFINITY, allowed, j.frame);
        }
        worst
    }

    /// True where it moves in the photographed span.
    #[must_use]
    pub(crate) fn moves(&self) -> bool {
        let s = &self.photographed;
        s.velocity.value > 0.0 || s.position.min < s.position.max
    }
}
