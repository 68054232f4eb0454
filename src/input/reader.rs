//! A table of a TOML file, read key by key.
//!
//! Invariant: every mistake is recorded with its piece of the file, and reading goes on with a placeholder, so that all mistakes are reported at once. A key whose value
//! was a placeholder is not reported a second time for what a constructor makes of it.
//!
//! Why not `serde` derive: it stops at the first mistake and loses the places of all others.

use core::ops::Range;
use std::collections::BTreeMap;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::choices::RENAMED;
use super::keys::Section;
use super::log::{Log, Spot};
use super::values;
use crate::bounds::{Code, Flaw};
use crate::shot::Key;
use crate::stage::check_display_name;

/// A value with the place of its key.
#[derive(Debug, Clone, Copy)]
pub(super) struct Entry<'t> {
    /// The bytes of the key.
    key: (usize, usize),
    /// True where it was taken over from another group.
    taken_over: bool,
    /// The value.
    pub(super) value: &'t Spanned<DeValue<'t>>,
}

/// A table and what is known of it.
#[derive(Debug, Clone)]
pub(super) struct Table<'t> {
    /// Index of its file.
    pub(super) file: usize,
    /// What messages call it, for example `axis camera.track`; may be empty.
    pub(super) label: String,
    /// Its header.
    pub(super) header: Range<usize>,
    /// True where it was taken over from another group: its mistakes are those of that one.
    pub(super) taken_over: bool,
    entries: BTreeMap<&'t str, Entry<'t>>,
    wrong: Vec<&'static str>,
    /// What it may hold, once that was checked.
    section: Option<&'static Section>,
}

/// Keys read from a list, with their places.
#[derive(Debug, Clone, Default)]
pub(super) struct KeyList {
    /// The keys that could be read.
    pub(super) keys: Vec<Key>,
    /// Where each is.
    pub(super) spots: Vec<Range<usize>>,
    /// The file they are in.
    pub(super) file: usize,
    /// True where some could not be read.
    pub(super) incomplete: bool,
}

impl Entry<'_> {
    /// The bytes of its key.
    pub(super) fn key(&self) -> Range<usize> {
        self.key.0..self.key.1
    }
}

