//! Reading logged positions: CSV with columns `frame,AXIS,...`, row by row, in bounded memory.
//!
//! Form: the first column is `frame`, whole and strictly rising; `timecode` columns are passed over; the others are axes, any subset in any order. Cells are numbers with
//! `.`; a blank cell means not logged there. LF or CRLF, with or without a last line end; spaces and quotes around a cell are allowed.
//! Invariant: memory is one buffer and one block of rows, whatever the length of the file; a line longer than [`MOST_LINE_BYTES`] is refused.
//! Rows of plain whole numbers, which is what counts are, take a short way, eight bytes at once; plain decimals one of their own; anything else is read as text.

use std::io::{Read, Seek};

use crate::bounds::MOST_LINE_BYTES;

/// Why a log cannot be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{log}{}: {what}", place(*line))]
#[non_exhaustive]
pub struct LogError {
    /// The log, as it was called.
    pub log: String,
    /// Line, from 1; 0 where the whole file is meant.
    pub line: u64,
    /// What is wrong, what was found and what is allowed.
    pub what: String,
}

fn place(line: u64) -> String {
    if line == 0 { String::new() } else { format!(", line {line}") }
}

/// Rows of a log, in the order of the axes asked for; NaN where an axis was not logged.
#[derive(Debug, Default)]
pub(super) struct Block {
    pub(super) frames: Vec<i64>,
    pub(super) cells: Vec<f64>,
}

/// A log being read.
#[derive(Debug)]
pub(super) struct Log<R> {
    name: String,
    reader: R,
    buffer: Vec<u8>,
    /// Bytes of the buffer that were used, that hold whole lines, and that are filled.
    used: usize,
    whole: usize,
    filled: usize,
    ended: bool,
    line: u64,
    /// For each column after `frame` the axis it is, or none where it is passed over.
    slots: Vec<Option<usize>>,
    last_frame: Option<i64>,
}

impl<R: Read> Log<R> {
    /// Opens a log and reads its header; `axes` are the names that may appear in it.
    ///
    /// # Errors
    /// A wrong header, and names that are not known or appear twice.
    pub(super) fn open(name: &str, reader: R, axes: &[&str]) -> Result<Log<R>, LogError> {
        let mut log = Log {
            name: name.to_owned(),
            reader,
            buffer: vec![0; 1 << 17],
            used: 0,
            whole: 0,
            filled: 0,
            ended: false,
            line: 1,
            slots: Vec::new(),
            last_frame: None,
        };
        if !log.fill()? {
            return Err(log.wrong_file("the file is empty, expected a header frame,AXIS,..."));
        }
        let bytes = log.buffer.get(log.used..log.whole).unwrap_or_default();
        let length = bytes.iter().position(|b| *b == b'\n').map_or(bytes.len(), |n| n + 1);
        let header = String::from_utf8_lossy(bytes.get(..length).unwrap_or_default()).into_owned();
        log.used += length;
        let mut names = header.trim_start_matches('\u{feff}').split(',').map(|n| n.trim().trim_matches('"'));
        let first = names.next().unwrap_or_default();
        if first != "frame" {
            return Err(log.wrong(format!("the first column is `{}`, expected `frame`", shown(first))));
        }
        for found in names {
            let slot = axes.iter().position(|a| *a == found);
            match slot {
                None if found == "timecode" => {}
                None => return Err(log.wrong(format!("column `{}` is not an axis of this pass", shown(found)))),
                Some(_) if log.slots.contains(&slot) => return Err(log.wrong(format!("column `{found}` appears twice"))),
                Some(_) => {}
            }
            log.slots.push(slot);
        }
        if log.logged().next().is_none() {
            return Err(log.wrong("there is no column of an axis".to_owned()));
        }
        Ok(log)
    }

    /// Back to the first row, its header read already.
    ///
    /// # Errors
    /// A table that cannot be read again.
    pub(super) fn rewind(&mut self) -> Result<(), LogError>
    where
        R: Seek,
    {
        if let Err(e) = self.reader.rewind() {
            return Err(self.wrong_file(&format!("cannot be read again: {e}")));
        }
        (self.used, self.whole, self.filled, self.ended, self.line, self.last_frame) = (0, 0, 0, false, 1, None);
        if self.fill()? {
            let bytes = self.buffer.get(self.used..self.whole).unwrap_or_default();
            self.used += bytes.iter().position(|b| *b == b'\n').map_or(bytes.len(), |n| n + 1);
        }
        Ok(())
    }

