//! The manifest: what each column is, the clocks, the limits used, the cautions, and the BLAKE3 of every file.
//!
//! BLAKE3: the hash function of J. O'Connor, J.-P. Aumasson, S. Neves, Z. Wilcox-O'Hearn, 2020, by its authors' crate.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::fits::{self, FitEntry};
use super::handoff::sampling::{Sampling, Wishes};
use super::rows::interpolation::{self, Departure};
use super::rows::{RowRate, Table, Tracks};
use super::used::{self, Clearances, HangEntry, LimbEntry, SwingEntry, TorqueEntry};
use crate::check::{Report, words};
use crate::compile::Compiled;
use crate::number::directed::{self, Places};
use crate::program::way::Approach;
use crate::program::{Direction, Program};
use crate::shot::Shaping;
use crate::stage::AxisId;

/// Kind of document, so that a folder of ours is known as one.
pub(crate) const KIND: &str = "movewright columns";

/// The notice every output carries: the short form, for the terminal. [`CAUTIONS`] is the whole.
pub(crate) const NOTICE: &str = "Checked against the limits that the stage file states, and nothing else. Software limits are not a safety function. \
Overhead loads and motors that start by themselves can kill: keep people clear; provide independent emergency stop, brakes \
and limit switches; follow local codes and licensed practice.";

/// The usual cautions, one each; the manifest and the page list all of them. Standards are named for whoever has to find them; the rest is common practice, no source.
pub(crate) const CAUTIONS: [&str; 13] = [
    "Software limits are not safety functions; limit switches, emergency stop (ISO 13850) and brakes must work without them",
    "A suspended load must not pass over people; lifting equipment is for competent persons under local codes (for example EN 17206, ANSI E1.6-1, LOLER)",
    "Removing power can drop a wire-hung axis: stop category 0 needs a brake (IEC 60204-1, NFPA 79)",
    "A self-locking screw or worm is not a brake: it can run down under vibration or wear; fit a brake to every axis that carries weight",
    "A held pass looks stopped and is not: axes start by themselves between exposures, without warning; a slow moving pass looks stopped as well",
    "An aborted pass must not resume unexpectedly; reference every axis again after any stop",
    "Haze blinds optical presence sensors and smoke detectors: do not rely on a light curtain in haze, and keep a fire watch for as long as a detector is isolated",
    "Haze is breathed in: keep within the exposure limits of its maker and of local codes, and ventilate before people work in it",
    "Still air keeps hung models steady and lets haze, heat and fumes gather: ventilate between passes, and check the air before anyone goes in",
    "Ultraviolet light harms eyes and skin, and much of it cannot be seen: shield the lamps, and wear protection that is made for their wavelength",
    "Hot lamps can start a fire on an unattended pass: keep cloth, dry plants and models away from them, and have the stage watched",
    "Assess the risks of the whole machine before it runs unattended (ISO 12100)",
    "Local codes, the venue and licensed practice decide; this file does not",
];

/// The manifest as it is written and read.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub(crate) struct Manifest {
    /// Version of the format: 1.
    pub format: u32,
    /// Always [`KIND`].
    pub kind: String,
    /// Name and version of the program that wrote it.
    pub written_by: String,
    /// Name of the shot.
    pub shot: String,
    /// Name of the stage.
    pub stage: String,
    /// Path of the shot file below `source/`.
    pub source: String,
    /// True where no limit was exceeded; false only where it was written even so, on request.
    pub within_limits: bool,
    /// Exceeded limits, one line each.
    pub violations: Vec<String>,
    /// Model size over real size.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scale: Option<f64>,
    /// From a fault to the start of the stop, seconds.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reaction_s: Option<f64>,
    /// Clearances that were required, and what they were measured on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clearances: Option<Clearances>,
    /// Weighted limbs whose wires were checked.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub limbs: Vec<LimbEntry>,
    /// Hanging figures whose swing was checked.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub swings: Vec<SwingEntry>,
    /// Figures on three wires.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub hangs: Vec<HangEntry>,
    /// Haze that the shot is photographed through.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub haze: Option<HazeEntry>,
    /// How the files for other departments count frames, where there are any.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hand_off: Option<HandOffEntry>,
    /// Clock of the shot.
    pub clock: Clock,
    /// Passes with their clocks and files.
    pub passes: Vec<PassEntry>,
    /// Curves near recordings, in the order of the shot file.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub fits: Vec<FitEntry>,
    /// Columns in order, after `frame` and `timecode`.
    pub columns: Vec<ColumnEntry>,
    /// How positions become steps.
    pub rounding: String,
    /// Cautions.
    pub cautions: Vec<String>,
    /// Every file but this one.
    pub files: Vec<FileEntry>,
}

