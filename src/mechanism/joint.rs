//! Chains of joints: the pose of carriages, figures and cameras from the channels that move them.
//!
//! A chain is read from the floor outwards. Each joint sits at its `offset` in the axes of the joint before it (of the stage, for
//! the first), then slides along a direction or turns about one by its channel plus its `rest`; what follows is carried along.
//! So pose = product over the joints of (shift by offset, then slide or turn): the product of transformations of any textbook of
//! robot kinematics. Invariant: directions have length one, every turn is right-handed. The same chain gives plain poses for
//! output and poses over jets with exact derivatives. Limits: rigid; no closed loops.

use super::real::Real;
use super::space::{Pose, Turn, Vector};
use crate::bounds::{self, COORDINATE, Code, DIRECTION, DIRECTION_LENGTH, Flaw, MOST_JOINTS};

/// How a joint moves.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum JointKind {
    /// It does not: its offset alone counts, as for a figure's rod or a camera's lens.
    Fixed,
    /// Along a direction, mm. The direction's length does not count.
    Slide([f64; 3]),
    /// About a direction, deg, right-handed. The direction's length does not count.
    Turn([f64; 3]),
}

/// What a joint is made from; units as in the stage file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JointSpec {
    /// How it moves.
    pub kind: JointKind,
    /// Number of the channel that moves it, as the caller counts them; `None` for one that stays at its `rest`.
    pub channel: Option<usize>,
    /// Added to the channel, mm or deg: how the joint stands where its channel is 0.
    pub rest: f64,
    /// Where it sits in the axes of the joint before it, mm.
    pub offset: [f64; 3],
}

/// One checked joint.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Joint {
    kind: Motion,
    channel: Option<usize>,
    rest: f64,
    offset: Vector,
}

impl Joint {
    /// How far it is moved: its channel's value and its rest.
    fn at<T: Real>(&self, value: &impl Fn(usize) -> T) -> T {
        let rest = T::constant(self.rest);
        self.channel.map_or(rest, |channel| value(channel) + rest)
    }
}

/// A kind with its direction of length one.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Motion {
    Fixed,
    Slide(Vector),
    Turn(Vector),
}

/// A checked chain of joints.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Chain {
    joints: Vec<Joint>,
}

/// Where a turning joint is and about what it turns, in the stage's axes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Axle {
    /// Direction of its axis, length one.
    pub direction: Vector,
    /// A point on it, mm.
    pub point: Vector,
}

impl Chain {
    /// Checks a chain; an empty one stands at the origin as built.
    ///
    /// # Errors
    /// Every number out of its range and every direction of no length; each flaw has the joint's place in the chain as its index.
    pub(crate) fn new(specs: &[JointSpec]) -> Result<Chain, Vec<Flaw>> {
        let mut flaws = Vec::new();
        if specs.len() > MOST_JOINTS {
            flaws.push(
                Flaw::new(Code::TooMany, "joint", "the chain has too many joints")
                    .found(format!("{} joints", specs.len()), format!("at most {MOST_JOINTS}")),
            );
        }
        let joints = specs.iter().enumerate().map(|(i, spec)| checked(&mut flaws, i, spec)).collect();
        if flaws.is_empty() { Ok(Chain { joints }) } else { Err(flaws) }
    }

    /// The pose of the chain's end in the stage, with `value` as the value of each channel (mm or deg).
    #[must_use]
    pub(crate) fn pose<T: Real>(&self, value: impl Fn(usize) -> T) -> Pose<T> {
        self.walked(Pose::home(), &value, |_, _| {}, |_, _| {})
    }

    /// The pose of the chain's end where its first joint sits on something that has a pose of its own.
    #[must_use]
    pub(crate) fn pose_on<T: Real>(&self, base: Pose<T>, value: impl Fn(usize) -> T) -> Pose<T> {
        self.walked(base, &value, |_, _| {}, |_, _| {})
    }

    /// Where a point of the chain's end is in what the chain begins on: the pose applied to it, from the end inwards, at a fraction of the pose's cost.
    #[must_use]
    pub(crate) fn out<T: Real>(&self, value: impl Fn(usize) -> T, point: Vector<T>) -> Vector<T> {
        self.joints.iter().rev().fold(point, |point, joint| {
            let at = || joint.at(&value);
            let moved = match joint.kind {
                Motion::Fixed => point,
                Motion::Slide(direction) => point + Vector::constant(direction).scaled(at()),
                Motion::Turn(axis) => Turn::about_out(axis, at(), point),
            };
            moved + Vector::constant(joint.offset)
        })
    }

