//! The tables of a figure's parts: limbs, wires, rods, proxies, and the names of joints; the points of the stage.
//!
//! Keys of a group: `[[group.limb]]` with `name`, `parent`, `pivot`, `turn`, `channel`; `[[group.wire]]` with `from`, `to`, `at`, `diameter`; `[[group.rod]]` with `from`, `to`, `limb`;
//! `[[group.envelope]]` with `from`, `to` (left out: a ball), `radius`, `limb`, `use`. Of the stage: `[point]`, a name and `[x, y, z]` for each.
//! Invariant: a mistake is recorded once, at the table in which it was made.

use super::choices::USES;
use super::keys;
use super::log::Log;
use super::machine_tables::full_name;
use super::reader::Table;
use super::solid_values::{POINT, capsule, point};
use super::values::{self, TEXT};
use crate::bounds::{COORDINATE, Code, Flaw};
use crate::mechanism::Vector;
use crate::stage::{LimbSpec, Proxy, Rod, WireSpec, check_name, joint_names, limbs, unknown_limb, wire_ends};

/// The points of the stage by name.
pub(super) type Points = Vec<(String, Vector)>;

/// What a group has beside its chain.
pub(super) struct Parts<'t> {
    pub(super) limbs: Vec<LimbSpec>,
    /// Each limb's table with its channel.
    pub(super) turning: Vec<(Table<'t>, String)>,
    pub(super) rods: Vec<Rod>,
    pub(super) wires: Vec<WireSpec>,
    pub(super) envelope: Vec<Proxy>,
}

/// The parts of a group whose named joints are these; `None` where a table has a mistake.
pub(super) fn parts<'t>(
    log: &mut Log,
    group: &str,
    table: &mut Table<'t>,
    joints: &[(Table<'t>, String, usize)],
    points: Option<&Points>,
) -> Option<Parts<'t>> {
    let label = |what: &str| format!("{what} of group {}", values::cut(group, 64));
    let written = log.count();
    let mut parts = Parts { limbs: Vec::new(), turning: Vec::new(), rods: Vec::new(), wires: Vec::new(), envelope: Vec::new() };
    for mut inner in table.tables(log, "limb", "limb") {
        inner.label = label("limb");
        if let Some(spec) = limb(log, group, &mut inner) {
            parts.turning.push((inner, spec.channel.clone()));
            parts.limbs.push(spec);
        }
    }
    // Behind a limb that could not be read no name is called unknown.
    let limbs_read = log.count() == written;
    let names: Vec<(String, usize)> = joints.iter().map(|(_, name, number)| (name.clone(), *number)).collect();
    for flaw in joint_names(&names, &parts.limbs) {
        if let Some((table, ..)) = flaw.index.and_then(|i| joints.get(i)) {
            table.flaws(log, vec![Flaw { index: None, ..flaw }], &[]);
        }
    }
    let made = match limbs(&parts.limbs, |_| 0) {
        Ok(made) => made,
        Err(flaws) => {
            for flaw in flaws.into_iter().filter(|f| limbs_read || f.code != Code::UnknownLimb) {
                let at = flaw.index.and_then(|i| parts.turning.get(i)).map_or(&*table, |(table, _)| table);
                at.flaws(log, vec![Flaw { index: None, ..flaw }], &[]);
            }
            return None;
        }
    };
    let on = |log: &mut Log, inner: &mut Table<'t>| -> Option<Option<String>> {
        let Some(name) = inner.take(log, "limb", TEXT, values::text) else { return (!inner.is_wrong("limb")).then_some(None) };
        if parts.limbs.iter().any(|l| l.name == name) {
            return Some(Some(name.to_owned()));
        }
        if limbs_read {
            inner.report_at(log, "limb", unknown_limb("limb", name, &parts.limbs));
        }
        None
    };
    for mut inner in table.tables(log, "rod", "rod") {
        inner.label = label("rod");
        inner.reject_unknown_keys(log, &keys::ROD);
        let (from, to) = (point(log, &mut inner, "from"), point(log, &mut inner, "to"));
        let limb = on(log, &mut inner);
        match (from, to, limb) {
            (Some(from), Some(to), _) if from == to => {
                let flaw = Flaw::new(Code::ZeroLength, "to", "a rod has no length");
                inner.report_at(log, "to", flaw.found("the same point as `from`", "another point"));
            }
            (Some(from), Some(to), Some(limb)) => parts.rods.push(Rod { from, to, limb }),
            _ => {}
        }
    }
    for mut inner in table.tables(log, "envelope", "envelope") {
        inner.label = label("envelope");
        inner.reject_unknown_keys(log, &keys::ENVELOPE);
        let (shape, limb, uses) = (capsule(log, &mut inner), on(log, &mut inner), uses(log, &mut inner));
        if let (Some(shape), Some(limb), Some([clearance, picture])) = (shape, limb, uses) {
            parts.envelope.push(Proxy { shape, limb, clearance, picture });
        }
    }
    for mut inner in table.tables(log, "wire", "wire") {
        inner.label = label("wire");
        let Some(spec) = wire(log, &mut inner) else { continue };
        let none = Points::new();
        if let Err(flaws) = wire_ends(&spec, &names, &parts.limbs, &made, points.unwrap_or(&none)) {
            let known = |f: &Flaw| f.code != Code::UnknownPlace || (limbs_read && points.is_some());
            inner.flaws(log, flaws.into_iter().filter(known).collect(), &[]);
        }
        parts.wires.push(spec);
    }
    (log.count() == written).then_some(parts)
}

