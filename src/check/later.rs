//! Finds a delay in whole frames that keeps two things apart.
//!
//! What: where a copy drives a group, another `delay` of the copy is tried; else a retime of the group, nearest to film. Delays are tried at 1, 2, 4 ... frames to either side,
//! then halved down to the least that holds. Invariant: an offer was compiled and judged: in every pass no axis exceeds more than before, what is moved has its reach and
//! taut wires, and whatever it could meet keeps its clearance. Limits: cameras are left as they are, and so is what meets an obstacle; between the delays tried nothing is known.

use core::cell::OnceCell;

use super::clearance::{self, Against, Nearest};
use super::judged::Tally;
use super::violation::Fix;
use super::{reach, slack, stopping, swing};
use crate::compile::Compiled;
use crate::number::whole;
use crate::program::Program;
use crate::shot::Shot;
use crate::shot::retime::{Course, Retime};
use crate::stage::{AxisId, GroupId, PerAxis, Stage};

/// Farthest delay tried, frames; nor more than a quarter of the shot, which would be another shot.
const FARTHEST: f64 = 64.0;

/// The least delay of one of the two that brings them apart.
pub(super) fn delay(program: &Program, nearest: &Nearest) -> Option<Fix> {
    let (stage, shot) = (program.compiled().stage(), program.compiled().shot());
    // Later, a figure passes what stands still on the same way.
    let (Against::Group(other) | Against::Rail(other)) = nearest.against else { return None };
    let figure = |g: &GroupId| stage.body_of(*g).is_some_and(|b| b.lens().is_none());
    let mut groups: Vec<GroupId> = [other, nearest.group].into_iter().filter(figure).collect();
    // What is a copy is moved rather than what it is a copy of.
    groups.sort_by_key(|g| !shot.copies().iter().any(|c| c.to() == *g));
    groups.into_iter().find_map(|group| Later::new(program, group).least())
}

/// The two groups of a pair, in order; `None` where one of them stands still.
pub(super) fn groups(nearest: &Nearest) -> Option<[GroupId; 2]> {
    let (Against::Group(other) | Against::Rail(other)) = nearest.against else { return None };
    Some([nearest.group.min(other), nearest.group.max(other)])
}

/// True where one of the two is what a trial moved.
pub(super) fn touches(nearest: &Nearest, moved: impl Fn(GroupId) -> bool) -> bool {
    moved(nearest.group) || matches!(nearest.against, Against::Group(other) | Against::Rail(other) if moved(other))
}

/// A group that is tried at other times.
struct Later<'a> {
    program: &'a Program,
    group: GroupId,
    /// The only copy onto it, if there is just one.
    copy: Option<usize>,
    /// The axes that follow.
    axes: Vec<AxisId>,
    follows: PerAxis<bool>,
    /// What each pass exceeds as it is, as far as it was asked for: no trial changes that.
    before: Vec<OnceCell<Option<Tally>>>,
}

