//! What the manifest says the folder was checked with, beside the limits of its columns, against the stage in `source/`.
//!
//! Read by structures of its own. Invariant: every number of clearances, motors, loads and limbs is compared; what a manifest of an earlier version does not state is listed as
//! not looked at ([`Used::is_stated`]).

use serde::Deserialize;

use super::fault::{FaultKind, Faults, MANIFEST};
use super::figure::point;
use super::parts::{handed_over, part_name};
use crate::mechanism::{JointKind, Vector};
use crate::stage::{Axis, Capsule, Place as Part, Stage};

/// What the manifest states for the whole stage.
#[derive(Debug, Clone, Default, Deserialize)]
pub(super) struct Used {
    #[serde(default)]
    clearances: Option<Clearances>,
    #[serde(default)]
    limbs: Vec<LimbRecord>,
    #[serde(default)]
    swings: Vec<SwingRecord>,
    #[serde(default)]
    hangs: Vec<HangRecord>,
    #[serde(default)]
    reaction_s: Option<f64>,
    #[serde(default)]
    scale: Option<f64>,
}

#[derive(Debug, Clone, Deserialize)]
struct Clearances {
    required_mm: f64,
    rails: Vec<RailRecord>,
    envelopes: Vec<EnvelopeRecord>,
    obstacles: Vec<EnvelopeRecord>,
    keep_out: Vec<BoxRecord>,
    #[serde(default)]
    limbs: Vec<PivotRecord>,
    #[serde(default)]
    wires: Vec<WireRecord>,
}

#[derive(Debug, Clone, Deserialize)]
struct RailRecord {
    group: String,
    rail: String,
    reach_mm: [f64; 2],
    gap_mm: f64,
}

#[derive(Debug, Clone, Deserialize)]
struct EnvelopeRecord {
    name: String,
    capsules_mm: Vec<[f64; 7]>,
}

#[derive(Debug, Clone, Deserialize)]
struct PivotRecord {
    name: String,
    parent: String,
    channel: String,
    pivot_mm: [f64; 3],
    turn: [f64; 3],
}

#[derive(Debug, Clone, Deserialize)]
struct WireRecord {
    group: String,
    places: [String; 2],
    ends_mm: [f64; 6],
    diameter_mm: f64,
}

#[derive(Debug, Clone, Deserialize)]
struct BoxRecord {
    name: String,
    corners_mm: [f64; 6],
}

#[derive(Debug, Clone, Deserialize)]
struct LimbRecord {
    axis: String,
    mass: f64,
    centre_of_mass_m: f64,
    inertia: f64,
}

#[derive(Debug, Clone, Deserialize)]
struct HangRecord {
    group: String,
    mass: f64,
    centre_mm: [f64; 3],
    wires_mm: [[f64; 3]; 3],
    least_tension: f64,
    breaking: Option<[f64; 2]>,
}

#[derive(Debug, Clone, Deserialize)]
struct SwingRecord {
    group: String,
    after_joint: usize,
    length_mm: f64,
    length_channel: Option<String>,
    length_per_unit: f64,
    damping: f64,
    limit_mm: Option<f64>,
    modes: Vec<[f64; 2]>,
}

/// Motor and load of a column.
#[derive(Debug, Clone, Deserialize)]
pub(super) struct TorqueRecord {
    rotor_inertia: f64,
    pull_out: Vec<[f64; 2]>,
    load: f64,
    friction: f64,
    vertical: bool,
    efficiency: f64,
}

/// A list of names and numbers, in the order of the stage.
type Listed = Vec<(String, Vec<f64>)>;

impl Used {
    /// True where the manifest states what the folder was checked with.
    pub(super) fn is_stated(&self) -> bool {
        self.scale.is_some()
    }

    /// Compares it with the stage.
    pub(super) fn compare(&self, stage: &Stage, faults: &mut Faults) {
        if !self.is_stated() {
            return;
        }
        let mut wrong = |what: String| faults.file(FaultKind::Manifest, MANIFEST, what);
        compare("scale", &vec![(String::new(), self.scale.into_iter().collect())], &vec![(String::new(), vec![stage.scale()])], &mut wrong);
        // What an earlier version wrote states none.
        if let Some(reaction) = self.reaction_s {
            let of = |seconds| vec![(String::new(), vec![seconds])];
            compare("reaction_s", &of(reaction), &of(stage.reaction()), &mut wrong);
        }
        let limbs = self.limbs.iter().map(|l| (l.axis.clone(), vec![l.mass, l.centre_of_mass_m, l.inertia])).collect();
        let weighted = stage.machines().iter().filter_map(|m| match (m.mechanism().hanging().and_then(|h| h.parts()), m.axes()) {
            (Some([mass, centre, inertia]), [axis]) => Some((stage.axis_name(*axis).to_owned(), vec![mass, centre, inertia])),
            _ => None,
        });
        compare("weighted limbs", &limbs, &weighted.collect(), &mut wrong);
        compare("hangs", &self.hangs.iter().map(on_wires).collect(), &all_on_wires(stage), &mut wrong);
        compare("swings", &self.swings.iter().map(pendulum).collect(), &pendulums(stage), &mut wrong);
        let expected = of_stage(stage);
        let found = self.clearances.as_ref().map(of_record);
        match (&found, &expected) {
            (None, None) => {}
            (Some(found), Some(expected)) => {
                for ((what, found), (_, expected)) in found.iter().zip(expected) {
                    compare(what, found, expected, &mut wrong);
                }
            }
            _ => wrong(format!(
                "clearances: found {}, expected {}",
                if found.is_some() { "some" } else { "none" },
                if expected.is_some() { "some" } else { "none" }
            )),
        }
    }
}

