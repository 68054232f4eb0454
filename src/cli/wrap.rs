//! Text for a window of 80 columns: long lines go on below, indented; numbers fit their column.
//!
//! Invariant: no line is longer than [`COLUMNS`] characters unless a single word is: paths and names stay whole, so that they can be copied. What is
//! one line stays one but where it is broken here: a line feed in a name is escaped like every hidden character.

use textwrap::{Options, WordSeparator, WordSplitter, WrapAlgorithm};

use super::show::{ACCENT_BEGINS, ACCENT_ENDS, is_accent};
use crate::bounds::visible_but;

/// Width of everything that is printed to people: the narrowest window anybody works in.
pub(super) const COLUMNS: usize = 80;

/// Adds a line, and goes on `hang` columns further in than it begins where it is too long.
pub(super) fn line(to: &mut String, text: &str, hang: usize) {
    // The marks of an accent are no columns wide: where lines are broken, sequences stand for them that count as such.
    let text = visible_but(text, is_accent).replace(ACCENT_BEGINS, BEGINS).replace(ACCENT_ENDS, ENDS);
    let indent = " ".repeat(text.chars().take_while(|c| *c == ' ').count());
    let rest = " ".repeat(indent.len() + hang);
    let options = Options::new(COLUMNS)
        .initial_indent(&indent)
        .subsequent_indent(&rest)
        .break_words(false)
        .word_separator(WordSeparator::AsciiSpace)
        .word_splitter(WordSplitter::NoHyphenation)
        .wrap_algorithm(WrapAlgorithm::FirstFit);
    let broken = textwrap::fill(text.trim_start_matches(' '), options);
    to.push_str(&broken.replace(BEGINS, ACCENT_BEGINS.encode_utf8(&mut [0; 4])).replace(ENDS, ACCENT_ENDS.encode_utf8(&mut [0; 4])));
    to.push('\n');
}

/// Adds a line that hangs as most do.
pub(super) fn text_line(to: &mut String, text: &str) {
    line(to, text, 2);
}

/// Sequences that `textwrap` counts as nothing; no other is left in an escaped text.
const BEGINS: &str = "\u{1b}[1m";
const ENDS: &str = "\u{1b}[0m";

/// A number with at most `decimals` places, fewer where it would show more than four digits or not fit into `width`.
pub(super) fn number(x: f64, width: usize, decimals: usize) -> String {
    let digits = |text: &String| text.chars().filter(char::is_ascii_digit).count();
    let fits = |text: &String| text.chars().count() <= width && (digits(text) <= 4 || text.starts_with("0.") || text.starts_with("-0."));
    let text = (0..=decimals).rev().map(|d| format!("{x:.d$}")).find(fits).unwrap_or_else(|| format!("{x:.0}"));
    // Nothing has no sign.
    if text.trim_start_matches('-').chars().all(|c| c == '0' || c == '.') { text.trim_start_matches('-').to_owned() } else { text }
}

/// Names, without `all` the first few of them.
pub(super) fn names(names: &[String], all: bool) -> String {
    let shown: Vec<&str> = names.iter().take(if all { names.len() } else { FEW_NAMES }).map(String::as_str).collect();
    if names.len() > shown.len() { format!("{} and {} more", shown.join(", "), names.len() - shown.len()) } else { shown.join(", ") }
}

/// Names shown without `--all`.
const FEW_NAMES: usize = 8;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cli::show::accent;

    #[test]
    fn a_long_line_hangs_and_a_word_stays_whole() {
        let mut t = String::new();
        line(&mut t, &format!("  over: {}", "reed ".repeat(20)), 6);
        assert!(t.lines().all(|l| l.chars().count() <= COLUMNS), "{t}");
        assert!(t.starts_with("  over: reed") && t.contains("\n        reed"), "{t}");
        let path = "/marsh/".repeat(20);
        let mut t = String::new();
        line(&mut t, &path, 2);
        line(&mut t, "a\nb\u{1b}[2J", 2);
        assert_eq!(t, format!("{path}\na\\u{{a}}b\\u{{1b}}[2J\n"));
    }

    #[test]
    fn an_accent_takes_no_columns() {
        let (mut plain, mut accented) = (String::new(), String::new());
        for last in 1..8 {
            let rest = "reed ".repeat(14) + &"x".repeat(last);
            line(&mut plain, &format!("over: {rest}"), 2);
            line(&mut accented, &format!("{} {rest}", accent("over:")), 2);
        }
        assert!(accented.contains(&accent("over:")));
        assert_eq!(accented.replace([ACCENT_BEGINS, ACCENT_ENDS], ""), plain);
    }

    #[test]
    fn numbers_give_up_places_before_columns() {
        assert_eq!(number(4.56972, 8, 4), "4.570");
        assert_eq!(number(0.056_972, 8, 4), "0.0570");
        assert_eq!(number(12_345.678_9, 8, 4), "12346");
        assert_eq!(number(123_456_789.0, 8, 4), "123456789");
        assert_eq!(number(-0.5, 8, 2), "-0.50");
        assert_eq!(number(-0.000_01, 8, 4), "0.0000");
        assert_eq!(number(f64::INFINITY, 5, 1), "inf");
    }
}
