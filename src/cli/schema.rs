//! `movewright schema`: JSON Schema of each kind of file, the reference of every key, or that of every error code, on standard output.

use clap::{Args as ClapArgs, ValueEnum};

use super::{Outcome, compare_json, compare_points_json, errors_json, terminal};
use crate::bounds::Code;
use crate::input::keys::{reference, schema};
use crate::output::{rig_json, schemas, study_json};

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
    /// What `check --json` prints
    Check,
    /// What `pace --json` prints
    Pace,
    /// What `changes --json` prints
    Changes,
    /// What `compare --json` prints
    Compare,
    /// What `compare --points --json` prints
    ComparePoints,
    /// What `study --json` prints
    Study,
    /// What `rig --json` prints
    Rig,
    /// manifest.json of a compiled folder
    Manifest,
    /// What a command with `--json` prints where the input is wrong
    Errors,
}

impl FileKind {
    fn schema(self) -> serde_json::Value {
        match self {
            FileKind::Stage => schema::stage(),
            FileKind::Shot => schema::shot(),
            FileKind::Routine => schema::routine(),
            FileKind::Check => schemas::check(),
            FileKind::Pace => schemas::pace(),
            FileKind::Changes => schemas::changes(),
            FileKind::Compare => compare_json::schema(),
            FileKind::ComparePoints => compare_points_json::schema(),
            FileKind::Study => study_json::schema(),
            FileKind::Rig => rig_json::schema(),
            FileKind::Manifest => schemas::manifest(),
            FileKind::Errors => errors_json::schema(),
        }
    }
}

/// Every schema under the name by which it is asked for.
fn all() -> serde_json::Value {
    let named = |kind: &FileKind| Some((kind.to_possible_value()?.get_name().to_owned(), kind.schema()));
    FileKind::value_variants().iter().filter_map(named).collect::<serde_json::Map<_, _>>().into()
}

pub(super) fn run(args: &SchemaArgs) -> Outcome {
    if args.reference {
        return terminal::data(&reference::markdown(), Outcome::Fine);
    }
    if args.errors {
        return terminal::data(&Code::reference(), Outcome::Fine);
    }
    let schema = args.file.map_or_else(all, FileKind::schema);
    // Alternate form: JSON over several lines.
    terminal::data(&format!("{schema:#}\n"), Outcome::Fine)
}
