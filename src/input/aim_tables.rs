//! The tables of aims: `[[aim]]` with `camera`, `channels`, `at` or nothing, `offset` or `offset_keys`.
//!
//! `channels` are two turning channels of the camera's group; `at` names the group whose body carries the target, a limb as `GROUP.LIMB`, or a point of the stage; left out for the stage's origin;
//! `offset = [x, y, z]` in mm from there (default the origin), or `offset_keys = [[frame, x, y, z], ...]`; `smooth` in frames and
//! `without`, channels of the target's group, say how its motion is looked at.

use core::ops::Range;

use super::keys;
use super::log::Log;
use super::machine_tables::full_name;
use super::names::Names;
use super::reader::Table;
use super::targets::target;
use super::values::{self, TEXT};
use crate::bounds::{Code, Flaw};
use crate::shot::aim::Offset;
use crate::shot::{Aim, AimSpec, Key, Target};
use crate::stage::{ChannelId, GroupId};

/// All `[[aim]]` with their headers.
pub(super) fn aims(log: &mut Log, root: &mut Table<'_>, names: &Names<'_>) -> Vec<(Aim, Range<usize>)> {
    let tables = root.tables(log, "aim", "aim");
    tables.into_iter().filter_map(|table| aim(log, table, names)).collect()
}

fn aim(log: &mut Log, mut table: Table<'_>, names: &Names<'_>) -> Option<(Aim, Range<usize>)> {
    table.reject_unknown_keys(log, &keys::AIM);
    let camera = group(log, &mut table, names, "camera");
    let target = if table.has("at") { at(log, &mut table, names) } else { Some(Target::default()) };
    let pair = table.need(log, "channels", "two names in quotes", |v| {
        let list: Option<Vec<&str>> = v.as_array()?.iter().map(|n| n.get_ref().as_str()).collect();
        match list?.as_slice() {
            [a, b] => Some([(*a).to_owned(), (*b).to_owned()]),
            _ => None,
        }
    });
    let camera = camera?;
    let mut channels = Vec::new();
    for (i, name) in pair?.into_iter().enumerate() {
        let full = full_name(names.group_name(camera), &name);
        match names.channel(log, &full) {
            Ok(channel) => channels.push(channel),
            Err(flaw) => {
                if let Some(flaw) = flaw {
                    table.report_bytes(log, table.bytes_of("channels", Some(i)), flaw);
                }
                return None;
            }
        }
    }
    let offset = offset(log, &mut table)?;
    let Target { at, limb, from } = target?;
    let smooth = table.take(log, "smooth", "a number, frames", values::number);
    let without = without(log, &mut table, names, at)?;
    let [a, b] = channels.as_slice() else { return None };
    let place = log.place(table.file, table.header.start);
    match Aim::new(names.stage, AimSpec { camera, channels: [*a, *b], at, limb, from, offset, smooth, without, place }) {
        Ok(aim) => Some((aim, table.header)),
        Err(flaws) => {
            // Where the stage has mistakes of its own, a camera or target may be missing for them.
            if names.complete {
                table.flaws(log, flaws, &[]);
            }
            None
        }
    }
}

fn group(log: &mut Log, table: &mut Table<'_>, names: &Names<'_>, key: &'static str) -> Option<GroupId> {
    let name = table.need(log, key, TEXT, values::text)?;
    names.group_at(log, table, key, name)
}

fn at(log: &mut Log, table: &mut Table<'_>, names: &Names<'_>) -> Option<Target> {
    let name = table.take(log, "at", TEXT, values::text)?;
    target(log, table, names, name, table.bytes_of("at", None))
}

/// Channels of the target's group; `None` where one of them is unknown.
fn without(log: &mut Log, table: &mut Table<'_>, names: &Names<'_>, at: Option<GroupId>) -> Option<Vec<ChannelId>> {
    const ALLOWED: &str = "channels of the target's group, [\"...\", \"...\"]";
    let mut without = Vec::new();
    if !table.has("without") {
        return Some(without);
    }
    let list = table.take(log, "without", ALLOWED, values::list)?;
    let Some(group) = at else {
        let flaw = Flaw::new(Code::KeyDoesNotApply, "without", "a fixed point of the stage has no channels");
        table.report_at(log, "without", flaw.found("`without` without `at`", "`without` beside `at` only"));
        return None;
    };
    let known = names.channels_of(group);
    for (i, value) in list.iter().enumerate() {
        let name = values::text(value.get_ref());
        match name.and_then(|name| known.get(name)) {
            Some(channel) => without.push(*channel),
            None if !names.complete && name.is_some() => {}
            None => {
                let allowed = format!(
                    "a channel of `{}`, without the group's name: {}",
                    names.group_name(group),
                    values::names(known.keys().copied())
                );
                let (code, title) = match name {
                    Some(_) => (Code::UnknownChannel, "`without` names a channel that the target does not have"),
                    None => (Code::WrongType, "an entry of `without` is not a name"),
                };
                let found = name.map_or_else(|| values::shown(value.get_ref()), values::quoted);
                let mut flaw = Flaw::new(code, "without", title).found(found, allowed).help("name channels in quotes, without their group");
                let last = name.and_then(|name| name.rsplit('.').next()).unwrap_or_default();
                if let Some(near) = log.nearest(last, known.keys().copied()) {
                    flaw = flaw.help(format!("write \"{near}\""));
                }
                table.report_bytes(log, table.bytes_of("without", Some(i)), flaw);
                return None;
            }
        }
    }
    Some(without)
}

fn offset(log: &mut Log, table: &mut Table<'_>) -> Option<Offset> {
    if !table.has("offset_keys") {
        let at = table.take(log, "offset", "three numbers, [x, y, z] in mm", values::three_numbers);
        return if table.is_wrong("offset") { None } else { Some(Offset::Fixed(at.unwrap_or([0.0; 3]))) };
    }
    if table.has("offset") {
        let flaw =
            Flaw::new(Code::ConflictingKeys, "offset", "an aim takes one offset").found("`offset` and `offset_keys`", "one of the two");
        table.report_at(log, "offset", flaw);
        return None;
    }
    let rows = table.need(log, "offset_keys", "a list of [frame, x, y, z]", |v| {
        v.as_array()?.iter().map(|row| Some((values::four_numbers(row.get_ref())?, row.span()))).collect::<Option<Vec<_>>>()
    })?;
    let mut keys = [Vec::new(), Vec::new(), Vec::new()];
    for ([frame, x, y, z], span) in rows {
        let place = log.place(table.file, span.start);
        for (list, value) in keys.iter_mut().zip([x, y, z]) {
            list.push(Key { frame, value, place });
        }
    }
    Some(Offset::Keyed(keys))
}
