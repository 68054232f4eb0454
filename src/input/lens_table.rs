//! The table of a lens: `[group.lens]`.

use super::keys;
use super::log::Log;
use super::reader::Table;
use super::values::{self, NUMBER};
use crate::bounds::{Code, Flaw};
use crate::mechanism::{Brown, Lens, LensSpec, Optics};

const MM: &str = "a number, mm";

/// A lens; `None` where its table has mistakes.
pub(super) fn lens(log: &mut Log, table: &mut Table<'_>) -> Option<Lens> {
    table.reject_unknown_keys(log, &keys::LENS);
    let focal_length = table.need(log, "focal_length", MM, values::number);
    let back = table.need(log, "film_back", "two numbers, [width, height] in mm", values::two_numbers);
    let pixels = table.need(log, "pixels", "two whole numbers, [width, height]", values::two_wholes);
    let optics = optics(log, table);
    let size = |n: i64| u32::try_from(n).unwrap_or(0);
    let [w, h] = pixels?;
    let spec = LensSpec { focal_length: focal_length?, back: back?, pixels: [size(w), size(h)] };
    match Lens::new(spec).and_then(|lens| lens.with(optics?)) {
        Ok(lens) => Some(lens),
        Err(flaws) => {
            let named = flaws.into_iter().map(|f| {
                if f.field == "back" {
                    Flaw { field: "film_back".to_owned(), title: f.title.replace("`back`", "`film_back`"), ..f }
                } else {
                    f
                }
            });
            table.flaws(log, named.collect(), &[]);
            None
        }
    }
}

/// What is beside that; the error is empty: each mistake is recorded.
fn optics(log: &mut Log, table: &mut Table<'_>) -> Result<Optics, Vec<Flaw>> {
    let mut optics = Optics::default();
    optics.principal_point =
        table.take(log, "principal_point", "two numbers, [right, down] in mm", values::two_numbers).unwrap_or(optics.principal_point);
    optics.pixel_aspect = table.take(log, "pixel_aspect", NUMBER, values::number).unwrap_or(optics.pixel_aspect);
    optics.film_plane = table.take(log, "film_plane", MM, values::number);
    optics.circle_of_confusion = table.take(log, "circle_of_confusion", MM, values::number);
    optics.f_numbers = table.take(log, "f_numbers", "two numbers, [least, greatest]", values::two_numbers);
    optics.t_minus_f_stops = table.take(log, "t_minus_f_stops", "a number, stops", values::number).unwrap_or(optics.t_minus_f_stops);
    let breathing = table.pairs_if_given(log, "breathing", "[focus distance, focal length]");
    optics.breathing = breathing.keys.iter().map(|k| [k.frame, k.value]).collect();
    let mut wrong = breathing.incomplete;
    if table.has("breathing") && breathing.keys.is_empty() && !wrong {
        let flaw = Flaw::new(Code::WrongCount, "breathing", "`breathing` has no points");
        table.report_at(log, "breathing", flaw.found("no rows", "2 rows or more"));
    }
    if let Some(mut inner) = table.table(log, "distortion", "a table, { k1 = ..., k2 = ..., k3 = ..., p1 = ..., p2 = ... }") {
        inner.reject_unknown_keys(log, &keys::DISTORTION);
        let mut of = |key: &'static str| inner.take(log, key, NUMBER, values::number).unwrap_or(0.0);
        optics.distortion = Brown { k1: of("k1"), k2: of("k2"), k3: of("k3"), p1: of("p1"), p2: of("p2") };
        wrong |= keys::DISTORTION.names().any(|key| inner.is_wrong(key));
    }
    wrong |= keys::LENS.names().any(|key| table.is_wrong(key));
    if wrong { Err(Vec::new()) } else { Ok(optics) }
}
