//! Which axis may keep an aim or a focus from having a place: one of those it follows that leaves its travel.
//!
//! What: an aim and a focus follow bodies, so a wrong key of a bridge can lead them where no angle and no distance is left. Such a bridge is to be mended first. Limits: only axes
//! that are channels of their own, over the photographed span.

use super::axis_move::Shown;
use super::error::{Blame, CompileError, key_before};
use crate::shot::Shot;
use crate::signal::Layers;
use crate::stage::{AxisId, GroupId, Stage, Utilisation};

/// Adds to the errors of aims and focuses what is to blame, where one of these curves is.
pub(super) fn add(errors: &mut [CompileError], (stage, shot, layers): (&Stage, &Shot, &Layers), known: &[(AxisId, Shown)]) {
    for error in errors {
        let CompileError::Axes { axes, blame, .. } = error else { continue };
        let ids = axes.iter().filter_map(|name| stage.axis_ids().find(|id| stage.axis_name(*id) == name));
        let groups: Vec<GroupId> = ids.flat_map(|id| followed(stage, shot, id)).collect();
        *blame = groups.iter().find_map(|group| outside(*group, (stage, shot, layers), known));
    }
}

/// The groups that the focus or the aim of an axis follows.
fn followed(stage: &Stage, shot: &Shot, axis: AxisId) -> Vec<GroupId> {
    let aims = shot.aims().iter().filter(|a| a.which(stage, axis).is_some()).flat_map(|a| a.groups());
    let focuses = shot.focuses().iter().filter(|f| f.moves(stage, axis)).flat_map(|f| f.groups());
    aims.chain(focuses).collect()
}

/// An axis that moves the body of a group and leaves its travel.
fn outside(group: GroupId, (stage, shot, layers): (&Stage, &Shot, &Layers), known: &[(AxisId, Shown)]) -> Option<Blame> {
    stage.body_of(group)?.every_channel().iter().find_map(|channel| {
        let id = stage.own_axis(*channel)?;
        let (_, shown) = known.iter().find(|(k, _)| *k == id)?;
        let axis = stage.axis(id);
        let (travel, least, greatest) = (axis.travel(), shown.peaks.least, shown.peaks.greatest);
        let worst = if greatest.value - travel.upper >= travel.lower - least.value { greatest } else { least };
        Utilisation::of_travel(least.value, greatest.value, travel).is_exceeded().then(|| {
            let then = layers.time_of(group).map_or(worst.at, |time| time.choreography(worst.at));
            Blame {
                axis: stage.axis_name(id).to_owned(),
                position: worst.value,
                at: worst.at,
                unit: axis.unit().symbol(),
                lower: travel.lower,
                upper: travel.upper,
                place: key_before(layers.sources(stage, shot), shot, &[*channel], then),
            }
        })
    })
}
