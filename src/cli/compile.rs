//! `movewright compile`.

use super::args::CompileArgs;
use super::coded::Coded;
use super::destination;
use super::prepared::prepare;
use super::show::Show;
use super::terminal::{self, Progress};
use super::{Outcome, part, table};
use crate::bounds::Code;
use crate::check::{Approval, Report};
use crate::output::Export;
use crate::output::handoff::sampling::Wishes;
use crate::output::rows::RowRate;
use crate::time::FrameSpan;

pub(super) fn run(args: &CompileArgs) -> Outcome {
    if !destination::is_folder(&args.out, "`compile`") {
        return Outcome::Wrong;
    }
    let rows = match args.rows.as_deref().map(RowRate::parse).transpose() {
        Ok(rows) => rows,
        Err(error) => {
            terminal::error(error.code(), error);
            return Outcome::Wrong;
        }
    };
    let Some(p) = prepare(&args.shot, args.size.budget()) else { return Outcome::Wrong };
    let text = table::text(&p.report, Show { all: args.all });
    // What cannot be reported is not written: status 2 says that nothing was.
    if terminal::result(&text, Outcome::Fine) != Outcome::Fine {
        return Outcome::Wrong;
    }
    let within = p.report.within_limits();
    let approval = Approval::within_limits(&p.report).or_else(|| args.over_limits.then(|| Approval::over_limits(&p.report)));
    let Some(approval) = approval else {
        terminal::remark("nothing was written: a limit is exceeded (--over-limits writes even so, and the manifest says so)");
        return Outcome::Over;
    };
    let frames = match args.frames.as_deref().map(part::frames).transpose() {
        Ok(frames) => frames,
        Err(()) => return Outcome::Wrong,
    };
    let parts = match frames.map(|frames| parts(&p.report, frames)).transpose() {
        Ok(parts) => parts,
        Err(outcome) => return outcome,
    };
    let sources = p.sources.for_copying();
    let wishes = Wishes { full_size: args.full_size, first_frame: args.first_frame, samples: args.samples_per_frame };
    let export = Export { approval, sources: &sources, replace: args.replace, wishes, rows, parts: parts.as_deref() };
    let progress = Progress::start("writing");
    let written = export.write(&args.out, &mut |name| progress.now(&format!("writing {name}")));
    drop(progress);
    match written {
        Ok(what) => terminal::remark(&destination::remark(what, &args.out)),
        Err(error) => {
            terminal::error(error.code(), error);
            return Outcome::Wrong;
        }
    }
    if within { Outcome::Fine } else { Outcome::Over }
}

/// These frames of every pass, each checked as a program of its own; what is written of them must hold.
fn parts(report: &Report, frames: FrameSpan) -> Result<Vec<Report>, Outcome> {
    let mut parts = Vec::with_capacity(report.passes.len());
    for pass in &report.passes {
        let part = part::checked(&pass.program, frames).map_err(|why| {
            terminal::error(Code::InvalidFrameSpan, format!("pass {}: {why}", pass.name()));
            Outcome::Wrong
        })?;
        if !part.within_limits() {
            terminal::aside(&table::text(&part, Show { all: false }));
            terminal::remark("nothing was written: the part of a pass exceeds a limit");
            return Err(Outcome::Over);
        }
        parts.push(part);
    }
    Ok(parts)
}
