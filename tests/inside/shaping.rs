//! Moves split against swing: what is left of it, what it takes, that photographed motion stays as it is, torque of the split move, and `verify`.

use movewright::check::{Limit, Report};
use movewright::program::Leg;
use movewright::verify::FaultKind;

use super::shortest::folder;
use super::swing::{compiled, inputs};
use crate::inside::common::folder::{repair, rows, set_rows, verdict_of};
use crate::inside::common::inputs::Inputs;

/// The bridge may do 60 mm/s2, and swings what hangs from it; 1.6 m, 2.54 s.
fn bridge(swing: &str, pass: &str) -> Inputs {
    let tracks = "[[track]]\nchannel = \"heron.bridge\"\nshape = \"monotone\"\nkeys = [[1, 300], [20, 700], [40, 380]]\n";
    inputs(&format!("length = 1600\n{swing}"), pass, tracks).with(
        "stage.toml",
        "max_acceleration = 20\nmax_jerk = 40",
        "max_acceleration = 60\nmax_jerk = 400",
    )
}

fn held(more: &str) -> String {
    format!("exposure = \"held\"\nseconds_per_frame = 24\nshutter = 90\n{more}")
}

const SHAPED: &str = "shaping = \"zero_vibration\"\n";

fn exposed(report: &Report) -> f64 {
    report.passes[0].swings[0].found.unwrap().exposed.value
}

/// What swings during exposures falls by more than 20 times; each move takes half a damped period longer, and so do the moves to the start and home.
#[test]
fn what_a_move_leaves_falls_by_twenty_times() {
    let swing = "damping = 0.002\n";
    let (plain, shaped) =
        (compiled(&bridge(swing, &held(""))).checked().unwrap(), compiled(&bridge(swing, &held(SHAPED))).checked().unwrap());
    let (before, after) = (exposed(&plain), exposed(&shaped));
    assert!(before > 1.0 && after < before / 20.0, "{before} {after}");
    // 2 pi sqrt(1.6 m / 9.80665 m/s2) = 2.537939 s, half of it, and a little for the damping: 1 / sqrt(1 - 0.002^2).
    let half = 0.5 * 2.537_939 / (1.0_f64 - 4e-6).sqrt();
    let moves = |report: &Report| report.passes[0].program.stations().unwrap().moves().to_vec();
    for (a, b) in moves(&plain).iter().zip(moves(&shaped)) {
        assert!((b.seconds.0 - a.seconds.0 - half).abs() < 1e-5, "{a:?} {b:?}");
    }
    let way = |report: &Report| report.passes[0].program.way().clone();
    let (a, b) = (way(&plain), way(&shaped));
    assert!((b.to_approach().0 - a.to_approach().0 - half).abs() < 1e-5 && (b.back().0 - a.back().0 - half).abs() < 1e-5);
    assert!(b.length(Leg::MoveToStart).0 >= a.length(Leg::MoveToStart).0 + 1.0);
}

/// A second mode is taken away as well, at the price of half of its period; with one split alone it is left.
#[test]
fn a_further_mode_is_taken_away_too() {
    let with = |swing: &str| compiled(&bridge(swing, &held(SHAPED))).checked().unwrap();
    let both = with("damping = 0.002\nmodes = [{ period_s = 1.3, damping = 0.002 }]\n");
    let mode = |report: &Report, i: usize| report.passes[0].swings[i].found.unwrap().exposed.value;
    let plain = compiled(&bridge("damping = 0.002\nmodes = [{ period_s = 1.3, damping = 0.002 }]\n", &held(""))).checked().unwrap();
    for i in 0..2 {
        assert!(mode(&both, i) < mode(&plain, i) / 20.0, "{i}: {} {}", mode(&both, i), mode(&plain, i));
    }
    let (one, two) = (with("damping = 0.002\n"), &both);
    let seconds = |report: &Report| report.passes[0].program.stations().unwrap().moves()[0].seconds.0;
    assert!((seconds(two) - seconds(&one) - 0.65).abs() < 1e-5);
}

