//! Copies from group to group.
//!
//! Invariant: a copy that is kept has another group as its source, factors for channels of the source alone, and in its target every channel that something drives in its source, through other copies too.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use super::keys;
use super::log::Log;
use super::names::{Names, unknown_group};
use super::reader::{KeyList, Table};
use super::values;
use crate::bounds::{Code, Flaw, MOST_AXES};
use crate::shot::Copy;
use crate::stage::{ChannelId, GroupId};

/// A copy between two known groups.
struct Between<'t> {
    table: Table<'t>,
    from: GroupId,
    to: GroupId,
    copy: Option<Copy>,
}

/// All `[[copy]]` with their headers; `driven` are the channels that layers drive.
pub(super) fn copies(log: &mut Log, root: &mut Table<'_>, names: &Names<'_>, driven: &BTreeSet<ChannelId>) -> Vec<(Copy, Range<usize>)> {
    let tables = root.tables(log, "copy", "copy");
    if tables.len() > MOST_AXES {
        root.report_at(
            log,
            "copy",
            Flaw::new(Code::TooMany, "copy", "the shot has too many copies")
                .found(format!("{} copies", tables.len()), format!("at most {MOST_AXES}")),
        );
        return Vec::new();
    }
    let between: Vec<Between<'_>> = tables.into_iter().filter_map(|table| between(log, table, names)).collect();
    missing_in_target(log, &between, names, driven);
    between.into_iter().filter_map(|b| b.copy.map(|copy| (copy, b.table.header))).collect()
}

fn between<'t>(log: &mut Log, mut table: Table<'t>, names: &Names<'_>) -> Option<Between<'t>> {
    table.reject_unknown_keys(log, &keys::COPY);
    let from = group(log, &mut table, names, "from", None);
    let to = group(log, &mut table, names, "to", from);
    if let (Some(from), Some(to)) = (from, to) {
        table.label = format!("copy from {} to {}", names.group_name(from), names.group_name(to));
    }
    if from.is_some() && from == to {
        table.report_at(
            log,
            "to",
            Flaw::new(Code::CircularReference, "to", "a group is copied onto itself")
                .found("the same group in `from` and `to`", "two groups"),
        );
    }
    let delay = table.take(log, "delay", "a number, frames", values::number).unwrap_or(0.0);
    let (scale, list) = scale(log, &mut table, names, from, "from");
    // Where a group is unknown, the other numbers are looked at all the same.
    let any = names.any_group();
    let copy = match Copy::new(from.unwrap_or(any), to.unwrap_or(any), delay, scale) {
        Ok(copy) => Some(copy),
        Err(flaws) => {
            table.flaws(log, flaws, &[("scale", &list)]);
            None
        }
    };
    match (from, to) {
        (Some(from), Some(to)) if from != to => Some(Between { table, from, to, copy }),
        _ => None,
    }
}

/// The group that a key names; where it is unknown, any but `other` may have been meant.
fn group(log: &mut Log, table: &mut Table<'_>, names: &Names<'_>, key: &'static str, other: Option<GroupId>) -> Option<GroupId> {
    let name = table.need(log, key, "the name of a group of the stage, in quotes", values::text)?;
    match names.group(log, name) {
        Ok(group) => Some(group),
        Err(None) => None,
        Err(Some(_)) => {
            let may: Vec<&str> = names.stage.group_ids().filter(|g| Some(*g) != other).map(|g| names.group_name(g)).collect();
            let flaw = unknown_group(log, name, may.iter().copied());
            table.report_at(log, key, flaw);
            None
        }
    }
}

