//! How much of a text for people is shown, and how.

/// How much of a text is shown, and how.
#[derive(Debug, Clone, Copy)]
pub(super) struct Show {
    /// Everything, not only what matters first.
    pub(super) all: bool,
    /// What is over a limit in red.
    pub(super) colour: bool,
}

impl Show {
    /// The text, set off where colours are shown.
    pub(super) fn accent(self, text: &str) -> String {
        if self.colour { format!("\u{1b}[31m{text}\u{1b}[0m") } else { text.to_owned() }
    }
}
