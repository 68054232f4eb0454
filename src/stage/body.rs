//! Where things are: the chain of joints that carries a figure or a camera, its lens, its rods, its envelope, its rail.
//!
//! Invariant: every channel a chain names exists; rods and capsules have length; a rail's channel slides. All in the chain's own axes, millimetres.

use super::ids::{ChannelId, GroupId};
use crate::mechanism::{Chain, JointSpec, Lens, Pose, Real, Vector};

/// A channel of a camera's group of this name, in mm, is its focus distance.
pub(crate) const FOCUS_CHANNEL: &str = "focus_distance";

/// A straight rod that carries a figure, from end to end, in the axes at the end of the group's chain. Unit: mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rod {
    /// One end.
    pub from: Vector,
    /// The other end.
    pub to: Vector,
}

/// What must not meet anything else: a ball, or all points nearer to a line than a radius. Unit: mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Capsule {
    /// One end of the middle line; in the axes at the end of the group's chain, or of the stage for an obstacle.
    pub from: Vector,
    /// The other end; equal to `from` for a ball.
    pub to: Vector,
    /// Radius.
    pub radius: f64,
}

/// A bridge's place on a rail it shares with others: they keep their order and their gap.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Rail {
    /// Name of the rail; groups that name the same share it.
    pub name: String,
    /// Channel that moves along it, unit mm.
    pub channel: ChannelId,
    /// From the channel's position to the carriage's ends, mm: below and above.
    pub reach: [f64; 2],
    /// Least gap to the next carriage's end, mm.
    pub gap: f64,
}

/// What a body of a stage is made from; channels by full name.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct BodySpec {
    /// Name of its group.
    pub group: String,
    /// Joints from the floor outwards; their `channel` is an index into `channels`.
    pub joints: Vec<JointSpec>,
    /// Full names of the channels the joints count on.
    pub channels: Vec<String>,
    /// Lens at the end of the chain, looking along -Z with Y up.
    pub lens: Option<Lens>,
    /// Rods.
    pub rods: Vec<Rod>,
    /// Envelope.
    pub envelope: Vec<Capsule>,
    /// Rail: name, channel's full name, reach below and above, gap.
    pub rail: Option<(String, String, [f64; 2], f64)>,
}

impl BodySpec {
    /// The body of a group, with nothing yet.
    #[must_use]
    pub fn new(group: &str) -> BodySpec {
        BodySpec {
            group: group.to_owned(),
            joints: Vec::new(),
            channels: Vec::new(),
            lens: None,
            rods: Vec::new(),
            envelope: Vec::new(),
            rail: None,
        }
    }
}

/// A checked body.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Body {
    pub(super) group: GroupId,
    pub(super) chain: Chain,
    pub(super) channels: Vec<ChannelId>,
    pub(super) lens: Option<Lens>,
    pub(super) focus: Option<ChannelId>,
    pub(super) rods: Vec<Rod>,
    pub(super) envelope: Vec<Capsule>,
    pub(super) rail: Option<Rail>,
}

impl Body {
    /// Its group.
    #[must_use]
    pub(crate) fn group(&self) -> GroupId {
        self.group
    }

    /// Its joints. A joint's channel is an index into [`Body::channels`].
    #[must_use]
    pub(crate) fn chain(&self) -> &Chain {
        &self.chain
    }

    /// The channels its joints count on.
    #[must_use]
    pub(crate) fn channels(&self) -> &[ChannelId] {
        &self.channels
    }

    /// The pose at its chain's end, with `values` of its channels, in their order.
    #[must_use]
    #[allow(
        clippy::indexing_slicing,
        reason = "a joint's channel is one of the body's, checked when the stage was made; values come one for each"
    )]
    pub(crate) fn pose<T: Real>(&self, values: &[T]) -> Pose<T> {
        self.chain.pose(|i| values[i])
    }

    /// Where its joints and its chain's end are, with `values` of its channels, in their order. Unit: mm.
    #[must_use]
    #[allow(clippy::indexing_slicing, reason = "as for its pose")]
    pub(crate) fn places(&self, values: &[f64]) -> Vec<Vector> {
        self.chain.places(|i| values[i])
    }

    /// Its lens, where it is a camera.
    #[must_use]
    pub(crate) fn lens(&self) -> Option<&Lens> {
        self.lens.as_ref()
    }

    /// The channel, in mm, that says at which distance from the film plane a camera is focused.
    #[must_use]
    pub(crate) fn focus(&self) -> Option<ChannelId> {
        self.focus
    }

    /// Its support rods.
    #[must_use]
    pub(crate) fn rods(&self) -> &[Rod] {
        &self.rods
    }

    /// What must not meet anything else.
    #[must_use]
    pub(crate) fn envelope(&self) -> &[Capsule] {
        &self.envelope
    }

    /// Its place on a rail.
    #[must_use]
    pub(crate) fn rail(&self) -> Option<&Rail> {
        self.rail.as_ref()
    }
}

/// A box along the stage's axes that bodies must stay out of. Unit: mm. Invariant: least < greatest in each direction.
#[derive(Debug, Clone, PartialEq)]
pub struct KeepOut {
    /// What people call it.
    pub name: String,
    /// Corner of the least coordinates.
    pub least: Vector,
    /// Corner of the greatest coordinates.
    pub greatest: Vector,
}

/// A thing that stands still. Unit: mm.
#[derive(Debug, Clone, PartialEq)]
pub struct Obstacle {
    /// What people call it.
    pub name: String,
    /// Its shape, in the stage's axes.
    pub shape: Capsule,
}

/// The surroundings: obstacles, boxes to keep out of, and the distance kept between envelopes.
#[derive(Debug, Clone, Default, PartialEq)]
#[non_exhaustive]
pub struct Surroundings {
    /// Fixed obstacles.
    pub obstacles: Vec<Obstacle>,
    /// Boxes to keep out of.
    pub keep_out: Vec<KeepOut>,
    /// Least distance between envelopes of two groups, and to obstacles and boxes, mm.
    pub clearance: f64,
}
