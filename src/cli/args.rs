//! Commands and options.

use std::path::PathBuf;

use clap::{Args as ClapArgs, Parser, Subcommand};

/// Compiles choreography for a miniature stage into stepper positions, every limit proven on the curve.
#[derive(Debug, Parser)]
#[command(name = "movewright", version, arg_required_else_help = true, after_help = AFTER)]
pub(super) struct Args {
    #[command(subcommand)]
    pub(super) command: Command,
}

const AFTER: &str = "Exit status: 0 within limits, 1 something is over a limit, 2 the input or the call is wrong (nothing written).\n\
Checked against the limits that the stage file states, and nothing else. Software limits are not a safety function: \
overhead loads and motors that start by themselves can kill; follow local codes and licensed practice.";

#[derive(Debug, Subcommand)]
pub(super) enum Command {
    /// Compile in memory, check everything, print what was found
    Check(CheckArgs),
    /// The same, and write the columns if all is within limits
    Compile(CompileArgs),
}

#[derive(Debug, ClapArgs)]
pub(super) struct CheckArgs {
    /// The shot file
    #[arg(value_name = "SHOT")]
    pub(super) shot: PathBuf,
    /// Print JSON instead of a table
    #[arg(long)]
    pub(super) json: bool,
}

#[derive(Debug, ClapArgs)]
pub(super) struct CompileArgs {
    /// The shot file
    #[arg(value_name = "SHOT")]
    pub(super) shot: PathBuf,
    /// The folder to write
    #[arg(long, value_name = "DIR")]
    pub(super) out: PathBuf,
    /// Replace a folder written by movewright whose content differs
    #[arg(long)]
    pub(super) replace: bool,
    /// Write though something is over a limit; the manifest says so
    #[arg(long)]
    pub(super) over_limits: bool,
}
