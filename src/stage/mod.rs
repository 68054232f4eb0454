//! The stage: groups of axes, their motors, drives and limits.
//!
//! Invariant: a [`Stage`] is whole. Names are unique, numbers lie in their bounds, the home lies in the travel, the largest
//! step count fits in 53 bits. Nothing behind it checks again.

pub mod axis;
pub mod body;
pub mod drive;
pub mod machine;
pub mod motor;
mod name;

use std::collections::BTreeMap;

use crate::bounds::{self, Flaw};

pub use axis::{Axis, AxisSpec, Limits, LoadSpec, Travel, Unit};
pub use body::{Body, BodySpec, Capsule, KeepOut, Obstacle, Rail, Rod, Surroundings};
pub use drive::Drive;
pub use machine::{Machine, MachineSpec, Mover, Work};
pub use motor::Motor;
pub use name::check_name;

/// Axes that belong together: a camera, a figure, a light. What a builder gives.
#[derive(Debug, Clone)]
pub struct GroupSpec {
    /// Name, `[a-z][a-z0-9_]*`.
    pub name: String,
    /// Its axes in order.
    pub axes: Vec<Axis>,
}

/// A group of a stage.
#[derive(Debug, Clone)]
pub struct Group {
    name: String,
    axes: core::ops::Range<usize>,
}

impl Group {
    /// Name, `[a-z][a-z0-9_]*`.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Indices of its axes within the stage.
    #[must_use]
    pub fn axes(&self) -> core::ops::Range<usize> {
        self.axes.clone()
    }
}

/// A channel: what is animated. Index into the stage's list.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ChannelId(pub usize);

/// The machine. See the module's text for what it promises.
#[derive(Debug, Clone)]
pub struct Stage {
    name: String,
    scale: f64,
    groups: Vec<Group>,
    axes: Vec<Axis>,
    names: Vec<String>,
    by_name: BTreeMap<String, usize>,
    machines: Vec<Machine>,
    made: Vec<machine::Made>,
    /// Names of every channel that can be animated.
    animated: Vec<String>,
    bodies: Vec<Body>,
    surroundings: Surroundings,
}

impl Stage {
    /// Puts a stage together.
    ///
    /// `scale` is model size over real size.
    ///
    /// # Errors
    /// Every flaw found: scale out of range, no axis, too many, two groups or two axes of one name, names of wrong shape.
    pub fn new(name: &str, scale: f64, groups: Vec<GroupSpec>) -> Result<Stage, Vec<Flaw>> {
        let mut flaws = Vec::new();
        if let Err(flaw) = bounds::SCALE.check("scale", scale) {
            flaws.push(flaw);
        }
        let mut stage = Stage {
            name: name.to_owned(),
            scale,
            groups: Vec::new(),
            axes: Vec::new(),
            names: Vec::new(),
            by_name: BTreeMap::new(),
            machines: Vec::new(),
            made: Vec::new(),
            animated: Vec::new(),
            bodies: Vec::new(),
            surroundings: Surroundings::default(),
        };
        for group in groups {
            if let Err(flaw) = check_name("name", &group.name) {
                flaws.push(flaw);
            }
            if stage.groups.iter().any(|g| g.name == group.name) {
                flaws.push(
                    Flaw::new("S001", "name", format!("two groups are called `{}`", group.name)).help("give each group a name of its own"),
                );
            }
            let from = stage.axes.len();
            for axis in group.axes {
                let full = format!("{}.{}", group.name, axis.name());
                if stage.by_name.insert(full.clone(), stage.axes.len()).is_some() {
                    flaws.push(
                        Flaw::new("S002", "name", format!("two axes are called `{full}`"))
                            .help("give each axis of a group a name of its own"),
                    );
                }
                stage.names.push(full);
                stage.axes.push(axis);
            }
            stage.groups.push(Group { name: group.name, axes: from..stage.axes.len() });
        }
        if stage.axes.is_empty() {
            flaws.push(Flaw::new("S003", "group", "the stage has no axis").found("0 axes", format!("1 to {} axes", bounds::MOST_AXES)));
        }
        if stage.axes.len() > bounds::MOST_AXES {
            flaws.push(
                Flaw::new("S003", "group", "the stage has too many axes")
                    .found(format!("{} axes", stage.axes.len()), format!("1 to {} axes", bounds::MOST_AXES)),
            );
        }
        stage.animated = stage.names.clone();
        if flaws.is_empty() { Ok(stage) } else { Err(flaws) }
    }