impl<'a> Later<'a> {
    fn new(program: &'a Program, group: GroupId) -> Later<'a> {
        let (stage, shot) = (program.compiled().stage(), program.compiled().shot());
        let mut onto = shot.copies().iter().enumerate().filter(|(_, c)| c.to() == group).map(|(i, _)| i);
        let copy = match (onto.next(), onto.next()) {
            (Some(only), None) => Some(only),
            _ => None,
        };
        let mut groups = vec![group];
        // A copy hands its delay on to copies of it; a retime does not. Copies run in no circle.
        let mut looked_at = 0;
        while let Some(from) = groups.get(looked_at).copied().filter(|_| copy.is_some()) {
            let fresh: Vec<GroupId> =
                shot.copies().iter().filter(|c| c.from() == from && !groups.contains(&c.to())).map(|c| c.to()).collect();
            groups.extend(fresh);
            looked_at += 1;
        }
        let aimed = |id: AxisId| shot.aims().iter().any(|a| a.which(stage, id).is_some() && a.groups().iter().any(|g| groups.contains(g)));
        let focused = |id: AxisId| shot.focuses().iter().any(|f| f.moves(stage, id) && f.groups().iter().any(|g| groups.contains(g)));
        let follows = PerAxis::new(stage, |id| aimed(id) || focused(id) || groups.iter().any(|g| stage.group(*g).has(id)));
        let axes = stage.axis_ids().filter(|id| follows[*id]).collect();
        Later { program, group, copy, axes, follows, before: shot.passes().iter().map(|_| OnceCell::new()).collect() }
    }

    /// The offer with the least delay to either side.
    fn least(&self) -> Option<Fix> {
        let [later, earlier] = [1.0, -1.0].map(|way| self.least_way(way));
        let by = match (later, earlier) {
            (Some(a), Some(b)) if b < a => -b,
            (Some(a), _) => a,
            (None, b) => -b?,
        };
        Some(match self.copied() {
            Some((copy, delay)) => Fix::CopyDelay { copy, delay: delay + by },
            None => Fix::Later { group: self.group, delay: by },
        })
    }

    fn least_way(&self, way: f64) -> Option<f64> {
        let holds = |by: f64| self.shot(way * by).is_some_and(|shot| self.holds(shot));
        let frames = self.program.compiled().shot().frames();
        let farthest = FARTHEST.min(0.25 * whole::real(frames.last() - frames.first()));
        let (mut bad, mut by) = (0.0, 1.0);
        while !holds(by) {
            (bad, by) = (by, 2.0 * by);
            if by > farthest {
                return None;
            }
        }
        while by - bad > 1.0 {
            let middle = (0.5 * (bad + by)).floor();
            if holds(middle) {
                by = middle;
            } else {
                bad = middle;
            }
        }
        Some(by)
    }

    fn copied(&self) -> Option<(usize, f64)> {
        let copy = self.copy?;
        self.program.compiled().shot().copies().get(copy).map(|c| (copy, c.delay()))
    }

    /// The shot with the group so many frames later.
    fn shot(&self, by: f64) -> Option<Shot> {
        let (stage, shot) = (self.program.compiled().stage(), self.program.compiled().shot());
        match self.copied() {
            Some((copy, delay)) => shot.with_copy_delay(copy, delay + by).ok(),
            None => {
                let retime = Retime::new(Some(vec![self.group]), Course::Later(by)).ok()?;
                let all = core::iter::once(retime).chain(shot.retimes().iter().cloned()).collect();
                shot.clone().with_retimes(stage, all).ok()
            }
        }
    }

    fn holds(&self, shot: Shot) -> bool {
        let Ok(after) = self.program.compiled().with_axes_of(shot, &self.axes) else { return false };
        // The pass itself first: it is what most delays fail.
        let own = self.program.index();
        let passes = core::iter::once(own).chain((0..after.shot().passes().len()).filter(|i| *i != own));
        passes.into_iter().all(|i| self.pass_holds(&after, i))
    }

    fn pass_holds(&self, after: &Compiled, index: usize) -> bool {
        let known = self.before.get(index).and_then(|pass| pass.get_or_init(|| Tally::of_pass(self.program.compiled(), index)).as_ref());
        let (Some(old), Some(new)) = (known, Program::one(after, index).ok().flatten()) else { return false };
        let stage = after.stage();
        let follows = |id: AxisId| self.follows[id];
        let moved =
            |group: GroupId| self.axes.iter().any(|a| !new.parks(*a) && stage.group(group).has(*a)) || aims_from(stage, group, self);
        let apart = || {
            let sway = swing::sway(&new);
            let kept = |n: &Nearest| !touches(n, moved) || sway.off(n, None).is_kept();
            match new.stations() {
                None => clearance::is_kept(&new.course(), sway.most(), &kept, after.work()),
                Some(_) => clearance::clearance(&new, sway.most()).is_none_or(|r| r.pairs.iter().all(kept)),
            }
        };
        let no_worse = || Tally::of(&new).is_within(old);
        let reached = || new.stations().is_some() || !(reach::first(&new, &follows).is_some() || slack::may_be_slack(&new, &follows));
        apart() && no_worse() && reached() && stopping::keep_room(&new, self.program.compiled(), &follows)
    }
}

/// True for a camera whose aim follows the group.
fn aims_from(stage: &Stage, group: GroupId, later: &Later<'_>) -> bool {
    stage
        .body_of(group)
        .is_some_and(|b| b.lens().is_some() && b.channels().iter().flat_map(|c| stage.axes_of(*c)).any(|a| later.follows[a]))
}
