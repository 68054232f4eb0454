//! Keys of the haze that a shot is photographed through.

use super::{Default, Entry, Holds, Section};
use crate::bounds::{BAND, VISIBILITY};

/// Haze.
pub(crate) static HAZE: Section = Section {
    header: "[haze]",
    meaning: "Haze that stands for the air of the real place. `movewright check` prints the visibility to measure on the stage and what each figure loses; `haze.csv` has it for every frame. It moves \
              no axis. Haze has the same density everywhere and, on the stage, no colour.",
    keys: &[
        Entry {
            name: "full_size_visibility_m",
            holds: Holds::Number(VISIBILITY),
            unit: "m",
            default: Default::Must,
            meaning: "visibility at the real place, at 2 % contrast; on the stage it is `scale` times that",
            example: "60",
        },
        Entry {
            name: "camera",
            holds: Holds::Text,
            unit: "",
            default: Default::None("the only camera"),
            meaning: "the camera's group; required only if the stage has several cameras",
            example: "\"camera\"",
        },
        Entry {
            name: "bands",
            holds: Holds::Factors(BAND),
            unit: "",
            default: Default::None("the same of every colour"),
            meaning: "bands of colour, and how many times as much the real air takes of each as of all light; `check` gives the difference from the haze on the stage, which takes the same of all",
            example: "{ red = 0.9, blue = 1.2 }",
        },
    ],
    rules: &[],
    example: "[haze]\nfull_size_visibility_m = 60\n",
};
