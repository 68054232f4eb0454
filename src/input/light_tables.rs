//! The tables of light, depth of field and the day: `[depth]`, `[light.NAME]`, `[day]`.

use super::keys;
use super::log::Log;
use super::names::Names;
use super::reader::Table;
use super::values::{self, NUMBER};
use crate::bounds::{Code, F_NUMBER, Flaw};
use crate::shot::light::{Light, Lighting, Sharp};

/// Everything of a shot file that is said of light.
pub(super) fn lighting(log: &mut Log, root: &mut Table<'_>, names: &Names<'_>) -> Lighting {
    let mut lighting = Lighting { lights: lights(log, root), ..Lighting::default() };
    if let Some(mut table) = root.table(log, "depth", "a table, under a line [depth]") {
        table.label = "depth".to_owned();
        table.reject_unknown_keys(log, &keys::DEPTH);
        lighting.sharp = sharp(log, &mut table, names);
        let look = table.take(log, "look_f_number", NUMBER, values::number);
        lighting.look =
            look.and_then(|look| F_NUMBER.check("look_f_number", look).map_err(|flaw| table.report_at(log, "look_f_number", flaw)).ok());
    }
    if let Some(mut table) = root.table(log, "day", "a table, under a line [day]") {
        table.label = "day".to_owned();
        table.reject_unknown_keys(log, &keys::DAY);
        let text = table.need(log, "start", "text in quotes such as \"07:30\"", values::text);
        lighting.start = text.and_then(|text| {
            let start = time_of_day(text);
            if start.is_none() {
                let flaw =
                    Flaw::new(Code::OutOfRange, "start", "`start` is no time of day").found(values::quoted(text), "\"00:00\" to \"23:59\"");
                table.report_at(log, "start", flaw);
            }
            start
        });
    }
    lighting
}

/// Seconds after midnight of `hh:mm`.
fn time_of_day(text: &str) -> Option<u32> {
    let (hours, minutes) = text.split_once(':')?;
    let number = |text: &str, most: u32| {
        let digits = text.len() == 2 && text.bytes().all(|b| b.is_ascii_digit());
        text.parse::<u32>().ok().filter(|n| digits && *n <= most)
    };
    Some(3600 * number(hours, 23)? + 60 * number(minutes, 59)?)
}

fn lights(log: &mut Log, root: &mut Table<'_>) -> Vec<Light> {
    let mut lights = Vec::new();
    let Some(table) = root.table(log, "light", "a table for each light, each under a line [light.NAME]") else { return lights };
    for (name, entry) in table.entries() {
        let Some(inner) = entry.value.get_ref().as_table() else {
            let flaw = Flaw::new(Code::WrongType, "light", "a light is not a table");
            let flaw = flaw.found(values::shown(entry.value.get_ref()), "a table under a line [light.NAME]");
            table.report_bytes(log, entry.value.span(), flaw.help("write [light.NAME], then its keys on the lines below"));
            continue;
        };
        if let Err(flaw) = crate::stage::check_name("light", name) {
            table.report_bytes(log, entry.key(), flaw);
        }
        lights.extend(light(log, name, Table::new(table.file, format!("light {}", values::cut(name, 64)), entry.value.span(), inner)));
    }
    lights
}

fn light(log: &mut Log, name: &str, mut table: Table<'_>) -> Option<Light> {
    table.reject_unknown_keys(log, &keys::LIGHT);
    let f_number = table.need(log, "f_number", NUMBER, values::number);
    let seconds = table.need(log, "seconds", "a number, s", values::number);
    let filters = table.take(log, "filter_factor", NUMBER, values::number).unwrap_or(1.0);
    let reciprocity = table.take(log, "reciprocity", NUMBER, values::number).unwrap_or(1.0);
    Light::new(name, f_number?, seconds?, filters, reciprocity).map_err(|flaws| table.flaws(log, flaws, &[])).ok()
}

/// Names of groups, points and obstacles.
fn sharp(log: &mut Log, table: &mut Table<'_>, names: &Names<'_>) -> Option<Vec<(String, Sharp)>> {
    const ALLOWED: &str = "names of groups, points or obstacles, [\"...\", \"...\"]";
    if !table.has("sharp") {
        return None;
    }
    let list = table.take(log, "sharp", ALLOWED, values::list)?;
    let around = names.stage.surroundings();
    let mut sharp = Vec::new();
    for value in list {
        let Some(name) = values::text(value.get_ref()) else {
            let flaw = Flaw::new(Code::WrongType, "sharp", "an entry of `sharp` is not a name");
            table.report_bytes(log, value.span(), flaw.found(values::shown(value.get_ref()), ALLOWED));
            continue;
        };
        let point = around.points.iter().find(|(n, _)| n == name).map(|(_, p)| Sharp::Point([p.x, p.y, p.z]));
        let obstacle = around.obstacles.iter().position(|o| o.name == name).map(Sharp::Obstacle);
        match point.or(obstacle) {
            Some(found) => sharp.push((name.to_owned(), found)),
            None => match names.group(log, name) {
                Ok(group) if names.stage.body_of(group).is_none_or(|b| b.shown().is_empty()) && names.complete => {
                    let flaw = Flaw::new(Code::MissingBody, "sharp", "the group has no proxy that could be sharp");
                    table.report_bytes(
                        log,
                        value.span(),
                        flaw.found(values::quoted(name), "a group with joints and an envelope for the picture"),
                    );
                }
                Ok(group) => sharp.push((name.to_owned(), Sharp::Group(group))),
                Err(Some(flaw)) => table.report_bytes(log, value.span(), flaw),
                Err(None) => {}
            },
        }
    }
    Some(sharp)
}
