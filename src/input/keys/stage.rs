//! Keys of the stage file: the stage, its motors, groups and axes.

use super::body::{JOINT, KEEP_OUT, OBSTACLE, POINT, RAIL};
use super::camera_timing::CAMERA_TIMING;
use super::hang::HANG;
use super::lens::LENS;
use super::limb::{ENVELOPE, LIMB, ROD, WIRE};
use super::machine::{DRUM, LIMB_WIRE, SWASHPLATE};
use super::measured::MEASURED;
use super::swing::SWING;
use super::{Default, Entry, FORMAT, Holds, NAME, Rule, Section};
use crate::bounds;
use crate::input::choices::UNITS;

/// The top of the stage file.
pub(crate) static STAGE: Section = Section {
    header: "",
    meaning: "Space is right-handed, y up, in mm; angles in degrees, turning right-handed about their axis. The name of a group, axis or pass is a lower-case \
              letter, then lower-case letters, digits and `_`; at most 64 characters. An axis has the full name `group.axis`; inside its own group's tables `axis` is enough. An unknown key is an error.",
    keys: &[
        FORMAT,
        Entry {
            name: "name",
            holds: Holds::Text,
            unit: "",
            default: Default::Must,
            meaning: "display name of the stage: letters, digits, marks, spaces, punctuation and symbols",
            example: "\"Reed stage\"",
        },
        Entry {
            name: "scale",
            holds: Holds::Number(bounds::SCALE),
            unit: "",
            default: Default::Value("1"),
            meaning: "model size / real size",
            example: "0.25",
        },
        Entry {
            name: "reaction",
            holds: Holds::Number(bounds::REACTION),
            unit: "s",
            default: Default::Value("0.2"),
            meaning: "from a fault to the start of the stop: every axis must be able to stop within what is left of its travel, and before the next carriage on its rail",
            example: "0.2",
        },
        Entry {
            name: "camera_timing",
            holds: Holds::One(&CAMERA_TIMING),
            unit: "",
            default: Default::None("no limits"),
            meaning: "what the camera needs between exposures",
            example: "",
        },
        Entry {
            name: "motor",
            holds: Holds::Named(&MOTOR),
            unit: "",
            default: Default::None("no motor"),
            meaning: "motors, each under a name",
            example: "",
        },
        Entry {
            name: "group",
            holds: Holds::Many(&GROUP),
            unit: "",
            default: Default::Must,
            meaning: "groups of axes: a camera, a figure, a light",
            example: "",
        },
        Entry {
            name: "clearance",
            holds: Holds::Number(bounds::SPAN),
            unit: "mm",
            default: Default::Value("0"),
            meaning: "required distance between proxies and wires of two groups, and from them to obstacles and boxes",
            example: "80",
        },
        Entry {
            name: "point",
            holds: Holds::Points(POINT),
            unit: "mm",
            default: Default::None("none"),
            meaning: "fixed places of the stage by name, `[x, y, z]` each: the end of a wire, or what a camera is aimed at",
            example: "{ reeds = [1800, 60, 1200] }",
        },
        Entry {
            name: "obstacle",
            holds: Holds::Many(&OBSTACLE),
            unit: "",
            default: Default::None("none"),
            meaning: "fixed obstacles",
            example: "",
        },
        Entry {
            name: "keep_out",
            holds: Holds::Many(&KEEP_OUT),
            unit: "",
            default: Default::None("none"),
            meaning: "boxes that bodies must stay out of",
            example: "",
        },
    ],
    rules: &[],
    example: "format = 1\nname = \"Reed stage\"\nscale = 0.25\nclearance = 80\n",
};

