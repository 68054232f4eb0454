//! Keys of `[camera_timing]`.

use super::{Default, Entry, Holds, Section};
use crate::bounds::{CAMERA_TIME, EXPOSURE};

/// What the camera needs between exposures.
pub(crate) static CAMERA_TIMING: Section = Section {
    header: "[camera_timing]",
    meaning: "What the camera needs between exposures. A pass that leaves it less, or exposes longer than it can, exceeds the limit `camera`.",
    keys: &[
        Entry {
            name: "dead_s",
            holds: Holds::Number(CAMERA_TIME),
            unit: "s",
            default: Default::Value("0"),
            meaning: "how long the shutter must be closed between two exposures at least: film advance or sensor read-out",
            example: "0.5",
        },
        Entry {
            name: "latency_s",
            holds: Holds::Number(CAMERA_TIME),
            unit: "s",
            default: Default::Value("0"),
            meaning: "from the trigger to the opening: in rows the column `shutter` opens this much earlier. The shutter is closed for at least as long",
            example: "0.05",
        },
        Entry {
            name: "longest_s",
            holds: Holds::Number(EXPOSURE),
            unit: "s",
            default: Default::None("no limit"),
            meaning: "the longest exposure that the camera makes",
            example: "900",
        },
    ],
    rules: &[],
    example: "[camera_timing]\ndead_s = 0.5\nlatency_s = 0.05\nlongest_s = 900\n",
};
