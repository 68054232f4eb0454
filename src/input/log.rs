//! Where mistakes are collected while reading goes on.
//!
//! Invariant: recording never stops the reading. After [`MOST_LISTED`] mistakes the rest is counted, so that memory stays bounded whatever the input.

use core::ops::Range;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use super::advice;
use super::diagnostic::{Diagnostic, Span};
use super::lines::Lines;
use super::nearest;
use super::rejection::Rejection;
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

/// A mistake, and by which label what it concerns was taken over from another group.
#[derive(Debug)]
struct Listed {
    diagnostic: Diagnostic,
    taken_over: Option<String>,
}

/// Mistakes and their files.
#[derive(Debug, Default)]
pub(super) struct Log {
    sources: Sources,
    lines: Vec<Lines>,
    diagnostics: Vec<Listed>,
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

    /// Every file of the stage was taken up.
    pub(super) fn stage_is_read(&mut self) {
        self.sources.stage_is_read();
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
        self.record(spot, label, flaw, None);
    }

    /// The same in what a group inherits from another: left out where it is already reported for the group it is written under.
    pub(super) fn add_taken_over(&mut self, spot: Option<Spot>, label: &str, flaw: Flaw) {
        self.record(spot, label, flaw, Some(label.to_owned()));
    }

    fn record(&mut self, spot: Option<Spot>, label: &str, flaw: Flaw, taken_over: Option<String>) {
        if self.diagnostics.len() >= MOST_LISTED {
            self.unlisted += 1;
            return;
        }
        let flaw = advice::completed(flaw);
        let place = spot.map(|spot| {
            let place = self.place(spot.file, spot.bytes.start);
            Span { file: spot.file, line: place.line, column: place.column, bytes: spot.bytes }
        });
        let title = if label.is_empty() { flaw.title } else { format!("{label}: {}", flaw.title) };
        let diagnostic = Diagnostic { code: flaw.code, title, place, found: flaw.found, allowed: flaw.allowed, help: flaw.help };
        self.diagnostics.push(Listed { diagnostic, taken_over });
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
        self.diagnostics.sort_by_key(|l| l.diagnostic.place.as_ref().map(|s| (s.file, s.line, s.column)));
        // What several groups inherit is reported once: for the group it is written under, else for the first of the others.
        let key = |l: &Listed| l.diagnostic.place.as_ref().map(|s| (s.file, s.bytes.start, s.bytes.end, l.diagnostic.code));
        let mut teller: BTreeMap<_, Option<String>> = BTreeMap::new();
        for listed in &self.diagnostics {
            let told = teller.entry(key(listed)).or_insert_with(|| listed.taken_over.clone());
            if listed.taken_over.is_none() {
                *told = None;
            }
        }
        self.diagnostics.retain(|l| l.taken_over.is_none() || teller.get(&key(l)).is_none_or(|told| *told == l.taken_over));
        // Columns used twice bring the same mistake again.
        let mut seen = BTreeSet::new();
        let fresh: Vec<bool> = self
            .diagnostics
            .iter()
            .map(|Listed { diagnostic: d, .. }| {
                let place = d.place.as_ref().map(|s| (s.file, s.bytes.start, s.bytes.end));
                place.is_none() || seen.insert((place, d.code, &d.found, &d.allowed))
            })
            .collect();
        drop(seen);
        let diagnostics = self.diagnostics.into_iter().zip(fresh).filter(|(_, fresh)| *fresh).map(|(l, _)| l.diagnostic).collect();
        Rejection::new(diagnostics, self.unlisted, self.sources)
    }
}
