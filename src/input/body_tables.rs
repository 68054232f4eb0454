//! The tables of bodies: joints, lens, rail of a group; obstacles and boxes of the stage.
//!
//! Keys of a group: `[[group.joint]]` with `slide` or `turn` (or neither, for an offset alone), `name`, `channel`, `rest`, `offset`; `[group.rail]` with `name`,
//! `channel`, `reach`, `gap`; the swing is in `swing_table`, the three wires in `hang_table`; what stands on the body and its limbs is in `limb_tables`, the lens in `lens_table`. Of the stage: `clearance`, `[[obstacle]]` with `name`,
//! `from`, `to`, `radius`, `[[keep_out]]` with `name`, `least`, `greatest`.

use super::hang_table;
use super::keys;
use super::lens_table;
use super::limb_tables::{Parts, Points, parts};
use super::log::Log;
use super::machine_tables::full_name;
use super::names::unknown_channel;
use super::reader::Table;
use super::solid_values::{POINT, capsule, point};
use super::swing_table;
use super::values::{self, NUMBER, TEXT};
use crate::bounds::{Code, Flaw, SPAN};
use crate::mechanism::joint::JointKind;
use crate::mechanism::{Chain, JointSpec};
use crate::stage::{BodySpec, KeepOut, Obstacle, Stage, Surroundings, check_name};

/// A body with its tables, for what is found later.
pub(super) struct BodyRead<'t> {
    /// The table of its group.
    pub(super) table: Table<'t>,
    /// What it is.
    pub(super) spec: BodySpec,
    /// Each joint that has a channel and moves: its table, the channel's full name, the unit it must have.
    joints: Vec<(Table<'t>, String, &'static str)>,
    /// Its rail, the same way.
    rail: Option<(Table<'t>, String)>,
    /// Its limbs' channels, the same way.
    limbs: Vec<(Table<'t>, String)>,
    /// The channel that changes the length of its swing, the same way.
    swing: Option<(Table<'t>, String)>,
}

/// The body of a group; `None` where the group is none, or its tables have mistakes.
pub(super) fn body<'t>(log: &mut Log, group: &str, table: &mut Table<'t>, points: Option<&Points>) -> Option<BodyRead<'t>> {
    if !["joint", "lens", "limb", "rod", "wire", "envelope", "rail", "swing", "hang"].iter().any(|k| table.has(k)) {
        return None;
    }
    let label = |what: &str| format!("{what} of group {}", values::cut(group, 64));
    let mut channels: Vec<String> = Vec::new();
    let (mut joints, mut tables, mut moved, mut named) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    let mut whole = true;
    for mut inner in table.tables(log, "joint", "joint") {
        inner.label = label("joint");
        let Some(spec) = joint(log, group, &mut inner, &mut channels) else {
            whole = false;
            continue;
        };
        let unit = match spec.kind {
            JointKind::Slide(_) => Some("mm"),
            JointKind::Turn(_) => Some("deg"),
            JointKind::Fixed => None,
        };
        if let (Some(unit), Some(name)) = (unit, spec.channel.and_then(|c| channels.get(c))) {
            moved.push((inner.clone(), name.clone(), unit));
        }
        if let Some(name) = inner.take(log, "name", TEXT, values::text) {
            named.push((inner.clone(), name.to_owned(), joints.len()));
        }
        whole &= !inner.is_wrong("name");
        joints.push(spec);
        tables.push(inner);
    }
    whole &= chain_stands(log, table, &joints, &tables);
    let chain_whole = whole;
    let lens = match table.table(log, "lens", "a table under a line [group.lens]") {
        Some(mut inner) => {
            inner.label = label("lens");
            let made = lens_table::lens(log, &mut inner);
            whole &= made.is_some();
            made
        }
        None => None,
    };
    let parts = parts(log, group, table, &named, points);
    let rail = match table.table(log, "rail", "a table under a line [group.rail]") {
        Some(mut inner) => {
            inner.label = label("rail");
            let made = rail(log, group, &mut inner);
            whole &= made.is_some();
            made.map(|made| (inner, made))
        }
        None => None,
    };
    let (rail_table, rail) = rail.map(|(inner, made)| ((inner, made.1.clone()), made)).unzip();
    let named_joints: Vec<(String, usize)> = named.into_iter().map(|(_, name, number)| (name, number)).collect();
    let swing = match table.table(log, "swing", "a table under a line [group.swing]") {
        Some(mut inner) => {
            inner.label = label("swing");
            let made = swing_table::swing(log, group, &mut inner, chain_whole.then_some(&named_joints));
            whole &= made.is_some();
            made.map(|made| (inner, made))
        }
        None => None,
    };
    let hang = match table.table(log, "hang", "a table under a line [group.hang]") {
        Some(mut inner) => {
            inner.label = label("hang");
            let made = hang_table::hang(log, &mut inner);
            whole &= made.is_some();
            made
        }
        None => None,
    };
    let changed = swing.as_ref().and_then(|(table, s)| Some((table.clone(), s.length_channel.as_ref()?.0.clone())));
    let swing = swing.map(|(_, made)| made);
    let Parts { limbs, turning, rods, wires, envelope } = parts.filter(|_| whole)?;
    let spec = BodySpec { joints, channels, named_joints, limbs, lens, rods, wires, envelope, rail, swing, hang, ..BodySpec::new(group) };
    Some(BodyRead { table: table.clone(), spec, joints: moved, rail: rail_table, limbs: turning, swing: changed })
}

