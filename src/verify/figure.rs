//! Where a body is: its chain of joints worked out with quaternions.
//!
//! What: from the floor outwards, each joint shifts by its offset, then slides or turns. A turn by an angle about an axis of length one is the quaternion (cos of half
//! the angle, axis times sin of half the angle); turns one after the other are quaternions multiplied (Hamilton; any textbook of kinematics).
//! Invariant: shares no formula with the poses that were written, which come from matrices and square roots. Units: mm, deg.

use super::sine::{cosine, sine};
use crate::mechanism::{Chain, JointKind, JointSpec, Vector};

/// A point or direction.
pub(super) type Point = [f64; 3];

/// How something stands, as a quaternion of length one, and where its origin is, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Place {
    /// Real part first.
    pub(super) turn: [f64; 4],
    pub(super) at: Point,
}

impl Place {
    /// Where the stage itself is.
    pub(super) const STAGE: Place = Place { turn: [1.0, 0.0, 0.0, 0.0], at: [0.0; 3] };

    /// The end of a chain, with `value` as the value of each of its channels.
    pub(super) fn of(chain: &Chain, value: &dyn Fn(usize) -> f64) -> Place {
        Place::STAGE.carrying(chain.joints(), value)
    }

    /// The end of joints that begin here.
    pub(super) fn carrying(mut self, joints: impl Iterator<Item = JointSpec>, value: &dyn Fn(usize) -> f64) -> Place {
        let place = &mut self;
        for joint in joints {
            place.at = place.out(joint.offset);
            let by = joint.channel.map_or(0.0, value) + joint.rest;
            match joint.kind {
                JointKind::Fixed => {}
                JointKind::Slide(way) => place.at = place.out(way.map(|x| x * by)),
                JointKind::Turn([x, y, z]) => {
                    let (s, c) = (sine(by / 720.0), cosine(by / 720.0));
                    place.turn = product(place.turn, [c, x * s, y * s, z * s]);
                }
            }
        }
        self
    }

    /// How this stands as seen from another place: see [`Place::inward`].
    pub(super) fn seen_from(&self, other: &Place) -> Place {
        let [w, x, y, z] = other.turn;
        Place { turn: product([w, -x, -y, -z], self.turn), at: other.inward(self.at) }
    }

    /// A point of the thing as seen from outside.
    pub(super) fn out(&self, point: Point) -> Point {
        add(self.at, rotated(self.turn, point))
    }

    /// A point of the outside as seen from the thing.
    pub(super) fn inward(&self, point: Point) -> Point {
        let [w, x, y, z] = self.turn;
        rotated([w, -x, -y, -z], less(point, self.at))
    }
}

/// A vector of the stage as a point.
pub(super) fn point(v: Vector) -> Point {
    [v.x, v.y, v.z]
}

pub(super) fn add([a, b, c]: Point, [x, y, z]: Point) -> Point {
    [a + x, b + y, c + z]
}

pub(super) fn less([a, b, c]: Point, [x, y, z]: Point) -> Point {
    [a - x, b - y, c - z]
}

pub(super) fn dot([a, b, c]: Point, [x, y, z]: Point) -> f64 {
    a * x + b * y + c * z
}

pub(super) fn length(a: Point) -> f64 {
    dot(a, a).sqrt()
}

fn product([a, b, c, d]: [f64; 4], [w, x, y, z]: [f64; 4]) -> [f64; 4] {
    [a * w - b * x - c * y - d * z, a * x + b * w + c * z - d * y, a * y - b * z + c * w + d * x, a * z + b * y - c * x + d * w]
}

/// The vector part of q v q*.
fn rotated(q: [f64; 4], [x, y, z]: Point) -> Point {
    let [w, a, b, c] = q;
    let [_, x, y, z] = product(product(q, [0.0, x, y, z]), [w, -a, -b, -c]);
    [x, y, z]
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::mechanism::JointSpec;

    /// A quarter turn about Y brings X to -Z; a slide then goes along it.
    #[test]
    fn a_quarter_turn_and_a_slide_by_hand() {
        let joint = |kind, channel, offset| JointSpec { kind, channel: Some(channel), rest: 0.0, offset };
        let chain = Chain::new(&[
            joint(JointKind::Turn([0.0, 2.0, 0.0]), 0, [5.0, 0.0, 0.0]),
            joint(JointKind::Slide([1.0, 0.0, 0.0]), 1, [0.0, 7.0, 0.0]),
        ])
        .unwrap();
        let place = Place::of(&chain, &|i| if i == 0 { 90.0 } else { 3.0 });
        let near = |a: Point, b: Point| length(less(a, b)) < 1e-14;
        assert!(near(place.at, [5.0, 7.0, -3.0]), "{place:?}");
        assert!(near(place.out([0.0, 0.0, 2.0]), [7.0, 7.0, -3.0]) && near(place.inward([7.0, 7.0, -3.0]), [0.0, 0.0, 2.0]));
        let half = 0.5_f64.sqrt();
        assert!(place.turn.iter().zip([half, 0.0, half, 0.0]).all(|(a, b)| (a - b).abs() < 1e-15), "{place:?}");
    }

    proptest! {
        /// Against `nalgebra`: 1e-12 of lengths of some thousand mm leaves room for a dozen products.
        #[test]
        fn chains_are_those_of_an_independent_library(
            joints in prop::collection::vec((any::<bool>(), prop::array::uniform3(0.1..1.0_f64), prop::array::uniform3(-500.0..500.0_f64), -400.0..400.0_f64), 1..9),
            seen in prop::array::uniform3(-300.0..300.0_f64),
        ) {
            use nalgebra::{Isometry3, Point3, Translation3, Unit, UnitQuaternion, Vector3};
            let specs: Vec<JointSpec> = joints
                .iter()
                .enumerate()
                .map(|(i, (turns, way, offset, _))| {
                    let kind = if *turns { JointKind::Turn(*way) } else { JointKind::Slide(*way) };
                    JointSpec { kind, channel: Some(i), rest: 1.5, offset: *offset }
                })
                .collect();
            let value = |i: usize| joints.get(i).map_or(0.0, |j| j.3);
            let mine = Place::of(&Chain::new(&specs).unwrap(), &value);
            let mut theirs = Isometry3::identity();
            for (turns, way, offset, by) in &joints {
                theirs *= Translation3::from(Vector3::from(*offset));
                let (way, by) = (Unit::new_normalize(Vector3::from(*way)), by + 1.5);
                if *turns {
                    theirs *= UnitQuaternion::from_axis_angle(&way, by.to_radians());
                } else {
                    theirs *= Translation3::from(way.into_inner() * by);
                }
            }
            let point = theirs * Point3::from(seen);
            prop_assert!(length(less(mine.out(seen), [point.x, point.y, point.z])) < 1e-9);
            let q = theirs.rotation;
            let along: f64 = [q.w, q.i, q.j, q.k].iter().zip(mine.turn).map(|(a, b)| a * b).sum();
            prop_assert!((along.abs() - 1.0).abs() < 1e-13);
        }
    }
}