    /// Indices of the axes that have a column.
    pub(super) fn logged(&self) -> impl Iterator<Item = usize> + '_ {
        self.slots.iter().flatten().copied()
    }

    /// Up to `rows` more rows of `stride` numbers; an empty block at the end of the file. `block` is one that is used up, or a new one.
    ///
    /// # Errors
    /// A row that is not one.
    pub(super) fn block(&mut self, mut block: Block, rows: usize, stride: usize) -> Result<Block, LogError> {
        block.frames.clear();
        // Cells of axes that have no column stay NaN; the others are written, each row.
        block.cells.resize(rows * stride, f64::NAN);
        if stride > 0 {
            for row in block.cells.chunks_exact_mut(stride) {
                match self.row(row)? {
                    Some(frame) => block.frames.push(frame),
                    None => break,
                }
            }
        }
        Ok(block)
    }

    /// The next row's frame, its cells put in their slots; `None` at the end.
    fn row(&mut self, out: &mut [f64]) -> Result<Option<i64>, LogError> {
        loop {
            if self.used >= self.whole && !self.fill()? {
                return Ok(None);
            }
            self.line += 1;
            let bytes = self.buffer.get(self.used..self.whole).unwrap_or_default();
            if let Some((frame, rest)) = self.plain_row(bytes, out).filter(|(frame, _)| self.last_frame.is_none_or(|b| b < *frame)) {
                self.used = self.whole - rest.len();
                self.last_frame = Some(frame);
                return Ok(Some(frame));
            }
            let mut rest = bytes.iter();
            let (frame, end) = cell(&mut rest);
            let blank = matches!((frame, end), (Cell::Blank, End::Line));
            let row = if blank { Ok(None) } else { self.cells(frame, end, &mut rest, out).map(Some) };
            self.used = self.whole - rest.as_slice().len();
            match row {
                Ok(None) => {}
                Ok(Some(frame)) => {
                    if let Some(before) = self.last_frame.filter(|b| *b >= frame) {
                        return Err(self.wrong(format!("frame {frame} comes after frame {before}, expected rising frames")));
                    }
                    self.last_frame = Some(frame);
                    return Ok(Some(frame));
                }
                Err(what) => return Err(self.wrong(what)),
            }
        }
    }

    /// A row of whole numbers, which most are, and what comes after it; none where it has anything else.
    fn plain_row<'b>(&self, bytes: &'b [u8], out: &mut [f64]) -> Option<(i64, &'b [u8])> {
        let (frame, mut end, mut rest) = plain(bytes)?;
        for slot in &self.slots {
            if end != b',' {
                return None;
            }
            if let Some(slot) = slot {
                let value;
                (value, end, rest) = plain(rest)?;
                *out.get_mut(*slot)? = value as f64;
            } else {
                let length = rest.iter().position(|b| *b == b',' || *b == b'\n')?;
                let (_, after) = rest.split_at_checked(length)?;
                let (first, after) = after.split_first()?;
                (end, rest) = (*first, after);
            }
        }
        match end {
            b'\n' => Some((frame, rest)),
            b'\r' => rest.strip_prefix(b"\n").map(|rest| (frame, rest)),
            _ => None,
        }
    }

    fn cells(&self, frame: Cell, mut end: End, rest: &mut core::slice::Iter<'_, u8>, out: &mut [f64]) -> Result<i64, String> {
        let frame = match frame {
            Cell::Whole(n) => n,
            Cell::Real(x) => crate::number::whole::nearest(x).filter(|n| *n as f64 == x).ok_or("the frame is not a whole number")?,
            Cell::Blank => return Err("a row has no frame".to_owned()),
            Cell::Wrong => return Err("the frame is not a number".to_owned()),
        };
        for (i, slot) in self.slots.iter().enumerate() {
            if end == End::Line {
                return Err(format!("the row has {} of the {} cells of the header", i + 1, self.slots.len() + 1));
            }
            let value;
            match slot {
                Some(slot) => {
                    (value, end) = cell(rest);
                    let x = match value {
                        Cell::Whole(n) => n as f64,
                        Cell::Real(x) => x,
                        Cell::Blank => f64::NAN,
                        Cell::Wrong => return Err(format!("the cell in column {} is not a number", i + 2)),
                    };
                    if let Some(place) = out.get_mut(*slot) {
                        *place = x;
                    }
                }
                None => end = pass_over(rest),
            }
        }
        if end == End::Line { Ok(frame) } else { Err(format!("the row has more cells than the header's {}", self.slots.len() + 1)) }
    }

    /// Moves what is left to the front and reads on until a whole line is there; false at the end of the file.
    fn fill(&mut self) -> Result<bool, LogError> {
        self.buffer.copy_within(self.used..self.filled, 0);
        self.filled -= self.used;
        (self.used, self.whole) = (0, 0);
        loop {
            if let Some(end) = self.buffer.iter().take(self.filled).rposition(|b| *b == b'\n') {
                self.whole = end + 1;
                return Ok(true);
            }
            if self.ended {
                if self.filled == 0 {
                    return Ok(false);
                }
                // The last line may lack its end.
                if self.filled == self.buffer.len() {
                    self.buffer.push(0);
                }
                if let Some(b) = self.buffer.get_mut(self.filled) {
                    *b = b'\n';
                }
                self.filled += 1;
                continue;
            }
            if self.filled == self.buffer.len() {
                if self.filled >= MOST_LINE_BYTES {
                    return Err(self.wrong(format!("the next line is longer than {MOST_LINE_BYTES} bytes; this is not a log")));
                }
                self.buffer.resize(2 * self.filled, 0);
            }
            let free = self.buffer.get_mut(self.filled..).unwrap_or_default();
            match self.reader.read(free) {
                Ok(0) => self.ended = true,
                Ok(n) => self.filled += n,
                Err(e) if e.kind() == std::io::ErrorKind::Interrupted => {}
                Err(e) => return Err(self.wrong_file(&format!("cannot be read: {e}"))),
            }
        }
    }

    fn wrong(&self, what: String) -> LogError {
        LogError { log: self.name.clone(), line: self.line, what }
    }

    fn wrong_file(&self, what: &str) -> LogError {
        LogError { log: self.name.clone(), line: 0, what: what.to_owned() }
    }
}

