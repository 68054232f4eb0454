//! Lines of a written table, read strictly: the form is fixed, so whatever departs from it was not written by the program.
//!
//! Form: LF after every line, plain ASCII, cells between commas, no quotes; whole numbers and six-decimal numbers in the one spelling they have.
//! Invariant: memory is bounded by the longest line a right table of these columns can have.

use std::fs::File;
use std::io::{BufRead, BufReader, Read, Take};
use std::path::Path;

use super::fault::{FaultKind, Faults};
use crate::files::{self, Unreadable};

/// Longest cell: a name of two parts of 64 letters and a dot, and a comma.
const CELL: usize = 130;

/// A table being read.
#[derive(Debug)]
pub(super) struct Table {
    reader: BufReader<Take<File>>,
    line: Vec<u8>,
    most: u64,
}

impl Table {
    /// Opens a table of at most this many columns.
    pub(super) fn open(path: &Path, columns: usize) -> Result<Table, Unreadable> {
        let reader = BufReader::with_capacity(1 << 16, files::open(path)?);
        Ok(Table { reader, line: Vec::new(), most: (CELL * (columns + 2)) as u64 })
    }

    /// Opens a table of a folder and reads its header; `None` where it cannot be opened or has another one.
    pub(super) fn with_header(dir: &Path, file: &str, columns: usize, header: &str, faults: &mut Faults) -> Option<Table> {
        let mut table = match Table::open(&dir.join(file), columns.max(header.len() / CELL)) {
            Ok(table) => table,
            Err(error) => {
                faults.file(FaultKind::Missing, file, format!("cannot be read: {error}"));
                return None;
            }
        };
        match table.line() {
            Ok(Some(line)) if line == header => Some(table),
            Ok(_) => {
                faults.file(FaultKind::Columns, file, format!("the header is not `{header}`"));
                None
            }
            Err(what) => {
                faults.file(FaultKind::Columns, file, what);
                None
            }
        }
    }

    /// Records what follows the last row.
    pub(super) fn end(&mut self, file: &str, faults: &mut Faults) {
        if self.line() != Ok(None) {
            faults.file(FaultKind::Rows, file, "goes on after the last row".to_owned());
        }
    }

    /// The next line without its end; `None` at the end of the file.
    ///
    /// # Errors
    /// A line that is cut off, too long or unreadable, in words.
    pub(super) fn line(&mut self) -> Result<Option<&str>, String> {
        self.line.clear();
        let n = (&mut self.reader).take(self.most).read_until(b'\n', &mut self.line).map_err(|e| format!("cannot be read: {e}"))?;
        if n == 0 {
            return Ok(None);
        }
        match self.line.split_last() {
            Some((b'\n', rest)) if rest.is_ascii() => {
                core::str::from_utf8(rest).map(Some).map_err(|_| "a line is not plain text".to_owned())
            }
            Some((b'\n', _)) => Err("a line is not plain text".to_owned()),
            _ => Err("a line is cut off before its end, or far too long".to_owned()),
        }
    }
}

/// A whole number in its one spelling, below 2^53.
pub(super) fn whole(text: &str) -> Option<i64> {
    let digits = text.strip_prefix('-').unwrap_or(text);
    let plain = !digits.is_empty() && digits.bytes().all(|b| b.is_ascii_digit()) && (digits == "0" || !digits.starts_with('0'));
    if !plain || text == "-0" {
        return None;
    }
    text.parse().ok().filter(|n: &i64| n.unsigned_abs() <= 1 << 53)
}

/// A number with six decimals in its one spelling, in millionths.
pub(super) fn millionths(text: &str) -> Option<i64> {
    let (sign, digits) = text.strip_prefix('-').map_or((1, text), |d| (-1, d));
    let (whole_part, decimals) = digits.split_once('.')?;
    if decimals.len() != 6 || !decimals.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    let all = whole(whole_part)
        .filter(|n| *n >= 0 && !whole_part.starts_with('-'))?
        .checked_mul(1_000_000)?
        .checked_add(decimals.parse().ok()?)?;
    if sign < 0 && all == 0 { None } else { Some(sign * all) }
}

/// A number with so many decimals in its one spelling.
pub(super) fn fixed(text: &str, places: usize) -> Option<f64> {
    let (sign, digits) = text.strip_prefix('-').map_or(("", text), |d| ("-", d));
    let (whole, decimals) = digits.split_once('.')?;
    let plain = |s: &str| !s.is_empty() && s.bytes().all(|b| b.is_ascii_digit());
    let spelled = plain(whole) && plain(decimals) && decimals.len() == places && (whole == "0" || !whole.starts_with('0'));
    let zero = sign == "-" && digits.bytes().all(|b| matches!(b, b'0' | b'.'));
    if spelled && !zero { text.parse().ok() } else { None }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_have_one_spelling() {
        for (text, n) in [("0", 0), ("-7", -7), ("120", 120)] {
            assert_eq!(whole(text), Some(n));
        }
        for bad in ["", "-", "+1", "01", "-0", "1.0", " 1", "9007199254740993", "1e3"] {
            assert_eq!(whole(bad), None, "{bad}");
        }
        for (text, n) in [("0.000000", 0), ("-0.500000", -500_000), ("7400.000001", 7_400_000_001)] {
            assert_eq!(millionths(text), Some(n));
        }
        for bad in ["-0.000000", "1", "1.5", "1.0000000", "01.000000", "--1.000000", "1.00000a", ".500000"] {
            assert_eq!(millionths(bad), None, "{bad}");
        }
        assert_eq!((fixed("-0.250", 3), fixed("12.0", 1), fixed("0.00", 2)), (Some(-0.25), Some(12.0), Some(0.0)));
        for bad in ["-0.000", "1", "1.50", "01.000", "+1.000", "1e3.000", ".500", "inf", "1.00x"] {
            assert_eq!(fixed(bad, 3), None, "{bad}");
        }
    }
}