/// True where the joints make a chain; each flaw is recorded at its own joint.
fn chain_stands(log: &mut Log, group: &Table<'_>, joints: &[JointSpec], tables: &[Table<'_>]) -> bool {
    let Err(flaws) = Chain::new(joints) else { return true };
    for flaw in flaws {
        match flaw.index.and_then(|i| Some((tables.get(i)?, joints.get(i)?))) {
            Some((table, _)) if flaw.code == Code::MissingKey && flaw.field == "channel" => {
                let name = table.take_quietly("channel", values::text).unwrap_or_default();
                let help = "add `slide = [x, y, z]` or `turn = [x, y, z]`, or remove the channel";
                table.flaws(log, vec![Flaw { index: None, found: values::quoted(name), ..flaw }.help(help)], &[]);
            }
            Some((table, _)) => table.flaws(log, vec![Flaw { index: None, ..flaw }], &[]),
            None => group.flaws(log, vec![flaw], &[]),
        }
    }
    false
}

/// Records every channel of a body that the stage does not have, or that has another unit, where it is named; false where there is one. Behind a stage whose names or units are
/// not all `known` nothing is recorded.
pub(super) fn channels_fit(log: &mut Log, stage: &Stage, body: &BodyRead<'_>, known: bool) -> bool {
    let mut fit = true;
    let on_rail = body.rail.iter().map(|(table, name)| (table, name, "mm", "the rail"));
    let of_joints = body.joints.iter().map(|(table, name, unit)| (table, name, *unit, "the joint"));
    let of_limbs = body.limbs.iter().map(|(table, name)| (table, name, "deg", "the limb"));
    for (table, name, unit, what) in of_joints.chain(of_limbs).chain(on_rail) {
        let flaw = match stage.channel(name) {
            None => unknown_channel(log, stage, name),
            Some(channel) if stage.channel_unit(channel) != unit => {
                let found = format!("`{name}`, a channel in {}", stage.channel_unit(channel));
                let flaw = Flaw::new(Code::WrongUnit, "channel", format!("{what} does not fit its channel"));
                if what == "the limb" {
                    flaw.found(found, "a channel in deg").help("name the channel that turns the limb")
                } else if what == "the rail" {
                    flaw.found(found, "a channel in mm").help("name the channel that moves the carriage along the rail")
                } else {
                    let other = if unit == "mm" { "turn" } else { "slide" };
                    flaw.found(found, format!("{unit}: `slide` takes mm, `turn` takes deg"))
                        .help(format!("write `{other}`, or name a channel in {unit}"))
                }
            }
            Some(_) => continue,
        };
        fit = false;
        if known {
            table.flaws(log, vec![flaw], &[]);
        }
    }
    if let Some((table, name)) = body.swing.as_ref().filter(|(_, name)| stage.channel(name).is_none()) {
        fit = false;
        if known {
            let flaw = Flaw { field: "length_channel".to_owned(), ..unknown_channel(log, stage, name) };
            table.flaws(log, vec![flaw], &[]);
        }
    }
    fit
}

