//! Every table and key of both files, described once: what it holds, its unit and range, its default, what it means, an example.
//!
//! Invariant: the reader takes the keys it knows from here, and `schema` and `reference` are written from here, so that what is read, what an editor
//! completes and what the reference says are the same list. Ranges are those of `bounds` and `mechanism`, not typed again. What holds between two keys of
//! one table is a [`Rule`]; what holds between tables (a name that must exist, keys in rising order) the reader alone knows.

mod body;
mod camera_timing;
mod focus;
mod group_tables;
mod hang;
mod haze;
mod lens;
mod light;
mod limb;
mod machine;
mod measured;
mod pass;
pub(crate) mod reference;
pub(crate) mod schema;
mod shot;
mod stage;
mod swing;

use crate::bounds::Bound;

pub(crate) use body::{JOINT, KEEP_OUT, OBSTACLE, RAIL};
pub(crate) use camera_timing::CAMERA_TIMING;
pub(crate) use focus::FOCUS;
pub(crate) use group_tables::{AIM, COPY, RETIME, ROUTINE};
pub(crate) use hang::HANG;
pub(crate) use haze::HAZE;
pub(crate) use lens::{DISTORTION, LENS};
pub(crate) use light::{DAY, DEPTH, LIGHT};
pub(crate) use limb::{ENVELOPE, LIMB, ROD, WIRE};
pub(crate) use machine::{DRUM, LIMB_WIRE, SWASHPLATE};
pub(crate) use measured::MEASURED;
pub(crate) use pass::{PASS, WEDGE};
pub(crate) use shot::{CYCLE, DRIFT, ROUTINE_FILE, SHOT, TRACK};
pub(crate) use stage::{AXIS, GROUP, LOAD, MOTOR, STAGE};
pub(crate) use swing::{MODE, SWING};

/// One table of a file.
#[derive(Debug)]
pub(crate) struct Section {
    /// How it is headed, for example `[[group.axis]]`; empty for the keys at the top of a file.
    pub header: &'static str,
    /// What it is, in words.
    pub meaning: &'static str,
    /// Its keys, in the order in which messages list them.
    pub keys: &'static [Entry],
    /// What holds between its keys.
    pub rules: &'static [Rule],
    /// An example as TOML; those of a file, one below the other, are a whole file.
    pub example: &'static str,
}

/// One key.
#[derive(Debug)]
pub(crate) struct Entry {
    /// The key.
    pub name: &'static str,
    /// What stands behind it.
    pub holds: Holds,
    /// Its unit; empty where it has none.
    pub unit: &'static str,
    /// What holds where it is left out.
    pub default: Default,
    /// What it means.
    pub meaning: &'static str,
    /// A value as TOML; empty for tables that have a section of their own.
    pub example: &'static str,
}

