//! Keys of `[[group.mechanism]]`, by kind.

use super::{Default, Entry, Holds, Rule, Section};
use crate::bounds::{self, ANGLE, AREA, COORDINATE, LAYERS, LENGTH, MODULUS, SPAN, TURNS_PER_LAYER, WOUND};
use crate::input::choices::{CARRIERS, KINDS};

pub(super) const KIND: Holds = Holds::Choice(|| KINDS.iter().map(|(name, _)| *name).collect());
pub(super) const AXIS: Entry =
    Entry { name: "axis", holds: Holds::Text, unit: "", default: Default::Must, meaning: "the axis it drives", example: "\"wing_wire\"" };
pub(super) const CHANNEL: Entry =
    Entry { name: "channel", holds: Holds::Text, unit: "", default: Default::Must, meaning: "name of its channel", example: "\"wing\"" };

/// A plate on three actuators.
pub(crate) static SWASHPLATE: Section = Section {
    header: "[[group.mechanism]] of kind \"swashplate\"",
    meaning: "A mechanism turns channels into axes. An axis that a mechanism drives is no longer a channel. The channels of the mechanism take its place; \
              their names must differ from those of all axes. A channel that nothing drives rests where its axes are at home. A swashplate turns heave \
              (mm), pitch and roll (deg) into three actuators (mm axes). Positive pitch raises the front, positive roll the left. With `rod_length` each \
              actuator moves one end of a rod or wire up and down; the other end is fixed on the plate. Where that end has swung in by d, the rod of \
              length L leans and spans only sqrt(L^2 - d^2) in height: an actuator below the plate stands higher by L - sqrt(L^2 - d^2), an actuator above \
              it lower.",
    keys: &[
        Entry { name: "kind", holds: KIND, unit: "", default: Default::Must, meaning: "what it is", example: "\"swashplate\"" },
        Entry {
            name: "axes",
            holds: Holds::Names(Some(3)),
            unit: "",
            default: Default::Must,
            meaning: "its three actuators",
            example: "[\"fore\", \"left\", \"right\"]",
        },
        Entry {
            name: "channels",
            holds: Holds::Names(Some(3)),
            unit: "",
            default: Default::Value("[\"heave\", \"pitch\", \"roll\"]"),
            meaning: "names for heave, pitch and roll",
            example: "[\"heave\", \"pitch\", \"roll\"]",
        },
        Entry {
            name: "radius",
            holds: Holds::Number(LENGTH),
            unit: "mm",
            default: Default::Must,
            meaning: "from the centre to the actuators",
            example: "90",
        },
        Entry {
            name: "azimuths",
            holds: Holds::Numbers(&[ANGLE, ANGLE, ANGLE]),
            unit: "deg",
            default: Default::Must,
            meaning: "directions of the actuators, clockwise from the front as seen from above; at least 10 deg apart",
            example: "[0, 240, 120]",
        },
        Entry {
            name: "rod_length",
            holds: Holds::Number(LENGTH),
            unit: "mm",
            default: Default::None("the actuators carry the plane"),
            meaning: "rods or wires between actuators and points fixed on the plate; exact",
            example: "600",
        },
        Entry {
            name: "carried_from",
            holds: Holds::Choice(|| CARRIERS.iter().map(|(name, _)| *name).collect()),
            unit: "",
            default: Default::Value("\"below\""),
            meaning: "`\"below\"`: the plate stands on rods; `\"above\"`: it hangs on wires, and the lean has the other sign",
            example: "\"above\"",
        },
    ],
    rules: &[Rule::NeededWith("rod_length", "carried_from", "above")],
    example: r#"[[group]]
name = "heron_a"

[[group.axis]]
name = "bridge"
unit = "mm"
travel = [0, 6000]
home = 1500
max_velocity = 6
max_acceleration = 0.25
max_jerk = 0.25
motor = "frame42"
microsteps = 10
gear_ratio = 20
travel_per_rev = 60

[[group.axis]]
name = "hoist_drum"
unit = "deg"
travel = [-400, 7200]
max_velocity = 6
max_acceleration = 1
max_jerk = 1
motor = "frame42"
gear_ratio = 60

[[group.axis]]
name = "fore"
unit = "mm"
travel = [-60, 60]
max_velocity = 0.8
max_acceleration = 0.4
max_jerk = 0.8
motor = "frame42"
microsteps = 8
travel_per_rev = 5

[[group.axis]]
name = "left"
unit = "mm"
travel = [-60, 60]
max_velocity = 0.8
max_acceleration = 0.4
max_jerk = 0.8
motor = "frame42"
microsteps = 8
travel_per_rev = 5

[[group.axis]]
name = "right"
unit = "mm"
travel = [-60, 60]
max_velocity = 0.8
max_acceleration = 0.4
max_jerk = 0.8
motor = "frame42"
microsteps = 8
travel_per_rev = 5

[[group.axis]]
name = "wing_wire"
unit = "mm"
travel = [-90, 65]
max_velocity = 5
max_acceleration = 2.5
max_jerk = 5
motor = "frame42"
microsteps = 8
travel_per_rev = 5

[[group.mechanism]]
kind = "swashplate"
axes = ["fore", "left", "right"]
channels = ["heave", "pitch", "roll"]
radius = 90
azimuths = [0, 240, 120]
rod_length = 600
carried_from = "above"
"#,
};

