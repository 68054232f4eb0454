//! The words that a key may hold where it holds one of a few: the reader chooses by them, the table of keys lists them.

use crate::mechanism::{CarriedFrom, Over};
use crate::shot::{Exposure, Interval, Shaping};
use crate::stage::Unit;

/// Words of earlier versions, and what they are called now: the help of an unknown word names it.
pub(super) const RENAMED: &[(&str, &str)] = &[("pose_to_pose", "stop_at_keys")];

/// The units.
pub(super) const UNITS: &[(&str, Unit)] = &[("mm", Unit::Millimetre), ("deg", Unit::Degree)];

/// How moves from rest to rest are split against swing.
pub(super) const SHAPINGS: &[(&str, Shaping)] = &[("none", Shaping::None), ("zero_vibration", Shaping::ZeroVibration)];

/// How long each frame of a held pass takes.
pub(super) const INTERVALS: &[(&str, Interval)] = &[("frame", Interval::Frame), ("shortest", Interval::Shortest)];

/// What the axes do during an exposure.
pub(super) const EXPOSURES: &[(&str, Exposure)] = &[("moving", Exposure::Moving), ("held", Exposure::Held)];

/// From where actuators carry a plate.
pub(super) const CARRIERS: &[(&str, CarriedFrom)] = &[("below", CarriedFrom::Below), ("above", CarriedFrom::Above)];

/// What a proxy is for, by its place.
pub(super) const USES: &[(&str, usize)] = &[("clearance", 0), ("picture", 1)];

/// A kind of mechanism.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Swashplate,
    LimbWire,
    Drum,
    Table,
}

/// The kinds.
pub(super) const KINDS: &[(&str, Kind)] =
    &[("swashplate", Kind::Swashplate), ("limb_wire", Kind::LimbWire), ("drum", Kind::Drum), ("table", Kind::Table)];

/// What a measured table is smooth over.
pub(super) const OVERS: &[(&str, Over)] = &[("value", Over::Value), ("reciprocal", Over::Reciprocal)];