/// A figure on three wires as the manifest has it: a breaking load and a factor of -1 are none.
fn on_wires(h: &HangRecord) -> (String, Vec<f64>) {
    let numbers = [h.mass, h.least_tension].into_iter().chain(h.breaking.unwrap_or([-1.0; 2])).chain(h.centre_mm);
    (h.group.clone(), numbers.chain(h.wires_mm.iter().copied().flatten()).collect())
}

/// The figures on three wires of a stage, likewise.
fn all_on_wires(stage: &Stage) -> Listed {
    let hanging = stage.bodies().iter().filter_map(|b| Some((stage.group_name(b.group()), b.hang()?)));
    let record = hanging.map(|(group, h)| HangRecord {
        group: group.to_owned(),
        mass: h.mass,
        centre_mm: [h.centre.x, h.centre.y, h.centre.z],
        wires_mm: h.wires.map(|w| [w.x, w.y, w.z]),
        least_tension: h.least_tension,
        breaking: h.breaking,
    });
    record.map(|h| on_wires(&h)).collect()
}

/// A pendulum as the manifest has it: a limit of -1 is none.
fn pendulum(s: &SwingRecord) -> (String, Vec<f64>) {
    let name = format!("{} after joint {}, {}", s.group, s.after_joint, s.length_channel.as_deref().unwrap_or("constant length"));
    let numbers = [s.length_mm, s.length_per_unit, s.damping, s.limit_mm.unwrap_or(-1.0)];
    (name, numbers.into_iter().chain(s.modes.iter().copied().flatten()).collect())
}

/// The pendulums of a stage, likewise.
fn pendulums(stage: &Stage) -> Listed {
    let hanging = stage.bodies().iter().filter_map(|b| Some((stage.group_name(b.group()), b.swing()?)));
    let record = hanging.map(|(group, s)| SwingRecord {
        group: group.to_owned(),
        after_joint: s.after + 1,
        length_mm: s.length,
        length_channel: s.change.map(|c| stage.channel_name(c.channel).to_owned()),
        length_per_unit: s.change.map_or(0.0, |c| c.per_unit),
        damping: s.damping,
        limit_mm: s.limit,
        modes: s.modes.clone(),
    });
    record.map(|s| pendulum(&s)).collect()
}

/// The motor and load that a column states, against its axis.
pub(super) fn compare_torque(found: Option<&TorqueRecord>, axis: &Axis, name: &str, faults: &mut Faults) {
    let numbers = |t: &TorqueRecord| {
        let scalars = [t.rotor_inertia, t.load, t.friction, f64::from(u8::from(t.vertical)), t.efficiency];
        scalars.into_iter().chain(t.pull_out.iter().copied().flatten()).collect::<Vec<_>>()
    };
    let expected = || {
        let (motor, load) = (axis.motor()?, axis.load()?);
        let rotor = motor.rotor_inertia().filter(|_| !motor.torque().is_empty())?;
        let mut all = vec![rotor, load.inertia, load.friction, f64::from(u8::from(load.vertical)), load.efficiency];
        all.extend(motor.torque().iter().flat_map(|(speed, torque)| [*speed, *torque]));
        Some(all)
    };
    let list = |numbers: Option<Vec<f64>>| numbers.map(|n| (name.to_owned(), n)).into_iter().collect::<Listed>();
    let mut wrong = |what: String| faults.file(FaultKind::Manifest, MANIFEST, what);
    compare("motor and load", &list(found.map(numbers)), &list(expected()), &mut wrong);
}

