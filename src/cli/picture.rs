//! `movewright report` and `movewright plot`: the move to look at.

use std::io::Write;
use std::path::PathBuf;

use clap::Args as ClapArgs;

use super::coded::Coded;
use super::destination::{self, Destination};
use super::prepared::{self, prepare};
use super::size::Size;
use super::take;
use super::{Outcome, terminal};
use crate::bounds::Code;
use crate::input::nearest_name;
use crate::output::staged::{OurFile, StagedError};
use crate::page::{self, PAGE_BEGINS, PAGE_ENDS, PLOT_BEGINS, PLOT_ENDS};
use crate::shot::Pass;

#[derive(Debug, ClapArgs)]
pub(super) struct ReportArgs {
    /// The shot file
    #[arg(value_name = "SHOT")]
    shot: PathBuf,
    /// An earlier version, shown in grey under the new one: a shot or a compiled folder
    #[arg(long, value_name = "OLD")]
    against: Option<PathBuf>,
    /// Also show which passes are shot, by this record of takes (takes.csv)
    #[arg(long, value_name = "FILE")]
    takes: Option<PathBuf>,
    #[command(flatten)]
    to: Destination,
    #[command(flatten)]
    size: Size,
}

#[derive(Debug, ClapArgs)]
pub(super) struct PlotArgs {
    /// The shot file
    #[arg(value_name = "SHOT")]
    shot: PathBuf,
    /// Full name of the axis, such as heron.bridge
    #[arg(long, value_name = "NAME")]
    axis: String,
    /// The pass whose pace to use [default: the first pass]
    #[arg(long, value_name = "NAME")]
    pass: Option<String>,
    #[command(flatten)]
    to: Destination,
    #[command(flatten)]
    size: Size,
}

pub(super) fn report(args: &ReportArgs) -> Outcome {
    let budget = args.size.budget();
    let old = match args.against.as_deref().map(|path| prepared::read(path, budget)).transpose() {
        Ok(old) => old,
        Err(rejection) => {
            terminal::rejection(&rejection);
            return Outcome::Wrong;
        }
    };
    let Some(p) = prepare(&args.shot, budget) else { return Outcome::Wrong };
    let shot = p.report.compiled.shot();
    let takes = match args.takes.as_deref().map(|record| take::in_record(record, &take::passes_of(shot))).transpose() {
        Ok(takes) => takes,
        Err(flaw) => return terminal::refusal(&flaw),
    };
    let made = page::page_with(&p.report, old.as_ref(), takes.as_deref());
    let text = match made {
        Ok(text) => text,
        Err(error) => return wrong(error.code(), &error),
    };
    written(&args.to, &OurFile::marked("a report of movewright", PAGE_BEGINS, PAGE_ENDS), &text, p.report.within_limits())
}

pub(super) fn plot(args: &PlotArgs) -> Outcome {
    let Some(p) = prepare(&args.shot, args.size.budget()) else { return Outcome::Wrong };
    let (stage, shot) = (p.report.compiled.stage(), p.report.compiled.shot());
    if stage.axis_of_name(&args.axis).is_none() && stage.channel(&args.axis).is_none() {
        let names: Vec<&str> = stage.axis_names().iter().chain(stage.channel_names()).map(String::as_str).collect();
        let names = names.iter().copied();
        let hint = nearest_name(&args.axis, names)
            .map_or_else(|| "`movewright check --all` lists the axes".to_owned(), |n| format!("did you mean `{n}`?"));
        return wrong(Code::UnknownAxis, format!("the stage has no axis `{}` and no such channel; {hint}", args.axis));
    }
    let asked = args.pass.as_deref();
    let Some(pass) = shot.passes().iter().find(|q| asked.is_none_or(|name| q.name() == name)) else {
        let names: Vec<&str> = shot.passes().iter().map(Pass::name).collect();
        return wrong(Code::UnknownPass, format!("the shot has no pass `{}`; it has: {}", asked.unwrap_or_default(), names.join(", ")));
    };
    match page::plot(&p.report.compiled, pass, &args.axis) {
        Ok(text) => written(&args.to, &OurFile::marked("a plot of movewright", PLOT_BEGINS, PLOT_ENDS), &text, p.report.within_limits()),
        Err(error) => wrong(error.code(), &error),
    }
}

fn wrong(code: Code, text: impl core::fmt::Display) -> Outcome {
    terminal::error(code, text);
    Outcome::Wrong
}

fn written(to: &Destination, ours: &OurFile, text: &str, within: bool) -> Outcome {
    let fill = |out: &mut (dyn Write + Send)| {
        // What the system says is kept by who writes, and reported there.
        let _kept = out.write_all(text.as_bytes());
        Ok::<(), StagedError>(())
    };
    match to.write(ours, fill) {
        Ok(Some(what)) => terminal::remark(&destination::remark(what, &to.out)),
        Ok(None) => {}
        Err(error) => return wrong(error.code(), &error),
    }
    if !within {
        terminal::remark("a limit is exceeded: see the top of the page");
    }
    if within { Outcome::Fine } else { Outcome::Over }
}
