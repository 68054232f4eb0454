//! The tables of mechanisms: `[[group.mechanism]]`.
//!
//! Invariant: names inside a group's tables are the group's own (`bridge`), or full (`camera.track`); a mechanism taken over with `like` means the
//! names of the group that takes it over.

use std::sync::Arc;

use super::choices::{CARRIERS, KINDS, Kind};
use super::keys;
use super::log::Log;
use super::measured_table::{Beside, measured};
use super::reader::Table;
use super::values::{self, NUMBER, TEXT, WHOLE};
use crate::bounds::{Flaw, LAYERS};
use crate::mechanism::drum::Spool;
use crate::mechanism::drum::{Hung, Rope};
use crate::mechanism::{CarriedFrom, Drum, DrumSpec, Limb, LimbWire, LimbWireSpec, Mechanism, Swashplate, SwashplateSpec, Unit};
use crate::stage::MachineSpec;

/// A mechanism with its table, for what is found later.
pub(super) struct MachineRead<'t> {
    /// Its table.
    pub(super) table: Table<'t>,
    /// What it is.
    pub(super) spec: MachineSpec,
}

/// What is known around the mechanisms of a group.
pub(super) struct Around<'r> {
    /// How files beside the stage file are read.
    pub(super) beside: Beside<'r>,
    /// Unit of an axis of the group, by its own name or the full one.
    pub(super) unit: &'r dyn Fn(&str) -> Option<Unit>,
}

const HUNG_KEYS: &[&str] = &["rope_area", "rope_modulus", "mass", "rope_length"];

/// The mechanisms of one group.
pub(super) fn machines<'t>(log: &mut Log, group: &str, table: &mut Table<'t>, around: &Around<'_>) -> Vec<MachineRead<'t>> {
    let mut found = Vec::new();
    for mut inner in table.tables(log, "mechanism", "mechanism") {
        inner.label = format!("mechanism of group {}", values::cut(group, 64));
        found.extend(machine(log, group, inner, around));
    }
    found
}

fn machine<'t>(log: &mut Log, group: &str, mut table: Table<'t>, around: &Around<'_>) -> Option<MachineRead<'t>> {
    let kind = table.choice(log, "kind", KINDS, None)?;
    let (axes, channels, mechanism): (_, _, Option<Arc<dyn Mechanism>>) = match kind {
        Kind::Swashplate => {
            table.reject_unknown_keys(log, &keys::SWASHPLATE);
            let axes = names(log, &mut table, "axes", None);
            let channels = names(log, &mut table, "channels", Some(&["heave", "pitch", "roll"]));
            (axes, channels, swashplate(log, &mut table).map(shared))
        }
        Kind::LimbWire => {
            table.reject_unknown_keys(log, &keys::LIMB_WIRE);
            let (axis, channel) = pair(log, &mut table);
            (axis, channel, limb_wire(log, &mut table).map(shared))
        }
        Kind::Drum => {
            table.reject_unknown_keys(log, &keys::DRUM);
            let (axis, channel) = pair(log, &mut table);
            (axis, channel, drum(log, &mut table).map(shared))
        }
        Kind::Table => {
            table.reject_unknown_keys(log, &keys::MEASURED);
            let (axis, channel) = pair(log, &mut table);
            // An axis that is not there is reported as such, whatever its unit would be.
            let unit = axis.iter().flatten().next().and_then(|name| (around.unit)(name)).unwrap_or(Unit::Millimetre);
            (axis, channel, measured(log, &mut table, around.beside, unit).map(shared))
        }
    };
    let full = |names: Vec<String>| names.into_iter().map(|n| full_name(group, &n)).collect();
    Some(MachineRead { spec: MachineSpec { channels: full(channels?), axes: full(axes?), mechanism: mechanism? }, table })
}

