//! Bodies put into their stage: the channels they name exist and have the units their joints take.
//!
//! Invariant: after [`Stage::with_bodies`] every body's channels are the stage's, and all lengths lie in their ranges.

use super::Stage;
use super::body::{Body, BodySpec, FOCUS_CHANNEL, Rail, Surroundings};
use super::ids::{ChannelId, GroupId};
use super::name::check_display_name;
use crate::bounds::{Code, Flaw, RADIUS, SPAN};
use crate::mechanism::Chain;
use crate::mechanism::joint::JointKind;

impl Stage {
    /// The same stage with bodies and their surroundings. Mechanisms come first, since joints name channels.
    ///
    /// # Errors
    /// Every flaw; one of a body has its place in the list as its index, one of the surroundings has none.
    pub(crate) fn with_bodies(mut self, specs: Vec<BodySpec>, surroundings: Surroundings) -> Result<Stage, Vec<Flaw>> {
        let mut flaws = Vec::new();
        for (i, spec) in specs.into_iter().enumerate() {
            match self.body(i, spec) {
                Ok(body) => self.bodies.push(body),
                Err(more) => flaws.extend(more),
            }
        }
        flaws.extend(SPAN.check("clearance", surroundings.clearance).err());
        let obstacles = surroundings.obstacles.iter().map(|o| &o.name);
        for name in obstacles.chain(surroundings.keep_out.iter().map(|k| &k.name)) {
            flaws.extend(check_display_name("name", name).err());
        }
        self.surroundings = surroundings;
        if flaws.is_empty() { Ok(self.indexed()) } else { Err(flaws) }
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
            let numbers = r.reach.iter().map(|x| ("reach", *x)).chain([("gap", r.gap)]);
            flaws.extend(numbers.filter_map(|(field, x)| SPAN.check(field, x).err()).map(|f| f.at_index(index)));
            let unit = self.channel_unit(r.channel);
            if unit != "mm" {
                let flaw = Flaw::new(Code::WrongUnit, "rail", "the rail does not fit its channel");
                flaws.push(flaw.found(format!("a channel in {unit}"), "a channel in mm").at_index(index));
            }
        }
        for c in &spec.envelope {
            flaws.extend(RADIUS.check("radius", c.radius).err().map(|f| f.at_index(index)));
        }
        let group = self.group_of_name(&spec.group);
        if group.is_none() {
            let title = format!("the stage has no group `{}`", spec.group);
            flaws.push(Flaw::new(Code::UnknownGroup, "group", title).at_index(index));
        }
        match (Chain::new(&spec.joints), group) {
            (Ok(chain), Some(group)) if flaws.is_empty() => {
                let focus = spec.lens.as_ref().and_then(|_| self.channel(&format!("{}.{FOCUS_CHANNEL}", spec.group)));
                let focus = focus.filter(|c| self.channel_unit(*c) == "mm");
                Ok(Body { group, chain, channels, lens: spec.lens, focus, rods: spec.rods, envelope: spec.envelope, rail })
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
    pub(crate) fn bodies(&self) -> &[Body] {
        &self.bodies
    }

    /// The body of a group.
    #[must_use]
    pub(crate) fn body_of(&self, group: GroupId) -> Option<&Body> {
        self.index.body(group).and_then(|i| self.bodies.get(i))
    }

    /// The surroundings.
    #[must_use]
    pub(crate) fn surroundings(&self) -> &Surroundings {
        &self.surroundings
    }
}
