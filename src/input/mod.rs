//! From files to a checked stage and shot, or to every mistake in them.
//!
//! Invariant: whatever the bytes, the answer is a whole [`Loaded`] or a [`Rejection`] with at least one diagnostic; nothing is defaulted that the format does not give a default for, and
//! mistakes of all files are reported at once. Only [`load`] touches the disk; [`parse`] takes a function that reads.
//!
//! How it goes: bytes become text and text a TOML table with places (`document`), tables are read key by key (`reader`), mistakes and places collect in one log (`log`). Names come from the
//! stage file even where it has mistakes, so that the shot is checked as far as it can be. For a file that is not TOML at all, only that is reported: what is missing from it may be there.
//!
//! Limits: TOML files up to 16 MiB, key files up to 64 MiB; mechanisms of the stage file are refused by name.

mod advice;
mod aim_tables;
mod axis_table;
mod body_tables;
mod camera_timing_table;
mod choices;
mod copies;
mod csv_row;
mod diagnostic;
mod document;
mod files;
mod focus_tables;
mod hang_table;
mod haze_table;
mod key_file;
pub(crate) mod key_text;
pub(crate) mod keys;
mod kind;
mod layers;
mod lens_table;
mod light_tables;
mod like;
mod limb_tables;
mod lines;
mod log;
mod machine_tables;
mod marker_file;
mod measured_table;
mod measurement_file;
mod names;
mod nearest;
pub(crate) mod positions;
mod reader;
mod rejection;
#[cfg(feature = "cli")]
mod render;
mod retime_tables;
mod routines;
mod shot_file;
mod solid_values;
mod sources;
mod stage_file;
mod swing_table;
mod targets;
mod values;
mod written;

use std::path::{Component, Path};
use std::sync::Arc;

use crate::bounds::{Code, Flaw, MOST_BYTES, MOST_TOML_BYTES};
use crate::shot::Shot;
use crate::stage::Stage;

pub use diagnostic::{Diagnostic, Span};
pub use files::{Read, Unreadable};
pub(crate) use marker_file::read as load_markers;
#[cfg(feature = "cli")]
pub(crate) use measurement_file::read as load_measurement;
#[cfg(feature = "cli")]
pub(crate) use nearest::nearest as nearest_name;
pub use rejection::Rejection;
pub use sources::{Source, Sources};

use kind::Kind;
use log::Log;
use names::Names;
use reader::Table;
use stage_file::StageRead;

/// A checked shot with its stage, and the files they were read from.
#[derive(Debug, Clone)]
#[non_exhaustive]
pub struct Loaded {
    /// The stage.
    pub stage: Stage,
    /// The shot, checked against the stage.
    pub shot: Shot,
    /// Every file that was read: shot, stage, routines, key files.
    pub sources: Sources,
}

/// Reads a shot file, its stage file and its key files.
///
/// # Errors
/// Every mistake of all files.
pub fn load(path: &Path) -> Result<Loaded, Rejection> {
    let place = FilePlace::of(path)?;
    if let Some(flaw) = files::folder_of_a_shot(path) {
        return Err(FilePlace::refused(flaw));
    }
    let read = |name: &str| files::read(&place.folder.join(name));
    match parse_in(place.folders, &place.name, &read) {
        Ok(mut loaded) => {
            loaded.sources.found_below(&place.folder);
            Ok(loaded)
        }
        Err(mut rejection) => {
            rejection.sources_mut().found_below(&place.folder);
            Err(rejection)
        }
    }
}

/// Reads a shot file, or the shot that a folder of columns was compiled from.
///
/// # Errors
/// As [`load`]; a manifest that names no shot.
pub(crate) fn load_written(path: &Path) -> Result<Loaded, Rejection> {
    load(&written::shot_of(path).map_err(FilePlace::refused)?)
}

/// Reads a file of its own, with what `parsed` makes of its bytes.
///
/// # Errors
/// Every mistake of the file.
fn alone<T>(path: &Path, most: u64, parsed: impl FnOnce(&mut Log, &FilePlace, Arc<[u8]>) -> Option<T>) -> Result<T, Rejection> {
    let place = FilePlace::of(path)?;
    let mut log = Log::new(Sources::in_folders(place.folders.clone()));
    if let Err(flaw) = sources::check_file_name(&place.name) {
        log.add(None, "", flaw);
        return Err(log.reject());
    }
    let read = match crate::files::read(&place.folder.join(&place.name), most) {
        Ok(bytes) => parsed(&mut log, &place, bytes.into()),
        Err(why) => {
            let flaw = files::flaw(&why, &place.name);
            // It is named on the command line, not in a shot.
            log.add(None, "", if flaw.code == Code::MissingFile { flaw.help("check its name and its folder") } else { flaw });
            None
        }
    };
    finish(log, read).map(|(read, _)| read).map_err(|mut rejection| {
        rejection.sources_mut().found_below(&place.folder);
        rejection
    })
}

