//! Which part of a pass `rows` writes: options, and the part read, compiled and checked.
//!
//! Invariant: only the program that is written is judged; the rest of the shot need not hold.

use std::path::PathBuf;

use clap::Args as ClapArgs;

use super::prepared::{compiled, rejected};
use super::terminal::{self, Progress};
use crate::bounds::{Budget, Code, count};
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
    /// Expose so many frames before the break again, to compare them with the broken take
    #[arg(long, value_name = "FRAMES", requires = "frames")]
    overlap: Option<u32>,
    /// Start even where an axis is more than a step off the place at which the pass broke off
    #[arg(long, requires = "from")]
    accept: bool,
}

/// A range of frames as `118..140`. The error was said.
pub(super) fn frames(text: &str) -> Result<FrameSpan, ()> {
    let Some([first, last]) = first_and_last(text) else {
        terminal::error(Code::InvalidFrameSpan, format!("`{text}` is not a range of frames; write the first and last frame as 118..140"));
        return Err(());
    };
    span(text, first, last)
}

/// The two numbers of `118..140`.
pub(super) fn first_and_last(text: &str) -> Option<[i64; 2]> {
    let (first, last) = text.split_once("..")?;
    Some([first.parse().ok()?, last.parse().ok()?])
}

fn span(text: &str, first: i64, last: i64) -> Result<FrameSpan, ()> {
    FrameSpan::new(first, last).map_err(|e| terminal::error(Code::InvalidFrameSpan, format!("`{text}`: {e}")))
}

/// These frames of one pass compiled and checked, from home.
///
/// # Errors
/// Why there is no such part, or no plan for it, in words.
pub(super) fn checked(program: &Program, frames: FrameSpan) -> Result<Report, String> {
    let stage = program.compiled().stage();
    if let Some(why) = not_photographed(Part::Frames(frames), program.compiled().shot().frames()) {
        return Err(why);
    }
    let home = PerAxis::new(stage, |id| stage.axis(id).home());
    let compiled = program.part(Part::Frames(frames), home).map_err(|why| match why {
        NoPart::Shot(flaws) => first(&flaws),
        NoPart::Curves(errors) => first(&errors),
    })?;
    compiled.checked().map_err(|e| e.to_string())
}

/// Why a part is none of a shot with these frames, in words.
fn not_photographed(part: Part, all: FrameSpan) -> Option<String> {
    let frames = part.frames();
    if all.contains(frames.first()) && all.contains(frames.last()) {
        return None;
    }
    let wanted = match part {
        Part::At(_) => format!("frame {} is not photographed", frames.first()),
        Part::Frames(_) => format!("frames {} to {} are not all photographed", frames.first(), frames.last()),
    };
    Some(format!("{wanted}; the shot has frames {} to {}", all.first(), all.last()))
}

/// The first of several mistakes, in words.
fn first<T: ToString>(all: &[T]) -> String {
    all.first().map(ToString::to_string).unwrap_or_default()
}

impl PartArgs {
    /// The part that is asked for; `None` for the whole pass. The error was said.
    pub(super) fn part(&self) -> Result<Option<Part>, ()> {
        match (self.at, &self.frames) {
            (Some(frame), _) => span(&frame.to_string(), frame, frame).map(Part::At).map(Some),
            (None, Some(text)) => frames(text).map(Part::Frames).map(Some),
            (None, None) => Ok(None),
        }
    }

    /// Where the program begins, in words.
    pub(super) fn place(&self) -> String {
        self.from.as_ref().map_or_else(|| "home".to_owned(), |path| format!("the positions in {}", path.display()))
    }

    /// The part checked, with the frames before the break: a report of one pass. `None` where that fails, which was said.
    pub(super) fn prepare(&self, shot: &std::path::Path, budget: Budget, pass: &str, part: Part) -> Option<(Report, Part)> {
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

    fn of(
        &self,
        whole: &Compiled,
        sources: Sources,
        pass: &str,
        part: Part,
        progress: &Progress,
    ) -> Result<(Report, Part), Box<dyn FnOnce()>> {
        let passes = whole.shot().passes();
        let Some(index) = passes.iter().position(|p| p.name() == pass) else {
            let names: Vec<&str> = passes.iter().map(Pass::name).collect();
            return Err(error(Code::UnknownPass, unknown_pass(pass, &names)));
        };
        let all = whole.shot().frames();
        if let Some(why) = not_photographed(part, all) {
            return Err(error(Code::InvalidFrameSpan, why));
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
        if let (Some(_), Part::Frames(frames)) = (&self.from, part) {
            self.compare(&program, frames.first(), &stands)?;
        }
        let part = match part {
            Part::Frames(frames) => Part::Frames(frames.with_frames_before(self.overlap.unwrap_or(0), all)),
            Part::At(_) => part,
        };
        progress.now("checking");
        let compiled = program.part(part, stands).map_err(|why| match why {
            NoPart::Shot(flaws) => error(Code::InvalidFrameSpan, first(&flaws)),
            NoPart::Curves(errors) => {
                let rejection = rejected(sources, &errors);
                Box::new(move || terminal::rejection(&rejection)) as Box<dyn FnOnce()>
            }
        })?;
        let report = compiled.checked().map_err(no_plan)?;
        Ok((if matches!(part, Part::At(_)) { report.exposing_nothing() } else { report }, part))
    }

    /// Says how far each axis is off the place at which the pass broke off.
    ///
    /// # Errors
    /// More than a step, where that is not accepted.
    fn compare(&self, program: &Program, frame: i64, stands: &PerAxis<f64>) -> Result<(), Box<dyn FnOnce()>> {
        let stage = program.compiled().stage();
        let Some(stopped) = program.stopped_in(frame, stands) else {
            terminal::remark(&format!("the pass has no position in frame {frame}: where the axes stand is not compared with it"));
            return Ok(());
        };
        let at = format!("frame {:.2} of the pass", stopped.at.0);
        if stopped.off.is_empty() {
            terminal::remark(&format!("the axes stand where they were at {at}, each within a step"));
            return Ok(());
        }
        let names: Vec<String> = stopped
            .off
            .iter()
            .map(|(id, n)| {
                let sign = if *n < 0 { "-" } else { "+" };
                format!("{} {sign}{}", stage.axis_name(*id), count(n.unsigned_abs(), "step"))
            })
            .collect();
        let text = format!("the axes stand nearest to {at}, and are off by more than a step: {}", names.join(", "));
        if self.accept {
            terminal::remark(&text);
            return Ok(());
        }
        Err(error(Code::StandsElsewhere, format!("{text}; reference them again, or add --accept to start from there")))
    }
}

fn error(code: Code, text: String) -> Box<dyn FnOnce()> {
    Box::new(move || terminal::error(code, text))
}

/// What is said of a pass that the shot does not have.
pub(super) fn unknown_pass(pass: &str, names: &[&str]) -> String {
    format!("the shot has no pass `{pass}`; it has: {}", names.join(", "))
}
