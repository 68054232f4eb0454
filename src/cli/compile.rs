//! `movewright compile`.

use super::args::CompileArgs;
use super::coded::Coded;
use super::destination;
use super::prepared::prepare;
use super::show::Show;
use super::terminal::{self, Progress};
use super::{Outcome, table};
use crate::check::Approval;
use crate::output::Export;
use crate::output::handoff::sampling::Wishes;
use crate::output::rows::RowRate;

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
    let sources = p.sources.for_copying();
    let wishes = Wishes { full_size: args.full_size, first_frame: args.first_frame, samples: args.samples_per_frame };
    let export = Export { approval, sources: &sources, replace: args.replace, wishes, rows };
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
