//! The fastest pace of a moving pass, compared with its definition by running the program at it and around it.
//!
//! The definition: the pace itself holds with move to start, run-up and run-down; so does every pace tried between it and the larger of four times it and
//! the pass's own; 0.999 of it fails.

use crate::generator::Generator;
use serde_json::Value;

use crate::case::{Case, STAGE, axis, pass, shot};
use crate::seeded_shot::Input;

/// The pass run anew at this pace.
fn at(stage: &str, frames: [i64; 2], tracks: &str, pace: f64, others: &str) -> Value {
    let passes = format!("{}{others}", pass("p", "moving", pace));
    Case::new(stage, &shot(frames, tracks, &passes)).json()["passes"][0].clone()
}

/// Tries the pace of a pass that is run at `own`: the pace itself, 0.999 of it, and ten paces between. Returns it.
fn property(stage: &str, frames: [i64; 2], tracks: &str, own: f64, others: &str) -> f64 {
    let found = at(stage, frames, tracks, own, others);
    let fastest = found["fastest_runnable_seconds_per_frame"].as_f64().unwrap();
    let holds = |pace: f64| {
        let run = at(stage, frames, tracks, pace, others);
        (run["within_limits"].as_bool().unwrap(), run["violations"].to_string())
    };
    let (ok, why) = holds(fastest);
    assert!(ok, "{fastest}: {why}");
    assert!(!holds(0.999 * fastest).0, "{fastest}: 0.999 of it holds too");
    let slowest = own.max(4.0 * fastest);
    for i in 1..=10 {
        // Ten parts of the way, each by the same factor.
        let pace = fastest * (slowest / fastest).powf(f64::from(i) / 10.0);
        let (ok, why) = holds(pace);
        assert!(ok, "{fastest}: {pace} fails: {why}");
    }
    fastest
}

/// A carriage 5 mm from the end of its travel that moves 1 mm per frame at the cut. A run-up of n frames goes back n/2 mm, so 10 frames at most, and its
/// acceleration peaks at 1.5 v / (n T^2) (D, derivatives of 3u^2 - 2u^3). At 0.02 mm/s2 that asks for T = sqrt(0.15 / 0.02) = 2.7386 s, where the
/// photographed span alone would run at 0.05 s.
#[test]
fn a_run_up_that_needs_room_sets_the_fastest_pace() {
    let carriage = axis("bridge", "mm", [0.0, 1000.0], [20.0, 0.02, 100.0], "travel_per_rev = 5");
    let stage = format!("{STAGE}[[group]]\nname = \"heron\"\n{carriage}");
    let track = "{ channel = \"heron.bridge\", shape = \"natural_cubic\", keys = [[0.5, 5], [48.5, 53]] }";
    let border = (0.15_f64 / 0.02).sqrt();
    for own in [12.0, 0.1] {
        let fastest = property(&stage, [1, 48], track, own, "");
        assert!(border <= fastest && fastest <= border * (1.0 + 1e-4), "{fastest} {border}");
    }
    let found = at(&stage, [1, 48], track, 12.0, "");
    assert!((found["fastest_seconds_per_frame"].as_f64().unwrap() - 0.05).abs() < 1e-9, "{found}");
    // A second pass that is faster sets the lengths of both.
    let fast = format!(", {}", pass("q", "moving", 3.0));
    assert!(property(&stage, [1, 48], track, 12.0, &fast) < 3.0);
}

