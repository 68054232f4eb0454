//! A mechanism in its place: which channels it takes, which axes it drives.
//!
//! Invariant: its axes exist, belong to one group and are driven by nothing else; its channels have names of their own; with its axes at home its
//! channels have a value, and there they rest when nothing drives them.

use super::ids::{AxisId, ChannelId};
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

    /// Which of its channels a quantity is, as an error names it: `heave`, `pitch`, `roll`; the only channel of the others.
    #[must_use]
    pub fn channel_of(&self, quantity: &str) -> Option<usize> {
        match self {
            Work::Swashplate(_) => ["heave", "pitch", "roll"].iter().position(|q| *q == quantity),
            Work::LimbWire(..) | Work::Drum(..) => Some(0),
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

    /// The positions that a mechanism of one axis can take, the ends as near as one likes; `None` where three axes must fit together.
    #[must_use]
    pub fn axis_range(&self) -> Option<[f64; 2]> {
        match self {
            Work::Swashplate(_) => None,
            Work::LimbWire(wire, _) => Some(wire.wire_range()),
            Work::Drum(drum, _) => Some(drum.turns()),
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
