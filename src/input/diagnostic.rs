//! What is wrong with an input, where, what was found, what is allowed and what to do.
//!
//! Invariant: no text ends in a full stop.

use core::ops::Range;

use crate::bounds::Code;

/// Diagnostics that are written out; the others are counted.
pub(super) const MOST_SHOWN: usize = 50;

/// A piece of an input file.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub struct Span {
    /// Index of the file in the list of sources.
    pub file: usize,
    /// Line of its first byte, from 1.
    pub line: u32,
    /// Column of its first byte in characters, from 1.
    pub column: u32,
    /// Its bytes.
    pub bytes: Range<usize>,
}

/// One mistake.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub struct Diagnostic {
    pub(crate) code: Code,
    /// One line that says what is wrong, with the axis, track or pass it concerns.
    pub title: String,
    /// Where; `None` where the file itself is not there.
    pub place: Option<Span>,
    /// What was found, with its unit; may be empty.
    pub found: String,
    /// What is allowed, with its unit; may be empty.
    pub allowed: String,
    /// What to do; may be empty.
    pub help: String,
}

impl Diagnostic {
    /// What kind of mistake it is: one of the slugs of `fixtures/ERRORS.md`. A slug keeps its meaning.
    #[must_use]
    pub fn code(&self) -> &'static str {
        self.code.slug()
    }
}