/// A hoist that changes the length while the bridge moves: the shaper of the mean length takes most of the swing away.
#[test]
fn the_mean_length_of_a_move_counts() {
    let tracks = "[[track]]\nchannel = \"heron.bridge\"\nshape = \"monotone\"\nkeys = [[1, 300], [20, 700], [40, 380]]\n[[track]]\nchannel = \"heron.hoist\"\nkeys = [[1, 0], [40, 600]]\n";
    let with = |more: &str| {
        let all = inputs("length = 1600\nlength_channel = \"hoist\"\nlength_per_unit = -1\ndamping = 0.002\n", &held(more), tracks);
        let all = all.with("stage.toml", "max_acceleration = 20\nmax_jerk = 40", "max_acceleration = 60\nmax_jerk = 400");
        compiled(&all).checked().unwrap()
    };
    let (plain, shaped) = (exposed(&with("")), exposed(&with(SHAPED)));
    assert!(shaped < plain / 10.0, "{plain} {shaped}");
    // All axes of the group are split alike, so every move ends together still.
    let report = with(SHAPED);
    assert!(report.passes[0].violations.iter().all(|v| !matches!(v.limit, Limit::Velocity | Limit::Acceleration | Limit::Jerk)));
    let stations = report.passes[0].program.stations().unwrap();
    let moves = stations.moves();
    let half = |l: f64| 0.5 * movewright::motion::pendulum::period(l) / (1.0_f64 - 4e-6).sqrt();
    let plain_moves = with("").passes[0].program.stations().unwrap().moves().to_vec();
    // From the first frame to the second the hoist has hardly moved; to the last one it has.
    assert!((moves[0].seconds.0 - plain_moves[0].seconds.0 - half(1600.0)).abs() < 1e-2);
    assert!((moves[38].seconds.0 - plain_moves[38].seconds.0 - half(1000.0)).abs() < 1e-2);
}

/// Of a moving pass the photographed motion, run-up and run-down stay as they are; only the moves to the start and home are split.
#[test]
fn photographed_motion_is_never_split() {
    let moving = |more: &str| bridge("damping = 0.002\n", &format!("exposure = \"moving\"\nseconds_per_frame = 12\nshutter = 180\n{more}"));
    let (plain, shaped) = (folder(&moving(""), "5"), folder(&moving(SHAPED), "5"));
    for file in ["beauty.steps.csv", "beauty.units.csv"] {
        assert_eq!(plain[file], shaped[file]);
    }
    let (a, b) = (rows(&plain, "beauty.rows.csv"), rows(&shaped, "beauty.rows.csv"));
    let begin = |rows: &[Vec<String>]| rows.iter().position(|r| r.last().unwrap() == "1").unwrap();
    assert!(begin(&b) > begin(&a));
    let from = |rows: &[Vec<String>]| rows[begin(rows)..].iter().map(|r| r[1..].to_vec()).collect::<Vec<_>>();
    assert_eq!(from(&a), from(&b));
    assert!(verdict_of(&shaped).holds(), "{:?}", verdict_of(&shaped).faults);
}

/// The moves of a held pass and of the way are found again, split as the stage says; a row of another place is named.
#[test]
fn split_moves_are_found_again() {
    let mut files = folder(&bridge("damping = 0.01\nmodes = [{ period_s = 1.3, damping = 0.02 }]\n", &held(SHAPED)), "20");
    let verdict = verdict_of(&files);
    assert!(verdict.holds(), "{:?}", verdict.faults);
    // A hoist that takes up its backlash changes the length on the way.
    let tracks = "[[track]]\nchannel = \"heron.bridge\"\nkeys = [[1, 300], [20, 700], [40, 380]]\n[[track]]\nchannel = \"heron.hoist\"\nkeys = [[1, 200], [40, 600]]\n";
    let hoisted = inputs("length = 1600\nlength_channel = \"hoist\"\nlength_per_unit = -1\n", &held(SHAPED), tracks);
    let hoisted =
        hoisted.with("stage.toml", "max_velocity = 60\nmax_acceleration = 30", "backlash = 2\nmax_velocity = 60\nmax_acceleration = 30");
    let verdict = verdict_of(&folder(&hoisted, "20"));
    assert!(verdict.holds(), "{:?}", verdict.faults);
    let mut table = rows(&files, "beauty.rows.csv");
    let at = table.iter().position(|r| r.last().unwrap() == "1").unwrap() + 130;
    let moved: i64 = table[at][1].parse().unwrap();
    table[at][1] = (moved + 40).to_string();
    set_rows(&mut files, "beauty.rows.csv", &table);
    repair(&mut files);
    let found = verdict_of(&files);
    assert!(found.faults.iter().any(|f| f.kind == FaultKind::Rows && f.axis.as_deref() == Some("heron.bridge")), "{:?}", found.faults);
    // The manifest that denies it.
    files.insert(
        "manifest.json".into(),
        String::from_utf8(files["manifest.json"].clone()).unwrap().replace("zero_vibration", "none").into_bytes(),
    );
    assert!(verdict_of(&files).faults.iter().any(|f| f.kind == FaultKind::Manifest), "{:?}", verdict_of(&files).faults);
}
