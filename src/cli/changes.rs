//! `movewright changes`.

use std::path::Path;

use super::Outcome;
use super::args::ChangesArgs;
use super::terminal::{self, Progress};
use crate::check::changes::{self, Changes, Version};
use crate::compile::Move;
use crate::input::{self, Loaded};

pub(super) fn run(args: &ChangesArgs) -> Outcome {
    let progress = Progress::start("compiling");
    let read = (compiled(&args.old), compiled(&args.new));
    drop(progress);
    let (old, new) = match read {
        (Ok(old), Ok(new)) => (old, new),
        (old, new) => {
            for message in [old.err(), new.err()].into_iter().flatten() {
                terminal::remark(message.trim_end());
            }
            return Outcome::Wrong;
        }
    };
    let changes = changes::between(&version(&old), &version(&new));
    if args.json {
        match serde_json::to_string_pretty(&changes) {
            Ok(text) => terminal::result(&format!("{text}\n")),
            Err(error) => {
                terminal::remark(&format!("error[O001]: the changes could not be written as JSON: {error}"));
                return Outcome::Wrong;
            }
        }
    } else {
        terminal::result(&text(&changes));
    }
    if changes.passes.iter().all(|p| p.good) { Outcome::Fine } else { Outcome::Over }
}

fn compiled(path: &Path) -> Result<(Loaded, Move), String> {
    let loaded = input::load(path).map_err(|rejection| rejection.render(terminal::colour()))?;
    let mv = Move::compile(&loaded.stage, &loaded.shot)
        .map_err(|errors| errors.iter().take(50).map(|e| format!("error[M001]: {}: {e}\n", path.display())).collect::<String>())?;
    Ok((loaded, mv))
}

fn version((loaded, mv): &(Loaded, Move)) -> Version<'_> {
    Version { stage: &loaded.stage, shot: &loaded.shot, mv }
}

fn text(changes: &Changes) -> String {
    let mut text = String::new();
    if changes.axes.is_empty() {
        text.push_str("no axis changes\n");
    }
    for a in &changes.axes {
        match (a.first_frame, a.last_frame) {
            (Some(first), Some(last)) => {
                text.push_str(&format!("{}: {} from frame {first} to {last}, {} frames\n", a.axis, a.change, a.frames))
            }
            _ => text.push_str(&format!("{}: {}\n", a.axis, a.change)),
        }
    }
    for p in &changes.passes {
        let verdict = if p.good { "still good" } else { "to be shot again" };
        let why = if p.reasons.is_empty() { String::new() } else { format!(": {}", p.reasons.join("; ")) };
        text.push_str(&format!("pass {}: {verdict}{why}\n", p.pass));
    }
    text
}