fn joint(log: &mut Log, group: &str, table: &mut Table<'_>, channels: &mut Vec<String>) -> Option<JointSpec> {
    table.reject_unknown_keys(log, &keys::JOINT);
    let direction = "a direction, [x, y, z]";
    let slide = table.take(log, "slide", direction, values::three_numbers);
    let turn = table.take(log, "turn", direction, values::three_numbers);
    let kind = match (slide, turn) {
        (Some(d), None) => JointKind::Slide(d),
        (None, Some(d)) => JointKind::Turn(d),
        (None, None) if !table.is_wrong("slide") && !table.is_wrong("turn") => JointKind::Fixed,
        (Some(_), Some(_)) => {
            let flaw = Flaw::new(Code::ConflictingKeys, "turn", "a joint cannot both slide and turn")
                .found("both", "one of them")
                .help("write two joints, one after the other");
            table.report_at(log, "turn", flaw);
            return None;
        }
        _ => return None,
    };
    let channel = table.take(log, "channel", TEXT, values::text).map(|name| {
        let full = full_name(group, name);
        channels.iter().position(|c| *c == full).unwrap_or_else(|| {
            channels.push(full);
            channels.len() - 1
        })
    });
    let rest = table.take(log, "rest", NUMBER, values::number).unwrap_or(0.0);
    let offset = table.take(log, "offset", POINT, values::three_numbers).unwrap_or([0.0; 3]);
    Some(JointSpec { kind, channel, rest, offset })
}

fn rail(log: &mut Log, group: &str, table: &mut Table<'_>) -> Option<(String, String, [f64; 2], f64)> {
    table.reject_unknown_keys(log, &keys::RAIL);
    let name = table.need(log, "name", TEXT, values::text);
    if let Some(Err(flaw)) = name.map(|n| check_name("name", n)) {
        table.report_at(log, "name", flaw);
        return None;
    }
    let channel = table.need(log, "channel", TEXT, values::text);
    let reach = table.need(log, "reach", "two numbers, [below, above] in mm", values::two_numbers);
    let gap = table.need(log, "gap", "a number, mm", values::number);
    let (reach, gap) = (reach?, gap?);
    let out = reach.into_iter().enumerate().filter_map(|(i, end)| SPAN.check("reach", end).err().map(|f| f.at_index(i)));
    let flaws: Vec<Flaw> = out.chain(SPAN.check("gap", gap).err()).collect();
    if !flaws.is_empty() {
        table.flaws(log, flaws, &[]);
        return None;
    }
    Some((name?.to_owned(), full_name(group, channel?), reach, gap))
}

/// The surroundings; `None` where their tables have mistakes.
pub(super) fn surroundings(log: &mut Log, root: &mut Table<'_>, points: Option<Points>) -> Option<Surroundings> {
    let mut around =
        Surroundings { clearance: root.take(log, "clearance", "a number, mm", values::number).unwrap_or(0.0), ..Surroundings::default() };
    let mut whole = !root.is_wrong("clearance") && points.is_some();
    around.points = points.unwrap_or_default();
    if let Err(flaw) = SPAN.check("clearance", around.clearance) {
        root.report_at(log, "clearance", flaw);
        around.clearance = 0.0;
    }
    for mut table in root.tables(log, "obstacle", "obstacle") {
        table.reject_unknown_keys(log, &keys::OBSTACLE);
        let name = table.display_name(log);
        match (name, capsule(log, &mut table)) {
            (Some(name), Some(shape)) => around.obstacles.push(Obstacle { name: name.to_owned(), shape }),
            _ => whole = false,
        }
    }
    for mut table in root.tables(log, "keep_out", "keep_out") {
        table.reject_unknown_keys(log, &keys::KEEP_OUT);
        let name = table.display_name(log);
        match (name, point(log, &mut table, "least"), point(log, &mut table, "greatest")) {
            (Some(name), Some(least), Some(greatest)) => {
                if !(least.x < greatest.x && least.y < greatest.y && least.z < greatest.z) {
                    let flaw = Flaw::new(Code::EmptyRange, "greatest", "the box is empty");
                    table.report_at(
                        log,
                        "greatest",
                        flaw.found("a corner that is not above `least` in x, y and z", "greater in x, y and z"),
                    );
                    whole = false;
                }
                around.keep_out.push(KeepOut { name: name.to_owned(), least, greatest });
            }
            _ => whole = false,
        }
    }
    whole.then_some(around)
}