/// Motors near their torque at the cuts: the pace is found by trial, not in closed form.
#[test]
fn the_fastest_pace_of_loaded_axes_that_move_at_the_cuts_holds_at_every_slower_one_tried() {
    let mut g = Generator::new(31);
    let motor = "rotor_inertia = 4e-5\ntorque = [[0, 0.6], [200, 0.4], [600, 0.03]]\n";
    let (mut tried, mut beyond) = (0, 0);
    for _ in 0..40 {
        if tried == 5 {
            break;
        }
        let mut axes = String::new();
        let mut tracks = Vec::new();
        for name in ["bridge", "trolley"] {
            let room = 10.0 + 50.0 * g.unit();
            let load = format!(
                "travel_per_rev = 20\nload = {{ mass = {:.1}, friction = 10, vertical = {}, efficiency = 0.9 }}",
                5.0 + 40.0 * g.unit(),
                g.unit() < 0.5
            );
            axes.push_str(&axis(name, "mm", [0.0, 400.0], [400.0, 4.0 + 60.0 * g.unit(), 20.0 + 300.0 * g.unit()], &load));
            let (middle, last) = (180.0 + 40.0 * g.unit(), 390.0 - 50.0 * g.unit());
            tracks.push(format!(
                "{{ channel = \"heron.{name}\", shape = \"natural_cubic\", keys = [[0, {room:.2}], [15, {middle:.2}], [31, {last:.2}]] }}"
            ));
        }
        let stage = format!("{STAGE}{motor}[[group]]\nname = \"heron\"\n{axes}");
        let (tracks, own) = (tracks.join(", "), 0.2 + 3.0 * g.unit());
        let found = at(&stage, [1, 30], &tracks, own, "");
        if found["fastest_runnable_seconds_per_frame"].is_null() {
            continue;
        }
        tried += 1;
        let fastest = property(&stage, [1, 30], &tracks, own, "");
        beyond += i32::from(fastest > 1.01 * found["fastest_seconds_per_frame"].as_f64().unwrap());
    }
    assert_eq!(tried, 5, "passes that have a fastest pace");
    assert!(beyond >= 3, "{beyond} passes are limited by their run-up or run-down");
}

/// The property over the first pass of shots from these seeds, in the library; how many there were, and of how many a run-up, a run-down or a leg sets the pace.
fn seeded(seeds: std::ops::Range<u64>) -> [usize; 2] {
    let [mut tried, mut beyond] = [0; 2];
    for seed in seeds {
        let mut input = Input::from_seed(seed);
        let Some(report) = input.checked() else { continue };
        let (pass, own) = (&report["passes"][0], input.passes[0].2);
        let mut failing = |pace: f64| {
            input.passes[0].2 = pace;
            let again = input.checked().unwrap();
            let all = again["passes"][0]["violations"].as_array().unwrap();
            all.iter().filter(|v| v["limit"] != "register").map(|v| v["message"].as_str().unwrap().to_owned()).collect::<Vec<_>>()
        };
        let Some(fastest) = pass["fastest_runnable_seconds_per_frame"].as_f64() else {
            // No pace holds: none of these either.
            for k in -2..7 {
                let pace = own * 2.0_f64.powi(k);
                assert!(!failing(pace).is_empty(), "seed {seed}: {pace} holds");
            }
            continue;
        };
        tried += 1;
        beyond += usize::from(pass["fastest_seconds_per_frame"].as_f64().unwrap() < 0.99 * fastest);
        let slowest = own.max(4.0 * fastest);
        for i in 0..=10 {
            let pace = fastest * (slowest / fastest).powf(f64::from(i) / 10.0);
            let found = failing(pace);
            assert!(found.is_empty(), "seed {seed}: of {fastest} {pace} fails: {found:#?}");
        }
        // The least pace that there is has none below it.
        assert!(fastest <= 0.001 || !failing(0.999 * fastest).is_empty(), "seed {seed}: 0.999 of {fastest} holds");
    }
    [tried, beyond]
}

#[test]
fn the_fastest_pace_of_seeded_shots_holds_at_every_slower_one_tried() {
    let [tried, beyond] = seeded(0..140);
    assert!(tried > 40 && beyond > 1, "{tried} {beyond}");
}

/// The same over more seeds: `cargo test --test it fastest_pace:: -- --ignored`.
#[test]
#[ignore = "minutes"]
fn the_fastest_pace_of_many_shots_holds_at_every_slower_one_tried() {
    seeded(1_000..6_000);
}
