//! From the bytes of a TOML file to its root table.
//!
//! Invariant: whatever the bytes, there is an answer: a table, or at least one recorded mistake. The parser bounds nesting at 80 and goes on after syntax errors, so all are reported at once; only
//! in files over 1 MiB it stops at the first.
//!
//! Limits: [`crate::bounds::MOST_TOML_BYTES`], since a parsed document takes many times the memory of its file. Long lists of keys belong in a CSV file.

use core::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::log::{Log, Spot};
use super::values;
use crate::bounds::{Code, Flaw};

/// In a longer file only the first syntax error is reported: the parser keeps a hundred bytes and more for each, and there can be one for every byte.
const MOST_RECOVERED_BYTES: usize = 1024 * 1024;

/// The text of a file of at most `most` bytes.
pub(super) fn text<'b>(log: &mut Log, file: usize, bytes: &'b [u8], most: usize) -> Option<&'b str> {
    let mut refuse = |at: usize, flaw: Flaw| log.add(Some(Spot { file, bytes: at..at }), "", flaw);
    if bytes.len() > most {
        refuse(
            0,
            Flaw::new(Code::FileTooLarge, "", "the file is too large")
                .found(format!("{} bytes", bytes.len()), format!("at most {most} bytes"))
                .help("keep long lists of keys in CSV files, one for each figure"),
        );
        return None;
    }
    match core::str::from_utf8(bytes) {
        Ok(text) if text.trim_start_matches('\u{feff}').trim().is_empty() => {
            refuse(
                0,
                Flaw::new(Code::EmptyFile, "", "the file is empty")
                    .found(format!("{} bytes, without content", bytes.len()), "a file with content"),
            );
            None
        }
        Ok(text) => Some(text),
        Err(error) => {
            let at = error.valid_up_to();
            let byte = bytes.get(at).copied().unwrap_or_default();
            refuse(
                at,
                Flaw::new(Code::NotUtf8, "", "the file is not UTF-8 text")
                    .found(format!("the byte 0x{byte:02x} at byte offset {at}"), "UTF-8 text")
                    .help("save the file again as UTF-8"),
            );
            None
        }
    }
}

/// The root table, and whether the whole text was TOML; where it was not, the table holds what could be read.
pub(super) fn root<'t>(log: &mut Log, file: usize, text: &'t str) -> (Spanned<DeTable<'t>>, bool) {
    let (table, errors) = if text.len() <= MOST_RECOVERED_BYTES {
        DeTable::parse_recoverable(text)
    } else {
        match DeTable::parse(text) {
            Ok(table) => (table, Vec::new()),
            Err(error) => (Spanned::new(0..0, DeTable::new()), vec![error]),
        }
    };
    let sound = errors.is_empty();
    let open = first_open(table.get_ref(), text, &errors);
    if let Some(start) = open {
        let (what, sign) = if text.get(start..).is_some_and(|t| t.starts_with('[')) { ("list", "]") } else { ("table", "}") };
        let flaw = Flaw::new(Code::InvalidToml, "", format!("a {what} is not closed"))
            .found(format!("the end of the file before its `{sign}`"), format!("`{sign}` where the {what} ends"));
        log.add(
            Some(Spot { file, bytes: start..start + 1 }),
            "",
            flaw.help(format!("close the {what}: everything after its start is read as part of it")),
        );
    }
    // What the parser says of the lines behind it follows from that.
    for error in errors.into_iter().filter(|e| open.is_none_or(|start| e.span().is_some_and(|span| span.start < start))) {
        let (title, allowed) = match error.message().split_once(", expected ") {
            Some((title, allowed)) => (title, allowed.to_owned()),
            None => (error.message(), String::new()),
        };
        let bytes = inside(text, error.span().unwrap_or_default());
        let mut found = match text.get(bytes.clone()).unwrap_or_default() {
            "" if bytes.start >= text.len() => "the end of the file".to_owned(),
            "" => "the end of the line, or no value".to_owned(),
            piece => values::quoted(piece),
        };
        let mut flaw = Flaw::new(Code::InvalidToml, "", title);
        let piece = text.get(bytes.clone()).unwrap_or_default();
        let allowed = match allowed.as_str() {
            "literal string" => "text in quotes, one number, true, false, a list or a table".to_owned(),
            "" if title.contains("duplicate key") => "each key once in its table".to_owned(),
            "" => "a line of TOML".to_owned(),
            _ => allowed,
        };
        if title.contains("must be quoted") && piece.chars().all(|c| c.is_ascii_alphanumeric() || c == '_') && !piece.is_empty() {
            flaw = flaw.help(format!("write \"{}\"", values::cut(piece, 80)));
        } else if title.contains(" string") {
            flaw = flaw.help("close the quotes on the line that opens them");
        } else if title.contains("must be quoted") {
            flaw = flaw.help("write one value; put text in quotes and several numbers in brackets, as in [1, 2]");
        }
        if title.contains("missing comma") {
            found = "two entries side by side".to_owned();
            flaw = flaw.help("put a comma between the two entries");
        } else if title.contains("duplicate key") {
            flaw = flaw.help("keep one of the two");
        } else if title.contains("max recursion") {
            found = "lists or tables nested more than 80 deep".to_owned();
        } else if text.len() > MOST_RECOVERED_BYTES {
            flaw = flaw.help("fix this first: the file is long, and later mistakes are only then listed");
        }
        log.add(Some(Spot { file, bytes }), "", flaw.found(found, allowed));
    }
    (table, sound)
}

