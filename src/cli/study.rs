//! `movewright study`: how few drives a recorded motion needs.

use std::path::PathBuf;

use clap::Args as ClapArgs;

use super::examples;
use super::terminal::{self, Progress};
use super::{Outcome, study_text};
use crate::bounds::{self, Code, Flaw};
use crate::input;
use crate::output::study_json;
use crate::study::Study;
use crate::study::markers::indices;

#[derive(Debug, ClapArgs)]
#[command(after_help = examples::STUDY)]
pub(super) struct StudyArgs {
    /// The recording: CSV with columns time_s,NAME.x,NAME.y,NAME.z,... in s and mm
    #[arg(value_name = "MARKERS.csv")]
    markers: PathBuf,
    /// Markers of the body, separated by commas: its rigid motion is removed first
    #[arg(long, value_name = "NAMES", value_delimiter = ',')]
    body: Vec<String>,
    /// How far a marker may be off, mm: the fewest drives that manage it are named
    #[arg(long, value_name = "MM")]
    within: Option<f64>,
    /// Print JSON instead of a table
    #[arg(long)]
    json: bool,
}

pub(super) fn run(args: &StudyArgs) -> Outcome {
    let progress = Progress::start("studying");
    let markers = match input::load_markers(&args.markers) {
        Ok(markers) => markers,
        Err(rejection) => {
            drop(progress);
            terminal::rejection(&rejection);
            return if args.json { terminal::data(&errors(&rejection), Outcome::Wrong) } else { Outcome::Wrong };
        }
    };
    let names: Vec<&str> = args.body.iter().map(|name| name.trim()).collect();
    let within = args.within.map(|within| bounds::WITHIN.check("--within", within)).transpose();
    let studied = within.and_then(|_| indices(&markers, &names)).and_then(|body| Ok((Study::of(&markers, &body)?, body)));
    drop(progress);
    let (study, body) = match studied {
        Ok(studied) => studied,
        Err(flaw) => return refused(args, &flaw),
    };
    if !args.json {
        return terminal::result(
            &study_text::text(&args.markers.display().to_string(), &markers, &study, &body, args.within),
            Outcome::Fine,
        );
    }
    match study_json::text(&markers, &study, &body, args.within) {
        Ok(text) => terminal::json(&text, Outcome::Fine),
        Err(error) => {
            terminal::error(Code::WriteFailed, format!("the study could not be written as JSON: {error}"));
            Outcome::Wrong
        }
    }
}

fn refused(args: &StudyArgs, flaw: &Flaw) -> Outcome {
    let field = if flaw.field.is_empty() { String::new() } else { format!("{}: ", flaw.field) };
    terminal::error(flaw.code, format!("{field}{flaw}"));
    if !args.json {
        return Outcome::Wrong;
    }
    let error = serde_json::json!({ "code": flaw.code(), "file": null, "line": null, "column": null, "title": flaw.title, "found": flaw.found, "allowed": flaw.allowed, "help": flaw.help });
    terminal::data(&format!("{:#}\n", serde_json::json!({ "format": 1, "errors": [error] })), Outcome::Wrong)
}

/// A rejection as JSON.
fn errors(rejection: &input::Rejection) -> String {
    let errors: Vec<serde_json::Value> = rejection
        .diagnostics()
        .iter()
        .map(|d| {
            let place = d.place.as_ref();
            let file = place.and_then(|p| rejection.sources().get(p.file)).map(|source| source.name());
            serde_json::json!({ "code": d.code(), "file": file, "line": place.map(|p| p.line), "column": place.map(|p| p.column), "title": d.title, "found": d.found, "allowed": d.allowed, "help": d.help })
        })
        .collect();
    format!("{:#}\n", serde_json::json!({ "format": 1, "errors": errors }))
}