impl<'t> Table<'t> {
    /// A table whose header stands at `header`.
    pub(super) fn new(file: usize, label: impl Into<String>, header: Range<usize>, table: &'t DeTable<'t>) -> Table<'t> {
        let entries = table
            .iter()
            .map(|(key, value)| {
                let span = key.span();
                (key.get_ref().as_ref(), Entry { key: (span.start, span.end), taken_over: false, value })
            })
            .collect();
        Table { file, label: label.into(), header, taken_over: false, entries, wrong: Vec::new(), section: None }
    }

    /// The keys of `over` replace those of this table.
    pub(super) fn overlay(&mut self, over: &Table<'t>) {
        for (key, entry) in &over.entries {
            self.entries.insert(key, *entry);
        }
        self.wrong.extend(&over.wrong);
    }

    /// Keys that `base` has and this table has not are taken over.
    pub(super) fn inherit(&mut self, base: &Table<'t>, keys: &[&str]) {
        for (key, entry) in base.entries.iter().filter(|(k, _)| keys.contains(k)) {
            self.entries.entry(key).or_insert(Entry { taken_over: true, ..*entry });
        }
    }

    /// All entries, by name.
    pub(super) fn entries(&self) -> impl Iterator<Item = (&'t str, Entry<'t>)> {
        self.entries.iter().map(|(k, e)| (*k, *e))
    }

    /// True where the key is there, of whatever kind.
    pub(super) fn has(&self, key: &str) -> bool {
        self.entries.contains_key(key)
    }

    /// True where the key had a mistake already.
    pub(super) fn is_wrong(&self, key: &str) -> bool {
        self.wrong.contains(&key)
    }

    /// Marks a key whose mistake was recorded elsewhere.
    pub(super) fn mark_wrong(&mut self, key: &'static str) {
        self.wrong.push(key);
    }

    fn record(&self, log: &mut Log, spot: Spot, flaw: Flaw) {
        if self.taken_over { log.add_taken_over(Some(spot), &self.label, flaw) } else { log.add(Some(spot), &self.label, flaw) }
    }

    /// Records a mistake at a key's value, or at the header where the key is not there.
    pub(super) fn report_at(&mut self, log: &mut Log, key: &'static str, flaw: Flaw) {
        self.wrong.push(key);
        self.record(log, Spot { file: self.file, bytes: self.bytes_of(key, None) }, flaw);
    }

    /// Records a mistake at any bytes of the file.
    pub(super) fn report_bytes(&self, log: &mut Log, bytes: Range<usize>, flaw: Flaw) {
        self.record(log, Spot { file: self.file, bytes }, flaw);
    }

    /// The value of a key if it is there and of this kind; nothing is recorded.
    pub(super) fn take_quietly<T>(&self, key: &str, read: impl FnOnce(&'t DeValue<'t>) -> Option<T>) -> Option<T> {
        self.entries.get(key).and_then(|entry| read(entry.value.get_ref()))
    }

    /// The value of a key that may be left out. A value of another kind is recorded.
    pub(super) fn take<T>(
        &mut self,
        log: &mut Log,
        key: &'static str,
        allowed: &str,
        read: impl FnOnce(&'t DeValue<'t>) -> Option<T>,
    ) -> Option<T> {
        let entry = *self.entries.get(key)?;
        let taken = read(entry.value.get_ref());
        if taken.is_none() {
            let mut flaw = Flaw::new(Code::WrongType, key, format!("`{key}` has a value of the wrong type"))
                .found(values::shown(entry.value.get_ref()), allowed);
            if let Some(number) = values::number_in_quotes(entry.value.get_ref()).filter(|_| allowed.starts_with("a number")) {
                flaw = flaw.help(format!("write `{number}`"));
            } else if allowed.starts_with(&format!("{key} = ")) {
                flaw = flaw.help(format!("change the line to `{allowed}`"));
            } else if let Some(example) = self.example(key) {
                flaw = flaw.help(format!("write it as in `{key} = {example}`"));
            }
            self.report_at(log, key, flaw);
        }
        taken
    }

    /// The value of a key that must be there.
    pub(super) fn need<T>(
        &mut self,
        log: &mut Log,
        key: &'static str,
        allowed: &str,
        read: impl FnOnce(&'t DeValue<'t>) -> Option<T>,
    ) -> Option<T> {
        if !self.has(key) {
            // A typing error in the key's own name was reported already.
            if !self.is_wrong(key) {
                let help = match self.example(key) {
                    _ if allowed.starts_with(&format!("{key} = ")) => format!("add a line `{allowed}`"),
                    Some(example) => format!("add `{key} = ...`, for example `{key} = {example}`"),
                    None => format!("add a line `{key} = ...`"),
                };
                let flaw = Flaw::new(Code::MissingKey, key, format!("`{key}` is missing")).found(format!("no `{key}`"), allowed).help(help);
                self.report_at(log, key, flaw);
            }
            return None;
        }
        self.take(log, key, allowed, read)
    }

    /// The required `name` that is displayed.
    pub(super) fn display_name(&mut self, log: &mut Log) -> Option<&'t str> {
        let name = self.need(log, "name", values::TEXT, values::text)?;
        match check_display_name("name", name) {
            Ok(()) => Some(name),
            Err(flaw) => {
                self.report_at(log, "name", flaw);
                None
            }
        }
    }

    /// One of several words, with the word in place of a missing value if there is a default.
    pub(super) fn choice<T: Copy>(
        &mut self,
        log: &mut Log,
        key: &'static str,
        choices: &[(&'static str, T)],
        default: Option<T>,
    ) -> Option<T> {
        self.choice_or(log, key, choices, default, &|_| None)
    }

    /// The same, with what to do about a word that is known elsewhere.
    pub(super) fn choice_or<T: Copy>(
        &mut self,
        log: &mut Log,
        key: &'static str,
        choices: &[(&'static str, T)],
        default: Option<T>,
        known_elsewhere: &dyn Fn(&str) -> Option<String>,
    ) -> Option<T> {
        let allowed = choices.iter().map(|(name, _)| format!("\"{name}\"")).collect::<Vec<_>>().join(", ");
        let word = match default {
            Some(default) if !self.has(key) => return Some(default),
            _ => self.need(log, key, &allowed, values::text)?,
        };
        let chosen = choices.iter().find(|(name, _)| *name == word).map(|(_, choice)| *choice);
        if chosen.is_none() {
            let mut flaw =
                Flaw::new(Code::UnknownChoice, key, format!("`{key}` is not one of the choices")).found(values::quoted(word), allowed);
            let renamed = RENAMED.iter().find(|(old, new)| *old == word && choices.iter().any(|(name, _)| name == new));
            if let Some(help) = known_elsewhere(word) {
                flaw = flaw.help(help);
            } else if let Some((old, new)) = renamed {
                flaw = flaw.help(format!("`{old}` is now `{new}`: write {key} = \"{new}\""));
            } else if let Some(near) = log.nearest(word, choices.iter().map(|(name, _)| *name)) {
                flaw = flaw.help(format!("write {key} = \"{near}\""));
            }
            self.report_at(log, key, flaw);
        }
        chosen
    }

    /// A list of `[number, number]`; entries of another shape are recorded and left out.
    pub(super) fn pairs(&mut self, log: &mut Log, key: &'static str, shape: &str) -> KeyList {
        let mut pairs = KeyList { file: self.file, ..KeyList::default() };
        let Some(rows) = self.take(log, key, &format!("a list of {shape}"), values::list) else {
            pairs.incomplete = true;
            return pairs;
        };
        for row in rows {
            let bytes = row.span();
            match values::two_numbers(row.get_ref()) {
                Some([frame, value]) => {
                    pairs.keys.push(Key { frame, value, place: log.place(self.file, bytes.start) });
                    pairs.spots.push(bytes);
                }
                None => {
                    pairs.incomplete = true;
                    let title = format!("an entry of `{key}` has the wrong shape");
                    let mut flaw =
                        Flaw::new(Code::WrongType, key, title).found(values::shown(row.get_ref()), format!("{shape}, two numbers"));
                    if let Some(example) = self.example(key) {
                        flaw = flaw.help(format!("write each as in `{key} = {example}`"));
                    }
                    self.report_bytes(log, bytes, flaw);
                }
            }
        }
        pairs
    }

    /// As [`Table::pairs`], and an empty list where the key is not there.
    pub(super) fn pairs_if_given(&mut self, log: &mut Log, key: &'static str, shape: &str) -> KeyList {
        if self.has(key) { self.pairs(log, key, shape) } else { KeyList { file: self.file, ..KeyList::default() } }
    }

    /// The tables under `[[key]]`; anything else under that key is recorded.
    pub(super) fn tables(&mut self, log: &mut Log, key: &'static str, label: &str) -> Vec<Table<'t>> {
        let own = self.section.and_then(|s| s.key(key)).and_then(|e| e.sections().first().map(|s| s.header)).unwrap_or_default();
        let header = if own.is_empty() { format!("[[{key}]]") } else { own.to_owned() };
        let allowed = format!("tables, each under a line {header}");
        if self.take_quietly(key, values::table).is_some() {
            let flaw = Flaw::new(Code::WrongType, key, format!("`{key}` must be a list of tables")).found("a table", allowed);
            self.report_at(log, key, flaw.help(format!("write {header} in double brackets above each table")));
            return Vec::new();
        }
        let Some(list) = self.take(log, key, &allowed, values::list) else { return Vec::new() };
        let taken_over = self.is_taken_over(key);
        let mut tables = Vec::new();
        for value in list {
            match value.get_ref().as_table() {
                Some(table) => tables.push(Table { taken_over, ..Table::new(self.file, label, value.span(), table) }),
                None => {
                    self.mark_wrong(key);
                    let flaw = Flaw::new(Code::WrongType, key, format!("an entry of `{key}` is not a table"))
                        .found(values::shown(value.get_ref()), allowed.as_str());
                    self.report_bytes(log, value.span(), flaw);
                }
            }
        }
        tables
    }

    /// The table under a key.
    pub(super) fn table(&mut self, log: &mut Log, key: &'static str, allowed: &str) -> Option<Table<'t>> {
        let inner = self.take(log, key, allowed, values::table)?;
        let span = self.bytes_of(key, None);
        Some(Table { taken_over: self.is_taken_over(key), ..Table::new(self.file, self.label.clone(), span, inner) })
    }

    fn is_taken_over(&self, key: &str) -> bool {
        self.taken_over || self.entries.get(key).is_some_and(|entry| entry.taken_over)
    }

    /// A value of this key as the reference shows it.
    fn example(&self, key: &str) -> Option<&'static str> {
        self.section?.key(key).map(|entry| entry.example).filter(|example| !example.is_empty())
    }

    /// Records every key that the section does not have. The key that was meant is not called missing then.
    pub(super) fn reject_unknown_keys(&mut self, log: &mut Log, section: &'static Section) {
        self.section = Some(section);
        let mut meant = Vec::new();
        for (key, entry) in &self.entries {
            if section.key(key).is_some() || self.is_wrong(key) {
                continue;
            }
            let mut flaw = Flaw::new(Code::UnknownKey, "", format!("unknown key `{}`", values::cut(key, 64).escape_debug()))
                .found(format!("`{}`", values::cut(key, 64)), values::names(section.names()));
            flaw = match log.nearest(key, section.names()) {
                Some(near) if !self.has(near) => {
                    meant.push(near);
                    flaw.help(format!("write `{near}`"))
                }
                Some(near) => flaw.help(format!("remove it: `{near}` is already in the table")),
                None => flaw.help("remove it, or move it to the table it belongs to"),
            };
            self.report_bytes(log, entry.key(), flaw);
        }
        self.wrong.extend(meant);
    }

    /// Records what a constructor found, each flaw at the key it belongs to. Keys that were placeholders are not reported again.
    pub(super) fn flaws(&self, log: &mut Log, flaws: Vec<Flaw>, lists: &[(&str, &KeyList)]) {
        let has = |field: &str| flaws.iter().any(|f| f.field == field);
        let out_of_range = |field: &str| flaws.iter().any(|f| f.field == field && f.code == Code::OutOfRange);
        // A home outside a travel that is none, corners that overlap where keys run backwards, a beat that is too long because of a key beyond its end: these follow from the other.
        let follows =
            [(Code::HomeOutsideTravel, has("travel")), (Code::CornersOverlap, has("keys")), (Code::BeatTooLong, out_of_range("keys"))];
        for flaw in flaws {
            if self.is_wrong(&flaw.field) || follows.contains(&(flaw.code, true)) {
                continue;
            }
            let mut spot = None;
            if let Some((_, list)) = lists.iter().find(|(name, _)| *name == flaw.field) {
                match flaw.index {
                    Some(index) => spot = list.spots.get(index).map(|bytes| Spot { file: list.file, bytes: bytes.clone() }),
                    None if list.incomplete => continue,
                    None => {}
                }
            }
            let spot = spot.unwrap_or_else(|| Spot { file: self.file, bytes: self.bytes_of(&flaw.field, flaw.index) });
            self.record(log, spot, flaw);
        }
    }

    /// The bytes of a key's value, or of one entry of its list; the header where the key is not there. Keys of tables inside, such as a load, are found too.
    pub(super) fn bytes_of(&self, key: &str, index: Option<usize>) -> Range<usize> {
        let inner = || self.entries.values().filter_map(|entry| entry.value.get_ref().as_table()).find_map(|table| table.get(key));
        let Some(value) = self.entries.get(key).map(|entry| entry.value).or_else(inner) else {
            return self.header.clone();
        };
        let listed = index.and_then(|i| value.get_ref().as_array().and_then(|list| list.get(i)));
        listed.unwrap_or(value).span()
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::input::keys::{Default, Entry as KeyEntry, Holds};
    use crate::input::sources::Sources;

    const ANY: KeyEntry = KeyEntry { name: "a", holds: Holds::Flag, unit: "", default: Default::Must, meaning: "", example: "" };
    static KEYS: Section = Section {
        header: "",
        meaning: "",
        keys: &[ANY, KeyEntry { name: "b", ..ANY }, KeyEntry { name: "keys", ..ANY }, KeyEntry { name: "lood", ..ANY }],
        rules: &[],
        example: "",
    };
    const TEXT: &str = "a = 1\nb = \"x\"\nkeys = [[1, 2], [3], [5, 6]]\nload = { mass = -1 }\n";

    fn codes(read: impl FnOnce(&mut Table<'_>, &mut Log)) -> Vec<(&'static str, u32, u32)> {
        let mut log = Log::new(Sources::default());
        let file = log.add_file("t.toml", &TEXT.as_bytes().into());
        let document = DeTable::parse(TEXT).unwrap();
        let mut table = Table::new(file, "axis x", 0..0, document.get_ref());
        read(&mut table, &mut log);
        let Err(rejection) = log.close() else { return Vec::new() };
        rejection.diagnostics().iter().map(|d| (d.code.slug(), d.place.as_ref().unwrap().line, d.place.as_ref().unwrap().column)).collect()
    }

    #[test]
    fn reading_goes_on_behind_a_mistake() {
        let told = codes(|table, log| {
            assert_eq!(table.take(log, "b", values::NUMBER, values::number), None);
            assert_eq!(table.need(log, "c", values::NUMBER, values::number), None);
            assert_eq!(table.take(log, "a", values::NUMBER, values::number), Some(1.0));
            assert_eq!(table.pairs(log, "keys", "[frame, value]").keys.len(), 2);
            table.reject_unknown_keys(log, &KEYS);
        });
        assert_eq!(told, [("missing-key", 1, 1), ("wrong-type", 2, 5), ("wrong-type", 3, 17), ("unknown-key", 4, 1)]);
    }

    #[test]
    fn a_flaw_stands_at_its_entry_and_a_stand_in_is_not_blamed_twice() {
        let told = codes(|table, log| {
            let _ = table.take(log, "b", values::NUMBER, values::number);
            let list = table.pairs(log, "keys", "[frame, value]");
            let flaws = vec![
                Flaw::new(Code::OutOfRange, "b", "dropped"),
                Flaw::new(Code::OutOfRange, "mass", "inside the load"),
                Flaw::new(Code::KeysOutOfOrder, "keys", "second of those that were read").at_index(1),
                Flaw::new(Code::NoKeys, "keys", "dropped: the list is not whole"),
            ];
            table.flaws(log, flaws, &[("keys", &list)]);
        });
        assert_eq!(told, [("wrong-type", 2, 5), ("wrong-type", 3, 17), ("keys-out-of-order", 3, 22), ("out-of-range", 4, 17)]);
    }
}