#[derive(Debug, Clone, Copy)]
enum Cell {
    Whole(i64),
    Real(f64),
    Blank,
    Wrong,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum End {
    Comma,
    Line,
}

/// A whole number in at most seven characters, the character after it, which is none of a number, and what comes then; none for anything else.
///
/// What: eight bytes at once. Bytes below `-` end a number; the first of them is where subtracting sets a top bit that was not set. A byte less `0` is above 9 unless it is a digit;
/// adding 0x76 sets the top bit of those. Digits are then joined in pairs, fours and eights. Where the next number begins depends on the least possible: the rest waits for nothing.
/// Source: D. Lemire's notes on parsing eight digits, from memory; held against the plain way by a test.
#[inline]
fn plain(bytes: &[u8]) -> Option<(i64, u8, &[u8])> {
    const TOPS: u64 = 0x8080_8080_8080_8080;
    const ZEROS: u64 = 0x3030_3030_3030_3030;
    const PAIRS: u64 = 0x0000_00FF_0000_00FF;
    let word = u64::from_le_bytes(*bytes.first_chunk::<8>()?);
    let ends = word.wrapping_sub(0x2D2D_2D2D_2D2D_2D2D) & !word & TOPS;
    // Bits before the byte that ends the number.
    let length = ends.trailing_zeros() & !7;
    let negative = u64::from(word & 0xFF == u64::from(b'-'));
    if length > 56 || u64::from(length) <= 8 * negative {
        return None;
    }
    let [end, ..] = (word >> length).to_le_bytes();
    let place = 64 - length;
    // The sign becomes a zero before the number.
    let aligned = ((word ^ ZEROS) << place) ^ ((negative * u64::from(b'-' ^ b'0')) << place);
    if (aligned.wrapping_add(0x7676_7676_7676_7676) | aligned) & TOPS != 0 {
        return None;
    }
    let pairs = aligned.wrapping_mul(10).wrapping_add(aligned >> 8);
    let fours = (pairs & PAIRS).wrapping_mul(100 + (1_000_000 << 32));
    let eights = ((pairs >> 16) & PAIRS).wrapping_mul(1 + (10_000 << 32));
    let value = (fours.wrapping_add(eights) >> 32).cast_signed();
    let sign = negative.cast_signed();
    let [used, ..] = (length / 8 + 1).to_le_bytes();
    Some(((value ^ -sign) + sign, end, bytes.get(usize::from(used)..)?))
}

/// The next cell; the bytes end with a line end, always.
#[inline]
fn cell(rest: &mut core::slice::Iter<'_, u8>) -> (Cell, End) {
    let from = rest.as_slice();
    let (mut n, mut digits, mut negative) = (0_i64, 0_u32, false);
    // Ten to the number of decimals, once there is a point.
    let mut parts: Option<f64> = None;
    for byte in rest.by_ref() {
        let digit = byte.wrapping_sub(b'0');
        if digit < 10 && (digits < 15 || (digits < 17 && parts.is_none())) {
            n = n * 10 + i64::from(digit);
            digits += 1;
            parts = parts.map(|p| 10.0 * p);
        } else if *byte == b'.' && digits > 0 && digits < 16 && parts.is_none() {
            parts = Some(1.0);
        } else if *byte == b',' || *byte == b'\n' {
            let end = if *byte == b',' { End::Comma } else { End::Line };
            if let Some(parts) = parts {
                // Both are exact, so the quotient is the nearest number, as reading the text gives.
                let x = n as f64 / parts;
                return (Cell::Real(if negative { -x } else { x }), end);
            }
            if digits > 0 {
                return (Cell::Whole(if negative { -n } else { n }), end);
            }
            return (if negative { Cell::Wrong } else { Cell::Blank }, end);
        } else if *byte == b'-' && digits == 0 && !negative {
            negative = true;
        } else {
            break;
        }
    }
    let length = from.iter().position(|b| *b == b',' || *b == b'\n').unwrap_or(from.len());
    let (text, after) = from.split_at_checked(length).unwrap_or((from, &[]));
    *rest = after.iter();
    let end = if rest.next() == Some(&b',') { End::Comma } else { End::Line };
    (as_text(text), end)
}

fn pass_over(rest: &mut core::slice::Iter<'_, u8>) -> End {
    if rest.find(|b| **b == b',' || **b == b'\n') == Some(&b',') { End::Comma } else { End::Line }
}

#[cold]
fn as_text(cell: &[u8]) -> Cell {
    let Ok(text) = core::str::from_utf8(cell) else { return Cell::Wrong };
    let text = text.trim().trim_matches('"').trim();
    if text.is_empty() {
        return Cell::Blank;
    }
    // What the standard library reads besides numbers, such as `inf` and `nan`, is no position.
    let plain = text.bytes().all(|b| b.is_ascii_digit() || matches!(b, b'+' | b'-' | b'.' | b'e' | b'E'));
    match text.parse::<f64>() {
        Ok(x) if plain && x.is_finite() => Cell::Real(x),
        _ => Cell::Wrong,
    }
}

fn shown(text: &str) -> String {
    text.chars().take(60).collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing, clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "tests")]
