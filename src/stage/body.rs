//! Where things are: the chain of joints that carries a figure or a camera, its lens, its rods, its envelope, its rail.
//!
//! Invariant: every channel a chain names exists; rods and capsules have length; a rail's channel slides. All in the chain's own axes, millimetres.

use super::{ChannelId, GroupId, Stage};
use crate::bounds::{Code, Flaw};
use crate::mechanism::joint::JointKind;
use crate::mechanism::{Chain, JointSpec, Lens, Pose, RADIUS, Real, Vector};

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
pub struct Rail {
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

/// A checked body.
#[derive(Debug, Clone, PartialEq)]
pub struct Body {
    group: GroupId,
    chain: Chain,
    channels: Vec<ChannelId>,
    lens: Option<Lens>,
    rods: Vec<Rod>,
    envelope: Vec<Capsule>,
    rail: Option<Rail>,
}

impl Body {
    /// Its group.
    #[must_use]
    pub fn group(&self) -> GroupId {
        self.group
    }

    /// Its joints. A joint's channel is an index into [`Body::channels`].
    #[must_use]
    pub fn chain(&self) -> &Chain {
        &self.chain
    }

    /// The channels its joints count on.
    #[must_use]
    pub fn channels(&self) -> &[ChannelId] {
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
    pub fn lens(&self) -> Option<&Lens> {
        self.lens.as_ref()
    }

    /// Its support rods.
    #[must_use]
    pub fn rods(&self) -> &[Rod] {
        &self.rods
    }

    /// What must not meet anything else.
    #[must_use]
    pub fn envelope(&self) -> &[Capsule] {
        &self.envelope
    }

    /// Its place on a rail.
    #[must_use]
    pub fn rail(&self) -> Option<&Rail> {
        self.rail.as_ref()
    }
}

/// A box along the stage's axes that bodies stay out of. Unit: mm. Invariant: least < greatest in each direction.
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

/// What stands around: obstacles, boxes to keep out of, and the distance kept between envelopes.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Surroundings {
    /// Fixed obstacles.
    pub obstacles: Vec<Obstacle>,
    /// Boxes to keep out of.
    pub keep_out: Vec<KeepOut>,
    /// Least distance between envelopes of two groups, and to obstacles and boxes, mm.
    pub clearance: f64,
}

impl Stage {
    /// The same stage with bodies and what stands around them. Mechanisms come first, since joints name channels.
    ///
    /// # Errors
    /// Every flaw, with the body's place in the list as its index.
    pub fn with_bodies(mut self, specs: Vec<BodySpec>, surroundings: Surroundings) -> Result<Stage, Vec<Flaw>> {
        let mut flaws = Vec::new();
        for (i, spec) in specs.into_iter().enumerate() {
            match self.body(i, spec) {
                Ok(body) => self.bodies.push(body),
                Err(more) => flaws.extend(more),
            }
        }
        if !(0.0 <= surroundings.clearance && surroundings.clearance <= 1e7) {
            let found = format!("{} mm", surroundings.clearance);
            flaws.push(Flaw::new(Code::OutOfRange, "clearance", "`clearance` is out of range").found(found, "0 to 1e7 mm"));
        }
        self.surroundings = surroundings;
        if flaws.is_empty() { Ok(self) } else { Err(flaws) }
    }

    fn body(&self, index: usize, spec: BodySpec) -> Result<Body, Vec<Flaw>> {
        let mut flaws = Vec::new();
        for joint in &spec.joints {
            if joint.channel.is_some_and(|c| c >= spec.channels.len()) {
                let title = "a joint counts on a channel that its body does not name";
                flaws.push(Flaw::new(Code::UnknownChannel, "joint", title).at_index(index));
                continue;
            }
            let (Some(name), wanted) = (
                joint.channel.and_then(|c| spec.channels.get(c)),
                match joint.kind {
                    JointKind::Slide(_) => "mm",
                    JointKind::Turn(_) => "deg",
                    JointKind::Fixed => continue,
                },
            ) else {
                continue;
            };
            let unit = self.channel(name).map_or(wanted, |c| self.channel_unit(c));
            if unit != wanted {
                let title = format!("a joint does not fit its channel `{name}`");
                flaws.push(
                    Flaw::new(Code::WrongUnit, "joint", title)
                        .found(format!("a channel in {unit}"), format!("{wanted}: `slide` takes mm, `turn` takes deg"))
                        .at_index(index),
                );
            }
        }
        let mut known = |name: &str, field: &str| {
            let channel = self.channel(name);
            if channel.is_none() {
                let title = format!("the stage has no channel `{name}`");
                flaws.push(
                    Flaw::new(Code::UnknownChannel, field, title).found(format!("`{name}`"), "a channel of the stage").at_index(index),
                );
            }
            channel
        };
        let channels: Vec<ChannelId> = spec.channels.iter().filter_map(|n| known(n, "joint")).collect();
        let rail =
            spec.rail.and_then(|(name, channel, reach, gap)| known(&channel, "rail").map(|channel| Rail { name, channel, reach, gap }));
        if let Some(r) = &rail {
            let fits =
                r.reach.iter().all(|x| 0.0 <= *x && *x <= 1e7) && 0.0 <= r.gap && r.gap <= 1e7 && self.channel_unit(r.channel) == "mm";
            if !fits {
                let code = if self.channel_unit(r.channel) == "mm" { Code::OutOfRange } else { Code::WrongUnit };
                let title = "the rail's numbers are out of range, or its channel is no mm channel";
                flaws.push(
                    Flaw::new(code, "rail", title)
                        .found(format!("reach {:?} mm, gap {} mm", r.reach, r.gap), "0 to 1e7 mm, on a channel in mm")
                        .at_index(index),
                );
            }
        }
        for c in &spec.envelope {
            if RADIUS.check("radius", c.radius).is_err() {
                flaws.push(
                    Flaw::new(Code::OutOfRange, "envelope", "the envelope's radius is out of range")
                        .found(format!("{} mm", c.radius), "more than 0, at most 1e7 mm")
                        .at_index(index),
                );
            }
        }
        let group = self.group_of_name(&spec.group);
        if group.is_none() {
            let title = format!("the stage has no group `{}`", spec.group);
            flaws.push(Flaw::new(Code::UnknownGroup, "group", title).at_index(index));
        }
        match (Chain::new(&spec.joints), group) {
            (Ok(chain), Some(group)) if flaws.is_empty() => {
                Ok(Body { group, chain, channels, lens: spec.lens, rods: spec.rods, envelope: spec.envelope, rail })
            }
            (Ok(_), _) => Err(flaws),
            (Err(more), _) => {
                flaws.extend(more.into_iter().map(|f| f.at_index(index)));
                Err(flaws)
            }
        }
    }

    /// Bodies, in the order given.
    #[must_use]
    pub fn bodies(&self) -> &[Body] {
        &self.bodies
    }

    /// The body of a group.
    #[must_use]
    pub fn body_of(&self, group: GroupId) -> Option<&Body> {
        self.bodies.iter().find(|b| b.group == group)
    }

    /// What stands around.
    #[must_use]
    pub fn surroundings(&self) -> &Surroundings {
        &self.surroundings
    }
}
