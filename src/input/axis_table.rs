//! The tables of one axis, its load, and the motors.
//!
//! Invariant: defaults are those of the format and no others: home 0, microsteps 1, gear ratio 1, 360 deg a revolution on a deg axis; friction 0, efficiency 1.

use std::collections::BTreeMap;

use super::choices::UNITS;
use super::keys;
use super::log::Log;
use super::reader::Table;
use super::values::{self, FLAG, NUMBER, TEXT, WHOLE};
use crate::bounds::{Code, Flaw, POSITION};
use crate::stage::drive::DriveSpec;
use crate::stage::{Axis, AxisSpec, Limits, LoadSpec, Motor, Unit};

/// Motors by name; `None` where one has mistakes of its own.
pub(super) type Motors<'t> = BTreeMap<&'t str, Option<Motor>>;

/// The motors of a stage file.
pub(super) fn motors<'t>(log: &mut Log, root: &mut Table<'t>) -> Motors<'t> {
    let Some(table) = root.table(log, "motor", "a table for each motor, each under a line [motor.NAME]") else { return Motors::new() };
    let mut motors = Motors::new();
    for (name, entry) in table.entries() {
        if let Err(flaw) = crate::stage::check_display_name("motor", name) {
            table.report_bytes(log, entry.key(), flaw);
        }
        let motor = match entry.value.get_ref().as_table() {
            Some(inner) => motor(log, Table::new(table.file, format!("motor {}", values::cut(name, 64)), entry.value.span(), inner)),
            None => {
                let flaw = Flaw::new(Code::WrongType, "motor", "a motor is not a table")
                    .found(values::shown(entry.value.get_ref()), "a table under a line [motor.NAME]")
                    .help("write [motor.NAME], then its keys on the lines below");
                table.report_bytes(log, entry.value.span(), flaw);
                None
            }
        };
        motors.insert(name, motor.map(|motor| motor.named(name)));
    }
    motors
}

fn motor(log: &mut Log, mut table: Table<'_>) -> Option<Motor> {
    table.reject_unknown_keys(log, &keys::MOTOR);
    let full = table.need(log, "full_steps_per_rev", WHOLE, values::whole).unwrap_or(200);
    let inertia = table.take(log, "rotor_inertia", "a number, kg m2", values::number);
    let holding = table.take(log, "holding_torque", "a number, N m", values::number);
    let rows = table.pairs_if_given(log, "torque", "[speed in rev/min, torque in N m]");
    if rows.incomplete {
        table.mark_wrong("torque");
    }
    if table.has("torque") && rows.keys.is_empty() && !rows.incomplete {
        table.report_at(
            log,
            "torque",
            Flaw::new(Code::InvalidTorqueTable, "torque", "the torque table is empty")
                .found("0 rows", "1 row or more, from 0 rev/min")
                .help("remove it if the torque is not known"),
        );
    }
    let bands = table.pairs_if_given(log, "resonance", "[from, to] in full steps/s");
    if bands.incomplete {
        table.mark_wrong("resonance");
    }
    if table.has("resonance") && bands.keys.is_empty() && !bands.incomplete {
        let flaw = Flaw::new(Code::EmptyRange, "resonance", "no band of resonance is given").found("0 bands", "1 band or more");
        table.report_at(log, "resonance", flaw.help("remove it if none is known"));
    }
    let resonance = bands.keys.iter().map(|k| [k.frame, k.value]).collect();
    let motor = Motor::new(full, inertia, holding, rows.keys.iter().map(|k| (k.frame, k.value)).collect());
    match motor.and_then(|motor| motor.with_resonance(resonance)) {
        Ok(motor) => Some(motor),
        Err(flaws) => {
            table.flaws(log, flaws, &[("torque", &rows), ("resonance", &bands)]);
            None
        }
    }
}

/// What to do about a unit that is known elsewhere.
fn other_unit(word: &str) -> Option<String> {
    let (unit, factor) = match word {
        "cm" => ("mm", 10.0),
        "m" => ("mm", 1000.0),
        "in" | "inch" | "\"" => ("mm", 25.4),
        "ft" => ("mm", 304.8),
        "rad" => ("deg", crate::number::elementary::degrees(1.0)),
        "rev" | "turn" | "turns" => ("deg", 360.0),
        _ => return None,
    };
    Some(format!("write unit = \"{unit}\" and multiply every number of this axis and its keys by {factor}"))
}

