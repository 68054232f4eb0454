//! `movewright check`.

use super::args::CheckArgs;
use super::prepared::prepare;
use super::show::Show;
use super::{Outcome, table, terminal};
use crate::bounds::Code;
use crate::output::check_json;

pub(super) fn run(args: &CheckArgs) -> Outcome {
    let Some(p) = prepare(&args.shot, args.size.budget()) else { return Outcome::Wrong };
    let verdict = if p.report.within_limits() { Outcome::Fine } else { Outcome::Over };
    if !args.json {
        return terminal::result(&table::text(&p.report, Show { all: args.all }), verdict);
    }
    match check_json::text(&p.report) {
        Ok(text) => terminal::json(&text, verdict),
        Err(error) => {
            terminal::error(Code::WriteFailed, format!("the check could not be written as JSON: {error}"));
            Outcome::Wrong
        }
    }
}