/// Reads a stage file alone.
///
/// # Errors
/// Every mistake of the file.
pub(crate) fn load_stage(path: &Path) -> Result<Stage, Rejection> {
    alone(path, MOST_BYTES, |log, place, bytes| {
        let file = log.add_file(&place.name, &bytes);
        stage_file::read(log, file, &bytes, &|name: &str| files::read(&place.folder.join(name))).stage
    })
}

/// Reads a shot through `read`; what [`load`] does, without a disk. Folders before the shot's name, as in `marsh/takes/shot.toml`, are those that `..` may lead up through.
///
/// ```
/// use movewright::input::{self, Unreadable};
///
/// let no_files = |_: &str| Err(Unreadable::Missing);
/// let rejection = input::parse("shot.toml", &no_files).unwrap_err();
/// assert_eq!(rejection.diagnostics()[0].code(), "missing-file");
/// ```
///
/// # Errors
/// Every mistake of all files.
pub fn parse(shot: &str, read: Read<'_>) -> Result<Loaded, Rejection> {
    let mut folders: Vec<String> = shot.split('/').map(str::to_owned).collect();
    let name = folders.pop().unwrap_or_default();
    parse_in(folders, &name, read)
}

/// The same shot with other bytes in one of its files, read from memory: whether an edit would still load.
///
/// # Errors
/// Every mistake of all files.
pub(crate) fn with_file(sources: &Sources, file: usize, bytes: &[u8]) -> Result<Loaded, Rejection> {
    let read = |name: &str| {
        let known = sources.iter().enumerate().find(|(_, s)| s.name() == name);
        known.map(|(i, s)| if i == file { bytes } else { s.bytes() }.to_vec()).ok_or(Unreadable::Missing)
    };
    let mut loaded = parse_in(sources.folders().to_vec(), sources.get(0).map_or("", Source::name), &read)?;
    loaded.sources.found_as(sources);
    Ok(loaded)
}

fn parse_in(folders: Vec<String>, shot_name: &str, read: Read<'_>) -> Result<Loaded, Rejection> {
    let mut log = Log::new(Sources::in_folders(folders));
    if let Err(flaw) = sources::check_file_name(shot_name) {
        log.add(None, "", flaw);
        return Err(log.reject());
    }
    let parts = match read(shot_name) {
        Ok(bytes) => {
            let bytes: Arc<[u8]> = bytes.into();
            let file = log.add_file(shot_name, &bytes);
            stage_and_shot(&mut log, file, &bytes, read)
        }
        Err(why) => {
            log.add(None, "", files::flaw(&why, shot_name));
            None
        }
    };
    finish(log, parts).map(|((stage, shot), sources)| Loaded { stage, shot, sources })
}

fn stage_and_shot(log: &mut Log, file: usize, bytes: &[u8], read: Read<'_>) -> Option<(Stage, Shot)> {
    let text = document::text(log, file, bytes, MOST_TOML_BYTES)?;
    let (document, sound) = document::root(log, file, text);
    let mut root = Table::new(file, "", 0..0, document.get_ref());
    if !sound {
        // The stage has nothing to do with these mistakes; its own are reported too, if its name could be read.
        if root.take_quietly("stage", values::text).is_some() {
            let _ = stage_of(log, &mut root, read);
        }
        return None;
    }
    if !document::is_format_1(log, &mut root) {
        return None;
    }
    if let Some(flaw) = kind::wrong(&root, Kind::Shot) {
        root.report_at(log, "", flaw);
        return None;
    }
    let stage_read = stage_of(log, &mut root, read);
    let stage = stage_read.stage?;
    let shot = shot_file::read(log, &mut root, &Names::new(&stage, stage_read.names_complete), read)?;
    Some((stage, shot))
}

