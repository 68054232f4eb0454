//! Where everything of a stage is: by name, and by what moves what.
//!
//! Invariant: made anew whenever the stage gains mechanisms or bodies, so no look-up walks a list that grows with the stage.

use std::collections::BTreeMap;

use super::body::Body;
use super::group::Group;
use super::ids;
use super::machine::{DerivedChannel, Machine};

/// A mechanism and which of its axes or channels is meant.
type InMachine = Option<(usize, usize)>;

/// The look-ups of a stage.
#[derive(Debug, Clone, Default)]
pub(super) struct Index {
    groups: BTreeMap<String, usize>,
    derived: BTreeMap<String, usize>,
    /// By axis.
    movers: Vec<InMachine>,
    /// By channel.
    makers: Vec<InMachine>,
    /// By group.
    bodies: Vec<Option<usize>>,
}

impl Index {
    /// The look-ups of a stage with so many axes. Of two things of one name the first counts.
    pub(super) fn of(groups: &[Group], axes: usize, derived: &[DerivedChannel], machines: &[Machine], bodies: &[Body]) -> Index {
        let by_name = |names: &mut dyn DoubleEndedIterator<Item = (usize, &str)>| names.rev().map(|(i, n)| (n.to_owned(), i)).collect();
        let mut index = Index {
            groups: by_name(&mut groups.iter().map(Group::name).enumerate()),
            derived: by_name(&mut derived.iter().map(|m| m.name.as_str()).enumerate()),
            movers: vec![None; axes],
            makers: vec![None; axes + derived.len()],
            bodies: vec![None; groups.len()],
        };
        for (i, machine) in machines.iter().enumerate() {
            for (which, axis) in machine.axes.iter().enumerate() {
                put(&mut index.movers, axis.index(), (i, which));
            }
            for (which, channel) in machine.channels.iter().enumerate() {
                put(&mut index.makers, channel.index(), (i, which));
            }
        }
        for (i, body) in bodies.iter().enumerate() {
            put(&mut index.bodies, body.group().index(), i);
        }
        index
    }

    /// The group of this name.
    pub(super) fn group(&self, name: &str) -> Option<usize> {
        self.groups.get(name).copied()
    }

    /// The channel of this name among those that mechanisms bring.
    pub(super) fn derived(&self, name: &str) -> Option<usize> {
        self.derived.get(name).copied()
    }

    /// The mechanism that drives an axis.
    pub(super) fn driver(&self, axis: ids::AxisId) -> InMachine {
        self.movers.get(axis.index()).copied().flatten()
    }

    /// The mechanism that brings a channel.
    pub(super) fn maker(&self, channel: ids::ChannelId) -> InMachine {
        self.makers.get(channel.index()).copied().flatten()
    }

    /// The body of a group.
    pub(super) fn body(&self, group: ids::GroupId) -> Option<usize> {
        self.bodies.get(group.index()).copied().flatten()
    }
}

/// The first of several stays.
fn put<T: Copy>(list: &mut [Option<T>], at: usize, value: T) {
    if let Some(slot) = list.get_mut(at) {
        *slot = slot.or(Some(value));
    }
}
