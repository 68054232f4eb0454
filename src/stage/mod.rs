//! The stage: groups of axes, their motors, drives and limits.
//!
//! Invariant: a [`Stage`] is whole. Names are unique, numbers lie in their bounds, the home lies in the travel, the largest
//! step count fits in 53 bits. Nothing behind it checks again.

pub(crate) mod axis;
pub(crate) mod body;
mod camera_timing;
pub(crate) mod drive;
mod driving;
mod figure;
mod group;
mod hang;
mod ids;
mod index;
pub(crate) mod limb;
mod machine;
pub(crate) mod motor;
mod name;
mod per_axis;
mod placement;
mod swing;
mod torque;
mod utilisation;

use std::collections::{BTreeMap, BTreeSet};

use crate::bounds::{self, Code, Flaw};

pub(crate) use group::Group;
use index::Index;

pub use crate::mechanism::Unit;
pub(crate) use axis::AxisSpec;
pub use axis::{Axis, Limits, LoadSpec, Travel};
pub(crate) use body::{Body, Rail};
pub use body::{BodySpec, KeepOut, Obstacle, Surroundings};
pub(crate) use camera_timing::CameraTiming;
pub use figure::{Capsule, Proxy, Rod, WireSpec};
pub(crate) use figure::{Line, Solid, ends as wire_ends, joint_names};
pub use hang::HangSpec;
pub(crate) use hang::{Hang, USUAL_LEAST_TENSION};
pub use ids::AxisId;
pub(crate) use ids::{ChannelId, GroupId, Mark};
pub use limb::LimbSpec;
pub(crate) use limb::{Hold, Limb, Place, Posture, limbs, unknown_limb};
pub use machine::MachineSpec;
pub(crate) use machine::{Driver, Machine};
pub use motor::Motor;
pub(crate) use name::{check_display_name, check_name};
pub use per_axis::PerAxis;
pub use swing::SwingSpec;
pub(crate) use swing::{LengthChange, Swing, USUAL_DAMPING};
pub(crate) use torque::Torque;
pub use torque::TorqueUse;
pub(crate) use utilisation::PacedPeaks;
pub use utilisation::Utilisation;

/// From a fault to the start of the stop where the stage does not say, s; common practice, no source.
pub(crate) const USUAL_REACTION: f64 = 0.2;

/// Axes that belong together: a camera, a figure, a light. What a builder gives.
#[derive(Debug, Clone)]
pub(crate) struct GroupSpec {
    /// Name, `[a-z][a-z0-9_]*`.
    pub name: String,
    /// Its axes in order.
    pub axes: Vec<Axis>,
}

/// The machine. See the module's text for what it promises.
#[derive(Debug, Clone)]
pub struct Stage {
    name: String,
    scale: f64,
    reaction: f64,
    camera_timing: CameraTiming,
    mark: Mark,
    groups: Vec<Group>,
    axes: PerAxis<Axis>,
    names: PerAxis<String>,
    by_name: BTreeMap<String, usize>,
    machines: Vec<Machine>,
    derived: Vec<machine::DerivedChannel>,
    /// Names of every channel that can be animated.
    animated: Vec<String>,
    bodies: Vec<Body>,
    surroundings: Surroundings,
    index: Index,
}

impl Stage {
    /// Puts a stage together.
    ///
    /// `scale` is model size over real size.
    ///
    /// # Errors
    /// Every flaw found: a name with hidden characters, scale out of range, no axis, too many, two groups or two axes of one name, names of wrong shape.
    pub(crate) fn new(name: &str, scale: f64, groups: Vec<GroupSpec>) -> Result<Stage, Vec<Flaw>> {
        let mut flaws = Vec::new();
        if let Err(flaw) = bounds::SCALE.check("scale", scale) {
            flaws.push(flaw);
        }
        flaws.extend(check_display_name("name", name).err());
        let (mut kept, mut axes, mut names, mut by_name) = (Vec::<Group>::new(), Vec::new(), Vec::<String>::new(), BTreeMap::new());
        let mut group_names = BTreeSet::new();
        for group in groups {
            if let Err(flaw) = check_name("name", &group.name) {
                flaws.push(flaw);
            }
            if !group_names.insert(group.name.clone()) {
                flaws.push(
                    Flaw::new(Code::DuplicateName, "name", format!("two groups are called `{}`", group.name))
                        .help("give each group its own name"),
                );
            }
            let from = axes.len();
            for axis in group.axes {
                let full = format!("{}.{}", group.name, axis.name());
                if by_name.insert(full.clone(), axes.len()).is_some() {
                    flaws.push(
                        Flaw::new(Code::DuplicateName, "name", format!("two axes are called `{full}`"))
                            .help("give each axis of a group its own name"),
                    );
                }
                names.push(full);
                axes.push(axis);
            }
            kept.push(Group::new(group.name, from..axes.len()));
        }
        if axes.is_empty() {
            flaws.push(
                Flaw::new(Code::MissingKey, "group", "the stage has no axis").found("0 axes", format!("1 to {} axes", bounds::MOST_AXES)),
            );
        }
        if axes.len() > bounds::MOST_AXES {
            flaws.push(
                Flaw::new(Code::TooMany, "group", "the stage has too many axes")
                    .found(format!("{} axes", axes.len()), format!("1 to {} axes", bounds::MOST_AXES)),
            );
        }
        if !flaws.is_empty() {
            return Err(flaws);
        }
        let stage = Stage {
            name: name.to_owned(),
            scale,
            reaction: USUAL_REACTION,
            camera_timing: CameraTiming::NONE,
            mark: Mark::of(core::iter::empty()),
            groups: kept,
            animated: names.clone(),
            axes: PerAxis::of(axes),
            names: PerAxis::of(names),
            by_name,
            machines: Vec::new(),
            derived: Vec::new(),
            bodies: Vec::new(),
            surroundings: Surroundings::default(),
            index: Index::default(),
        };
        Ok(stage.marked().indexed())
    }

