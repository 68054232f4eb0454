//! One key written anew in the text that it was read from.
//!
//! What: in a shot file the two numbers of a key, in a key file the cell of its value and that of its frame; where other keys share the frame, the value goes to another line. Invariant: every other byte stays as it is: comments, spaces, line ends, a byte
//! order mark. A number that does not change keeps its text; a new one has at least as many decimals as the one before it; a text that is given is taken as it is, so that an edit can be taken back
//! to the last byte.
//! Limits: keys of routines are not looked for. In a key file with spaces around its commas, a key that leaves a line and comes back may leave a space on the other side of its cell.

use core::ops::Range;

use toml::de::{DeTable, DeValue};

use super::csv_row::cells;
use super::lines::{Lines, byte_order_mark};
use crate::shot::Place;

/// Frame and value of a key as they are to be.
#[derive(Debug, Clone)]
pub(crate) struct NewKey {
    /// Frame.
    pub(crate) frame: f64,
    /// Value.
    pub(crate) value: f64,
    /// How they are to be written; `None` for the style of what is there.
    pub(crate) texts: Option<[String; 2]>,
}

/// A text with one key changed.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Rewritten {
    /// The whole text.
    pub(crate) bytes: Vec<u8>,
    /// Line and column of the key in it.
    pub(crate) place: (u32, u32),
    /// How frame and value were written before.
    pub(crate) before: [String; 2],
    /// How they are written now.
    pub(crate) after: [String; 2],
}

/// Why a key is not written anew.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub(crate) enum KeyTextError {
    /// Nothing there.
    #[error("no key of the shot's own tracks is written at this place")]
    NoKey,
    /// A value is there already.
    #[error("the channel has a value at this frame already")]
    Taken,
    /// A given text is another number.
    #[error("the text of a number is not that number")]
    OtherText,
}

/// The numbers of a key in a text, as bytes, and where messages say it is.
struct Found {
    frame: Range<usize>,
    value: Range<usize>,
    /// The first byte of the key.
    start: usize,
}

/// Writes a key of a shot file anew.
///
/// # Errors
/// No key of a `[[track]]` there; a text that is another number.
pub(crate) fn in_shot(bytes: &[u8], place: Place, new: &NewKey) -> Result<Rewritten, KeyTextError> {
    let text = core::str::from_utf8(bytes).map_err(|_| KeyTextError::NoKey)?;
    let document = DeTable::parse(text).map_err(|_| KeyTextError::NoKey)?;
    let lines = Lines::new(bytes);
    let tracks = document.get_ref().get("track").and_then(|t| t.get_ref().as_array()).ok_or(KeyTextError::NoKey)?;
    let rows = tracks.iter().filter_map(|t| t.get_ref().as_table()?.get("keys")?.get_ref().as_array()).flat_map(|keys| keys.iter());
    let is_number = |v: &DeValue<'_>| matches!(v, DeValue::Integer(_) | DeValue::Float(_));
    for row in rows {
        let start = row.span().start;
        if lines.place(bytes, start) != (place.line, place.column) {
            continue;
        }
        let mut numbers = row.get_ref().as_array().into_iter().flatten().filter(|n| is_number(n.get_ref())).map(|n| n.span());
        let (Some(frame), Some(value), None) = (numbers.next(), numbers.next(), numbers.next()) else { break };
        return rewritten(bytes, Found { frame, value, start }, place.line, new);
    }
    Err(KeyTextError::NoKey)
}