fn stage_of(log: &mut Log, root: &mut Table<'_>, read: Read<'_>) -> StageRead {
    let Some(written) = root.need(log, "stage", "the name of the stage file, in quotes", values::text) else { return StageRead::unknown() };
    let name = match log.sources().plain_name(written) {
        Ok(name) => name,
        Err(flaw) => {
            root.report_at(log, "stage", flaw);
            return StageRead::unknown();
        }
    };
    match read(&name) {
        Ok(bytes) => {
            let bytes: Arc<[u8]> = bytes.into();
            let file = log.add_file(&name, &bytes);
            let stage = stage_file::read(log, file, &bytes, read);
            log.stage_is_read();
            stage
        }
        Err(why) => {
            root.report_at(log, "stage", files::flaw(&why, &name));
            StageRead::unknown()
        }
    }
}

/// What was read, if nothing was wrong with it.
fn finish<T>(mut log: Log, read: Option<T>) -> Result<(T, Sources), Rejection> {
    match read {
        Some(read) => log.close().map(|sources| (read, sources)),
        None => {
            if log.count() == 0 {
                // Every way to `None` records why; this keeps the promise of a diagnostic even if one did not.
                log.add(None, "", Flaw::new(Code::UnreadableFile, "", "the input could not be read"));
            }
            Err(log.reject())
        }
    }
}

/// Where a file lies.
struct FilePlace {
    folder: std::path::PathBuf,
    /// Names of the folders that lead to it, outermost first.
    folders: Vec<String>,
    name: String,
}

impl FilePlace {
    fn refused(flaw: Flaw) -> Rejection {
        let mut log = Log::new(Sources::default());
        log.add(None, "", flaw);
        log.reject()
    }

    fn of(path: &Path) -> Result<FilePlace, Rejection> {
        let shown = path.display().to_string();
        let Some(name) = path.file_name() else { return Err(FilePlace::refused(files::flaw(&Unreadable::NotAFile("a folder"), &shown))) };
        let Some(name) = name.to_str() else {
            let flaw = Flaw::new(Code::InvalidFileName, "", "the name of the file is not UTF-8 text");
            return Err(FilePlace::refused(flaw.found(format!("`{shown}`"), "a name in UTF-8").help("rename the file")));
        };
        let given = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
        // A folder that is missing is reported when the file in it is not found.
        let folder = given.canonicalize().unwrap_or_else(|_| given.to_owned());
        let folders = folder
            .components()
            .filter_map(|part| match part {
                Component::Normal(name) => Some(name.to_string_lossy().into_owned()),
                _ => None,
            })
            .collect();
        Ok(FilePlace { folder, folders, name: name.to_owned() })
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::panic, reason = "tests")]
mod tests {
    use super::*;
    use std::collections::BTreeMap;

    const STAGE: &str = r#"format = 1
name = "Marsh stage"
scale = 0.2

[motor.frame57]
full_steps_per_rev = 200
rotor_inertia = 4.4e-5
holding_torque = 1.9
torque = [[0, 1.7], [300, 1.6], [600, 1.3], [1200, 0.6]]

[[group]]
name = "heron_b"
like = "heron_a"
[[group.axis]]
name = "lift"
home = 10
[[group.axis]]
name = "tail"
unit = "deg"
travel = [-30, 30]
max_velocity = 20
max_acceleration = 20
max_jerk = 100
motor = "frame57"

[[group]]
name = "heron_a"
[[group.axis]]
name = "lift"
unit = "mm"
travel = [0, 400]
max_velocity = 60
max_acceleration = 40
max_jerk = 200
motor = "frame57"
microsteps = 10
travel_per_rev = 60
load = { mass = 2.5, friction = 1, vertical = true, efficiency = 0.9 }
[[group.axis]]
name = "roll"
unit = "deg"
travel = [-45, 45]
max_velocity = 20
max_acceleration = 20
max_jerk = 100
motor = "frame57"
gear_ratio = 5
reverse = true
"#;

    const SHOT: &str = r#"format = 1
name = "Herons leave the marsh"
stage = "../stage.toml"
frame_rate = "24"
frames = [1, 96]
timecode_start = "10:00:00:00"
[[track]]
channel = "heron_a.lift"
keys = [[1, 0], [96.5, 300]]
[[track]]
shape = "monotone"
keys = "keys.csv"
[[track]]
channel = "heron_b.tail"
shape = "linear"
blend = 2
keys = "./keys.csv"
[[cycle]]
channel = "heron_a.roll"
period = 30
keys = [[0.0, -18], [0.35, 42], [0.6, 10]]
amount = [[1, 0], [40, 1]]
[[drift]]
channel = "heron_b.tail"
seed = 11
amplitude = 3
period = 48
[[copy]]
from = "heron_a"
to = "heron_b"
delay = 9
scale = { roll = -1 }
[[pass]]
name = "picture"
exposure = "held"
seconds_per_frame = 12
shutter = 180
settle = 2
[[pass]]
name = "empty"
exposure = "moving"
seconds_per_frame = 12
shutter = 180
park = ["heron_b"]
"#;

