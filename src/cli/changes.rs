//! `movewright changes`.

use std::path::Path;

use super::Outcome;
use super::args::ChangesArgs;
use super::changes_text::lines;
use super::prepared;
use super::take;
use super::terminal::{self, Progress};
use crate::bounds::Code;
use crate::check::changes;
use crate::output::changes_json;

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
    let takes = match take::beside(&args.old, &take::passes_of(old.shot())) {
        Ok(takes) => takes,
        Err(flaw) => return terminal::refusal(&flaw),
    };
    let changes = changes::between(&old, &new);
    let verdict = if changes.passes.iter().all(|p| p.good) { Outcome::Fine } else { Outcome::Over };
    if !args.json {
        let mut text = lines(&changes, &args.new, args.all);
        if let Some((record, records)) = &takes {
            text.push_str(&format!("takes in {} of what was shot:\n{}", record.display(), take::lines(records)));
        }
        return terminal::result(&text, verdict);
    }
    let records = takes.map(|(_, records)| records).unwrap_or_default();
    match changes_json::text(&changes, &records) {
        Ok(text) => terminal::json(&text, verdict),
        Err(error) => {
            terminal::error(Code::WriteFailed, format!("the changes could not be written as JSON: {error}"));
            Outcome::Wrong
        }
    }
}
