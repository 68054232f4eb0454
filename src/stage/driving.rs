//! Which channel drives which axis: mechanisms put into their stage, and what moves what from then on.
//!
//! Invariant: an axis is driven by one channel of its own name or by one mechanism; no two channels have one name.

use std::sync::Arc;

use super::Stage;
use super::ids::{AxisId, ChannelId};
use super::machine::{DerivedChannel, Driver, Machine, MachineSpec};
use super::name::check_name;
use crate::bounds::{Code, Flaw, MOST_DRIVEN};
use crate::mechanism::{Mechanism, Real, Slots};
use crate::number::Jet;

impl Stage {
    /// The same stage with mechanisms: the axes they drive are no channels any more, their channels are.
    ///
    /// # Errors
    /// Every flaw, with the mechanism's place in the list as its index.
    pub(crate) fn with_machines(mut self, specs: Vec<MachineSpec>) -> Result<Stage, Vec<Flaw>> {
        let mut flaws = Vec::new();
        for (i, spec) in specs.into_iter().enumerate() {
            match self.placed(i, &spec) {
                Ok((machine, rests)) => {
                    for ((name, quantity), rest) in spec.channels.iter().zip(spec.mechanism.channels()).zip(rests) {
                        self.derived.push(DerivedChannel { name: name.clone(), unit: quantity.unit, rest });
                    }
                    self.machines.push(machine);
                }
                Err(more) => flaws.extend(more),
            }
        }
        if !flaws.is_empty() {
            return Err(flaws);
        }
        let driven: Vec<usize> = self.machines.iter().flat_map(|m| m.axes.iter().map(|a| a.index())).collect();
        let own = self.names.iter().enumerate().filter(|(i, _)| !driven.contains(i)).map(|(_, n)| n.clone());
        self.animated = own.chain(self.derived.iter().map(|m| m.name.clone())).collect();
        let mut stage = self.marked();
        let mark = stage.mark;
        for machine in &mut stage.machines {
            machine.axes.iter_mut().for_each(|a| *a = AxisId::new(a.index(), mark));
            machine.channels.iter_mut().for_each(|c| *c = ChannelId::new(c.index(), mark));
        }
        Ok(stage.indexed())
    }

    /// Checks one mechanism against the stage as it is so far; its channels' values with every axis at home.
    fn placed(&self, index: usize, spec: &MachineSpec) -> Result<(Machine, Vec<f64>), Vec<Flaw>> {
        let mut flaws = Vec::new();
        let (kind, quantities, units) = (spec.mechanism.kind(), spec.mechanism.channels(), spec.mechanism.axes());
        for (field, n, size) in [("channels", spec.channels.len(), quantities.len()), ("axes", spec.axes.len(), units.len())] {
            if !(1..=MOST_DRIVEN).contains(&size) {
                let title = format!("a {kind} must not have this number of {field}");
                flaws.push(flaw(index, Code::WrongCount, field, title).found(size.to_string(), format!("1 to {MOST_DRIVEN}")));
            } else if n != size {
                let title = format!("a {kind} has the wrong number of {field}");
                flaws.push(flaw(index, Code::WrongCount, field, title).found(n.to_string(), size.to_string()));
            }
        }
        let mut axes = Vec::new();
        for (i, name) in spec.axes.iter().enumerate() {
            let Some(axis) = self.axis_of_name(name) else {
                let title = format!("the stage has no axis `{name}`");
                flaws.push(flaw(index, Code::UnknownAxis, "axes", title).found(format!("`{name}`"), "an axis of the same group"));
                continue;
            };
            let unit = self.axis(axis).unit();
            if let Some(wanted) = units.get(i).filter(|wanted| **wanted != unit) {
                let title = format!("a {kind} drives axes of another unit");
                flaws.push(flaw(index, Code::WrongUnit, "axes", title).found(format!("`{name}` in {}", unit.symbol()), wanted.symbol()));
            }
            if axes.contains(&axis) || self.machines.iter().any(|m| m.axes.contains(&axis)) {
                let title = format!("`{name}` is driven twice");
                flaws.push(flaw(index, Code::DrivenTwice, "axes", title).help("let only one mechanism drive an axis"));
            }
            axes.push(axis);
        }
        for (i, name) in spec.channels.iter().enumerate() {
            let twice = spec.channels.iter().take(i).any(|n| n == name);
            if twice || self.derived.iter().any(|m| m.name == *name) || self.axis_of_name(name).is_some() {
                let title = format!("the name `{name}` is taken");
                flaws.push(
                    flaw(index, Code::DuplicateName, "channels", title)
                        .help("give the channel a name that no axis and no other channel uses"),
                );
            }
            flaws.extend(self.full_name(name).err().map(|flaw| flaw.at_index(index)));
        }
        if !flaws.is_empty() {
            return Err(flaws);
        }
        let from = self.names.len() + self.derived.len();
        let channels = (from..from + quantities.len()).map(|i| ChannelId::new(i, self.mark)).collect();
        let machine = Machine { channels, axes, mechanism: Arc::clone(&spec.mechanism) };
        let rests = self.rests(index, &machine)?;
        Ok((machine, rests))
    }

