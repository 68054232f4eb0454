//! `movewright completions` and `movewright man`: what a shell and the manual know of every command, made from the commands themselves.

use clap::{Command, CommandFactory};

use super::args::{Args, CompletionsArgs, ManArgs};
use super::coded::Coded;
use super::{Outcome, destination, terminal};
use crate::bounds::Code;
use crate::output::staged::new_folder;

pub(super) fn completions(args: &CompletionsArgs) -> Outcome {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut Args::command(), "movewright", &mut script);
    terminal::data(&String::from_utf8_lossy(&script), Outcome::Fine)
}

pub(super) fn man(args: &ManArgs) -> Outcome {
    if args.out.as_deref().is_some_and(|out| !destination::is_folder(out, "`man --out`")) {
        return Outcome::Wrong;
    }
    let pages = match pages() {
        Ok(pages) => pages,
        Err(error) => {
            terminal::error(Code::WriteFailed, format!("the manual could not be written: {error}"));
            return Outcome::Wrong;
        }
    };
    let Some(out) = &args.out else {
        let all: String = pages.into_iter().map(|(_, page)| page).collect();
        return terminal::data(&all, Outcome::Fine);
    };
    let files: Vec<(&str, &str)> = pages.iter().map(|(name, page)| (name.as_str(), page.as_str())).collect();
    if let Err(error) = new_folder(out, &files) {
        terminal::error(error.code(), error);
        return Outcome::Wrong;
    }
    terminal::remark(&format!("written: {} pages in {}", files.len(), out.display()));
    Outcome::Fine
}

/// One page for the program, one for each command: file name and text.
fn pages() -> std::io::Result<Vec<(String, String)>> {
    let mut program = Args::command().disable_help_subcommand(true);
    // Built, a command knows its full name, which names its page.
    program.build();
    core::iter::once(&program).chain(program.get_subcommands()).map(|c| page(c.clone())).collect()
}

fn page(mut command: Command) -> std::io::Result<(String, String)> {
    let usage = command.render_usage().to_string();
    // In the manual a synopsis shows each option with its value, as the help does.
    let command = command.override_usage(usage.trim_start_matches("Usage: ").to_owned());
    let man = clap_mangen::Man::new(command).source(concat!("movewright ", env!("CARGO_PKG_VERSION")));
    let mut text = Vec::new();
    man.render(&mut text)?;
    Ok((man.get_filename(), with_headings(&String::from_utf8_lossy(&text))))
}

/// What the help says below its options, under the headings a manual has.
fn with_headings(page: &str) -> String {
    let page = page.replace("\nExamples:\n", "\n.SH EXAMPLES\n").replace("\nExample:\n", "\n.SH EXAMPLES\n");
    page.replace(".SH EXTRA\n.SH", ".SH").replace(".SH EXTRA\n", ".SH NOTES\n")
}
