//! The calls of routines, `[[routine]]`, and the files that they name.
//!
//! Invariant: a routine's file holds tracks, cycles and drifts and no other table; its channels and the columns of its key files have no group. Paths in it lead from its
//! own folder. A mistake is reported in that file, with the line of the shot that calls it.
//! Limits: all calls together read at most [`MOST_TOML_BYTES`], key files included, each counted as often as it is called.

use std::sync::Arc;

use super::copies;
use super::document;
use super::keys;
use super::layers::{Layers, Within};
use super::log::Log;
use super::names::Names;
use super::reader::Table;
use super::values;
use crate::bounds::{Code, FRAME, Flaw, MOST_AXES, MOST_TOML_BYTES};
use crate::shot::routine::{ROUTINE_START, Routine};
use crate::shot::{Cycle, Drift, Recording, Track};
use crate::stage::ChannelId;

/// The layers of a shot.
#[derive(Debug, Default)]
pub(super) struct Called {
    pub(super) tracks: Vec<Track>,
    pub(super) cycles: Vec<Cycle>,
    pub(super) drifts: Vec<Drift>,
    pub(super) recordings: Vec<Recording>,
}

/// Adds the layers of every routine that the shot calls.
pub(super) fn routines<'r>(log: &mut Log, root: &mut Table<'_>, names: &'r Names<'r>, layers: &mut Layers<'r>, all: &mut Called) {
    let tables = root.tables(log, "routine", "routine");
    if tables.len() > MOST_AXES {
        let flaw = Flaw::new(Code::TooMany, "routine", "the shot calls too many routines");
        root.report_at(log, "routine", flaw.found(format!("{} routines", tables.len()), format!("at most {MOST_AXES}")));
        return;
    }
    for table in tables {
        call(log, table, names, layers, all);
    }
}

fn call<'r>(log: &mut Log, mut table: Table<'_>, names: &'r Names<'r>, layers: &mut Layers<'r>, all: &mut Called) {
    table.reject_unknown_keys(log, &keys::ROUTINE);
    let file = table.need(log, "file", "the name of the routine's file, in quotes", values::text);
    let group = table.need(log, "group", "the name of a group of the stage, in quotes", values::text);
    let group = group.and_then(|name| names.group_at(log, &mut table, "group", name));
    let delay = table.take(log, "delay", "a number, frames", values::number).unwrap_or(0.0);
    let (scale, list) = copies::scale(log, &mut table, names, group, "group");
    let routine = match Routine::new(group.unwrap_or(names.any_group()), delay, scale) {
        Ok(routine) => routine,
        Err(flaws) => return table.flaws(log, flaws, &[("scale", &list)]),
    };
    let (Some(file), Some(group)) = (file, group) else { return };
    let Some((name, index, bytes)) = layers.open(log, &mut table, "file", file) else { return };
    if !layers.has_room_for(log, &mut table, "file", bytes.len()) {
        return;
    }
    let place = log.place(table.file, table.header.start);
    let shot = log.sources().get(table.file).map(|s| s.name().to_owned()).unwrap_or_default();
    let caller = format!("called for {} by {shot}:{}", names.group_name(group), place.line);
    let folder = name.rsplit_once('/').map_or(String::new(), |(folder, _)| format!("{folder}/"));
    let outside = layers.enter(Some(Within { group, folder, caller }));
    read(log, index, &bytes, names, layers, &routine, all);
    layers.enter(outside);
}

/// The layers of a routine's file.
fn read<'r>(
    log: &mut Log,
    file: usize,
    bytes: &Arc<[u8]>,
    names: &'r Names<'r>,
    layers: &mut Layers<'r>,
    routine: &Routine,
    all: &mut Called,
) {
    let Some(text) = document::text(log, file, bytes, MOST_TOML_BYTES) else { return };
    let (document, sound) = document::root(log, file, text);
    let mut root = Table::new(file, layers.label("routine"), 0..0, document.get_ref());
    if !sound || (root.has("format") && !document::is_format_1(log, &mut root)) {
        return;
    }
    root.reject_unknown_keys(log, &keys::ROUTINE_FILE);
    let start = root.take(log, "cycle_start", "a number, a frame", values::number).unwrap_or(ROUTINE_START);
    if let Err(flaw) = FRAME.check("cycle_start", start) {
        root.report_at(log, "cycle_start", flaw);
    }
    let outside = layers.count_from(start);
    let (tracks, cycles, drifts) = (layers.tracks(log, &mut root), layers.cycles(log, &mut root), layers.drifts(log, &mut root));
    let recordings = core::mem::take(&mut layers.recordings);
    layers.count_from(outside);
    if !["track", "cycle", "drift"].iter().any(|key| root.has(key)) {
        let flaw = Flaw::new(Code::MissingKey, "track", "the routine has no layer")
            .found("no [[track]], [[cycle]] or [[drift]]", "1 layer or more");
        root.report_at(log, "track", flaw.help("add a [[track]] with `channel` and `keys`"));
    }
    let call = |channel: ChannelId| {
        let local = names.stage.channel_name(channel).rsplit('.').next().unwrap_or_default();
        routine.call(local, start)
    };
    all.recordings.extend(recordings.into_iter().map(|r| r.called(call)));
    all.tracks.extend(tracks.into_iter().map(|t| t.called(call)));
    all.cycles.extend(cycles.into_iter().map(|c| c.called(call)));
    all.drifts.extend(drifts.into_iter().map(|d| d.called(call)));
}
