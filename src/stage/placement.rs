//! Bodies put into their stage: the channels they name exist and have the units their joints take.
//!
//! Invariant: after [`Stage::with_bodies`] every body's channels are the stage's, and all lengths lie in their ranges.

use super::Stage;
use super::body::{Body, BodySpec, FOCUS_CHANNEL, Rail, Surroundings};
use super::figure::{FixedSpec, fixed};
use super::ids::{ChannelId, GroupId};
use super::limb::limbs;
use super::name::{check_display_name, check_name};
use super::swing::{LengthChange, Swing, SwingSpec};
use crate::bounds::{COORDINATE, Code, Flaw, RADIUS, SPAN};
use crate::mechanism::joint::JointKind;
use crate::mechanism::{Chain, Vector};

impl Stage {
    /// The same stage with bodies and their surroundings. Mechanisms come first, since joints name channels.
    ///
    /// # Errors
    /// Every flaw; one of a body has its place in the list as its index, one of the surroundings has none.
    pub(crate) fn with_bodies(mut self, specs: Vec<BodySpec>, surroundings: Surroundings) -> Result<Stage, Vec<Flaw>> {
        let mut flaws = Vec::new();
        for (i, spec) in specs.into_iter().enumerate() {
            match self.body(i, spec, &surroundings.points) {
                Ok(body) => self.bodies.push(body),
                Err(more) => flaws.extend(more),
            }
        }
        flaws.extend(SPAN.check("clearance", surroundings.clearance).err());
        let obstacles = surroundings.obstacles.iter().map(|o| &o.name);
        for name in obstacles.chain(surroundings.keep_out.iter().map(|k| &k.name)) {
            flaws.extend(check_display_name("name", name).err());
        }
        for (name, at) in &surroundings.points {
            flaws.extend(check_name("point", name).err());
            if self.group_of_name(name).is_some() || surroundings.points.iter().filter(|(n, _)| n == name).count() > 1 {
                let flaw =
                    Flaw::new(Code::DuplicateName, "point", format!("the point `{name}` has the name of a group or of another point"));
                flaws.push(flaw.help("give the point a name that no group and no other point has"));
            }
            if ![at.x, at.y, at.z].into_iter().all(|c| COORDINATE.contains(c)) {
                flaws.push(Flaw::new(Code::OutOfRange, "point", format!("`{name}` is out of range")));
            }
        }
        self.surroundings = surroundings;
        if flaws.is_empty() { Ok(self.indexed()) } else { Err(flaws) }
    }

    fn body(&self, index: usize, spec: BodySpec, points: &[(String, Vector)]) -> Result<Body, Vec<Flaw>> {
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
        let turning: Vec<Option<ChannelId>> = spec.limbs.iter().map(|l| known(&l.channel, "limb")).collect();
        let rail = spec.rail.as_ref().and_then(|(name, channel, reach, gap)| {
            Some(Rail { name: name.clone(), channel: known(channel, "rail")?, reach: *reach, gap: *gap })
        });
        let mut every_channel = channels.clone();
        for (limb, channel) in spec.limbs.iter().zip(turning) {
            let Some(channel) = channel else { continue };
            let unit = self.channel_unit(channel);
            if unit != "deg" {
                let flaw = Flaw::new(Code::WrongUnit, "limb", format!("the limb `{}` does not fit its channel", limb.name));
                flaws.push(flaw.found(format!("a channel in {unit}"), "a channel in deg").at_index(index));
            }
            if !every_channel.contains(&channel) {
                every_channel.push(channel);
            }
        }
        if let Some(r) = &rail {
            let numbers = r.reach.iter().map(|x| ("reach", *x)).chain([("gap", r.gap)]);
            flaws.extend(numbers.filter_map(|(field, x)| SPAN.check(field, x).err()).map(|f| f.at_index(index)));
            let unit = self.channel_unit(r.channel);
            if unit != "mm" {
                let flaw = Flaw::new(Code::WrongUnit, "rail", "the rail does not fit its channel");
                flaws.push(flaw.found(format!("a channel in {unit}"), "a channel in mm").at_index(index));
            }
        }
        for c in &spec.envelope {
            flaws.extend(RADIUS.check("radius", c.shape.radius).err().map(|f| f.at_index(index)));
        }
        let group = self.group_of_name(&spec.group);
        if group.is_none() {
            let title = format!("the stage has no group `{}`", spec.group);
            flaws.push(Flaw::new(Code::UnknownGroup, "group", title).at_index(index));
        }
        let of_body = |more: Vec<Flaw>| more.into_iter().map(|f| f.at_index(index)).collect::<Vec<_>>();
        let (Some(group), true) = (group, flaws.is_empty()) else { return Err(flaws) };
        let chain = Chain::new(&spec.joints).map_err(of_body)?;
        let number = |name: &str| {
            let channel = self.channel(name);
            every_channel.iter().position(|c| Some(*c) == channel).unwrap_or(0)
        };
        let limbs = limbs(&spec.limbs, number).map_err(of_body)?;
        let fixed_to = FixedSpec {
            named_joints: &spec.named_joints,
            limbs: &spec.limbs,
            rods: &spec.rods,
            wires: &spec.wires,
            envelope: &spec.envelope,
        };
        let fixed = fixed(&fixed_to, &chain, &limbs, points).map_err(of_body)?;
        let focus = spec.lens.as_ref().and_then(|_| self.channel(&format!("{}.{FOCUS_CHANNEL}", spec.group)));
        let focus = focus.filter(|c| self.channel_unit(*c) == "mm");
        let swing = spec.swing.map(|swing| self.swing(swing, &spec.named_joints).map_err(of_body)).transpose()?;
        let at_home = |i: usize| channels.get(i).map_or(0.0, |c| self.channel_rest(*c));
        let hang = spec.hang.map(|hang| hang.checked(&chain.pose(at_home)).map_err(of_body)).transpose()?;
        Ok(Body { group, chain, channels, every_channel, limbs, lens: spec.lens, focus, fixed, rail, swing, hang })
    }

