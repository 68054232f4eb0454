//! One record of a CSV table with the place of each of its cells in the file.
//!
//! Invariant: a mistake is recorded at the bytes of its cell; a cell that is not there counts as the end of its row.

use core::cmp::Ordering;
use core::ops::Range;

use super::log::{Log, Spot};
use crate::bounds::{Code, Flaw, counted};

/// A reader of the records of a text, from byte `shift` on: no header of its own, rows of any length, cells without the blanks around them.
pub(super) fn reader(text: &str, shift: usize) -> csv::Reader<&[u8]> {
    let bytes = text.as_bytes().get(shift..).unwrap_or_default();
    csv::ReaderBuilder::new().has_headers(false).flexible(true).trim(csv::Trim::All).from_reader(bytes)
}

/// Where a record of such a reader begins in the file.
pub(super) fn start(record: &csv::StringRecord, shift: usize) -> usize {
    record.position().and_then(|p| usize::try_from(p.byte()).ok()).unwrap_or(0) + shift
}

/// The bytes of one cell of the record that begins at `start`.
pub(super) fn cell(bytes: &[u8], start: usize, cell: usize) -> Range<usize> {
    let cells = cells(bytes, start);
    let last = cells.last().map_or(0..0, |c| c.end..c.end);
    cells.get(cell).cloned().unwrap_or(last)
}

/// The bytes of each cell of the record at `start`, without the spaces around them.
pub(super) fn cells(bytes: &[u8], start: usize) -> Vec<Range<usize>> {
    let blank_lines = bytes.iter().skip(start).take_while(|b| matches!(b, b'\r' | b'\n')).count();
    let start = start + blank_lines;
    let mut cells = Vec::new();
    let mut from = start;
    let mut quoted = false;
    let mut at = start;
    for byte in bytes.iter().skip(start) {
        match byte {
            b'"' if at == from || quoted => quoted = !quoted,
            // A doubled quote inside quotes opens them again.
            b'"' if bytes.get(at - 1) == Some(&b'"') && bytes.get(from) == Some(&b'"') => quoted = true,
            b',' if !quoted => {
                cells.push(trimmed(bytes, from..at));
                from = at + 1;
            }
            b'\r' | b'\n' if !quoted => break,
            _ => {}
        }
        at += 1;
    }
    cells.push(trimmed(bytes, from..at));
    cells
}

fn trimmed(bytes: &[u8], cell: Range<usize>) -> Range<usize> {
    let inner = bytes.get(cell.clone()).unwrap_or_default();
    let before = inner.len() - inner.trim_ascii_start().len();
    let start = cell.start + before;
    start..start + inner.trim_ascii().len()
}

/// A row of so many cells below a header of `width`: where that shows, and what it is; `None` where they are as many.
pub(super) fn of_other_width(found: usize, width: usize) -> Option<(usize, Flaw)> {
    let (what, cell, help) = match found.cmp(&width) {
        Ordering::Equal => return None,
        Ordering::Greater => ("a row has more cells than the header", width, "write numbers with a point, not a comma"),
        Ordering::Less => ("a row has fewer cells than the header", found, "leave cells blank, but keep their commas"),
    };
    let flaw = Flaw::new(Code::WrongCount, "", what);
    Some((cell, flaw.found(counted(found, "cell"), format!("{}, including blank ones", counted(width, "cell"))).help(help)))
}

/// A record and where it begins.
pub(super) struct CsvRow<'r> {
    pub(super) log: &'r mut Log,
    pub(super) file: usize,
    pub(super) record: &'r csv::StringRecord,
    pub(super) bytes: &'r [u8],
    pub(super) start: usize,
}

impl CsvRow<'_> {
    /// The place of a cell.
    pub(super) fn spot(&self, at: usize) -> Spot {
        Spot { file: self.file, bytes: cell(self.bytes, self.start, at) }
    }

    /// Records a mistake of a cell.
    pub(super) fn report_at(&mut self, cell: usize, flaw: Flaw) {
        let spot = self.spot(cell);
        self.log.add(Some(spot), "", flaw);
    }

    /// True where it has so many cells; otherwise that is recorded.
    pub(super) fn has_width(&mut self, width: usize) -> bool {
        let wrong = of_other_width(self.record.len(), width);
        if let Some((cell, flaw)) = &wrong {
            self.report_at(*cell, flaw.clone());
        }
        wrong.is_none()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_are_found_behind_quotes() {
        assert_eq!(cells(b"\n\"a,\"\"b\" ,c\nd", 0), [1..8, 10..11]);
        assert_eq!(cells(b"", 0).first(), Some(&(0..0)));
    }
}
