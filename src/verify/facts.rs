//! What the manifest says against what the stage and the shot in `source/` say: names, clocks, passes, columns.
//!
//! Invariant: numbers of the manifest were written in shortest form and read back, so they may differ by a unit in the last place and no more.

use super::exposed::{frames_run, wedge};
use super::fault::{FaultKind, Faults, MANIFEST};
use super::haze_record;
use super::oracle::steps_per_unit;
use super::record::{ColumnRecord, HandOffRecord, PassRecord, Record, WedgeRecord, shown};
use super::used;
use crate::shot::{Exposure, Interval, Pass, Shot};
use crate::stage::{Axis, Stage};

/// Two numbers of which one went through text: a few units in the last place.
const THROUGH_TEXT: f64 = 1e-15;

/// Openings and closings are whole microseconds, each rounded once.
const ROUNDED: f64 = 3e-6;

struct Said<'a> {
    faults: &'a mut Faults,
    about: String,
}

impl Said<'_> {
    fn text(&mut self, what: &str, found: &str, expected: &str) {
        if found != expected {
            self.wrong(what, &format!("`{found}`"), &format!("`{expected}`"));
        }
    }

    fn number(&mut self, what: &str, found: f64, expected: f64) {
        if !((found - expected).abs() <= THROUGH_TEXT * expected.abs()) {
            self.wrong(what, &found.to_string(), &expected.to_string());
        }
    }

    fn wrong(&mut self, what: &str, found: &str, expected: &str) {
        self.faults.file(FaultKind::Manifest, MANIFEST, format!("{}{what}: found {found}, expected {expected}", self.about));
    }
}

/// What can be said of a manifest alone.
pub(super) fn alone(record: &Record, faults: &mut Faults) {
    let mut said = Said { faults, about: String::new() };
    if record.format != 1 {
        said.wrong("format", &record.format.to_string(), "1");
    }
    said.text("kind", &record.kind, "movewright columns");
    if !record.written_by.starts_with("movewright ") {
        said.wrong("written_by", &format!("`{}`", record.written_by), "movewright and its version");
    }
    if record.within_limits != record.violations.is_empty() {
        said.wrong(
            "within_limits",
            &record.within_limits.to_string(),
            &format!("{} with {} violations listed", record.violations.is_empty(), record.violations.len()),
        );
    }
    if record.cautions.is_empty() || record.cautions.iter().any(String::is_empty) {
        said.wrong("cautions", "none", "the cautions that every output carries");
    }
    if record.rounding.is_empty() {
        said.wrong("rounding", "nothing", "how positions become steps");
    }
}

/// The manifest against its sources.
pub(super) fn against(record: &Record, stage: &Stage, shot: &Shot, faults: &mut Faults) {
    let mut said = Said { faults, about: String::new() };
    said.text("shot", &record.shot, shot.name());
    said.text("stage", &record.stage, stage.name());
    let clock = &record.clock;
    said.text("frame_rate", &clock.frame_rate, &shot.frame_rate().to_string());
    said.text("first_frame", &clock.first_frame.to_string(), &shot.frames().first().to_string());
    said.text("last_frame", &clock.last_frame.to_string(), &shot.frames().last().to_string());
    said.text("timecode_start", &clock.timecode_start, &shot.timecode_start().to_string());
    said.text("number of passes", &record.passes.len().to_string(), &shot.passes().len().to_string());
    said.text("number of columns", &record.columns.len().to_string(), &stage.axes().len().to_string());
    for (p, pass) in record.passes.iter().zip(shot.passes()) {
        said.about = format!("pass {}: ", pass.name());
        pass_facts(&mut said, record, p, stage, shot, pass);
    }
    for ((c, axis), name) in record.columns.iter().zip(stage.axes()).zip(stage.axis_names()) {
        said.about = format!("column {name}: ");
        column_facts(&mut said, c, axis, name);
        if record.used.is_stated() {
            let none = |b: Option<f64>| b.map_or("none".to_owned(), |b| b.to_string());
            if c.backlash != axis.backlash() {
                said.wrong("backlash", &none(c.backlash), &none(axis.backlash()));
            }
            if c.brake != axis.brake() {
                let word = |b: Option<bool>| b.map_or("not stated".to_owned(), |b| b.to_string());
                said.wrong("brake", &word(c.brake), &word(axis.brake()));
            }
            used::compare_torque(c.torque.as_ref(), axis, name, said.faults);
        }
    }
    if let Some(h) = &record.hand_off {
        said.about = "hand_off: ".to_owned();
        hand_off(&mut said, h, shot);
    }
    haze_record::compare(record.haze.as_ref(), stage, shot, faults);
    record.used.compare(stage, faults);
}

