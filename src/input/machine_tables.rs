//! The tables of mechanisms: `[[group.mechanism]]`.
//!
//! Invariant: names inside a group's tables are the group's own (`bridge`), or full (`camera.track`); a mechanism taken over with `like` means the
//! names of the group that takes it over.

use super::choices::{KINDS, Kind};
use super::keys;
use super::log::Log;
use super::reader::Table;
use super::values::{self, NUMBER, TEXT, WHOLE};
use crate::bounds::{Flaw, LAYERS};
use crate::mechanism::drum::Spool;
use crate::mechanism::drum::{Hung, Rope};
use crate::mechanism::{CarriedFrom, Drum, DrumSpec, Limb, LimbWire, LimbWireSpec, Swashplate, SwashplateSpec};
use crate::stage::{MachineSpec, Work};

/// A mechanism with its table, for what is found later.
pub(super) struct MachineRead<'t> {
    /// Its table.
    pub(super) table: Table<'t>,
    /// What it is.
    pub(super) spec: MachineSpec,
}

const HUNG_KEYS: &[&str] = &["rope_area", "rope_modulus", "mass", "rope_length"];

/// The mechanisms of one group.
pub(super) fn machines<'t>(log: &mut Log, group: &str, table: &mut Table<'t>) -> Vec<MachineRead<'t>> {
    let mut found = Vec::new();
    for mut inner in table.tables(log, "mechanism", "mechanism") {
        inner.label = format!("mechanism of group {}", values::cut(group, 64));
        found.extend(machine(log, group, inner));
    }
    found
}

fn machine<'t>(log: &mut Log, group: &str, mut table: Table<'t>) -> Option<MachineRead<'t>> {
    let kind = table.choice(log, "kind", KINDS, None)?;
    let (axes, channels, work) = match kind {
        Kind::Swashplate => {
            table.know_only(log, &keys::SWASHPLATE);
            let axes = names(log, &mut table, "axes", None);
            let channels = names(log, &mut table, "channels", Some(&["heave", "pitch", "roll"]));
            (axes, channels, swashplate(log, &mut table))
        }
        Kind::LimbWire => {
            table.know_only(log, &keys::LIMB_WIRE);
            let (axis, channel) = pair(log, &mut table);
            (axis, channel, limb_wire(log, &mut table))
        }
        Kind::Drum => {
            table.know_only(log, &keys::DRUM);
            let (axis, channel) = pair(log, &mut table);
            (axis, channel, drum(log, &mut table))
        }
    };
    let full = |names: Vec<String>| names.into_iter().map(|n| full_name(group, &n)).collect();
    Some(MachineRead { spec: MachineSpec { channels: full(channels?), axes: full(axes?), work: work? }, table })
}

/// A name of the group, or a full one as it is.
pub(super) fn full_name(group: &str, name: &str) -> String {
    if name.contains('.') { name.to_owned() } else { format!("{group}.{name}") }
}

/// The one axis and the one channel of a mechanism.
fn pair(log: &mut Log, table: &mut Table<'_>) -> (Option<Vec<String>>, Option<Vec<String>>) {
    let mut one = |key| table.need(log, key, TEXT, values::text).map(|n| vec![n.to_owned()]);
    (one("axis"), one("channel"))
}

fn names(log: &mut Log, table: &mut Table<'_>, key: &'static str, default: Option<&[&str]>) -> Option<Vec<String>> {
    if let (Some(default), false) = (default, table.has(key)) {
        return Some(default.iter().map(|n| (*n).to_owned()).collect());
    }
    let allowed = "a list of three names in quotes";
    table.need(log, key, allowed, |v| v.as_array()?.iter().map(|n| n.get_ref().as_str().map(str::to_owned)).collect())
}

/// What a constructor made of numbers that could all be read; its flaws at their keys.
fn built<T>(log: &mut Log, table: &Table<'_>, made: Result<T, Vec<Flaw>>) -> Option<T> {
    made.map_err(|flaws| table.flaws(log, flaws, &[])).ok()
}

fn swashplate(log: &mut Log, table: &mut Table<'_>) -> Option<Work> {
    let radius = table.need(log, "radius", "a number, mm", values::number);
    let azimuths = table.need(log, "azimuths", "three numbers, deg", values::three_numbers);
    let rod_length = table.take(log, "rod_length", "a number, mm", values::number);
    let spec = SwashplateSpec { radius: radius?, azimuths: azimuths?, rod_length, carried_from: CarriedFrom::Below };
    built(log, table, Swashplate::new(spec)).map(Work::Swashplate)
}

fn limb_wire(log: &mut Log, table: &mut Table<'_>) -> Option<Work> {
    let arm = table.need(log, "arm", "a number, mm", values::number);
    let guide = table.need(log, "guide", "two numbers, [across, up] in mm", values::two_numbers);
    let neutral = table.need(log, "neutral", "a number, deg", values::number);
    let wire = built(log, table, LimbWire::new(LimbWireSpec { arm: arm?, guide: guide?, neutral: neutral? }));
    // The weight is known whole or not at all.
    let limb = if ["mass", "centre_of_mass", "inertia"].iter().any(|k| table.has(k)) {
        let mass = table.need(log, "mass", "a number, kg", values::number);
        let centre = table.need(log, "centre_of_mass", "a number, mm from the joint", values::number);
        let inertia = table.need(log, "inertia", "a number, kg m2 about the joint", values::number);
        Some(built(log, table, Limb::new(mass?, centre?, inertia?))?)
    } else {
        None
    };
    wire.map(|w| Work::LimbWire(w, limb))
}

fn drum(log: &mut Log, table: &mut Table<'_>) -> Option<Work> {
    let radius = table.need(log, "radius", "a number, mm", values::number);
    let rope_diameter = table.take(log, "rope_diameter", "a number, mm", values::number).unwrap_or(0.0);
    let spool = if ["turns_per_layer", "layers", "wound"].iter().any(|k| table.has(k)) {
        let turns = table.need(log, "turns_per_layer", NUMBER, values::number);
        let layers = table.need(log, "layers", WHOLE, values::whole);
        let wound = table.need(log, "wound", NUMBER, values::number);
        let layers = match LAYERS.check_u32("layers", layers?) {
            Ok(n) => n,
            Err(flaw) => {
                table.blame(log, "layers", flaw);
                return None;
            }
        };
        Some(Spool { turns_per_layer: turns?, layers, wound: wound? })
    } else {
        None
    };
    // What hangs is known whole or not at all.
    let hung = if HUNG_KEYS.iter().any(|k| table.has(k)) {
        let area = table.need(log, "rope_area", "a number, mm2 of metal", values::number);
        let modulus = table.need(log, "rope_modulus", "a number, N/mm2", values::number);
        let mass = table.need(log, "mass", "a number, kg", values::number);
        let length = table.need(log, "rope_length", "a number, mm of rope at height 0", values::number);
        let named =
            |flaws: Vec<Flaw>| -> Vec<Flaw> { flaws.into_iter().map(|f| Flaw { field: format!("rope_{}", f.field), ..f }).collect() };
        let rope = built(log, table, Rope::new(area?, modulus?).map_err(named));
        Some(built(log, table, Hung::new(rope?, mass?, length?))?)
    } else {
        None
    };
    built(log, table, Drum::new(DrumSpec { radius: radius?, rope_diameter, spool })).map(|d| Work::Drum(d, hung))
}