/// Writes a key of a key file anew. A key that changes its frame leaves the other keys of its line where they are: it goes to the line of that frame, or to a new one in its place.
///
/// # Errors
/// No value in this cell; a cell that has a value already; a text that is another number.
pub(crate) fn in_key_file(bytes: &[u8], place: Place, new: &NewKey) -> Result<Rewritten, KeyTextError> {
    let (lines, rows) = (Lines::new(bytes), rows(bytes));
    let is_here = |c: &Range<usize>| !c.is_empty() && lines.place(bytes, c.start) == (place.line, place.column);
    let found = rows.iter().enumerate().find_map(|(i, row)| Some((i, row, row.cells.iter().skip(1).position(is_here)? + 1)));
    let (index, row, column) = found.ok_or(KeyTextError::NoKey)?;
    let (frame, value) = (row.cell(bytes, 0), row.cell(bytes, column));
    let others = row.cells.iter().enumerate().skip(1).any(|(i, c)| i != column && !c.is_empty());
    let beside = |i: Option<usize>| i.and_then(|i| rows.get(i)).and_then(|r| r.frame);
    let is_between = beside(index.checked_sub(1)).is_none_or(|f| f < new.frame) && beside(Some(index + 1)).is_none_or(|f| new.frame < f);
    if row.frame == Some(new.frame) || (!others && is_between) {
        let start = row.cells.get(column).map_or(0, |c| c.start);
        return rewritten(bytes, Found { frame, value, start }, place.line, new);
    }
    moved(bytes, &rows, (row, column), new)
}

/// A line of a key file.
struct Row {
    /// With its line end, where it has one.
    bytes: Range<usize>,
    cells: Vec<Range<usize>>,
    frame: Option<f64>,
}

impl Row {
    /// What a cell holds, without quotes.
    fn cell(&self, bytes: &[u8], column: usize) -> Range<usize> {
        unquoted(bytes, self.cells.get(column).cloned().unwrap_or_default())
    }
}

/// The lines below the header.
fn rows(bytes: &[u8]) -> Vec<Row> {
    let shift = byte_order_mark(bytes);
    let mut reader = csv::ReaderBuilder::new().flexible(true).from_reader(bytes.get(shift..).unwrap_or_default());
    let mut record = csv::ByteRecord::new();
    let mut rows = Vec::new();
    while reader.read_byte_record(&mut record).unwrap_or(false) {
        let cells = cells(bytes, record.position().and_then(|p| usize::try_from(p.byte()).ok()).unwrap_or(0) + shift);
        // A line of blank cells is no row.
        if cells.iter().all(Range::is_empty) {
            continue;
        }
        let last = cells.last().map_or(0, |c| c.end);
        let rest = bytes.get(last..).unwrap_or_default();
        let end = last + rest.iter().position(|b| *b == b'\n').map_or(rest.len(), |at| at + 1);
        // Spaces before the first cell belong to the line too.
        let first = cells.first().map_or(last, |c| c.start);
        let start = bytes.get(..first).unwrap_or_default().iter().rposition(|b| *b == b'\n').map_or(shift, |at| at + 1);
        let mut row = Row { bytes: start..end, cells, frame: None };
        row.frame = text_of(bytes, &row.cell(bytes, 0)).as_deref().and_then(number);
        rows.push(row);
    }
    rows
}

