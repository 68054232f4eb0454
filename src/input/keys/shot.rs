//! Keys of the shot file.

use super::focus::FOCUS;
use super::group_tables::{AIM, COPY, RETIME, ROUTINE};
use super::haze::HAZE;
use super::light::{DAY, DEPTH, LIGHT};
use super::pass::PASS;
use super::{Default, Entry, FORMAT, Holds, Rule, Section};
use crate::bounds::{self, Bound};
use crate::shot::Shape;
use crate::shot::recording::ENDS;

/// A rate as `time` reads it: whole, decimal or ratio, not zero.
const RATE: Holds = Holds::Shaped(
    "^([0-9]+|[0-9]+\\.[0-9]{1,6}|[0-9]+/[0-9]+)$",
    "a whole number, a decimal or a ratio, such as \"24\", \"23.976\" (= 24000/1001), \"29.97\" (drop-frame timecode) or \"30000/1001\"",
);
const TIMECODE: Holds = Holds::Shaped(
    "^([01][0-9]|2[0-3]):[0-5][0-9]:[0-5][0-9][:;][0-9]{2,4}$",
    "hours, minutes, seconds and frames, \"hh:mm:ss:ff\"; \";\" before the frames allowed where labels are dropped",
);
const FRAME_VALUE: &[(&str, Bound)] = &[("frame", bounds::FRAME), ("value", bounds::POSITION)];
const FRAME_FACTOR: &[(&str, Bound)] = &[("frame", bounds::FRAME), ("factor", bounds::FACTOR)];
const FRAME_RATE: &[(&str, Bound)] = &[("frame", bounds::FRAME), ("factor", bounds::BEAT_RATE)];
const BEAT_VALUE: &[(&str, Bound)] = &[("beat", bounds::BEAT), ("value", bounds::POSITION)];
const CHANNEL: Entry = Entry {
    name: "channel",
    holds: Holds::Text,
    unit: "",
    default: Default::Must,
    meaning: "what it drives, `group.channel`",
    example: "\"heron_a.wing\"",
};

const TRACKS: Entry = Entry {
    name: "track",
    holds: Holds::Many(&TRACK),
    unit: "",
    default: Default::None("none"),
    meaning: "curves through keys",
    example: "",
};
const CYCLES: Entry = Entry {
    name: "cycle",
    holds: Holds::Many(&CYCLE),
    unit: "",
    default: Default::None("none"),
    meaning: "beats that repeat",
    example: "",
};
const DRIFTS: Entry =
    Entry { name: "drift", holds: Holds::Many(&DRIFT), unit: "", default: Default::None("none"), meaning: "slow wander", example: "" };

/// The top of the shot file.
pub(crate) static SHOT: Section = Section {
    header: "",
    meaning: "Tracks, cycles and drifts on one channel add. A channel that nothing drives stays where its axes are at home.",
    keys: &[
        FORMAT,
        Entry {
            name: "name",
            holds: Holds::Text,
            unit: "",
            default: Default::Must,
            meaning: "display name of the shot: letters, digits, marks, spaces, punctuation and symbols",
            example: "\"Over the reeds\"",
        },
        Entry {
            name: "stage",
            holds: Holds::Text,
            unit: "",
            default: Default::Must,
            meaning: "path of the stage file from this file's folder, `/` between folders",
            example: "\"stage.toml\"",
        },
        Entry {
            name: "frame_rate",
            holds: RATE,
            unit: "frames/s",
            default: Default::Must,
            meaning: "frame rate of the finished film, at most 1000 frames/s",
            example: "\"24\"",
        },
        Entry {
            name: "frames",
            holds: Holds::TwoWholes(bounds::FRAME_NUMBER.least, bounds::FRAME_NUMBER.most),
            unit: "frames",
            default: Default::Must,
            meaning: "first and last photographed frame; at most a million frames",
            example: "[1, 96]",
        },
        Entry {
            name: "timecode_start",
            holds: TIMECODE,
            unit: "",
            default: Default::Value("\"00:00:00:00\""),
            meaning: "timecode of the first frame",
            example: "\"10:00:00:00\"",
        },
        Entry {
            name: "cycle_start",
            holds: Holds::Number(bounds::FRAME),
            unit: "frames",
            default: Default::None("the first frame of `frames`"),
            meaning: "choreography frame from which cycles and drifts count; if it is written, changing `frames` alone changes no step count",
            example: "1",
        },
        TRACKS,
        CYCLES,
        DRIFTS,
        Entry {
            name: "copy",
            holds: Holds::Many(&COPY),
            unit: "",
            default: Default::None("none"),
            meaning: "one group driven like another",
            example: "",
        },
        Entry {
            name: "routine",
            holds: Holds::Many(&ROUTINE),
            unit: "",
            default: Default::None("none"),
            meaning: "choreography from files of their own",
            example: "",
        },
        Entry {
            name: "retime",
            holds: Holds::Many(&RETIME),
            unit: "",
            default: Default::None("none"),
            meaning: "when the choreography is on film: later, held, slower or faster",
            example: "",
        },
        Entry {
            name: "aim",
            holds: Holds::Many(&AIM),
            unit: "",
            default: Default::None("none"),
            meaning: "points held in the middle of the picture",
            example: "",
        },
        Entry {
            name: "focus",
            holds: Holds::Many(&FOCUS),
            unit: "",
            default: Default::None("none"),
            meaning: "distance channels that keep targets in focus and pull between them",
            example: "",
        },
        Entry {
            name: "depth",
            holds: Holds::One(&DEPTH),
            unit: "",
            default: Default::None("nothing but the defaults of its keys"),
            meaning: "what must be in focus",
            example: "",
        },
        Entry {
            name: "light",
            holds: Holds::Named(&LIGHT),
            unit: "",
            default: Default::None("no light: no exposure is computed"),
            meaning: "what the meter said, each light under a name",
            example: "",
        },
        Entry {
            name: "day",
            holds: Holds::One(&DAY),
            unit: "",
            default: Default::None("times count from the start of the first change"),
            meaning: "when the first pass begins",
            example: "",
        },
        Entry {
            name: "haze",
            holds: Holds::One(&HAZE),
            unit: "",
            default: Default::None("none"),
            meaning: "haze to look through",
            example: "",
        },
        Entry {
            name: "pass",
            holds: Holds::Many(&PASS),
            unit: "",
            default: Default::Must,
            meaning: "the runs of the shot, 1 to 64",
            example: "",
        },
    ],
    rules: &[],
    example: "format = 1\nname = \"Over the reeds\"\nstage = \"stage.toml\"\nframe_rate = \"24\"\nframes = [1, 96]\ntimecode_start = \"10:00:00:00\"\ncycle_start = 1\n",
};

