//! `movewright study`: how few drives a recorded motion needs.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Args as ClapArgs;

use super::coded::Coded;
use super::examples;
use super::terminal::{self, Progress};
use super::{Outcome, destination, study_text};
use crate::bounds::{self, Bound, Code, Flaw};
use crate::input;
use crate::output::routine_text::{self, Written};
use crate::output::staged::{self, OurFile, StagedError};
use crate::output::study_json;
use crate::page;
use crate::stage::Stage;
use crate::study::markers::indices;
use crate::study::performance::Performance;
use crate::study::rig::{Recorded, Rig};
use crate::study::rig_beat::RigBeat;
use crate::study::{Markers, Plays, Study};
use crate::time::FrameRate;

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
    #[arg(long, value_name = "MM", allow_negative_numbers = true)]
    within: Option<f64>,
    /// Write the routine that plays the recording: with --group for its channels, else for drive_1, drive_2, ... in mm
    #[arg(long, value_name = "FILE", requires = "within")]
    write: Option<PathBuf>,
    /// Frame rate of the film, for --write
    #[arg(long, value_name = "RATE", requires = "write", default_value = "24")]
    frame_rate: String,
    /// Write a page: what drives leave, drives over a beat, markers as recorded and as rebuilt
    #[arg(long, value_name = "FILE")]
    report: Option<PathBuf>,
    /// Replace a file of --write or --report even if it may not be an earlier output of this command
    #[arg(long)]
    replace: bool,
    /// A stage file, with --group: how well a group of the stage follows the markers
    #[arg(long, value_name = "STAGE", requires = "group")]
    stage: Option<PathBuf>,
    /// The group whose axes are fitted; the first complete row is the figure with every axis at home
    #[arg(long, value_name = "NAME", requires = "stage")]
    group: Option<String>,
    /// On which limb a marker is, or `body`; without, where fewest axes explain its way
    #[arg(long, value_name = "MARKER=LIMB", requires = "stage", value_delimiter = ',')]
    attach: Vec<String>,
    /// Print JSON instead of a table
    #[arg(long)]
    pub(super) json: bool,
}

pub(super) fn run(args: &StudyArgs) -> Outcome {
    let progress = Progress::start("studying");
    let stage = match args.stage.as_deref().map(input::load_stage).transpose() {
        Ok(stage) => stage,
        Err(rejection) => {
            drop(progress);
            terminal::rejection(&rejection);
            return Outcome::Wrong;
        }
    };
    let markers = match input::load_markers(&args.markers) {
        Ok(markers) => markers,
        Err(rejection) => {
            drop(progress);
            terminal::rejection(&rejection);
            return Outcome::Wrong;
        }
    };
    let names: Vec<&str> = args.body.iter().map(|name| name.trim()).collect();
    let within = args.within.map(|within| Bound { unit: "mm", ..bounds::WITHIN }.check("--within", within)).transpose();
    let studied = within.and_then(|_| indices(&markers, &names)).and_then(|body| {
        let study = Study::of(&markers, &body)?;
        let rig = match (&stage, &args.group) {
            (Some(stage), Some(group)) => Some(fitted(args, stage, group, &markers, &study, &body)?),
            _ => None,
        };
        Ok((study, body, rig))
    });
    drop(progress);
    let (study, body, rig) = match studied {
        Ok(studied) => studied,
        Err(flaw) => return terminal::refusal(&flaw),
    };
    let beat = match (&args.write, args.within, &rig) {
        (Some(to), Some(within), Some(rig)) => match RigBeat::of(&rig.followed, study.period, within) {
            Ok(beat) if written(args, to, &study, &Played::OnGroup(&rig.group, &beat)) => Some(beat),
            Ok(_) => return Outcome::Wrong,
            Err(flaw) => return terminal::refusal(&flaw),
        },
        _ => None,
    };
    let played = match (&args.write, args.within.filter(|_| rig.is_none())) {
        (Some(to), Some(within)) => match Performance::of(&study, within) {
            Ok(played) if written(args, to, &study, &Played::OnDrives(&markers, &played)) => Some(played),
            Ok(_) => return Outcome::Wrong,
            Err(flaw) => return terminal::refusal(&flaw),
        },
        _ => None,
    };
    let name = args.markers.display().to_string();
    if args.report.as_deref().is_some_and(|to| !reported(args, to, &name, &markers, &study)) {
        return Outcome::Wrong;
    }
    if !args.json {
        return terminal::result(
            &study_text::text(
                &name,
                &markers,
                &study,
                &body,
                args.within,
                &Plays { drives: played.as_ref(), rig: rig.as_ref(), beat: beat.as_ref() },
            ),
            Outcome::Fine,
        );
    }
    match study_json::text(&markers, &study, &body, args.within, &Plays { drives: played.as_ref(), rig: rig.as_ref(), beat: beat.as_ref() })
    {
        Ok(text) => terminal::json(&text, Outcome::Fine),
        Err(error) => {
            terminal::error(Code::WriteFailed, format!("the study could not be written as JSON: {error}"));
            Outcome::Wrong
        }
    }
}