/// A key that leaves its line.
fn moved(bytes: &[u8], rows: &[Row], (row, column): (&Row, usize), new: &NewKey) -> Result<Rewritten, KeyTextError> {
    let (frame, value) = (row.cell(bytes, 0), row.cell(bytes, column));
    let (Some(old_frame), Some(old_value)) = (text_of(bytes, &frame), text_of(bytes, &value)) else { return Err(KeyTextError::NoKey) };
    let before = [old_frame, old_value];
    let mut after = new.written(&before)?;
    let line_end = if bytes.contains(&b'\r') { "\r\n" } else { "\n" };
    // A last line without its end gets one meanwhile.
    let is_open = !bytes.ends_with(b"\n");
    let mut text = bytes.to_vec();
    text.extend(line_end.bytes().filter(|_| is_open));
    let row_end = |row: &Row| if is_open && row.bytes.end == bytes.len() { text.len() } else { row.bytes.end };
    let own = row.bytes.start..row_end(row);
    let others = row.cells.iter().enumerate().skip(1).any(|(i, c)| i != column && !c.is_empty());
    let mut parts: Vec<(Range<usize>, String)> = Vec::new();
    if let Some(there) = rows.iter().find(|r| r.frame == Some(new.frame)) {
        let cell = there.cells.get(column).filter(|c| c.is_empty()).ok_or(KeyTextError::Taken)?;
        parts.push((cell.clone(), after[1].clone()));
        after[0] = text_of(bytes, &there.cell(bytes, 0)).unwrap_or_default();
    } else {
        let next = rows.iter().find(|r| r.frame.is_some_and(|f| new.frame < f));
        let at = next.map_or_else(|| rows.last().map_or(text.len(), row_end), |r| r.bytes.start);
        let line = if others {
            format!("{}{}{}{}{line_end}", after[0], ",".repeat(column), after[1], ",".repeat(row.cells.len() - 1 - column))
        } else {
            let mut line = text.get(own.clone()).unwrap_or_default().to_vec();
            for (range, new) in [(&value, &after[1]), (&frame, &after[0])] {
                line.splice(range.start - own.start..range.end - own.start, new.bytes());
            }
            String::from_utf8(line).map_err(|_| KeyTextError::NoKey)?
        };
        parts.push((at..at, line));
    }
    parts.push((if others { value } else { own }, String::new()));
    parts.sort_by_key(|(range, _)| core::cmp::Reverse((range.start, range.end)));
    for (range, new) in parts {
        text.splice(range, new.bytes());
    }
    if is_open {
        text.truncate(text.len() - line_end.len());
    }
    let now = self::rows(&text);
    let cell = now.iter().find(|r| r.frame == Some(new.frame)).and_then(|r| r.cells.get(column)).ok_or(KeyTextError::NoKey)?;
    let place = Lines::new(&text).place(&text, cell.start);
    Ok(Rewritten { bytes: text, place, before, after })
}

/// A key that stays where it is written.
fn rewritten(bytes: &[u8], found: Found, line: u32, new: &NewKey) -> Result<Rewritten, KeyTextError> {
    let (Some(frame), Some(value)) = (text_of(bytes, &found.frame), text_of(bytes, &found.value)) else { return Err(KeyTextError::NoKey) };
    let before = [frame, value];
    let after = new.written(&before)?;
    // The later of the two first, so that the earlier one stays where it is.
    let mut parts = [(found.frame, &after[0]), (found.value, &after[1])];
    parts.sort_by_key(|(range, _)| core::cmp::Reverse(range.start));
    let (mut text, mut start) = (bytes.to_vec(), found.start);
    for (range, new) in parts {
        if range.start < found.start {
            start = (start + new.len()).saturating_sub(range.len());
        }
        text.splice(range, new.bytes());
    }
    let column = Lines::new(&text).place(&text, start).1;
    Ok(Rewritten { bytes: text, place: (line, column), before, after })
}

impl NewKey {
    /// How both are written over these.
    fn written(&self, old: &[String; 2]) -> Result<[String; 2], KeyTextError> {
        match &self.texts {
            None => Ok([styled(&old[0], self.frame), styled(&old[1], self.value)]),
            Some(texts) if texts.iter().zip([self.frame, self.value]).all(|(t, n)| is_plain(t) && number(t) == Some(n)) => {
                Ok(texts.clone())
            }
            Some(_) => Err(KeyTextError::OtherText),
        }
    }
}

fn text_of(bytes: &[u8], range: &Range<usize>) -> Option<String> {
    Some(core::str::from_utf8(bytes.get(range.clone())?).ok()?.to_owned())
}

/// A number in the style of the one that it replaces.
fn styled(old: &str, new: f64) -> String {
    if number(old) == Some(new) {
        return old.to_owned();
    }
    // Without the sign of a zero.
    let new = new + 0.0;
    let decimals = old.split_once('.').map_or(0, |(_, behind)| behind.bytes().take_while(u8::is_ascii_digit).count());
    let padded = format!("{new:.decimals$}");
    if number(&padded) == Some(new) { padded } else { new.to_string() }
}

