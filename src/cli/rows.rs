//! `movewright rows`.

use std::path::PathBuf;

use clap::Args as ClapArgs;

use super::coded::Coded;
use super::destination::{self, Destination};
use super::part::{PartArgs, unknown_pass};
use super::prepared::prepare;
use super::show::Show;
use super::size::Size;
use super::terminal::{self, Progress};
use super::{Outcome, table};
use crate::bounds::{self, Code};
use crate::check::{PassReport, words};
use crate::number::directed::{self, Places};
use crate::number::figures::{figure, most, seconds};
use crate::output::Written;
use crate::output::manifest::NOTICE;
use crate::output::rows::{Extent, RowRate, RowsError, Table, Tracks, interpolation};
use crate::output::staged::{OurFile, OurFolder, StagedError, StagedFolder};
use crate::program::{Leg, Part};

#[derive(Debug, ClapArgs)]
pub(super) struct RowsArgs {
    /// The shot file
    #[arg(value_name = "SHOT")]
    shot: PathBuf,
    /// The pass to write
    #[arg(long, value_name = "NAME")]
    pass: String,
    /// Rows per second of stage time, as 100, 12.5 or 30000/1001; row k is at exactly k/HZ seconds
    #[arg(long, value_name = "HZ")]
    rate: String,
    #[command(flatten)]
    to: Destination,
    /// Columns of each axis: integer steps; then velocities in steps/s after all positions; then accelerations in steps/s2 after all velocities
    #[arg(long, value_enum, default_value_t = Columns::Position)]
    columns: Columns,
    /// Add a column that is 1 while the shutter is open
    #[arg(long)]
    shutter: bool,
    /// Add a column with the photographed frame while the shutter is open, empty otherwise
    #[arg(long)]
    frame: bool,
    /// Begin S seconds before the program, at rest, and add a column that is 1 from there to the last row, for beacon and horn
    #[arg(long, value_name = "S", value_parser = warning)]
    warning: Option<f64>,
    /// Add the return home after the end of the program
    #[arg(long = "return")]
    returns: bool,
    #[command(flatten)]
    part: PartArgs,
    /// Write a folder with one file per axis: --out names the folder
    #[arg(long)]
    per_axis: bool,
    #[command(flatten)]
    size: Size,
}

/// Columns of an axis.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Columns {
    /// Steps
    Position,
    /// Steps, and steps per second
    #[value(name = "position,velocity")]
    PositionVelocity,
    /// Steps, steps per second, and steps per second squared
    #[value(name = "position,velocity,acceleration")]
    PositionVelocityAcceleration,
}

impl Columns {
    /// Derivatives of the positions.
    fn orders(self) -> u8 {
        match self {
            Columns::Position => 0,
            Columns::PositionVelocity => 1,
            Columns::PositionVelocityAcceleration => 2,
        }
    }
}

/// Seconds of a warning.
fn warning(text: &str) -> Result<f64, String> {
    let seconds = text.parse::<f64>().map_err(|_| format!("`{text}` is not a number of seconds"))?;
    bounds::WARNING.check("warning", seconds).map_err(|flaw| format!("{}: found {}, allowed {}", flaw.title, flaw.found, flaw.allowed))
}

pub(super) fn run(args: &RowsArgs) -> Outcome {
    if args.per_axis && !destination::is_folder(&args.to.out, "--per-axis") {
        return Outcome::Wrong;
    }
    let rate = match RowRate::parse(&args.rate) {
        Ok(rate) => rate,
        Err(error) => return wrong(error.code(), &error),
    };
    let Ok(part) = args.part.part() else { return Outcome::Wrong };
    let prepared = match part {
        Some(part) => args.part.prepare(&args.shot, args.size.budget(), &args.pass, part).map(|(report, part)| (report, Some(part))),
        None => prepare(&args.shot, args.size.budget()).map(|p| (p.report, None)),
    };
    let Some((report, part)) = prepared else { return Outcome::Wrong };
    let Some(pass) = report.passes.iter().find(|r| r.name() == args.pass) else {
        let names: Vec<&str> = report.passes.iter().map(PassReport::name).collect();
        return wrong(Code::UnknownPass, unknown_pass(&args.pass, &names));
    };
    if !report.within_limits() {
        terminal::aside(&table::text(&report, Show { all: false }));
        terminal::remark("nothing was written: a limit is exceeded");
        return Outcome::Over;
    }
    let legs = if args.returns { &[Leg::MoveToStart, Leg::ReturnHome][..] } else { &[Leg::MoveToStart] };
    if let Some(leg) = legs.iter().find(|leg| !pass.way_is_clear(**leg)) {
        let error = RowsError::TooNear { pass: args.pass.clone(), leg: *leg };
        if part.is_none() {
            return wrong(error.code(), &error);
        }
        terminal::aside(&table::text(&report, Show { all: false }));
        terminal::error(error.code(), &error);
        return Outcome::Over;
    }
    match write(args, pass, rate, part) {
        Ok(()) => Outcome::Fine,
        Err(Failure::Rows(error)) => wrong(error.code(), &error),
        Err(Failure::Staged(error)) => wrong(error.code(), &error),
    }
}

