//! Keys of a figure on three wires.

use super::{Default, Entry, Holds, Rule, Section};
use crate::bounds::{BREAKING_LOAD, COORDINATE, DESIGN_FACTOR, HUNG_MASS, LEAST_TENSION};

const POINT: &[crate::bounds::Bound] = &[COORDINATE, COORDINATE, COORDINATE];

/// A figure on three wires.
pub(crate) static HANG: Section = Section {
    header: "[group.hang]",
    meaning: "A figure on exactly three wires, taken as vertical. `movewright check` computes by statics what each wire carries throughout every pass. A wire that carries too little goes slack, and the figure \
              jerks when it comes taut again. Acceleration and swing are left out. `breaking_load` and `design_factor` are for a competent person to decide; with both, notes say where a wire carries more than \
              its breaking load divided by the factor, and where a motor that stalls could break it.",
    keys: &[
        Entry {
            name: "mass",
            holds: Holds::Number(HUNG_MASS),
            unit: "kg",
            default: Default::Must,
            meaning: "of the figure",
            example: "1.9",
        },
        Entry {
            name: "centre",
            holds: Holds::Numbers(POINT),
            unit: "mm",
            default: Default::Must,
            meaning: "centre of mass, in the figure's axes",
            example: "[0, -30, 4]",
        },
        Entry {
            name: "wires",
            holds: Holds::Lists(3, POINT),
            unit: "mm",
            default: Default::Must,
            meaning: "where the wires hold the figure, in its axes; seen from above not on one line",
            example: "[[90, 0, 0], [-45, 0, 78], [-45, 0, -78]]",
        },
        Entry {
            name: "least_tension",
            holds: Holds::Number(LEAST_TENSION),
            unit: "",
            default: Default::Value("0.05"),
            meaning: "share of the weight that each wire must carry",
            example: "0.05",
        },
        Entry {
            name: "breaking_load",
            holds: Holds::Number(BREAKING_LOAD),
            unit: "N",
            default: Default::None("not known"),
            meaning: "of one wire with its ends; with `design_factor`",
            example: "180",
        },
        Entry {
            name: "design_factor",
            holds: Holds::Number(DESIGN_FACTOR),
            unit: "",
            default: Default::None("not known"),
            meaning: "by what the breaking load is divided; with `breaking_load`",
            example: "8",
        },
    ],
    rules: &[Rule::AllOrNone(&["breaking_load", "design_factor"])],
    example: "[group.hang]\nmass = 1.9\ncentre = [0, -30, 4]\nwires = [[90, 0, 0], [-45, 0, 78], [-45, 0, -78]]\nleast_tension = 0.05\nbreaking_load = 180\ndesign_factor = 8\n",
};