    /// The pose of the chain's end, and the places after the joints of these numbers, in the order of the chain.
    #[must_use]
    pub(crate) fn pose_and_places<T: Real>(&self, value: impl Fn(usize) -> T, after: &[usize]) -> (Pose<T>, Vec<(usize, Pose<T>)>) {
        let mut places = Vec::with_capacity(after.len());
        let take = |number: usize, pose: &Pose<T>| {
            if after.contains(&number) {
                places.push((number, *pose));
            }
        };
        let end = self.walked(Pose::home(), &value, |_, _| {}, take);
        (end, places)
    }

    /// How many of its first `n` joints slide or turn.
    #[must_use]
    pub(crate) fn moving_among(&self, n: usize) -> usize {
        self.joints.iter().take(n).filter(|j| j.kind != Motion::Fixed).count()
    }

    /// The pose of the chain's end, and the axles of the joints that the channels in `of` turn.
    ///
    /// Where a channel turns no joint its axle is `None`; where it turns several, that of the last.
    #[must_use]
    pub(crate) fn pose_and_axles(&self, value: impl Fn(usize) -> f64, of: [usize; 2]) -> (Pose<f64>, [Option<Axle>; 2]) {
        let mut axles = [None, None];
        let look = |joint: &Joint, before: &Pose<f64>| {
            if let (Motion::Turn(axis), Some(channel)) = (joint.kind, joint.channel) {
                for (axle, wanted) in axles.iter_mut().zip(of) {
                    if wanted == channel {
                        *axle = Some(Axle { direction: before.turn.out(axis), point: before.position });
                    }
                }
            }
        };
        let pose = self.walked(Pose::home(), &value, look, |_, _| {});
        (pose, axles)
    }

    /// Where each joint sits, from the floor outwards, and the chain's end, mm, in the stage's axes: how a chain is drawn.
    #[must_use]
    pub(crate) fn places(&self, value: impl Fn(usize) -> f64) -> Vec<Vector> {
        let mut places = Vec::with_capacity(self.joints.len() + 1);
        let end = self.walked(Pose::home(), &value, |_, before: &Pose<f64>| places.push(before.position), |_, _| {});
        places.push(end.position);
        places
    }

    /// Every channel that moves a joint, from the floor outwards; one that moves several stands there several times.
    pub(crate) fn channels(&self) -> impl Iterator<Item = usize> + '_ {
        self.joints.iter().filter_map(|j| j.channel)
    }

    /// Its joints from the floor outwards, directions of length one: for whoever works out poses in a way of their own.
    pub(crate) fn joints(&self) -> impl ExactSizeIterator<Item = JointSpec> + '_ {
        self.joints.iter().map(|j| JointSpec {
            kind: match j.kind {
                Motion::Fixed => JointKind::Fixed,
                Motion::Slide(Vector { x, y, z }) => JointKind::Slide([x, y, z]),
                Motion::Turn(Vector { x, y, z }) => JointKind::Turn([x, y, z]),
            },
            channel: j.channel,
            rest: j.rest,
            offset: [j.offset.x, j.offset.y, j.offset.z],
        })
    }

    /// How many joints the channel turns; joints that it slides do not count.
    #[must_use]
    pub(crate) fn turned_by(&self, channel: usize) -> usize {
        self.joints.iter().filter(|j| j.channel == Some(channel) && matches!(j.kind, Motion::Turn(_))).count()
    }

    /// Walks the chain outwards from `base`; `seen` gets every joint with the pose at which it sits, `after` its number with the pose after it.
    fn walked<T: Real>(
        &self,
        base: Pose<T>,
        value: &impl Fn(usize) -> T,
        mut seen: impl FnMut(&Joint, &Pose<T>),
        mut after: impl FnMut(usize, &Pose<T>),
    ) -> Pose<T> {
        let mut pose = base;
        for (number, joint) in self.joints.iter().enumerate() {
            pose.position = pose.out_fixed(joint.offset);
            seen(joint, &pose);
            let at = || joint.at(value);
            match joint.kind {
                Motion::Fixed => {}
                Motion::Slide(direction) => pose.position = pose.position + pose.turn.out_fixed(direction).scaled(at()),
                Motion::Turn(axis) => pose.turn = pose.turn.carrying(&Turn::about(axis, at())),
            }
            after(number, &pose);
        }
        pose
    }
}

