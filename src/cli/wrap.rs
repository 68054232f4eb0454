//! Text for a window of 80 columns: long lines go on below, indented; numbers fit their column.
//!
//! Invariant: no line is longer than [`COLUMNS`] characters unless a single word is: paths and names stay whole, so that they can be copied.

use textwrap::{Options, WordSeparator, WordSplitter, WrapAlgorithm};

/// Width of everything that is printed to people: the narrowest window anybody works in.
pub(super) const COLUMNS: usize = 80;

/// Adds a line, and goes on `hang` columns further in than it begins where it is too long.
pub(super) fn line(to: &mut String, text: &str, hang: usize) {
    let indent = " ".repeat(text.chars().take_while(|c| *c == ' ').count());
    let rest = " ".repeat(indent.len() + hang);
    let options = Options::new(COLUMNS)
        .initial_indent(&indent)
        .subsequent_indent(&rest)
        .break_words(false)
        .word_separator(WordSeparator::AsciiSpace)
        .word_splitter(WordSplitter::NoHyphenation)
        .wrap_algorithm(WrapAlgorithm::FirstFit);
    to.push_str(&textwrap::fill(text.trim_start_matches(' '), options));
    to.push('\n');
}

/// Several lines, each as by [`line()`]; ends without a line feed.
pub(super) fn lines(text: &str, hang: usize) -> String {
    let mut to = String::new();
    for each in text.lines() {
        line(&mut to, each, hang);
    }
    to.truncate(to.trim_end_matches('\n').len());
    to
}

/// A number with at most `decimals` places, fewer where it would not fit into `width`, with a power of ten where nothing else does.
pub(super) fn number(x: f64, width: usize, decimals: usize) -> String {
    let fits = |text: &String| text.chars().count() <= width;
    let plain = (0..=decimals).rev().map(|d| format!("{x:.d$}")).find(fits);
    plain.unwrap_or_else(|| (0..=3).rev().map(|d| format!("{x:.d$e}")).find(fits).unwrap_or_else(|| format!("{x:.0e}")))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_line_hangs_and_a_word_stays_whole() {
        let mut t = String::new();
        line(&mut t, &format!("  over: {}", "reed ".repeat(20)), 6);
        assert!(t.lines().all(|l| l.chars().count() <= COLUMNS), "{t}");
        assert!(t.starts_with("  over: reed") && t.contains("\n        reed"), "{t}");
        let path = "/marsh/".repeat(20);
        assert_eq!(lines(&path, 2), path);
        assert_eq!(lines("--over-limits writes\n\nall the same", 2), "--over-limits writes\n\nall the same");
    }

    #[test]
    fn numbers_give_up_places_before_columns() {
        assert_eq!(number(4.56972, 8, 4), "4.5697");
        assert_eq!(number(12_345.678_9, 8, 4), "12345.68");
        assert_eq!(number(123_456_789.0, 8, 4), "1.235e8");
        assert_eq!(number(-0.5, 8, 2), "-0.50");
        assert_eq!(number(f64::INFINITY, 5, 1), "inf");
    }
}
