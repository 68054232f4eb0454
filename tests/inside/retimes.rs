//! Retimes, routines and aims that look at less, by what they do to the counts.

use movewright::bounds::Effort;
use movewright::compile::Compiled;
use movewright::input::Rejection;

use crate::inside::common::inputs::Inputs;

/// One of everything that costs work, but for what this test adds itself.
fn plain() -> Inputs {
    let mut inputs = Inputs::of("costs");
    let shot = inputs.0.get_mut("shot.toml").unwrap();
    for header in ["[[retime]]", "[[routine]]"] {
        let from = shot.find(header).unwrap();
        let to = shot[from..].find("\n\n").map_or(shot.len(), |n| from + n + 2);
        shot.replace_range(from..to, "");
    }
    *shot = shot.replace("smooth = 6\nwithout = [\"heave\"]\n", "");
    inputs
}

fn with(text: &str) -> Inputs {
    let mut inputs = plain();
    inputs.0.get_mut("shot.toml").unwrap().push_str(&format!("\n{text}\n"));
    inputs
}

fn compiled(inputs: &Inputs) -> Compiled {
    let loaded = inputs.load().unwrap_or_else(|r| panic!("{r}"));
    Compiled::compile(loaded.stage, loaded.shot).unwrap_or_else(|e| panic!("{e:?}"))
}

/// Counts of every axis at frames 1 to 36, by axis.
fn counts(compiled: &Compiled) -> Vec<(String, Vec<i64>)> {
    let of = |(id, axis): (_, &movewright::stage::Axis)| {
        let at = |frame: i32| axis.count(compiled.motion(id).at(movewright::time::FrameTime(f64::from(frame))).unwrap()).unwrap();
        (compiled.stage().axis_name(id).to_owned(), (1..=36).map(at).collect())
    };
    compiled.stage().each_axis().map(of).collect()
}

#[test]
fn what_changes_nothing_changes_no_count() {
    let before = counts(&compiled(&plain()));
    for text in [
        "[[retime]]\nkeys = [[1, 1], [20, 20], [36, 36]]",
        "[[retime]]\ndelay = 0",
        // A retime and its inverse.
        "[[retime]]\ndelay = 7\n[[retime]]\ndelay = -7",
        "[[retime]]\nkeys = [[1, 1], [111, 101]]\n[[retime]]\nkeys = [[1, 1], [101, 111]]",
    ] {
        assert_eq!(counts(&compiled(&with(text))), before, "{text}");
    }
}

/// Frames before the hold stay, those after it come 8 frames later, and between the eases nothing moves.
#[test]
fn a_hold_is_exact_and_later_frames_are_those_of_before() {
    let before = counts(&compiled(&plain()));
    let held = compiled(&with("[[retime]]\nkeys = [[1, 1], [12, 12], [20, 12], [44, 36]]\nease = 2"));
    for ((name, was), (_, is)) in before.iter().zip(counts(&held)) {
        // An axis that is fitted may differ by what a fit may miss where a knot of the retime cuts its interval.
        let near = |a: i64, b: i64| (a - b).abs() <= 1;
        assert!((0..9).all(|i| near(was[i], is[i])), "{name}");
        assert!((21..36).all(|i| near(was[i - 8], is[i])), "{name}: {was:?} {is:?}");
        assert!((13..=17).all(|i| is[i] == is[14]), "{name}: {is:?}");
    }
    // Frames 14 to 18, to the last bit, between frames as well.
    for id in held.stage().axis_ids() {
        let at = |t: f64| held.motion(id).at(movewright::time::FrameTime(t)).unwrap().to_bits();
        assert!([14.1, 15.7, 17.999].into_iter().all(|t| at(t) == at(14.0)), "{}", held.stage().axis_name(id));
    }
}

/// A key at choreography frame 18 is on film at frame 27 where everything is half as slow again: its value, bit for bit.
#[test]
fn a_key_comes_back_bit_for_bit_where_choreography_time_is_exactly_its_own() {
    let slow = compiled(&with("[[retime]]\nkeys = [[0, 0], [30, 20]]\n[[track]]\nchannel = \"gobo.slide\"\nkeys = [[0, 1], [18, 33.3], [24, -7]]").with(
        "stage.toml",
        "name = \"gobo\"",
        "name = \"gobo\"\n[[group.axis]]\nname = \"slide\"\nunit = \"mm\"\ntravel = [-100, 100]\nmax_velocity = 100\nmax_acceleration = 100\nmax_jerk = 1000\nmotor = \"frame42\"\ntravel_per_rev = 10",
    ));
    let id = slow.stage().axis_of_name("gobo.slide").unwrap();
    let at = |t: f64| slow.motion(id).at(movewright::time::FrameTime(t)).unwrap();
    assert_eq!((at(27.0).to_bits(), at(36.0).to_bits()), (33.3_f64.to_bits(), (-7.0_f64).to_bits()));
}