/// A wire that lifts a limb.
pub(crate) static LIMB_WIRE: Section = Section {
    header: "[[group.mechanism]] of kind \"limb_wire\"",
    meaning: "Turns the angle of a joint (deg) into wire paid out (mm axis). At 0 the limb points along `across`; positive angles raise it towards `up`; \
              the joint is the origin. The limb stays on one side of the line from joint to guide. Write all of `mass`, `centre_of_mass` and `inertia`, or \
              none. With them, a wire that the weight of its limb cannot keep taut exceeds a limit (`slack`).",
    keys: &[
        Entry { name: "kind", holds: KIND, unit: "", default: Default::Must, meaning: "what it is", example: "\"limb_wire\"" },
        AXIS,
        CHANNEL,
        Entry {
            name: "arm",
            holds: Holds::Number(LENGTH),
            unit: "mm",
            default: Default::Must,
            meaning: "from the joint to the wire's fixing point",
            example: "70",
        },
        Entry {
            name: "guide",
            holds: Holds::Numbers(&[COORDINATE, COORDINATE]),
            unit: "mm",
            default: Default::Must,
            meaning: "where the wire leaves its guide, `[across, up]`",
            example: "[20, 160]",
        },
        Entry {
            name: "neutral",
            holds: Holds::Number(ANGLE),
            unit: "deg",
            default: Default::Must,
            meaning: "angle at which the length of wire paid out is 0",
            example: "0",
        },
        Entry {
            name: "mass",
            holds: Holds::Number(bounds::MASS),
            unit: "kg",
            default: Default::None("not checked"),
            meaning: "mass of the limb",
            example: "0.06",
        },
        Entry {
            name: "centre_of_mass",
            holds: Holds::Number(COORDINATE),
            unit: "mm",
            default: Default::None("not checked"),
            meaning: "from the joint along the arm",
            example: "95",
        },
        Entry {
            name: "inertia",
            holds: Holds::Number(bounds::INERTIA),
            unit: "kg m2",
            default: Default::None("not checked"),
            meaning: "moment of inertia about the joint",
            example: "0.0008",
        },
    ],
    rules: &[Rule::AllOrNone(&["mass", "centre_of_mass", "inertia"])],
    example: r#"[[group.mechanism]]
kind = "limb_wire"
axis = "wing_wire"
channel = "wing"
arm = 70
guide = [20, 160]
neutral = 0
mass = 0.06
centre_of_mass = 95
inertia = 0.0008
"#,
};

/// A drum that winds rope.
pub(crate) static DRUM: Section = Section {
    header: "[[group.mechanism]] of kind \"drum\"",
    meaning: "Turns a height (mm) into the turn of a drum (deg axis); positive turns wind rope on and raise. Write all of `turns_per_layer`, `layers` and \
              `wound`, or none. A move that passes from one layer to the next is refused, because the drum's speed would jump. Write all of `rope_area`, \
              `rope_modulus`, `mass` and `rope_length`, or none. With them, the stretch of the rope is reported.",
    keys: &[
        Entry { name: "kind", holds: KIND, unit: "", default: Default::Must, meaning: "what it is", example: "\"drum\"" },
        Entry { example: "\"hoist_drum\"", ..AXIS },
        Entry { example: "\"hoist\"", ..CHANNEL },
        Entry {
            name: "radius",
            holds: Holds::Number(LENGTH),
            unit: "mm",
            default: Default::Must,
            meaning: "of the bare drum",
            example: "25",
        },
        Entry {
            name: "rope_diameter",
            holds: Holds::Number(SPAN),
            unit: "mm",
            default: Default::Value("0"),
            meaning: "of the rope",
            example: "1",
        },
        Entry {
            name: "turns_per_layer",
            holds: Holds::Number(TURNS_PER_LAYER),
            unit: "turns",
            default: Default::None("one endless layer"),
            meaning: "turns side by side",
            example: "30",
        },
        Entry {
            name: "layers",
            holds: Holds::Whole(LAYERS.least, LAYERS.most),
            unit: "",
            default: Default::None("one endless layer"),
            meaning: "layers of turns",
            example: "1",
        },
        Entry {
            name: "wound",
            holds: Holds::Number(WOUND),
            unit: "turns",
            default: Default::None("one endless layer"),
            meaning: "turns on the drum at height 0; no more than the layers hold",
            example: "3",
        },
        Entry {
            name: "rope_area",
            holds: Holds::Number(AREA),
            unit: "mm2",
            default: Default::None("not reported"),
            meaning: "cross section of the metal",
            example: "0.4",
        },
        Entry {
            name: "rope_modulus",
            holds: Holds::Number(MODULUS),
            unit: "N/mm2",
            default: Default::None("not reported"),
            meaning: "modulus of elasticity of the rope",
            example: "60000",
        },
        Entry {
            name: "mass",
            holds: Holds::Number(bounds::MASS),
            unit: "kg",
            default: Default::None("not reported"),
            meaning: "mass that hangs from the rope",
            example: "4",
        },
        Entry {
            name: "rope_length",
            holds: Holds::Number(LENGTH),
            unit: "mm",
            default: Default::None("not reported"),
            meaning: "rope paid out at height 0",
            example: "3000",
        },
    ],
    rules: &[
        Rule::AllOrNone(&["turns_per_layer", "layers", "wound"]),
        Rule::AllOrNone(&["rope_area", "rope_modulus", "mass", "rope_length"]),
    ],
    example: r#"[[group.mechanism]]
kind = "drum"
axis = "hoist_drum"
channel = "hoist"
radius = 25
rope_diameter = 1
turns_per_layer = 30
layers = 1
wound = 3
rope_area = 0.4
rope_modulus = 60000
mass = 4
rope_length = 3000
"#,
};