/// What a key holds.
#[derive(Debug)]
pub(crate) enum Holds {
    /// Any text.
    Text,
    /// Text of a shape: a regular expression of ECMA-262 without look-around, and the shape in words.
    Shaped(&'static str, &'static str),
    /// A number.
    Number(Bound),
    /// A whole number, least and greatest.
    Whole(i64, i64),
    /// True or false.
    Flag,
    /// One of these words.
    Choice(fn() -> Vec<&'static str>),
    /// A list of exactly this many numbers.
    Numbers(&'static [Bound]),
    /// A list of two whole numbers, each from the least to the greatest.
    TwoWholes(i64, i64),
    /// A list of rows of numbers; each column has its name and its range.
    Rows(&'static [(&'static str, Bound)]),
    /// A list of rows, each a number of this range and a name; what the two are, in words.
    NumberAndName([&'static str; 2], Bound),
    /// Rows of numbers, or the name of a key file.
    RowsOrFile(&'static [(&'static str, Bound)]),
    /// A list of one number or more, at most this many.
    UpTo(usize, Bound),
    /// A list of names: exactly this many, or any number.
    Names(Option<usize>),
    /// A table of numbers under names of the writer's choice.
    Factors(Bound),
    /// A table of lists of exactly this many numbers under names of the writer's choice.
    Points(&'static [Bound]),
    /// A list of one or more of these words.
    Choices(fn() -> Vec<&'static str>),
    /// A list of exactly so many lists of exactly this many numbers.
    Lists(usize, &'static [Bound]),
    /// A table.
    One(&'static Section),
    /// Tables.
    Many(&'static Section),
    /// Tables under names of the writer's choice.
    Named(&'static Section),
    /// Tables of several kinds, chosen by the key `kind`.
    Kinds(&'static [(&'static str, &'static Section)]),
}

/// What holds where a key is left out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Default {
    /// Required.
    Must,
    /// Required, but in a group that is `like` another and inherits it.
    MustUnlessLike,
    /// This value, as TOML.
    Value(&'static str),
    /// No value; in words.
    None(&'static str),
}

/// What holds between keys of one table.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Rule {
    /// Exactly one of them.
    OneOf(&'static [&'static str]),
    /// One of them at most.
    AtMostOne(&'static [&'static str]),
    /// All of them or none.
    AllOrNone(&'static [&'static str]),
    /// The first only where the second has one of these words, and there it is required.
    OnlyWith(&'static str, &'static str, &'static [&'static str]),
    /// The first is required where the second has this word, but in a group that is `like` another.
    NeededWith(&'static str, &'static str, &'static str),
    /// The first is required where the second is a list.
    NeededWithList(&'static str, &'static str),
    /// The first only beside one of the others.
    OnlyBeside(&'static str, &'static [&'static str]),
}

/// The version of a file.
pub(super) const FORMAT: Entry =
    Entry { name: "format", holds: Holds::Whole(1, 1), unit: "", default: Default::Must, meaning: "version of this format", example: "1" };

/// A letter, then letters, digits and `_`: names of groups, axes and passes.
pub(super) const NAME: Holds =
    Holds::Shaped("^[a-z][a-z0-9_]{0,63}$", "a lower-case letter, then lower-case letters, digits and `_`; at most 64 characters");

impl Section {
    /// Names of its keys, in order.
    pub(crate) fn names(&self) -> impl ExactSizeIterator<Item = &'static str> + Clone {
        self.keys.iter().map(|entry| entry.name)
    }

    /// The key of this name.
    #[must_use]
    pub(crate) fn key(&self, name: &str) -> Option<&'static Entry> {
        self.keys.iter().find(|entry| entry.name == name)
    }
}

impl Entry {
    /// Sections of the tables it holds.
    #[must_use]
    pub(crate) fn sections(&self) -> Vec<&'static Section> {
        match self.holds {
            Holds::One(inner) | Holds::Many(inner) | Holds::Named(inner) => vec![inner],
            Holds::Kinds(kinds) => kinds.iter().map(|(_, inner)| *inner).collect(),
            _ => Vec::new(),
        }
    }
}

/// A section and all below it, in the order of the reference.
#[must_use]
pub(crate) fn all_below(section: &'static Section) -> Vec<&'static Section> {
    let mut all = vec![section];
    for inner in section.keys.iter().flat_map(Entry::sections) {
        all.extend(all_below(inner));
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_key_says_what_it_means_and_rules_name_keys_of_their_table() {
        for section in [&STAGE, &SHOT].into_iter().flat_map(all_below) {
            assert!(!section.meaning.is_empty(), "{}", section.header);
            for (i, entry) in section.keys.iter().enumerate() {
                assert!(!entry.meaning.is_empty() && !entry.meaning.ends_with('.'), "{} {}", section.header, entry.name);
                assert!(section.keys.iter().take(i).all(|before| before.name != entry.name), "{} twice", entry.name);
                assert_eq!(
                    entry.example.is_empty(),
                    !entry.sections().is_empty()
                        && !matches!(entry.holds, Holds::One(s) if core::ptr::eq(s, &LOAD) || core::ptr::eq(s, &WEDGE)),
                    "{}",
                    entry.name
                );
            }
            for rule in section.rules {
                let named: Vec<&str> = match *rule {
                    Rule::OneOf(keys) | Rule::AtMostOne(keys) | Rule::AllOrNone(keys) => keys.to_vec(),
                    Rule::OnlyWith(a, b, _) | Rule::NeededWith(a, b, _) | Rule::NeededWithList(a, b) => vec![a, b],
                    Rule::OnlyBeside(a, others) => others.iter().copied().chain([a]).collect(),
                };
                assert!(named.iter().all(|name| section.key(name).is_some()), "{} {rule:?}", section.header);
            }
        }
    }
}
