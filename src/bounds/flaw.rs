//! A mistake in data, before its file is known.
//!
//! Invariant: it names the key it belongs to, and one of the codes of the table.

use super::code::Code;

/// A mistake in data: what was found, what is allowed, what to do.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub struct Flaw {
    /// The key of the input table it belongs to, for example `max_velocity`; empty for the table as a whole.
    pub field: String,
    /// Position inside a list of keys, where the field is one.
    pub index: Option<usize>,
    pub(crate) code: Code,
    /// One line that says what is wrong.
    pub title: String,
    /// What was found, with its unit.
    pub found: String,
    /// What is allowed, with its unit.
    pub allowed: String,
    /// What to do; may be empty.
    pub help: String,
}

impl Flaw {
    /// What kind of mistake it is: one of the slugs of `fixtures/ERRORS.md`, for example `out-of-range`. A slug keeps its meaning.
    #[must_use]
    pub fn code(&self) -> &'static str {
        self.code.slug()
    }

    /// A flaw of `field`.
    #[must_use]
    pub(crate) fn new(code: Code, field: &str, title: impl Into<String>) -> Self {
        Flaw {
            field: field.to_owned(),
            index: None,
            code,
            title: title.into(),
            found: String::new(),
            allowed: String::new(),
            help: String::new(),
        }
    }

    /// The same with what was found and what is allowed.
    #[must_use]
    pub(crate) fn found(mut self, found: impl Into<String>, allowed: impl Into<String>) -> Self {
        self.found = found.into();
        self.allowed = allowed.into();
        self
    }

    /// The same with advice.
    #[must_use]
    pub(crate) fn help(mut self, help: impl Into<String>) -> Self {
        self.help = help.into();
        self
    }

    /// The same for one entry of a list.
    #[must_use]
    pub(crate) fn at_index(mut self, index: usize) -> Self {
        self.index = Some(index);
        self
    }
}

impl core::fmt::Display for Flaw {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        write!(f, "{}", self.title)?;
        if !self.found.is_empty() {
            write!(f, "; found {}", self.found)?;
        }
        if !self.allowed.is_empty() {
            write!(f, "; allowed {}", self.allowed)?;
        }
        if !self.help.is_empty() {
            write!(f, "; {}", self.help)?;
        }
        Ok(())
    }
}
