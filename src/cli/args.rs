//! Commands and options.

use std::path::PathBuf;

use clap::{Args as ClapArgs, Parser, Subcommand};

use super::examples;
use super::size::Size;

/// Compiles choreography for a miniature stage into stepper positions, and checks the whole curve, including between frames.
#[derive(Debug, Parser)]
#[command(name = "movewright", version, arg_required_else_help = true, max_term_width = 80, after_help = examples::PROGRAM)]
pub(super) struct Args {
    #[command(subcommand)]
    pub(super) command: Command,
}

#[derive(Debug, Subcommand)]
pub(super) enum Command {
    /// Write a small stage and shot to start from
    #[command(after_help = examples::NEW)]
    New(NewArgs),
    /// Check a shot against the stage's limits; writes nothing
    #[command(after_help = examples::CHECK)]
    Check(CheckArgs),
    /// Compute stop, exposure and pace from light, depth of field and machine; writes nothing
    #[command(after_help = examples::PACE)]
    Pace(PaceArgs),
    /// Check a shot and, if every limit holds, write the step tables
    #[command(after_help = examples::COMPILE)]
    Compile(CompileArgs),
    /// Write a report page of the move: every axis, the stage, the picture, the clock
    #[command(after_help = examples::REPORT)]
    Report(super::picture::ReportArgs),
    /// Serve the report to a browser on this machine, and follow every save
    #[command(after_help = examples::WATCH)]
    Watch(WatchArgs),
    /// Write a plot (SVG) of one axis for documents
    #[command(after_help = examples::PLOT)]
    Plot(super::picture::PlotArgs),
    /// Write the program of a pass as rows at a fixed rate, for a controller
    #[command(after_help = examples::ROWS)]
    Rows(super::rows::RowsArgs),
    /// Recompute an output folder independently and report any difference
    #[command(after_help = examples::VERIFY)]
    Verify(VerifyArgs),
    /// Compare two versions of a shot: which axes changed, and which passes to reshoot
    #[command(after_help = examples::CHANGES)]
    Changes(ChangesArgs),
    /// Compare logged positions with a pass: repeatability in units, steps and pixels
    #[command(after_help = examples::COMPARE)]
    Compare(CompareArgs),
    /// Study a performer's recording: how few drives reproduce its motion, with what error
    Study(super::study::StudyArgs),
    /// Print the axis calibration sheet of a stage, or judge readings of one axis
    Rig(super::rig::RigArgs),
    /// Add a take to the record of takes beside an output folder
    Take(super::take::TakeArgs),
    /// Generate shell completions
    #[command(after_help = examples::COMPLETIONS)]
    Completions(CompletionsArgs),
    /// Write the manual pages, one per command
    #[command(after_help = examples::MAN)]
    Man(ManArgs),
    /// Write the JSON Schemas of both files, or the reference of keys or error codes
    Schema(super::schema::SchemaArgs),
}

impl Command {
    /// True where the command writes files.
    pub(super) fn writes(&self) -> bool {
        use Command::{Compare, Compile, Man, New, Plot, Report, Rows, Study, Take};
        matches!(self, New(_) | Compile(_) | Report(_) | Plot(_) | Rows(_) | Man(_) | Study(_) | Take(_) | Compare(_))
    }

    /// True where JSON was asked for.
    pub(super) fn is_json(&self) -> bool {
        use Command::{Changes, Check, Compare, Pace, Rig, Study};
        match self {
            Check(a) => a.json,
            Pace(a) => a.json,
            Changes(a) => a.json,
            Compare(a) => a.json,
            Study(a) => a.json,
            Rig(a) => a.json,
            _ => false,
        }
    }
}

#[derive(Debug, ClapArgs)]
pub(super) struct WatchArgs {
    /// The shot file
    #[arg(value_name = "SHOT")]
    pub(super) shot: PathBuf,
    /// Port of 127.0.0.1; 0 takes a free one
    #[arg(long, value_name = "N", default_value_t = 0)]
    pub(super) port: u16,
    /// Let keys be dragged in the page, and write them into the shot file and its key files
    #[arg(long)]
    pub(super) edit: bool,
    #[command(flatten)]
    pub(super) size: Size,
}

#[derive(Debug, ClapArgs)]
pub(super) struct NewArgs {
    /// The folder to create
    #[arg(value_name = "DIR")]
    pub(super) dir: PathBuf,
}

#[derive(Debug, ClapArgs)]
pub(super) struct CompletionsArgs {
    /// The shell
    #[arg(value_enum, value_name = "SHELL")]
    pub(super) shell: clap_complete::Shell,
}

#[derive(Debug, ClapArgs)]
pub(super) struct ManArgs {
    /// Write a folder with one file per page; without it, all pages go to standard output
    #[arg(long, value_name = "DIR")]
    pub(super) out: Option<PathBuf>,
}

#[derive(Debug, ClapArgs)]
pub(super) struct CheckArgs {
    /// The shot file
    #[arg(value_name = "SHOT")]
    pub(super) shot: PathBuf,
    /// Print JSON instead of a table
    #[arg(long)]
    pub(super) json: bool,
    /// Show everything, not only the most important lines
    #[arg(long)]
    pub(super) all: bool,
    #[command(flatten)]
    pub(super) size: Size,
}

