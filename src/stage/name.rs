//! The shape of a name: of one that heads a column, and of a display name.
//!
//! Invariant: what heads a column is plain enough for a CSV header without quoting and for a file name on every system. A display name holds no
//! hidden character, so that no name can change what is read around it.

use crate::bounds::{Code, Flaw, MOST_NAME_LETTERS, is_hidden, visible};

/// Checks a group, axis or pass name: `[a-z][a-z0-9_]*`, at most 64 letters.
///
/// # Errors
/// A flaw of `field` with what was found.
pub(crate) fn check_name(field: &str, name: &str) -> Result<(), Flaw> {
    let mut letters = name.chars();
    let first = letters.next().is_some_and(|c| c.is_ascii_lowercase());
    let rest = letters.all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_');
    if first && rest && name.len() <= MOST_NAME_LETTERS {
        return Ok(());
    }
    let start: String = name.chars().take(80).collect();
    let shown = visible(&start);
    let plain: String = start.to_lowercase().chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '_' }).collect();
    let flaw = Flaw::new(Code::InvalidName, field, "invalid name").found(
        format!("`{shown}`"),
        format!("a lower-case letter, then lower-case letters, digits and `_`; at most {MOST_NAME_LETTERS} characters"),
    );
    if plain.starts_with(|c: char| c.is_ascii_lowercase()) && plain.len() <= MOST_NAME_LETTERS {
        Err(flaw.help(format!("write `{plain}`")))
    } else {
        Err(flaw)
    }
}

/// Checks a display name, such as that of a shot, a stage or an obstacle: letters, digits, marks, spaces, punctuation and symbols.
///
/// # Errors
/// A flaw of `field` with the first hidden character.
pub(crate) fn check_display_name(field: &str, name: &str) -> Result<(), Flaw> {
    let Some((at, hidden)) = name.chars().enumerate().find(|(_, c)| is_hidden(*c)) else { return Ok(()) };
    // A piece that shows it, however long the name is.
    let piece: String = name.chars().skip(at.saturating_sub(20)).take(40).collect();
    let found = format!("U+{:04X} as character {} of the name, in `{}`", u32::from(hidden), at + 1, visible(&piece));
    Err(Flaw::new(Code::HiddenCharacter, field, "a name holds a character that cannot be seen")
        .found(found, "letters, digits, marks, spaces, punctuation and symbols")
        .help("remove it, or type the name again"))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    #[test]
    fn what_would_need_quoting_is_refused_with_a_plain_spelling() {
        for good in ["a", "heron_a", "wing2"] {
            assert!(check_name("name", good).is_ok());
        }
        for bad in ["", "2a", "Heron", "a-b", "a,b", "_a", "h\u{e9}ron"] {
            assert!(check_name("name", bad).is_err(), "{bad}");
        }
        assert_eq!(check_name("name", "Heron-A").unwrap_err().help, "write `heron_a`");
        assert_eq!(check_name("name", "a\u{1b}[2J").unwrap_err().found, "`a\\u{1b}[2J`");
    }

    #[test]
    fn a_name_for_people_is_refused_with_the_character_that_cannot_be_seen() {
        assert!(check_display_name("name", "Schilf am Südufer, 鷺 & <co> 3½").is_ok());
        let flaw = check_display_name("name", "Reeds\u{202e}\u{1b}[2J").unwrap_err();
        assert_eq!(
            (flaw.code, flaw.found.as_str()),
            (Code::HiddenCharacter, "U+202E as character 6 of the name, in `Reeds\\u{202e}\\u{1b}[2J`")
        );
        assert!(check_display_name("name", &"x\u{200b}".repeat(10_000)).unwrap_err().found.len() < 400);
    }
}
