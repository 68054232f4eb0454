//! `movewright rig`: the axis calibration sheet of a stage, and what a measurement says about one axis.

use std::path::{Path, PathBuf};

use clap::Args as ClapArgs;

use super::terminal::{self, Progress};
use super::{Outcome, examples, rig_text};
use crate::bounds::{Code, Flaw};
use crate::input;
use crate::output::rig_json::{self, Measured};
use crate::rig::{AxisSheet, Calibration};
use crate::stage::{AxisId, Stage};

#[derive(Debug, ClapArgs)]
#[command(after_help = examples::RIG)]
pub(super) struct RigArgs {
    /// The stage file
    #[arg(value_name = "STAGE")]
    stage: PathBuf,
    /// Only this axis, as GROUP.AXIS
    #[arg(long, value_name = "NAME")]
    axis: Option<String>,
    /// Readings of one axis: CSV with columns commanded,measured,direction; the file is called GROUP.AXIS.csv, or --axis names the axis
    #[arg(long, value_name = "AXIS.csv")]
    measured: Option<PathBuf>,
    /// Print the table of readings to fill in, as CSV, in the order of the run
    #[arg(long, requires = "axis", conflicts_with_all = ["measured", "json"])]
    blank: bool,
    /// Print JSON instead of text
    #[arg(long)]
    pub(super) json: bool,
}

pub(super) fn run(args: &RigArgs) -> Outcome {
    let progress = Progress::start("reading");
    let stage = match input::load_stage(&args.stage) {
        Ok(stage) => stage,
        Err(rejection) => return rejected(progress, &rejection),
    };
    let axes: Vec<AxisId> = match chosen(args, &stage) {
        Ok(Some(one)) => vec![one],
        Ok(None) => stage.axis_ids().collect(),
        Err(flaw) => {
            drop(progress);
            return terminal::refusal(&flaw);
        }
    };
    let sheets: Vec<AxisSheet<'_>> = axes.iter().map(|id| AxisSheet::of(&stage, *id)).collect();
    let (Some(path), Some(sheet)) = (&args.measured, sheets.first()) else {
        drop(progress);
        return match sheets.first().filter(|_| args.blank) {
            Some(sheet) => blank(sheet),
            None => printed(args, &stage, &sheets, None),
        };
    };
    let file = match input::load_measurement(path, sheet.axis) {
        Ok(file) => file,
        Err(rejection) => return rejected(progress, &rejection),
    };
    let calibration = Calibration::of(sheet.axis, &file.measurement);
    drop(progress);
    match calibration {
        Ok(calibration) => {
            let name = path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
            let measured =
                Measured { file: &name, axis: sheet.name, measurement: &file.measurement, blank: file.blank, calibration: &calibration };
            printed(args, &stage, &sheets, Some(&measured))
        }
        Err(flaw) => terminal::refusal(&flaw),
    }
}

/// The axis that the call means; `None`: all of them.
fn chosen(args: &RigArgs, stage: &Stage) -> Result<Option<AxisId>, Flaw> {
    let (name, help) = match (&args.axis, &args.measured) {
        (Some(name), _) => (name.clone(), "name an axis as GROUP.AXIS"),
        (None, Some(path)) => (of_file(path), "call the file GROUP.AXIS.csv, or name the axis with --axis"),
        (None, None) => return Ok(None),
    };
    if let Some(id) = stage.axis_of_name(&name) {
        return Ok(Some(id));
    }
    let flaw = Flaw::new(Code::UnknownAxis, if args.axis.is_some() { "--axis" } else { "--measured" }, "the stage has no such axis");
    let flaw = flaw.found(format!("`{}`", name.chars().take(140).collect::<String>()), "an axis of the stage file");
    Err(match input::nearest_name(&name, stage.axis_names().iter().map(String::as_str)) {
        Some(near) => flaw.help(format!("{help}; near to it: {near}")),
        None => flaw.help(help),
    })
}

/// The name of a file without `.csv`.
fn of_file(path: &Path) -> String {
    let name = path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    name.strip_suffix(".csv").map(str::to_owned).unwrap_or(name)
}

fn blank(sheet: &AxisSheet<'_>) -> Outcome {
    match &sheet.targets {
        Some(targets) => terminal::data(&rig_text::blank(targets), Outcome::Fine),
        None => {
            let flaw = Flaw::new(Code::EmptyRange, "", format!("{} has no room to be measured from both sides", sheet.name));
            terminal::refusal(&flaw.found("backlash or steps too large for the travel", "positions that both sides can reach"))
        }
    }
}

fn printed(args: &RigArgs, stage: &Stage, sheets: &[AxisSheet<'_>], measured: Option<&Measured<'_>>) -> Outcome {
    let outcome = if measured.is_some_and(|m| !m.calibration.agrees()) { Outcome::Over } else { Outcome::Fine };
    if args.json {
        return match rig_json::text(stage.name(), sheets, measured) {
            Ok(text) => terminal::json(&text, outcome),
            Err(error) => {
                terminal::error(Code::WriteFailed, format!("the sheet could not be written as JSON: {error}"));
                Outcome::Wrong
            }
        };
    }
    let text = match (measured, sheets.first()) {
        (Some(measured), Some(sheet)) => rig_text::measured(sheet, measured),
        _ => rig_text::sheets(stage.name(), &args.stage.display().to_string(), sheets),
    };
    terminal::result(&text, outcome)
}

fn rejected(progress: Progress, rejection: &input::Rejection) -> Outcome {
    drop(progress);
    terminal::rejection(rejection);
    Outcome::Wrong
}