    /// The same stage, its mark that of its names as they are now.
    fn marked(mut self) -> Stage {
        let groups = self.groups.iter().map(Group::name);
        let derived = self.derived.iter().map(|m| m.name.as_str());
        self.mark = Mark::of(groups.chain(self.names.iter().map(String::as_str)).chain(derived));
        self
    }

    /// The same stage, its look-ups those of what it has now.
    fn indexed(mut self) -> Stage {
        self.index = Index::of(&self.groups, self.axes.len(), &self.derived, &self.machines, &self.bodies);
        self
    }

    /// Identifies this stage.
    #[must_use]
    pub(crate) fn mark(&self) -> Mark {
        self.mark
    }

    /// Display name of the stage.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Model size over real size.
    #[must_use]
    pub fn scale(&self) -> f64 {
        self.scale
    }

    /// The same stage with another time from a fault to the start of the stop, s.
    ///
    /// # Errors
    /// A time out of range.
    pub(crate) fn with_reaction(self, reaction: f64) -> Result<Stage, Flaw> {
        bounds::REACTION.check("reaction", reaction).map(|reaction| Stage { reaction, ..self })
    }

    /// The same stage with a camera that needs these times.
    #[must_use]
    pub(crate) fn with_camera_timing(self, camera_timing: CameraTiming) -> Stage {
        Stage { camera_timing, ..self }
    }

    /// What the camera needs between exposures.
    #[must_use]
    pub(crate) fn camera_timing(&self) -> CameraTiming {
        self.camera_timing
    }

    /// From a fault to the start of the stop, s.
    #[must_use]
    pub(crate) fn reaction(&self) -> f64 {
        self.reaction
    }

    /// Groups in the order of the file.
    #[must_use]
    pub(crate) fn groups(&self) -> &[Group] {
        &self.groups
    }

    /// Axes in stage order: groups in the order of the file, axes in order within.
    #[must_use]
    pub fn axes(&self) -> &[Axis] {
        self.axes.as_slice()
    }

    /// Every axis's id, in stage order.
    pub fn axis_ids(&self) -> impl ExactSizeIterator<Item = AxisId> + Clone + use<> {
        let mark = self.mark;
        (0..self.axes.len()).map(move |i| AxisId::new(i, mark))
    }

    /// Every axis with its id, in stage order.
    pub(crate) fn each_axis(&self) -> impl ExactSizeIterator<Item = (AxisId, &Axis)> + Clone {
        self.axis_ids().zip(self.axes.iter())
    }

    /// The axis of this id, which this stage made.
    pub(crate) fn axis(&self, id: AxisId) -> &Axis {
        &self.axes[id]
    }

    /// Full names `group.axis`, in stage order.
    #[must_use]
    pub fn axis_names(&self) -> &[String] {
        self.names.as_slice()
    }

    /// The full name of an axis of this stage.
    pub(crate) fn axis_name(&self, id: AxisId) -> &str {
        &self.names[id]
    }

    /// The axis of this full name.
    #[must_use]
    pub fn axis_of_name(&self, name: &str) -> Option<AxisId> {
        self.by_name.get(name).map(|i| AxisId::new(*i, self.mark))
    }

    /// The channel of this full name. Every axis is a channel of its own name unless a mechanism drives it.
    #[must_use]
    pub(crate) fn channel(&self, name: &str) -> Option<ChannelId> {
        if let Some(i) = self.index.derived(name) {
            return Some(ChannelId::new(self.names.len() + i, self.mark));
        }
        match self.driver(self.axis_of_name(name)?) {
            Driver::Own(channel) => Some(channel),
            Driver::Machine(..) => None,
        }
    }

    /// Full names of all channels.
    #[must_use]
    pub fn channel_names(&self) -> &[String] {
        &self.animated
    }

