//! Errors as JSON, format 1: what a command with `--json` writes to standard output where the input is wrong.
//!
//! Invariant: every mistake of a file, by line and column; texts are those of the messages. Where nothing is to be said, text is empty and a place is null.

use schemars::JsonSchema;
use serde::Serialize;

use crate::bounds::Flaw;
use crate::input::Rejection;
use crate::output::schemas;

/// All errors of a run.
#[derive(Debug, Serialize, JsonSchema)]
pub(crate) struct Errors {
    format: u32,
    errors: Vec<Problem>,
}

/// One error.
#[derive(Debug, Serialize, JsonSchema)]
struct Problem {
    code: String,
    message: String,
    file: Option<String>,
    line: Option<u32>,
    column: Option<u32>,
    found: String,
    allowed: String,
    help: String,
    /// Mistakes after these that were counted, not listed.
    #[serde(skip_serializing_if = "Option::is_none")]
    unlisted: Option<usize>,
}

impl Errors {
    /// None so far.
    pub(crate) const fn none() -> Errors {
        Errors { format: 1, errors: Vec::new() }
    }

    /// Adds a flaw that no line of a file holds alone.
    pub(crate) fn add(&mut self, flaw: &Flaw) {
        self.errors.push(Problem {
            code: flaw.code().to_owned(),
            message: flaw.title.clone(),
            file: None,
            line: None,
            column: None,
            found: flaw.found.clone(),
            allowed: flaw.allowed.clone(),
            help: flaw.help.clone(),
            unlisted: None,
        });
    }

    /// Adds every mistake of an input.
    pub(crate) fn add_all(&mut self, rejection: &Rejection) {
        for d in rejection.diagnostics() {
            let file = d.place.as_ref().and_then(|p| rejection.sources().get(p.file)).map(|f| f.name().to_owned());
            self.errors.push(Problem {
                code: d.code().to_owned(),
                message: d.title.clone(),
                file,
                line: d.place.as_ref().map(|p| p.line),
                column: d.place.as_ref().map(|p| p.column),
                found: d.found.clone(),
                allowed: d.allowed.clone(),
                help: d.help.clone(),
                unlisted: None,
            });
        }
        if let Some(last) = self.errors.last_mut() {
            last.unlisted = Some(rejection.unlisted()).filter(|n| *n > 0);
        }
    }

    /// The JSON text, ending in a line feed.
    ///
    /// # Errors
    /// None that these texts can cause; passed on from the JSON library.
    pub(crate) fn text(&self) -> Result<String, serde_json::Error> {
        serde_json::to_string_pretty(self).map(|text| text + "\n")
    }
}

/// JSON Schema of this document.
#[must_use]
pub(crate) fn schema() -> serde_json::Value {
    schemas::of::<Errors>("input errors of a movewright command with --json")
}
