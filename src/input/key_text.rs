//! One key written anew in the text that it was read from.
//!
//! What: in a shot file the two numbers of a key, in a key file the cell of its value and the cell of its frame. Invariant: every other byte stays as it is: comments, spaces, line ends, a byte
//! order mark. A number that does not change keeps its text; a new one has at least as many decimals as the one before it; a text that is given is taken as it is, so that an edit can be taken back
//! to the last byte.
//! Limits: keys of routines are not looked for. Keys that share a line of a key file share its frame: that frame is not changed.

use core::ops::Range;

use toml::de::{DeTable, DeValue};

use super::key_file::cells;
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
    /// The frame is that of other keys too.
    #[error("other keys on line {line} share this frame: change the value alone, or give the key a line of its own")]
    SharedFrame {
        /// The line.
        line: u32,
    },
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
    is_frame_shared: bool,
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
        return rewritten(bytes, Found { frame, value, start, is_frame_shared: false }, place.line, new);
    }
    Err(KeyTextError::NoKey)
}

/// Writes a key of a key file anew.
///
/// # Errors
/// No value in this cell; a frame that other cells of the line share; a text that is another number.
pub(crate) fn in_key_file(bytes: &[u8], place: Place, new: &NewKey) -> Result<Rewritten, KeyTextError> {
    let shift = byte_order_mark(bytes);
    let lines = Lines::new(bytes);
    let mut reader = csv::ReaderBuilder::new().has_headers(true).flexible(true).from_reader(bytes.get(shift..).unwrap_or_default());
    let mut record = csv::ByteRecord::new();
    while reader.read_byte_record(&mut record).unwrap_or(false) {
        let start = record.position().and_then(|p| usize::try_from(p.byte()).ok()).unwrap_or(0) + shift;
        let cells = cells(bytes, start);
        let Some(own) = cells.iter().skip(1).find(|c| lines.place(bytes, c.start) == (place.line, place.column)) else { continue };
        let frame = cells.first().cloned().unwrap_or_default();
        let is_frame_shared = cells.iter().skip(1).any(|c| c != own && !c.is_empty());
        if own.is_empty() {
            break;
        }
        let found = Found { frame: unquoted(bytes, frame), value: unquoted(bytes, own.clone()), start: own.start, is_frame_shared };
        return rewritten(bytes, found, place.line, new);
    }
    Err(KeyTextError::NoKey)
}

fn rewritten(bytes: &[u8], found: Found, line: u32, new: &NewKey) -> Result<Rewritten, KeyTextError> {
    let old = |range: &Range<usize>| bytes.get(range.clone()).and_then(|t| core::str::from_utf8(t).ok()).map(str::to_owned);
    let (Some(frame), Some(value)) = (old(&found.frame), old(&found.value)) else { return Err(KeyTextError::NoKey) };
    if found.is_frame_shared && number(&frame) != Some(new.frame) {
        return Err(KeyTextError::SharedFrame { line });
    }
    let after = match &new.texts {
        None => [styled(&frame, new.frame), styled(&value, new.value)],
        Some(texts) if texts.iter().zip([new.frame, new.value]).all(|(t, n)| is_plain(t) && number(t) == Some(n)) => texts.clone(),
        Some(_) => return Err(KeyTextError::OtherText),
    };
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
    let place = Lines::new(&text).place(&text, start);
    Ok(Rewritten { bytes: text, place, before: [frame, value], after })
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
    text.replace('_', "").parse().ok().filter(|x: &f64| x.is_finite())
}

/// True for a text of nothing but the signs of a decimal number.
fn is_plain(text: &str) -> bool {
    text.len() <= MOST_TEXT && text.bytes().all(|b| b.is_ascii_digit() || matches!(b, b'+' | b'-' | b'.' | b'_' | b'e' | b'E'))
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
#[allow(clippy::unwrap_used, reason = "tests")]
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
        let moved = in_key_file(CSV.as_bytes(), place(2, 4), &to(12.0, 1.0)).unwrap();
        assert_eq!((text(&moved), moved.place), (CSV.replace("1, 0.5 ,", "12, 1.0 ,"), (2, 5)));
        let back = NewKey { frame: 1.0, value: 0.5, texts: Some(moved.before) };
        assert_eq!(text(&in_key_file(&moved.bytes, place(2, 5), &back).unwrap()), CSV);
        let quoted = in_key_file(CSV.as_bytes(), place(4, 6), &to(3.0, -7.0)).unwrap();
        assert_eq!(text(&quoted), CSV.replace("2.5,,\" 3 \"", "3.0,,\" -7 \""));
    }

    #[test]
    fn a_frame_that_others_share_stays() {
        assert_eq!(in_key_file(CSV.as_bytes(), place(5, 3), &to(9.0, 4.0)), Err(KeyTextError::SharedFrame { line: 5 }));
        assert_eq!(text(&in_key_file(CSV.as_bytes(), place(5, 3), &to(8.0, 4.5)).unwrap()), CSV.replace("8,4,5", "8,4.5,5"));
        for (line, column) in [(1, 7), (2, 1), (2, 9), (5, 1), (9, 1)] {
            assert_eq!(in_key_file(CSV.as_bytes(), place(line, column), &to(1.0, 2.0)), Err(KeyTextError::NoKey), "{line}:{column}");
        }
    }
}
