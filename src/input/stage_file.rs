//! The stage file.
//!
//! Invariant: what comes out has the names of all groups and axes whose names could be read, so that a shot can be checked against it whatever else is wrong; it is the stage itself only
//! where nothing was recorded.

use std::collections::BTreeMap;

use super::axis_table::{Motors, axis, motors, name_of};
use super::body_tables::{self, BodyRead};
use super::camera_timing_table::camera_timing;
use super::choices::UNITS;
use super::document;
use super::files::Read;
use super::keys;
use super::kind::{self, Kind};
use super::like::{RawGroup, settle};
use super::limb_tables;
use super::log::Log;
use super::machine_tables::{self, Around};
use super::measured_table::Beside;
use super::reader::Table;
use super::values;
use crate::bounds::{Code, Flaw, MOST_AXES, MOST_TOML_BYTES, REACTION, SCALE};
use crate::stage::{Axis, AxisSpec, GroupSpec, Stage, Surroundings, USUAL_REACTION, Unit};

/// A stage as far as it could be read.
#[derive(Debug)]
pub(super) struct StageRead {
    /// The stage, or a placeholder with its names.
    pub(super) stage: Option<Stage>,
    /// True where the names are all there are.
    pub(super) names_complete: bool,
}

impl StageRead {
    /// A stage of which nothing is known.
    pub(super) fn unknown() -> StageRead {
        StageRead { stage: stand_in_stage(Vec::new()), names_complete: false }
    }
}

/// Reads a stage file.
pub(super) fn read(log: &mut Log, file: usize, bytes: &[u8], read: Read<'_>) -> StageRead {
    let Some(text) = document::text(log, file, bytes, MOST_TOML_BYTES) else { return StageRead::unknown() };
    let (document, sound) = document::root(log, file, text);
    if !sound {
        return StageRead::unknown();
    }
    let mut root = Table::new(file, "", 0..0, document.get_ref());
    if !document::is_format_1(log, &mut root) {
        return StageRead::unknown();
    }
    if let Some(flaw) = kind::wrong(&root, Kind::Stage) {
        root.report_at(log, "", flaw);
        return StageRead::unknown();
    }
    root.reject_unknown_keys(log, &keys::STAGE);
    let name = root.display_name(log).unwrap_or_default();
    let scale = root.take(log, "scale", "a number, model size over real size", values::number).unwrap_or(1.0);
    let scale = SCALE.check("scale", scale).unwrap_or_else(|flaw| {
        root.report_at(log, "scale", flaw);
        1.0
    });
    let reaction = root.take(log, "reaction", "a number, s", values::number).unwrap_or(USUAL_REACTION);
    let reaction = REACTION.check("reaction", reaction).unwrap_or_else(|flaw| {
        root.report_at(log, "reaction", flaw);
        USUAL_REACTION
    });
    let camera_timing = camera_timing(log, &mut root);
    let motors = motors(log, &mut root);
    let mut raw = raw_groups(log, &mut root);
    if raw.len() > MOST_AXES {
        root.report_at(
            log,
            "group",
            Flaw::new(Code::TooMany, "group", "the stage has too many groups")
                .found(format!("{} groups", raw.len()), format!("at most {MOST_AXES}")),
        );
        return StageRead::unknown();
    }
    settle(log, &mut raw);
    let axes: usize = raw.iter().map(|g| g.axes.len()).sum();
    if axes > MOST_AXES {
        root.report_at(
            log,
            "group",
            Flaw::new(Code::TooMany, "group", "the stage has too many axes")
                .found(format!("{axes} axes or more"), format!("1 to {MOST_AXES} axes")),
        );
        return StageRead::unknown();
    }
    let mut names_complete = !root.is_wrong("group") && raw.iter().all(|g| g.settled && g.names_whole);
    let folder = log.sources().get(file).and_then(|s| s.name().rsplit_once('/')).map_or(String::new(), |(folder, _)| format!("{folder}/"));
    let mut machines = Vec::new();
    let mut bodies = Vec::new();
    let (mut machines_whole, mut bodies_whole) = (true, true);
    let group_names: Vec<&str> = raw.iter().filter_map(|g| g.name).collect();
    let points = limb_tables::points(log, &mut root, &group_names);
    for group in &mut raw {
        let Some(name) = group.name else { continue };
        let written = log.count();
        let axes = &group.axes;
        let unit = |axis: &str| {
            let local = axis.strip_prefix(name).and_then(|rest| rest.strip_prefix('.')).unwrap_or(axis);
            unit_of(&axes.iter().find(|(known, _)| *known == local)?.1)
        };
        let around = Around { beside: Beside { read, folder: &folder }, unit: &unit };
        machines.extend(machine_tables::machines(log, name, &mut group.table, &around));
        machines_whole &= log.count() == written;
        let written = log.count();
        if let Some(body) = body_tables::body(log, name, &mut group.table, points.as_ref()) {
            bodies.push(body);
        }
        bodies_whole &= log.count() == written;
    }
    let surroundings = body_tables::surroundings(log, &mut root, points);
    // A mechanism that is missing takes its channels with it, and joints that count on them; a body that is missing, the aims at it.
    names_complete &= machines_whole && bodies_whole && surroundings.is_some();
    let written = log.count();
    let groups = group_specs(log, raw, &motors);
    // Nor does a mechanism or a body say anything of axes that are placeholders.
    let axes_known = names_complete && log.count() == written;
    let stage = match Stage::new(name, scale, groups.clone()) {
        Ok(stage) => {
            let (tables, specs): (Vec<_>, Vec<_>) = machines.into_iter().map(|m| (m.table, m.spec)).unzip();
            match stage.clone().with_machines(specs) {
                Ok(made) if machines_whole => {
                    let written = log.count();
                    let (made, fit) = with_bodies(log, made, bodies, surroundings, axes_known);
                    names_complete &= fit && log.count() == written;
                    Some(made)
                }
                Ok(made) => Some(made),
                Err(flaws) => {
                    if axes_known {
                        let flaws = flaws.into_iter().map(|flaw| with_axes_named(log, &stage, &tables, flaw)).collect();
                        report_each(log, flaws, &tables);
                    }
                    names_complete = false;
                    Some(stage)
                }
            }
        }
        Err(flaws) => {
            // A group without an axis was reported already.
            let flaws =
                flaws.into_iter().filter(|f| (f.code, f.field.as_str()) != (Code::MissingKey, "group") || !root.has("group")).collect();
            root.flaws(log, flaws, &[]);
            stand_in_stage(groups)
        }
    };
    // The time lies in its range.
    let stage = stage.and_then(|stage| stage.with_reaction(reaction).ok()).map(|stage| stage.with_camera_timing(camera_timing));
    StageRead { stage, names_complete }
}

