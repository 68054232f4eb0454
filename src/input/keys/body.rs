//! Keys of bodies: joints and rail of a group; obstacles and boxes of the stage.

use super::{Default, Entry, Holds, NAME, Rule, Section};
use crate::bounds::{self, Bound, COORDINATE, DIRECTION, RADIUS, SPAN};

pub(super) const POINT: &[Bound] = &[COORDINATE, COORDINATE, COORDINATE];
pub(super) const TOWARDS: &[Bound] = &[DIRECTION, DIRECTION, DIRECTION];
pub(super) const FROM: Entry = Entry {
    name: "from",
    holds: Holds::Numbers(POINT),
    unit: "mm",
    default: Default::Must,
    meaning: "one end, `[x, y, z]`",
    example: "[30, 15, -35]",
};
pub(super) const TO: Entry = Entry {
    name: "to",
    holds: Holds::Numbers(POINT),
    unit: "mm",
    default: Default::None("a sphere"),
    meaning: "the other end",
    example: "[200, 0, 0]",
};
pub(super) const THICK: Entry = Entry {
    name: "radius",
    holds: Holds::Number(RADIUS),
    unit: "mm",
    default: Default::Must,
    meaning: "distance from the line between the ends",
    example: "60",
};
const ANY_NAME: Entry = Entry {
    name: "name",
    holds: Holds::Text,
    unit: "",
    default: Default::Must,
    meaning: "its display name: letters, digits, marks, spaces, punctuation and symbols",
    example: "\"reeds\"",
};

/// A joint.
pub(crate) static JOINT: Section = Section {
    header: "[[group.joint]]",
    meaning: "The chain from the stage's floor to the body, outwards. Each joint sits at its `offset` in the axes of the joint before it; then it slides or turns, and \
              carries what follows. With neither `slide` nor `turn` it is an offset alone.",
    keys: &[
        Entry {
            name: "slide",
            holds: Holds::Numbers(TOWARDS),
            unit: "",
            default: Default::None("it does not slide"),
            meaning: "direction in which it slides, `[x, y, z]`, of any length; takes a channel in mm",
            example: "[1, 0, 0]",
        },
        Entry {
            name: "turn",
            holds: Holds::Numbers(TOWARDS),
            unit: "",
            default: Default::None("it does not turn"),
            meaning: "axis about which it turns, `[x, y, z]`, of any length; takes a channel in deg",
            example: "[0, 1, 0]",
        },
        Entry {
            name: "channel",
            holds: Holds::Text,
            unit: "",
            default: Default::None("it stays at `rest`"),
            meaning: "what moves it",
            example: "\"track\"",
        },
        Entry {
            name: "rest",
            holds: Holds::Number(bounds::POSITION),
            unit: "mm or deg",
            default: Default::Value("0"),
            meaning: "added to the channel",
            example: "-2",
        },
        Entry {
            name: "offset",
            holds: Holds::Numbers(POINT),
            unit: "mm",
            default: Default::Value("[0, 0, 0]"),
            meaning: "from the joint before it, `[x, y, z]`",
            example: "[0, 800, 4000]",
        },
        Entry {
            name: "name",
            holds: NAME,
            unit: "",
            default: Default::None("none"),
            meaning: "the name of the place after it, for a wire's ends",
            example: "\"hook\"",
        },
    ],
    rules: &[Rule::AtMostOne(&["slide", "turn"]), Rule::OnlyBeside("channel", &["slide", "turn"])],
    example: r#"[[group.joint]]
name = "carriage"
slide = [1, 0, 0]
channel = "bridge"

[[group.joint]]
name = "hook"
slide = [0, 1, 0]
channel = "hoist"
offset = [0, 200, 0]

[[group.joint]]
slide = [0, 1, 0]
channel = "heave"

[[group.joint]]
turn = [0, 0, 1]
channel = "pitch"
rest = -2

[[group.joint]]
turn = [1, 0, 0]                  # positive to the left
channel = "roll"
"#,
};

/// A carriage's place on a rail.
pub(crate) static RAIL: Section = Section {
    header: "[group.rail]",
    meaning: "Carriages on one rail keep their order and their gap.",
    keys: &[
        Entry {
            name: "name",
            holds: NAME,
            unit: "",
            default: Default::Must,
            meaning: "name of the rail; groups that use the same name share it",
            example: "\"bridges\"",
        },
        Entry {
            name: "channel",
            holds: Holds::Text,
            unit: "",
            default: Default::Must,
            meaning: "position along the rail, a channel in mm",
            example: "\"bridge\"",
        },
        Entry {
            name: "reach",
            holds: Holds::Numbers(&[SPAN, SPAN]),
            unit: "mm",
            default: Default::Must,
            meaning: "from that position to the carriage's ends, `[below, above]`",
            example: "[120, 120]",
        },
        Entry {
            name: "gap",
            holds: Holds::Number(SPAN),
            unit: "mm",
            default: Default::Must,
            meaning: "required gap to the next carriage; of two neighbours the larger one applies",
            example: "300",
        },
    ],
    rules: &[],
    example: "[group.rail]\nname = \"bridges\"\nchannel = \"bridge\"\nreach = [120, 120]\ngap = 300\n",
};

/// A thing that stands still.
pub(crate) static OBSTACLE: Section = Section {
    header: "[[obstacle]]",
    meaning: "A fixed obstacle, in the stage's axes; written like an envelope.",
    keys: &[ANY_NAME, FROM, TO, THICK],
    rules: &[],
    example: r#"[[group]]
name = "gobo"

[[group.axis]]
name = "turn"
unit = "deg"
travel = [-1080, 1080]
openings = 9
max_velocity = 1.2
max_acceleration = 0.5
max_jerk = 0.8
motor = "frame42"
gear_ratio = 12

[[obstacle]]
name = "reeds"
from = [0, 60, 1200]
to = [6000, 60, 1200]
radius = 150
"#,
};

/// A box.
pub(crate) static KEEP_OUT: Section = Section {
    header: "[[keep_out]]",
    meaning: "A box along the stage's axes that bodies must stay out of.",
    keys: &[
        ANY_NAME,
        Entry {
            name: "least",
            holds: Holds::Numbers(POINT),
            unit: "mm",
            default: Default::Must,
            meaning: "corner of the least coordinates, `[x, y, z]`",
            example: "[-900, 0, 2500]",
        },
        Entry {
            name: "greatest",
            holds: Holds::Numbers(POINT),
            unit: "mm",
            default: Default::Must,
            meaning: "corner of the greatest; greater in x, y and z",
            example: "[-500, 2400, 2900]",
        },
    ],
    rules: &[],
    example: "[[keep_out]]\nname = \"lamp stand\"\nleast = [-900, 0, 2500]\ngreatest = [-500, 2400, 2900]\n",
};
