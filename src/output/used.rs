//! What a folder was checked with, beside the limits of its columns: clearances and what they were measured on, motors and loads, weighted limbs.
//!
//! Invariant: every number of the stage file that a verdict hangs on stands in the manifest, so that a source that was exchanged later does not pass for the one that was checked.

use serde::{Deserialize, Serialize};

use crate::mechanism::Vector;
use crate::stage::{Axis, Body, Capsule, Stage};

/// Clearances, and what they were measured on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Clearances {
    /// Required between envelopes, obstacles and boxes, mm.
    pub required_mm: f64,
    /// Carriages that share a rail.
    pub rails: Vec<RailEntry>,
    /// Envelopes of bodies.
    pub envelopes: Vec<EnvelopeEntry>,
    /// What stands still.
    pub obstacles: Vec<EnvelopeEntry>,
    /// Boxes to keep out of: the corner of the least coordinates, then that of the greatest.
    pub keep_out: Vec<BoxEntry>,
}

/// A carriage on a rail.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
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

/// Capsules of a body or an obstacle.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct EnvelopeEntry {
    /// The group, or the obstacle's name.
    pub name: String,
    /// One end, the other end, radius, mm.
    pub capsules_mm: Vec<[f64; 7]>,
}

/// A box.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct BoxEntry {
    /// Its name.
    pub name: String,
    /// Corner of the least coordinates, then of the greatest, mm.
    pub corners_mm: [f64; 6],
}

/// Motor and load of an axis, where torque was checked.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
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
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
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

/// The clearances of a stage; `None` where nothing could meet.
#[must_use]
pub(crate) fn clearances(stage: &Stage) -> Option<Clearances> {
    let around = stage.surroundings();
    let group = |b: &Body| stage.group_name(b.group()).to_owned();
    let rail = |b: &Body| b.rail().map(|r| RailEntry { group: group(b), rail: r.name.clone(), reach_mm: r.reach, gap_mm: r.gap });
    let envelope = |b: &Body| EnvelopeEntry { name: group(b), capsules_mm: b.envelope().iter().map(capsule).collect() };
    let all = Clearances {
        required_mm: around.clearance,
        rails: stage.bodies().iter().filter_map(rail).collect(),
        envelopes: stage.bodies().iter().filter(|b| !b.envelope().is_empty()).map(envelope).collect(),
        obstacles: around.obstacles.iter().map(|o| EnvelopeEntry { name: o.name.clone(), capsules_mm: vec![capsule(&o.shape)] }).collect(),
        keep_out: around.keep_out.iter().map(|o| BoxEntry { name: o.name.clone(), corners_mm: six(o.least, o.greatest) }).collect(),
    };
    (!(all.rails.is_empty() && all.envelopes.is_empty())).then_some(all)
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

fn capsule(c: &Capsule) -> [f64; 7] {
    let [a, b, d, e, f, g] = six(c.from, c.to);
    [a, b, d, e, f, g, c.radius]
}

fn six(a: Vector, b: Vector) -> [f64; 6] {
    [a.x, a.y, a.z, b.x, b.y, b.z]
}