/// The factors of a copy or routine and where they are written; `key` names the group that has the channels.
pub(super) fn scale(
    log: &mut Log,
    table: &mut Table<'_>,
    names: &Names<'_>,
    from: Option<GroupId>,
    key: &str,
) -> (Vec<(String, f64)>, KeyList) {
    let mut factors = Vec::new();
    let mut list = KeyList { file: table.file, ..KeyList::default() };
    let Some(inner) = table.table(log, "scale", "a table of factors, { channel = factor }") else { return (factors, list) };
    let known = from.map(|from| names.channels_of(from));
    for (name, entry) in inner.entries() {
        let bytes = entry.value.span();
        if let Some(known) = known.as_ref().filter(|known| names.complete && !known.contains_key(name)) {
            let allowed = format!("a channel of the group, without the group's name: {}", values::names(known.keys().copied()));
            let mut flaw = Flaw::new(Code::UnknownChannel, "scale", format!("a factor for a channel that `{key}` does not have"))
                .found(values::quoted(name), allowed);
            if let Some(near) = log.nearest(name.rsplit('.').next().unwrap_or(name), known.keys().copied()) {
                flaw = flaw.help(format!("write `{near}`"));
            }
            inner.report_bytes(log, entry.key(), flaw);
        }
        match values::number(entry.value.get_ref()) {
            Some(factor) => {
                factors.push((name.to_owned(), factor));
                list.spots.push(bytes);
            }
            None => {
                list.incomplete = true;
                let flaw = Flaw::new(Code::WrongType, "scale", "a factor is not a number")
                    .found(values::shown(entry.value.get_ref()), "a number")
                    .help("write factors as in `scale = { roll = -1, wing = 0.9 }`");
                inner.report_bytes(log, bytes, flaw);
            }
        }
    }
    (factors, list)
}

/// Follows what is driven through all copies, then looks for it in each target.
fn missing_in_target(log: &mut Log, between: &[Between<'_>], names: &Names<'_>, driven: &BTreeSet<ChannelId>) {
    if !names.complete {
        return;
    }
    let stage = names.stage;
    // A channel enters once, so this ends, also for copies in a circle.
    let mut all = driven.clone();
    let mut fresh: Vec<ChannelId> = driven.iter().copied().collect();
    let mut by_source: BTreeMap<GroupId, Vec<GroupId>> = BTreeMap::new();
    for b in between {
        by_source.entry(b.from).or_default().push(b.to);
    }
    for targets in by_source.values_mut() {
        targets.sort_unstable();
        targets.dedup();
    }
    let channel_in = |group: GroupId, name: &str| stage.channel(&format!("{}.{name}", names.group_name(group)));
    while let Some(id) = fresh.pop() {
        // By its name, since a mechanism's channel is no axis's own.
        let Some((group, local)) = stage.channel_name(id).split_once('.') else { continue };
        let Some(targets) = stage.group_of_name(group).and_then(|g| by_source.get(&g)) else { continue };
        for target in targets {
            if let Some(there) = channel_in(*target, local)
                && all.insert(there)
            {
                fresh.push(there);
            }
        }
    }
    for b in between {
        let of = names.channels_of(b.from);
        let driven = of.iter().filter(|(_, id)| all.contains(id)).map(|(name, _)| *name);
        let lost: Vec<&str> = driven.filter(|name| channel_in(b.to, name).is_none()).collect();
        if lost.is_empty() {
            continue;
        }
        let (from, to) = (names.group_name(b.from), names.group_name(b.to));
        let all_lost = values::names(lost.iter().copied());
        let (title, such) = match lost.as_slice() {
            [one] => (format!("`{to}` has no channel `{one}`"), format!("a channel `{one}`")),
            more => (format!("`{to}` lacks {} channels that are copied onto it", more.len()), "all of them".to_owned()),
        };
        let flaw = Flaw::new(Code::MissingChannel, "to", title)
            .found(
                format!("{all_lost}, driven in `{from}`"),
                format!("channels that `{to}` has: {}", values::names(names.channels_of(b.to).keys().copied())),
            )
            .help(format!("copy to a group with {such}, or drive the channels of `{to}` by tracks"));
        b.table.report_bytes(log, b.table.bytes_of("to", None), flaw);
    }
}