/// Haze on the stage.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub(crate) struct HazeEntry {
    /// The camera's group.
    pub camera: String,
    /// Visibility at the real place, m.
    pub full_size_visibility_m: f64,
    /// Visibility to measure on the stage at 2 % contrast, m.
    pub visibility_m: f64,
    /// Extinction on the stage, 1/m.
    pub extinction_per_m: f64,
}

/// How the files for other departments count frames.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub(crate) struct HandOffEntry {
    /// Number of the first photographed frame in them.
    pub first_frame: i64,
    /// Samples of each frame in the tables of camera and bodies.
    pub samples_per_frame: usize,
    /// Shutter angle that the samples span, degrees; `null` where there is one sample, or nothing moves while a shutter is open.
    pub shutter: Option<f64>,
}

/// Clock of the shot.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub(crate) struct Clock {
    /// Frames per second at projection, as written.
    pub frame_rate: String,
    /// First photographed frame.
    pub first_frame: i64,
    /// Last photographed frame.
    pub last_frame: i64,
    /// Timecode of the first frame.
    pub timecode_start: String,
    /// Frames of the run-up before half a frame before the first.
    pub run_up_frames: u32,
    /// Frames of the run-down.
    pub run_down_frames: u32,
}

/// A frame exposed several times without moving.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub(crate) struct WedgeEntry {
    /// The frame.
    pub frame: i64,
    /// Stops of each exposure from that of the pass.
    pub stops: Vec<f64>,
}

/// One pass.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub(crate) struct PassEntry {
    /// Name.
    pub name: String,
    /// `moving` or `held`.
    pub exposure: String,
    /// Pace.
    pub seconds_per_frame: f64,
    /// Shutter angle, degrees.
    pub shutter: f64,
    /// Seconds of rest before a held exposure.
    pub settle: f64,
    /// `shortest`, where each frame takes only as long as it needs.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub interval: Option<String>,
    /// A test pass: one frame in how many is exposed, the first frame, then every Nth; nothing where every frame is.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub every: Option<u32>,
    /// A test pass that exposes one frame several times; nothing where each frame is exposed once.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub wedge: Option<WedgeEntry>,
    /// How moves from rest to rest are split against swing; nothing where they are not.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub shaping: Option<String>,
    /// Seconds of the move to start, where each frame takes only as long as it needs.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub move_to_start_s: Option<f64>,
    /// When the shutter opens on the first frame, seconds of the program, where each frame takes only as long as it needs; the others stand in the table of moves.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub first_opening_s: Option<f64>,
    /// Length with run-up and run-down, seconds.
    pub duration_s: f64,
    /// Groups that stay at home.
    pub parked: Vec<String>,
    /// File of integer steps.
    pub steps: String,
    /// File of units.
    pub units: String,
    /// The whole program as rows, where that was asked for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rows: Option<RowsEntry>,
}

/// The whole program of a pass as rows for a controller: move to start, run-up, exposures, run-down.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub(crate) struct RowsEntry {
    /// File of rows: `t_s`, integer steps of every axis, `shutter`.
    pub file: String,
    /// Rows per second, exactly: `1000`, `12.5`, `30000/1001`; row k is at k / rate seconds.
    pub rate: String,
    /// The same as a number.
    pub rate_hz: f64,
    /// Rows, the header left out.
    pub rows: u64,
    /// Seconds of the move to start, a whole number: then the run-up begins, or the first slot of a held pass.
    pub move_to_start_s: f64,
    /// Seconds at which the shutter opens on the first frame.
    pub first_opening_s: f64,
    /// End of the program, seconds; the last row is the first one not before it.
    pub duration_s: f64,
    /// Where rows are written of some frames only.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub part: Option<PartEntry>,
    /// How far a controller that interpolates departs from the curve at most; for each way the worst axis.
    pub between_rows: Vec<DepartureEntry>,
    /// Each column: where it begins, from which side it comes to its start, and how far a controller departs from its curve.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub axes: Vec<RowsAxisEntry>,
    /// Rows per second from which on straight lines stay within half a step of the curve on every axis.
    pub half_step_rate_hz: f64,
}

/// A part of a pass as a program of its own.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub(crate) struct PartEntry {
    /// Its first frame.
    pub first_frame: i64,
    /// Its last frame.
    pub last_frame: i64,
    /// Frames of its run-up and of its run-down.
    pub run_up_frames: u32,
    /// See there.
    pub run_down_frames: u32,
    /// When the shutter opens on each of its frames, seconds of the program, where each takes only as long as it needs.
    #[serde(skip_serializing_if = "Vec::is_empty", default)]
    pub opens_s: Vec<f64>,
}