/// What a group of the stage can do of the recording.
fn fitted<'a>(args: &StudyArgs, stage: &'a Stage, group: &str, markers: &Markers, study: &Study, body: &[usize]) -> Result<Rig<'a>, Flaw> {
    let mut attached = Vec::new();
    for given in &args.attach {
        let Some((marker, limb)) = given.split_once('=') else {
            let flaw = Flaw::new(Code::InvalidName, "--attach", "a marker needs its limb");
            return Err(flaw.found(format!("`{given}`"), "MARKER=LIMB"));
        };
        let named = indices(markers, &[marker.trim()]).map_err(|flaw| Flaw { field: "--attach".into(), ..flaw })?;
        attached.extend(named.into_iter().map(|m| (m, limb.trim().to_owned())));
    }
    let recorded = Recorded { moving: &study.moving, times: &study.times, markers: markers.names().len(), body, attached: &attached };
    Rig::of(stage, group, &recorded)
}

/// Writes the routine and, where it has some, its recorded curves beside it; false where that failed, which is reported.
fn written(args: &StudyArgs, to: &Path, study: &Study, played: &Played<'_>) -> bool {
    let rate = match FrameRate::parse(&args.frame_rate) {
        Ok(rate) => rate,
        Err(flaw) => {
            terminal::error(Code::InvalidFrameRate, format!("--frame-rate: {flaw}"));
            return false;
        }
    };
    let curves = to.with_extension("csv");
    let Some(name) = curves.file_name().and_then(|name| name.to_str()).filter(|_| to.extension().is_some_and(|e| e == "toml")) else {
        terminal::error(Code::InvalidFileName, format!("--write: found `{}`, allowed a name that ends in .toml", to.display()));
        return false;
    };
    let recording = args.markers.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    let written = Written {
        recording: &recording,
        rate: f64::from(rate.numerator()) / f64::from(rate.denominator()),
        rate_text: &args.frame_rate,
        curves: name,
    };
    let put = |to: &Path, ours: &OurFile, text: &str| put(args, to, ours, text);
    let ours = OurFile::marked("a routine of movewright", routine_text::BEGINS, routine_text::ENDS);
    match played {
        Played::OnDrives(markers, played) => {
            let csv = routine_text::csv(played, &study.times);
            csv.is_none_or(|(header, text)| put(&curves, &OurFile::rows(&header), &text))
                && put(to, &ours, &routine_text::toml(markers, study, played, written))
        }
        Played::OnGroup(group, beat) => put(to, &ours, &routine_text::of_group(study, group, beat, written)),
    }
}

/// Writes the page; false where that failed, which is reported.
fn reported(args: &StudyArgs, to: &Path, name: &str, markers: &Markers, study: &Study) -> bool {
    if to.extension().is_none_or(|e| e != "html") {
        terminal::error(Code::InvalidFileName, format!("--report: found `{}`, allowed a name that ends in .html", to.display()));
        return false;
    }
    let text = page::study_page(name, markers, study, args.within);
    put(args, to, &OurFile::marked("a page of a study", page::STUDY_BEGINS, page::PAGE_ENDS), &text)
}

/// Writes a file whole or not at all; false where that failed, which is reported.
fn put(args: &StudyArgs, to: &Path, ours: &OurFile, text: &str) -> bool {
    let fill = |out: &mut (dyn Write + Send)| {
        // What the system says is kept by who writes, and reported there.
        let _kept = out.write_all(text.as_bytes());
        Ok::<(), StagedError>(())
    };
    match staged::file(to, ours, args.replace, fill) {
        Ok(what) => terminal::remark(&destination::remark(what, to)),
        Err(error) => {
            terminal::error(error.code(), error);
            return false;
        }
    }
    true
}

/// What is written.
enum Played<'a> {
    OnDrives(&'a Markers, &'a Performance),
    OnGroup(&'a str, &'a RigBeat),
}
