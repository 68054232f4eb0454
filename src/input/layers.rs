//! Tracks, cycles and drifts of a shot file or of a routine's.
//!
//! Invariant: a layer with a mistake is left out and its mistake recorded; what it would drive is noted all the same, so that copies are checked against what was meant.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use super::files::{self, Read};
use super::key_file::{self, Column, KeyFile, SampleClock};
use super::keys;
use super::log::Log;
use super::names::Names;
use super::reader::{KeyList, Table};
use super::values::{self, NUMBER, WHOLE};
use crate::bounds::{Code, Flaw, MOST_KEYS_TOGETHER, MOST_TOML_BYTES};
use crate::shot::recording::ENDS;
use crate::shot::{Cycle, Drift, Recording, Shape, Track};
use crate::stage::{ChannelId, GroupId};

const FRAME_VALUE: &str = "[frame, value]";

/// What a key file is known by.
type KeyFileName = (String, Option<GroupId>, Option<u64>);

/// Layers as they are read.
pub(super) struct Layers<'r> {
    names: &'r Names<'r>,
    read: Read<'r>,
    clock: SampleClock,
    /// By name, and by group where a routine names them: its columns have no group; by the bits of its start where it is a recording.
    key_files: BTreeMap<KeyFileName, Option<Arc<KeyFile>>>,
    /// Every file that was opened.
    files: BTreeMap<String, (usize, Arc<[u8]>)>,
    keys_together: usize,
    routine_bytes: usize,
    within: Option<Within>,
    /// Channels that something drives.
    pub(super) driven: BTreeSet<ChannelId>,
    /// Recordings, found among the tracks.
    pub(super) recordings: Vec<Recording>,
}

/// The routine that is being read.
#[derive(Debug)]
pub(super) struct Within {
    /// The group it is called for.
    pub(super) group: GroupId,
    /// Path from the shot's folder to its own, with a `/` at the end, or nothing.
    pub(super) folder: String,
    /// Who calls it, in words.
    pub(super) caller: String,
}

