//! Where mistakes are collected while reading goes on.
//!
//! Invariant: recording never stops the reading. After [`MOST_LISTED`] mistakes the rest is counted, so that memory stays bounded whatever the input.

use core::ops::Range;
use std::collections::BTreeSet;
use std::sync::Arc;

use super::diagnostic::{Diagnostic, Rejection, Span};
use super::lines::Lines;
use super::nearest;
use super::sources::{Source, Sources};
use crate::bounds::Flaw;
use crate::shot::Place;

/// Mistakes that are listed.
const MOST_LISTED: usize = 1_000_000;

/// Names that are compared, in all, to find the ones that were meant; a file with a hundred thousand unknown names needs no more help than this.
const MOST_COMPARED: usize = 500_000;

/// A piece of a file by its bytes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Spot {
    /// Index of the file.
    pub(super) file: usize,
    /// Bytes.
    pub(super) bytes: Range<usize>,
}

/// Mistakes and the files they stand in.
#[derive(Debug, Default)]
pub(super) struct Log {
    sources: Sources,
    lines: Vec<Lines>,
    diagnostics: Vec<Diagnostic>,
    unlisted: usize,
    compared: usize,
}

impl Log {
    /// No mistake yet, and no file.
    pub(super) fn new(sources: Sources) -> Log {
        Log { sources, ..Log::default() }
    }

    /// Files so far.
    pub(super) fn sources(&self) -> &Sources {
        &self.sources
    }

    /// Takes a file up; its index.
    pub(super) fn add_file(&mut self, name: &str, bytes: &Arc<[u8]>) -> usize {
        self.lines.push(Lines::new(bytes));
        self.sources.push(Source::new(name, Arc::clone(bytes)))
    }

    /// Line and column of the first byte of a spot.
    pub(super) fn place(&self, file: usize, start: usize) -> Place {
        let (Some(lines), Some(source)) = (self.lines.get(file), self.sources.get(file)) else {
            return Place::default();
        };
        let (line, column) = lines.place(source.bytes(), start);
        Place { file: u32::try_from(file).unwrap_or(u32::MAX), line, column }
    }

    /// Records a mistake; `label` names the axis, track or pass it concerns and may be empty.
    pub(super) fn add(&mut self, spot: Option<Spot>, label: &str, flaw: Flaw) {
        if self.diagnostics.len() >= MOST_LISTED {
            self.unlisted += 1;
            return;
        }
        let place = spot.map(|spot| {
            let place = self.place(spot.file, spot.bytes.start);
            Span { file: spot.file, line: place.line, column: place.column, bytes: spot.bytes }
        });
        let title = if label.is_empty() { flaw.title } else { format!("{label}: {}", flaw.title) };
        self.diagnostics.push(Diagnostic { code: flaw.code, title, place, found: flaw.found, allowed: flaw.allowed, help: flaw.help });
    }

    /// How many mistakes there are.
    pub(super) fn count(&self) -> usize {
        self.diagnostics.len() + self.unlisted
    }

    /// The known name that was most likely meant, as long as comparing is not out of hand.
    pub(super) fn nearest<'n>(&mut self, name: &str, known: impl ExactSizeIterator<Item = &'n str>) -> Option<&'n str> {
        if self.compared + known.len() > MOST_COMPARED {
            return None;
        }
        self.compared += known.len();
        nearest::nearest(name, known)
    }

    /// The sources, if nothing was wrong.
    pub(super) fn close(self) -> Result<Sources, Rejection> {
        if self.count() == 0 { Ok(self.sources) } else { Err(self.reject()) }
    }

    /// Everything that was wrong, in order.
    pub(super) fn reject(mut self) -> Rejection {
        self.diagnostics.sort_by_key(|d| d.place.as_ref().map(|s| (s.file, s.line, s.column)));
        // Axes taken over by another group, and columns used twice, bring the same mistake again.
        let mut seen = BTreeSet::new();
        let fresh: Vec<bool> = self
            .diagnostics
            .iter()
            .map(|d| {
                let place = d.place.as_ref().map(|s| (s.file, s.bytes.start, s.bytes.end));
                place.is_none() || seen.insert((place, d.code, &d.found, &d.allowed))
            })
            .collect();
        drop(seen);
        let mut fresh = fresh.into_iter();
        self.diagnostics.retain(|_| fresh.next().unwrap_or(true));
        Rejection::new(self.diagnostics, self.unlisted, self.sources)
    }
}
