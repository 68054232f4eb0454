//! The command line: a thin shell around the library. Results go to standard output, everything else to standard error.
//!
//! Exit status: 0 within limits, 1 a limit is exceeded, 2 the input or the call is wrong (nothing written) or standard output could not be written.

mod args;
mod axes_table;
mod changes;
mod changes_text;
mod check;
mod coded;
mod compare;
mod compare_fits;
mod compare_folder;
mod compare_hand_off;
mod compare_home;
mod compare_json;
mod compare_points;
mod compare_points_json;
mod compile;
mod destination;
pub(crate) mod errors_json;
mod examples;
mod haze_text;
mod new;
mod notes_text;
mod outcome;
mod pace;
mod pages;
mod part;
mod passes_text;
mod picture;
mod prepared;
mod rig;
mod rig_text;
mod rows;
mod schema;
mod scope;
mod show;
mod signals;
mod size;
mod study;
mod study_text;
mod table;
mod take;
mod terminal;
mod verify;
mod watch;
mod wrap;

use clap::Parser;

pub(crate) use outcome::Outcome;

use args::{Args, Command};

/// Runs the command line of this process.
#[must_use]
pub(crate) fn run() -> Outcome {
    signals::catch_size_limit();
    let args = match Args::try_parse() {
        Ok(args) => args,
        Err(error) => return terminal::answer(&error),
    };
    if args.command.writes() {
        signals::handle();
    }
    if args.command.is_json() {
        terminal::keep_errors();
    }
    let outcome = match args.command {
        Command::New(a) => new::run(&a),
        Command::Check(a) => check::run(&a),
        Command::Pace(a) => pace::run(&a),
        Command::Compile(a) => compile::run(&a),
        Command::Report(a) => picture::report(&a),
        Command::Watch(a) => watch::run(&a),
        Command::Plot(a) => picture::plot(&a),
        Command::Rows(a) => rows::run(&a),
        Command::Verify(a) => verify::run(&a),
        Command::Changes(a) => changes::run(&a),
        Command::Compare(a) if a.hand_off.as_deref().is_some_and(|out| !destination::is_folder(out, "`compare --hand-off`")) => {
            Outcome::Wrong
        }
        Command::Compare(a) => match (a.home.as_deref(), a.points.as_deref()) {
            (Some([before, after]), _) => compare_home::run(&a, before, after),
            (_, Some([first, second])) => compare_points::run(&a, first, second),
            _ => compare::run(&a),
        },
        Command::Study(a) => study::run(&a),
        Command::Rig(a) => rig::run(&a),
        Command::Take(a) => take::run(&a),
        Command::Completions(a) => pages::completions(&a),
        Command::Man(a) => pages::man(&a),
        Command::Schema(a) => schema::run(&a),
    };
    terminal::errors_as_json(outcome)
}