/// The channels' values as jets of a motion in which `channel` alone moves, by one unit a frame: velocities of anything computed
/// from them are its slopes by that channel.
#[cfg(test)]
pub(crate) fn moving_alone(channel: usize, value: impl Fn(usize) -> f64) -> impl Fn(usize) -> crate::number::Jet {
    move |at| if at == channel { crate::number::Jet::time(value(at)) } else { crate::number::Jet::constant(value(at)) }
}

/// Checks one joint; the flaws get its place in the chain.
fn checked(flaws: &mut Vec<Flaw>, index: usize, spec: &JointSpec) -> Joint {
    let mut add = |flaw: Option<Flaw>| flaws.extend(flaw.map(|f| f.at_index(index)));
    for component in spec.offset {
        add(COORDINATE.check("offset", component).err());
    }
    add(bounds::POSITION.check("rest", spec.rest).err());
    let mut direction = |field: &str, v: [f64; 3]| {
        let flaw = v.into_iter().find_map(|component| DIRECTION.check(field, component).err());
        let sound = flaw.is_none();
        add(flaw);
        let v = Vector::from(v);
        let length = v.length();
        if sound && !DIRECTION_LENGTH.contains(length) {
            add(Some(
                Flaw::new(Code::ZeroLength, field, format!("`{field}` has no direction"))
                    .found(format!("[{}, {}, {}]", v.x, v.y, v.z), "a direction, for example [0, 1, 0] for upwards"),
            ));
        }
        v.times(1.0 / length)
    };
    let kind = match spec.kind {
        JointKind::Fixed => {
            if let Some(channel) = spec.channel {
                add(Some(
                    Flaw::new(Code::MissingKey, "channel", "a joint that neither slides nor turns has a channel")
                        .found(format!("channel {channel}"), "`slide` or `turn` beside the channel, or no channel"),
                ));
            }
            Motion::Fixed
        }
        JointKind::Slide(v) => Motion::Slide(direction("slide", v)),
        JointKind::Turn(v) => Motion::Turn(direction("turn", v)),
    };
    Joint { kind, channel: spec.channel, rest: spec.rest, offset: Vector::from(spec.offset) }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::indexing_slicing, reason = "tests")]
mod tests {
    use nalgebra::{Isometry3, Point3, Translation3, Unit, UnitQuaternion, Vector3};
    use proptest::prelude::*;

    use super::super::real::oracle::{both, same};
    use super::*;

    fn joint(kind: JointKind, channel: usize, offset: [f64; 3]) -> JointSpec {
        JointSpec { kind, channel: Some(channel), rest: 0.0, offset }
    }

    /// Track along X, arm up, pan about Y, tilt about X, lens ahead.
    fn camera() -> Vec<JointSpec> {
        vec![
            joint(JointKind::Slide([2.0, 0.0, 0.0]), 0, [0.0, 300.0, 2000.0]),
            joint(JointKind::Slide([0.0, 1.0, 0.0]), 1, [0.0, 50.0, 0.0]),
            joint(JointKind::Turn([0.0, 1.0, 0.0]), 2, [0.0, 80.0, -20.0]),
            JointSpec { rest: -4.0, ..joint(JointKind::Turn([3.0, 0.0, 0.0]), 3, [5.0, 60.0, 0.0]) },
            JointSpec { kind: JointKind::Fixed, channel: None, rest: 0.0, offset: [0.0, 12.0, -35.0] },
        ]
    }

    /// Derived: a planar arm of two links with lengths 30 and 20 mm at 30 and 60 deg has its end at (30 cos 30 + 20 cos 90,
    /// 30 sin 30 + 20 sin 90) = (25.980762, 35), the standard example of forward kinematics.
    #[test]
    fn two_links_in_a_plane() {
        let chain = Chain::new(&[
            joint(JointKind::Turn([0.0, 0.0, 1.0]), 0, [0.0, 0.0, 0.0]),
            joint(JointKind::Turn([0.0, 0.0, 1.0]), 1, [30.0, 0.0, 0.0]),
            JointSpec { kind: JointKind::Fixed, channel: None, rest: 0.0, offset: [20.0, 0.0, 0.0] },
        ])
        .unwrap();
        let end = chain.pose(|c| [30.0, 60.0][c]).position;
        assert!((end.x - 25.980_762).abs() <= 5e-7 && (end.y - 35.0).abs() <= 1e-13 && end.z == 0.0, "{end:?}");
        assert_eq!((chain.turned_by(0), chain.turned_by(7)), (1, 0));
    }

