//! The shape of a name: what may stand in front of a column.
//!
//! Names are plain enough for a CSV header without quoting and for a file name on every system.

use crate::bounds::{Code, Flaw, MOST_NAME_LETTERS};

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
    let shown: String = name.chars().take(80).collect();
    let plain: String = shown.to_lowercase().chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '_' }).collect();
    let flaw = Flaw::new(Code::InvalidName, field, "a name has the wrong shape")
        .found(format!("`{shown}`"), format!("a small letter, then small letters, digits and `_`, {MOST_NAME_LETTERS} at most"));
    if plain.starts_with(|c: char| c.is_ascii_lowercase()) && plain.len() <= MOST_NAME_LETTERS {
        Err(flaw.help(format!("write `{plain}`")))
    } else {
        Err(flaw)
    }
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
    }
}
