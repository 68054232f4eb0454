//! What every command starts with: read, compile, check.

use std::path::Path;

use super::terminal::{self, Progress};
use crate::check::{self, Report};
use crate::compile::Move;
use crate::input::{self, Loaded};

/// A shot that was read, compiled and checked.
pub(super) struct Prepared {
    pub(super) loaded: Loaded,
    pub(super) mv: Move,
    pub(super) report: Report,
}

/// Reads, compiles and checks; says what is wrong on standard error where that fails.
pub(super) fn prepare(shot: &Path) -> Option<Prepared> {
    let progress = Progress::start("reading");
    let loaded = match input::load(shot) {
        Ok(loaded) => loaded,
        Err(rejection) => {
            drop(progress);
            terminal::as_it_stands(rejection.render(terminal::colour()).trim_end());
            return None;
        }
    };
    progress.now("compiling");
    let mv = match Move::compile(&loaded.stage, &loaded.shot) {
        Ok(mv) => mv,
        Err(errors) => {
            drop(progress);
            for error in errors.iter().take(50) {
                terminal::remark(&format!("error[M001]: {error}"));
            }
            return None;
        }
    };
    progress.now("checking");
    let files: Vec<String> = loaded.sources.iter().map(|s| s.name().to_owned()).collect();
    let report = check::check(&loaded.stage, &loaded.shot, &mv, &files);
    Some(Prepared { loaded, mv, report })
}
