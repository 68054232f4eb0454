//! What a reader sees of a text: which characters show nothing, move the cursor or turn the direction of writing, and how they are shown.
//!
//! Invariant: a text by [`visible`] holds no hidden character: no control (C0, C1), no format character (bidirectional, zero-width, tags), no line or paragraph
//! separator, nothing that is ignored by default, nothing private or unassigned.
//! Source: General_Category of Unicode 16 (UAX #44), by the crate `unicode-general-category`; [`IGNORED`] from the property Default_Ignorable_Code_Point.
//! Limits: letters that look alike are not distinguished; of a character that Unicode assigns later nothing is known.

use unicode_general_category::{GeneralCategory, get_general_category};

/// What is ignored by default and is no format character, so that its category alone does not say so: joiners, fillers, variation selectors.
const IGNORED: [(char, char); 9] = [
    ('\u{34f}', '\u{34f}'),
    ('\u{115f}', '\u{1160}'),
    ('\u{17b4}', '\u{17b5}'),
    ('\u{180b}', '\u{180d}'),
    ('\u{180f}', '\u{180f}'),
    ('\u{3164}', '\u{3164}'),
    ('\u{fe00}', '\u{fe0f}'),
    ('\u{ffa0}', '\u{ffa0}'),
    ('\u{e0100}', '\u{e01ef}'),
];

/// True for a character that a reader does not see, or that acts on what is around it.
#[must_use]
pub(crate) fn is_hidden(c: char) -> bool {
    use GeneralCategory::{Control, Format, LineSeparator, ParagraphSeparator, PrivateUse, Surrogate, Unassigned};
    if matches!(c, ' '..='~') {
        return false;
    }
    let category = get_general_category(c);
    matches!(category, Control | Format | LineSeparator | ParagraphSeparator | PrivateUse | Surrogate | Unassigned)
        || IGNORED.iter().any(|(first, last)| (*first..=*last).contains(&c))
}

/// The text with every hidden character as `\u{1b}`.
#[must_use]
pub(crate) fn visible(text: &str) -> String {
    visible_but(text, |_| false)
}

/// The same, without the characters that are kept.
#[must_use]
pub(crate) fn visible_but(text: &str, kept: impl Fn(char) -> bool) -> String {
    let mut seen = String::with_capacity(text.len());
    for c in text.chars() {
        if is_hidden(c) && !kept(c) {
            seen.extend(c.escape_unicode());
        } else {
            seen.push(c);
        }
    }
    seen
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_acts_or_shows_nothing_is_hidden_and_what_is_written_is_not() {
        // C0, DEL, C1, soft hyphen, bidirectional, zero-width, byte order mark, tag, separators, fillers, selectors, private, noncharacter.
        let hidden = "\u{0}\t\n\r\u{1b}\u{7f}\u{85}\u{9b}\u{ad}\u{61c}\u{200b}\u{200d}\u{200e}\u{202a}\u{202e}\u{2066}\u{2069}\u{2060}\u{feff}\u{e0001}\u{e0041}\
            \u{2028}\u{2029}\u{34f}\u{3164}\u{fe0f}\u{e0100}\u{e000}\u{fdd0}\u{fff9}\u{206a}";
        for c in hidden.chars() {
            assert!(is_hidden(c), "{c:?}");
        }
        for text in ["Südufer \u{301}", "Камыши, №\u{a0}3 & <b>", "鷺の湖（夜）", "सारस", "½ × 4\u{b0} → 🐦", " ~"]
        {
            assert_eq!(visible(text), text);
        }
        assert_eq!(visible("a\u{1b}[2J\u{202e}b\n"), "a\\u{1b}[2J\\u{202e}b\\u{a}");
        assert_eq!(visible_but("a\tb\n", |c| c == '\t'), "a\tb\\u{a}");
        for c in (0..=0x0010_ffff).filter_map(char::from_u32) {
            assert!(!visible(c.encode_utf8(&mut [0; 4])).chars().any(is_hidden), "{c:?}");
        }
    }
}
