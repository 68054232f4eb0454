//! `movewright check`.

use super::args::CheckArgs;
use super::prepared::prepare;
use super::show::Show;
use super::{Outcome, table, terminal};
use crate::bounds::Code;
use crate::output::check_json;

pub(super) fn run(args: &CheckArgs) -> Outcome {
    let Some(p) = prepare(&args.shot) else { return Outcome::Wrong };
    if args.json {
        match check_json::text(&p.report) {
            Ok(text) => terminal::result(&text),
            Err(error) => {
                terminal::error(Code::WriteFailed, format!("the check could not be written as JSON: {error}"));
                return Outcome::Wrong;
            }
        }
    } else {
        terminal::result(&table::text(&p.report, Show { all: args.all, colour: terminal::colour_results() }));
    }
    if p.report.within_limits() { Outcome::Fine } else { Outcome::Over }
}
