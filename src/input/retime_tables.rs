//! The tables of retimes: `[[retime]]` with `groups` or nothing, and `keys` with `ease`, or `delay`.
//!
//! Invariant: exactly one of `keys` and `delay`; `groups` left out means every group.

use core::ops::Range;

use super::keys;
use super::log::Log;
use super::names::Names;
use super::reader::{KeyList, Table};
use super::values;
use crate::bounds::{Code, Flaw, MOST_AXES};
use crate::shot::Retime;
use crate::shot::retime::Course;

/// All `[[retime]]` with their headers.
pub(super) fn retimes(log: &mut Log, root: &mut Table<'_>, names: &Names<'_>) -> Vec<(Retime, Range<usize>)> {
    let tables = root.tables(log, "retime", "retime");
    if tables.len() > MOST_AXES {
        let flaw = Flaw::new(Code::TooMany, "retime", "the shot has too many retimes");
        root.report_at(log, "retime", flaw.found(format!("{} retimes", tables.len()), format!("at most {MOST_AXES}")));
        return Vec::new();
    }
    tables.into_iter().filter_map(|table| retime(log, table, names)).collect()
}

fn retime(log: &mut Log, mut table: Table<'_>, names: &Names<'_>) -> Option<(Retime, Range<usize>)> {
    table.reject_unknown_keys(log, &keys::RETIME);
    let of = if table.has("groups") { Some(names.groups_at(log, &mut table, "groups")) } else { None };
    if of.as_ref().is_some_and(Vec::is_empty) && !table.is_wrong("groups") && names.complete && has_no_entry(&table) {
        let flaw = Flaw::new(Code::WrongCount, "groups", "the retime concerns no group").found("an empty list", "1 group or more");
        table.report_at(log, "groups", flaw.help("name groups, or leave `groups` out to retime all"));
    }
    let mut list = KeyList { file: table.file, ..KeyList::default() };
    let course = if table.has("delay") {
        let others: Vec<&str> = ["keys", "ease"].into_iter().filter(|k| table.has(k)).collect();
        for other in others {
            let flaw = Flaw::new(Code::ConflictingKeys, other, format!("a retime takes `delay` or `{other}`, not both"));
            table.report_at(log, other, flaw.found(format!("`delay` and `{other}`"), "one of the two"));
        }
        Course::Later(table.take(log, "delay", "a number, frames", values::number)?)
    } else {
        let ease = table.take(log, "ease", "a number, frames on each side of a key", values::number);
        if table.has("keys") {
            list = table.pairs(log, "keys", "[film frame, choreography frame]");
        } else if !table.is_wrong("keys") && !table.is_wrong("delay") {
            let flaw = Flaw::new(Code::MissingKey, "keys", "a retime needs `keys` or `delay`").found("neither", "one of the two");
            let help = "add `delay = ...` to run later, or `keys = [[film frame, choreography frame], ...]`";
            table.report_at(log, "keys", flaw.help(help));
            return None;
        } else {
            return None;
        }
        Course::Keyed(list.keys.clone(), ease)
    };
    match Retime::new(of, course) {
        Ok(retime) => Some((retime, table.header)),
        Err(flaws) => {
            table.flaws(log, flaws, &[("keys", &list)]);
            None
        }
    }
}

fn has_no_entry(table: &Table<'_>) -> bool {
    table.take_quietly("groups", values::list).is_some_and(|list| list.is_empty())
}