    proptest! {
        /// The same chain as isometries of an independent library; coordinates of some thousand mm: 1e-11.
        #[test]
        fn chains_are_products_of_isometries(track in -900.0..900.0_f64, up in -200.0..200.0_f64,
            pan in -180.0..180.0_f64, tilt in -90.0..90.0_f64) {
            let values = [track, up, pan, tilt];
            let chain = Chain::new(&camera()).unwrap();
            let mine = chain.pose(|c| values[c]).isometry();
            let mut theirs = Isometry3::identity();
            for spec in camera() {
                theirs *= Translation3::from(Vector3::from(spec.offset));
                let value = spec.channel.map_or(0.0, |c| values[c]) + spec.rest;
                match spec.kind {
                    JointKind::Fixed => {}
                    JointKind::Slide(v) => theirs *= Translation3::from(Vector3::from(v).normalize() * value),
                    JointKind::Turn(v) => {
                        theirs *= UnitQuaternion::from_axis_angle(&Unit::new_normalize(Vector3::from(v)), value.to_radians());
                    }
                }
            }
            prop_assert!((mine.translation.vector - theirs.translation.vector).norm() <= 1e-11);
            let point = [70.0, -30.0, 40.0];
            let seen = chain.pose(|c| values[c]).out_fixed(Vector::from(point));
            let inwards = chain.out(|c| values[c], Vector::from(point));
            prop_assert!((inwards - seen).length() <= 1e-11);
            prop_assert!((theirs * Point3::from(point) - Point3::new(seen.x, seen.y, seen.z)).norm() <= 1e-11);
            prop_assert!((mine * Point3::from(point) - Point3::new(seen.x, seen.y, seen.z)).norm() <= 1e-11);
            let (pose, axles) = chain.pose_and_axles(|c| values[c], [2, 3]);
            prop_assert_eq!(pose.isometry(), mine);
            let tilt_axis = axles[1].unwrap();
            // The tilt axis runs along the pan's own X, through the tilt joint, and stays square to the pan axis.
            prop_assert!(tilt_axis.direction.dot(axles[0].unwrap().direction).abs() <= 1e-15);
            prop_assert!((tilt_axis.point.y - (300.0 + 50.0 + 80.0 + 60.0 + up)).abs() <= 1e-12 * 1500.0);
        }
    }

    #[test]
    fn derivatives_are_those_of_an_independent_library() {
        let chain = Chain::new(&camera()).unwrap();
        let moving = [both(120.0, 4.0, -0.5, 0.1), both(30.0, -1.0, 0.2, 0.3), both(25.0, 2.0, -0.7, 0.2), both(-12.0, -1.5, 0.4, 0.6)];
        let (mine, theirs) = (chain.pose(|c| moving[c].0), chain.pose(|c| moving[c].1));
        same(mine.position.x, theirs.position.x, 1e-13);
        same(mine.position.y, theirs.position.y, 1e-13);
        same(mine.position.z, theirs.position.z, 1e-13);
        same(mine.turn.z.x, theirs.turn.z.x, 1e-13);
    }

    /// A camera mounted with a fixed tilt: `rest` without a channel.
    #[test]
    fn a_joint_may_stand_still_at_its_rest() {
        let spec = JointSpec { kind: JointKind::Turn([1.0, 0.0, 0.0]), channel: None, rest: 90.0, offset: [0.0; 3] };
        let up = Chain::new(&[spec]).unwrap().pose(|_| 0.0).turn.out(Vector::new(0.0, 0.0, -1.0));
        assert!((up.y - 1.0).abs() <= 1e-15, "{up:?}");
    }

    #[test]
    fn joints_that_point_nowhere_are_refused() {
        let flaws = Chain::new(&[
            joint(JointKind::Fixed, 5, [0.0; 3]),
            joint(JointKind::Turn([0.0; 3]), 0, [0.0, f64::NAN, 0.0]),
            joint(JointKind::Slide([f64::NAN, 0.0, 0.0]), 0, [0.0; 3]),
        ])
        .unwrap_err();
        let found: Vec<(&str, &str, Option<usize>)> = flaws.iter().map(|f| (f.code.slug(), f.field.as_str(), f.index)).collect();
        assert_eq!(
            found,
            [
                ("missing-key", "channel", Some(0)),
                ("out-of-range", "offset", Some(1)),
                ("zero-length", "turn", Some(1)),
                ("out-of-range", "slide", Some(2))
            ]
        );
        assert!(Chain::new(&vec![joint(JointKind::Slide([1.0, 0.0, 0.0]), 0, [0.0; 3]); MOST_JOINTS + 1]).is_err());
    }
}
