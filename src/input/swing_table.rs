//! The table of a figure's swing: `[group.swing]` with `joint`, `length`, `length_channel`, `length_per_unit`, `damping`, `limit`, `modes`.

use super::keys;
use super::log::Log;
use super::machine_tables::full_name;
use super::reader::Table;
use super::values::{self, NUMBER, TEXT};
use crate::bounds::{Code, Flaw};
use crate::stage::{SwingSpec, USUAL_DAMPING};

const MM: &str = "a number, mm";

/// A swing of a group whose named joints are these, where they could be read; `None` where its table has mistakes.
pub(super) fn swing(log: &mut Log, group: &str, table: &mut Table<'_>, joints: Option<&Vec<(String, usize)>>) -> Option<SwingSpec> {
    let written = log.count();
    table.reject_unknown_keys(log, &keys::SWING);
    let joint = table.need(log, "joint", TEXT, values::text);
    let length = table.need(log, "length", MM, values::number);
    let channel = table.take(log, "length_channel", TEXT, values::text);
    let per_unit = table.take(log, "length_per_unit", "a number, mm per unit", values::number);
    let damping = table.take(log, "damping", NUMBER, values::number).unwrap_or(USUAL_DAMPING);
    let limit = table.take(log, "limit", MM, values::number);
    let pair = [("length_channel", "length_per_unit"), ("length_per_unit", "length_channel")];
    for (given, wanting) in pair {
        if !table.has(given) || table.has(wanting) || table.is_wrong(wanting) {
            continue;
        }
        let flaw = Flaw::new(Code::MissingKey, wanting, format!("`{given}` needs `{wanting}`"));
        let example = if wanting == "length_channel" { "\"hoist\"" } else { "-1" };
        table.report_at(
            log,
            wanting,
            flaw.found(format!("`{given}` alone"), "both or neither")
                .help(format!("add `{wanting} = ...`, for example `{wanting} = {example}`")),
        );
    }
    let mut spec = SwingSpec::new(joint.unwrap_or_default(), length.unwrap_or(1.0));
    (spec.damping, spec.limit) = (damping, limit);
    spec.length_channel = channel.zip(per_unit).map(|(name, per_unit)| (full_name(group, name), per_unit));
    let mut modes = table.tables(log, "modes", &format!("mode of group {}", values::cut(group, 64)));
    for mode in &mut modes {
        mode.reject_unknown_keys(log, &keys::MODE);
        let period = mode.need(log, "period_s", "a number, s", values::number);
        let damping = mode.take(log, "damping", NUMBER, values::number).unwrap_or(USUAL_DAMPING);
        spec.modes.push([period.unwrap_or(1.0), damping]);
    }
    for flaw in spec.flaws() {
        let at = flaw.index.and_then(|i| modes.get(i)).unwrap_or(&*table);
        at.flaws(log, vec![Flaw { index: None, ..flaw }], &[]);
    }
    if let (Some(_), Some(Err(flaw))) = (joint, joints.map(|joints| spec.after(joints))) {
        table.report_at(log, "joint", flaw);
    }
    (log.count() == written).then_some(spec)
}