/// The first list or inline table that is never closed. The parser says at which byte such values end; the outermost that ends there is open, as only open ones can hold an open one.
fn first_open(table: &DeTable<'_>, text: &str, errors: &[toml::de::Error]) -> Option<usize> {
    let unclosed = errors.iter().find(|e| e.message().starts_with("unclosed array") || e.message().starts_with("unclosed inline table"))?;
    let end = unclosed.span()?.start;
    table.iter().filter_map(|(_, value)| open_at(value, text, end)).min()
}

/// Nesting is at most what the parser lets pass, 80.
fn open_at(value: &Spanned<DeValue<'_>>, text: &str, end: usize) -> Option<usize> {
    let span = value.span();
    if span.end == end && text.get(span.clone()).is_some_and(|t| t.starts_with(['[', '{'])) {
        return Some(span.start);
    }
    match value.get_ref() {
        DeValue::Array(list) => list.iter().filter_map(|value| open_at(value, text, end)).min(),
        DeValue::Table(table) => table.iter().filter_map(|(_, value)| open_at(value, text, end)).min(),
        _ => None,
    }
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
            root.report_at(
                log,
                "format",
                Flaw::new(Code::UnknownFormat, "format", "unsupported format").found(format!("format = {other}"), "format = 1"),
            );
            false
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::input::sources::Sources;

    fn told(text: &str) -> Vec<(u32, u32, String)> {
        let mut log = Log::new(Sources::default());
        let file = log.add_file("t.toml", &text.as_bytes().into());
        let (_, sound) = root(&mut log, file, text);
        assert_eq!(sound, log.count() == 0);
        let diagnostics = if sound { Vec::new() } else { log.reject().diagnostics().to_vec() };
        diagnostics.into_iter().map(|d| (d.place.as_ref().unwrap().line, d.place.unwrap().column, d.title)).collect()
    }

    #[test]
    fn an_open_list_is_told_where_it_opens_and_nothing_behind_it() {
        for text in [
            "a = [1,2\nb = 3\nc = [1]\n",
            "a = [[1,2]\n\n",
            "a = [[1, 2], [3\n",
            "a = [[[",
            "a = [{b=[",
            "a = [1 # ]\n[[t]]\nx = 1\n[m.a]\ny = []\n",
        ] {
            assert_eq!(told(text), [(1, 5, "a list is not closed".to_owned())], "{text:?}");
        }
        assert_eq!(told("[t]\na={b=1\nc=2\n[[u]]\n"), [(2, 3, "a table is not closed".to_owned())]);
        assert_eq!(told("a = [1, [2, 3]]"), []);
    }

    #[test]
    fn several_mistakes_are_told_at_once_and_those_before_an_open_list_too() {
        let lines = |text| told(text).into_iter().map(|t| (t.0, t.1)).collect::<Vec<_>>();
        assert_eq!(lines("a = x\nb = 2\nc = 1 2\nb = 4\n"), [(1, 5), (3, 5), (4, 1)]);
        assert_eq!(lines("a = x\nb = [1\nc = 2\n"), [(1, 5), (2, 5)]);
    }
}