    /// Name of the stage, for people.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Model size over real size.
    #[must_use]
    pub fn scale(&self) -> f64 {
        self.scale
    }

    /// Groups in the order of the file.
    #[must_use]
    pub fn groups(&self) -> &[Group] {
        &self.groups
    }

    /// Axes in stage order: groups in the order of the file, axes in order within.
    #[must_use]
    pub fn axes(&self) -> &[Axis] {
        &self.axes
    }

    /// Full names `group.axis`, in stage order.
    #[must_use]
    pub fn axis_names(&self) -> &[String] {
        &self.names
    }

    /// The full name of an axis; empty for an index the stage does not have.
    #[must_use]
    pub fn axis_name(&self, index: usize) -> &str {
        self.names.get(index).map_or("", String::as_str)
    }

    /// The index of the axis of this full name.
    #[must_use]
    pub fn axis_index(&self, name: &str) -> Option<usize> {
        self.by_name.get(name).copied()
    }

    /// The channel of this full name. Every axis is a channel of its own name unless a mechanism drives it.
    #[must_use]
    pub fn channel(&self, name: &str) -> Option<ChannelId> {
        if let Some(i) = self.made.iter().position(|m| m.name == name) {
            return Some(ChannelId(self.names.len() + i));
        }
        self.axis_index(name).filter(|a| matches!(self.mover(*a), Mover::Own(_))).map(ChannelId)
    }

    /// Full names of all channels.
    #[must_use]
    pub fn channel_names(&self) -> &[String] {
        &self.animated
    }

    /// The full name of a channel; empty for one the stage does not have.
    #[must_use]
    pub fn channel_name(&self, channel: ChannelId) -> &str {
        match channel.0.checked_sub(self.names.len()) {
            None => self.axis_name(channel.0),
            Some(i) => self.made.get(i).map_or("", |m| m.name.as_str()),
        }
    }

    /// Unit of a channel, `mm` or `deg`.
    #[must_use]
    pub fn channel_unit(&self, channel: ChannelId) -> &'static str {
        match channel.0.checked_sub(self.names.len()) {
            None => self.axes.get(channel.0).map_or("", |a| a.unit().symbol()),
            Some(i) => self.made.get(i).map_or("", |m| m.unit),
        }
    }

    /// Where a channel stands when nothing drives it: its axis's home, or where its mechanism's axes are at home.
    #[must_use]
    pub fn channel_rest(&self, channel: ChannelId) -> f64 {
        match channel.0.checked_sub(self.names.len()) {
            None => self.axes.get(channel.0).map_or(0.0, Axis::home),
            Some(i) => self.made.get(i).map_or(0.0, |m| m.rest),
        }
    }

    /// The group of this name.
    #[must_use]
    pub fn group_index(&self, name: &str) -> Option<usize> {
        self.groups.iter().position(|g| g.name == name)
    }

    /// The group an axis belongs to.
    #[must_use]
    pub fn group_of(&self, axis: usize) -> Option<usize> {
        self.groups.iter().position(|g| g.axes.contains(&axis))
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    fn axis(name: &str) -> Axis {
        Axis::new(AxisSpec::new(name, Unit::Millimetre, [0.0, 10.0], [1.0, 1.0, 1.0])).unwrap()
    }

    #[test]
    fn names_must_be_unique_and_all_flaws_are_told_at_once() {
        let groups = vec![
            GroupSpec { name: "heron".into(), axes: vec![axis("lift"), axis("lift")] },
            GroupSpec { name: "heron".into(), axes: vec![] },
            GroupSpec { name: "Heron".into(), axes: vec![] },
        ];
        let flaws = Stage::new("marsh", f64::NAN, groups).unwrap_err();
        let codes: Vec<_> = flaws.iter().map(|f| f.code).collect();
        assert_eq!(codes, ["R001", "S002", "S001", "N001"]);
    }

    #[test]
    fn axes_are_found_by_full_name_in_stage_order() {
        let stage = Stage::new(
            "marsh",
            0.25,
            vec![
                GroupSpec { name: "camera".into(), axes: vec![axis("track")] },
                GroupSpec { name: "heron_a".into(), axes: vec![axis("lift"), axis("yaw")] },
            ],
        )
        .unwrap();
        assert_eq!(stage.axis_names(), ["camera.track", "heron_a.lift", "heron_a.yaw"]);
        assert_eq!(stage.axis_index("heron_a.yaw"), Some(2));
        assert_eq!(stage.group_of(2), Some(1));
    }
}
