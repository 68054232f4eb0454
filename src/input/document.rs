//! From the bytes of a TOML file to its root table.
//!
//! Invariant: whatever the bytes, there is an answer: a table, or at least one recorded mistake. The parser bounds nesting at 80 and goes on behind syntax errors, so all are told at once.
//!
//! Limits: [`MOST_TOML_BYTES`], since a parsed document takes many times the memory of its file. Long lists of keys belong in a CSV file.

use core::ops::Range;

use toml::Spanned;
use toml::de::DeTable;

use super::log::{Log, Spot};
use super::values;
use crate::bounds::Flaw;

/// Largest TOML file, bytes.
pub(super) const MOST_TOML_BYTES: usize = 16 * 1024 * 1024;

/// The text of a file of at most `most` bytes.
pub(super) fn text<'b>(log: &mut Log, file: usize, bytes: &'b [u8], most: usize) -> Option<&'b str> {
    let mut refuse = |at: usize, flaw: Flaw| log.add(Some(Spot { file, bytes: at..at }), "", flaw);
    if bytes.len() > most {
        refuse(
            0,
            Flaw::new("F003", "", "the file is too large")
                .found(format!("{} bytes", bytes.len()), format!("at most {most} bytes"))
                .help("keep long lists of keys in CSV files, one for each figure"),
        );
        return None;
    }
    match core::str::from_utf8(bytes) {
        Ok(text) if text.trim_start_matches('\u{feff}').trim().is_empty() => {
            refuse(0, Flaw::new("F005", "", "the file is empty").found(format!("{} bytes, nothing to read in them", bytes.len()), "a file with content"));
            None
        }
        Ok(text) => Some(text),
        Err(error) => {
            let at = error.valid_up_to();
            let byte = bytes.get(at).copied().unwrap_or_default();
            refuse(
                at,
                Flaw::new("F004", "", "the file is not UTF-8 text")
                    .found(format!("the byte 0x{byte:02x} at byte offset {at}"), "UTF-8 text")
                    .help("save the file again as UTF-8"),
            );
            None
        }
    }
}

/// The root table, and whether the whole text was TOML; where it was not, the table holds what could be read.
pub(super) fn root<'t>(log: &mut Log, file: usize, text: &'t str) -> (Spanned<DeTable<'t>>, bool) {
    let (table, errors) = DeTable::parse_recoverable(text);
    let sound = errors.is_empty();
    for error in errors {
        let (title, allowed) = match error.message().split_once(", expected ") {
            Some((title, allowed)) => (title, allowed.to_owned()),
            None => (error.message(), String::new()),
        };
        let bytes = inside(text, error.span().unwrap_or_default());
        let mut found = match text.get(bytes.clone()).unwrap_or_default() {
            "" if bytes.start >= text.len() => "the end of the file".to_owned(),
            "" => String::new(),
            piece => values::quoted(piece),
        };
        let mut flaw = Flaw::new("X001", "", title);
        if title.contains("duplicate key") {
            flaw = flaw.help("keep one of the two");
        } else if title.contains("max recursion") {
            found = "lists or tables nested more than 80 deep".to_owned();
        }
        log.add(Some(Spot { file, bytes }), "", flaw.found(found, allowed));
    }
    (table, sound)
}

/// The span moved onto character boundaries of the text.
fn inside(text: &str, span: Range<usize>) -> Range<usize> {
    let mut start = span.start.min(text.len());
    let mut end = span.end.clamp(start, text.len());
    while !text.is_char_boundary(start) {
        start -= 1;
    }
    while !text.is_char_boundary(end) {
        end += 1;
    }
    start..end
}

/// True if `format` says 1. A missing line is recorded, and reading goes on; of a file in another format nothing else is read.
pub(super) fn is_format_1(log: &mut Log, root: &mut super::reader::Table<'_>) -> bool {
    match root.need(log, "format", "format = 1", values::whole) {
        None => !root.has("format"),
        Some(1) => true,
        Some(other) => {
            root.blame(log, "format", Flaw::new("K004", "format", "a format that is not read").found(format!("format = {other}"), "format = 1"));
            false
        }
    }
}