/// A copy is asked at its own group's time, whatever becomes of the group it is a copy of.
#[test]
fn a_copy_runs_at_its_own_groups_time() {
    let before = counts(&compiled(&plain()));
    let only = |text: &str| counts(&compiled(&with(text)));
    for ((name, was), (_, is)) in before.iter().zip(only("[[retime]]\ngroups = [\"heron_a\"]\ndelay = 5")) {
        let aimed = name == "camera.pan" || name == "camera.tilt";
        assert_eq!(*was == is, !(name.starts_with("heron_a.") || aimed), "{name}");
    }
    let later = only("[[retime]]\ngroups = [\"heron_b\"]\ndelay = 5");
    for ((name, was), (_, is)) in before.iter().zip(&later).filter(|((name, _), _)| name.starts_with("heron_b.")) {
        assert!((5..36).all(|i| was[i - 5] == is[i]), "{name}");
    }
}

/// What a smoothed aim asks of its target is counted.
#[test]
fn an_aim_that_looks_at_less_reverses_less_and_its_work_is_counted() {
    let aim = |more: &str| compiled(&plain().with("shot.toml", "at = \"heron_a.hand\"", &format!("at = \"heron_a.hand\"\n{more}")));
    let (all, smooth, still) = (aim(""), aim("smooth = 12"), aim("without = [\"heave\", \"pitch\", \"roll\"]"));
    let tilt = |c: &Compiled| counts(c).into_iter().find(|(n, _)| n == "camera.tilt").unwrap().1;
    let reversals = |counts: Vec<i64>| {
        let steps: Vec<i64> = counts.windows(2).map(|w| (w[1] - w[0]).signum()).filter(|s| *s != 0).collect();
        steps.windows(2).filter(|w| w[0] != w[1]).count()
    };
    assert!(reversals(tilt(&all)) > reversals(tilt(&smooth)), "{:?} {:?}", tilt(&all), tilt(&smooth));
    assert!(reversals(tilt(&still)) <= reversals(tilt(&all)));
    let work = |c: &Compiled| c.work().used(Effort::Places);
    assert!(work(&smooth) > 2 * work(&all) && work(&still) < work(&all), "{} {} {}", work(&all), work(&smooth), work(&still));
}

fn routine(text: &str, call: &str) -> Inputs {
    let mut inputs = with(&format!("[[routine]]\nfile = \"nods/nod.toml\"\n{call}"));
    inputs.0.insert("nods/nod.toml".to_owned(), text.to_owned());
    inputs.0.insert("nods/nod.csv".to_owned(), "frame,pitch\n1,0\n9,3\n17,0\n".to_owned());
    inputs
}

/// The same layers in the shot file and in a routine, later and scaled: the same counts. Paths lead from the routine's own folder.
#[test]
fn a_routine_does_what_its_layers_do_in_the_shot() {
    let layers = "[[track]]\nkeys = \"nod.csv\"\n[[cycle]]\nchannel = \"roll\"\nperiod = 9\nkeys = [[0, -1], [0.5, 1]]\n";
    let called = routine(layers, "group = \"heron_a\"");
    let written = with("[[track]]\nkeys = \"nods/nod.csv\"\n[[cycle]]\nchannel = \"heron_a.roll\"\nperiod = 9\nkeys = [[0, -1], [0.5, 1]]");
    let mut written = written;
    written.0.insert("nods/nod.csv".to_owned(), "frame,heron_a.pitch\n1,0\n9,3\n17,0\n".to_owned());
    assert_eq!(counts(&compiled(&called)), counts(&compiled(&written)));
    let later = routine(layers, "group = \"heron_a\"\ndelay = 4\nscale = { pitch = -2 }");
    let written = with(
        "[[track]]\nchannel = \"heron_a.pitch\"\nkeys = [[5, 0], [13, -6], [21, 0]]\n[[cycle]]\nchannel = \"heron_a.roll\"\nperiod = 9\nphase = -0.4444444444444444\nkeys = [[0, -1], [0.5, 1]]",
    );
    for ((name, a), (_, b)) in counts(&compiled(&later)).iter().zip(counts(&compiled(&written))) {
        assert!(a.iter().zip(&b).all(|(a, b)| (a - b).abs() <= 1), "{name}");
    }
    // The input's copies hold every file of it.
    let loaded = called.load().unwrap();
    let files: Vec<String> = loaded.sources.for_copying().into_iter().map(|(path, _)| path).collect();
    assert!(files.iter().any(|f| f.ends_with("nods/nod.toml")) && files.iter().any(|f| f.ends_with("nods/nod.csv")), "{files:?}");
}

