//! How much room hanging figures need for their swing, beside where they hang.
//!
//! What: the peaks of a figure's pendulum and of its further modes together; a gap between two figures is less by what both need. Invariant: parts of one figure swing together, and carriages on a rail do not
//! swing. Limits: the peak is that of the centre of mass; what hangs below it swings further. A swing that is not known counts as none, and a note says so.

use super::clearance::{Against, ClearanceReport, Nearest};
use super::swing::found::SwingReport;
use crate::program::Leg;
use crate::stage::GroupId;

/// What every figure that swings needs, mm: until the end of the pass, and on the return home.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Sway(Vec<(GroupId, [f64; 2])>);

impl Sway {
    /// Of the figures of a pass.
    pub(super) fn of(swings: &[SwingReport]) -> Sway {
        let mut all: Vec<(GroupId, [f64; 2])> = Vec::new();
        for s in swings {
            let Ok(found) = s.found else { continue };
            let own = [found.peak.value, found.return_home.value];
            match all.iter_mut().find(|(group, _)| *group == s.group) {
                Some((_, sum)) => sum.iter_mut().zip(own).for_each(|(sum, own)| *sum += own),
                None => all.push((s.group, own)),
            }
        }
        all.retain(|(_, most)| *most != [0.0; 2]);
        Sway(all)
    }

    /// True where nothing swings.
    pub(super) fn is_none(&self) -> bool {
        self.0.is_empty()
    }

    /// The most that any gap may be less by, mm.
    pub(super) fn most(&self) -> f64 {
        let mut peaks: Vec<f64> = self.0.iter().map(|(_, [pass, back])| pass.max(*back)).collect();
        peaks.sort_by(|a, b| b.total_cmp(a));
        peaks.iter().take(2).sum()
    }

    fn of_group(&self, group: GroupId, leg: Option<Leg>) -> f64 {
        let known = self.0.iter().find(|(g, _)| *g == group);
        known.map_or(0.0, |(_, [pass, back])| if leg == Some(Leg::ReturnHome) { *back } else { *pass })
    }

    /// A gap with the swing of both taken off.
    pub(super) fn off(&self, n: &Nearest, leg: Option<Leg>) -> Nearest {
        let swing = match n.against {
            Against::Own | Against::Rail(_) => 0.0,
            Against::Group(other) => self.of_group(n.group, leg) + self.of_group(other, leg),
            Against::Obstacle(_) | Against::KeepOut(_) => self.of_group(n.group, leg),
        };
        Nearest { gap: n.gap - swing, swing, ..*n }
    }

    /// The same for all that was measured.
    pub(super) fn off_all(&self, found: &ClearanceReport, leg: Option<Leg>) -> ClearanceReport {
        ClearanceReport { pairs: found.pairs.iter().map(|n| self.off(n, leg)).collect() }
    }
}