    /// The swing of a body whose named joints are these.
    ///
    /// # Errors
    /// Every flaw.
    fn swing(&self, spec: SwingSpec, joints: &[(String, usize)]) -> Result<Swing, Vec<Flaw>> {
        let mut flaws = spec.flaws();
        let after = spec.after(joints).unwrap_or_else(|flaw| {
            flaws.push(flaw);
            0
        });
        let change = spec.length_channel.as_ref().and_then(|(name, per_unit)| {
            let channel = self.channel(name);
            if channel.is_none() {
                let flaw = Flaw::new(Code::UnknownChannel, "length_channel", format!("the stage has no channel `{name}`"));
                flaws.push(flaw.found(format!("`{name}`"), "a channel of the stage"));
            }
            channel.map(|channel| LengthChange { channel, home: self.channel_rest(channel), per_unit: *per_unit })
        });
        if !flaws.is_empty() {
            return Err(flaws);
        }
        let SwingSpec { length, damping, limit, modes, .. } = spec;
        Ok(Swing { after, length, change, damping, limit, modes })
    }

    /// Bodies, in the order given.
    #[must_use]
    pub(crate) fn bodies(&self) -> &[Body] {
        &self.bodies
    }

    /// The body of a group.
    #[must_use]
    pub(crate) fn body_of(&self, group: GroupId) -> Option<&Body> {
        self.index.body(group).and_then(|i| self.bodies.get(i))
    }

    /// The first body with a lens.
    #[must_use]
    pub(crate) fn camera(&self) -> Option<&Body> {
        self.bodies.iter().find(|b| b.lens().is_some())
    }

    /// The surroundings.
    #[must_use]
    pub(crate) fn surroundings(&self) -> &Surroundings {
        &self.surroundings
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use crate::stage::{Axis, AxisSpec, BodySpec, GroupSpec, LimbSpec, Stage, Surroundings, Unit};

    /// The first limb's channel is unknown; that of the second is in mm, and it is the second that is named.
    #[test]
    fn a_limb_after_one_of_an_unknown_channel_has_its_own_flaw() {
        let slide = Axis::new(AxisSpec::new("slide", Unit::Millimetre, [-100.0, 100.0], [50.0, 20.0, 60.0])).unwrap();
        let stage = Stage::new("marsh", 1.0, vec![GroupSpec { name: "heron".into(), axes: vec![slide] }]).unwrap();
        let limb = |name: &str, channel: &str| LimbSpec {
            name: name.into(),
            parent: None,
            pivot: [10.0, 0.0, 0.0],
            turn: [0.0, 0.0, 1.0],
            channel: channel.into(),
        };
        let body = BodySpec { limbs: vec![limb("wing", "heron.nothing"), limb("leg", "heron.slide")], ..BodySpec::new("heron") };
        let flaws = stage.with_bodies(vec![body], Surroundings::default()).unwrap_err();
        let found: Vec<(&str, &str)> = flaws.iter().map(|f| (f.code(), f.title.as_str())).collect();
        let expected =
            [("unknown-channel", "the stage has no channel `heron.nothing`"), ("wrong-unit", "the limb `leg` does not fit its channel")];
        assert_eq!(found, expected);
    }
}
