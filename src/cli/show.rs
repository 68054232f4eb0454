//! How much of a text is shown, and what in it is highlighted.
//!
//! Invariant: what is set off stands between two marks that no terminal acts on. Unicode has them as noncharacters, for use within a program; no name
//! of an input holds one. The terminal alone turns them into colour, or leaves them out.

/// How much of a text is shown.
#[derive(Debug, Clone, Copy)]
pub(super) struct Show {
    /// Everything, not only what matters first.
    pub(super) all: bool,
}

/// Before what is set off.
pub(super) const ACCENT_BEGINS: char = '\u{fdd0}';

/// Behind what is set off.
pub(super) const ACCENT_ENDS: char = '\u{fdd1}';

/// The text, set off: what exceeds a limit.
pub(super) fn accent(text: &str) -> String {
    format!("{ACCENT_BEGINS}{text}{ACCENT_ENDS}")
}

/// True for the two marks.
pub(super) fn is_accent(c: char) -> bool {
    c == ACCENT_BEGINS || c == ACCENT_ENDS
}
