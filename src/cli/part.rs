//! Which part of a pass `rows` writes: options, and the part read, compiled and checked.
//!
//! Invariant: only the program that is written is judged; the rest of the shot need not hold.

use std::path::PathBuf;

use clap::Args as ClapArgs;

use super::prepared::{compiled, rejected};
use super::terminal::{self, Progress};
use crate::bounds::{Budget, Code};
use crate::check::Report;
use crate::compile::Compiled;
use crate::input::{self, Sources, positions};
use crate::program::{NoPart, Part, Program};
use crate::shot::Pass;
use crate::stage::PerAxis;
use crate::time::FrameSpan;

#[derive(Debug, ClapArgs)]
pub(super) struct PartArgs {
    /// Write only these frames, both included, with a run-up and run-down of their own; counts are those of the whole pass
    #[arg(long, value_name = "N..M", allow_hyphen_values = true, group = "part")]
    frames: Option<String>,
    /// Write the way to frame N, ending there at rest, for line-up; nothing is exposed
    #[arg(long, value_name = "N", allow_hyphen_values = true, group = "part", conflicts_with = "returns")]
    at: Option<i64>,
    /// Start a part from the steps in this file (axis,steps) instead of home
    #[arg(long, value_name = "FILE", requires = "part")]
    from: Option<PathBuf>,
}

impl PartArgs {
    /// The part that is asked for; `None` for the whole pass. The error was said.
    pub(super) fn part(&self) -> Result<Option<Part>, ()> {
        let span = |text: &str, first: i64, last: i64| {
            FrameSpan::new(first, last).map_err(|e| terminal::error(Code::InvalidFrameSpan, format!("`{text}`: {e}")))
        };
        if let Some(frame) = self.at {
            return span(&frame.to_string(), frame, frame).map(Part::At).map(Some);
        }
        let Some(text) = &self.frames else {
            return Ok(None);
        };
        let frames = text.split_once("..").and_then(|(first, last)| Some((first.parse().ok()?, last.parse().ok()?)));
        let Some((first, last)) = frames else {
            terminal::error(
                Code::InvalidFrameSpan,
                format!("`{text}` is not a range of frames; write the first and last frame as 118..140"),
            );
            return Err(());
        };
        span(text, first, last).map(Part::Frames).map(Some)
    }

    /// Where the program begins, in words.
    pub(super) fn place(&self) -> String {
        self.from.as_ref().map_or_else(|| "home".to_owned(), |path| format!("the positions in {}", path.display()))
    }

    /// The part checked: a report of one pass. `None` where that fails, which was said.
    pub(super) fn prepare(&self, shot: &std::path::Path, budget: Budget, pass: &str, part: Part) -> Option<Report> {
        let progress = Progress::start("reading");
        let made = input::load(shot).and_then(|loaded| {
            progress.now("compiling");
            compiled(loaded, budget)
        });
        let result = match made {
            Ok((whole, sources)) => self.of(&whole, sources, pass, part, &progress),
            Err(rejection) => Err(Box::new(move || terminal::rejection(&rejection)) as Box<dyn FnOnce()>),
        };
        drop(progress);
        result.map_err(|say| say()).ok()
    }

    fn of(&self, whole: &Compiled, sources: Sources, pass: &str, part: Part, progress: &Progress) -> Result<Report, Box<dyn FnOnce()>> {
        let passes = whole.shot().passes();
        let Some(index) = passes.iter().position(|p| p.name() == pass) else {
            let names: Vec<&str> = passes.iter().map(Pass::name).collect();
            return Err(error(Code::UnknownPass, unknown_pass(pass, &names)));
        };
        let (frames, all) = (part.frames(), whole.shot().frames());
        if !(all.contains(frames.first()) && all.contains(frames.last())) {
            let wanted = match part {
                Part::At(_) => format!("frame {} is not photographed", frames.first()),
                Part::Frames(_) => format!("frames {} to {} are not all photographed", frames.first(), frames.last()),
            };
            let text = format!("{wanted}; the shot has frames {} to {}", all.first(), all.last());
            return Err(error(Code::InvalidFrameSpan, text));
        }
        let stage = whole.stage();
        let home = || PerAxis::new(stage, |id| stage.axis(id).home());
        let stands = match &self.from {
            None => home(),
            Some(path) => positions::read(path, stage).map_err(|e| error(e.code(), e.to_string()))?,
        };
        let no_plan = |e: crate::program::NoPlan| error(Code::NoPlan, e.to_string());
        let Some(program) = Program::one(whole, index).map_err(no_plan)? else {
            return Err(error(Code::UnknownPass, unknown_pass(pass, &[])));
        };
        let away = stage.axis_ids().find(|id| program.parks(*id) && stands[*id] != stage.axis(*id).home());
        if let Some(id) = away {
            let text = format!("pass {pass} parks axis {} at home, but the file has it elsewhere; move it home first", stage.axis_name(id));
            return Err(error(Code::OutOfRange, text));
        }
        progress.now("checking");
        let compiled = program.part(part, stands).map_err(|why| match why {
            NoPart::Shot(flaws) => {
                let text = flaws.first().map(|f| f.title.clone()).unwrap_or_default();
                error(Code::InvalidFrameSpan, text)
            }
            NoPart::Curves(errors) => {
                let rejection = rejected(sources, &errors);
                Box::new(move || terminal::rejection(&rejection)) as Box<dyn FnOnce()>
            }
        })?;
        let report = compiled.checked().map_err(no_plan)?;
        Ok(if matches!(part, Part::At(_)) { report.exposing_nothing() } else { report })
    }
}

fn error(code: Code, text: String) -> Box<dyn FnOnce()> {
    Box::new(move || terminal::error(code, text))
}

/// What is said of a pass that the shot does not have.
pub(super) fn unknown_pass(pass: &str, names: &[&str]) -> String {
    format!("the shot has no pass `{pass}`; it has: {}", names.join(", "))
}