/// The stage with its bodies; without them where they have mistakes, which are then reported.
fn with_bodies(log: &mut Log, stage: Stage, bodies: Vec<BodyRead<'_>>, around: Option<Surroundings>, known: bool) -> (Stage, bool) {
    let Some(around) = around else { return (stage, false) };
    let mut fit = true;
    for body in &bodies {
        fit &= body_tables::channels_fit(log, &stage, body, known);
    }
    if !fit {
        return (stage, false);
    }
    let (tables, specs): (Vec<_>, Vec<_>) = bodies.into_iter().map(|b| (b.table, b.spec)).unzip();
    match stage.clone().with_bodies(specs, around) {
        Ok(made) => (made, true),
        Err(flaws) => {
            report_each(log, flaws, &tables);
            (stage, false)
        }
    }
}

/// An axis that a mechanism names and the stage does not have, with the names of those that it has.
fn with_axes_named(log: &mut Log, stage: &Stage, tables: &[Table<'_>], flaw: Flaw) -> Flaw {
    if flaw.code == Code::WrongUnit {
        return Flaw { allowed: format!("an axis in {}", flaw.allowed), ..flaw };
    }
    if flaw.code != Code::UnknownAxis {
        return flaw;
    }
    let known = stage.axis_names();
    let named = flaw.index.and_then(|i| tables.get(i)).and_then(|t| t.take_quietly("axis", values::text)).unwrap_or_default();
    let (group, local) = flaw.found.trim_matches('`').split_once('.').unwrap_or_default();
    let locals: Vec<&str> = known.iter().filter_map(|n| n.split_once('.')).filter(|(g, _)| *g == group).map(|(_, n)| n).collect();
    let near = log.nearest(local, locals.iter().copied());
    let allowed = format!("an axis of `{group}`: {}", values::names(locals.iter().copied()));
    match near.filter(|_| named == local) {
        Some(near) => Flaw { allowed, ..flaw }.help(format!("write \"{near}\"")),
        None => Flaw { allowed, ..flaw },
    }
}

/// Flaws whose index is that of their table.
fn report_each(log: &mut Log, flaws: Vec<Flaw>, tables: &[Table<'_>]) {
    for flaw in flaws {
        if let Some(table) = flaw.index.and_then(|i| tables.get(i)) {
            // A mechanism of one axis has the keys `axis` and `channel`.
            let field = match flaw.field.as_str() {
                "axes" if table.has("axis") => "axis".to_owned(),
                "channels" if table.has("channel") => "channel".to_owned(),
                _ => flaw.field,
            };
            let whole = Flaw { index: None, field, ..flaw };
            table.flaws(log, vec![whole], &[]);
        }
    }
}

fn raw_groups<'t>(log: &mut Log, root: &mut Table<'t>) -> Vec<RawGroup<'t>> {
    let mut taken: BTreeMap<&str, u32> = BTreeMap::new();
    let mut groups = Vec::new();
    for mut table in root.tables(log, "group", "group") {
        if let Some(name) = table.take_quietly("name", values::text) {
            table.label = format!("group {}", values::cut(name, 64));
        }
        table.reject_unknown_keys(log, &keys::GROUP);
        let name = unused(log, &mut table, GROUP_NAMES, &mut taken);
        let like = table.take(log, "like", "the name of another group, in quotes", values::text);
        let mut group = RawGroup { settled: !table.is_wrong("like"), names_whole: name.is_some(), axes: Vec::new(), table, name, like };
        let mut taken = BTreeMap::new();
        for mut axis in group.table.tables(log, "axis", "axis") {
            let own = axis.take_quietly("name", values::text).unwrap_or("?");
            axis.label = format!("axis {}.{}", name.unwrap_or("?"), values::cut(own, 64));
            axis.reject_unknown_keys(log, &keys::AXIS);
            match unused(log, &mut axis, AXIS_NAMES, &mut taken) {
                Some(name) => group.axes.push((name, axis)),
                None => group.names_whole = false,
            }
        }
        group.names_whole &= !group.table.is_wrong("axis");
        if group.like.is_none() && !group.table.has("axis") && !group.table.is_wrong("like") {
            let flaw = Flaw::new(Code::MissingKey, "axis", "the group has no axis")
                .found("neither [[group.axis]] nor `like`", "at least one axis");
            group.table.report_at(
                log,
                "axis",
                flaw.help("describe an axis under a line [[group.axis]], or name a group that this one is like"),
            );
        }
        groups.push(group);
    }
    groups
}