#[test]
fn mistakes_of_a_routine_are_told_in_its_file_with_the_caller() {
    let told = |text: &str, call: &str| {
        let rejection: Rejection = routine(text, call).load().unwrap_err();
        let one = |d: &movewright::input::Diagnostic| {
            let place = d.place.as_ref().unwrap();
            (d.code.slug(), rejection.sources().get(place.file).unwrap().name().to_owned(), place.line, d.title.clone())
        };
        rejection.diagnostics().iter().map(one).collect::<Vec<_>>()
    };
    let nod = "nods/nod.toml".to_owned();
    let found = told("[[track]]\nchannel = \"heron_a.pitch\"\nkeys = [[1, 0]]\n", "group = \"heron_a\"");
    assert!(
        matches!(found.as_slice(), [("unknown-channel", file, 2, title)] if *file == nod && title.contains("called for heron_a by shot.toml:")),
        "{found:?}"
    );
    let found = told("[[track]]\nchannel = \"pitch\"\nkeys = [[3, 0], [2, 0]]\n", "group = \"heron_a\"");
    assert!(matches!(found.as_slice(), [("keys-out-of-order", file, 3, _)] if *file == nod), "{found:?}");
    let found = told("[[track]]\nchannel = \"pitch\"\nkeys = [[3, 0]]\n[[pass]]\nname = \"p\"\n", "group = \"heron_a\"");
    assert!(matches!(found.as_slice(), [("unknown-key", file, 4, _)] if *file == nod), "{found:?}");
    let found = told("[[track]]\nkeys = \"none.csv\"\n", "group = \"heron_a\"");
    assert!(matches!(found.as_slice(), [("missing-file", file, 2, title)] if *file == nod && title.contains("nods/none.csv")), "{found:?}");
    let found = told("cycle_start = 1e9\n", "group = \"heron_a\"");
    assert!(found.iter().any(|(code, ..)| *code == "out-of-range") && found.iter().any(|(code, ..)| *code == "missing-key"), "{found:?}");
    let found = told("[[track]]\nchannel = \"pitch\"\nkeys = [[3, 0]]\n", "group = \"heron_x\"");
    assert!(matches!(found.as_slice(), [("unknown-group", file, ..)] if file == "shot.toml"), "{found:?}");
}

/// One digit more or less in each number of the new tables: a mistake with its place, or a shot that is compiled and checked within the budget.
#[test]
fn a_slipped_digit_ends_soon_with_its_place() {
    let text = "[[retime]]\ngroups = [\"heron_b\"]\nkeys = [[1, 1], [12, 12], [20, 12], [44, 36]]\nease = 2\n[[retime]]\ndelay = 12\n";
    let slips = [
        ("[12, 12]", "[120, 12]", "keys-out-of-order"),
        ("[12, 12]", "[12, 120]", "time-runs-backwards"),
        ("[20, 12]", "[200, 12]", "keys-out-of-order"),
        ("[20, 12]", "[20, 1]", "time-runs-backwards"),
        ("[44, 36]", "[44, 36000]", "out-of-range"),
        ("[44, 36]", "[4, 36]", "keys-out-of-order"),
        ("ease = 2", "ease = 20", "corners-overlap"),
        ("ease = 2", "ease = 0", "out-of-range"),
        ("delay = 12", "delay = 12000000", "out-of-range"),
        ("[\"heron_b\"]", "[\"heron_z\"]", "unknown-group"),
        ("[\"heron_b\"]", "[]", "wrong-count"),
        ("delay = 12", "delay = 12\nkeys = [[1, 1], [2, 2]]", "conflicting-keys"),
        ("delay = 12", "", "missing-key"),
        ("ease = 2", "eese = 2", "unknown-key"),
    ];
    for (from, to, code) in slips {
        let rejection = with(&text.replacen(from, to, 1)).load().err().unwrap_or_else(|| panic!("{to}"));
        let codes: Vec<_> = rejection.diagnostics().iter().map(|d| d.code.slug()).collect();
        assert!(codes.contains(&code) && rejection.diagnostics().iter().all(|d| d.place.is_some()), "{to}: {rejection}");
    }
    for (from, to) in [
        ("[44, 36]", "[44, 360]"),
        ("[44, 36]", "[440, 36]"),
        ("[1, 1]", "[-10, 1]"),
        ("delay = 12", "delay = 120"),
        ("ease = 2", "ease = 0.02"),
    ] {
        let loaded = with(&text.replacen(from, to, 1)).load().unwrap_or_else(|r| panic!("{to}: {r}"));
        if let Ok(compiled) = Compiled::compile(loaded.stage, loaded.shot) {
            compiled.check().unwrap();
        }
    }
}

/// The demo's aim leaves out the bob of the bird: the tilt follows the flight, and reverses 4 times instead of 14, each time through its backlash.
#[test]
fn the_demos_tilt_reverses_less_without_the_bob() {
    let tilt = |inputs: &Inputs| {
        let report = compiled(inputs).check().unwrap();
        let id = report.compiled.stage().axis_of_name("camera.tilt").unwrap();
        report.reversals[id].len()
    };
    let herons = || Inputs::of("herons");
    let line = "without = [\"heave\"]               # the bird bobs in the picture, not the camera with the bird\n";
    assert_eq!((tilt(&herons().with("shot.toml", line, "")), tilt(&herons())), (14, 4));
}
