//! Keys of what a figure is made of: limbs, rods, wires and proxies.

use super::body::{FROM, POINT, THICK, TO, TOWARDS};
use super::{Default, Entry, Holds, NAME, Section};
use crate::bounds::WIRE as DIAMETER;
use crate::input::choices;

const ON: Entry = Entry {
    name: "limb",
    holds: Holds::Text,
    unit: "",
    default: Default::None("the body"),
    meaning: "the limb of the group that carries it; its ends are in the axes of that limb",
    example: "\"wing\"",
};

/// A limb.
pub(crate) static LIMB: Section = Section {
    header: "[[group.limb]]",
    meaning: "A part of the figure that turns about a pivot: wing, leg, head. Files call it `GROUP.LIMB`. Where its channel is 0 its axes are those of its parent. A `limb_wire` that drives the \
              same channel turns the same limb, which then lies along `across` at 0.",
    keys: &[
        Entry {
            name: "name",
            holds: NAME,
            unit: "",
            default: Default::Must,
            meaning: "its name within the group; not `body`",
            example: "\"wing\"",
        },
        Entry {
            name: "parent",
            holds: Holds::Text,
            unit: "",
            default: Default::None("the body"),
            meaning: "the limb that carries it",
            example: "\"wing\"",
        },
        Entry {
            name: "pivot",
            holds: Holds::Numbers(POINT),
            unit: "mm",
            default: Default::Must,
            meaning: "where it turns, `[x, y, z]` in the parent",
            example: "[10, 15, -30]",
        },
        Entry {
            name: "turn",
            holds: Holds::Numbers(TOWARDS),
            unit: "",
            default: Default::Must,
            meaning: "axis about which it turns, `[x, y, z]`, of any length; positive is right-handed",
            example: "[1, 0, 0]",
        },
        Entry {
            name: "channel",
            holds: Holds::Text,
            unit: "",
            default: Default::Must,
            meaning: "what turns it, a channel in deg",
            example: "\"wing\"",
        },
    ],
    rules: &[],
    example: r#"[[group.limb]]
name = "wing"
pivot = [10, 15, -30]
turn = [1, 0, 0]                  # positive lifts what lies along -z
channel = "wing"

[[group.limb]]
name = "wing_tip"
parent = "wing"
pivot = [0, 0, -90]
turn = [1, 0, 0]
channel = "wing"                  # bends as the wing beats
"#,
};

/// A rod.
pub(crate) static ROD: Section = Section {
    header: "[[group.rod]]",
    meaning: "A support to be painted out, in the axes at the end of the group's chain, or of a limb.",
    keys: &[FROM, Entry { name: "to", default: Default::Must, example: "[30, 175, -55]", ..TO }, ON],
    rules: &[],
    example: "[[group]]\nname = \"heron_b\"\nlike = \"heron_a\"\n\n[[group.axis]]\nname = \"bridge\"\nhome = 700\n\n[[group.rod]]\nfrom = [30, 15, -35]\nto = [30, 175, -55]\n",
};

/// A wire.
pub(crate) static WIRE: Section = Section {
    header: "[[group.wire]]",
    meaning: "A straight wire that holds the model up, to be painted out. Clearance counts it with its diameter.",
    keys: &[
        Entry {
            name: "from",
            holds: Holds::Text,
            unit: "",
            default: Default::Must,
            meaning: "the place of one end: a joint or a limb of the group, `body`, or a point of the stage",
            example: "\"hook\"",
        },
        Entry {
            name: "to",
            holds: Holds::Text,
            unit: "",
            default: Default::Must,
            meaning: "the place of the other end",
            example: "\"body\"",
        },
        Entry {
            name: "at",
            holds: Holds::Lists(2, POINT),
            unit: "mm",
            default: Default::Value("[[0, 0, 0], [0, 0, 0]]"),
            meaning: "the two ends, each `[x, y, z]` in the axes of its place",
            example: "[[75, 500, 0], [75, 0, 0]]",
        },
        Entry {
            name: "diameter",
            holds: Holds::Number(DIAMETER),
            unit: "mm",
            default: Default::Must,
            meaning: "of the wire",
            example: "0.4",
        },
    ],
    rules: &[],
    example: "[[group.wire]]\nfrom = \"hook\"\nto = \"body\"\nat = [[75, 500, 0], [75, 0, 0]]\ndiameter = 0.4\n",
};

/// An envelope.
pub(crate) static ENVELOPE: Section = Section {
    header: "[[group.envelope]]",
    meaning: "A proxy of the body or of a limb, in the axes at the end of the group's chain or in those of the limb: all points within `radius` of the line from `from` to `to`, or a sphere if `to` \
              is left out. A group may have several. Between two groups `clearance` is required. Within one group 0 mm is required, and parts at most two joints apart are not checked.",
    keys: &[
        FROM,
        TO,
        THICK,
        ON,
        Entry {
            name: "use",
            holds: Holds::Choices(|| choices::USES.iter().map(|(name, _)| *name).collect()),
            unit: "",
            default: Default::Value("[\"clearance\", \"picture\"]"),
            meaning: "what the proxy is for: the clearance check, pictures and CG, or both",
            example: "[\"clearance\"]",
        },
    ],
    rules: &[],
    example: "[[group.envelope]]\nfrom = [-210, 0, 0]\nto = [200, 0, 0]\nradius = 60\n\n[[group.envelope]]\nfrom = [10, 15, 0]\nradius = 250\n",
};
