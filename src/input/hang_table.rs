//! The table of a figure on three wires: `[group.hang]` with `mass`, `centre`, `wires`, `least_tension`, `breaking_load`, `design_factor`.

use super::keys;
use super::log::Log;
use super::reader::Table;
use super::solid_values::POINT;
use super::values::{self, NUMBER};
use crate::bounds::{Code, Flaw};
use crate::stage::{HangSpec, USUAL_LEAST_TENSION};

/// A figure on three wires; `None` where its table has mistakes.
pub(super) fn hang(log: &mut Log, table: &mut Table<'_>) -> Option<HangSpec> {
    let written = log.count();
    table.reject_unknown_keys(log, &keys::HANG);
    let mass = table.need(log, "mass", "a number, kg", values::number);
    let centre = table.need(log, "centre", POINT, values::three_numbers);
    let wires = table.need(log, "wires", "three points, [[x, y, z], [x, y, z], [x, y, z]] in mm", |v| {
        match v.as_array()?.iter().map(|p| values::three_numbers(p.get_ref())).collect::<Option<Vec<_>>>()?.as_slice() {
            [a, b, c] => Some([*a, *b, *c]),
            _ => None,
        }
    });
    let least = table.take(log, "least_tension", NUMBER, values::number).unwrap_or(USUAL_LEAST_TENSION);
    let load = table.take(log, "breaking_load", "a number, N", values::number);
    let factor = table.take(log, "design_factor", NUMBER, values::number);
    for (given, wanting, example) in [("breaking_load", "design_factor", "8"), ("design_factor", "breaking_load", "60")] {
        if table.has(given) && !table.has(wanting) {
            let flaw = Flaw::new(Code::MissingKey, wanting, format!("`{given}` needs `{wanting}`"));
            let help = format!("add `{wanting} = ...`, for example `{wanting} = {example}`; a competent person decides it");
            table.report_at(log, wanting, flaw.found(format!("`{given}` alone"), "both or neither").help(help));
        }
    }
    let known = mass.is_some() && centre.is_some() && wires.is_some();
    let mut spec = HangSpec::new(mass.unwrap_or(1.0), centre.unwrap_or_default(), wires.unwrap_or_default());
    spec.least_tension = least;
    spec.breaking = load.zip(factor).map(|(load, factor)| [load, factor]);
    table.flaws(log, spec.flaws(), &[]);
    (known && log.count() == written).then_some(spec)
}
