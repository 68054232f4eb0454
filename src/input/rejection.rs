//! Every mistake of an input, as data and as text.
//!
//! Invariant: the diagnostics stand in order of file, line and column, none twice; there is at least one.

use super::diagnostic::{Diagnostic, MOST_SHOWN, Span};
#[cfg(feature = "cli")]
use super::render;
use super::sources::Sources;
use crate::bounds::{Flaw, visible};
use crate::shot::Place;

/// Every mistake of an input, with its files.
#[derive(Debug, Clone)]
pub struct Rejection {
    diagnostics: Vec<Diagnostic>,
    unlisted: usize,
    sources: Sources,
}

impl Rejection {
    /// Flaws that showed only when the input was compiled, each with the place of what caused it, where that is written.
    #[must_use]
    pub(crate) fn of_flaws(sources: Sources, flaws: impl Iterator<Item = (Option<Place>, Flaw)>) -> Rejection {
        let diagnostics = flaws
            .map(|(place, flaw)| Diagnostic {
                code: flaw.code,
                title: flaw.title,
                place: place.and_then(|p| span(&sources, p)),
                found: flaw.found,
                allowed: flaw.allowed,
                help: flaw.help,
            })
            .collect();
        Rejection::new(diagnostics, 0, sources)
    }

    pub(super) fn new(diagnostics: Vec<Diagnostic>, unlisted: usize, sources: Sources) -> Rejection {
        Rejection { diagnostics, unlisted, sources }
    }

    /// Every mistake, by file, line and column.
    #[must_use]
    pub fn diagnostics(&self) -> &[Diagnostic] {
        &self.diagnostics
    }

    /// How many mistakes were counted after a million were listed.
    #[must_use]
    pub fn unlisted(&self) -> usize {
        self.unlisted
    }

    /// The files that were read.
    #[must_use]
    pub fn sources(&self) -> &Sources {
        &self.sources
    }

    pub(super) fn sources_mut(&mut self) -> &mut Sources {
        &mut self.sources
    }

    /// The first 50 mistakes with their lines, as text for a reader; with terminal colours if `colour`. No line end at the end.
    #[cfg(feature = "cli")]
    #[must_use]
    pub(crate) fn render(&self, colour: bool) -> String {
        render::render(&self.diagnostics, self.unlisted, &self.sources, colour)
    }
}

/// The first 50 mistakes, one per line, without excerpts; hidden characters of the input are escaped.
impl core::fmt::Display for Rejection {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        for (i, d) in self.diagnostics.iter().take(MOST_SHOWN).enumerate() {
            if i > 0 {
                f.write_str("\n")?;
            }
            if let Some((span, source)) = d.place.as_ref().and_then(|span| Some((span, self.sources.get(span.file)?))) {
                write!(f, "{}:{}:{}: ", visible(source.name()), span.line, span.column)?;
            }
            write!(f, "error[{}]: {}", d.code, visible(&d.title))?;
            for (name, text) in [("found", &d.found), ("allowed", &d.allowed), ("help", &d.help)] {
                if !text.is_empty() {
                    write!(f, "; {name}: {}", visible(text))?;
                }
            }
        }
        let more = self.diagnostics.len().saturating_sub(MOST_SHOWN) + self.unlisted;
        if more > 0 { write!(f, "\nand {more} more") } else { Ok(()) }
    }
}

impl core::error::Error for Rejection {}

/// What is in brackets at a place, such as a key; otherwise the rest of its line.
fn span(sources: &Sources, place: Place) -> Option<Span> {
    let file = usize::try_from(place.file).ok()?;
    let bytes = sources.get(file)?.bytes();
    let text = std::str::from_utf8(bytes).ok()?;
    let line = usize::try_from(place.line).ok()?.checked_sub(1)?;
    let text_line = text.split_inclusive('\n').nth(line)?;
    let before: usize = text.split_inclusive('\n').take(line).map(str::len).sum();
    let marked = text_line.trim_end();
    let column = usize::try_from(place.column).ok()?.checked_sub(1)?;
    let skipped = marked.char_indices().nth(column).map_or(0, |(i, _)| i);
    let length = bracketed(marked.get(skipped..)?).unwrap_or(marked.len() - skipped);
    Some(Span { file, line: place.line, column: place.column, bytes: before + skipped..before + skipped + length })
}

/// Length of the brackets that a text begins with, what is in them included.
fn bracketed(text: &str) -> Option<usize> {
    let mut depth = 0_usize;
    for (at, c) in text.char_indices() {
        match c {
            '[' => depth += 1,
            ']' => depth = depth.checked_sub(1)?,
            _ => {}
        }
        if depth == 0 {
            return (at > 0).then_some(at + 1);
        }
    }
    None
}
