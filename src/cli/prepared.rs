//! What every command starts with: read, compile, check.

use std::path::Path;

use super::terminal::{self, Progress};
use crate::bounds::{Budget, Code};
use crate::check::Report;
use crate::compile::{CompileError, Compiled};
use crate::input::{self, Loaded, Rejection, Sources};

/// A shot that was read, compiled and checked.
pub(super) struct Prepared {
    pub(super) sources: Sources,
    pub(super) report: Report,
}

/// Reads, compiles and checks; says what is wrong on standard error where that fails.
pub(super) fn prepare(shot: &Path, budget: Budget) -> Option<Prepared> {
    let progress = Progress::start("reading");
    let made = input::load(shot).and_then(|loaded| {
        progress.now("compiling");
        compiled(loaded, budget)
    });
    let (compiled, sources) = match made {
        Ok(made) => made,
        Err(rejection) => {
            drop(progress);
            terminal::rejection(&rejection);
            return None;
        }
    };
    progress.now("checking");
    match compiled.checked() {
        Ok(report) => Some(Prepared { sources, report }),
        Err(error) => {
            drop(progress);
            terminal::error(Code::NoPlan, error);
            None
        }
    }
}

/// A shot or a written folder, read and compiled, not checked.
pub(super) fn read(path: &Path, budget: Budget) -> Result<Compiled, Rejection> {
    input::load_written(path).and_then(|loaded| compiled(loaded, budget)).map(|(compiled, _)| compiled)
}

/// A loaded shot compiled within a budget of work; what has no curve, with its place in the files.
pub(super) fn compiled(loaded: Loaded, budget: Budget) -> Result<(Compiled, Sources), Rejection> {
    compiled_after(loaded, budget, None)
}

/// The same after a shot on an equal stage: what they share is not computed again.
pub(super) fn compiled_after(loaded: Loaded, budget: Budget, before: Option<&Compiled>) -> Result<(Compiled, Sources), Rejection> {
    let Loaded { stage, shot, sources } = loaded;
    let files = sources.names();
    match Compiled::following(budget, stage, shot, before) {
        Ok(compiled) => Ok((compiled.with_files(files), sources)),
        Err(errors) => Err(rejected(sources, &errors)),
    }
}

/// What has no curve, with its place in the files.
pub(super) fn rejected(sources: Sources, errors: &[CompileError]) -> Rejection {
    Rejection::of_flaws(sources, errors.iter().map(|e| (e.place(), e.flaw())))
}
