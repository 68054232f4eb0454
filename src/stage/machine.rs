//! A mechanism in its place: which channels it takes, which axes it drives.
//!
//! Invariant: its axes exist, belong to one group and are driven by nothing else; its channels have names of their own; with its axes at home its
//! channels have a value, and there they rest when nothing drives them.

use super::{AxisId, ChannelId, Stage};
use crate::bounds::{Code, Flaw};
use crate::mechanism::{Drum, Hung, Limb, LimbWire, OutOfReach, Real, Swashplate};

/// What a mechanism is.
#[derive(Debug, Clone, PartialEq)]
pub enum Work {
    /// Channels heave (mm), pitch and roll (deg) to three actuators.
    Swashplate(Swashplate),
    /// A joint angle (deg) to wire paid out (mm); with a weighted limb, where its weight is given.
    LimbWire(LimbWire, Option<Limb>),
    /// A height (mm) to the turn of a drum (deg); with what hangs on it, where that is given.
    Drum(Drum, Option<Hung>),
}

impl Work {
    /// Its name in files.
    #[must_use]
    pub fn kind(&self) -> &'static str {
        match self {
            Work::Swashplate(_) => "swashplate",
            Work::LimbWire(..) => "limb_wire",
            Work::Drum(..) => "drum",
        }
    }

    /// Number of channels taken and of axes driven.
    #[must_use]
    pub fn size(&self) -> usize {
        match self {
            Work::Swashplate(_) => 3,
            Work::LimbWire(..) | Work::Drum(..) => 1,
        }
    }

    /// Units of the channels, as in files.
    #[must_use]
    pub fn channel_units(&self) -> &'static [&'static str] {
        match self {
            Work::Swashplate(_) => &["mm", "deg", "deg"],
            Work::LimbWire(..) => &["deg"],
            Work::Drum(..) => &["mm"],
        }
    }

    /// Unit its axes must have.
    #[must_use]
    pub fn axis_unit(&self) -> &'static str {
        match self {
            Work::Swashplate(_) | Work::LimbWire(..) => "mm",
            Work::Drum(..) => "deg",
        }
    }

    /// Position of the driven axis `which` for the channels' values: plain numbers or jets.
    ///
    /// # Errors
    /// A place the mechanism cannot take; a number of channels that is not [`Work::size`] counts as one.
    pub fn axis<T: Real>(&self, channels: &[T], which: usize) -> Result<T, OutOfReach> {
        let lost = OutOfReach::Range { quantity: "channel", found: f64::NAN, least: f64::NAN, most: f64::NAN, unit: "" };
        match (self, channels) {
            (Work::Swashplate(plate), [heave, pitch, roll]) => plate.actuators(*heave, *pitch, *roll)?.get(which).copied().ok_or(lost),
            (Work::LimbWire(wire, _), [angle]) => wire.paid_out(*angle),
            (Work::Drum(drum, _), [height]) => drum.turn(*height),
            _ => Err(lost),
        }
    }

    /// The channels' values with the axes at given positions, plain numbers or jets: the way back.
    ///
    /// # Errors
    /// Positions no pose of the mechanism has.
    pub fn channels<T: Real>(&self, axes: &[T]) -> Result<Vec<T>, OutOfReach> {
        match (self, axes) {
            (Work::Swashplate(plate), [a, b, c]) => plate.pose([*a, *b, *c]).map(|p| p.to_vec()),
            (Work::LimbWire(wire, _), [paid_out]) => wire.angle(*paid_out).map(|a| vec![a]),
            (Work::Drum(drum, _), [turn]) => drum.height(*turn).map(|h| vec![h]),
            _ => Err(OutOfReach::Range { quantity: "axis", found: f64::NAN, least: f64::NAN, most: f64::NAN, unit: "" }),
        }
    }
}

/// What a mechanism of a stage is made from: full names of channels and axes.
#[derive(Debug, Clone, PartialEq)]
pub struct MachineSpec {
    /// Full names `group.channel` of what is animated, in the order of [`Work::channel_units`].
    pub channels: Vec<String>,
    /// Full names `group.axis` of what turns.
    pub axes: Vec<String>,
    /// What it is.
    pub work: Work,
}