/// A column of rows. Departures are steps from the curve at most, rounded up, the rounding of rows left out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub(crate) struct RowsAxisEntry {
    /// The axis.
    pub axis: String,
    /// Step of the first row.
    pub first_steps: Option<i64>,
    /// Step at the end of the move to start.
    pub start_steps: Option<i64>,
    /// The way it moves into its start, in its unit: `up` or `down`; null where it never moves.
    pub approach: Option<String>,
    /// Straight lines.
    pub straight_lines: f64,
    /// Cubics through positions and velocities.
    pub cubics_with_velocities: f64,
    /// Cubics through positions alone.
    pub cubics: f64,
}

/// One way of going from row to row.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub(crate) struct DepartureEntry {
    /// `straight lines`, `cubics through positions and velocities` or `cubics through positions alone`.
    pub way: String,
    /// Steps from the curve at most.
    pub steps: f64,
    /// Steps that rounding the rows to whole steps may add.
    pub rounding: f64,
    /// Worst axis.
    pub axis: String,
}

/// One column.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub(crate) struct ColumnEntry {
    /// Full name of the axis.
    pub axis: String,
    /// `mm` or `deg`.
    pub unit: String,
    /// Steps of one unit; negative where the axis is reversed.
    pub steps_per_unit: f64,
    /// Position of step 0.
    pub home: f64,
    /// Soft limits of travel.
    pub travel: [f64; 2],
    /// unit/s.
    pub max_velocity: f64,
    /// unit/s2.
    pub max_acceleration: f64,
    /// unit/s3.
    pub max_jerk: f64,
    /// steps/s.
    pub max_step_rate: Option<f64>,
    /// Unit; where known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub backlash: Option<f64>,
    /// Whether a brake holds the axis without power; where known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub brake: Option<bool>,
    /// Motor and load, where torque was checked.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub torque: Option<TorqueEntry>,
}

/// One file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub(crate) struct FileEntry {
    /// Path below the folder, with `/`.
    pub path: String,
    /// Length in bytes.
    pub bytes: u64,
    /// BLAKE3 in hexadecimal.
    pub blake3: String,
}

/// The manifest of a compiled and checked shot; `files` are added by the writer.
#[must_use]
pub(crate) fn manifest(report: &Report, source: &str) -> Manifest {
    let compiled = &report.compiled;
    let (stage, shot) = (compiled.stage(), compiled.shot());
    Manifest {
        format: 1,
        kind: KIND.to_owned(),
        written_by: concat!("movewright ", env!("CARGO_PKG_VERSION")).to_owned(),
        shot: shot.name().to_owned(),
        stage: stage.name().to_owned(),
        source: source.to_owned(),
        within_limits: report.within_limits(),
        violations: report
            .passes
            .iter()
            .flat_map(|p| p.violations.iter().map(|v| format!("pass {}: {}", p.name(), words::violation(compiled, v))))
            .collect(),
        scale: Some(stage.scale()),
        reaction_s: Some(stage.reaction()),
        clearances: used::clearances(stage),
        limbs: used::limbs(stage),
        swings: used::swings(stage),
        hangs: used::hangs(stage),
        haze: shot.haze().map(|h| HazeEntry {
            camera: stage.group_name(h.camera()).to_owned(),
            full_size_visibility_m: h.full_size_visibility(),
            visibility_m: h.visibility(),
            extinction_per_m: h.extinction(),
        }),
        hand_off: None,
        clock: Clock {
            frame_rate: shot.frame_rate().to_string(),
            first_frame: shot.frames().first(),
            last_frame: shot.frames().last(),
            timecode_start: shot.timecode_start().to_string(),
            run_up_frames: compiled.run_up(),
            run_down_frames: compiled.run_down(),
        },
        passes: shot
            .passes()
            .iter()
            .zip(&report.passes)
            .map(|(p, r)| PassEntry {
                name: p.name().to_owned(),
                exposure: p.exposure().name().to_owned(),
                seconds_per_frame: p.pace().get(),
                shutter: p.shutter().degrees(),
                settle: p.settle(),
                interval: r.program.clock().is_shortest().then(|| p.interval().name().to_owned()),
                every: Some(p.every()).filter(|n| *n > 1),
                wedge: p.wedge().map(|wedge| WedgeEntry { frame: wedge.frame(), stops: wedge.stops().to_vec() }),
                shaping: (p.shaping() != Shaping::None).then(|| p.shaping().name().to_owned()),
                move_to_start_s: r.program.clock().is_shortest().then(|| r.program.clock().begin().0),
                first_opening_s: r.program.clock().is_shortest().then(|| r.program.clock().first_opening().0),
                duration_s: r.program.clock().running().0,
                parked: p.park().iter().map(|g| stage.group_name(*g).to_owned()).collect(),
                steps: format!("{}.steps.csv", p.name()),
                units: format!("{}.units.csv", p.name()),
                rows: None,
            })
            .collect(),
        fits: fits::entries(compiled),
        columns: stage
            .axes()
            .iter()
            .zip(stage.axis_names())
            .map(|(axis, name)| {
                let (l, d) = (axis.limits(), axis.drive());
                ColumnEntry {
                    axis: name.clone(),
                    unit: axis.unit().symbol().to_owned(),
                    steps_per_unit: if d.is_reversed() { -d.steps_per_unit() } else { d.steps_per_unit() },
                    home: axis.home(),
                    travel: [axis.travel().lower, axis.travel().upper],
                    max_velocity: l.velocity,
                    max_acceleration: l.acceleration,
                    max_jerk: l.jerk,
                    max_step_rate: l.step_rate,
                    backlash: axis.backlash(),
                    brake: axis.brake(),
                    torque: used::torque(axis),
                }
            })
            .collect(),
        rounding: "steps = (position - home) x full steps x microsteps x gear ratio / travel per revolution, to the nearest, ties to even"
            .to_owned(),
        cautions: core::iter::once(NOTICE).chain(CAUTIONS).map(str::to_owned).collect(),
        files: Vec::new(),
    }
}