/// The number that a text is, as both kinds of files have it.
fn number(text: &str) -> Option<f64> {
    let digits = text.replace('_', "");
    let whole = [("0x", 16), ("0o", 8), ("0b", 2)].into_iter().find_map(|(prefix, base)| {
        let n = i64::from_str_radix(digits.strip_prefix(prefix)?, base).ok()?;
        Some(crate::number::whole::real(n))
    });
    whole.or_else(|| digits.parse().ok()).filter(|x: &f64| x.is_finite())
}

/// True for a text of nothing but the signs of a decimal number.
fn is_plain(text: &str) -> bool {
    text.len() <= MOST_TEXT && text.bytes().all(|b| b.is_ascii_hexdigit() || matches!(b, b'+' | b'-' | b'.' | b'_' | b'x' | b'o'))
}

/// Bytes of the longest number that is written.
const MOST_TEXT: usize = 64;

/// What is between the quotes of a cell, without the spaces there.
fn unquoted(bytes: &[u8], cell: Range<usize>) -> Range<usize> {
    let text = bytes.get(cell.clone()).unwrap_or_default();
    let Some(inner) = text.strip_prefix(b"\"").and_then(|t| t.strip_suffix(b"\"")) else { return cell };
    let before = inner.len() - inner.trim_ascii_start().len();
    let start = cell.start + 1 + before;
    start..start + inner.trim_ascii().len()
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "tests")]
mod tests {
    use super::*;

    fn place(line: u32, column: u32) -> Place {
        Place { file: 0, line, column }
    }

    fn to(frame: f64, value: f64) -> NewKey {
        NewKey { frame, value, texts: None }
    }

    fn text(r: &Rewritten) -> String {
        String::from_utf8(r.bytes.clone()).unwrap()
    }

    const SHOT: &str = "\u{feff}format = 1 # ä\r\n[[track]]\t# first\r\nkeys = [ [ 1 , 0.0 ], # start\r\n  [+1_20, -1800.50],\r\n]\r\n[[track]]\r\nkeys = \"a.csv\"\r\n";

    #[test]
    fn a_key_of_a_shot_changes_two_numbers_and_no_other_byte_and_comes_back() {
        let moved = in_shot(SHOT.as_bytes(), place(4, 3), &to(118.0, -1790.0)).unwrap();
        assert_eq!(text(&moved), SHOT.replace("+1_20, -1800.50", "118, -1790.00"));
        assert_eq!((moved.place, moved.before.clone()), ((4, 3), ["+1_20".to_owned(), "-1800.50".to_owned()]));
        let back = NewKey { frame: 120.0, value: -1800.5, texts: Some(moved.before) };
        assert_eq!(text(&in_shot(&moved.bytes, place(4, 3), &back).unwrap()), SHOT);
        // The frame keeps its text where it is the same, and a whole value its decimals.
        let raised = in_shot(SHOT.as_bytes(), place(3, 10), &to(1.0, 2.25)).unwrap();
        assert_eq!(text(&raised), SHOT.replace("1 , 0.0", "1 , 2.25"));
    }

