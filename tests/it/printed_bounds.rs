//! A bound that is printed is still a bound.

use crate::case::{Case, STAGE, axis, pass, shot};

/// The number after `word`.
fn after(text: &str, word: &str) -> f64 {
    text.split(word).nth(1).unwrap_or_else(|| panic!("{text}")).split_whitespace().next().unwrap().parse().unwrap()
}

/// Straight lines between rows h seconds apart are off by at most A h^2 / 8 (C. de Boor, A Practical Guide to Splines, 2001, ch. III, from memory); from rest to rest
/// over a way W in a time t, A = 10 / sqrt 3 W / t^2 (T. Flash, N. Hogan 1985). So at one row per second, whatever the pace.
#[test]
fn what_interpolation_between_rows_may_depart_by_is_never_printed_too_small() {
    // 200 x 16 steps in 10 mm.
    let carriage = axis("bridge", "mm", [-10.0, 9000.0], [1e4, 1e5, 1e7], "microsteps = 16\ntravel_per_rev = 10");
    let stage = format!("{STAGE}[[group]]\nname = \"heron\"\n{carriage}");
    let mut rounded_up = 0;
    for i in 0..12 {
        let (way, pace) = (4000.0 + 97.3 * f64::from(i), 0.2 + 0.0137 * f64::from(i));
        let track = format!("{{ channel = \"heron.bridge\", keys = [[1, 0], [48, {way}]] }}");
        let case = Case::new(&stage, &shot([1, 48], &track, &pass("p", "moving", pace)));
        let out = case.run(&["rows", "shot.toml", "--pass", "p", "--rate", "1", "--out", "rows.csv"]);
        let text = String::from_utf8(out.stderr).unwrap().split_whitespace().collect::<Vec<_>>().join(" ");
        assert_eq!(out.status.code(), Some(0), "{text}");
        let seconds = 47.0 * pace;
        let bound = 10.0 / 3.0_f64.sqrt() * way / (seconds * seconds) * 320.0 / 8.0;
        let printed = after(&text, "straight lines: at most ");
        // Four digits: not below, and less than one unit of the last above. The bound itself is known to a few roundings.
        let unit = 10.0_f64.powi(bound.log10().floor() as i32 - 3);
        assert!(bound * (1.0 - 1e-12) <= printed && printed < bound + unit, "{printed} {bound}");
        rounded_up += i32::from(printed - bound > 0.5 * unit);
        // A h^2 / 8 is half a step at this rate.
        let (rate, least) = (after(&text, "half a step of the curve at "), (bound / 0.5).sqrt());
        let unit = 10.0_f64.powi(least.log10().floor() as i32 - 3);
        assert!(least * (1.0 - 1e-12) <= rate && rate < least + unit, "{rate} {least}");
    }
    assert!(rounded_up >= 3, "{rounded_up} bounds would have been rounded down to the nearest");
}

/// The fastest pace and the slowest move, read back from the text, are no shorter than in the JSON.
#[test]
fn paces_and_times_are_printed_no_shorter_than_they_are() {
    let carriage = axis("bridge", "mm", [-10.0, 9000.0], [17.0, 3.1, 7.7], "travel_per_rev = 10");
    let stage = format!("{STAGE}[[group]]\nname = \"heron\"\n{carriage}");
    for way in [100.3, 211.7, 333.3, 417.9] {
        let track = format!("{{ channel = \"heron.bridge\", keys = [[1, 0], [48, {way}]] }}");
        for exposure in ["moving", "held"] {
            let found = Case::new(&stage, &shot([1, 48], &track, &pass("p", exposure, 30.0))).check();
            let (pass, said) = (&found.json["passes"][0], found.sentence());
            let fastest = pass["fastest_runnable_seconds_per_frame"].as_f64().unwrap();
            assert!(after(&said, "fastest possible: ") >= fastest, "{fastest} {said}");
            if exposure == "held" {
                let moves = pass["held"]["moves"].as_array().unwrap();
                let slowest = moves.iter().map(|m| m["seconds"].as_f64().unwrap()).fold(0.0, f64::max);
                assert!(after(&said, "slowest move ") >= slowest, "{slowest} {said}");
            }
        }
    }
}
