//! `movewright verify`.

use std::path::Path;

use super::args::VerifyArgs;
use super::terminal::{self, Progress};
use super::{Outcome, from_source};
use crate::verify::{Fault, Source, Verdict, verify};

pub(super) fn run(args: &VerifyArgs) -> Outcome {
    let progress = Progress::start("verifying");
    let verdict = verify(&args.dir, &read);
    drop(progress);
    match verdict {
        Err(error) => {
            terminal::remark(&format!("error[V001]: {error}"));
            Outcome::Wrong
        }
        Ok(verdict) => {
            terminal::result(&text(&args.dir, &verdict));
            if verdict.holds() { Outcome::Fine } else { Outcome::Over }
        }
    }
}

/// Reads what stands in a folder's `source/`.
fn read(shot: &Path) -> Result<Source, String> {
    let loaded = from_source::load(shot)?;
    let files = loaded.sources.iter().map(|s| s.path().to_owned()).collect();
    Ok(Source { stage: loaded.stage, shot: loaded.shot, files })
}

fn text(dir: &Path, verdict: &Verdict) -> String {
    let mut text = String::new();
    for fault in verdict.faults.iter().take(MOST_SHOWN) {
        text.push_str(&line(fault));
        text.push('\n');
    }
    let n = verdict.faults.len();
    if n > MOST_SHOWN {
        text.push_str(&format!("and {} more\n", n - MOST_SHOWN));
    }
    let what = format!("{} files, {} passes, {} axes, {} frames a pass", verdict.files, verdict.passes, verdict.axes, verdict.frames);
    if verdict.over_limits {
        text.push_str("written over limits, as its manifest says: travel and limits were not held against the columns\n");
    }
    if !verdict.not_computed.is_empty() {
        text.push_str(&format!("aimed, so held against everything but positions computed again: {}\n", verdict.not_computed.join(", ")));
    }
    if verdict.holds() {
        text.push_str(&format!("{}: all holds; {what}\n", dir.display()));
        text.push_str(FLOOR);
    } else {
        text.push_str(&format!("{}: {n} faults; {what}\n", dir.display()));
    }
    text
}

fn line(fault: &Fault) -> String {
    let mut line = format!("{}: ", fault.kind.name());
    if !fault.file.is_empty() {
        line.push_str(&format!("{}: ", fault.file));
    }
    if let Some(axis) = &fault.axis {
        line.push_str(&format!("{axis}: "));
    }
    if let Some(frame) = fault.frame {
        line.push_str(&format!("frame {frame}: "));
    }
    line.push_str(&fault.message);
    if fault.times > 1 {
        line.push_str(&format!(" ({} rows like it)", fault.times));
    }
    line
}

/// Faults shown; the verdict is the same.
const MOST_SHOWN: usize = 200;

const FLOOR: &str = "each count is the rounding of a position computed another way, to half a step and 1/16 step for fitted curves; \
differences of counts were held to the limits with 1, 2 and 4 steps of rounding for velocity, acceleration and jerk\n";