    #[test]
    fn what_is_no_key_of_a_track_is_not_changed() {
        for (line, column) in [(1, 1), (3, 9), (4, 4), (7, 8), (99, 1)] {
            assert_eq!(in_shot(SHOT.as_bytes(), place(line, column), &to(1.0, 2.0)), Err(KeyTextError::NoKey), "{line}:{column}");
        }
        assert_eq!(in_shot(b"[[cycle]]\nkeys = [[0.0, 1]]\n", place(2, 9), &to(1.0, 2.0)), Err(KeyTextError::NoKey));
        assert_eq!(in_shot(b"track = ", place(1, 1), &to(1.0, 2.0)), Err(KeyTextError::NoKey));
        assert_eq!(in_shot(b"\xff", place(1, 1), &to(1.0, 2.0)), Err(KeyTextError::NoKey));
        for texts in [["1", "3"], ["1", "2]]\nformat = 2"], ["1", "2 "], ["1", "nan"]] {
            let new = NewKey { texts: Some(texts.map(str::to_owned)), ..to(1.0, 2.0) };
            assert_eq!(in_shot(SHOT.as_bytes(), place(3, 10), &new), Err(KeyTextError::OtherText), "{texts:?}");
        }
    }

    const CSV: &str = "frame,a,b\r\n1, 0.5 ,\r\n\r\n2.5,,\" 3 \"\r\n8,4,5\r\n";

    #[test]
    fn a_key_file_changes_one_line() {
        let moved = in_key_file(CSV.as_bytes(), place(2, 4), &to(1.75, 1.0)).unwrap();
        assert_eq!((text(&moved), moved.place), (CSV.replace("1, 0.5 ,", "1.75, 1.0 ,"), (2, 7)));
        let back = NewKey { frame: 1.0, value: 0.5, texts: Some(moved.before) };
        assert_eq!(text(&in_key_file(&moved.bytes, place(2, 7), &back).unwrap()), CSV);
        let quoted = in_key_file(CSV.as_bytes(), place(4, 6), &to(3.0, -7.0)).unwrap();
        assert_eq!(text(&quoted), CSV.replace("2.5,,\" 3 \"", "3.0,,\" -7 \""));
    }

    #[test]
    fn a_line_of_blank_cells_is_no_neighbour() {
        let moved = in_key_file(b"frame,a\n1,2\n,\n8,4\n", place(2, 3), &to(5.0, 2.0)).unwrap();
        assert_eq!((text(&moved), moved.place), ("frame,a\n5,2\n,\n8,4\n".to_owned(), (2, 3)));
    }

    #[test]
    fn a_number_in_another_base_stays_where_it_is_the_same_and_comes_back() {
        let shot = "[[track]]\nkeys = [[0x10, 1], [20, 2]]\n";
        let raised = in_shot(shot.as_bytes(), place(2, 9), &to(16.0, 3.0)).unwrap();
        assert_eq!(text(&raised), shot.replace("0x10, 1", "0x10, 3"));
        let moved = in_shot(shot.as_bytes(), place(2, 9), &to(17.0, 1.0)).unwrap();
        let back = NewKey { frame: 16.0, value: 1.0, texts: Some(moved.before.clone()) };
        assert_eq!(text(&in_shot(&moved.bytes, moved_place(&moved), &back).unwrap()), shot);
    }

    fn moved_place(moved: &Rewritten) -> Place {
        place(moved.place.0, moved.place.1)
    }

    /// There and back again: the text in between.
    fn there_and_back(csv: &str, from: (u32, u32), new: &NewKey) -> String {
        let moved = in_key_file(csv.as_bytes(), place(from.0, from.1), new).unwrap();
        let [frame, value] = [0, 1].map(|i| number(&moved.before[i]).unwrap());
        let back = NewKey { frame, value, texts: Some(moved.before.clone()) };
        let again = in_key_file(&moved.bytes, place(moved.place.0, moved.place.1), &back).unwrap();
        assert_eq!((text(&again), again.place), (csv.to_owned(), from));
        text(&moved)
    }