/// A checked mechanism in its place.
#[derive(Debug, Clone, PartialEq)]
pub struct Machine {
    pub(super) channels: Vec<ChannelId>,
    pub(super) axes: Vec<AxisId>,
    pub(super) work: Work,
}

impl Machine {
    /// Its channels.
    #[must_use]
    pub fn channels(&self) -> &[ChannelId] {
        &self.channels
    }

    /// Its axes.
    #[must_use]
    pub fn axes(&self) -> &[AxisId] {
        &self.axes
    }

    /// What it is.
    #[must_use]
    pub fn work(&self) -> &Work {
        &self.work
    }
}

/// A flaw of the mechanism at `index` of the list.
pub(super) fn flaw(index: usize, code: Code, field: &str, title: String) -> Flaw {
    Flaw::new(code, field, title).at_index(index)
}

/// Channels that mechanisms bring: full name, unit, and the value at which their axes are at home.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Made {
    pub(super) name: String,
    pub(super) unit: &'static str,
    pub(super) rest: f64,
}

/// What moves an axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Mover<'a> {
    /// The channel of its own name.
    Own(ChannelId),
    /// A mechanism, as its axis of this number.
    Machine(&'a Machine, usize),
}

impl Stage {
    /// The same stage with mechanisms: the axes they drive are no channels any more, their channels are.
    ///
    /// # Errors
    /// Every flaw, with the mechanism's place in the list as its index.
    pub fn with_machines(mut self, specs: Vec<MachineSpec>) -> Result<Stage, Vec<Flaw>> {
        let mut flaws = Vec::new();
        for (i, spec) in specs.into_iter().enumerate() {
            match self.placed(i, &spec) {
                Ok((machine, rests)) => {
                    for ((name, unit), rest) in spec.channels.iter().zip(spec.work.channel_units()).zip(rests) {
                        self.made.push(Made { name: name.clone(), unit, rest });
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
        self.animated = own.chain(self.made.iter().map(|m| m.name.clone())).collect();
        let mut stage = self.marked();
        let mark = stage.mark;
        for machine in &mut stage.machines {
            machine.axes.iter_mut().for_each(|a| *a = AxisId::new(a.index(), mark));
            machine.channels.iter_mut().for_each(|c| *c = ChannelId::new(c.index(), mark));
        }
        Ok(stage)
    }

    /// Checks one mechanism against the stage as it is so far; its channels' values with every axis at home.
    fn placed(&self, index: usize, spec: &MachineSpec) -> Result<(Machine, Vec<f64>), Vec<Flaw>> {
        let mut flaws = Vec::new();
        let (kind, size) = (spec.work.kind(), spec.work.size());
        for (field, n) in [("channels", spec.channels.len()), ("axes", spec.axes.len())] {
            if n != size {
                let title = format!("a {kind} has the wrong number of {field}");
                flaws.push(flaw(index, Code::WrongCount, field, title).found(n.to_string(), size.to_string()));
            }
        }
        let mut axes = Vec::new();
        for name in &spec.axes {
            let Some(axis) = self.axis_of_name(name) else {
                let title = format!("the stage has no axis `{name}`");
                flaws.push(flaw(index, Code::UnknownAxis, "axes", title).found(format!("`{name}`"), "an axis of the same group"));
                continue;
            };
            let unit = self.axis(axis).unit().symbol();
            if unit != spec.work.axis_unit() {
                let title = format!("a {kind} drives axes of another unit");
                flaws.push(flaw(index, Code::WrongUnit, "axes", title).found(format!("`{name}` in {unit}"), spec.work.axis_unit()));
            }
            if axes.contains(&axis) || self.machines.iter().any(|m| m.axes.contains(&axis)) {
                let title = format!("`{name}` is driven twice");
                flaws.push(flaw(index, Code::DrivenTwice, "axes", title).help("an axis is driven by one mechanism, once"));
            }
            axes.push(axis);
        }
        for (i, name) in spec.channels.iter().enumerate() {
            let twice = spec.channels.iter().take(i).any(|n| n == name);
            if twice || self.made.iter().any(|m| m.name == *name) || self.axis_of_name(name).is_some() {
                let title = format!("the name `{name}` is taken");
                flaws.push(
                    flaw(index, Code::DuplicateName, "channels", title)
                        .help("give the channel a name that no axis and no other channel has"),
                );
            }
        }
        let homes: Vec<f64> = axes.iter().map(|a| self.axis(*a).home()).collect();
        match spec.work.channels(&homes) {
            Ok(rests) if flaws.is_empty() => {
                let from = self.names.len() + self.made.len();
                let channels = (from..from + size).map(|i| ChannelId::new(i, self.mark)).collect();
                Ok((Machine { channels, axes, work: spec.work.clone() }, rests))
            }
            Err(error) if flaws.is_empty() => {
                let title = format!("a {kind} cannot stand with its axes at home");
                Err(vec![flaw(index, Code::ImpossibleHome, "axes", title).found(error.to_string(), "homes that the mechanism can take")])
            }
            _ => Err(flaws),
        }
    }

    /// Values of `wanted` channels from positions of axes, each mechanism asked once by `back`, its inverse kinematics over this kind of number.
    ///
    /// # Errors
    /// What `axis` and `back` say.
    pub fn channel_values<T: Real, E>(
        &self,
        wanted: &[ChannelId],
        axis: &impl Fn(AxisId) -> Result<T, E>,
        back: &impl Fn(&Work, &[T]) -> Result<Vec<T>, E>,
    ) -> Result<Vec<T>, E> {
        let mut asked: Vec<(&Machine, Vec<T>)> = Vec::new();
        let mut values = Vec::with_capacity(wanted.len());
        for channel in wanted {
            // Every channel is an axis's own or one of a mechanism's.
            let Some((machine, which)) = self.maker_of(*channel) else {
                values.push(axis(AxisId::new(channel.index(), self.mark))?);
                continue;
            };
            let known = asked.iter().find(|(known, _)| core::ptr::eq(*known, machine));
            if let Some(value) = known.and_then(|(_, v)| v.get(which)) {
                values.push(*value);
                continue;
            }
            let axes = machine.axes.iter().map(|a| axis(*a)).collect::<Result<Vec<T>, E>>()?;
            let all = back(&machine.work, &axes)?;
            values.extend(all.get(which));
            asked.push((machine, all));
        }
        Ok(values)
    }

    /// The mechanism that brings a channel, and which of its channels it is; `None` where it is an axis's own.
    fn maker_of(&self, channel: ChannelId) -> Option<(&Machine, usize)> {
        self.machines.iter().find_map(|m| m.channels.iter().position(|c| *c == channel).map(|which| (m, which)))
    }

    /// Mechanisms, in the order given.
    #[must_use]
    pub fn machines(&self) -> &[Machine] {
        &self.machines
    }

    /// What moves an axis.
    #[must_use]
    pub fn mover(&self, axis: AxisId) -> Mover<'_> {
        let of = |m: &Machine| m.axes.iter().position(|a| *a == axis);
        match self.machines.iter().find_map(|m| of(m).map(|which| (m, which))) {
            Some((machine, which)) => Mover::Machine(machine, which),
            None => Mover::Own(ChannelId::new(axis.index(), axis.mark())),
        }
    }

    /// The axes that a channel moves: its own, or its mechanism's.
    #[must_use]
    pub fn axes_of(&self, channel: ChannelId) -> Vec<AxisId> {
        match self.maker_of(channel) {
            Some((machine, _)) => machine.axes.clone(),
            None => self.own_axis(channel).into_iter().collect(),
        }
    }

    /// The channels that move an axis: its own, or its mechanism's.
    #[must_use]
    pub fn channels_of(&self, axis: AxisId) -> Vec<ChannelId> {
        match self.mover(axis) {
            Mover::Own(channel) => vec![channel],
            Mover::Machine(machine, _) => machine.channels.clone(),
        }
    }
}
