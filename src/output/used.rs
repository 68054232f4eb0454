//! What a folder was checked with, beside the limits of its columns: clearances and what they were measured on, motors and loads, weighted limbs, hanging figures.
//!
//! Invariant: every number of the stage file that a verdict hangs on stands in the manifest, so that a source that was exchanged later does not pass for the one that was checked.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::mechanism::{JointKind, Vector};
use crate::stage::{Axis, Body, Capsule, Hang, Limb, Line, Place, Stage, Swing};

/// Clearances, and what they were measured on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub(crate) struct Clearances {
    /// Required between envelopes, obstacles and boxes, mm.
    pub required_mm: f64,
    /// Carriages that share a rail.
    pub rails: Vec<RailEntry>,
    /// Envelopes of bodies and limbs.
    pub envelopes: Vec<EnvelopeEntry>,
    /// Limbs, parents first.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub limbs: Vec<PivotEntry>,
    /// Wires.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub wires: Vec<WireEntry>,
    /// What stands still.
    pub obstacles: Vec<EnvelopeEntry>,
    /// Boxes to keep out of: the corner of the least coordinates, then that of the greatest.
    pub keep_out: Vec<BoxEntry>,
}

/// A carriage on a rail.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub(crate) struct RailEntry {
    /// Its group.
    pub group: String,
    /// The rail.
    pub rail: String,
    /// From its position to its ends, mm.
    pub reach_mm: [f64; 2],
    /// Least gap to the next carriage, mm.
    pub gap_mm: f64,
}

/// A limb.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub(crate) struct PivotEntry {
    /// `GROUP.LIMB`.
    pub name: String,
    /// What carries it: `GROUP` or `GROUP.LIMB`.
    pub parent: String,
    /// The channel that turns it.
    pub channel: String,
    /// Where it turns, in its parent, mm.
    pub pivot_mm: [f64; 3],
    /// About what it turns: a direction of length one.
    pub turn: [f64; 3],
}

/// A wire.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub(crate) struct WireEntry {
    /// Its group.
    pub group: String,
    /// The places of its ends: `body`, `joint N`, `stage` or the name of a limb.
    pub places: [String; 2],
    /// Its ends in the axes of those places, mm.
    pub ends_mm: [f64; 6],
    /// Diameter, mm.
    pub diameter_mm: f64,
}

/// Capsules of a body, a limb or an obstacle.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub(crate) struct EnvelopeEntry {
    /// `GROUP`, `GROUP.LIMB`, or the obstacle's name.
    pub name: String,
    /// One end, the other end, radius, mm.
    pub capsules_mm: Vec<[f64; 7]>,
}

/// A box.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub(crate) struct BoxEntry {
    /// Its name.
    pub name: String,
    /// Corner of the least coordinates, then of the greatest, mm.
    pub corners_mm: [f64; 6],
}

/// Motor and load of an axis, where torque was checked.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub(crate) struct TorqueEntry {
    /// kg m2.
    pub rotor_inertia: f64,
    /// rev/min and N m.
    pub pull_out: Vec<[f64; 2]>,
    /// kg of an mm axis, kg m2 of a deg axis.
    pub load: f64,
    /// N or N m.
    pub friction: f64,
    /// True where the load hangs.
    pub vertical: bool,
    /// Of the drive, 0 to 1.
    pub efficiency: f64,
}

/// A weighted limb on a wire.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub(crate) struct LimbEntry {
    /// The wire's axis.
    pub axis: String,
    /// kg.
    pub mass: f64,
    /// Along the limb, m.
    pub centre_of_mass_m: f64,
    /// kg m2.
    pub inertia: f64,
}

/// A hanging figure as a pendulum.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub(crate) struct SwingEntry {
    /// Its group.
    pub group: String,
    /// It hangs from the place after this joint, counted from 1.
    pub after_joint: usize,
    /// Length at home, mm.
    pub length_mm: f64,
    /// Channel that changes the length; `null` where it is constant.
    pub length_channel: Option<String>,
    /// Added for each unit of that channel, mm; 0 where the length is constant.
    pub length_per_unit: f64,
    /// Share of critical damping.
    pub damping: f64,
    /// Largest allowed during exposures, mm; `null` without a limit.
    pub limit_mm: Option<f64>,
    /// Further modes: period in s, share of critical damping.
    pub modes: Vec<[f64; 2]>,
}

/// A figure on three wires.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub(crate) struct HangEntry {
    /// Its group.
    pub group: String,
    /// kg.
    pub mass: f64,
    /// Centre of mass in the figure, mm.
    pub centre_mm: [f64; 3],
    /// Where the wires hold it, mm.
    pub wires_mm: [[f64; 3]; 3],
    /// Share of the weight that each wire must carry.
    pub least_tension: f64,
    /// Breaking load of a wire, N, and design factor; `null` where they are not given.
    pub breaking: Option<[f64; 2]>,
}

/// The clearances of a stage; `None` where nothing could meet.
#[must_use]
pub(crate) fn clearances(stage: &Stage) -> Option<Clearances> {
    let around = stage.surroundings();
    let group = |b: &Body| stage.group_name(b.group()).to_owned();
    let rail = |b: &Body| b.rail().map(|r| RailEntry { group: group(b), rail: r.name.clone(), reach_mm: r.reach, gap_mm: r.gap });
    let all = Clearances {
        required_mm: around.clearance,
        rails: stage.bodies().iter().filter_map(rail).collect(),
        envelopes: stage.bodies().iter().flat_map(|b| envelopes(stage, b)).collect(),
        limbs: stage.bodies().iter().flat_map(|b| pivots(stage, b)).collect(),
        wires: stage.bodies().iter().flat_map(|b| wires(b, &group(b))).collect(),
        obstacles: around.obstacles.iter().map(|o| EnvelopeEntry { name: o.name.clone(), capsules_mm: vec![capsule(&o.shape)] }).collect(),
        keep_out: around.keep_out.iter().map(|o| BoxEntry { name: o.name.clone(), corners_mm: six(o.least, o.greatest) }).collect(),
    };
    (!(all.rails.is_empty() && all.envelopes.is_empty() && all.wires.is_empty())).then_some(all)
}

