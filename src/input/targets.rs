//! What a camera looks at or focuses on, by its name: a group, a limb as `GROUP.LIMB`, or a point of the stage.

use core::ops::Range;

use super::log::Log;
use super::names::Names;
use super::reader::Table;
use super::values;
use crate::bounds::{Code, Flaw};
use crate::shot::Target;

/// The target of this name, written at these bytes; `None` where there is none, which is then recorded.
pub(super) fn target(log: &mut Log, table: &Table<'_>, names: &Names<'_>, name: &str, at: Range<usize>) -> Option<Target> {
    if let Some((_, point)) = names.stage.surroundings().points.iter().find(|(n, _)| n == name) {
        return Some(Target { from: [point.x, point.y, point.z], ..Target::default() });
    }
    let (group, limb) = name.split_once('.').map_or((name, None), |(group, limb)| (group, Some(limb)));
    let id = match names.group(log, group) {
        Ok(id) => id,
        Err(flaw) => {
            if let Some(flaw) = flaw {
                table.report_bytes(log, at, flaw);
            }
            return None;
        }
    };
    let Some(limb) = limb else { return Some(Target { at: Some(id), ..Target::default() }) };
    let limbs = names.stage.body_of(id).map(|b| b.limbs()).unwrap_or_default();
    let found = limbs.iter().position(|l| l.name() == limb);
    if found.is_none() && names.complete {
        let known: Vec<&str> = limbs.iter().map(|l| l.name()).collect();
        let flaw = Flaw::new(Code::UnknownLimb, "at", "the group has no such limb");
        let flaw = flaw.found(values::quoted(name), format!("a limb of `{group}`: {}", values::names(known.iter().copied())));
        let flaw = match log.nearest(limb, known.iter().copied()) {
            Some(near) => flaw.help(format!("write \"{group}.{near}\"")),
            None => flaw.help("aim at the group, or describe the limb under [[group.limb]]"),
        };
        table.report_bytes(log, at, flaw);
    }
    Some(Target { at: Some(id), limb: Some(found?), ..Target::default() })
}
