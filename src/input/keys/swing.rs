//! Keys of a figure as a pendulum: its swing, and further measured modes.

use super::{Default, Entry, Holds, Rule, Section};
use crate::bounds::{LENGTH_PER_UNIT, SPAN, SWING_DAMPING, SWING_LENGTH, SWING_PERIOD};

/// Of the pendulum, and of every further mode.
const DAMPING: Entry = Entry {
    name: "damping",
    holds: Holds::Number(SWING_DAMPING),
    unit: "",
    default: Default::Value("0.01"),
    meaning: "share of critical damping",
    example: "0.02",
};

/// The swing of a figure.
pub(crate) static SWING: Section = Section {
    header: "[group.swing]",
    meaning: "The figure as a pendulum under its carriage. The period follows from the length: 2.54 s for 1600 mm, and four times the length doubles it. `movewright check` computes how far it swings \
              from its carriage's exact motion, from rest at the start of the program. Length and damping are guesses until they are measured: pull the figure aside, let go, and time ten swings.",
    keys: &[
        Entry {
            name: "joint",
            holds: Holds::Text,
            unit: "",
            default: Default::Must,
            meaning: "a joint of the group by its `name`: the figure hangs from the place after it",
            example: "\"carriage\"",
        },
        Entry {
            name: "length",
            holds: Holds::Number(SWING_LENGTH),
            unit: "mm",
            default: Default::Must,
            meaning: "from there to the centre of mass, with everything at home",
            example: "1600",
        },
        Entry {
            name: "length_channel",
            holds: Holds::Text,
            unit: "",
            default: Default::None("the length is constant"),
            meaning: "a channel that changes the length, such as a hoist",
            example: "\"hoist\"",
        },
        Entry {
            name: "length_per_unit",
            holds: Holds::Number(LENGTH_PER_UNIT),
            unit: "mm per unit",
            default: Default::None("the length is constant"),
            meaning: "added to the length for each unit of that channel above its value at home; the length must stay above 0",
            example: "-1",
        },
        DAMPING,
        Entry {
            name: "limit",
            holds: Holds::Number(SPAN),
            unit: "mm",
            default: Default::None("only reported"),
            meaning: "largest swing during exposures",
            example: "0.5",
        },
        Entry {
            name: "modes",
            holds: Holds::Many(&MODE),
            unit: "",
            default: Default::None("none"),
            meaning: "further measured modes, such as the model below its plate, or yaw; each swings for itself and keeps `limit` too",
            example: "",
        },
    ],
    rules: &[Rule::AllOrNone(&["length_channel", "length_per_unit"])],
    example: "[group.swing]\njoint = \"carriage\"\nlength = 1600\nlength_channel = \"hoist\"\nlength_per_unit = -1\nlimit = 0.5\nmodes = [{ period_s = 1.34, damping = 0.02 }]\n",
};

/// A further mode.
pub(crate) static MODE: Section = Section {
    header: "[[group.swing.modes]]",
    meaning: "A further mode of a hanging figure, as measured. It is driven like a pendulum of the length that has this period.",
    keys: &[
        Entry {
            name: "period_s",
            holds: Holds::Number(SWING_PERIOD),
            unit: "s",
            default: Default::Must,
            meaning: "time of one swing to and fro",
            example: "1.34",
        },
        DAMPING,
    ],
    rules: &[],
    example: "",
};
