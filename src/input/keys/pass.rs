//! Keys of a pass.

use super::{Default, Entry, Holds, NAME, Section};
use crate::bounds;
use crate::input::choices::{EXPOSURES, INTERVALS, SHAPINGS};

/// A pass.
pub(crate) static PASS: Section = Section {
    header: "[[pass]]",
    meaning: "One run of the shot. All passes share one move and differ in their clock.",
    keys: &[
        Entry { name: "name", holds: NAME, unit: "", default: Default::Must, meaning: "its name", example: "\"picture\"" },
        Entry {
            name: "exposure",
            holds: Holds::Choice(|| EXPOSURES.iter().map(|(name, _)| *name).collect()),
            unit: "",
            default: Default::Must,
            meaning: "`moving`: axes move during the exposure; `held`: they stop, settle, expose and move on",
            example: "\"held\"",
        },
        Entry {
            name: "seconds_per_frame",
            holds: Holds::Number(bounds::PACE),
            unit: "s",
            default: Default::Must,
            meaning: "time on the stage for one frame",
            example: "14",
        },
        Entry {
            name: "shutter",
            holds: Holds::Number(bounds::SHUTTER),
            unit: "deg",
            default: Default::Must,
            meaning: "shutter angle",
            example: "180",
        },
        Entry {
            name: "settle",
            holds: Holds::Number(bounds::SETTLE),
            unit: "s",
            default: Default::Value("0"),
            meaning: "held passes: rest before each exposure; moving passes: rest between the move to start and the run-up, until the swing of the move has died down; the run-up begins on a whole second",
            example: "1.5",
        },
        Entry {
            name: "interval",
            holds: Holds::Choice(|| INTERVALS.iter().map(|(name, _)| *name).collect()),
            unit: "",
            default: Default::Value("\"frame\""),
            meaning: "held passes: `frame`: each frame takes `seconds_per_frame`; `shortest`: each takes its own move, the larger of `settle` and the rest that every figure with a limit of swing needs until the shutter has closed, and its exposure",
            example: "\"shortest\"",
        },
        Entry {
            name: "every",
            holds: Holds::Whole(2, bounds::MOST_FRAMES.cast_signed()),
            unit: "frames",
            default: Default::None("every frame"),
            meaning: "a test pass that exposes one frame in so many of the same move: the first frame, then every Nth. Counts on these frames are those of the whole pass. A moving pass runs as ever with the shutter closed in between; a held one stands only where it exposes, so it is shorter. At most the number of frames",
            example: "8",
        },
        Entry {
            name: "wedge",
            holds: Holds::One(&WEDGE),
            unit: "",
            default: Default::None("each frame is exposed once"),
            meaning: "a test pass that exposes one frame several times without moving. Held passes only, without `every`; the frame takes what its exposures take, as with `interval = \"shortest\"`",
            example: "{ frame = 48, stops = [-1, -0.5, 0, 0.5, 1] }",
        },
        Entry {
            name: "shaping",
            holds: Holds::Choice(|| SHAPINGS.iter().map(|(name, _)| *name).collect()),
            unit: "",
            default: Default::Value("\"none\""),
            meaning: "`zero_vibration`: moves between held exposures, to the start and home are split in two, half a period of the group's swing apart: the second cancels the swing of the first. Photographed motion of a moving pass is never split",
            example: "\"zero_vibration\"",
        },
        Entry {
            name: "stop",
            holds: Holds::Number(bounds::F_NUMBER),
            unit: "",
            default: Default::None("not known"),
            meaning: "f-number of the lens in this pass, within the lens's `f_numbers`; written to camera.csv and scene.usda",
            example: "22",
        },
        Entry {
            name: "light",
            holds: Holds::Text,
            unit: "",
            default: Default::None("the only light"),
            meaning: "its light, a name under `[light.NAME]`; required where there are several",
            example: "\"key\"",
        },
        Entry {
            name: "change_s",
            holds: Holds::Number(bounds::CHANGE),
            unit: "s",
            default: Default::Value("0"),
            meaning: "what people need before this pass: lamps, filters, figures",
            example: "600",
        },
        Entry {
            name: "filters",
            holds: Holds::Text,
            unit: "",
            default: Default::None("none"),
            meaning: "shown in the list of passes",
            example: "\"UV 403\"",
        },
        Entry {
            name: "notes",
            holds: Holds::Text,
            unit: "",
            default: Default::None("none"),
            meaning: "shown in the list of passes",
            example: "\"rods in front of black\"",
        },
        Entry {
            name: "park",
            holds: Holds::Names(None),
            unit: "",
            default: Default::None("none"),
            meaning: "groups that stay at home; all others must register",
            example: "[\"heron_a\", \"heron_b\"]",
        },
    ],
    rules: &[],
    example: r#"[[pass]]
name = "picture"
exposure = "moving"
seconds_per_frame = 12
shutter = 180

[[pass]]
name = "empty"
exposure = "held"
seconds_per_frame = 14
shutter = 180
settle = 1.5
park = ["heron_a", "heron_b"]
"#,
};

/// A wedge.
pub(crate) static WEDGE: Section = Section {
    header: "wedge",
    meaning: "One frame of a pass exposed several times without moving.",
    keys: &[
        Entry {
            name: "frame",
            holds: Holds::Whole(bounds::FRAME_NUMBER.least, bounds::FRAME_NUMBER.most),
            unit: "frames",
            default: Default::Must,
            meaning: "the frame, one of those photographed",
            example: "48",
        },
        Entry {
            name: "stops",
            holds: Holds::UpTo(bounds::MOST_WEDGE, bounds::WEDGE),
            unit: "stops",
            default: Default::Must,
            meaning: "its exposures in order, each by the stops that it is from the pass's own: at 1 the shutter is open twice as long. Time alone is changed; the reciprocity of film is not counted. In between the shutter is closed for the rest of `seconds_per_frame`",
            example: "[-1, -0.5, 0, 0.5, 1]",
        },
    ],
    rules: &[],
    example: r#"[[pass]]
name = "strip"
exposure = "held"
seconds_per_frame = 14
shutter = 180
settle = 1.5
wedge = { frame = 48, stops = [-1, -0.5, 0, 0.5, 1] }
"#,
};