/// A motor.
pub(crate) static MOTOR: Section = Section {
    header: "[motor.NAME]",
    meaning: "From the maker's data sheet. The torque check needs `rotor_inertia`, `torque` and the axis's `load`; without them it is left out. Of `torque` the first \
              speed is 0, speeds rise, torque never rises.",
    keys: &[
        Entry {
            name: "full_steps_per_rev",
            holds: Holds::Whole(bounds::FULL_STEPS.least, bounds::FULL_STEPS.most),
            unit: "steps",
            default: Default::Must,
            meaning: "full steps per motor revolution",
            example: "200",
        },
        Entry {
            name: "rotor_inertia",
            holds: Holds::Number(bounds::INERTIA),
            unit: "kg m2",
            default: Default::None("not known"),
            meaning: "moment of inertia of the rotor",
            example: "5.4e-6",
        },
        Entry {
            name: "holding_torque",
            holds: Holds::Number(bounds::TORQUE),
            unit: "N m",
            default: Default::None("not known"),
            meaning: "torque at standstill",
            example: "0.44",
        },
        Entry {
            name: "torque",
            holds: Holds::Rows(&[("rev/min", bounds::MOTOR_SPEED), ("N m", bounds::TORQUE)]),
            unit: "rev/min, N m",
            default: Default::None("not known"),
            meaning: "pull-out torque by speed",
            example: "[[0, 0.40], [300, 0.37], [600, 0.30], [1200, 0.18]]",
        },
        Entry {
            name: "resonance",
            holds: Holds::Rows(&[("from, full steps/s", bounds::RESONANCE), ("to, full steps/s", bounds::RESONANCE)]),
            unit: "full steps/s",
            default: Default::None("not known"),
            meaning: "bands of speed to stay out of during exposures; a note gives the time inside",
            example: "[[60, 110]]",
        },
    ],
    rules: &[],
    example: "[motor.frame42]\nfull_steps_per_rev = 200\nrotor_inertia = 5.4e-6\nholding_torque = 0.44\ntorque = [[0, 0.40], [300, 0.37], [600, 0.30], [1200, 0.18]]\n",
};

/// A group.
pub(crate) static GROUP: Section = Section {
    header: "[[group]]",
    meaning: "Keys written in this group override those inherited through `like`: an axis key by key (`load` as a whole); mechanisms, joints, lens, limbs, rods, \
              wires, envelopes, rail, swing and hang each kind as a whole. The last groups of the example further below inherit from `heron_a`.",
    keys: &[
        Entry { name: "name", holds: NAME, unit: "", default: Default::Must, meaning: "its name", example: "\"heron_a\"" },
        Entry {
            name: "like",
            holds: Holds::Text,
            unit: "",
            default: Default::None("none"),
            meaning: "another group, whose axes, mechanisms and body tables this group inherits",
            example: "\"heron_a\"",
        },
        Entry { name: "axis", holds: Holds::Many(&AXIS), unit: "", default: Default::MustUnlessLike, meaning: "its axes", example: "" },
        Entry {
            name: "mechanism",
            holds: Holds::Kinds(&[("swashplate", &SWASHPLATE), ("limb_wire", &LIMB_WIRE), ("drum", &DRUM), ("table", &MEASURED)]),
            unit: "",
            default: Default::None("none"),
            meaning: "what turns channels into axes",
            example: "",
        },
        Entry {
            name: "joint",
            holds: Holds::Many(&JOINT),
            unit: "",
            default: Default::None("none"),
            meaning: "the chain that carries its body",
            example: "",
        },
        Entry {
            name: "limb",
            holds: Holds::Many(&LIMB),
            unit: "",
            default: Default::None("none"),
            meaning: "parts of its body that turn",
            example: "",
        },
        Entry {
            name: "wire",
            holds: Holds::Many(&WIRE),
            unit: "",
            default: Default::None("none"),
            meaning: "wires that hold the model up",
            example: "",
        },
        Entry {
            name: "lens",
            holds: Holds::One(&LENS),
            unit: "",
            default: Default::None("none"),
            meaning: "makes the group a camera",
            example: "",
        },
        Entry {
            name: "rod",
            holds: Holds::Many(&ROD),
            unit: "",
            default: Default::None("none"),
            meaning: "supports to be painted out",
            example: "",
        },
        Entry {
            name: "envelope",
            holds: Holds::Many(&ENVELOPE),
            unit: "",
            default: Default::None("none"),
            meaning: "proxies of the body, for clearance",
            example: "",
        },
        Entry {
            name: "rail",
            holds: Holds::One(&RAIL),
            unit: "",
            default: Default::None("none"),
            meaning: "its place on a shared rail",
            example: "",
        },
        Entry {
            name: "swing",
            holds: Holds::One(&SWING),
            unit: "",
            default: Default::None("not computed"),
            meaning: "the figure as a pendulum",
            example: "",
        },
        Entry {
            name: "hang",
            holds: Holds::One(&HANG),
            unit: "",
            default: Default::None("not computed"),
            meaning: "the figure on three wires",
            example: "",
        },
    ],
    rules: &[],
    example: "[[group]]\nname = \"lamp\"\n",
};

