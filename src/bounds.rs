//! Every legal range of a number, in one table: constructors, messages and documentation read it.
//!
//! Invariant: a number that passed its bound is finite. The outer bounds are far beyond any stage; they keep products of
//! allowed numbers finite, so that nothing behind the edge needs to ask again.
//!
//! Limits: what depends on another number, such as a home within its travel, is checked where both are known.

pub(crate) mod budget;
mod code;
mod flaw;
mod range;
mod visible;

pub(crate) use budget::{Allowance, Budget, Effort, Excess, Meter};
pub(crate) use code::Code;
pub use flaw::Flaw;
pub(crate) use range::{Bound, Whole, count, counted, with_unit};
pub(crate) use visible::{is_hidden, visible, visible_but};

/// Declares ranges and counts, each with what it is the range of and why it is that; [`ranges`] lists them.
macro_rules! table {
    (
        numbers { $($number:ident = $bound:expr, $of:literal, $why:literal;)* }
        wholes { $($whole:ident = $range:expr, $of_whole:literal, $why_whole:literal;)* }
        counts { $($count:ident: $kind:ty = $most:expr, $of_count:literal, $why_count:literal;)* }
    ) => {
        $(#[doc = concat!("Range of ", $of, ": ", $why, ".")] pub(crate) const $number: Bound = $bound;)*
        $(#[doc = concat!("Range of ", $of_whole, ": ", $why_whole, ".")] pub(crate) const $whole: Whole = $range;)*
        $(#[doc = concat!("Most ", $of_count, ": ", $why_count, ".")] pub(crate) const $count: $kind = $most;)*

        /// Every range of the table: of what, the range, its unit, why. Counts come last.
        #[must_use]
        pub(crate) fn ranges() -> Vec<[String; 4]> {
            let row = |of: &str, range: String, unit: &str, why: &str| [of.to_owned(), range, unit.to_owned(), why.to_owned()];
            vec![
                $(row($of, Bound { unit: "", ..$number }.to_string(), $number.unit, $why),)*
                $(row($of_whole, $whole.to_string(), $whole.unit, $why_whole),)*
                $(row($of_count, format!("at most {}", $count), "", $why_count),)*
            ]
        }
    };
}

table! {
    numbers {
        POSITION = Bound::from("mm or deg", -1e9, 1e9), "positions, values of keys, ends of travel", "far beyond any stage";
        RATE_LIMIT = Bound::above("mm or deg per s, s2 or s3", 0.0, 1e12), "limits of velocity, acceleration and jerk",
            "far beyond any drive; a limit of 0 allows no motion";
        SAMPLE_TIME = Bound::from("s", -1e6, 1e9), "times of a recording", "thirty years";
        MARKER = Bound::from("mm", -1e7, 1e7), "positions of markers", "ten kilometres";
        WITHIN = Bound::from("mm or deg", 1e-6, 1e6), "distances within which a curve stays near its samples", "a nanometre; beyond any travel";
        STEP_RATE = Bound::above("steps/s", 0.0, 1e9), "step rates", "far beyond any driver";
        TRAVEL_PER_REV = Bound::from("mm or deg", 1e-6, 1e9), "travel per output revolution", "never negative: `reverse` gives the direction";
        GEAR_RATIO = Bound::from("motor revolutions per output revolution", 1e-6, 1e6), "gear ratios", "far beyond any gear, either way";
        BACKLASH = Bound::from("mm or deg", 0.0, 1e6), "backlash", "far beyond any gear";
        SCALE = Bound::from("", 1e-6, 1e6), "model size over real size", "far beyond any model, either way";
        INERTIA = Bound::from("kg m2", 0.0, 1e9), "moments of inertia", "far beyond any load";
        TORQUE = Bound::from("N m", 0.0, 1e9), "torques", "far beyond any motor";
        MOTOR_SPEED = Bound::from("rev/min", 0.0, 1e6), "motor speeds of the torque table", "far beyond any stepper";
        MASS = Bound::from("kg", 0.0, 1e9), "masses", "far beyond any load";
        FRICTION = Bound::from("N or N m", 0.0, 1e9), "friction of the load", "far beyond any load";
        EFFICIENCY = Bound::above("", 0.0, 1.0), "efficiency of the drive", "at 0 nothing would arrive; no drive returns more than it takes";
        FRAME = Bound::from("frames", -1e8, 1e8), "frame times of keys", "rounding there is at most 2^-27 of a frame";
        BLEND = Bound::from("frames", 0.0, 1e6), "half-widths of rounded corners", "as long as the longest shot";
        PERIOD = Bound::from("frames", 1.0, 1e8), "length of a beat or of a drift", "frames could not show less than one frame";
        PHASE = Bound::from("beats", -1e6, 1e6), "phase of a cycle", "a beat for each frame of the longest shot";
        BEAT = Bound::from("beats", 0.0, 1.0), "places within a beat", "a beat is 0 to 1 long";
        BEAT_RATE = Bound::from("", 0.0, 100.0), "factors on the speed of a beat", "a beat never runs backwards; faster is a shorter `period`";
        FACTOR = Bound::from("", -1e6, 1e6), "factors on amounts and copies", "far beyond any figure";
        DELAY = Bound::from("frames", -1e6, 1e6), "delay of a copy, a retime or a routine", "as long as the longest shot";
        EASE = Bound::above("frames", 0.0, 1e6), "half-widths of the rounded corners of a retime", "a sharp corner would change speed instantly";
        RETIME_RATE = Bound::from("", 0.0, 100.0), "choreography frames for one film frame of a retime", "time never runs backwards; faster is a slip";
        SMOOTH = Bound::above("frames", 0.0, 1e4), "frames over which an aim is smoothed", "longer than any shot; leave it out for none";
        PACE = Bound::from("s per frame", 1e-3, 86_400.0), "time for one frame",
            "1000 frames per second is the highest frame rate; no frame takes more than a day (common practice, no source)";
        SHUTTER = Bound::above("degrees", 0.0, 360.0), "shutter angles", "a disc opens for some of its turn and at most for all of it";
        SETTLE = Bound::from("s", 0.0, 86_400.0), "rest before a held exposure", "a day";
        LENGTH = Bound::from("mm", 1e-3, 1e7), "lengths that cannot be zero: arms, radii, rods, focal lengths", "a micrometre to ten kilometres";
        SPAN = Bound::from("mm", 0.0, 1e7), "diameters and distances that may be zero", "up to ten kilometres";
        WIRE = Bound::above("mm", 0.0, 1e3), "diameters of wires", "a metre";
        RADIUS = Bound::above("mm", 0.0, 1e7), "radii of envelopes and obstacles", "up to ten kilometres";
        COORDINATE = Bound::from("mm", -1e7, 1e7), "coordinates of points, guides, offsets and centres of mass", "up to ten kilometres";
        ANGLE = Bound::from("deg", -360.0, 360.0), "angles that describe the build of a mechanism", "a turn either way";
        DIRECTION = Bound::from("", -1e6, 1e6), "components of a direction", "only their ratios count";
        DIRECTION_LENGTH = Bound::from("", 1e-6, 2e6), "length of a direction", "rounding would decide where a shorter one points";
        AREA = Bound::from("mm2", 1e-6, 1e6), "cross sections of ropes and wires", "far beyond any rope, either way";
        MODULUS = Bound::from("N/mm2", 1.0, 1e7), "moduli of elasticity", "far beyond any rope, either way";
        TURNS_PER_LAYER = Bound::from("turns", 1.0, 1e4), "turns of rope side by side in one layer", "far beyond any drum";
        WOUND = Bound::from("turns", 0.0, TURNS_PER_LAYER.most * LAYERS.most as f64), "turns on a drum at height 0", "as many as its layers hold";
        ACTUATORS_APART = Bound::from("deg", 10.0, 180.0), "angle between two actuators of a swashplate",
            "closer ones cannot hold the plate (common practice, no source)";
        OFF_DEAD_CENTRE = Bound::from("", 1e-6, 1.0), "sine of the angle between a limb and its wire's guide at the neutral angle",
            "nearer to a dead centre a wire moves the limb by chance (common practice, no source)";
        ROW_RATE = Bound::above("rows/s", 0.0, 1e6), "rows for each second of stage time", "a row for each microsecond";
        TOLERANCE = Bound::from("steps or px", 0.0, 1e9), "tolerances of a comparison", "more than any axis is off";
        REACTION = Bound::from("s", 0.0, 10.0), "time from a fault to the start of the stop", "a person who is looking away takes no longer (common practice, no source)";
        SWING_LENGTH = Bound::from("mm", 1.0, 1e6), "lengths of pendulums", "a millimetre to a kilometre";
        LENGTH_PER_UNIT = Bound::from("mm per unit", -1e6, 1e6), "change of a pendulum's length for each unit of a channel", "far beyond any hoist";
        SWING_DAMPING = Bound::from("", 0.0, 0.2), "damping of a swing, as a share of critical", "what hangs in air has less (common practice, no source)";
        SWING_PERIOD = Bound::from("s", 0.05, 100.0), "periods of modes", "a pendulum of half a millimetre to one of two kilometres";
        RESONANCE = Bound::from("full steps/s", 0.0, 1e9), "speeds at which a motor resonates", "far beyond any stepper";
        HUNG_MASS = Bound::above("kg", 0.0, 1e6), "masses of hung figures", "far beyond any figure; at 0 no wire carries anything";
        LEAST_TENSION = Bound::from("", 0.0, 0.33), "shares of the weight that a wire must carry", "three wires cannot carry more than a third each";
        BREAKING_LOAD = Bound::above("N", 0.0, 1e9), "breaking loads of wires", "far beyond any wire";
        DESIGN_FACTOR = Bound::from("", 1.0, 100.0), "design factors", "below 1 the wire would be meant to break";
        PIXEL_ASPECT = Bound::from("", 0.1, 10.0), "width over height of a pixel", "far beyond any camera, either way";
        DISTORTION = Bound::from("", -100.0, 100.0), "coefficients of a distortion", "far beyond any lens";
        F_NUMBER = Bound::from("", 0.1, 1e4), "f-numbers", "from beyond any lens to a pinhole";
        CHANGE = Bound::from("s", 0.0, 86_400.0), "changes before a pass", "a day";
        CAMERA_TIME = Bound::from("s", 0.0, 3_600.0), "times that a camera needs between exposures", "an hour";
        EXPOSURE = Bound::above("s", 0.0, 86_400.0), "exposures that a meter asks for", "a day";
        BAND = Bound::from("", 0.01, 100.0), "extinction of a band beside that of all light", "far beyond any air";
        FILTER_FACTOR = Bound::from("", 1.0, 1e6), "factors of filters", "a filter never makes an exposure shorter; twenty stops are a million";
        RECIPROCITY = Bound::from("", 1.0, 3.0), "exponents of film above 1 s", "films have 1.26 to 1.43 (Ilford's tables)";
        VISIBILITY = Bound::from("m", 0.1, 1e6), "visibilities at full size", "from smoke that hides a hand to beyond the clearest air (common practice, no source)";
        WEDGE = Bound::from("stops", -10.0, 10.0), "exposures of a wedge beside that of its pass", "a thousandth to a thousand times as long";
        WARNING = Bound::from("s", 0.0, 3_600.0), "warnings before a program", "an hour";
        STOPS = Bound::from("stops", 0.0, 10.0), "light that a lens loses, in stops", "a thousandth is left of it";
    }
    wholes {
        FULL_STEPS = Whole::from("steps/rev", 1, 100_000), "full steps per motor revolution", "far beyond any stepper";
        MICROSTEPS = Whole::from("", 1, 4096), "microsteps of one full step", "far beyond any driver (common practice, no source)";
        OPENINGS = Whole::from("", 1, 100_000), "openings of a gobo", "far beyond any gobo";
        LAYERS = Whole::from("", 1, 64), "layers of rope on a drum", "far beyond any drum";
        PIXELS = Whole::from("pixels", 1, 1_000_000), "sides of a picture", "far beyond any camera";
        SEED = Whole::from("", 0, i64::MAX), "seeds of a drift", "any number that TOML can hold";
        FRAME_NUMBER = Whole::from("frames", -100_000_000, 100_000_000), "photographed frames", "the range of frame times of keys";
    }
    counts {
        MOST_NAME_LETTERS: usize = 64, "letters of a name", "a name heads a column and names a file";
        MOST_AXES: usize = 4096, "axes of a stage, groups, copies, retimes, routines", "far beyond any stage";
        MOST_DRIVEN: usize = 8, "channels or axes of one mechanism", "six move a rigid body every way it can";
        MOST_JOINTS: usize = 64, "joints of a chain", "far beyond any figure";
        MOST_LIMBS: usize = 64, "limbs of a figure", "far beyond any figure";
        MOST_WIRES: usize = 256, "wires of a group", "four for each limb";
        MOST_PULLS: usize = 1000, "pulls of a focus", "three a second for five minutes";
        MOST_POINTS: usize = 1000, "points of the table of a mechanism", "far beyond what can be measured on a ring";
        MOST_ENVELOPES: usize = 1000, "envelopes of a group", "far beyond any figure: each is compared with each of another figure";
        MOST_MODES: usize = 16, "modes of a swing", "far beyond what can be measured";
        MOST_SHAPED_MODES: usize = 4, "further modes of a swing that moves are split for", "a move is split in 32 then";
        MOST_BANDS: usize = 16, "bands of resonance of a motor", "far beyond what can be measured";
        MOST_PASSES: usize = 64, "passes of a shot", "far beyond any pass list";
        MOST_WEDGE: usize = 64, "exposures of a wedge", "far beyond any test strip";
        MOST_KEYS: usize = 1_000_000, "keys of one track, rows of a key file", "one for each frame of the longest shot";
        MOST_RETIME_KEYS: usize = 10_000, "keys of one retime", "far beyond any director's notes";
        MOST_RETIMED: usize = 5_000_000, "keys of retimes x retimes of a group, over all groups", "finding where they meet takes a second";
        MOST_RETIMES: usize = 16, "retimes of one group", "each is a step of every evaluation";
        MOST_LAYERS: usize = 10_000, "layers of one channel, through copies of copies", "far beyond any choreography";
        MOST_LAYERS_TOGETHER: usize = 1_000_000, "layers of all channels together, each counted on every channel it drives", "what 50 megabytes hold";
        MOST_KEYS_TOGETHER: usize = 10_000_000, "keys of all tracks together", "what a gigabyte holds";
        MOST_FRAMES: u64 = 1_000_000, "frames of a shot", "eleven and a half hours at 24 frames per second";
        MOST_KNOTS: usize = 2_000_000, "knots of the layers of one channel", "two for each frame of the longest shot";
        MOST_FRAMES_PER_SECOND: u32 = 1000, "frames per second of a frame rate", "the quickest pace (common practice, no source)";
        MOST_RATE_DECIMALS: usize = 6, "decimals of a frame rate", "its numerator then fits 32 bits";
        MOST_ROWS: f64 = 1e12, "rows of one table", "31 years at 1000 rows per second";
        MOST_MARKERS: usize = 1000, "markers of a recording", "far beyond any figure";
        MOST_READINGS: usize = 10_000, "readings of one axis", "60 targets, 80 times from either side";
        MOST_READING_BYTES: u64 = 4 * 1024 * 1024, "bytes of a measurement file", "10,000 rows of 400 bytes";
        MOST_STUDIED: usize = 40_000_000, "complete rows x coordinates^2 of a recording", "five minutes of twelve markers at 100 rows per second";
        MOST_BYTES: u64 = 256 * 1024 * 1024, "bytes of an input file", "it is held in memory";
        MOST_TOML_BYTES: usize = 16 * 1024 * 1024, "bytes of a TOML file", "a parsed document takes many times the memory of its file";
        MOST_CSV_BYTES: usize = 64 * 1024 * 1024, "bytes of a key file", "its keys are held in memory";
        MOST_MANIFEST_BYTES: u64 = 64 * 1024 * 1024, "bytes of a manifest", "far beyond that of any stage";
        MOST_LINE_BYTES: usize = 1 << 20, "bytes of a line of a log", "4096 axes with numbers of 25 digits are a tenth of it";
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nan_and_infinity_are_in_no_range() {
        for bound in [POSITION, RATE_LIMIT, EFFICIENCY, PACE, DIRECTION_LENGTH, TOLERANCE] {
            for x in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 1e308] {
                assert!(bound.check("x", x).is_err(), "{bound} {x}");
            }
        }
    }

    #[test]
    fn every_range_says_of_what_and_why_once() {
        let mut seen = std::collections::BTreeSet::new();
        for [of, range, _, why] in ranges() {
            assert!(!of.is_empty() && !range.is_empty() && !why.is_empty() && seen.insert(of.clone()), "{of}");
        }
    }
}
