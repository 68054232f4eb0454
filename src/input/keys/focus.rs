//! Keys of `[[focus]]`.

use super::{Default, Entry, Holds, Section};
use crate::bounds::FRAME;

/// A focus that follows.
pub(crate) static FOCUS: Section = Section {
    header: "[[focus]]",
    meaning: "Keeps targets in focus. It drives one distance channel; nothing else may drive it. The value is the depth of the target's origin in front of the entrance pupil, \
              along the optical axis, plus `film_plane` of the camera's lens. The speed of the focus ring is checked like that of any axis.",
    keys: &[
        Entry {
            name: "camera",
            holds: Holds::Text,
            unit: "",
            default: Default::Must,
            meaning: "a group with a lens that has `film_plane`",
            example: "\"camera\"",
        },
        Entry {
            name: "channel",
            holds: Holds::Text,
            unit: "",
            default: Default::Must,
            meaning: "the distance channel of the camera's group, in mm: an axis of its own, or the only channel of a mechanism, mostly a `table`",
            example: "\"focus_distance\"",
        },
        Entry {
            name: "pulls",
            holds: Holds::NumberAndName(["frame", "target"], FRAME),
            unit: "frames",
            default: Default::Must,
            meaning: "`[[frame, target], ...]` with rising frames: the target is a group with joints, a limb as `GROUP.LIMB`, or a name under `[point]`. From one row to the \
                      next the focus follows the target where both rows name it, and is pulled from one to the other where they differ; 1 / distance is then mixed with \
                      u^3 (10 - 15 u + 6 u^2). Before the first row and after the last that target is followed. Frames are choreography frames of the camera's group",
            example: "[[1, \"heron_a\"], [60, \"heron_a\"], [84, \"heron_b\"]]",
        },
    ],
    rules: &[],
    example: r#"[[focus]]
camera = "camera"
channel = "focus_distance"
pulls = [[1, "heron_a"], [60, "heron_a"], [84, "heron_b"]]
"#,
};