/// An axis.
pub(crate) static AXIS: Section = Section {
    header: "[[group.axis]]",
    meaning: "One motor. Steps = round((position - home) x full_steps_per_rev x microsteps x gear_ratio / travel_per_rev), to the nearest, ties to even; negated where \
              `reverse`. Units are those of the axis, mm or deg.",
    keys: &[
        Entry { name: "name", holds: NAME, unit: "", default: Default::Must, meaning: "its name", example: "\"track\"" },
        Entry {
            name: "unit",
            holds: Holds::Choice(|| UNITS.iter().map(|(name, _)| *name).collect()),
            unit: "",
            default: Default::MustUnlessLike,
            meaning: "`\"mm\"` for an axis that slides, `\"deg\"` for one that turns",
            example: "\"mm\"",
        },
        Entry {
            name: "travel",
            holds: Holds::Numbers(&[bounds::POSITION, bounds::POSITION]),
            unit: "unit",
            default: Default::MustUnlessLike,
            meaning: "soft limits, `[lower, upper]`",
            example: "[-6000, 6000]",
        },
        Entry {
            name: "home",
            holds: Holds::Number(bounds::POSITION),
            unit: "unit",
            default: Default::Value("0"),
            meaning: "position of step 0; within the travel",
            example: "0",
        },
        Entry {
            name: "max_velocity",
            holds: Holds::Number(bounds::RATE_LIMIT),
            unit: "unit/s",
            default: Default::MustUnlessLike,
            meaning: "limit of velocity",
            example: "25",
        },
        Entry {
            name: "max_acceleration",
            holds: Holds::Number(bounds::RATE_LIMIT),
            unit: "unit/s2",
            default: Default::MustUnlessLike,
            meaning: "limit of acceleration",
            example: "12",
        },
        Entry {
            name: "max_jerk",
            holds: Holds::Number(bounds::RATE_LIMIT),
            unit: "unit/s3",
            default: Default::MustUnlessLike,
            meaning: "limit of jerk",
            example: "24",
        },
        Entry {
            name: "motor",
            holds: Holds::Text,
            unit: "",
            default: Default::MustUnlessLike,
            meaning: "a `[motor.NAME]`",
            example: "\"frame42\"",
        },
        Entry {
            name: "microsteps",
            holds: Holds::Whole(bounds::MICROSTEPS.least, bounds::MICROSTEPS.most),
            unit: "",
            default: Default::Value("1"),
            meaning: "microsteps per full step",
            example: "16",
        },
        Entry {
            name: "gear_ratio",
            holds: Holds::Number(bounds::GEAR_RATIO),
            unit: "",
            default: Default::Value("1"),
            meaning: "motor revolutions per output revolution",
            example: "10",
        },
        Entry {
            name: "travel_per_rev",
            holds: Holds::Number(bounds::TRAVEL_PER_REV),
            unit: "unit",
            default: Default::None("360 on deg axes; required on mm axes"),
            meaning: "travel per output revolution",
            example: "60",
        },
        Entry {
            name: "reverse",
            holds: Holds::Flag,
            unit: "",
            default: Default::Value("false"),
            meaning: "true: positive travel counts negative steps",
            example: "true",
        },
        Entry {
            name: "max_step_rate",
            holds: Holds::Number(bounds::STEP_RATE),
            unit: "steps/s",
            default: Default::None("no limit"),
            meaning: "limit of the step rate",
            example: "20000",
        },
        Entry {
            name: "backlash",
            holds: Holds::Number(bounds::BACKLASH),
            unit: "unit",
            default: Default::None("not known"),
            meaning: "play on reversal",
            example: "0.02",
        },
        Entry {
            name: "load",
            holds: Holds::One(&LOAD),
            unit: "",
            default: Default::None("not known"),
            meaning: "the load that it moves",
            example: "{ mass = 60, friction = 30, vertical = false, efficiency = 0.85 }",
        },
        Entry {
            name: "brake",
            holds: Holds::Flag,
            unit: "",
            default: Default::None("not stated; of a load that hangs, a note asks for it"),
            meaning: "whether a brake holds the axis without power; a self-locking screw or worm is not a brake",
            example: "true",
        },
        Entry {
            name: "openings",
            holds: Holds::Whole(bounds::OPENINGS.least, bounds::OPENINGS.most),
            unit: "",
            default: Default::None("none"),
            meaning: "openings of a gobo around one turn, deg axes only; flicker is reported, with a warning above 0.5 openings per exposure",
            example: "9",
        },
    ],
    rules: &[Rule::NeededWith("travel_per_rev", "unit", "mm")],
    example: r#"[[group.axis]]
name = "track"
unit = "mm"
travel = [0, 6000]
max_velocity = 25
max_acceleration = 12
max_jerk = 24
motor = "frame42"
microsteps = 16
gear_ratio = 10
travel_per_rev = 60
max_step_rate = 20000
backlash = 0.02
load = { mass = 60, friction = 30, vertical = false, efficiency = 0.85 }

[[group.axis]]
name = "pan"
unit = "deg"
travel = [-170, 170]
max_velocity = 2
max_acceleration = 1.5
max_jerk = 3
motor = "frame42"
microsteps = 16
gear_ratio = 60
load = { inertia = 0.6, friction = 1.2, efficiency = 0.5 }

[[group.axis]]
name = "tilt"
unit = "deg"
travel = [-40, 60]
max_velocity = 2
max_acceleration = 1.5
max_jerk = 3
motor = "frame42"
microsteps = 16
gear_ratio = 60
"#,
};

