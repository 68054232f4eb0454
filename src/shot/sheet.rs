//! What people do for a pass and write beside it: the change before it, filters, notes.
//!
//! Invariant: the change lies in its bounds, texts hold nothing that cannot be seen. Limits: words for people; no motion follows from them.

use crate::bounds::{CHANGE, Flaw};
use crate::stage::check_display_name;

/// The entries of a pass.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Sheet {
    change: f64,
    filters: Option<String>,
    notes: Option<String>,
}

impl Sheet {
    /// Checks the entries; `change` in s.
    ///
    /// # Errors
    /// A change out of its range, texts that hold what cannot be seen.
    pub(crate) fn new(change: f64, filters: Option<&str>, notes: Option<&str>) -> Result<Sheet, Vec<Flaw>> {
        let text = |key, text: Option<&str>| text.and_then(|text| check_display_name(key, text).err());
        let flaws = [CHANGE.check("change_s", change).err(), text("filters", filters), text("notes", notes)];
        let flaws: Vec<Flaw> = flaws.into_iter().flatten().collect();
        if !flaws.is_empty() {
            return Err(flaws);
        }
        Ok(Sheet { change, filters: filters.map(str::to_owned), notes: notes.map(str::to_owned) })
    }

    /// From the end of the pass before to the start of this one, s.
    #[must_use]
    pub(crate) fn change(&self) -> f64 {
        self.change
    }

    /// On the lens or the lamp.
    #[must_use]
    pub(crate) fn filters(&self) -> Option<&str> {
        self.filters.as_deref()
    }

    /// Anything else.
    #[must_use]
    pub(crate) fn notes(&self) -> Option<&str> {
        self.notes.as_deref()
    }
}