impl<'r> Layers<'r> {
    /// No layer yet. Seconds of recordings become frames by `clock`.
    pub(super) fn new(names: &'r Names<'r>, read: Read<'r>, clock: SampleClock) -> Layers<'r> {
        Layers {
            names,
            read,
            clock,
            key_files: BTreeMap::new(),
            files: BTreeMap::new(),
            keys_together: 0,
            routine_bytes: 0,
            within: None,
            driven: BTreeSet::new(),
            recordings: Vec::new(),
        }
    }

    /// Reads on in a routine, or out of it again; where it was before.
    pub(super) fn enter(&mut self, within: Option<Within>) -> Option<Within> {
        core::mem::replace(&mut self.within, within)
    }

    /// Seconds of recordings count from this frame; from which one before.
    pub(super) fn count_from(&mut self, start: f64) -> f64 {
        core::mem::replace(&mut self.clock.start, start)
    }

    /// What a table is called: with the caller in a routine.
    pub(super) fn label(&self, name: &str) -> String {
        match &self.within {
            Some(within) => format!("{name} ({})", within.caller),
            None => name.to_owned(),
        }
    }

    /// Opens the file that a key names, each once: its name from the shot's folder, its index and its bytes.
    pub(super) fn open(
        &mut self,
        log: &mut Log,
        table: &mut Table<'_>,
        key: &'static str,
        written: &str,
    ) -> Option<(String, usize, Arc<[u8]>)> {
        let folder = self.within.as_ref().map_or("", |within| within.folder.as_str());
        let name = match log.sources().plain_name(&files::from_folder(folder, written)) {
            Ok(name) => name,
            Err(flaw) => {
                table.report_at(log, key, flaw);
                return None;
            }
        };
        if let Some((index, bytes)) = self.files.get(&name) {
            return Some((name, *index, Arc::clone(bytes)));
        }
        match (self.read)(&name) {
            Err(why) => {
                table.report_at(log, key, files::flaw(&why, &name));
                None
            }
            Ok(bytes) => {
                let bytes: Arc<[u8]> = bytes.into();
                let index = log.add_file(&name, &bytes);
                self.files.insert(name.clone(), (index, Arc::clone(&bytes)));
                Some((name, index, bytes))
            }
        }
    }

    /// Counts bytes that routines read; false where they are too many in all, which is reported.
    pub(super) fn has_room_for(&mut self, log: &mut Log, table: &mut Table<'_>, key: &'static str, bytes: usize) -> bool {
        let before = self.routine_bytes;
        self.routine_bytes = before.saturating_add(bytes);
        if before <= MOST_TOML_BYTES && self.routine_bytes > MOST_TOML_BYTES {
            let flaw = Flaw::new(Code::TooMany, key, "the routines are too large together");
            let found = format!("{} bytes up to here, each file counted as often as it is called", self.routine_bytes);
            table.report_at(log, key, flaw.found(found, format!("at most {MOST_TOML_BYTES} bytes")));
        }
        self.routine_bytes <= MOST_TOML_BYTES
    }

    /// All `[[track]]`.
    pub(super) fn tracks(&mut self, log: &mut Log, root: &mut Table<'_>) -> Vec<Track> {
        let mut tracks = Vec::new();
        for mut table in root.tables(log, "track", "track") {
            table.reject_unknown_keys(log, &keys::TRACK);
            if table.has("samples") {
                self.recording(log, table);
                continue;
            }
            not_without(log, &mut table, &["within", "ends"], "samples");
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
        let Some(key_file) = self.key_file(log, &mut table, "keys", file) else { return };
        let mut used = 0;
        for column in key_file.columns.iter().filter(|c| only.is_none_or(|only| c.name == only)) {
            used += 1;
            if !self.takes_in(log, &mut table, column) {
                return;
            }
            if column.list.keys.is_empty() && !column.list.incomplete {
                let flaw = Flaw::new(Code::NoKeys, "", "the column has no key").found("blank cells only", "at least one value");
                log.add(Some(column.header.clone()), &table.label, flaw.help("remove the column, or give the channel a value"));
            } else {
                tracks.extend(self.track(log, &table, column.channel, &form, &column.list, key_file.out_of_order));
            }
        }
        if used == 0 && channel.is_some() {
            self.no_such_column(log, &mut table, only.unwrap_or_default(), file, &key_file);
        }
    }

    /// The recordings of a track with `samples`: one for each column of the file, or the one of its channel.
    fn recording(&mut self, log: &mut Log, mut table: Table<'_>) {
        for key in ["keys", "shape", "blend"].into_iter().filter(|key| table.has(key)).collect::<Vec<_>>() {
            let flaw = Flaw::new(Code::ConflictingKeys, key, format!("a recording has no `{key}`"))
                .found(format!("`samples` and `{key}`"), "one of the two")
                .help(format!("remove `{key}`, or remove `samples` and `within`"));
            table.report_at(log, key, flaw);
        }
        let only = table.take_quietly("channel", values::text);
        let channel = if table.has("channel") { self.channel(log, &mut table, "track") } else { None };
        let within = table.need(log, "within", "a number, in the channel's unit", values::number);
        let ends = table.choice(log, "ends", &ENDS, Some(Default::default()));
        let Some(file) = table.take(log, "samples", "the name of a CSV file in quotes", values::text) else { return };
        let Some(samples) = self.key_file(log, &mut table, "samples", file) else { return };
        let mut used = 0;
        for column in samples.columns.iter().filter(|c| only.is_none_or(|only| c.name == only)) {
            used += 1;
            if !self.takes_in(log, &mut table, column) {
                return;
            }
            let (Some(within), Some(ends)) = (within, ends) else { continue };
            let of = column.channel.unwrap_or(self.names.any_channel());
            match Recording::new(of, column.list.keys.clone(), within, ends) {
                Ok(recording) => self.recordings.extend(column.channel.map(|_| recording)),
                Err(mut flaws) => {
                    flaws.retain(|f| !(samples.out_of_order && f.code == Code::KeysOutOfOrder));
                    table.flaws(log, flaws, &[("samples", &column.list)]);
                }
            }
        }
        if used == 0 && channel.is_some() {
            self.no_such_column(log, &mut table, only.unwrap_or_default(), file, &samples);
        }
    }

    /// Counts a column of a file and takes its name; false where there are too many keys in all.
    fn takes_in(&mut self, log: &mut Log, table: &mut Table<'_>, column: &Column) -> bool {
        // A column costs a key too, so that a file used again and again comes to an end.
        if !self.has_room(log, table, column.list.keys.len() + 1) {
            return false;
        }
        table.label = self.label(&format!("track {}", values::cut(&column.name, 130)));
        self.driven.extend(column.channel);
        true
    }

    fn no_such_column(&self, log: &mut Log, table: &mut Table<'_>, channel: &str, file: &str, columns: &KeyFile) {
        let known = values::names(columns.columns.iter().map(|c| c.name.as_str()));
        let flaw = Flaw::new(Code::MissingColumn, "channel", "the key file has no column of this channel");
        let allowed = format!("a column of {}: {known}", values::quoted(file));
        table.report_at(log, "channel", flaw.found(values::quoted(channel), allowed));
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

    fn key_file(&mut self, log: &mut Log, table: &mut Table<'_>, key: &'static str, written: &str) -> Option<Arc<KeyFile>> {
        let (name, file, bytes) = self.open(log, table, key, written)?;
        let group = self.within.as_ref().map(|within| within.group);
        let clock = (key == "samples").then_some(self.clock);
        let start = clock.map(|c| c.start.to_bits());
        if let Some(known) = self.key_files.get(&(name.clone(), group, start)) {
            return known.clone();
        }
        if group.is_some() && !self.has_room_for(log, table, key, bytes.len()) {
            return None;
        }
        let names = self.names;
        let channel = |log: &mut Log, name: &str| match group {
            Some(group) => names.local_channel(log, group, name),
            None => names.channel(log, name),
        };
        let key_file = Some(Arc::new(key_file::read(log, file, &bytes, &channel, clock))).filter(|table| table.readable);
        self.key_files.insert((name, group, start), key_file.clone());
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
        table.label = self.label(&format!("{what} {}", values::cut(name, 130)));
        let found = match &self.within {
            Some(within) => self.names.local_channel(log, within.group, name),
            None => self.names.channel(log, name),
        };
        match found {
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

/// Records keys that mean nothing without another.
fn not_without(log: &mut Log, table: &mut Table<'_>, keys: &[&'static str], other: &str) {
    for key in keys.iter().copied().filter(|key| table.has(key)).collect::<Vec<_>>() {
        let flaw = Flaw::new(Code::KeyDoesNotApply, key, format!("`{key}` has no meaning without `{other}`"))
            .found(format!("`{key}` without `{other}`"), format!("`{key}` beside `{other}`"))
            .help(format!("remove `{key}`, or give `{other}`"));
        table.report_at(log, key, flaw);
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
