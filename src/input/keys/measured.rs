//! Keys of `[[group.mechanism]]` of kind "table".

use super::machine::KIND;
use super::{Default, Entry, Holds, Section};
use crate::bounds::POSITION;
use crate::input::choices::{OVERS, UNITS};

/// A table that was measured.
pub(crate) static MEASURED: Section = Section {
    header: "[[group.mechanism]] of kind \"table\"",
    meaning: "Anything measured instead of computed: a focus ring, a lever, a cam. One channel turns into one axis by a table of points. Between two points runs a smooth \
              curve that never turns back; it passes every point. A value outside the table is an error that names the frame.",
    keys: &[
        Entry { name: "kind", holds: KIND, unit: "", default: Default::Must, meaning: "what it is", example: "\"table\"" },
        Entry {
            name: "axis",
            holds: Holds::Text,
            unit: "",
            default: Default::Must,
            meaning: "the axis it drives",
            example: "\"beak_lever\"",
        },
        Entry {
            name: "channel",
            holds: Holds::Text,
            unit: "",
            default: Default::Must,
            meaning: "name of its channel",
            example: "\"beak\"",
        },
        Entry {
            name: "channel_unit",
            holds: Holds::Choice(|| UNITS.iter().map(|(name, _)| *name).collect()),
            unit: "",
            default: Default::Must,
            meaning: "unit of the channel",
            example: "\"deg\"",
        },
        Entry {
            name: "points",
            holds: Holds::RowsOrFile(&[("channel", POSITION), ("axis", POSITION)]),
            unit: "channel's unit, axis's unit",
            default: Default::Must,
            meaning: "2 to 1000 points, both columns only rising or only falling; or the name of a CSV file of two columns whose header names the channel and the axis, with its \
                      path from the stage file's folder",
            example: "[[0, 0], [8, 11], [20, 34]]",
        },
        Entry {
            name: "over",
            holds: Holds::Choice(|| OVERS.iter().map(|(name, _)| *name).collect()),
            unit: "",
            default: Default::Value("\"value\""),
            meaning: "what the curve is smooth over: the channel's `\"value\"`, or the `\"reciprocal\"` 1 / value, which suits focus distances; all values are then above 0",
            example: "\"value\"",
        },
    ],
    rules: &[],
    example: r#"[[group.axis]]
name = "beak_lever"
unit = "deg"
travel = [0, 34]
max_velocity = 6
max_acceleration = 5
max_jerk = 12
motor = "frame42"
microsteps = 16
gear_ratio = 4

[[group.mechanism]]
kind = "table"
axis = "beak_lever"
channel = "beak"
channel_unit = "deg"
points = [[0, 0], [8, 11], [20, 34]]
"#,
};