#[derive(Debug, ClapArgs)]
pub(super) struct PaceArgs {
    /// The shot file
    #[arg(value_name = "SHOT")]
    pub(super) shot: PathBuf,
    /// Print JSON instead of text
    #[arg(long)]
    pub(super) json: bool,
    /// Also say which passes are shot, by this record of takes (takes.csv)
    #[arg(long, value_name = "FILE")]
    pub(super) takes: Option<PathBuf>,
    /// Print the list of passes as CSV: pass, light, stop, filters, start, end, exposures, notes; with --takes also what is shot
    #[arg(long, conflicts_with = "json")]
    pub(super) csv: bool,
    #[command(flatten)]
    pub(super) size: Size,
}

#[derive(Debug, ClapArgs)]
pub(super) struct CompileArgs {
    /// The shot file
    #[arg(value_name = "SHOT")]
    pub(super) shot: PathBuf,
    /// The folder to write; `-` is refused
    #[arg(long, value_name = "DIR")]
    pub(super) out: PathBuf,
    /// Replace a folder written by movewright whose content differs
    #[arg(long)]
    pub(super) replace: bool,
    /// Write even if a limit is exceeded; the manifest then says so
    #[arg(long)]
    pub(super) over_limits: bool,
    /// Also write camera, bodies and scene at full size (divided by the stage's scale)
    #[arg(long)]
    pub(super) full_size: bool,
    /// Number the frames of camera, bodies, scene, rods, outlines and silhouettes from this one on
    #[arg(long, value_name = "N", allow_negative_numbers = true, value_parser = clap::value_parser!(i64).range(-100_000_000..=99_000_000))]
    pub(super) first_frame: Option<i64>,
    /// Samples of each frame in camera and bodies, from shutter open to shutter close of the first moving pass; 1 is the middle of the exposure
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u8).range(1..=64))]
    pub(super) samples_per_frame: Option<u8>,
    /// Also write the program of every pass, PASS.rows.csv, at this many rows per second of stage time: 100, 12.5 or 30000/1001
    #[arg(long, value_name = "HZ")]
    pub(super) rows: Option<String>,
    /// With --rows: only these frames of every pass, both included, with a run-up and run-down of their own
    #[arg(long, value_name = "N..M", allow_hyphen_values = true, requires = "rows")]
    pub(super) frames: Option<String>,
    /// Show everything, not only the most important lines
    #[arg(long)]
    pub(super) all: bool,
    #[command(flatten)]
    pub(super) size: Size,
}

#[derive(Debug, ClapArgs)]
pub(super) struct VerifyArgs {
    /// A folder written by movewright
    #[arg(value_name = "DIR")]
    pub(super) dir: PathBuf,
    /// Show everything, not only the most important lines
    #[arg(long)]
    pub(super) all: bool,
}

#[derive(Debug, ClapArgs)]
pub(super) struct ChangesArgs {
    /// What the passes were shot from: a shot file or a compiled folder
    #[arg(value_name = "OLD")]
    pub(super) old: PathBuf,
    /// The edited version: a shot file or a compiled folder
    #[arg(value_name = "NEW")]
    pub(super) new: PathBuf,
    /// Print JSON instead of text
    #[arg(long)]
    pub(super) json: bool,
    /// Show everything, not only the most important lines
    #[arg(long)]
    pub(super) all: bool,
    #[command(flatten)]
    pub(super) size: Size,
}

#[derive(Debug, ClapArgs)]
pub(super) struct CompareArgs {
    /// A folder written by movewright
    #[arg(value_name = "DIR")]
    pub(super) dir: PathBuf,
    /// The pass that was run
    #[arg(long, value_name = "NAME", required_unless_present = "home")]
    pub(super) pass: Option<String>,
    /// Logged positions of a take: CSV with columns frame,AXIS,...
    #[arg(value_name = "LOG", required_unless_present_any = ["home", "points"])]
    pub(super) logs: Vec<PathBuf>,
    /// Compare home switch counts before and after a take, without logs: CSV with columns axis,steps
    #[arg(long, num_args = 2, value_names = ["BEFORE", "AFTER"], conflicts_with_all = ["pass", "logs", "points", "tolerance_steps", "tolerance_px", "log_units", "hand_off"])]
    pub(super) home: Option<Vec<PathBuf>>,
    /// Find axes that lost steps between two runs of the pass, from marks tracked in their pictures: CSV with columns frame,point,x,y
    #[arg(long, num_args = 2, value_names = ["FIRST", "SECOND"], conflicts_with_all = ["logs", "tolerance_steps", "tolerance_px", "log_units"])]
    pub(super) points: Option<Vec<PathBuf>>,
    /// Write the hand-off files again with the positions of the log, or with the steps that --points found, into a new folder
    #[arg(long, value_name = "DIR")]
    pub(super) hand_off: Option<PathBuf>,
    /// Allowed deviation in steps
    #[arg(long, value_name = "N")]
    pub(super) tolerance_steps: Option<f64>,
    /// Allowed deviation in pixels of the picture
    #[arg(long, value_name = "P")]
    pub(super) tolerance_px: Option<f64>,
    /// Unit of the numbers in the logs
    #[arg(long, value_enum, default_value_t = LogUnits::Steps)]
    pub(super) log_units: LogUnits,
    /// Print JSON instead of a table
    #[arg(long)]
    pub(super) json: bool,
    /// Show everything, not only the most important lines
    #[arg(long)]
    pub(super) all: bool,
}

/// What the numbers of a log are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum LogUnits {
    /// Steps from home
    Steps,
    /// mm and deg
    Units,
}