/// What is said of two groups, or of two axes of a group, that share a name, and what to do.
const GROUP_NAMES: (&str, &str) = ("two groups are called", "give each group its own name");
const AXIS_NAMES: (&str, &str) = ("two axes of the group are called", "give each axis of a group its own name");

/// The name of a table if its shape is right and no table before has it.
fn unused<'t>(log: &mut Log, table: &mut Table<'t>, (title, help): (&str, &str), taken: &mut BTreeMap<&'t str, u32>) -> Option<&'t str> {
    let name = name_of(log, table)?;
    let line = log.place(table.file, table.header.start).line;
    if let Some(first) = taken.get(name) {
        let flaw = Flaw::new(Code::DuplicateName, "name", format!("{title} `{name}`"));
        table.report_at(log, "name", flaw.found(format!("\"{name}\", as on line {first}"), "a unique name").help(help));
        return None;
    }
    taken.insert(name, line);
    Some(name)
}

/// Groups that inherit nothing are read first, so that a mistake is reported for the axis it is written under.
fn group_specs(log: &mut Log, raw: Vec<RawGroup<'_>>, motors: &Motors<'_>) -> Vec<GroupSpec> {
    let (own, taken_over): (Vec<_>, Vec<_>) = raw.into_iter().enumerate().partition(|(_, group)| group.like.is_none());
    let mut groups: Vec<(usize, GroupSpec)> = Vec::new();
    for (place, group) in own.into_iter().chain(taken_over) {
        groups.extend(group_spec(log, group, motors).map(|spec| (place, spec)));
    }
    groups.sort_by_key(|(place, _)| *place);
    groups.into_iter().map(|(_, spec)| spec).collect()
}

fn group_spec(log: &mut Log, group: RawGroup<'_>, motors: &Motors<'_>) -> Option<GroupSpec> {
    let name = group.name?;
    let mut axes = Vec::new();
    for (axis_name, mut table) in group.axes {
        table.label = format!("axis {name}.{axis_name}");
        // Where the group it is like is unknown, its keys are too.
        let unit = unit_of(&table).unwrap_or(Unit::Millimetre);
        let read = if group.settled { axis(log, table, axis_name, motors) } else { None };
        axes.extend(read.or_else(|| stand_in_axis(axis_name, unit)));
    }
    Some(GroupSpec { name: name.to_owned(), axes })
}

fn unit_of(axis: &Table<'_>) -> Option<Unit> {
    let word = axis.take_quietly("unit", values::text)?;
    UNITS.iter().find(|(name, _)| *name == word).map(|(_, unit)| *unit)
}

fn stand_in_axis(name: &str, unit: Unit) -> Option<Axis> {
    Axis::new(AxisSpec::new(name, unit, [-1.0, 1.0], [1.0, 1.0, 1.0])).ok()
}

fn stand_in_stage(mut groups: Vec<GroupSpec>) -> Option<Stage> {
    if groups.iter().all(|g| g.axes.is_empty()) {
        groups = vec![GroupSpec { name: "unknown".to_owned(), axes: stand_in_axis("unknown", Unit::Millimetre).into_iter().collect() }];
    }
    Stage::new("", 1.0, groups).ok()
}
