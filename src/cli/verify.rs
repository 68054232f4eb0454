//! `movewright verify`.

use std::path::Path;

use super::args::VerifyArgs;
use super::coded::Coded;
use super::terminal::{self, Progress};
use super::{Outcome, scope, wrap};
use crate::input;
use crate::verify::{Fault, Source, Verdict, verify};

pub(super) fn run(args: &VerifyArgs) -> Outcome {
    let progress = Progress::start("verifying");
    let verdict = verify(&args.dir, &read);
    drop(progress);
    match verdict {
        Err(error) => {
            terminal::error(error.code(), error);
            Outcome::Wrong
        }
        Ok(verdict) => terminal::result(&text(&args.dir, &verdict, args.all), if verdict.holds() { Outcome::Fine } else { Outcome::Over }),
    }
}

/// Reads what stands in a folder's `source/`; what is wrong there in one line, which is one fault.
fn read(shot: &Path) -> Result<Source, String> {
    let loaded = input::load(shot).map_err(|rejection| {
        let all = rejection.to_string();
        let more = rejection.diagnostics().len() + rejection.unlisted() - 1;
        let more = if more > 0 { format!("; and {more} more: run `movewright check` on it") } else { String::new() };
        format!("{}{more}", all.lines().next().unwrap_or_default())
    })?;
    let files = loaded.sources.iter().map(|s| s.path().to_owned()).collect();
    Ok(Source { stage: loaded.stage, shot: loaded.shot, files })
}

fn text(dir: &Path, verdict: &Verdict, all: bool) -> String {
    let mut text = String::new();
    let n = verdict.faults.len();
    let shown = if all { n } else { n.min(FEW_FAULTS) };
    for fault in verdict.faults.iter().take(shown) {
        wrap::line(&mut text, &line(fault), 2);
    }
    if shown < n {
        wrap::line(&mut text, &format!("and {} more; --all shows them", n - shown), 2);
    }
    let count = |n: usize, one: &str, many: &str| format!("{n} {}", if n == 1 { one } else { many });
    let what = [
        count(verdict.files, "file", "files"),
        count(verdict.passes, "pass", "passes"),
        count(verdict.axes, "axis", "axes"),
        format!("{}{} per pass", if verdict.scope.some_frames { "up to " } else { "" }, count(verdict.frames, "frame", "frames")),
    ];
    let result = if verdict.holds() { "no difference found".to_owned() } else { count(n, "fault", "faults") };
    wrap::line(&mut text, &format!("{}: {result}; {}", dir.display(), what.join(", ")), 2);
    for (label, items) in scope::lists(verdict) {
        if !items.is_empty() {
            wrap::line(&mut text, &format!("{label}: {}", items.join("; ")), 2);
        }
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

/// Faults shown without `--all`; the verdict is the same.
const FEW_FAULTS: usize = 20;