/// The top of a routine's file.
pub(crate) static ROUTINE_FILE: Section = Section {
    header: "",
    meaning: "The choreography of one figure, for any group that has its channels: tracks, cycles and drifts as in the shot file, and no other table. Channels, and columns of key files, \
              have no group: `hoist`, not `heron_a.hoist`. Paths lead from this file's folder.",
    keys: &[
        Entry { default: Default::Value("1"), ..FORMAT },
        Entry {
            name: "cycle_start",
            holds: Holds::Number(bounds::FRAME),
            unit: "frames",
            default: Default::Value("1"),
            meaning: "frame of this file from which its cycles and drifts count",
            example: "1",
        },
        TRACKS,
        CYCLES,
        DRIFTS,
    ],
    rules: &[],
    example: "format = 1\ncycle_start = 1\n\n[[track]]\nchannel = \"hoist\"\nkeys = [[1, 0], [60, 160]]\n\n[[cycle]]\nchannel = \"wing\"\nperiod = 14\nkeys = [[0.0, -18], [0.35, 38], [0.6, 10]]\namount = [[1, 0], [20, 1]]\n",
};

/// A track.
pub(crate) static TRACK: Section = Section {
    header: "[[track]]",
    meaning: "Keys on frames, and the curve through them. Frames rise; fractions are allowed. `minimum_jerk`: quintic spline, C4, at rest at its ends. \
              `monotone`: quintics that stay in the range of their two keys, C2; equal keys hold; at rest at its ends. `natural_cubic`: natural cubic \
              spline, C2; it continues in a straight line, so it is still moving at the cut. `stop_at_keys`: stops at every key. `linear`, `cosine`, \
              `catmull_rom`: straight lines, half cosines or a Catmull-Rom spline with rounded corners; they hold beyond their keys. \
              With `samples` the track is a recording: the curve stays near every sample instead of passing through keys.",
    keys: &[
        Entry {
            default: Default::None("all columns of a key file; required beside a list of keys"),
            meaning: "what it drives, `group.channel`; with a key file it picks one column",
            example: "\"heron_a.bridge\"",
            ..CHANNEL
        },
        Entry {
            name: "shape",
            holds: Holds::Choice(|| Shape::ALL.iter().map(|(name, _)| *name).collect()),
            unit: "",
            default: Default::Value("\"minimum_jerk\""),
            meaning: "how the curve runs through its keys",
            example: "\"monotone\"",
        },
        Entry {
            name: "blend",
            holds: Holds::Number(bounds::BLEND),
            unit: "frames",
            default: Default::None("1, but at most half the distance to the nearest key"),
            meaning: "half-width of the rounded corners, for `linear`, `cosine` and `catmull_rom` only; `linear` and `catmull_rom` need more than 0",
            example: "3",
        },
        Entry {
            name: "keys",
            holds: Holds::RowsOrFile(FRAME_VALUE),
            unit: "frames, unit",
            default: Default::None("required without `samples`"),
            meaning: "`[[frame, value], ...]`; or the name of a key file",
            example: "[[1, 2200], [40, 2500], [96, 3400]]",
        },
        Entry {
            name: "samples",
            holds: Holds::Text,
            unit: "",
            default: Default::None("none"),
            meaning: "name of a CSV file with a recording: columns `frame` (or `time_s`, 0 at `cycle_start`) and channels. The curve has few knots, and the least jerk that they allow; \
                      without any one inner knot some sample would be missed by more than `within`",
            example: "\"hand.csv\"",
        },
        Entry {
            name: "within",
            holds: Holds::Number(bounds::WITHIN),
            unit: "unit",
            default: Default::None("required with `samples`"),
            meaning: "how far the curve may miss a sample",
            example: "0.5",
        },
        Entry {
            name: "ends",
            holds: Holds::Choice(|| ENDS.iter().map(|(name, _)| *name).collect()),
            unit: "",
            default: Default::Value("\"straight\""),
            meaning: "outside the samples: `straight` goes on at the end speed, `rest` starts and stops at rest; with `samples` only",
            example: "\"rest\"",
        },
    ],
    rules: &[
        Rule::OnlyWith("blend", "shape", &["linear", "cosine", "catmull_rom"]),
        Rule::NeededWithList("channel", "keys"),
        Rule::OneOf(&["keys", "samples"]),
        Rule::AtMostOne(&["shape", "samples"]),
        Rule::AtMostOne(&["blend", "samples"]),
        Rule::AllOrNone(&["samples", "within"]),
        Rule::OnlyBeside("ends", &["samples"]),
    ],
    example: r#"[[track]]
channel = "heron_a.bridge"
shape = "monotone"
keys = [[1, 2200], [40, 2500], [96, 3400]]

[[track]]
channel = "heron_a.pitch"
shape = "cosine"
blend = 3
keys = [[10, 0], [40, 7], [90, 2]]

[[track]]
keys = "heron_a.csv"

[[track]]
channel = "camera.track"
keys = [[1, 1700], [96, 2600]]

[[track]]
channel = "heron_a.hoist"
samples = "hand.csv"
within = 0.5
ends = "rest"
"#,
};