fn shared(mechanism: impl Mechanism + 'static) -> Arc<dyn Mechanism> {
    Arc::new(mechanism)
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

fn swashplate(log: &mut Log, table: &mut Table<'_>) -> Option<Swashplate> {
    let radius = table.need(log, "radius", "a number, mm", values::number);
    let azimuths = table.need(log, "azimuths", "three numbers, deg", values::three_numbers);
    let carried_from = table.choice(log, "carried_from", CARRIERS, Some(CarriedFrom::Below));
    // Without rods nothing leans, from wherever the plate is carried: wires must have their length.
    let rod_length = match carried_from {
        Some(CarriedFrom::Above) => Some(table.need(log, "rod_length", "the length of the wires, a number, mm", values::number)?),
        _ => table.take(log, "rod_length", "a number, mm", values::number),
    };
    let spec = SwashplateSpec { radius: radius?, azimuths: azimuths?, rod_length, carried_from: carried_from? };
    built(log, table, Swashplate::new(spec))
}

fn limb_wire(log: &mut Log, table: &mut Table<'_>) -> Option<LimbWire> {
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
    wire.map(|wire| limb.map_or(wire, |limb| wire.with_limb(limb)))
}

fn drum(log: &mut Log, table: &mut Table<'_>) -> Option<Drum> {
    let radius = table.need(log, "radius", "a number, mm", values::number);
    let rope_diameter = table.take(log, "rope_diameter", "a number, mm", values::number).unwrap_or(0.0);
    let spool = if ["turns_per_layer", "layers", "wound"].iter().any(|k| table.has(k)) {
        let turns = table.need(log, "turns_per_layer", NUMBER, values::number);
        let layers = table.need(log, "layers", WHOLE, values::whole);
        let wound = table.need(log, "wound", NUMBER, values::number);
        let layers = match LAYERS.check_u32("layers", layers?) {
            Ok(n) => n,
            Err(flaw) => {
                table.report_at(log, "layers", flaw);
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
    built(log, table, Drum::new(DrumSpec { radius: radius?, rope_diameter, spool }))
        .map(|drum| hung.map_or(drum, |hung| drum.with_hung(hung)))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "tests")]
mod tests {
    use crate::input::{Loaded, Rejection, parse};
    use crate::stage::Stage;

    /// A plate of radius 90 mm with these homes and these keys below its azimuths.
    fn stage(homes: [&str; 3], keys: &str) -> Result<Loaded, Rejection> {
        let axis = |(name, home): (&str, &str)| {
            format!(
                "[[group.axis]]\nname = \"{name}\"\nunit = \"mm\"\ntravel = [-200, 200]\nhome = {home}\nmax_velocity = 9\nmax_acceleration = 9\nmax_jerk = 9\n\
                 motor = \"m\"\ntravel_per_rev = 5\n"
            )
        };
        let axes: String = ["fore", "left", "right"].into_iter().zip(homes).map(axis).collect();
        let stage = format!(
            "format = 1\nname = \"Marsh\"\n[motor.m]\nfull_steps_per_rev = 200\n[[group]]\nname = \"heron\"\n{axes}[[group.mechanism]]\nkind = \"swashplate\"\n\
             axes = [\"fore\", \"left\", \"right\"]\nradius = 90\nazimuths = [0, 240, 120]\n{keys}"
        );
        let shot = "format = 1\nname = \"Over the reeds\"\nstage = \"stage.toml\"\nframe_rate = \"24\"\nframes = [1, 48]\n[[pass]]\nname = \"beauty\"\n\
                    exposure = \"moving\"\nseconds_per_frame = 12\nshutter = 180\n";
        parse("shot.toml", &|name| Ok(if name == "shot.toml" { shot.as_bytes().to_vec() } else { stage.as_bytes().to_vec() }))
    }

    /// Where the plate rests with its axes at home: heave, pitch, roll.
    fn rests(stage: &Stage) -> [f64; 3] {
        ["heron.heave", "heron.pitch", "heron.roll"].map(|name| stage.channel_rest(stage.channel(name).unwrap()))
    }

    fn slugs(rejection: &Rejection) -> Vec<&'static str> {
        rejection.diagnostics().iter().map(|d| d.code.slug()).collect()
    }

    #[test]
    fn a_plate_may_hang_from_above() {
        // The three actuators of a pitch of 10.5 deg with rods of 600 mm below, and of their mirror image with wires above.
        let rods = ["16.403089985", "-8.200125475", "-8.200125475"];
        let wires = ["-16.403089985", "8.200125475", "8.200125475"];
        for (homes, keys, pitch) in [
            (rods, "rod_length = 600\n", 10.5),
            (rods, "rod_length = 600\ncarried_from = \"below\"\n", 10.5),
            (wires, "rod_length = 600\ncarried_from = \"above\"\n", -10.5),
        ] {
            let loaded = stage(homes, keys).unwrap_or_else(|e| panic!("{e}"));
            let [heave, found, roll] = rests(&loaded.stage);
            // Nine decimals of a mm are 1e-9 deg or so.
            assert!((found - pitch).abs() <= 1e-8 && heave.abs() <= 1e-8 && roll.abs() <= 1e-8, "{keys}: {heave} {found} {roll}");
        }
    }

    #[test]
    fn a_plate_that_hangs_needs_the_length_of_its_wires() {
        let homes = ["0", "0", "0"];
        assert_eq!(slugs(&stage(homes, "carried_from = \"above\"\n").unwrap_err()), ["missing-key"]);
        assert_eq!(slugs(&stage(homes, "carried_from = \"aside\"\n").unwrap_err()), ["unknown-choice"]);
        assert_eq!(slugs(&stage(homes, "carried_from = \"above\"\nrod_length = 0\n").unwrap_err()), ["out-of-range"]);
        assert!(stage(homes, "carried_from = \"below\"\n").is_ok());
    }

    /// Homes of pitch -28, roll 19 deg on rods of 18 mm, one of which leans by 79 deg there: reachable all the way from level. No pose has the others.
    #[test]
    fn homes_with_short_rods_that_lean_steeply_are_taken() {
        let loaded = stage(["-38.847636616", "58.245100168", "0.540654313"], "rod_length = 18\n").unwrap_or_else(|e| panic!("{e}"));
        let [heave, pitch, roll] = rests(&loaded.stage);
        assert!(heave.abs() <= 1e-8 && (pitch + 28.0).abs() <= 1e-8 && (roll - 19.0).abs() <= 1e-8, "{heave} {pitch} {roll}");
        assert_eq!(slugs(&stage(["-90", "80", "80"], "rod_length = 18\n").unwrap_err()), ["impossible-home"]);
    }
}
