//! Where things are: the chain of joints that carries a figure or a camera, its lens, its rods, its envelope, its rail.
//!
//! Invariant: every channel a chain names exists; rods and capsules have length; a rail's channel slides. All in the chain's own axes, millimetres.

use super::figure::{Capsule, Fixed, Line, Proxy, Rod, Solid, WireSpec};
use super::hang::{Hang, HangSpec};
use super::ids::{ChannelId, GroupId};
use super::limb::{Limb, LimbSpec, Place, Posture};
use super::swing::{Swing, SwingSpec};
use crate::mechanism::{Chain, JointSpec, Lens, Pose, Real, Vector};

/// A channel of a camera's group of this name, in mm, is its focus distance.
pub(crate) const FOCUS_CHANNEL: &str = "focus_distance";

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
    /// Joints that have a name, with their place among `joints`.
    pub named_joints: Vec<(String, usize)>,
    /// Limbs.
    pub limbs: Vec<LimbSpec>,
    /// Lens at the end of the chain, looking along -Z with Y up.
    pub lens: Option<Lens>,
    /// Rods.
    pub rods: Vec<Rod>,
    /// Wires.
    pub wires: Vec<WireSpec>,
    /// Envelope.
    pub envelope: Vec<Proxy>,
    /// Rail: name, channel's full name, reach below and above, gap.
    pub rail: Option<(String, String, [f64; 2], f64)>,
    /// How it swings under its carriage.
    pub swing: Option<SwingSpec>,
    /// How it hangs on three wires.
    pub hang: Option<HangSpec>,
}

impl BodySpec {
    /// The body of a group, with nothing yet.
    #[must_use]
    pub fn new(group: &str) -> BodySpec {
        BodySpec {
            group: group.to_owned(),
            joints: Vec::new(),
            channels: Vec::new(),
            named_joints: Vec::new(),
            limbs: Vec::new(),
            lens: None,
            rods: Vec::new(),
            wires: Vec::new(),
            envelope: Vec::new(),
            rail: None,
            swing: None,
            hang: None,
        }
    }
}

/// A checked body.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Body {
    pub(super) group: GroupId,
    pub(super) chain: Chain,
    pub(super) channels: Vec<ChannelId>,
    /// The same, then those that limbs alone count on.
    pub(super) every_channel: Vec<ChannelId>,
    pub(super) limbs: Vec<Limb>,
    pub(super) lens: Option<Lens>,
    pub(super) focus: Option<ChannelId>,
    pub(super) fixed: Fixed,
    pub(super) rail: Option<Rail>,
    pub(super) swing: Option<Swing>,
    pub(super) hang: Option<Hang>,
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

    /// The channels its joints count on, then those that limbs alone count on.
    #[must_use]
    pub(crate) fn every_channel(&self) -> &[ChannelId] {
        &self.every_channel
    }

    /// Its limbs, parents first.
    #[must_use]
    pub(crate) fn limbs(&self) -> &[Limb] {
        &self.limbs
    }

    /// Every place of the figure, with `values` of [`Body::every_channel`], in their order.
    #[must_use]
    #[allow(clippy::indexing_slicing, reason = "as for its pose; a limb's channel is one of the body's, its parent comes before it")]
    pub(crate) fn posture<T: Real>(&self, values: &[T]) -> Posture<T> {
        let (body, joints) = self.chain.pose_and_places(|i| values[i], &self.fixed.joints);
        let mut limbs: Vec<Pose<T>> = Vec::with_capacity(self.limbs.len());
        for limb in &self.limbs {
            limbs.push(limb.pose_on(limb.parent().map_or(body, |p| limbs[p]), values[limb.channel()]));
        }
        Posture { body, limbs, joints }
    }

    /// Where a point of a limb, or of the body, is on the stage, with `value` as the value of each channel, mm.
    #[must_use]
    pub(crate) fn out_of<T: Real>(&self, limb: Option<usize>, value: &impl Fn(usize) -> T, point: Vector<T>) -> Vector<T> {
        let on_body = self.way_to(limb).iter().fold(point, |point, limb| limb.out(value(limb.channel()), point));
        self.chain.out(value, on_body)
    }

    /// How many joints carry a limb, or the body.
    #[must_use]
    pub(crate) fn joints_to(&self, limb: Option<usize>) -> usize {
        self.chain.joints().len() + self.way_to(limb).len()
    }

    /// The numbers of the channels on the way to a limb, or to the body, among [`Body::every_channel`].
    #[must_use]
    pub(crate) fn channels_to(&self, limb: Option<usize>) -> Vec<usize> {
        (0..self.channels.len()).chain(self.way_to(limb).iter().map(|l| l.channel())).collect()
    }

    /// A limb and what carries it, inwards.
    fn way_to(&self, limb: Option<usize>) -> Vec<&Limb> {
        let at = |number: Option<usize>| number.and_then(|n| self.limbs.get(n));
        core::iter::successors(at(limb), |limb| at(limb.parent())).collect()
    }

    /// Its support rods, then its wires.
    #[must_use]
    pub(crate) fn lines(&self) -> &[Line] {
        &self.fixed.lines
    }

    /// Its support rods.
    pub(crate) fn rods(&self) -> impl Iterator<Item = &Line> {
        self.fixed.lines.iter().filter(|l| l.diameter.is_none())
    }

    /// Its wires, with their diameters, mm.
    pub(crate) fn wires(&self) -> impl Iterator<Item = (&Line, f64)> {
        self.fixed.lines.iter().filter_map(|l| Some((l, l.diameter?)))
    }

    /// What must not meet anything else: proxies, then wires.
    #[must_use]
    pub(crate) fn solids(&self) -> &[Solid] {
        &self.fixed.solids
    }

    /// What a solid is called behind the name of its group: `.LIMB`, ` (wire 2)`; `None` for a proxy of the body.
    #[must_use]
    pub(crate) fn part_name(&self, solid: usize) -> Option<String> {
        if let Some(wire) = solid.checked_sub(self.proxies_apart().len()) {
            return Some(format!(" (wire {})", wire + 1));
        }
        match self.fixed.solids.get(solid)?.ends[0].place {
            Place::Limb(number) => self.limbs.get(number).map(|l| format!(".{}", l.name())),
            _ => None,
        }
    }

    /// Proxies that are shown.
    #[must_use]
    pub(crate) fn shown(&self) -> &[Solid] {
        &self.fixed.shown
    }

    /// What must not meet anything else, without wires.
    #[must_use]
    pub(crate) fn proxies_apart(&self) -> &[Solid] {
        let (proxies, _) = self.fixed.solids.split_at(self.fixed.solids.len().saturating_sub(self.wires().count()));
        proxies
    }

    /// Pairs of its own solids that must not meet.
    #[must_use]
    pub(crate) fn own_pairs(&self) -> &[(usize, usize)] {
        &self.fixed.own
    }

    /// The joints after which something is fixed.
    #[must_use]
    pub(crate) fn held_joints(&self) -> &[usize] {
        &self.fixed.joints
    }

    /// How it swings under its carriage.
    #[must_use]
    pub(crate) fn swing(&self) -> Option<&Swing> {
        self.swing.as_ref()
    }

    /// How it hangs on three wires.
    #[must_use]
    pub(crate) fn hang(&self) -> Option<&Hang> {
        self.hang.as_ref()
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
    /// Fixed places by name.
    pub points: Vec<(String, Vector)>,
}
