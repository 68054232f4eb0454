//! `movewright new`: a small stage and shot to begin with, every key explained in a line.
//!
//! Invariant: what it writes compiles within its limits without changes; a folder that holds anything is not touched.

use super::args::NewArgs;
use super::coded::Coded;
use super::{Outcome, destination, terminal};
use crate::output::staged::new_folder;

/// What is written, by name.
const FILES: [(&str, &str); 2] = [("stage.toml", include_str!("new/stage.toml")), ("shot.toml", include_str!("new/shot.toml"))];

pub(super) fn run(args: &NewArgs) -> Outcome {
    if !destination::is_folder(&args.dir, "`new`") {
        return Outcome::Wrong;
    }
    if let Err(error) = new_folder(&args.dir, &FILES) {
        terminal::error(error.code(), error);
        return Outcome::Wrong;
    }
    let shot = args.dir.join("shot.toml");
    terminal::remark(&format!("written: {} and stage.toml beside it", shot.display()));
    // Names with blanks are quoted, so that the line can be typed as it is.
    let shot = shot.display().to_string();
    let plain = shot.chars().all(|c| c.is_alphanumeric() || "/\\._-:".contains(c));
    let quoted = if plain { shot } else { format!("'{}'", shot.replace('\'', "'\\''")) };
    terminal::remark(&format!("next: movewright check {quoted}"));
    Outcome::Fine
}
