//! Keys of `[depth]`, `[light.NAME]` and `[day]`.

use super::{Default, Entry, Holds, Section};
use crate::bounds::{EXPOSURE, F_NUMBER, FILTER_FACTOR, RECIPROCITY};

/// Depth of field.
pub(crate) static DEPTH: Section = Section {
    header: "[depth]",
    meaning: "What must be in focus. `movewright pace` computes the stop from it.",
    keys: &[
        Entry {
            name: "sharp",
            holds: Holds::Names(None),
            unit: "",
            default: Default::None("every group with envelopes, but the camera"),
            meaning: "groups with joints and envelopes, names under `[point]`, and obstacles",
            example: "[\"heron_b\"]",
        },
        Entry {
            name: "look_f_number",
            holds: Holds::Number(F_NUMBER),
            unit: "",
            default: Default::None("not wanted"),
            meaning: "the stop whose depth the audience should believe at full size",
            example: "5.6",
        },
    ],
    rules: &[],
    example: "[depth]\nsharp = [\"heron_b\"]\nlook_f_number = 5.6\n",
};

/// A light.
pub(crate) static LIGHT: Section = Section {
    header: "[light.NAME]",
    meaning: "What the meter said of a light. `movewright pace` computes exposure and pace of each pass from it. A pass names its light by `light`.",
    keys: &[
        Entry {
            name: "f_number",
            holds: Holds::Number(F_NUMBER),
            unit: "",
            default: Default::Must,
            meaning: "the stop on the meter",
            example: "5.6",
        },
        Entry {
            name: "seconds",
            holds: Holds::Number(EXPOSURE),
            unit: "s",
            default: Default::Must,
            meaning: "the exposure that the meter asks for at that stop",
            example: "0.5",
        },
        Entry {
            name: "filter_factor",
            holds: Holds::Number(FILTER_FACTOR),
            unit: "",
            default: Default::Value("1"),
            meaning: "how many times longer the filters make the exposure",
            example: "2",
        },
        Entry {
            name: "reciprocity",
            holds: Holds::Number(RECIPROCITY),
            unit: "",
            default: Default::Value("1"),
            meaning: "film above 1 s: the exponent that its maker gives, exposure = metered seconds to this power; 1 for a digital camera",
            example: "1.31",
        },
    ],
    rules: &[],
    example: "[light.key]\nf_number = 5.6\nseconds = 0.5\nfilter_factor = 2\nreciprocity = 1.31\n",
};

/// The day.
pub(crate) static DAY: Section = Section {
    header: "[day]",
    meaning: "When the first pass begins. `movewright pace` says when each pass starts and ends.",
    keys: &[Entry {
        name: "start",
        holds: Holds::Shaped("^([01][0-9]|2[0-3]):[0-5][0-9]$", "hours and minutes"),
        unit: "",
        default: Default::Must,
        meaning: "time of day at which the change before the first pass begins",
        example: "\"07:30\"",
    }],
    rules: &[],
    example: "[day]\nstart = \"07:30\"\n",
};