/// What of a figure is kept apart, its body first, then its limbs.
fn envelopes(stage: &Stage, body: &Body) -> Vec<EnvelopeEntry> {
    let of = |place: Place| {
        let own = body.proxies_apart().iter().filter(|s| s.ends[0].place == place);
        let capsules_mm: Vec<[f64; 7]> = own.map(|s| seven(s.ends[0].at, s.ends[1].at, s.radius)).collect();
        (!capsules_mm.is_empty()).then(|| EnvelopeEntry { name: stage.part_name(body, place), capsules_mm })
    };
    core::iter::once(Place::Body).chain((0..body.limbs().len()).map(Place::Limb)).filter_map(of).collect()
}

fn pivots(stage: &Stage, body: &Body) -> Vec<PivotEntry> {
    let entry = |(number, limb): (usize, &Limb)| {
        let joint = limb.joint().joints().next()?;
        let JointKind::Turn(turn) = joint.kind else { return None };
        let parent = stage.part_name(body, Place::of(limb.parent()));
        let channel = stage.channel_name(*body.every_channel().get(limb.channel())?).to_owned();
        Some(PivotEntry { name: stage.part_name(body, Place::Limb(number)), parent, channel, pivot_mm: joint.offset, turn })
    };
    body.limbs().iter().enumerate().filter_map(entry).collect()
}

fn wires(body: &Body, group: &str) -> Vec<WireEntry> {
    let place = |place: Place| match place {
        Place::Body => "body".to_owned(),
        Place::Joint(number) => format!("joint {}", number + 1),
        Place::Stage => "stage".to_owned(),
        Place::Limb(number) => body.limbs().get(number).map(|l| l.name().to_owned()).unwrap_or_default(),
    };
    let entry = |(line, diameter_mm): (&Line, f64)| {
        let [a, b] = line.ends;
        WireEntry { group: group.to_owned(), places: [place(a.place), place(b.place)], ends_mm: six(a.at, b.at), diameter_mm }
    };
    body.wires().map(entry).collect()
}

/// Motor and load of an axis; `None` where the stage file does not give all of them.
#[must_use]
pub(crate) fn torque(axis: &Axis) -> Option<TorqueEntry> {
    let (motor, load) = (axis.motor()?, axis.load()?);
    Some(TorqueEntry {
        rotor_inertia: motor.rotor_inertia()?,
        pull_out: motor.torque().iter().map(|(speed, torque)| [*speed, *torque]).collect(),
        load: load.inertia,
        friction: load.friction,
        vertical: load.vertical,
        efficiency: load.efficiency,
    })
    .filter(|t| !t.pull_out.is_empty())
}

/// Every weighted limb of a stage.
#[must_use]
pub(crate) fn limbs(stage: &Stage) -> Vec<LimbEntry> {
    let limb = |m: &crate::stage::Machine| match (m.mechanism().hanging().and_then(|h| h.parts()), m.axes()) {
        (Some([mass, centre_of_mass_m, inertia]), [axis]) => {
            Some(LimbEntry { axis: stage.axis_name(*axis).to_owned(), mass, centre_of_mass_m, inertia })
        }
        _ => None,
    };
    stage.machines().iter().filter_map(limb).collect()
}

/// Every hanging figure of a stage.
#[must_use]
pub(crate) fn swings(stage: &Stage) -> Vec<SwingEntry> {
    let entry = |(body, s): (&Body, &Swing)| SwingEntry {
        group: stage.group_name(body.group()).to_owned(),
        after_joint: s.after + 1,
        length_mm: s.length,
        length_channel: s.change.map(|c| stage.channel_name(c.channel).to_owned()),
        length_per_unit: s.change.map_or(0.0, |c| c.per_unit),
        damping: s.damping,
        limit_mm: s.limit,
        modes: s.modes.clone(),
    };
    stage.bodies().iter().filter_map(|b| Some((b, b.swing()?))).map(entry).collect()
}

/// Every figure on three wires of a stage.
#[must_use]
pub(crate) fn hangs(stage: &Stage) -> Vec<HangEntry> {
    let point = |v: Vector| [v.x, v.y, v.z];
    let entry = |(body, h): (&Body, &Hang)| HangEntry {
        group: stage.group_name(body.group()).to_owned(),
        mass: h.mass,
        centre_mm: point(h.centre),
        wires_mm: h.wires.map(point),
        least_tension: h.least_tension,
        breaking: h.breaking,
    };
    stage.bodies().iter().filter_map(|b| Some((b, b.hang()?))).map(entry).collect()
}

fn capsule(c: &Capsule) -> [f64; 7] {
    seven(c.from, c.to, c.radius)
}

fn seven(from: Vector, to: Vector, radius: f64) -> [f64; 7] {
    let [a, b, c, d, e, f] = six(from, to);
    [a, b, c, d, e, f, radius]
}

fn six(a: Vector, b: Vector) -> [f64; 6] {
    [a.x, a.y, a.z, b.x, b.y, b.z]
}
