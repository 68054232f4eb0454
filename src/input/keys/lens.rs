//! Keys of a camera's lens.

use super::{Default, Entry, Holds, Section};
use crate::bounds::{self, COORDINATE, F_NUMBER, LENGTH, PIXEL_ASPECT, PIXELS, STOPS};

const COEFFICIENT: Entry = Entry {
    name: "k1",
    holds: Holds::Number(bounds::DISTORTION),
    unit: "",
    default: Default::Value("0"),
    meaning: "radial, of r^2",
    example: "-0.02",
};

/// Its distortion.
pub(crate) static DISTORTION: Section = Section {
    header: "[group.lens.distortion]",
    meaning: "Brown's model, as in the calibration chapter of the OpenCV manual, on x = X/Z to the right and y = Y/Z down. A model that folds within the picture is refused.",
    keys: &[
        COEFFICIENT,
        Entry { name: "k2", meaning: "radial, of r^4", example: "0.004", ..COEFFICIENT },
        Entry { name: "k3", meaning: "radial, of r^6", example: "0", ..COEFFICIENT },
        Entry { name: "p1", meaning: "tangential: p1 (r^2 + 2 y^2) is added to y", example: "0", ..COEFFICIENT },
        Entry { name: "p2", meaning: "tangential: p2 (r^2 + 2 x^2) is added to x", example: "0", ..COEFFICIENT },
    ],
    rules: &[],
    example: "[group.lens.distortion]\nk1 = -0.02\nk2 = 0.004\n",
};

/// A lens.
pub(crate) static LENS: Section = Section {
    header: "[group.lens]",
    meaning: "Makes the group a camera. Its end of the chain is the entrance pupil; it looks along its own -z, y up.",
    keys: &[
        Entry {
            name: "focal_length",
            holds: Holds::Number(LENGTH),
            unit: "mm",
            default: Default::Must,
            meaning: "of the lens, as engraved; in effect at every focus where `breathing` is left out",
            example: "24",
        },
        Entry {
            name: "film_back",
            holds: Holds::Numbers(&[LENGTH, LENGTH]),
            unit: "mm",
            default: Default::Must,
            meaning: "`[width, height]` of the picture",
            example: "[24.9, 18.7]",
        },
        Entry {
            name: "pixels",
            holds: Holds::TwoWholes(PIXELS.least, PIXELS.most),
            unit: "",
            default: Default::Must,
            meaning: "`[width, height]` of the picture",
            example: "[4096, 3072]",
        },
        Entry {
            name: "principal_point",
            holds: Holds::Numbers(&[COORDINATE, COORDINATE]),
            unit: "mm",
            default: Default::Value("[0, 0]"),
            meaning: "from the middle of the picture to where the optical axis meets it, on the film back: `[right, down]` in the picture as it is seen",
            example: "[0.1, -0.2]",
        },
        Entry {
            name: "pixel_aspect",
            holds: Holds::Number(PIXEL_ASPECT),
            unit: "",
            default: Default::Value("1"),
            meaning: "width over height of a pixel, as the camera's papers say; `film_back` and `pixels` alone decide where points fall, and a note says where they do not \
                      fit this",
            example: "1",
        },
        Entry {
            name: "distortion",
            holds: Holds::One(&DISTORTION),
            unit: "",
            default: Default::None("no distortion"),
            meaning: "Brown's model",
            example: "",
        },
        Entry {
            name: "breathing",
            holds: Holds::Rows(&[("focus distance, mm", LENGTH), ("focal length, mm", LENGTH)]),
            unit: "",
            default: Default::None("the lens does not breathe"),
            meaning: "focal length in effect by focus distance, two rows or more, distances rising; straight over 1/distance between them, the ends' beyond. The distance is \
                      the value of the group's own channel `focus_distance` (mm), and counts from the film plane; without that channel the table is not used, and a note says so",
            example: "[[600, 24.6], [3000, 24.1], [1e6, 24]]",
        },
        Entry {
            name: "film_plane",
            holds: Holds::Number(COORDINATE),
            unit: "mm",
            default: Default::None("not known"),
            meaning: "from the entrance pupil back to the film plane",
            example: "110",
        },
        Entry {
            name: "circle_of_confusion",
            holds: Holds::Number(LENGTH),
            unit: "mm",
            default: Default::None("not known"),
            meaning: "largest disc on the film that still counts as sharp; kept, nothing is computed from it yet",
            example: "0.025",
        },
        Entry {
            name: "f_numbers",
            holds: Holds::Numbers(&[F_NUMBER, F_NUMBER]),
            unit: "",
            default: Default::None("not known"),
            meaning: "`[least, greatest]` stop of the lens; a pass's `stop` lies between",
            example: "[4, 32]",
        },
        Entry {
            name: "t_minus_f_stops",
            holds: Holds::Number(STOPS),
            unit: "stops",
            default: Default::Value("0"),
            meaning: "light that the glass loses: T-stop less f-stop; kept, nothing is computed from it yet",
            example: "0.3",
        },
    ],
    rules: &[],
    example: r#"[[group]]
name = "camera"

[[group.axis]]
name = "track"
unit = "mm"
travel = [0, 6000]
max_velocity = 25
max_acceleration = 12
max_jerk = 24
motor = "frame42"
travel_per_rev = 60

[[group.axis]]
name = "pan"
unit = "deg"
travel = [-170, 170]
max_velocity = 2
max_acceleration = 1.5
max_jerk = 3
motor = "frame42"

[[group.axis]]
name = "tilt"
unit = "deg"
travel = [-40, 60]
max_velocity = 2
max_acceleration = 1.5
max_jerk = 3
motor = "frame42"

[[group.axis]]                    # a focus ring whose scale is even in mm; others take a mechanism of kind "table"
name = "focus_distance"
unit = "mm"
travel = [600, 9000]
home = 3000
max_velocity = 100
max_acceleration = 100
max_jerk = 500
motor = "frame42"
travel_per_rev = 500

[[group.joint]]
slide = [1, 0, 0]
channel = "track"
offset = [0, 800, 4000]

[[group.joint]]
turn = [0, 1, 0]                  # positive to the left
channel = "pan"

[[group.joint]]
turn = [1, 0, 0]                  # positive upwards
channel = "tilt"

[[group.joint]]
offset = [0, 0, -90]              # from the axes to the entrance pupil

[group.lens]
focal_length = 24
film_back = [24.9, 18.7]
pixels = [4096, 3072]
film_plane = 110
"#,
};