/// A cycle.
pub(crate) static CYCLE: Section = Section {
    header: "[[cycle]]",
    meaning: "A beat that repeats, for wings, legs and tails. Its keys make a periodic cubic spline, at beats from 0 to below 1.",
    keys: &[
        CHANNEL,
        Entry {
            name: "period",
            holds: Holds::Number(bounds::PERIOD),
            unit: "frames",
            default: Default::Must,
            meaning: "length of one beat",
            example: "14",
        },
        Entry {
            name: "phase",
            holds: Holds::Number(bounds::PHASE),
            unit: "beats",
            default: Default::Value("0"),
            meaning: "how far into the beat it starts",
            example: "0.25",
        },
        Entry {
            name: "keys",
            holds: Holds::Rows(BEAT_VALUE),
            unit: "beats, unit",
            default: Default::Must,
            meaning: "`[[beat, value], ...]`",
            example: "[[0.0, -18], [0.35, 38], [0.6, 10]]",
        },
        Entry {
            name: "amount",
            holds: Holds::Rows(FRAME_FACTOR),
            unit: "frames, factor",
            default: Default::None("1 throughout"),
            meaning: "`[[frame, factor], ...]`, multiplies the values; a `monotone` curve",
            example: "[[1, 0], [20, 1]]",
        },
        Entry {
            name: "rate",
            holds: Holds::Rows(FRAME_RATE),
            unit: "frames, factor",
            default: Default::None("1 throughout"),
            meaning: "`[[frame, factor], ...]`, makes the beat faster or slower; a `monotone` curve",
            example: "[[1, 1.1], [80, 0.9]]",
        },
    ],
    rules: &[],
    example: r#"[[cycle]]
channel = "heron_a.wing"
period = 14
phase = 0.25
keys = [[0.0, -18], [0.35, 38], [0.6, 10]]
amount = [[1, 0], [20, 1]]
rate = [[1, 1.1], [80, 0.9]]
"#,
};

/// A drift.
pub(crate) static DRIFT: Section = Section {
    header: "[[drift]]",
    meaning: "A slow wander, the same on every machine.",
    keys: &[
        Entry { example: "\"gobo.turn\"", ..CHANNEL },
        Entry {
            name: "seed",
            holds: Holds::Whole(bounds::SEED.least, bounds::SEED.most),
            unit: "",
            default: Default::Must,
            meaning: "selects the wander; any number",
            example: "11",
        },
        Entry {
            name: "amplitude",
            holds: Holds::Number(bounds::POSITION),
            unit: "unit",
            default: Default::Must,
            meaning: "largest value, never exceeded",
            example: "8",
        },
        Entry {
            name: "period",
            holds: Holds::Number(bounds::PERIOD),
            unit: "frames",
            default: Default::Must,
            meaning: "typical period",
            example: "48",
        },
    ],
    rules: &[],
    example: "[[drift]]\nchannel = \"gobo.turn\"\nseed = 11\namplitude = 8\nperiod = 48\n",
};