fn wrong(code: Code, text: impl core::fmt::Display) -> Outcome {
    terminal::error(code, text);
    Outcome::Wrong
}

/// Why rows were not written.
#[derive(Debug, thiserror::Error)]
enum Failure {
    #[error(transparent)]
    Rows(#[from] RowsError),
    #[error(transparent)]
    Staged(#[from] StagedError),
}

fn write(args: &RowsArgs, pass: &PassReport, rate: RowRate, part: Option<Part>) -> Result<(), Failure> {
    let extent = match part {
        Some(Part::At(_)) => Extent::ToStart,
        _ if args.returns => Extent::ReturnHome,
        _ => Extent::Program,
    };
    let tracks = Tracks::new(&pass.program, pass)?.reaching(extent);
    let table = || -> Result<Table<'_>, RowsError> {
        let table = Table::new(&tracks, rate)?;
        let table = table.with_derivatives(args.columns.orders()).with_shutter(args.shutter).with_frame(args.frame);
        match args.warning {
            Some(seconds) => table.with_warning(seconds),
            None => Ok(table),
        }
    };
    let all = table()?;
    let progress = Progress::start("writing");
    let mut tell = |rows: u64| progress.reached(rows, all.rows());
    let written = if args.per_axis {
        let names = pass.program.compiled().stage().axis_names();
        let tables = (0..names.len()).map(|axis| Ok(table()?.of_axes(&[axis]))).collect::<Result<Vec<_>, RowsError>>()?;
        let ours = OurFolder::Rows(names.iter().zip(&tables).map(|(name, one)| (name.clone(), one.header())).collect());
        let mut folder = StagedFolder::beside(&args.to.out, ours, args.to.replace)?;
        for (name, one) in names.iter().zip(&tables) {
            folder.file(&format!("{name}.csv"), |file| one.write(file, &mut tell).map_err(Failure::from))?;
        }
        Some(folder.put_in_place()?)
    } else {
        args.to.write(&OurFile::rows(&all.header()), |file| all.write(file, &mut tell).map_err(Failure::from))?
    };
    drop(progress);
    say(&tracks, rate, &all, written, args, part);
    Ok(())
}

/// What was written, and what a controller that interpolates makes of it.
fn say(tracks: &Tracks<'_>, rate: RowRate, table: &Table<'_>, written: Option<Written>, args: &RowsArgs, part: Option<Part>) {
    let program = tracks.program();
    let name = |axis: usize| program.compiled().stage().axis_names().get(axis).cloned().unwrap_or_default();
    let what = written.map_or_else(|| "written".to_owned(), |what| destination::remark(what, &args.to.out));
    terminal::remark(&format!(
        "{what}: {}, {rate} per second, over {}; {}",
        words::count(table.rows(), "row"),
        seconds(tracks.end().0),
        words::axes(table.axes().len())
    ));
    let begin = seconds(program.clock().begin().0);
    let from = args.part.place();
    let opens = seconds(program.clock().first_opening().0);
    let back = match tracks.extent() {
        Extent::ReturnHome => format!("the return home begins at {}", seconds(program.end().0)),
        _ => "the return home is not included".to_owned(),
    };
    terminal::remark(&match part {
        Some(Part::At(frame)) => {
            format!("the way to frame {} takes {begin} from {from}; everything rests there, and nothing is exposed", frame.first())
        }
        _ => format!("move to start {begin} from {from}, then the run-up; the shutter first opens at {opens}; {back}"),
    });
    if let Some(Part::Frames(frames)) = part {
        terminal::remark(&format!(
            "frames {} to {} alone: counts are those of the whole pass, run-up and run-down are not",
            frames.first(),
            frames.last()
        ));
        terminal::remark(
            "the frame at which a take broke off is spoiled; on film no exposed frame can be exposed again: wind on to unexposed film",
        );
    }
    if let Some(warning) = args.warning {
        terminal::remark(&format!("rows begin {} before the program, at rest; the column `warning` is 1 from there on", seconds(warning)));
    }
    let all = interpolation::departures(tracks, rate);
    for way in interpolation::WAYS {
        if let Some((axis, steps)) = interpolation::worst(&all, way.departure) {
            terminal::remark(&format!(
                "between rows, {}: at most {} from the curve ({}), plus {} for rounding",
                way.name,
                most(steps, "steps"),
                name(axis),
                figure(way.rounding, "steps")
            ));
        }
    }
    if let Some((axis, hz)) = interpolation::worst(&all, |d| d.half_step_rate) {
        // A rate to paste: rounded up, so that it holds as printed.
        let hz = directed::up(hz, Places::Decimals(3));
        terminal::remark(&format!("straight lines stay within half a step of the curve at {hz} rows per second or more ({})", name(axis)));
    }
    terminal::remark(NOTICE);
}