/// What the manifest says of the files for other departments; `None` where there are none.
#[must_use]
pub(crate) fn hand_off(compiled: &Compiled, wishes: Wishes) -> Option<HandOffEntry> {
    let (stage, shot) = (compiled.stage(), compiled.shot());
    let sampling = Sampling::new(shot, wishes);
    let first_frame = sampling.number(shot.frames().first());
    (!stage.bodies().is_empty()).then(|| HandOffEntry {
        first_frame,
        samples_per_frame: sampling.offsets().len(),
        shutter: sampling.shutter(),
    })
}

/// What the manifest says of one pass's rows.
#[must_use]
pub(crate) fn rows(tracks: &Tracks<'_>, rate: RowRate, table: &Table<'_>, pass: &str) -> RowsEntry {
    let program = tracks.program();
    let all = interpolation::departures(tracks, rate);
    let of = |which: fn(&Departure) -> f64| interpolation::worst(&all, which);
    let between_rows = interpolation::WAYS
        .iter()
        .filter_map(|way| {
            let (axis, steps) = of(way.departure)?;
            let axis = program.compiled().stage().axis_names().get(axis)?.clone();
            Some(DepartureEntry { way: way.name.to_owned(), steps, rounding: way.rounding, axis })
        })
        .collect();
    let stage = program.compiled().stage();
    let up = |steps: f64| directed::up(steps, Places::Mantissa(4)).parse().unwrap_or(steps);
    let axis = |(d, id): (&Departure, AxisId)| {
        let (axis, approach) = (stage.axis(id), program.way().approaches()[id]);
        let count = |place: fn(&Approach) -> f64| axis.count(approach.as_ref().map_or(axis.home(), place));
        let direction = approach.and_then(|a| a.direction);
        RowsAxisEntry {
            axis: stage.axis_name(id).to_owned(),
            first_steps: count(|a| a.begin),
            start_steps: count(|a| a.start),
            approach: direction.map(|d| if d == Direction::Up { "up" } else { "down" }.to_owned()),
            straight_lines: up(d.linear),
            cubics_with_velocities: up(d.hermite),
            cubics: up(d.catmull_rom),
        }
    };
    RowsEntry {
        file: format!("{pass}.rows.csv"),
        rate: rate.to_string(),
        rate_hz: rate.hz(),
        rows: table.rows(),
        move_to_start_s: program.clock().begin().0,
        first_opening_s: program.clock().first_opening().0,
        duration_s: program.end().0,
        part: None,
        axes: all.iter().zip(stage.axis_ids()).map(axis).collect(),
        between_rows,
        half_step_rate_hz: of(|d| d.half_step_rate).map_or(0.0, |(_, hz)| hz),
    }
}

/// What the manifest says of a part of a pass.
#[must_use]
pub(crate) fn part(program: &Program) -> PartEntry {
    let (compiled, clock) = (program.compiled(), program.clock());
    let frames = compiled.shot().frames();
    let (up, down) = if program.stations().is_some() { (0, 0) } else { (compiled.run_up(), compiled.run_down()) };
    let opens = |i| (clock.begin() + clock.opens(i)).0;
    PartEntry {
        first_frame: frames.first(),
        last_frame: frames.last(),
        run_up_frames: up,
        run_down_frames: down,
        opens_s: if clock.is_shortest() { (0..clock.exposed().count()).map(opens).collect() } else { Vec::new() },
    }
}