fn of_record(c: &Clearances) -> [(&'static str, Listed); 7] {
    let envelopes = |list: &[EnvelopeRecord]| list.iter().map(|e| (e.name.clone(), e.capsules_mm.as_flattened().to_vec())).collect();
    let rail = |r: &RailRecord| (format!("{} on {}", r.group, r.rail), vec![r.reach_mm[0], r.reach_mm[1], r.gap_mm]);
    let limb = |l: &PivotRecord| (limb_words(&l.name, &l.parent, &l.channel), l.pivot_mm.into_iter().chain(l.turn).collect());
    let wire = |w: &WireRecord| (wire_words(&w.group, &w.places[0], &w.places[1]), w.ends_mm.into_iter().chain([w.diameter_mm]).collect());
    [
        ("required clearance", vec![(String::new(), vec![c.required_mm])]),
        ("rails", c.rails.iter().map(rail).collect()),
        ("envelopes", envelopes(&c.envelopes)),
        ("limbs", c.limbs.iter().map(limb).collect()),
        ("wires", c.wires.iter().map(wire).collect()),
        ("obstacles", envelopes(&c.obstacles)),
        ("boxes to keep out of", c.keep_out.iter().map(|b| (b.name.clone(), b.corners_mm.to_vec())).collect()),
    ]
}

fn of_stage(stage: &Stage) -> Option<[(&'static str, Listed); 7]> {
    let around = stage.surroundings();
    let pair = |a: Vector, b: Vector| -> Vec<f64> { [point(a), point(b)].as_flattened().to_vec() };
    let capsule = |c: &Capsule| {
        let mut numbers = pair(c.from, c.to);
        numbers.push(c.radius);
        numbers
    };
    let name = |b: &crate::stage::Body| stage.group_name(b.group()).to_owned();
    let rails: Listed = stage
        .bodies()
        .iter()
        .filter_map(|b| b.rail().map(|r| (format!("{} on {}", name(b), r.name), vec![r.reach[0], r.reach[1], r.gap])))
        .collect();
    let mut envelopes: Listed = Vec::new();
    for (body, part, name) in handed_over(stage) {
        let own = body.proxies_apart().iter().filter(|s| s.ends[0].place == part);
        let numbers: Vec<f64> = own.flat_map(|s| pair(s.ends[0].at, s.ends[1].at).into_iter().chain([s.radius])).collect();
        if !numbers.is_empty() {
            envelopes.push((name, numbers));
        }
    }
    let (mut limbs, mut wires): (Listed, Listed) = (Vec::new(), Vec::new());
    for body in stage.bodies() {
        let group = name(body);
        for (number, own) in body.limbs().iter().enumerate() {
            let parent = part_name(stage, body, Part::of(own.parent()));
            let channel = body.every_channel().get(own.channel()).map(|c| stage.channel_name(*c)).unwrap_or_default();
            let turn = |kind| if let JointKind::Turn(turn) = kind { turn } else { [f64::NAN; 3] };
            let numbers = own.joint().joints().flat_map(|j| j.offset.into_iter().chain(turn(j.kind))).collect();
            limbs.push((limb_words(&part_name(stage, body, Part::Limb(number)), &parent, channel), numbers));
        }
        let place = |part: Part| match part {
            Part::Body => "body".to_owned(),
            Part::Stage => "stage".to_owned(),
            Part::Joint(number) => format!("joint {}", number + 1),
            Part::Limb(number) => body.limbs().get(number).map(|l| l.name().to_owned()).unwrap_or_default(),
        };
        for (line, diameter) in body.wires() {
            let [a, b] = line.ends;
            let numbers = pair(a.at, b.at).into_iter().chain([diameter]).collect();
            wires.push((wire_words(&group, &place(a.place), &place(b.place)), numbers));
        }
    }
    if rails.is_empty() && envelopes.is_empty() && wires.is_empty() {
        return None;
    }
    Some([
        ("required clearance", vec![(String::new(), vec![around.clearance])]),
        ("rails", rails),
        ("envelopes", envelopes),
        ("limbs", limbs),
        ("wires", wires),
        ("obstacles", around.obstacles.iter().map(|o| (o.name.clone(), capsule(&o.shape))).collect()),
        ("boxes to keep out of", around.keep_out.iter().map(|o| (o.name.clone(), pair(o.least, o.greatest))).collect()),
    ])
}

fn limb_words(name: &str, parent: &str, channel: &str) -> String {
    format!("{name} on {parent} by {channel}")
}

fn wire_words(group: &str, from: &str, to: &str) -> String {
    format!("{group} from {from} to {to}")
}

/// Two lists, name by name and number by number; numbers went through text and may differ in their last bits.
fn compare(what: &str, found: &Listed, expected: &Listed, wrong: &mut impl FnMut(String)) {
    const THROUGH_TEXT: f64 = 1e-15;
    if found.len() != expected.len() {
        return wrong(format!("{what}: found {}, expected {}", found.len(), expected.len()));
    }
    for ((found_name, found), (name, expected)) in found.iter().zip(expected) {
        let same = found.len() == expected.len() && found.iter().zip(expected).all(|(a, b)| (a - b).abs() <= THROUGH_TEXT * b.abs());
        if found_name != name {
            wrong(format!("{what}: found `{found_name}`, expected `{name}`"));
        } else if !same {
            let about = if name.is_empty() { String::new() } else { format!(" of {name}") };
            wrong(format!("{what}{about}: found {found:?}, expected {expected:?}"));
        }
    }
}
