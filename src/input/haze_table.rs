//! The table of haze: `[haze]` with `full_size_visibility_m`, `bands` and, where there are several cameras, `camera`.

use super::keys;
use super::log::Log;
use super::names::Names;
use super::reader::Table;
use super::values::{self, TEXT};
use crate::bounds::{Code, Flaw};
use crate::shot::Haze;

/// The haze, where the shot has any; `None` too where its table has mistakes, and then something was recorded.
pub(super) fn haze(log: &mut Log, root: &mut Table<'_>, names: &Names<'_>) -> Option<Haze> {
    let mut table = root.table(log, "haze", "a table, [haze]")?;
    table.label = "haze".to_owned();
    table.reject_unknown_keys(log, &keys::HAZE);
    let visibility = table.need(log, "full_size_visibility_m", "a number, m", values::number);
    let named = table.take(log, "camera", TEXT, values::text);
    let camera = named.map(|name| names.group_at(log, &mut table, "camera", name));
    if table.is_wrong("camera") || camera == Some(None) {
        return None;
    }
    let bands = bands(log, &mut table);
    match Haze::new(names.stage, visibility.unwrap_or(1.0), camera.flatten()).and_then(|haze| haze.with_bands(bands)) {
        Ok(haze) => visibility.map(|_| haze),
        Err(mut flaws) => {
            // Where the stage has mistakes of its own, its cameras may be missing for them.
            flaws.retain(|flaw| names.complete || flaw.field != "camera");
            table.flaws(log, flaws, &[]);
            None
        }
    }
}

/// Bands of colour and their factors; what is no number is reported.
fn bands(log: &mut Log, table: &mut Table<'_>) -> Vec<(String, f64)> {
    let mut bands = Vec::new();
    let Some(inner) = table.table(log, "bands", "a table of factors, { band = factor }") else { return bands };
    for (name, entry) in inner.entries() {
        match values::number(entry.value.get_ref()) {
            Some(factor) => bands.push((name.to_owned(), factor)),
            None => {
                let flaw =
                    Flaw::new(Code::WrongType, "bands", "a factor is not a number").found(values::shown(entry.value.get_ref()), "a number");
                inner.report_bytes(log, entry.value.span(), flaw.help("write factors as in `bands = { red = 0.9, blue = 1.2 }`"));
            }
        }
    }
    bands
}
