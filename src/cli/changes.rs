//! `movewright changes`.

use std::path::Path;

use super::Outcome;
use super::args::ChangesArgs;
use super::changes_text::lines;
use super::prepared;
use super::terminal::{self, Progress};
use crate::bounds::Code;
use crate::check::changes;

pub(super) fn run(args: &ChangesArgs) -> Outcome {
    let progress = Progress::start("compiling");
    let of = |path: &Path| prepared::read(path, args.size.budget());
    let read = (of(&args.old), of(&args.new));
    drop(progress);
    let (old, new) = match read {
        (Ok(old), Ok(new)) => (old, new),
        (old, new) => {
            for rejection in [old.err(), new.err()].into_iter().flatten() {
                terminal::rejection(&rejection);
            }
            return Outcome::Wrong;
        }
    };
    let changes = changes::between(&old, &new);
    let verdict = if changes.passes.iter().all(|p| p.good) { Outcome::Fine } else { Outcome::Over };
    if !args.json {
        return terminal::result(&lines(&changes, &args.new, args.all), verdict);
    }
    match serde_json::to_string_pretty(&changes) {
        Ok(text) => terminal::json(&format!("{text}\n"), verdict),
        Err(error) => {
            terminal::error(Code::WriteFailed, format!("the changes could not be written as JSON: {error}"));
            Outcome::Wrong
        }
    }
}