fn limb(log: &mut Log, group: &str, table: &mut Table<'_>) -> Option<LimbSpec> {
    table.reject_unknown_keys(log, &keys::LIMB);
    let name = table.need(log, "name", TEXT, values::text);
    let parent = table.take(log, "parent", TEXT, values::text).map(str::to_owned);
    let pivot = table.need(log, "pivot", POINT, values::three_numbers);
    let turn = table.need(log, "turn", "a direction, [x, y, z]", values::three_numbers);
    let channel = table.need(log, "channel", TEXT, values::text);
    if table.is_wrong("parent") {
        return None;
    }
    Some(LimbSpec { name: name?.to_owned(), parent, pivot: pivot?, turn: turn?, channel: full_name(group, channel?) })
}

fn wire(log: &mut Log, table: &mut Table<'_>) -> Option<WireSpec> {
    table.reject_unknown_keys(log, &keys::WIRE);
    let from = table.need(log, "from", TEXT, values::text);
    let to = table.need(log, "to", TEXT, values::text);
    let at = table.take(log, "at", "two points, [[x, y, z], [x, y, z]] in mm", |v| {
        match v.as_array()?.iter().map(|p| values::three_numbers(p.get_ref())).collect::<Option<Vec<_>>>()?.as_slice() {
            [a, b] => Some([*a, *b]),
            _ => None,
        }
    });
    let diameter = table.need(log, "diameter", "a number, mm", values::number);
    if table.is_wrong("at") {
        return None;
    }
    Some(WireSpec { places: [from?.to_owned(), to?.to_owned()], at: at.unwrap_or([[0.0; 3]; 2]), diameter: diameter? })
}

/// Whether a proxy is for clearance and for pictures: both where nothing is said.
fn uses(log: &mut Log, table: &mut Table<'_>) -> Option<[bool; 2]> {
    let allowed = "a list of one or both of \"clearance\" and \"picture\"";
    let words = table.take(log, "use", allowed, |v| {
        v.as_array()?.iter().map(|n| n.get_ref().as_str()).collect::<Option<Vec<_>>>().filter(|l| !l.is_empty())
    });
    let Some(words) = words else { return (!table.is_wrong("use")).then_some([true, true]) };
    let mut found = [false; 2];
    for (i, word) in words.into_iter().enumerate() {
        match (USES.iter().find(|(name, _)| *name == word), &mut found) {
            (Some((_, 0)), [clearance, _]) => *clearance = true,
            (Some(_), [_, picture]) => *picture = true,
            (None, _) => {
                let flaw = Flaw::new(Code::UnknownChoice, "use", "`use` holds a word that is not one of the choices")
                    .found(values::quoted(word), allowed);
                let near = log.nearest(word, USES.iter().map(|(name, _)| *name));
                let flaw = match near {
                    Some(near) => flaw.help(format!("write \"{near}\"")),
                    None => flaw,
                };
                table.mark_wrong("use");
                table.report_bytes(log, table.bytes_of("use", Some(i)), flaw);
                return None;
            }
        }
    }
    Some(found)
}

/// The points of the stage; `None` where one has a mistake. `groups` are the names of its groups.
pub(super) fn points(log: &mut Log, root: &mut Table<'_>, groups: &[&str]) -> Option<Points> {
    let Some(table) = root.table(log, "point", "a table of points, under a line [point]") else {
        return (!root.is_wrong("point")).then(Points::new);
    };
    let mut points = Points::new();
    let mut whole = true;
    for (name, entry) in table.entries() {
        let mut wrong = |log: &mut Log, bytes, flaw: Flaw| {
            whole = false;
            table.report_bytes(log, bytes, flaw);
        };
        if let Err(flaw) = check_name("point", name) {
            wrong(log, entry.key(), flaw);
        } else if groups.contains(&name) {
            let flaw = Flaw::new(Code::DuplicateName, "point", format!("a point and a group are called `{name}`"));
            wrong(log, entry.key(), flaw.found(format!("`{name}`"), "a name that no group has").help("give the point a unique name"));
        }
        match values::three_numbers(entry.value.get_ref()) {
            Some([x, y, z]) if [x, y, z].into_iter().all(|c| COORDINATE.contains(c)) => {
                points.push((name.to_owned(), Vector::new(x, y, z)))
            }
            Some([x, y, z]) => {
                let flaw = Flaw::new(Code::OutOfRange, "point", format!("the point `{name}` is out of range"));
                wrong(log, entry.value.span(), flaw.found(format!("[{x}, {y}, {z}]"), format!("each from {COORDINATE}")));
            }
            None => {
                let flaw = Flaw::new(Code::WrongType, "point", "a point has a value of the wrong type")
                    .found(values::shown(entry.value.get_ref()), POINT);
                wrong(log, entry.value.span(), flaw.help("write it as in `reeds = [1800, 260, 400]`"));
            }
        }
    }
    whole.then_some(points)
}
