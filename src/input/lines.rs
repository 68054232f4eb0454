//! From a byte of a file to its line and column.
//!
//! Units: bytes from 0; lines and columns from 1, columns in characters. Invariant: one mark every [`CHUNK`] bytes, so that a place costs at most that
//! many steps however long the file or its lines are, and the marks cost 5 % of the file's size.
//!
//! Limits: a line ends at LF; a byte order mark at the start takes no column.

const CHUNK: usize = 256;

/// What was counted before a chunk begins.
#[derive(Debug, Clone, Copy, Default)]
struct Mark {
    lines: u32,
    chars: u32,
    /// Characters before the line that the chunk begins in.
    line_chars: u32,
}

/// Marks of one file.
#[derive(Debug, Clone, Default)]
pub(crate) struct Lines {
    marks: Vec<Mark>,
}

impl Lines {
    /// Counts once through the file.
    pub(crate) fn new(bytes: &[u8]) -> Lines {
        let mut now = Mark::default();
        let mut marks = Vec::with_capacity(bytes.len() / CHUNK + 1);
        let blank = byte_order_mark(bytes);
        for (i, chunk) in bytes.chunks(CHUNK).enumerate() {
            marks.push(now);
            let skip = if i == 0 { blank } else { 0 };
            for byte in chunk.iter().skip(skip) {
                count(&mut now, *byte);
            }
        }
        marks.push(now);
        Lines { marks }
    }

    /// Line and column of the byte at `offset`, both from 1; the end of the file has a place too.
    pub(crate) fn place(&self, bytes: &[u8], offset: usize) -> (u32, u32) {
        let offset = offset.min(bytes.len());
        let chunk = offset / CHUNK;
        let mut now = self.marks.get(chunk).copied().unwrap_or_default();
        let from = if chunk == 0 { byte_order_mark(bytes).min(offset) } else { chunk * CHUNK };
        for byte in bytes.get(from..offset).unwrap_or_default() {
            count(&mut now, *byte);
        }
        (now.lines.saturating_add(1), (now.chars - now.line_chars).saturating_add(1))
    }
}

fn count(now: &mut Mark, byte: u8) {
    // Every byte but the 10xxxxxx of UTF-8 begins a character.
    if byte & 0xC0 != 0x80 {
        now.chars = now.chars.saturating_add(1);
    }
    if byte == b'\n' {
        now.lines = now.lines.saturating_add(1);
        now.line_chars = now.chars;
    }
}

/// Bytes of the mark that some editors put before UTF-8 text.
pub(crate) fn byte_order_mark(bytes: &[u8]) -> usize {
    if bytes.starts_with(b"\xEF\xBB\xBF") { 3 } else { 0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn slow(text: &str, offset: usize) -> (u32, u32) {
        let (mut line, mut column) = (1, 1);
        for (i, c) in text.char_indices() {
            if i >= offset {
                break;
            }
            if i == 0 && c == '\u{feff}' {
                continue;
            }
            (line, column) = if c == '\n' { (line + 1, 1) } else { (line, column + 1) };
        }
        (line, column)
    }

    #[test]
    fn the_end_and_the_empty_file_have_places() {
        assert_eq!(Lines::new(b"").place(b"", 0), (1, 1));
        assert_eq!(Lines::new(b"a\n").place(b"a\n", 99), (2, 1));
        assert_eq!(Lines::new("\u{feff}ab".as_bytes()).place("\u{feff}ab".as_bytes(), 3), (1, 1));
    }

    proptest! {
        #[test]
        fn every_character_has_the_place_that_plain_counting_gives(text in "(\u{feff})?([ab\u{e4}\u{1f426}\n]|[a-c]{60}){0,20}") {
            let lines = Lines::new(text.as_bytes());
            for (i, _) in text.char_indices() {
                prop_assert_eq!(lines.place(text.as_bytes(), i), slow(&text, i));
            }
        }
    }
}
