//! `movewright schema`: JSON Schema of each kind of file, the reference of every key, or that of every error code, on standard output.

use clap::{Args as ClapArgs, ValueEnum};

use super::{Outcome, terminal};
use crate::bounds::Code;
use crate::input::keys::{reference, schema};
use crate::output::study_json;

/// What is written of keys and codes.
#[derive(Debug, ClapArgs)]
#[command(
    after_help = "Examples:\n  movewright schema shot > shot.schema.json\n  movewright schema --reference > KEYS.md\n  movewright schema --errors > ERRORS.md"
)]
pub(super) struct SchemaArgs {
    /// The file; without it, all schemas are written, by name
    #[arg(value_name = "FILE", value_enum)]
    file: Option<FileKind>,
    /// Write the reference of every key as Markdown
    #[arg(long, conflicts_with = "file")]
    reference: bool,
    /// Write the reference of every error code as Markdown
    #[arg(long, conflicts_with_all = ["file", "reference"])]
    errors: bool,
}

/// A kind of file.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum FileKind {
    /// stage.toml
    Stage,
    /// shot.toml
    Shot,
    /// A routine's file
    Routine,
    /// What `study --json` prints
    Study,
}

pub(super) fn run(args: &SchemaArgs) -> Outcome {
    if args.reference {
        return terminal::data(&reference::markdown(), Outcome::Fine);
    }
    if args.errors {
        return terminal::data(&Code::reference(), Outcome::Fine);
    }
    let schema = match args.file {
        Some(FileKind::Stage) => schema::stage(),
        Some(FileKind::Shot) => schema::shot(),
        Some(FileKind::Routine) => schema::routine(),
        Some(FileKind::Study) => study_json::schema(),
        None => {
            serde_json::json!({ "stage": schema::stage(), "shot": schema::shot(), "routine": schema::routine(), "study": study_json::schema() })
        }
    };
    // Alternate form: JSON over several lines.
    terminal::data(&format!("{schema:#}\n"), Outcome::Fine)
}