    /// What a channel is: an axis's own, or one that a mechanism brings.
    fn kind_of(&self, channel: ChannelId) -> ChannelKind<'_> {
        let derived = channel.index().checked_sub(self.names.len()).and_then(|i| self.derived.get(i));
        match derived {
            Some(derived) => ChannelKind::Derived(derived),
            None => ChannelKind::Own(AxisId::new(channel.index(), self.mark)),
        }
    }

    /// The full name of a channel of this stage.
    pub(crate) fn channel_name(&self, channel: ChannelId) -> &str {
        match self.kind_of(channel) {
            ChannelKind::Own(axis) => self.axis_name(axis),
            ChannelKind::Derived(derived) => &derived.name,
        }
    }

    /// Unit of a channel, `mm` or `deg`.
    pub(crate) fn channel_unit(&self, channel: ChannelId) -> &'static str {
        match self.kind_of(channel) {
            ChannelKind::Own(axis) => self.axis(axis).unit().symbol(),
            ChannelKind::Derived(derived) => derived.unit.symbol(),
        }
    }

    /// Where a channel stands when nothing drives it: its axis's home, or where its mechanism's axes are at home.
    pub(crate) fn channel_rest(&self, channel: ChannelId) -> f64 {
        match self.kind_of(channel) {
            ChannelKind::Own(axis) => self.axis(axis).home(),
            ChannelKind::Derived(derived) => derived.rest,
        }
    }

    /// The axis whose own channel this is; `None` for a mechanism's channel.
    pub(crate) fn own_axis(&self, channel: ChannelId) -> Option<AxisId> {
        match self.kind_of(channel) {
            ChannelKind::Own(axis) => Some(axis),
            ChannelKind::Derived(_) => None,
        }
    }

    /// Every group's id, in the order of the file.
    pub(crate) fn group_ids(&self) -> impl ExactSizeIterator<Item = GroupId> + Clone + use<> {
        let mark = self.mark;
        (0..self.groups.len()).map(move |i| GroupId::new(i, mark))
    }

    /// Some channel: what stands for an unknown one while other keys of its table are looked at.
    pub(crate) fn any_channel(&self) -> ChannelId {
        ChannelId::new(0, self.mark)
    }

    /// Some group, likewise.
    pub(crate) fn any_group(&self) -> GroupId {
        GroupId::new(0, self.mark)
    }

    /// The group of this name.
    #[must_use]
    pub(crate) fn group_of_name(&self, name: &str) -> Option<GroupId> {
        self.index.group(name).map(|i| GroupId::new(i, self.mark))
    }

    /// The group of this id, which this stage made.
    #[allow(
        clippy::indexing_slicing,
        reason = "an id of this stage is one of its groups; those of other stages are refused where they enter"
    )]
    pub(crate) fn group(&self, id: GroupId) -> &Group {
        &self.groups[id.index()]
    }

    /// The name of a group of this stage.
    pub(crate) fn group_name(&self, id: GroupId) -> &str {
        self.group(id).name()
    }

    /// `GROUP.LIMB` of a limb of a body, `GROUP` of the body and of all else.
    #[must_use]
    pub(crate) fn part_name(&self, body: &Body, place: Place) -> String {
        let group = self.group_name(body.group());
        place.limb().and_then(|n| body.limbs().get(n)).map_or_else(|| group.to_owned(), |limb| format!("{group}.{}", limb.name()))
    }
}

impl<T> PerAxis<T> {
    /// A value for every axis of `stage`.
    pub(crate) fn new(stage: &Stage, value: impl FnMut(AxisId) -> T) -> PerAxis<T> {
        PerAxis::of(stage.axis_ids().map(value).collect())
    }

    /// The same, where a value may be wanting: the first error.
    ///
    /// # Errors
    /// That of the first axis that has no value.
    pub(crate) fn try_new<E>(stage: &Stage, value: impl FnMut(AxisId) -> Result<T, E>) -> Result<PerAxis<T>, E> {
        Ok(PerAxis::of(stage.axis_ids().map(value).collect::<Result<Vec<T>, E>>()?))
    }
}

/// What a channel belongs to.
enum ChannelKind<'a> {
    Own(AxisId),
    Derived(&'a machine::DerivedChannel),
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
        assert_eq!(codes, ["out-of-range", "duplicate-name", "duplicate-name", "invalid-name"]);
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
        let yaw = stage.axis_of_name("heron_a.yaw").unwrap();
        assert_eq!((yaw.index(), stage.axis_name(yaw)), (2, "heron_a.yaw"));
        let heron = stage.group_of_name("heron_a").unwrap();
        assert!(heron.index() == 1 && stage.group(heron).has(yaw) && stage.group_name(heron) == "heron_a");
        assert_eq!(stage.axis_of_name("heron_a.pitch"), None);
    }

    #[test]
    fn stages_of_other_names_have_other_marks() {
        let stage =
            |group: &str, name: &str| Stage::new("marsh", 1.0, vec![GroupSpec { name: group.into(), axes: vec![axis(name)] }]).unwrap();
        assert_eq!(stage("heron", "lift").mark(), stage("heron", "lift").mark());
        assert_ne!(stage("heron", "lift").mark(), stage("heron", "left").mark());
        assert_ne!(stage("heron_l", "ift").mark(), stage("heron", "lift").mark());
    }
}