/// An axis whose keys, also those inherited from another group, are all in `table`. A number that could not be read has a placeholder; then a mistake was recorded.
pub(super) fn axis(log: &mut Log, mut table: Table<'_>, name: &str, motors: &Motors<'_>) -> Option<Axis> {
    let unit = table.choice_or(log, "unit", UNITS, None, &other_unit);
    let ends = "two numbers, [lower end, upper end]";
    let travel = table.need(log, "travel", ends, values::two_numbers).unwrap_or([POSITION.least, POSITION.most]);
    let home = table.take(log, "home", NUMBER, values::number);
    // A missing travel says nothing of the home, nor the other way round.
    let [lower, _] = travel;
    let home = match home {
        Some(home) => home,
        None if table.is_wrong("home") => lower,
        None => 0.0,
    };
    let velocity = table.need(log, "max_velocity", "a number, unit/s", values::number).unwrap_or(1.0);
    let acceleration = table.need(log, "max_acceleration", "a number, unit/s2", values::number).unwrap_or(1.0);
    let jerk = table.need(log, "max_jerk", "a number, unit/s3", values::number).unwrap_or(1.0);
    let step_rate = table.take(log, "max_step_rate", "a number, steps/s", values::number);
    let backlash = table.take(log, "backlash", NUMBER, values::number);
    let motor = which_motor(log, &mut table, motors);
    let drive = DriveSpec {
        full_steps_per_rev: motor.as_ref().map_or(200, Motor::full_steps_per_rev),
        microsteps: table.take(log, "microsteps", WHOLE, values::whole).unwrap_or(1),
        gear_ratio: table.take(log, "gear_ratio", NUMBER, values::number).unwrap_or(1.0),
        travel_per_rev: travel_per_rev(log, &mut table, unit),
        reverse: table.take(log, "reverse", FLAG, values::flag).unwrap_or(false),
    };
    let load = load(log, &mut table, unit);
    let brake = table.take(log, "brake", FLAG, values::flag);
    let openings = table.take(log, "openings", WHOLE, values::whole);
    let spec = AxisSpec {
        name: name.to_owned(),
        unit: unit.unwrap_or(Unit::Millimetre),
        travel,
        home,
        limits: Limits { velocity, acceleration, jerk, step_rate },
        drive,
        backlash,
        motor,
        load,
        brake,
        openings,
    };
    match Axis::new(spec) {
        Ok(axis) => Some(axis),
        Err(flaws) => {
            table.flaws(log, flaws, &[]);
            None
        }
    }
}

fn travel_per_rev(log: &mut Log, table: &mut Table<'_>, unit: Option<Unit>) -> f64 {
    const KEY: &str = "travel_per_rev";
    let given = match unit {
        Some(Unit::Millimetre) => table.need(log, KEY, "a number, mm per output revolution", values::number),
        _ => table.take(log, KEY, "a number, degrees per output revolution", values::number),
    };
    given.unwrap_or(360.0)
}

/// The motor of an axis; `None` where a mistake was recorded.
fn which_motor(log: &mut Log, table: &mut Table<'_>, motors: &Motors<'_>) -> Option<Motor> {
    let known = values::names(motors.keys().copied());
    let allowed = format!("the name of a motor of this file: {known}");
    let name = table.need(log, "motor", &allowed, values::text)?;
    match motors.get(name) {
        Some(motor) => motor.clone(),
        None => {
            let mut flaw = Flaw::new(Code::UnknownMotor, "motor", "the stage has no such motor").found(values::quoted(name), allowed);
            flaw = match log.nearest(name, motors.keys().copied()) {
                Some(near) => flaw.help(format!("write motor = \"{near}\"")),
                None => flaw.help("describe the motor under a line [motor.NAME]"),
            };
            table.report_at(log, "motor", flaw);
            None
        }
    }
}

fn load(log: &mut Log, table: &mut Table<'_>, unit: Option<Unit>) -> Option<LoadSpec> {
    let mut inner = table.table(log, "load", "a table, { mass = ..., friction = ... } or { inertia = ..., friction = ... }")?;
    inner.reject_unknown_keys(log, &keys::LOAD);
    let (key, other, allowed) = match unit {
        Some(Unit::Degree) => ("inertia", "mass", "the moment of inertia, kg m2, on a deg axis"),
        Some(Unit::Millimetre) => ("mass", "inertia", "the mass, kg, on an mm axis"),
        None if inner.has("inertia") => ("inertia", "mass", "the moment of inertia, kg m2"),
        None => ("mass", "inertia", "the mass, kg"),
    };
    let inertia = if inner.has(other) {
        let help = if other == "mass" { "enter the moment of inertia about the axis" } else { "enter the mass that the axis carries" };
        inner.report_at(
            log,
            other,
            Flaw::new(Code::KeyDoesNotApply, other, format!("`{other}` does not fit the axis's unit"))
                .found(format!("`{other}`"), allowed)
                .help(help),
        );
        inner.take(log, key, NUMBER, values::number)
    } else {
        inner.need(log, key, allowed, values::number)
    };
    let load = LoadSpec {
        inertia: inertia.unwrap_or(1.0),
        friction: inner.take(log, "friction", "a number, N on mm axes, N m on deg axes", values::number).unwrap_or(0.0),
        vertical: inner.take(log, "vertical", FLAG, values::flag).unwrap_or(false),
        efficiency: inner.take(log, "efficiency", "a number, more than 0, at most 1", values::number).unwrap_or(1.0),
    };
    for key in keys::LOAD.names() {
        if inner.is_wrong(key) {
            table.mark_wrong(key);
        }
    }
    Some(load)
}

/// The name of a group or an axis.
pub(super) fn name_of<'t>(log: &mut Log, table: &mut Table<'t>) -> Option<&'t str> {
    let name = table.need(log, "name", TEXT, values::text)?;
    match crate::stage::check_name("name", name) {
        Ok(()) => Some(name),
        Err(flaw) => {
            table.report_at(log, "name", flaw);
            None
        }
    }
}
