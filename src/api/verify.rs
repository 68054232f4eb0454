//! A written folder verified years later, from its own sources.

use std::path::Path;

use super::Error;
use crate::input;
use crate::verify::{Source, Verdict, verify as by_source};

/// Verifies an output folder: its files by length and hash, its columns against the stage and shot in its `source/`, its passes against each other. It shares
/// no code with the compiler. Damage is no error: it is in the verdict.
///
/// # Errors
/// No folder, or a folder of something else.
pub fn verify(folder: impl AsRef<Path>) -> Result<Verdict, Error> {
    Ok(by_source(folder.as_ref(), &|shot| {
        let loaded = input::load(shot).map_err(|rejection| rejection.to_string())?;
        let files = loaded.sources.iter().map(|s| s.path().to_owned()).collect();
        Ok(Source { stage: loaded.stage, shot: loaded.shot, files })
    })?)
}
