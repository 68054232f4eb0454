//! Commands and options.

use std::path::PathBuf;

use clap::{Args as ClapArgs, Parser, Subcommand};

use super::examples;
use super::size::Size;

/// Compiles choreography for a miniature stage into stepper positions, every limit proven on the curve.
#[derive(Debug, Parser)]
#[command(name = "movewright", version, arg_required_else_help = true, max_term_width = 80, after_help = examples::PROGRAM)]
pub(super) struct Args {
    #[command(subcommand)]
    pub(super) command: Command,
}

#[derive(Debug, Subcommand)]
pub(super) enum Command {
    /// Write a small stage and shot to begin with
    #[command(after_help = examples::NEW)]
    New(NewArgs),
    /// Compile in memory, check everything, print what was found
    #[command(after_help = examples::CHECK)]
    Check(CheckArgs),
    /// The same, and write the columns if all is within limits
    #[command(after_help = examples::COMPILE)]
    Compile(CompileArgs),
    /// Write the move on one page: every axis, the stage, the picture, the clock
    #[command(after_help = examples::REPORT)]
    Report(super::picture::ReportArgs),
    /// Write one axis as a picture (SVG) for documents
    #[command(after_help = examples::PLOT)]
    Plot(super::picture::PlotArgs),
    /// Write the whole program of a pass as rows at a fixed rate, for a controller
    #[command(after_help = examples::ROWS)]
    Rows(super::rows::RowsArgs),
    /// Recompute an output folder independently and report any difference
    #[command(after_help = examples::VERIFY)]
    Verify(VerifyArgs),
    /// After an edit: which axes changed, from which frame to which, and which passes are still good
    #[command(after_help = examples::CHANGES)]
    Changes(ChangesArgs),
    /// Hold logged positions of takes against a pass: repeatability in units, steps and picture pixels
    #[command(after_help = examples::COMPARE)]
    Compare(CompareArgs),
    /// Write what a shell needs to complete commands and options
    #[command(after_help = examples::COMPLETIONS)]
    Completions(CompletionsArgs),
    /// Write the manual, one page for each command
    #[command(after_help = examples::MAN)]
    Man(ManArgs),
    /// Write the JSON Schema of stage.toml or shot.toml, or the reference of every key
    Schema(super::schema::SchemaArgs),
}

impl Command {
    /// True where the command writes files.
    pub(super) fn writes(&self) -> bool {
        use Command::{Compile, Man, New, Plot, Report, Rows};
        matches!(self, New(_) | Compile(_) | Report(_) | Plot(_) | Rows(_) | Man(_))
    }
}

#[derive(Debug, ClapArgs)]
pub(super) struct NewArgs {
    /// The folder to make
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
    /// Write a folder with a file for each page instead of all of them to standard output; `-` is refused
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
    /// Show everything, not only what matters first
    #[arg(long)]
    pub(super) all: bool,
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
    /// Write though something is over a limit; the manifest says so
    #[arg(long)]
    pub(super) over_limits: bool,
    /// Write camera, bodies and scene at the size of the real thing too (divided by the stage's scale)
    #[arg(long)]
    pub(super) full_size: bool,
    /// Write the whole program of every pass too, PASS.rows.csv, at so many rows per second of stage time: 100, 12.5 or 30000/1001
    #[arg(long, value_name = "HZ")]
    pub(super) rows: Option<String>,
    /// Show everything, not only what matters first
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
    /// Show everything, not only what matters first
    #[arg(long)]
    pub(super) all: bool,
}

#[derive(Debug, ClapArgs)]
pub(super) struct ChangesArgs {
    /// The shot file as it was when passes were shot
    #[arg(value_name = "OLD")]
    pub(super) old: PathBuf,
    /// The shot file as it is now
    #[arg(value_name = "NEW")]
    pub(super) new: PathBuf,
    /// Print JSON instead of text
    #[arg(long)]
    pub(super) json: bool,
    /// Show everything, not only what matters first
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
    #[arg(long, value_name = "NAME")]
    pub(super) pass: String,
    /// Logged positions of a take: CSV with columns frame,AXIS,...
    #[arg(value_name = "LOG", required = true)]
    pub(super) logs: Vec<PathBuf>,
    /// Steps a position may be off
    #[arg(long, value_name = "N")]
    pub(super) tolerance_steps: Option<f64>,
    /// Pixels a position may be off at the picture
    #[arg(long, value_name = "P")]
    pub(super) tolerance_px: Option<f64>,
    /// What the numbers in the logs are
    #[arg(long, value_enum, default_value_t = LogUnits::Steps)]
    pub(super) log_units: LogUnits,
    /// Print JSON instead of a table
    #[arg(long)]
    pub(super) json: bool,
    /// Show everything, not only what matters first
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
