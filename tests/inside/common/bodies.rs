//! Stages with bodies, built in code, for the tests of what must not meet and of what is seen.

use movewright::mechanism::{JointKind, JointSpec, Vector};
use movewright::shot::Shape;
use movewright::stage::{Axis, AxisSpec, BodySpec, Capsule, GroupSpec, Stage, Surroundings, Unit};

use crate::inside::common::Program;

pub fn v(a: [f64; 3]) -> Vector {
    Vector::from(a)
}

pub fn ball(radius: f64) -> Capsule {
    Capsule { from: v([0.0; 3]), to: v([0.0; 3]), radius }
}

pub fn turning(name: &str) -> AxisSpec {
    let mut s = AxisSpec::new(name, Unit::Degree, [-1e5, 1e5], [1e5, 1e5, 1e5]);
    s.drive.travel_per_rev = 360.0;
    s
}

/// Groups by name, each with its axes.
pub fn groups(all: Vec<(&str, Vec<AxisSpec>)>) -> Stage {
    let of = |axes: Vec<AxisSpec>| axes.into_iter().map(|a| Axis::new(a).unwrap()).collect();
    Stage::new("marsh", 0.25, all.into_iter().map(|(n, a)| GroupSpec { name: n.into(), axes: of(a) }).collect()).unwrap()
}

pub fn slide(channel: usize, along: [f64; 3]) -> JointSpec {
    JointSpec { kind: JointKind::Slide(along), channel: Some(channel), rest: 0.0, offset: [0.0; 3] }
}

pub fn turn(channel: usize, about: [f64; 3], offset: [f64; 3]) -> JointSpec {
    JointSpec { kind: JointKind::Turn(about), channel: Some(channel), rest: 0.0, offset }
}

pub fn body(group: &str, joints: Vec<JointSpec>, channels: &[&str], envelope: Vec<Capsule>) -> BodySpec {
    let channels = channels.iter().map(|c| (*c).to_owned()).collect();
    BodySpec { joints, channels, envelope: envelope.into_iter().map(Into::into).collect(), ..BodySpec::new(group) }
}

pub fn keyed(shape: Shape, keys: &[(f64, f64)]) -> Program {
    Program { tracks: vec![(shape, None, keys.to_vec())], ..Program::default() }
}

pub fn around(clearance: f64) -> Surroundings {
    Surroundings { clearance, ..Surroundings::default() }
}