fn hand_off(said: &mut Said<'_>, h: &HandOffRecord, shot: &Shot) {
    if !(1..=64).contains(&h.samples_per_frame) {
        said.wrong("samples_per_frame", &h.samples_per_frame.to_string(), "1 to 64");
    }
    let moving = shot.passes().iter().find(|p| p.exposure() == Exposure::Moving).map(|p| p.shutter().degrees());
    match (h.shutter, moving.filter(|_| h.samples_per_frame > 1)) {
        (Some(found), Some(expected)) => said.number("shutter", found, expected),
        (None, None) => {}
        (found, expected) => {
            let text = |x: Option<f64>| x.map_or("none".to_owned(), |x| x.to_string());
            said.wrong("shutter", &text(found), &text(expected));
        }
    }
}

fn pass_facts(said: &mut Said<'_>, record: &Record, p: &PassRecord, stage: &Stage, shot: &Shot, pass: &Pass) {
    said.text("name", &p.name, pass.name());
    let (exposure, runs) = match pass.exposure() {
        Exposure::Moving => ("moving", u64::from(record.clock.run_up_frames) + u64::from(record.clock.run_down_frames)),
        Exposure::Held => ("held", 0),
    };
    said.text("exposure", &p.exposure, exposure);
    said.number("seconds_per_frame", p.seconds_per_frame, pass.pace().get());
    said.number("shutter", p.shutter, pass.shutter().degrees());
    said.number("settle", p.settle, pass.settle());
    let frames = frames_run(shot, pass) + runs;
    said.text("every", &p.every.unwrap_or(1).to_string(), &pass.every().to_string());
    let none = || "none".to_owned();
    said.text(
        "wedge",
        &p.wedge.as_ref().map_or_else(none, WedgeRecord::shown),
        &pass.wedge().map_or_else(none, |wedge| shown(wedge.frame(), wedge.stops())),
    );
    said.text("shaping", p.shaping.as_deref().unwrap_or("none"), pass.shaping().name());
    let shortest = pass.interval() == Interval::Shortest;
    said.text("interval", p.interval.as_deref().unwrap_or("frame"), pass.interval().name());
    if shortest != (p.move_to_start_s.is_some() && p.first_opening_s.is_some()) {
        said.wrong("first_opening_s", if shortest { "none" } else { "one" }, if shortest { "one" } else { "none" });
    }
    if let (Some([_, closes]), Some(begin), Some(opens)) = (wedge(pass).last(), p.move_to_start_s, p.first_opening_s) {
        let expected = opens - begin + *closes as f64 / 1e6;
        if !((p.duration_s - expected).abs() <= ROUNDED) {
            said.wrong("duration_s", &p.duration_s.to_string(), &expected.to_string());
        }
    }
    // Of another pass whose frames take what they need the table of moves says how long it is.
    if !shortest {
        said.number("duration_s", p.duration_s, pass.pace().get() * frames as f64);
    }
    let parked: Vec<&str> = pass.park().iter().map(|g| stage.group_name(*g)).collect();
    said.text("parked", &p.parked.join(", "), &parked.join(", "));
    said.text("steps", &p.steps, &format!("{}.steps.csv", pass.name()));
    said.text("units", &p.units, &format!("{}.units.csv", pass.name()));
    if let Some(rows) = &p.rows {
        said.text("file of rows", &rows.file, &format!("{}.rows.csv", pass.name()));
    } else if record.passes.iter().any(|p| p.rows.is_some()) {
        said.wrong("rows", "none", "rows as the other passes have");
    }
}

fn column_facts(said: &mut Said<'_>, c: &ColumnRecord, axis: &Axis, name: &str) {
    said.text("axis", &c.axis, name);
    said.text("unit", &c.unit, axis.unit().symbol());
    let steps = steps_per_unit(axis);
    said.number("steps_per_unit", c.steps_per_unit, if axis.drive().is_reversed() { -steps } else { steps });
    said.number("home", c.home, axis.home());
    let [lower, upper] = c.travel;
    said.number("lower end of travel", lower, axis.travel().lower);
    said.number("upper end of travel", upper, axis.travel().upper);
    let limits = axis.limits();
    said.number("max_velocity", c.max_velocity, limits.velocity);
    said.number("max_acceleration", c.max_acceleration, limits.acceleration);
    said.number("max_jerk", c.max_jerk, limits.jerk);
    let rate = |r: Option<f64>| r.map_or("none".to_owned(), |r| r.to_string());
    match (c.max_step_rate, limits.step_rate) {
        (Some(found), Some(expected)) => said.number("max_step_rate", found, expected),
        (None, None) => {}
        (found, expected) => said.wrong("max_step_rate", &rate(found), &rate(expected)),
    }
}
