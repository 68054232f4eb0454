//! A mechanism in its place: which channels it takes, which axes it drives.
//!
//! Invariant: its axes exist and are driven by nothing else; its channels have names of their own; with its axes at home its channels have a value, and there they
//! rest when nothing drives them. From those values the mechanism leads back to its axes' homes.

use std::sync::Arc;

use super::ids::{AxisId, ChannelId};
use crate::mechanism::{IntervalJet, Mechanism, OutOfReach, Real, Slots, Unit};
use crate::number::Jet;

/// What a mechanism of a stage is made from: full names of channels and axes.
#[derive(Debug, Clone)]
pub struct MachineSpec {
    /// Full names `group.channel` of what is animated, in the order of [`Mechanism::channels`].
    pub channels: Vec<String>,
    /// Full names `group.axis` of what turns, in the order of [`Mechanism::axes`].
    pub axes: Vec<String>,
    /// What it is.
    pub mechanism: Arc<dyn Mechanism>,
}

/// A checked mechanism in its place.
#[derive(Debug, Clone)]
pub(crate) struct Machine {
    pub(super) channels: Vec<ChannelId>,
    pub(super) axes: Vec<AxisId>,
    pub(super) mechanism: Arc<dyn Mechanism>,
}

impl MachineSpec {
    /// A mechanism with the full names of its channels and axes, both in its order.
    pub fn new<C: Into<String>, A: Into<String>>(
        mechanism: impl Mechanism + 'static,
        channels: impl IntoIterator<Item = C>,
        axes: impl IntoIterator<Item = A>,
    ) -> MachineSpec {
        MachineSpec {
            channels: channels.into_iter().map(Into::into).collect(),
            axes: axes.into_iter().map(Into::into).collect(),
            mechanism: Arc::new(mechanism),
        }
    }
}

impl Machine {
    /// Its channels.
    #[must_use]
    pub(crate) fn channels(&self) -> &[ChannelId] {
        &self.channels
    }

    /// Its axes.
    #[must_use]
    pub(crate) fn axes(&self) -> &[AxisId] {
        &self.axes
    }

    /// What it is.
    #[must_use]
    pub(crate) fn mechanism(&self) -> &dyn Mechanism {
        self.mechanism.as_ref()
    }

    /// Position of its axis `which` with its channels at these values, one for each.
    ///
    /// # Errors
    /// A place that the mechanism cannot take.
    pub(crate) fn axis(&self, which: usize, channels: impl Iterator<Item = Jet>) -> Result<Jet, OutOfReach> {
        let (mut values, mut axes) = (Slots::new(self.channels.len()), Slots::new(self.axes.len()));
        for (slot, value) in values.as_mut_slice().iter_mut().zip(channels) {
            *slot = value;
        }
        self.mechanism.to_axes(values.as_slice(), axes.as_mut_slice())?;
        axes.as_slice().get(which).copied().ok_or(OutOfReach::WrongCount)
    }

    /// The same by the formula that holds with its channels at `beside`.
    ///
    /// # Errors
    /// A place that the mechanism cannot take.
    pub(crate) fn axis_beside(
        &self,
        which: usize,
        channels: impl Iterator<Item = Jet>,
        beside: impl Iterator<Item = f64>,
    ) -> Result<Jet, OutOfReach> {
        let (mut values, mut places) = (Slots::new(self.channels.len()), Slots::new(self.channels.len()));
        let mut axes = Slots::new(self.axes.len());
        values.as_mut_slice().iter_mut().zip(channels).for_each(|(slot, value)| *slot = value);
        places.as_mut_slice().iter_mut().zip(beside).for_each(|(slot, place)| *slot = place);
        self.mechanism.to_axes_beside(values.as_slice(), places.as_slice(), axes.as_mut_slice())?;
        axes.as_slice().get(which).copied().ok_or(OutOfReach::WrongCount)
    }

    /// True where each axis has a range of its own, whatever the others do.
    #[must_use]
    pub(crate) fn has_ranges(&self) -> bool {
        (0..self.axes.len()).all(|which| self.mechanism.axis_range(which).is_some())
    }

    /// Whether a place of the mechanism has its axes where `position` says, by id.
    ///
    /// # Errors
    /// None has, and why.
    pub(crate) fn reaches(&self, position: impl Fn(AxisId) -> f64) -> Result<(), OutOfReach> {
        self.channels_from(&|axis| Ok(position(axis)), &|mechanism, axes, channels| mechanism.to_channels_at_rest(axes, channels))
            .map(|_| ())
    }

    /// True where it is proven that a place of the mechanism has its axes anywhere within these ranges, by id.
    #[must_use]
    pub(crate) fn encloses(&self, range: impl Fn(AxisId) -> IntervalJet) -> bool {
        self.channels_from(&|axis| Ok(range(axis)), &|mechanism, axes, channels| mechanism.enclose(axes, channels).ok_or(())).is_ok()
    }

    /// Its channels' values with its axes where `axis` says, as `forward` computes them.
    pub(super) fn channels_from<T: Real, E>(
        &self,
        axis: &impl Fn(AxisId) -> Result<T, E>,
        forward: &impl Fn(&dyn Mechanism, &[T], &mut [T]) -> Result<(), E>,
    ) -> Result<Slots<T>, E> {
        let (mut axes, mut channels) = (Slots::new(self.axes.len()), Slots::new(self.channels.len()));
        for (slot, id) in axes.as_mut_slice().iter_mut().zip(&self.axes) {
            *slot = axis(*id)?;
        }
        forward(self.mechanism(), axes.as_slice(), channels.as_mut_slice())?;
        Ok(channels)
    }
}

/// Channels that mechanisms bring: full name, unit, and the value at which their axes are at home.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct DerivedChannel {
    pub(super) name: String,
    pub(super) unit: Unit,
    pub(super) rest: f64,
}

/// What moves an axis.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Driver<'a> {
    /// The channel of its own name.
    Own(ChannelId),
    /// A mechanism, as its axis of this number.
    Machine(&'a Machine, usize),
}