    /// Checks the name `group.channel` of a channel.
    fn full_name(&self, name: &str) -> Result<(), Flaw> {
        let Some((group, channel)) = name.split_once('.') else {
            return Err(Flaw::new(Code::InvalidName, "channels", "a channel has no group").found(format!("`{name}`"), "`group.channel`"));
        };
        check_name("channels", channel)?;
        if self.group_of_name(group).is_none() {
            let title = format!("the stage has no group `{group}`");
            return Err(
                Flaw::new(Code::UnknownGroup, "channels", title).found(format!("`{name}`"), "`group.channel` with a group of the stage")
            );
        }
        Ok(())
    }

    /// Values of a mechanism's channels with its axes at home, from which it must lead back there.
    fn rests(&self, index: usize, machine: &Machine) -> Result<Vec<f64>, Vec<Flaw>> {
        let kind = machine.mechanism().kind();
        let home = |axis: AxisId| Ok(self.axis(axis).home());
        let rests =
            machine.channels_from(&home, &|mechanism, axes, channels| mechanism.to_channels_at_rest(axes, channels)).map_err(|error| {
                let title = format!("a {kind} cannot be built with its axes at home");
                vec![flaw(index, Code::ImpossibleHome, "axes", title).found(error.to_string(), "homes that the mechanism can take")]
            })?;
        let rests = rests.as_slice();
        if !rests.iter().all(|rest| rest.is_finite()) {
            let title = format!("a {kind} has no channels' values with its axes at home");
            let found: Vec<String> = rests.iter().map(f64::to_string).collect();
            return Err(vec![flaw(index, Code::ImpossibleHome, "axes", title).found(found.join(", "), "finite values")]);
        }
        let mut flaws = Vec::new();
        for (which, id) in machine.axes.iter().enumerate() {
            // A home at the very end of its range may round to beyond it: nothing is said of that one.
            let Ok(back) = machine.axis(which, rests.iter().copied().map(Jet::constant)) else { continue };
            let axis = self.axis(*id);
            let off = (back.p - axis.home()).abs() * axis.drive().steps_per_unit();
            if !(off <= 0.5) {
                let (name, unit) = (self.axis_name(*id), axis.unit().symbol());
                let title = format!("with its axes at home, forward and inverse kinematics of a {kind} disagree");
                flaws.push(
                    flaw(index, Code::ImpossibleMechanism, "axes", title)
                        .found(format!("`{name}` at {} {unit}", back.p), format!("its home, {} {unit}, to half a step", axis.home()))
                        .help("make forward and inverse kinematics inverse to each other"),
                );
            }
        }
        if flaws.is_empty() { Ok(rests.to_vec()) } else { Err(flaws) }
    }

    /// Values of `wanted` channels from positions of axes, each mechanism asked once by `forward`, its forward kinematics over this kind of number.
    ///
    /// # Errors
    /// What `axis` and `forward` say.
    pub(crate) fn channel_values<T: Real, E>(
        &self,
        wanted: &[ChannelId],
        axis: &impl Fn(AxisId) -> Result<T, E>,
        forward: &impl Fn(&dyn Mechanism, &[T], &mut [T]) -> Result<(), E>,
    ) -> Result<Vec<T>, E> {
        let mut asked: Vec<(&Machine, Slots<T>)> = Vec::new();
        let mut values = Vec::with_capacity(wanted.len());
        for channel in wanted {
            // Every channel is an axis's own or one of a mechanism's.
            let Some((machine, which)) = self.maker_of(*channel) else {
                values.push(axis(AxisId::new(channel.index(), self.mark))?);
                continue;
            };
            let known = asked.iter().find(|(known, _)| core::ptr::eq(*known, machine));
            if let Some(value) = known.and_then(|(_, v)| v.as_slice().get(which)) {
                values.push(*value);
                continue;
            }
            let all = machine.channels_from(axis, forward)?;
            values.extend(all.as_slice().get(which));
            asked.push((machine, all));
        }
        Ok(values)
    }

    /// The mechanism that brings a channel, and which of its channels it is; `None` where it is an axis's own.
    fn maker_of(&self, channel: ChannelId) -> Option<(&Machine, usize)> {
        self.index.maker(channel).and_then(|(i, which)| self.machines.get(i).map(|m| (m, which)))
    }

    /// Mechanisms, in the order given.
    #[must_use]
    pub(crate) fn machines(&self) -> &[Machine] {
        &self.machines
    }

    /// What moves an axis.
    #[must_use]
    pub(crate) fn driver(&self, axis: AxisId) -> Driver<'_> {
        match self.index.driver(axis).and_then(|(i, which)| self.machines.get(i).map(|m| (m, which))) {
            Some((machine, which)) => Driver::Machine(machine, which),
            None => Driver::Own(ChannelId::new(axis.index(), axis.mark())),
        }
    }

    /// The axes that a channel moves: its own, or its mechanism's.
    #[must_use]
    pub(crate) fn axes_of(&self, channel: ChannelId) -> Vec<AxisId> {
        match self.maker_of(channel) {
            Some((machine, _)) => machine.axes.clone(),
            None => self.own_axis(channel).into_iter().collect(),
        }
    }

    /// The channels that move an axis: its own, or its mechanism's.
    #[must_use]
    pub(crate) fn channels_of(&self, axis: AxisId) -> Vec<ChannelId> {
        match self.driver(axis) {
            Driver::Own(channel) => vec![channel],
            Driver::Machine(machine, _) => machine.channels.clone(),
        }
    }
}

/// A flaw of the mechanism at `index` of the list.
fn flaw(index: usize, code: Code, field: &str, title: String) -> Flaw {
    Flaw::new(code, field, title).at_index(index)
}
