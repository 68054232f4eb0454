//! The whole check of a shot: one report for each pass, and what all passes share.
//!
//! Invariant: a pass is within its limits exactly where it has no violation.

use std::sync::Arc;

use super::clearance::{ClearanceReport, Nearest};
use super::fastest::Fastest;
use super::hang::found::WireReport;
use super::haze::HazeReport;
use super::notes::Note;
use super::pixels::PixelReport;
use super::register::Registration;
use super::runnable::Runnable;
use super::stopping::found::Stopping;
use super::swing::found::SwingReport;
use super::swing::settling::Settling;
use super::verdict::AxisReport;
use super::violation::Violation;
use crate::compile::Compiled;
use crate::program::hanging::hung::Unknown;
use crate::program::{Leg, Program};
use crate::stage::{AxisId, GroupId, PerAxis};
use crate::time::FrameTime;

/// One pass.
#[derive(Debug, Clone)]
#[non_exhaustive]
pub struct PassReport {
    /// Its program.
    pub(crate) program: Arc<Program>,
    /// The smallest pace within limits over the photographed span, as if the pass were moving.
    pub fastest: Fastest,
    /// The smallest pace at which the whole pass runs, from the move to start to the return home.
    pub runnable: Runnable,
    /// Every axis in stage order.
    pub axes: PerAxis<AxisReport>,
    /// Every limit that is exceeded, the earliest first within an axis.
    pub violations: Vec<Violation>,
    /// How far hanging figures swing.
    pub(crate) swings: Vec<SwingReport>,
    /// How long figures with a limit of swing must rest in a held pass.
    pub(crate) settling: Vec<Settling>,
    /// Figures of a held pass of which that is not known, and why.
    pub(super) unsettled: Vec<(GroupId, Unknown)>,
    /// What the wires of figures on three wires carry.
    pub(crate) wires: Vec<WireReport>,
    /// Room to stop of every axis that the pass moves; `None` where it was not looked at.
    pub(crate) stops: Vec<(AxisId, Option<Stopping>)>,
    /// The same without power, of axes that coast.
    pub(crate) coasts: Vec<(AxisId, Option<Stopping>)>,
    /// Gaps of carriages and envelopes from run-up to run-down; `None` where nothing could meet.
    pub(crate) clearance: Option<ClearanceReport>,
    /// Gaps on the move to start, and on the return home.
    pub(crate) way_clearance: [(Leg, Option<ClearanceReport>); 2],
    /// Both as if nothing swung: what passes share, and what a later check may take over.
    pub(super) still: Arc<Option<ClearanceReport>>,
    pub(super) way_still: Arc<[(Leg, Option<ClearanceReport>); 2]>,
}

impl PassReport {
    /// Name of the pass.
    #[must_use]
    pub fn name(&self) -> &str {
        self.program.pass().name()
    }

    /// True where no limit is exceeded.
    #[must_use]
    pub fn within_limits(&self) -> bool {
        self.violations.is_empty()
    }

    /// True where everything keeps its clearance on a leg, as far as the stage says what could meet.
    #[must_use]
    pub(crate) fn way_is_clear(&self, leg: Leg) -> bool {
        let of = self.way_clearance.iter().filter(|(l, _)| *l == leg);
        of.flat_map(|(_, c)| c).flat_map(|c| &c.pairs).all(Nearest::is_kept)
    }
}

/// The whole check.
#[derive(Debug, Clone)]
#[non_exhaustive]
pub struct Report {
    /// What was checked.
    pub(crate) compiled: Compiled,
    /// How much more than what is required gaps are known to, for what swings, mm.
    pub(super) spare: f64,
    /// Every pass in the order of the shot.
    pub passes: Vec<PassReport>,
    /// Notes on the move, which all passes share.
    pub(crate) notes: Vec<Note>,
    /// For each axis the instants within the photographed span at which it reverses.
    pub(crate) reversals: PerAxis<Vec<FrameTime>>,
    /// For each axis by how many steps rotor lag can set two moving passes of different pace apart; `None` where it cannot be known.
    pub(crate) lag_between_paces: PerAxis<Option<f64>>,
    /// Whether the passes register, pair by pair.
    pub(crate) registration: Registration,
    /// What a step and the backlash of camera and figure axes are worth in the picture; empty without a lens.
    pub(crate) pixels: Vec<PixelReport>,
    /// What haze does to the shot; `None` where it has none.
    pub(crate) haze: Option<HazeReport>,
}

impl Report {
    /// True where no limit is exceeded in any pass.
    #[must_use]
    pub fn within_limits(&self) -> bool {
        self.passes.iter().all(PassReport::within_limits)
    }
}
