//! Keys of the shot file's tables that act on whole groups: copies, retimes, aims.

use super::{Default, Entry, Holds, Rule, Section};
use crate::bounds::{self, Bound};

const FRAME_POINT: &[(&str, Bound)] =
    &[("frame", bounds::FRAME), ("x", bounds::POSITION), ("y", bounds::POSITION), ("z", bounds::POSITION)];
const FILM_CHOREOGRAPHY: &[(&str, Bound)] = &[("film frame", bounds::FRAME), ("choreography frame", bounds::FRAME)];

const DELAY: Entry = Entry {
    name: "delay",
    holds: Holds::Number(bounds::DELAY),
    unit: "frames",
    default: Default::Value("0"),
    meaning: "how much later; negative for earlier",
    example: "9",
};
const SCALE: Entry = Entry {
    name: "scale",
    holds: Holds::Factors(bounds::FACTOR),
    unit: "",
    default: Default::None("1 for every channel"),
    meaning: "factors by channel, channels without their group",
    example: "{ roll = -1, wing = 0.9 }",
};

/// A copy.
pub(crate) static COPY: Section = Section {
    header: "[[copy]]",
    meaning: "Drives one group like another. `to` must have every channel that is driven in `from`; layers on `to` itself are added.",
    keys: &[
        Entry { name: "from", holds: Holds::Text, unit: "", default: Default::Must, meaning: "a group", example: "\"heron_a\"" },
        Entry { name: "to", holds: Holds::Text, unit: "", default: Default::Must, meaning: "another group", example: "\"heron_b\"" },
        DELAY,
        SCALE,
    ],
    rules: &[],
    example: "[[copy]]\nfrom = \"heron_a\"\nto = \"heron_b\"\ndelay = 9\nscale = { roll = -1, wing = 0.9 }\n\n[[track]]\nchannel = \"heron_b.bridge\"\nkeys = [[1, -1200]]\n",
};

/// A call of a routine.
pub(crate) static ROUTINE: Section = Section {
    header: "[[routine]]",
    meaning: "Uses a figure's choreography that is kept in a file of its own, for any group with these channels. Its layers add to those of the shot; the group's retime applies as well.",
    keys: &[
        Entry {
            name: "file",
            holds: Holds::Text,
            unit: "",
            default: Default::Must,
            meaning: "path of the routine's file from this file's folder",
            example: "\"take_off.toml\"",
        },
        Entry {
            name: "group",
            holds: Holds::Text,
            unit: "",
            default: Default::Must,
            meaning: "the group it drives",
            example: "\"heron_a\"",
        },
        Entry { meaning: "how much later it runs; negative for earlier", example: "34", ..DELAY },
        Entry { example: "{ roll = -1 }", ..SCALE },
    ],
    rules: &[],
    example: "[[routine]]\nfile = \"take_off.toml\"\ngroup = \"heron_a\"\ndelay = 34\nscale = { roll = -1 }\n",
};

/// A retime.
pub(crate) static RETIME: Section = Section {
    header: "[[retime]]",
    meaning: "Says which moment of the choreography is on film. Everything written at a frame - keys, cycles, drifts, copies, `offset_keys` of an aim - is choreography; \
              `frames` and passes are film. Between two keys time runs straight, and straight on outside them; inner corners are rounded. Two equal choreography frames hold: exactly from \
              the first key + `ease` to the second - `ease`. Several retimes of one group apply in the order of the file, the first nearest to film. A copy runs at its own group's choreography time.",
    keys: &[
        Entry {
            name: "groups",
            holds: Holds::Names(None),
            unit: "",
            default: Default::None("every group"),
            meaning: "the groups that are retimed",
            example: "[\"heron_b\"]",
        },
        Entry {
            name: "keys",
            holds: Holds::Rows(FILM_CHOREOGRAPHY),
            unit: "frames",
            default: Default::None("none"),
            meaning: "`[[film frame, choreography frame], ...]`, two or more; the second never decreases and runs at most 100 times as fast",
            example: "[[1, 1], [50, 50], [62, 50], [108, 96]]",
        },
        Entry {
            name: "ease",
            holds: Holds::Number(bounds::EASE),
            unit: "frames",
            default: Default::None("4, or half the distance to a neighbour where that is less"),
            meaning: "on each side of an inner key: how far its corner is rounded; at most half the distance to a neighbour",
            example: "4",
        },
        Entry {
            default: Default::None("none"),
            meaning: "in place of `keys`: how much later the choreography runs; negative for earlier",
            example: "12",
            ..DELAY
        },
    ],
    rules: &[Rule::OneOf(&["keys", "delay"]), Rule::OnlyBeside("ease", &["keys"])],
    example: "[[retime]]\ngroups = [\"heron_b\"]\nkeys = [[1, 1], [50, 50], [62, 50], [108, 96]]\nease = 4\n\n[[retime]]\ndelay = 12\n",
};

/// An aim.
pub(crate) static AIM: Section = Section {
    header: "[[aim]]",
    meaning: "Holds a point in the middle of a camera's picture. It drives two channels that turn the camera; nothing else may drive them.",
    keys: &[
        Entry {
            name: "camera",
            holds: Holds::Text,
            unit: "",
            default: Default::Must,
            meaning: "a group with a lens",
            example: "\"camera\"",
        },
        Entry {
            name: "channels",
            holds: Holds::Names(Some(2)),
            unit: "",
            default: Default::Must,
            meaning: "two axes of the camera's own chain that turn it",
            example: "[\"pan\", \"tilt\"]",
        },
        Entry {
            name: "at",
            holds: Holds::Text,
            unit: "",
            default: Default::None("the stage's origin"),
            meaning: "what carries the point: a group with joints, a limb as `GROUP.LIMB`, or a name under `[point]`",
            example: "\"heron_a\"",
        },
        Entry {
            name: "offset",
            holds: Holds::Numbers(&[bounds::POSITION, bounds::POSITION, bounds::POSITION]),
            unit: "mm",
            default: Default::Value("[0, 0, 0]"),
            meaning: "`[x, y, z]` from there, in the body's axes",
            example: "[-500, 100, 0]",
        },
        Entry {
            name: "offset_keys",
            holds: Holds::Rows(FRAME_POINT),
            unit: "frames, mm",
            default: Default::None("none"),
            meaning: "`[[frame, x, y, z], ...]` in place of `offset`; each coordinate is a `monotone` curve over the choreography frames of the camera's group",
            example: "[[1, -500, 100, 0], [96, -600, 0, 0]]",
        },
        Entry {
            name: "smooth",
            holds: Holds::Number(bounds::SMOOTH),
            unit: "frames",
            default: Default::None("not smoothed"),
            meaning: "averages where the target is over this many frames, so that the camera does not follow each beat: 17 choreography times of the target, k x smooth/16 from now with weight (9-|k|)/81, k = -8 to 8",
            example: "24",
        },
        Entry {
            name: "without",
            holds: Holds::Names(None),
            unit: "",
            default: Default::None("none"),
            meaning: "channels of the target's group, without its name, that count as at home",
            example: "[\"heave\"]",
        },
    ],
    rules: &[Rule::AtMostOne(&["offset", "offset_keys"]), Rule::OnlyBeside("smooth", &["at"]), Rule::OnlyBeside("without", &["at"])],
    example: "[[aim]]\ncamera = \"camera\"\nchannels = [\"pan\", \"tilt\"]\nat = \"heron_a\"\noffset_keys = [[1, -500, 100, 0], [96, -600, 0, 0]]\nsmooth = 24\nwithout = [\"heave\"]\n",
};
