//! The output folder of an approved job: what goes into it, step by step.

use std::path::Path;

use super::Error;
use crate::check::Approval;
use crate::input::Sources;
use crate::output::handoff::sampling::Wishes;
use crate::output::rows::RowRate;
use crate::output::{Export, Written};

/// What an output folder is made from; [`Folder::write`] writes it.
#[derive(Debug, Clone, Copy)]
pub struct Folder<'a> {
    approval: Approval<'a>,
    sources: Option<&'a Sources>,
    replace: bool,
    wishes: Wishes,
    rows: Option<RowRate>,
}

impl<'a> Folder<'a> {
    pub(super) fn of(approval: Approval<'a>) -> Folder<'a> {
        Folder { approval, sources: None, replace: false, wishes: Wishes::default(), rows: None }
    }

    /// The files that the job was read from: without them the folder cannot be verified later.
    #[must_use]
    pub fn sources(mut self, sources: &'a Sources) -> Self {
        self.sources = Some(sources);
        self
    }

    /// Replaces an output folder that differs.
    #[must_use]
    pub fn replace(mut self) -> Self {
        self.replace = true;
        self
    }

    /// Camera, figures and scene at full size too.
    #[must_use]
    pub fn full_size(mut self) -> Self {
        self.wishes.full_size = true;
        self
    }

    /// The whole program of every pass too, as rows at a rate such as `100` or `30000/1001`.
    ///
    /// # Errors
    /// No such rate.
    pub fn rows(mut self, rate: &str) -> Result<Self, Error> {
        self.rows = Some(RowRate::parse(rate)?);
        Ok(self)
    }

    /// Writes the folder, completely or not at all.
    ///
    /// # Errors
    /// Whatever the system says; a folder that is not ours, or that differs and may not be replaced.
    pub fn write(&self, folder: impl AsRef<Path>) -> Result<Written, Error> {
        let sources = self.sources.map(Sources::for_copying).unwrap_or_default();
        let Folder { approval, replace, wishes, rows, .. } = *self;
        Ok(Export { approval, sources: &sources, replace, wishes, rows, parts: None }.write(folder.as_ref(), &mut |_| {})?)
    }
}