    const KEYS: &str = "frame,heron_b.tail,heron_b.roll\n1,0,\n48,10,5\n";

    fn parsed(files: &[(&str, &str)]) -> Result<Loaded, Rejection> {
        let files: BTreeMap<&str, &str> = files.iter().copied().collect();
        parse("marsh/takes/shot.toml", &|name| files.get(name).map(|t| t.as_bytes().to_vec()).ok_or(Unreadable::Missing))
    }

    #[test]
    fn a_whole_shot_is_read_as_written() {
        let loaded = parsed(&[("shot.toml", SHOT), ("../stage.toml", STAGE), ("keys.csv", KEYS)]).unwrap_or_else(|e| panic!("{e}"));
        let stage = &loaded.stage;
        assert_eq!(stage.axis_names(), ["heron_b.lift", "heron_b.roll", "heron_b.tail", "heron_a.lift", "heron_a.roll"]);
        let lift = stage.axes().first().unwrap();
        assert_eq!((lift.home(), lift.travel().upper, lift.drive().microsteps()), (10.0, 400.0, 10));
        assert_eq!(lift.load().unwrap(), crate::stage::LoadSpec { inertia: 2.5, friction: 1.0, vertical: true, efficiency: 0.9 });
        assert_eq!(stage.axes().get(3).unwrap().home(), 0.0);
        assert_eq!(stage.axes().get(1).unwrap().count(1.0), Some(-3), "200 x 5 / 360 steps a degree, reversed");
        let shot = &loaded.shot;
        assert_eq!(shot.tracks().len(), 4);
        let key = shot.tracks().get(1).unwrap().keys().get(1).unwrap();
        assert_eq!((key.frame, key.value), (48.0, 10.0));
        assert_eq!((key.place.file, key.place.line, key.place.column), (2, 3, 4));
        let key = shot.tracks().first().unwrap().keys().get(1).unwrap();
        assert_eq!((key.frame, key.place.file, key.place.line, key.place.column), (96.5, 0, 9, 17));
        assert_eq!(shot.copies().first().unwrap().scale_of("roll"), -1.0);
        assert_eq!(shot.passes().get(1).unwrap().park(), [stage.group_of_name("heron_b").unwrap()]);
        assert_eq!(shot.timecode_start().to_string(), "10:00:00:00");
        let paths: Vec<_> = loaded.sources.for_copying().into_iter().map(|(p, _)| p).collect();
        assert_eq!(paths, ["takes/shot.toml", "stage.toml", "takes/keys.csv"]);
    }

    #[test]
    fn the_copies_of_an_input_are_the_same_input() {
        let loaded = parsed(&[("shot.toml", SHOT), ("../stage.toml", STAGE), ("keys.csv", KEYS)]).unwrap();
        let copies: BTreeMap<String, Vec<u8>> = loaded.sources.for_copying().into_iter().collect();
        let again = parse("takes/shot.toml", &|name| {
            let below = name.strip_prefix("../").map_or(format!("takes/{name}"), str::to_owned);
            copies.get(&below).cloned().ok_or(Unreadable::Missing)
        });
        assert_eq!(again.unwrap().shot.tracks(), loaded.shot.tracks());
    }

    #[test]
    fn mistakes_of_all_files_are_told_at_once_in_order() {
        let shot = SHOT.replace("heron_a.roll", "heron_a.rol").replace("shutter = 180", "shutter = 0");
        let stage = STAGE.replace("max_jerk = 200", "max_jerk = \"200\"");
        let keys = KEYS.replace("10", "ten");
        let rejection = parsed(&[("shot.toml", &shot), ("../stage.toml", &stage), ("keys.csv", &keys)]).unwrap_err();
        let told: Vec<_> = rejection
            .diagnostics()
            .iter()
            .map(|d| (d.code.slug(), d.place.as_ref().unwrap().file, d.place.as_ref().unwrap().line))
            .collect();
        assert_eq!(
            told,
            [("unknown-channel", 0, 19), ("out-of-range", 0, 37), ("out-of-range", 0, 43), ("wrong-type", 1, 34), ("not-a-number", 2, 3)],
            "{rejection}"
        );
        assert!(rejection.to_string().contains("axis heron_a.lift: `max_jerk`"), "told where it is written, not where it is taken over");
    }
}
