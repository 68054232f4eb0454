//! What a camera looks at or focuses on: the body of a group, one of its limbs, or a place of the stage.
//!
//! Invariant: a limb is one of its group's body. Unit: mm.

use crate::bounds::{Code, Flaw};
use crate::stage::{ChannelId, GroupId, Stage};

/// A target.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Target {
    /// Group whose body or limb carries it; `None`: a place of the stage.
    pub at: Option<GroupId>,
    /// The limb, by its number; `None`: the body.
    pub limb: Option<usize>,
    /// The place, for a target on the stage.
    pub from: [f64; 3],
}

impl Target {
    /// The flaw of a target whose group has no body.
    pub(super) fn flaw(&self, stage: &Stage, key: &str) -> Option<Flaw> {
        let group = self.at.filter(|group| stage.body_of(*group).is_none())?;
        let flaw = Flaw::new(Code::MissingBody, key, "the target has no place on the stage");
        Some(flaw.found(format!("`{}` without joints", stage.group_name(group)), "a group with joints, or a point of the stage"))
    }

    /// The channels that move it.
    #[must_use]
    pub(crate) fn moved_by(&self, stage: &Stage) -> Vec<ChannelId> {
        let Some(body) = self.at.and_then(|g| stage.body_of(g)) else { return Vec::new() };
        body.channels_to(self.limb).into_iter().filter_map(|i| body.every_channel().get(i).copied()).collect()
    }

    /// What it is called in the files.
    #[must_use]
    pub(crate) fn name(&self, stage: &Stage) -> String {
        let Some(group) = self.at else {
            let [x, y, z] = self.from;
            let point = stage.surroundings().points.iter().find(|(_, p)| [p.x, p.y, p.z] == self.from);
            return point.map_or_else(|| format!("[{x}, {y}, {z}]"), |(name, _)| name.clone());
        };
        let limb = self.limb.and_then(|n| stage.body_of(group)?.limbs().get(n)).map_or(String::new(), |l| format!(".{}", l.name()));
        format!("{}{limb}", stage.group_name(group))
    }
}
