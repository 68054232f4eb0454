//! `movewright rows`.

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use clap::Args as ClapArgs;

use super::prepared::prepare;
use super::terminal::{self, Progress};
use super::{Outcome, table};
use crate::check::{PassReport, words};
use crate::output::manifest::NOTICE;
use crate::output::rows::{self, Placed, RowRate, RowsError, Table, Tracks, interpolation, place};
use crate::program::Leg;

#[derive(Debug, ClapArgs)]
pub(super) struct RowsArgs {
    /// The shot file
    #[arg(value_name = "SHOT")]
    shot: PathBuf,
    /// The pass whose program is written
    #[arg(long, value_name = "NAME")]
    pass: String,
    /// Rows per second of stage time, as 100, 12.5 or 30000/1001; row k is at exactly k/HZ seconds
    #[arg(long, value_name = "HZ")]
    rate: String,
    /// The file to write, `-` for standard output; with --per-axis the folder
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// What each axis gets: integer steps, and velocities in steps/s after all positions
    #[arg(long, value_enum, default_value_t = Columns::Position)]
    columns: Columns,
    /// Add a last column that is 1 while a frame is exposed
    #[arg(long)]
    shutter: bool,
    /// Write a folder with one file an axis
    #[arg(long)]
    per_axis: bool,
}

/// Columns of an axis.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Columns {
    /// Steps
    Position,
    /// Steps, and steps a second
    #[value(name = "position,velocity")]
    PositionVelocity,
}

pub(super) fn run(args: &RowsArgs) -> Outcome {
    let wrong = |text: String| {
        terminal::remark(&format!("error[O004]: {text}"));
        Outcome::Wrong
    };
    let stream = args.out.as_os_str() == "-";
    if stream && args.per_axis {
        return wrong("--per-axis writes a folder; `--out -` is standard output: name a folder, or leave out --per-axis".to_owned());
    }
    let rate = match RowRate::parse(&args.rate) {
        Ok(rate) => rate,
        Err(error) => return wrong(error.to_string()),
    };
    let Some(p) = prepare(&args.shot) else { return Outcome::Wrong };
    let Some(pass) = p.report.passes.iter().find(|r| r.name() == args.pass) else {
        let names: Vec<&str> = p.report.passes.iter().map(PassReport::name).collect();
        return wrong(format!("the shot has no pass `{}`; it has: {}", args.pass, names.join(", ")));
    };
    if !p.report.within_limits() {
        let show = table::Show { all: false, colour: terminal::colour() };
        terminal::as_it_stands(table::text(&p.report, show).trim_end());
        terminal::remark("nothing was written: a limit is exceeded");
        return Outcome::Over;
    }
    if !pass.way_is_clear(Leg::MoveToStart) {
        return wrong(RowsError::TooNear { pass: args.pass.clone() }.to_string());
    }
    match write(args, pass, rate, stream) {
        Ok(()) => Outcome::Fine,
        // Whoever reads has read enough.
        Err(error) if stream && closed(&error) => Outcome::Fine,
        Err(error) => wrong(error.to_string()),
    }
}

fn closed(error: &RowsError) -> bool {
    matches!(error, RowsError::Io(e) if e.kind() == io::ErrorKind::BrokenPipe)
}

fn write(args: &RowsArgs, pass: &PassReport, rate: RowRate, stream: bool) -> Result<(), RowsError> {
    let tracks = Tracks::new(&pass.program, pass)?;
    let names = pass.program.compiled().stage().axis_names();
    let table = || -> Result<Table<'_>, RowsError> {
        let table = Table::new(&tracks, rate)?;
        Ok(table.with_velocities(args.columns == Columns::PositionVelocity).with_shutter(args.shutter))
    };
    let all = table()?;
    let progress = Progress::start("writing");
    let mut tell = |rows: u64| progress.reached(rows, all.rows());
    let placed = if stream {
        all.write(&mut io::stdout(), &mut tell)?;
        io::stdout().flush()?;
        None
    } else if args.per_axis {
        Some(rows::to_folder(&args.out, |dir| {
            for (axis, name) in names.iter().enumerate() {
                let one = table()?.of_axes(&[axis]);
                place::within_folder(&dir.join(format!("{name}.csv")), |file| one.write(file, &mut tell))?;
            }
            Ok(())
        })?)
    } else {
        Some(rows::to_file(&args.out, |file| all.write(file, &mut tell))?)
    };
    drop(progress);
    say(&tracks, rate, &all, placed, &args.out);
    Ok(())
}

/// What was written, and what a controller that interpolates makes of it.
fn say(tracks: &Tracks<'_>, rate: RowRate, table: &Table<'_>, placed: Option<Placed>, out: &Path) {
    let program = tracks.program();
    let name = |axis: usize| program.compiled().stage().axis_names().get(axis).cloned().unwrap_or_default();
    let what = match placed {
        Some(Placed::New) => format!("written: {}", out.display()),
        Some(Placed::Replaced) => format!("replaced: {}", out.display()),
        Some(Placed::Streamed) | None => "written".to_owned(),
    };
    terminal::remark(&format!(
        "{what}: {} rows, {rate} per second, over {} s; {}",
        table.rows(),
        program.end().0,
        words::axes(table.axes().len())
    ));
    terminal::remark(&format!(
        "move to start {} s from home, then the run-up; the shutter first opens at {} s; the return home is not part of it",
        program.clock().begin().0,
        program.clock().first_opening().0
    ));
    let all = interpolation::departures(tracks, rate);
    for way in interpolation::WAYS {
        if let Some((axis, steps)) = interpolation::worst(&all, way.departure) {
            terminal::remark(&format!(
                "between rows, {}: at most {steps:.3e} steps from the curve ({}), and {} for rounding to steps",
                way.name,
                name(axis),
                way.rounding
            ));
        }
    }
    if let Some((axis, hz)) = interpolation::worst(&all, |d| d.half_step_rate) {
        // Rounded up, so that what is said holds.
        let hz = (hz * 1000.0).ceil() / 1000.0;
        terminal::remark(&format!("straight lines stay within half a step of the curve from {hz} rows per second on ({})", name(axis)));
    }
    terminal::remark(NOTICE);
}
