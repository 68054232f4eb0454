//! Wrong input: every mistake has a code, a place, what was found, what is allowed and what to do.
//!
//! Each row of the tables plants one mistake in files that are right and demands exactly that diagnostic there.

use std::cell::RefCell;

use movewright::input::{self, Unreadable};

use crate::inside::wrong_files::{Files, SHOT, STAGE, check_text, told};

type Row = (&'static str, &'static str, &'static str, &'static str, u32, u32, &'static str);

/// Each row: file, what is replaced, by what; code, line, column, and a phrase of the rendered text.
fn check(rows: &[Row]) {
    for (name, from, to, code, line, column, phrase) in rows {
        let rejection = Files::right().with_change(name, from, to).parse().expect_err(&format!("{from:?} -> {to:?} was taken"));
        let text = rejection.to_string();
        assert_eq!(told(&rejection), [(*code, (*name).to_owned(), *line, *column)], "{from:?} -> {to:?}\n{text}");
        assert!(text.contains(phrase), "{phrase:?} is not in\n{text}");
        check_text(&rejection);
    }
}

#[test]
fn the_files_are_right_before_a_mistake_is_planted() {
    if let Err(rejection) = Files::right().load() {
        panic!("{rejection}");
    }
}

#[test]
fn mistakes_of_the_stage_file() {
    let s = "stage.toml";
    check(&[
        (s, "format = 1\n", "", "missing-key", 1, 1, "`format` is missing"),
        (s, "format = 1", "format = 2", "unknown-format", 1, 10, "allowed: format = 1"),
        (s, "name = \"Marsh stage\"\n", "", "missing-key", 1, 1, "found: no `name`"),
        (s, "name = \"Marsh stage\"", "nam = 3\nname = \"Marsh\"", "unknown-key", 2, 1, "help: remove it: `name` is already in the table"),
        (s, "name = \"Marsh stage\"", "name = \"Marsh\"\nscale = 0", "out-of-range", 3, 9, "`scale` is out of range"),
        (s, "name = \"Marsh stage\"", "name = \"Marsh\"\nscale = nan", "out-of-range", 3, 9, "found: NaN"),
        (s, "name = \"Marsh stage\"", "name = \"Marsh\"\nscale = 2020-01-01", "wrong-type", 3, 9, "found: a date or time"),
        (s, "full_steps_per_rev = 200", "full_steps_per_rev = 200.5", "wrong-type", 4, 22, "motor frame57: `full_steps_per_rev`"),
        (s, "full_steps_per_rev = 200", "full_steps_per_rev = 0", "out-of-range", 4, 22, "allowed: 1 to 100000"),
        (s, "[300, 1.6]", "[0, 1.6]", "invalid-torque-table", 5, 21, "strictly rising speeds"),
        (s, "[300, 1.6]", "[300]", "wrong-type", 5, 21, "allowed: [speed in rev/min, torque in N m], two numbers"),
        (s, "[[0, 1.7], [300, 1.6]]", "[]", "invalid-torque-table", 5, 10, "the torque table is empty"),
        (s, "name = \"camera\"", "name = \"Camera\"", "invalid-name", 7, 8, "help: write `camera`"),
        (s, "name = \"track\"", "name = 7", "wrong-type", 9, 8, "allowed: text in quotes"),
        (s, "unit = \"mm\"", "unit = \"cm\"", "unknown-choice", 10, 8, "help: write unit = \"mm\""),
        (s, "unit = \"mm\"\n", "", "missing-key", 8, 1, "axis camera.track: `unit` is missing"),
        (s, "travel = [0, 9000]", "travel = [9000, 0]", "empty-range", 11, 10, "the lower end of travel is not below the upper end"),
        (s, "travel = [0, 9000]", "travel = [0, 1e308]", "out-of-range", 11, 14, "allowed: -1000000000 to 1000000000 mm"),
        (s, "travel = [0, 9000]", "travel = 9000", "wrong-type", 11, 10, "[lower end, upper end]"),
        (s, "travel = [0, 9000]", "travel = [10, 9000]", "home-outside-travel", 8, 1, "the home is outside the travel"),
        (s, "travel = [0, 9000]", "travel = [10, 9000]\nhome = 9", "home-outside-travel", 12, 8, "found: 9 mm"),
        (s, "max_velocity = 300", "max_velocity = inf", "out-of-range", 12, 16, "axis camera.track: `max_velocity` is out of range"),
        (s, "max_velocity = 300", "max_velocity = -1", "out-of-range", 12, 16, "allowed: more than 0"),
        (s, "max_velocity = 300", "max_velocity = \"fast\"", "wrong-type", 12, 16, "found: text, \"fast\""),
        (
            s,
            "max_velocity = 300",
            "max_velocty = 300\nmax_velocity = 300",
            "unknown-key",
            12,
            1,
            "help: remove it: `max_velocity` is already in the table",
        ),
        (s, "motor = \"frame57\"", "motor = \"frame75\"", "unknown-motor", 15, 9, "help: write motor = \"frame57\""),
        (s, "motor = \"frame57\"\n", "", "missing-key", 8, 1, "allowed: the name of a motor of this file: frame57"),
        (s, "travel_per_rev = 60", "travel_per_rev = 0", "out-of-range", 16, 18, "`travel_per_rev` is out of range"),
        (s, "travel_per_rev = 60", "travel_per_rev = 60\nmicrosteps = 1.5", "wrong-type", 17, 14, "without a decimal point"),
        (s, "travel_per_rev = 60", "travel_per_rev = 60\nreverse = 1", "wrong-type", 17, 11, "allowed: true or false"),
        (s, "travel_per_rev = 60\n", "", "missing-key", 8, 1, "`travel_per_rev` is missing"),
        (s, "mass = 80", "mass = -80", "out-of-range", 17, 17, "found: -80 kg"),
        (s, "mass = 80", "inertia = 80", "key-does-not-apply", 17, 20, "help: enter the mass that the axis carries"),
        (s, "mass = 80, ", "", "missing-key", 17, 8, "`mass` is missing"),
        (s, "friction = 25", "fricton = 25", "unknown-key", 17, 21, "help: write `friction`"),
        (s, "friction = 25", "friction = 25, efficiency = 0", "out-of-range", 17, 49, "allowed: more than 0, at most 1"),
        (s, "max_jerk = 100\n", "max_jerk = 100\nload = { mass = 2 }\n", "key-does-not-apply", 27, 17, "help: enter the moment of inertia"),
        (
            s,
            "max_jerk = 100\n",
            "max_jerk = 100\nload = { inertia = 2, vertical = true }\n",
            "key-does-not-apply",
            27,
            34,
            "a turning axis cannot be vertical",
        ),
        (s, "like = \"heron_a\"", "like = \"heron_c\"", "unknown-group", 30, 8, "help: write \"heron_a\""),
        (s, "like = \"heron_a\"", "like = \"heron_b\"", "circular-reference", 30, 8, "forms a circle"),
        (
            s,
            "like = \"heron_a\"",
            "like = \"heron_a\"\n[[group.mechanism]]\nkind = \"swashplat\"",
            "unknown-choice",
            32,
            8,
            "help: write kind = \"swashplate\"",
        ),
        (s, "name = \"heron_b\"", "name = \"heron_b\"\naxle = 1", "unknown-key", 30, 1, "help: write `axis`"),
    ]);
}

#[test]
fn names_taken_twice_in_the_stage_file() {
    let mut files = Files::right();
    files =
        files.with_change("stage.toml", "like = \"heron_a\"\n", "like = \"heron_a\"\n[[group]]\nname = \"heron_b\"\nlike = \"heron_a\"\n");
    assert_eq!(told(&files.parse().unwrap_err()), [("duplicate-name", "stage.toml".into(), 32, 8)]);
    let axis = STAGE.split("[[group.axis]]").nth(2).unwrap().split("[[group]]").next().unwrap();
    let twice = STAGE.replace(axis, &format!("{axis}[[group.axis]]{axis}"));
    let rejection = Files::right().with("stage.toml", twice).parse().unwrap_err();
    assert_eq!(told(&rejection), [("duplicate-name", "stage.toml".into(), 29, 8)]);
    assert!(rejection.to_string().contains("\"roll\", as on line 20"), "{rejection}");
}

#[test]
fn what_a_group_gives_itself_replaces_key_by_key() {
    let lines = "like = \"heron_a\"\n[[group.axis]]\nname = \"roll\"\ntravel = [-10, 10]\n";
    let loaded = Files::right().with_change("stage.toml", "like = \"heron_a\"\n", lines).parse().unwrap();
    let axes = loaded.stage.axes();
    assert_eq!((axes[1].travel().upper, axes[2].travel().upper), (45.0, 10.0));
    assert_eq!(axes[1].limits(), axes[2].limits());
    // The home is inherited and no longer fits: reported where it is written.
    let with_home = Files::right().with_change("stage.toml", "travel = [-45, 45]", "travel = [-45, 45]\nhome = 20");
    let rejection = with_home.with_change("stage.toml", "like = \"heron_a\"\n", lines).parse().unwrap_err();
    assert_eq!(told(&rejection), [("home-outside-travel", "stage.toml".into(), 24, 8)]);
    assert!(rejection.to_string().contains("axis heron_b.roll"));
}

#[test]
fn mistakes_of_the_shot_file() {
    let s = "shot.toml";
    check(&[
        (s, "format = 1\n", "", "missing-key", 1, 1, "`format` is missing"),
        (s, "stage = \"stage.toml\"", "stage = \"stages.toml\"", "missing-file", 3, 9, "cannot read `stages.toml`"),
        (s, "stage = \"stage.toml\"", "stage = \"/etc/stage.toml\"", "path-not-allowed", 3, 9, "absolute paths are not allowed"),
        (s, "stage = \"stage.toml\"", "stage = \"../stage.toml\"", "path-not-allowed", 3, 9, "above the outermost folder"),
        (s, "stage = \"stage.toml\"\n", "", "missing-key", 1, 1, "`stage` is missing"),
        (s, "frame_rate = \"24\"", "frame_rate = 24", "wrong-type", 4, 14, "text in quotes such as \"24\""),
        (s, "frame_rate = \"24\"", "frame_rate = \"fast\"", "invalid-frame-rate", 4, 14, "found: \"fast\""),
        (s, "frames = [1, 336]", "frames = [336, 1]", "invalid-frame-span", 5, 10, "allowed: 336 (the first frame) or later"),
        (s, "frames = [1, 336]", "frames = [1, 1_000_000_000]", "invalid-frame-span", 5, 10, "found: frame 1000000000"),
        (s, "frames = [1, 336]", "frames = [1, 2_000_000]", "invalid-frame-span", 5, 10, "allowed: at most 1000000"),
        (s, "frames = [1, 336]", "frames = [1.0, 336]", "wrong-type", 5, 10, "two whole numbers"),
        (s, "frames = [1, 336]", "frames = [1, 2, 3]", "wrong-type", 5, 10, "found: the list [1, 2, 3]"),
        (s, "\"10:00:00:00\"", "\"10:00:00:24\"", "invalid-timecode", 6, 18, "found: frame 24"),
        (s, "channel = \"camera.track\"", "channel = \"camera.trakc\"", "unknown-channel", 8, 11, "help: write \"camera.track\""),
        (s, "channel = \"camera.track\"", "channel = \"track\"", "unknown-channel", 8, 11, "help: write \"camera.track\""),
        (s, "channel = \"camera.track\"\n", "", "missing-key", 7, 1, "`channel` is missing"),
        (s, "shape = \"linear\"", "shape = \"linaer\"", "unknown-choice", 9, 9, "help: write shape = \"linear\""),
        (s, "shape = \"linear\"\n", "", "key-does-not-apply", 9, 9, "track camera.track: a `minimum_jerk` track has no corners to blend"),
        (s, "blend = 4", "blend = 0", "corner-without-blend", 10, 9, "more than 0 frames"),
        (s, "blend = 4", "blend = 100", "corners-overlap", 10, 9, "corners overlap"),
        (s, "[120, 1800.0]", "[0, 1800.0]", "keys-out-of-order", 11, 19, "found: frame 0 after frame 1"),
        (s, "[120, 1800.0]", "[1, 1800.0]", "keys-out-of-order", 11, 19, "two keys share a frame"),
        (s, "[120, 1800.0]", "[120, nan]", "out-of-range", 11, 19, "found: NaN mm or deg"),
        (s, "[120, 1800.0]", "[120, 1e400]", "out-of-range", 11, 19, "found: inf"),
        (s, "[120, 1800.0]", "[120]", "wrong-type", 11, 19, "[frame, value], two numbers"),
        (s, "[120, 1800.0]", "[\"120\", 1800]", "wrong-type", 11, 19, "an entry of `keys` has the wrong shape"),
        (s, "[120, 1800.0]", "120", "wrong-type", 11, 19, "found: 120"),
        (s, "[[1, 0.0], [120, 1800.0], [336, 7400.0]]", "[]", "no-keys", 11, 8, "`keys` has no key"),
        (s, "[[1, 0.0], [120, 1800.0], [336, 7400.0]]", "7", "wrong-type", 11, 8, "a list of [frame, value]"),
        (s, "keys = [[1, 0.0], [120, 1800.0], [336, 7400.0]]\n", "", "missing-key", 7, 1, "`keys` is missing"),
        (s, "keys = \"keys.csv\"", "keys = \"kyes.csv\"", "missing-file", 13, 8, "cannot read `kyes.csv`"),
        (s, "keys = \"keys.csv\"", "keys = \"a/../keys.csv\"", "path-not-allowed", 13, 8, "`..` after a folder"),
        (
            s,
            "keys = \"keys.csv\"",
            "channel = \"camera.track\"\nkeys = \"keys.csv\"",
            "missing-column",
            13,
            11,
            "heron_b.roll, heron_a.roll",
        ),
        (s, "period = 30", "period = 0.5", "out-of-range", 16, 10, "allowed: 1 to 100000000 frames"),
        (s, "period = 30\n", "", "missing-key", 14, 1, "cycle heron_a.roll: `period` is missing"),
        (s, "[0.6, 10]", "[1.0, 10]", "beat-too-long", 17, 33, "a key at beat 1 repeats the key at beat 0"),
        (s, "[0.6, 10]", "[1.5, 10]", "out-of-range", 17, 33, "found: 1.5 beats"),
        (s, "amount = [[1, 0], [40, 1]]", "amount = []", "no-keys", 18, 10, "help: remove it if the factor is always 1"),
        (s, "amount = [[1, 0], [40, 1]]", "rate = [[1, -1]]", "out-of-range", 18, 9, "`rate` is out of range"),
        (s, "seed = 11", "seed = -11", "out-of-range", 21, 8, "a whole number from 0"),
        (s, "seed = 11", "seed = 1.1", "wrong-type", 21, 8, "without a decimal point"),
        (s, "amplitude = 3", "amplitude = 1e10", "out-of-range", 22, 13, "`amplitude` is out of range"),
        (s, "from = \"heron_a\"", "from = \"heron\"", "unknown-group", 25, 8, "help: write \"heron_a\""),
        (s, "to = \"heron_b\"", "to = \"heron_a\"", "circular-reference", 26, 6, "a group is copied onto itself"),
        (s, "to = \"heron_b\"", "to = \"camera\"", "missing-channel", 26, 6, "`camera` has no channel `roll`"),
        (s, "to = \"heron_b\"", "to = \"heron_b\"\ndelay = inf", "out-of-range", 27, 9, "`delay` is out of range"),
        (s, "roll = -1", "rol = -1", "unknown-channel", 27, 11, "help: write `roll`"),
        (s, "roll = -1", "roll = \"x\"", "wrong-type", 27, 18, "a factor is not a number"),
        (s, "roll = -1", "roll = inf", "out-of-range", 27, 18, "`scale` is out of range"),
        (s, "name = \"picture\"", "name = \"Picture\"", "invalid-name", 29, 8, "help: write `picture`"),
        (s, "name = \"picture\"", "name = \"rods\"", "duplicate-name", 33, 1, "two passes are called `rods`"),
        (s, "exposure = \"moving\"", "exposure = \"movng\"", "unknown-choice", 30, 12, "help: write exposure = \"moving\""),
        (s, "seconds_per_frame = 12", "seconds_per_frame = 0", "out-of-range", 31, 21, "pass picture: `seconds_per_frame`"),
        (
            s,
            "seconds_per_frame = 12",
            "second_per_frame = 12\nseconds_per_frame = 12",
            "unknown-key",
            31,
            1,
            "help: remove it: `seconds_per_frame` is already in the table",
        ),
        (s, "shutter = 180", "shutter = 361", "out-of-range", 32, 11, "allowed: more than 0, at most 360 degrees"),
        (s, "park = [\"camera\"]", "park = [\"camera\", \"camra\"]", "unknown-group", 39, 19, "help: write \"camera\""),
        (s, "park = [\"camera\"]", "park = [7]", "wrong-type", 39, 9, "an entry of `park` is not a name"),
        (s, "park = [\"camera\"]", "park = \"camera\"", "wrong-type", 39, 8, "names of groups of the stage"),
    ]);
}

#[test]
fn circles_are_told_at_each_copy_and_a_shot_needs_a_pass() {
    let lines = "to = \"heron_b\"\n[[copy]]\nfrom = \"heron_b\"\nto = \"heron_a\"\n";
    let rejection = Files::right().with_change("shot.toml", "to = \"heron_b\"\nscale = { roll = -1 }\n", lines).parse().unwrap_err();
    assert_eq!(told(&rejection), [("circular-reference", "shot.toml".into(), 24, 1), ("circular-reference", "shot.toml".into(), 27, 1)]);
    let without = SHOT.split("[[pass]]").next().unwrap();
    let rejection = Files::right().with("shot.toml", without).parse().unwrap_err();
    assert_eq!(told(&rejection), [("missing-key", "shot.toml".into(), 1, 1)]);
    let many = format!("{without}{}", "[[pass]]\nname = \"picture\"\n".repeat(65));
    assert_eq!(told(&Files::right().with("shot.toml", many).parse().unwrap_err()), [("too-many", "shot.toml".into(), 28, 1)]);
}

#[test]
fn a_channel_copied_on_must_exist_at_the_end_of_the_chain() {
    let chain = "scale = { roll = -1 }\n[[copy]]\nfrom = \"heron_b\"\nto = \"camera\"\n";
    let without_keys = SHOT.replace("[[track]]\nkeys = \"keys.csv\"\n", "");
    let rejection =
        Files::right().with("shot.toml", without_keys).with_change("shot.toml", "scale = { roll = -1 }\n", chain).parse().unwrap_err();
    assert_eq!(told(&rejection), [("missing-channel", "shot.toml".into(), 28, 6)]);
}

#[test]
fn mistakes_of_key_files() {
    let k = "keys.csv";
    check(&[
        (k, "frame,", "time,", "missing-column", 1, 1, "found: \"time\""),
        (
            k,
            "frame,heron_b.roll,heron_a.roll",
            "frame;heron_b.roll;heron_a.roll",
            "missing-column",
            1,
            1,
            "help: separate cells with commas",
        ),
        (k, "heron_a.roll", "heron_a.rol", "unknown-channel", 1, 20, "help: write \"heron_a.roll\""),
        (k, "heron_a.roll", "heron_b.roll", "duplicate-name", 1, 20, "in columns 2 and 3"),
        (k, "60,5,2", "60,5.5.5,2", "not-a-number", 3, 4, "found: \"5.5.5\""),
        (k, "60,5,2", "60,NaN,2", "not-a-number", 3, 4, "a finite number"),
        (k, "60,5,2", "60,5,inf", "not-a-number", 3, 6, "a finite number"),
        (k, "60,5,2", "60, 1e300,2", "out-of-range", 3, 5, "track heron_b.roll: `keys` is out of range"),
        (k, "60,5,2", "60,5,2,3", "wrong-count", 3, 8, "help: write numbers with a point, not a comma"),
        (k, "60,5,2", "60,5", "wrong-count", 3, 5, "found: 2 cells"),
        (k, "60,5,2", ",5,2", "missing-frame", 3, 1, "a row has keys but no frame"),
        (k, "60,5,2", "sixty,5,2", "not-a-number", 3, 1, "found: \"sixty\""),
        (k, "90,,1", "60,,1", "keys-out-of-order", 4, 1, "two rows share a frame"),
        (k, "90,,1", "59,4,1", "keys-out-of-order", 4, 1, "found: frame 59 after frame 60"),
        (
            k,
            "frame,heron_b.roll,heron_a.roll\n1,0,\n60,5,2\n90,,1\n",
            "frame,heron_b.roll,heron_a.roll\n1,0,\n",
            "no-keys",
            1,
            20,
            "the column has no key",
        ),
        (k, "frame,heron_b.roll,heron_a.roll\n1,0,\n60,5,2\n90,,1\n", "frame\n", "no-keys", 1, 1, "no column of keys"),
        (k, "frame,heron_b.roll,heron_a.roll\n1,0,\n60,5,2\n90,,1\n", "\n", "empty-file", 1, 1, "the file is empty"),
    ]);
}

#[test]
fn a_key_file_used_by_two_tracks_is_read_and_blamed_once() {
    let reads = RefCell::new(Vec::new());
    let files = Files::right()
        .with_change(
            "shot.toml",
            "keys = \"keys.csv\"",
            "keys = \"keys.csv\"\n[[track]]\nchannel = \"heron_a.roll\"\nkeys = \"./keys.csv\"",
        )
        .with_change("keys.csv", "60,5,2", "60,5,two");
    let rejection = input::parse("shot.toml", &|name| {
        reads.borrow_mut().push(name.to_owned());
        files.0.get(name).cloned().ok_or(Unreadable::Missing)
    })
    .unwrap_err();
    assert_eq!(*reads.borrow(), ["shot.toml", "stage.toml", "keys.csv"]);
    assert_eq!(told(&rejection), [("not-a-number", "keys.csv".into(), 3, 6)]);
}

#[test]
fn text_that_is_not_toml() {
    let s = "shot.toml";
    check(&[
        (s, "frames = [1, 336]", "frames = [1, 336", "invalid-toml", 5, 10, "a list is not closed"),
        (s, "name = \"picture\"", "name = picture", "invalid-toml", 29, 8, "string values must be quoted"),
        (s, "name = \"picture\"", "name = \"picture", "invalid-toml", 29, 16, "invalid basic string"),
        (s, "shutter = 180", "shutter = 180\nshutter = 90", "invalid-toml", 33, 1, "help: keep one of the two"),
        (s, "shutter = 180", "shutter = 180 90", "invalid-toml", 32, 11, "found: \"180 90\""),
    ]);
}

#[test]
fn all_mistakes_of_one_file_are_told_at_once() {
    let stage = STAGE
        .replace("unit = \"mm\"", "unit = \"cm\"")
        .replace("travel = [0, 9000]", "travel = [0]")
        .replace("max_velocity = 300", "max_velocity = nan")
        .replace("max_jerk = 600\n", "")
        .replace("mass = 80", "mass = \"heavy\"")
        .replace("full_steps_per_rev = 200", "full_steps = 200")
        .replace("max_jerk = 100", "max_jerk = 0");
    let rejection = Files::right().with("stage.toml", stage).parse().unwrap_err();
    let codes: Vec<_> = told(&rejection).into_iter().map(|(code, _, line, column)| (code, line, column)).collect();
    assert_eq!(
        codes,
        [
            ("unknown-key", 4, 1),
            ("missing-key", 8, 1),
            ("unknown-choice", 10, 8),
            ("wrong-type", 11, 10),
            ("out-of-range", 12, 16),
            ("wrong-type", 16, 17),
            ("out-of-range", 25, 12)
        ],
        "{rejection}"
    );
    check_text(&rejection);
}

#[test]
fn the_shot_is_checked_behind_a_stage_that_is_not_and_no_name_is_blamed() {
    let shot =
        Files::right().with_change("shot.toml", "shutter = 180", "shutter = 0").with_change("shot.toml", "camera.track", "nobody.knows");
    let broken = shot.with("stage.toml", "format = 1\nname = \"Marsh stage\"\n[[group]\n");
    assert_eq!(
        told(&broken.parse().unwrap_err()),
        [("out-of-range", "shot.toml".into(), 32, 11), ("invalid-toml", "stage.toml".into(), 3, 9)]
    );
    let mut missing = shot.clone();
    missing.0.remove("stage.toml");
    assert_eq!(
        told(&missing.parse().unwrap_err()),
        [("missing-file", "shot.toml".into(), 3, 9), ("out-of-range", "shot.toml".into(), 32, 11)]
    );
    // A mistake that leaves the names whole hides nothing.
    let wrong = shot.with_change("stage.toml", "max_jerk = 600", "max_jerk = 0");
    let codes: Vec<_> = told(&wrong.parse().unwrap_err()).into_iter().map(|t| t.0).collect();
    assert_eq!(codes, ["unknown-channel", "out-of-range", "out-of-range"]);
}

#[test]
fn a_diagnostic_reads_like_this() {
    let rejection = Files::right().with_change("shot.toml", "shutter = 180", "shutter = 361").parse().unwrap_err();
    let expected = "\
error[out-of-range]: pass picture: `shutter` is out of range
  --> shot.toml:32:11
   |
32 | shutter = 361
   |           ^^^
   |
   = found: 361 degrees
   = allowed: more than 0, at most 360 degrees
   = help: write a number in this range, and check its unit";
    assert_eq!(
        rejection.to_string(),
        "shot.toml:32:11: error[out-of-range]: pass picture: `shutter` is out of range; found: 361 degrees; allowed: more than 0, at most 360 degrees; help: write a number in this range, and check its unit"
    );
    assert_eq!(rejection.render(false), expected);
    assert!(rejection.render(true).contains("\u{1b}["));
}
