//! Points and capsules as values of a table.
//!
//! Invariant: what comes out lies in its range; what does not is recorded at its key.

use super::log::Log;
use super::reader::Table;
use super::values;
use crate::bounds::{COORDINATE, Code, Flaw, RADIUS};
use crate::mechanism::Vector;
use crate::stage::Capsule;

/// A point, for messages.
pub(super) const POINT: &str = "three numbers, [x, y, z] in mm";

/// The capsule of a table's `from`, `to` and `radius`.
pub(super) fn capsule(log: &mut Log, table: &mut Table<'_>) -> Option<Capsule> {
    let from = point(log, table, "from");
    let to = if table.has("to") { point(log, table, "to") } else { from };
    let radius = table.need(log, "radius", "a number, mm", values::number);
    if let Some(Err(flaw)) = radius.map(|radius| RADIUS.check("radius", radius)) {
        table.report_at(log, "radius", flaw);
        return None;
    }
    Some(Capsule { from: from?, to: to?, radius: radius? })
}

/// The point that a key holds.
pub(super) fn point(log: &mut Log, table: &mut Table<'_>, key: &'static str) -> Option<Vector> {
    let [x, y, z] = table.need(log, key, POINT, values::three_numbers)?;
    if [x, y, z].into_iter().all(|c| COORDINATE.contains(c)) {
        return Some(Vector::new(x, y, z));
    }
    let flaw = Flaw::new(Code::OutOfRange, key, format!("`{key}` is out of range"))
        .found(format!("[{x}, {y}, {z}]"), format!("each from {COORDINATE}"));
    table.report_at(log, key, flaw);
    None
}
