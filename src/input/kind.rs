//! Whether a file is a stage or a shot: the two are easily exchanged, and then nothing that its keys are told helps.
//!
//! Invariant: a file with any table of its own kind is read as that kind.

use super::reader::Table;
use crate::bounds::{Code, Flaw};

/// What a file is for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Kind {
    Stage,
    Shot,
}

/// The flaw that a file has the tables of the other kind and none of its own.
pub(super) fn wrong(root: &Table<'_>, wanted: Kind) -> Option<Flaw> {
    let has = |keys: &[&str]| keys.iter().any(|k| root.has(k));
    let (stage, shot) = (has(&["group", "motor"]), has(&["stage", "frames", "track", "pass"]));
    let (found, allowed, help) = match wanted {
        Kind::Shot if stage && !shot => {
            ("a stage file", "a shot file", "name the shot that is made on this stage; its `stage` line names this file")
        }
        Kind::Stage if shot && !stage => ("a shot file", "a stage file", "name the stage file: the one with [[group]] and [[group.axis]]"),
        _ => return None,
    };
    Some(Flaw::new(Code::WrongFile, "", format!("this is {found}, not {allowed}")).found(found, allowed).help(help))
}
