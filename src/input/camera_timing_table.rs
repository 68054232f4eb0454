//! The table `[camera_timing]`: `dead_s`, `latency_s`, `longest_s`.

use super::keys;
use super::log::Log;
use super::reader::Table;
use super::values;
use crate::stage::CameraTiming;

/// What the camera needs between exposures; without the table nothing. Mistakes are reported.
pub(super) fn camera_timing(log: &mut Log, root: &mut Table<'_>) -> CameraTiming {
    const SECONDS: &str = "a number, s";
    let Some(mut table) = root.table(log, "camera_timing", "a table, under a line [camera_timing]") else { return CameraTiming::NONE };
    table.label = "camera_timing".to_owned();
    table.reject_unknown_keys(log, &keys::CAMERA_TIMING);
    let dead = table.take(log, "dead_s", SECONDS, values::number).unwrap_or(0.0);
    let latency = table.take(log, "latency_s", SECONDS, values::number).unwrap_or(0.0);
    let longest = table.take(log, "longest_s", SECONDS, values::number);
    CameraTiming::new(dead, latency, longest).unwrap_or_else(|flaws| {
        table.flaws(log, flaws, &[]);
        CameraTiming::NONE
    })
}