mod tests {
    use super::*;

    /// Hands out its bytes one at a time, so that every boundary is met.
    struct Drop<'a>(&'a [u8]);

    impl Read for Drop<'_> {
        fn read(&mut self, out: &mut [u8]) -> std::io::Result<usize> {
            match (self.0.split_first(), out.first_mut()) {
                (Some((byte, rest)), Some(place)) => {
                    *place = *byte;
                    self.0 = rest;
                    Ok(1)
                }
                _ => Ok(0),
            }
        }
    }

    fn rows(text: &str) -> Result<Vec<(i64, Vec<String>)>, LogError> {
        let mut log = Log::open("take", Drop(text.as_bytes()), &["a.x", "a.y"])?;
        let mut rows = Vec::new();
        loop {
            let block = log.block(Block::default(), 2, 2)?;
            if block.frames.is_empty() {
                return Ok(rows);
            }
            rows.extend(block.frames.iter().copied().zip(block.cells.chunks(2).map(|c| c.iter().map(f64::to_string).collect())));
        }
    }

    fn wrong(text: &str) -> String {
        rows(text).unwrap_err().to_string()
    }

    #[test]
    fn columns_in_any_order_blank_cells_and_any_line_end() {
        let want = vec![(1, vec!["-5".to_owned(), "7".to_owned()]), (3, vec!["NaN".to_owned(), "0.25".to_owned()])];
        for text in [
            "frame,a.y,a.x\n1,7,-5\n3,0.25,\n",
            "frame,timecode,a.y,a.x\r\n1,10:00:00:00,7,-5\r\n3,10:00:00:02,0.25,\r\n",
            "\u{feff}frame,a.y,a.x\n1,\"7\", -5\n3,2.5e-1,",
            "frame,a.y,a.x\n1,7.0,-5\n3,0.25,\n\n",
        ] {
            assert_eq!(rows(text).unwrap(), want, "{text:?}");
        }
    }

    #[test]
    fn mistakes_are_told_with_their_line() {
        for (text, told) in [
            ("", "take: the file is empty, expected a header frame,AXIS,..."),
            ("time,a.x\n", "take, line 1: the first column is `time`, expected `frame`"),
            ("frame\n1\n", "take, line 1: there is no column of an axis"),
            ("frame,a.z\n", "take, line 1: column `a.z` is not an axis of this pass"),
            ("frame,a.x,a.x\n", "take, line 1: column `a.x` appears twice"),
            ("frame,a.x\n1,1\n1,1\n", "take, line 3: frame 1 comes after frame 1, expected rising frames"),
            ("frame,a.x\n1,one\n", "take, line 2: the cell in column 2 is not a number"),
            ("frame,a.x\n1,nan\n", "take, line 2: the cell in column 2 is not a number"),
            ("frame,a.x\n1,-\n", "take, line 2: the cell in column 2 is not a number"),
            ("frame,a.x\n1.5,1\n", "take, line 2: the frame is not a whole number"),
            ("frame,a.x\n,1\n", "take, line 2: a row has no frame"),
            ("frame,a.x\n1\n", "take, line 2: the row has 1 of the 2 cells of the header"),
            ("frame,a.x\n1,2,3\n", "take, line 2: the row has more cells than the header's 2"),
        ] {
            assert_eq!(wrong(text), told, "{text:?}");
        }
    }

    /// Numbers of every length, decimals of every length, and what is none: the short ways read what the text says, or leave it.
    #[test]
    fn short_ways_read_what_the_text_says() {
        let mut g = crate::number::Generator::new(5);
        let mut read = 0;
        for _ in 0..20_000 {
            let length = 1 + (12.0 * g.unit()) as usize;
            let text: String =
                (0..length).map(|_| char::from(b"0123456789012345678901234567890-.+e, "[(36.0 * g.unit()) as usize])).collect();
            for end in [",", "\n", "\r\n"] {
                let bytes = format!("{text}{end}7,8,9,10,11\n");
                let cut = text.find(',').unwrap_or(text.len());
                let want = text[..cut].parse::<i64>().ok().filter(|_| !text[..cut].starts_with('+'));
                if let Some((value, _, rest)) = plain(bytes.as_bytes()).filter(|p| b",\n\r".contains(&p.1)) {
                    assert_eq!((Some(value), rest), (want, &bytes.as_bytes()[cut + 1..]), "{bytes:?}");
                    read += 1;
                }
                let mut rest = bytes.as_bytes().iter();
                match cell(&mut rest).0 {
                    Cell::Whole(n) => assert_eq!(Some(n), want, "{bytes:?}"),
                    Cell::Real(x) => assert_eq!(Ok(x.to_bits()), text[..cut].trim().parse::<f64>().map(f64::to_bits), "{bytes:?}"),
                    Cell::Blank => assert_eq!(text[..cut].trim(), ""),
                    Cell::Wrong => {}
                }
            }
        }
        assert!(read > 5000, "{read}");
        assert_eq!(plain(b"-9999999,").map(|p| p.0), None);
        assert_eq!(plain(b"-999999,1").map(|p| (p.0, p.1)), Some((-999_999, b',')));
        assert_eq!(plain(b"9999999\n").map(|p| (p.0, p.1)), Some((9_999_999, b'\n')));
    }

    #[test]
    fn a_file_without_line_ends_is_refused_before_it_fills_the_memory() {
        let mut log = Log::open("take", "frame,a.x\n1".as_bytes().chain(std::io::repeat(b'1')), &["a.x"]).unwrap();
        assert!(log.block(Block::default(), 1, 1).unwrap_err().what.contains("longer than"));
    }
}