/// What an axis moves.
pub(crate) static LOAD: Section = Section {
    header: "`load` of `[[group.axis]]`",
    meaning: "A table in braces after `load`: with `mass` on mm axes, with `inertia` on deg axes.",
    keys: &[
        Entry {
            name: "mass",
            holds: Holds::Number(bounds::MASS),
            unit: "kg",
            default: Default::None("required on mm axes"),
            meaning: "mass, mm axes only",
            example: "60",
        },
        Entry {
            name: "inertia",
            holds: Holds::Number(bounds::INERTIA),
            unit: "kg m2",
            default: Default::None("required on deg axes"),
            meaning: "moment of inertia about the axis, deg axes only",
            example: "0.6",
        },
        Entry {
            name: "friction",
            holds: Holds::Number(bounds::FRICTION),
            unit: "N or N m",
            default: Default::Value("0"),
            meaning: "force on mm axes, torque on deg axes, against the motion",
            example: "30",
        },
        Entry {
            name: "vertical",
            holds: Holds::Flag,
            unit: "",
            default: Default::Value("false"),
            meaning: "true: the motor carries the weight; mm axes only",
            example: "false",
        },
        Entry {
            name: "efficiency",
            holds: Holds::Number(bounds::EFFICIENCY),
            unit: "",
            default: Default::Value("1"),
            meaning: "of the drive between motor and load",
            example: "0.85",
        },
    ],
    rules: &[Rule::OneOf(&["mass", "inertia"])],
    example: "",
};
