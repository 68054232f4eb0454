//! Tracks, cycles, drifts and copies of a shot file.
//!
//! Invariant: a layer with a mistake is left out and its mistake recorded; what it would drive is noted all the same, so that copies are checked against what was meant.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use super::files::{self, Read};
use super::key_file::{self, KeyFile};
use super::keys;
use super::log::Log;
use super::names::Names;
use super::reader::{KeyList, Table};
use super::values::{self, NUMBER, WHOLE};
use crate::bounds::{Code, Flaw, MOST_KEYS_TOGETHER};
use crate::shot::{Cycle, Drift, Shape, Track};
use crate::stage::ChannelId;

const FRAME_VALUE: &str = "[frame, value]";

/// Layers as they are read.
pub(super) struct Layers<'r> {
    names: &'r Names<'r>,
    read: Read<'r>,
    key_files: BTreeMap<String, Option<Arc<KeyFile>>>,
    keys_together: usize,
    /// Channels that something drives.
    pub(super) driven: BTreeSet<ChannelId>,
}

impl<'r> Layers<'r> {
    /// No layer yet.
    pub(super) fn new(names: &'r Names<'r>, read: Read<'r>) -> Layers<'r> {
        Layers { names, read, key_files: BTreeMap::new(), keys_together: 0, driven: BTreeSet::new() }
    }

    /// All `[[track]]`.
    pub(super) fn tracks(&mut self, log: &mut Log, root: &mut Table<'_>) -> Vec<Track> {
        let mut tracks = Vec::new();
        for mut table in root.tables(log, "track", "track") {
            table.reject_unknown_keys(log, &keys::TRACK);
            match table.take_quietly("keys", values::text) {
                Some(file) => self.tracks_of_file(log, table, file, &mut tracks),
                None => {
                    let channel = self.channel(log, &mut table, "track");
                    let form = Form::read(log, &mut table);
                    if table.has("keys") {
                        let list = table.pairs(log, "keys", FRAME_VALUE);
                        if self.has_room(log, &table, list.keys.len()) {
                            tracks.extend(self.track(log, &table, channel, &form, &list, false));
                        }
                    } else {
                        let _ = table.need(log, "keys", "[[frame, value], ...], or the name of a CSV file in quotes", values::list);
                    }
                }
            }
        }
        tracks
    }

    fn tracks_of_file(&mut self, log: &mut Log, mut table: Table<'_>, file: &str, tracks: &mut Vec<Track>) {
        let only = table.take_quietly("channel", values::text);
        let channel = if table.has("channel") { self.channel(log, &mut table, "track") } else { None };
        let form = Form::read(log, &mut table);
        let Some(key_file) = self.key_file(log, &mut table, file) else { return };
        let mut used = 0;
        for column in key_file.columns.iter().filter(|c| only.is_none_or(|only| c.name == only)) {
            used += 1;
            // A column costs a key too, so that a file used again and again comes to an end.
            if !self.has_room(log, &table, column.list.keys.len() + 1) {
                return;
            }
            table.label = format!("track {}", values::cut(&column.name, 130));
            if let Some(channel) = column.channel {
                self.driven.insert(channel);
            }
            if column.list.keys.is_empty() && !column.list.incomplete {
                let flaw = Flaw::new(Code::NoKeys, "", "the column has no key").found("blank cells only", "at least one value");
                log.add(Some(column.header.clone()), &table.label, flaw.help("remove the column, or give the channel a value"));
            } else {
                tracks.extend(self.track(log, &table, column.channel, &form, &column.list, key_file.out_of_order));
            }
        }
        if used == 0 && channel.is_some() {
            let known = values::names(key_file.columns.iter().map(|c| c.name.as_str()));
            let flaw = Flaw::new(Code::MissingColumn, "channel", "the key file has no column of this channel");
            table.report_at(
                log,
                "channel",
                flaw.found(values::quoted(only.unwrap_or_default()), format!("a column of {}: {known}", values::quoted(file))),
            );
        }
    }

    /// Counts the keys of a track; false where there are too many in all, which is reported once.
    fn has_room(&mut self, log: &mut Log, table: &Table<'_>, keys: usize) -> bool {
        let before = self.keys_together;
        self.keys_together = before.saturating_add(keys);
        if before <= MOST_KEYS_TOGETHER && self.keys_together > MOST_KEYS_TOGETHER {
            let flaw = Flaw::new(Code::TooMany, "keys", "the tracks have too many keys together");
            let found = format!("{} keys up to here", self.keys_together);
            table.report_bytes(
                log,
                table.bytes_of("keys", None),
                flaw.found(found, format!("at most {MOST_KEYS_TOGETHER} keys in all tracks")),
            );
        }
        self.keys_together <= MOST_KEYS_TOGETHER
    }

    /// One track; `None` where it has a mistake.
    fn track(
        &self,
        log: &mut Log,
        table: &Table<'_>,
        channel: Option<ChannelId>,
        form: &Form,
        list: &KeyList,
        ordered_elsewhere: bool,
    ) -> Option<Track> {
        let shape = form.shape.unwrap_or_default();
        let blend = form.blend.filter(|_| form.shape.is_some());
        match Track::new(channel.unwrap_or(self.names.any_channel()), shape, blend, list.keys.clone()) {
            Ok(track) => channel.map(|_| track),
            Err(mut flaws) => {
                flaws.retain(|f| !(ordered_elsewhere && f.code == Code::KeysOutOfOrder));
                table.flaws(log, flaws, &[("keys", list)]);
                None
            }
        }
    }

    fn key_file(&mut self, log: &mut Log, table: &mut Table<'_>, written: &str) -> Option<Arc<KeyFile>> {
        let name = match log.sources().plain_name(written) {
            Ok(name) => name,
            Err(flaw) => {
                table.report_at(log, "keys", flaw);
                return None;
            }
        };
        if let Some(known) = self.key_files.get(&name) {
            return known.clone();
        }
        let key_file = match (self.read)(&name) {
            Err(why) => {
                table.report_at(log, "keys", files::flaw(&why, &name));
                None
            }
            Ok(bytes) => {
                let bytes: Arc<[u8]> = bytes.into();
                let file = log.add_file(&name, &bytes);
                Some(Arc::new(key_file::read(log, file, &bytes, self.names))).filter(|table| table.readable)
            }
        };
        self.key_files.insert(name, key_file.clone());
        key_file
    }

    /// All `[[cycle]]`.
    pub(super) fn cycles(&mut self, log: &mut Log, root: &mut Table<'_>) -> Vec<Cycle> {
        let mut cycles = Vec::new();
        for mut table in root.tables(log, "cycle", "cycle") {
            table.reject_unknown_keys(log, &keys::CYCLE);
            let channel = self.channel(log, &mut table, "cycle");
            let period = table.need(log, "period", "a number, frames per beat", values::number).unwrap_or(24.0);
            let phase = table.take(log, "phase", "a number, beats", values::number).unwrap_or(0.0);
            let mut lists = [KeyList::default(), KeyList::default(), KeyList::default()];
            for (list, (key, shape)) in
                lists.iter_mut().zip([("keys", "[beat, value]"), ("amount", "[frame, factor]"), ("rate", "[frame, factor]")])
            {
                if key == "keys" && !table.has(key) {
                    let _ = table.need(log, key, "[[beat, value], ...] with beats from 0 to 1", values::list);
                    continue;
                }
                *list = table.pairs_if_given(log, key, shape);
                if table.has(key) && key != "keys" && list.keys.is_empty() && !list.incomplete {
                    table.report_at(
                        log,
                        key,
                        Flaw::new(Code::NoKeys, key, format!("`{key}` has no key"))
                            .found("an empty list", "1 key or more")
                            .help("remove it if the factor is always 1"),
                    );
                }
            }
            let [keys, amount, rate] = &lists;
            match Cycle::new(
                channel.unwrap_or(self.names.any_channel()),
                period,
                phase,
                keys.keys.clone(),
                amount.keys.clone(),
                rate.keys.clone(),
            ) {
                Ok(cycle) => cycles.extend(channel.map(|_| cycle)),
                Err(flaws) => table.flaws(log, flaws, &[("keys", keys), ("amount", amount), ("rate", rate)]),
            }
        }
        cycles
    }

    /// All `[[drift]]`.
    pub(super) fn drifts(&mut self, log: &mut Log, root: &mut Table<'_>) -> Vec<Drift> {
        let mut drifts = Vec::new();
        for mut table in root.tables(log, "drift", "drift") {
            table.reject_unknown_keys(log, &keys::DRIFT);
            let channel = self.channel(log, &mut table, "drift");
            let seed = table.need(log, "seed", WHOLE, values::whole).unwrap_or(0);
            let amplitude = table.need(log, "amplitude", NUMBER, values::number).unwrap_or(0.0);
            let period = table.need(log, "period", "a number, frames", values::number).unwrap_or(24.0);
            match Drift::new(channel.unwrap_or(self.names.any_channel()), seed, amplitude, period) {
                Ok(drift) => drifts.extend(channel.map(|_| drift)),
                Err(flaws) => table.flaws(log, flaws, &[]),
            }
        }
        drifts
    }

    /// The channel of a layer, noted as driven; the layer is called by it from here on.
    fn channel(&mut self, log: &mut Log, table: &mut Table<'_>, what: &str) -> Option<ChannelId> {
        let name = table.need(log, "channel", "a channel of the stage, in quotes", values::text)?;
        table.label = format!("{what} {}", values::cut(name, 130));
        match self.names.channel(log, name) {
            Ok(channel) => {
                self.driven.insert(channel);
                Some(channel)
            }
            Err(flaw) => {
                if let Some(flaw) = flaw {
                    table.report_at(log, "channel", flaw);
                }
                None
            }
        }
    }
}

/// Shape and blend of a track.
struct Form {
    shape: Option<Shape>,
    blend: Option<f64>,
}

impl Form {
    fn read(log: &mut Log, table: &mut Table<'_>) -> Form {
        let shape = table.choice(log, "shape", &Shape::ALL, Some(Shape::default()));
        Form { shape, blend: table.take(log, "blend", "a number, frames on each side of a key", values::number) }
    }
}
