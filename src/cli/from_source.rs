//! Reading the shot that a written folder keeps in its `source/`.

use std::path::Path;

use crate::input::{self, Loaded};

/// Reads it; what is wrong, in words.
pub(super) fn load(shot: &Path) -> Result<Loaded, String> {
    input::load(shot).map_err(|rejection| rejection.render(false))
}