    #[test]
    fn a_key_that_shares_its_line_goes_to_a_line_of_its_own_and_comes_back() {
        let csv = "frame,a,b\n1,0,\n8,4,5\n9,,6\n";
        assert_eq!(there_and_back(csv, (3, 3), &to(8.0, 4.5)), csv.replace("8,4,5", "8,4.5,5"));
        assert_eq!(there_and_back(csv, (3, 3), &to(5.0, 4.0)), "frame,a,b\n1,0,\n5,4,\n8,,5\n9,,6\n");
        assert_eq!(there_and_back(csv, (3, 3), &to(12.0, 4.0)), "frame,a,b\n1,0,\n8,,5\n9,,6\n12,4,\n");
        // To a line that has this frame already.
        assert_eq!(there_and_back(csv, (3, 3), &to(9.0, 4.0)), "frame,a,b\n1,0,\n8,,5\n9,4,6\n");
        assert_eq!(there_and_back(csv, (2, 3), &to(9.0, 0.0)), "frame,a,b\n8,4,5\n9,0,6\n");
        assert_eq!(in_key_file(csv.as_bytes(), place(3, 5), &to(9.0, 5.0)), Err(KeyTextError::Taken));
        // A line of its own passes others with all that is on it.
        assert_eq!(
            there_and_back("frame,a,b\r\n1,0,1\r\n 2,, 5 \r\n9,6,\r\n", (3, 6), &to(12.0, 5.0)),
            "frame,a,b\r\n1,0,1\r\n9,6,\r\n 12,, 5 \r\n"
        );
        // The last line has no end.
        assert_eq!(there_and_back("frame,a,b\n1,0,1\n8,4,5", (3, 5), &to(9.0, 5.0)), "frame,a,b\n1,0,1\n8,4,\n9,,5");
        assert_eq!(there_and_back("frame,a,b\n1,0,1\n3,4,5\n8,,5", (4, 4), &to(2.0, 5.0)), "frame,a,b\n1,0,1\n2,,5\n3,4,5");
        for (line, column) in [(1, 7), (2, 1), (2, 9), (3, 1), (9, 1)] {
            assert_eq!(in_key_file(csv.as_bytes(), place(line, column), &to(1.0, 2.0)), Err(KeyTextError::NoKey), "{line}:{column}");
        }
    }

    /// Every key of a table to every frame between its neighbours: there and back, and nothing else has moved.
    #[test]
    fn every_key_goes_to_every_frame_and_comes_back() {
        let csv = "frame,a,b,c\n1,10,11,12\n3,,31,\n4,40,,42\n7,,71,72\n9,90,,";
        let keys = |csv: &str| {
            let rows = csv.lines().skip(1).map(|l| l.split(',').map(str::to_owned).collect::<Vec<_>>());
            let mut all: Vec<(usize, f64, String)> = rows
                .flat_map(|r| r.iter().enumerate().skip(1).map(|(i, v)| (i, r[0].parse().unwrap(), v.clone())).collect::<Vec<_>>())
                .filter(|(.., value)| !value.is_empty())
                .collect();
            all.sort_by(|a, b| a.partial_cmp(b).unwrap());
            all
        };
        let lines = Lines::new(csv.as_bytes());
        let mut moves = 0;
        for key in keys(csv) {
            let (column, frame, value) = &key;
            let row = rows(csv.as_bytes()).into_iter().find(|r| r.frame == Some(*frame)).unwrap();
            let at = lines.place(csv.as_bytes(), row.cells[*column].start);
            for to_frame in 0..12 {
                let to_frame = f64::from(to_frame);
                let passes = keys(csv).iter().any(|(c, f, _)| c == column && f != frame && (*f - to_frame) * (*f - frame) <= 0.0);
                if passes || to_frame == *frame {
                    continue;
                }
                let moved = there_and_back(csv, at, &to(to_frame, value.parse().unwrap()));
                let mut expected = keys(csv);
                expected.iter_mut().filter(|k| **k == key).for_each(|k| k.1 = to_frame);
                expected.sort_by(|a, b| a.partial_cmp(b).unwrap());
                assert_eq!(keys(&moved), expected, "{key:?} to {to_frame}: {moved}");
                moves += 1;
            }
        }
        assert!(moves > 30, "{moves}");
    }
}
