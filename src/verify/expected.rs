//! Which files a folder must hold, from the shot and the stage alone; what is on request (rows, full size) is expected in full where any of it is there.
//!
//! Invariant: the list in the manifest decides nothing here but which requests were made: a file that is gone from the folder and from the list is missed.

use std::collections::BTreeSet;

use super::channels;
use super::fault::{FaultKind, Faults, MANIFEST};
use super::haze;
use super::record::Record;
use super::silhouettes::is_shown;
use crate::shot::{Exposure, Shot};
use crate::stage::Stage;

/// What was asked for, as far as the folder shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Requests {
    /// Rows for a controller.
    pub(super) rows: bool,
    /// Hand-off files at full size.
    pub(super) full_size: bool,
}

impl Requests {
    /// Of a folder that holds these files.
    pub(super) fn of(record: &Record, there: &BTreeSet<String>) -> Requests {
        Requests {
            rows: record.passes.iter().any(|p| p.rows.is_some()) || there.iter().any(|n| n.ends_with(".rows.csv")),
            full_size: there.iter().any(|n| n.contains(".full_size.")),
        }
    }
}

/// Every file beside the manifest and `source/`.
pub(super) fn names(stage: &Stage, shot: &Shot, requests: Requests) -> Vec<String> {
    let mut names = Vec::new();
    let (lenses, figures) = (stage.bodies().iter().any(|b| b.lens().is_some()), stage.bodies().iter().any(|b| b.lens().is_none()));
    let rods = lenses && stage.bodies().iter().any(|b| !b.lines().is_empty());
    let silhouettes = lenses && stage.bodies().iter().any(is_shown);
    for pass in shot.passes() {
        let mut add = |kind: &str| names.push(format!("{}.{kind}.csv", pass.name()));
        add("steps");
        add("units");
        if pass.exposure() == Exposure::Held {
            add("moves");
        }
        if requests.rows {
            add("rows");
        }
        if rods {
            add("rods");
            add("rod_outlines");
        }
        if silhouettes {
            add("silhouettes");
        }
    }
    if !channels::of_mechanisms(stage).is_empty() {
        names.push(channels::FILE.to_owned());
    }
    if shot.haze().is_some() {
        names.push(haze::FILE.to_owned());
    }
    let marks: &[&str] = if requests.full_size { &["", ".full_size"] } else { &[""] };
    for mark in marks {
        if lenses {
            names.push(format!("camera{mark}.csv"));
        }
        if figures {
            names.push(format!("bodies{mark}.csv"));
        }
        if lenses || figures {
            names.push(format!("scene{mark}.glb"));
            names.push(format!("scene{mark}.usda"));
        }
    }
    names
}

/// Records what is missing and what nothing leads to. `listed` are all names that the manifest lists.
pub(super) fn check(stage: &Stage, shot: &Shot, requests: Requests, listed: &BTreeSet<String>, faults: &mut Faults) {
    compare(&names(stage, shot, requests), MANIFEST, listed, faults);
}

/// Every file of a hand-off with measured positions that follows from the shot of the one pass: its positions, and what is made from them.
pub(super) fn handed_over(stage: &Stage, shot: &Shot, requests: Requests) -> Vec<String> {
    let planned = [".steps.csv", ".moves.csv", ".rows.csv"];
    let all = names(stage, shot, requests).into_iter();
    all.filter(|n| n != channels::FILE && !planned.iter().any(|end| n.ends_with(end))).collect()
}

/// The same of these files, which `list` must have.
pub(super) fn compare(expected: &[String], list: &str, listed: &BTreeSet<String>, faults: &mut Faults) {
    for name in expected.iter().filter(|n| !listed.contains(*n)) {
        faults.file(FaultKind::Missing, name, format!("the shot leads to this file; {list} does not list it"));
    }
    for name in listed.iter().filter(|n| !n.starts_with("source/") && !expected.contains(n)) {
        faults.file(FaultKind::Extra, name, "nothing in the shot leads to this file".to_owned());
    }
}
