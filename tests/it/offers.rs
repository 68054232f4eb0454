//! Every offer of a few hundred seeded shots, put into the input to the letter: what it promises holds.
//!
//! The shots are text, read by the program's own front door; offers are applied as their sentences say, which a person would do.

use std::collections::BTreeSet;

use serde_json::Value;

use crate::seeded_shot::Input;

/// The input with what the sentence of an offer says, in this pass.
fn with(input: &Input, offer: &str, pass: usize) -> Input {
    let mut new = input.copied();
    let after = |word: &str| offer.split(word).nth(1).unwrap_or_else(|| panic!("{offer}")).split([' ', ':', ',', '`']).next().unwrap();
    if offer.starts_with("run the pass at ") {
        new.passes[pass].2 = after("run the pass at ").parse().unwrap();
    } else if offer.starts_with("put key ") {
        let key: usize = after("put key ").parse().unwrap();
        new.track(after(" of ")).keys[key - 1].0 = after("at frame ").parse().unwrap();
    } else if offer.starts_with("give key ") {
        let key: usize = after("give key ").parse().unwrap();
        new.track(after(" of ")).keys[key - 1].1 = after("the value ").parse().unwrap();
    } else if offer.starts_with("add ") {
        new.weigh([after("`mass = "), after("`centre_of_mass = "), after("`inertia = ")]);
    } else {
        let shape = after("the shape `").to_owned();
        new.track(after("give the track of ")).shape = shape;
    }
    new
}

/// The violations of a pass, but for registration: passes of different curves are compared by others.
fn violations(pass: &Value) -> Vec<&Value> {
    pass["violations"].as_array().unwrap().iter().filter(|v| v["limit"] != "register").collect()
}

/// What an offer made for `axis` leaves of what it promised to mend.
fn left<'r>(offer: &str, axis: &Value, pass: &'r Value) -> Vec<&'r Value> {
    // "its wire then stays taut throughout the pass".
    if offer.starts_with("add ") {
        return violations(pass).into_iter().filter(|v| v["axis"] == *axis && v["limit"] == "slack").collect();
    }
    let promised = |v: &&Value| match (offer.starts_with("run the pass at "), pass["exposure"] == "moving") {
        // "all that a pace changes is then within the limits": not travel and clearance of the photographed span, which no pace changes.
        (true, true) => !(v["part"] == "photographed" && (v["limit"] == "position" || v["limit"] == "clearance")),
        // "every move then fits": what does not fit is a rate.
        (true, false) => ["velocity", "acceleration", "jerk"].iter().any(|l| v["limit"] == *l),
        // "the axis is then within its limits".
        (false, _) => v["axis"] == *axis,
    };
    violations(pass).into_iter().filter(promised).collect()
}

/// Takes every offer of the shots from these seeds; how many there were of paces, keys, shapes, values and weights.
fn take_offers(seeds: std::ops::Range<u64>) -> [usize; 5] {
    let mut taken = [0; 5];
    for seed in seeds {
        let input = Input::from_seed(seed);
        let Some(report) = input.checked() else { continue };
        let passes = report["passes"].as_array().unwrap();
        for (i, pass) in passes.iter().enumerate() {
            let mut seen = BTreeSet::new();
            for v in violations(pass) {
                for offer in v["advice"].as_array().unwrap().iter().map(|offer| offer.as_str().unwrap()) {
                    // What a pace promises is promised of the whole pass.
                    let of = if offer.starts_with("run ") { "" } else { v["axis"].as_str().unwrap_or_default() };
                    if !seen.insert((of, offer)) {
                        continue;
                    }
                    let kinds = ["run the pass ", "put key ", "give the track ", "give key ", "add "];
                    let kind = kinds.iter().position(|k| offer.starts_with(k)).unwrap();
                    taken[kind] += 1;
                    // A key or shape is right as offered; a pace, so the offer says, as well where it is slower.
                    assert_eq!(offer.contains("or slower"), kind == 0, "{offer}");
                    assert!(!offer.contains("or later") && !offer.contains("or earlier"), "{offer}");
                    let mut changed = with(&input, offer, i);
                    let after = changed.checked().unwrap_or_else(|| panic!("seed {seed}: {offer}: does not compile"));
                    let wrong = left(offer, &v["axis"], &after["passes"][i]);
                    assert!(wrong.is_empty(), "seed {seed}, pass {i}: {offer}: {wrong:#?}");
                    if kind == 0 {
                        for _ in 0..2 {
                            changed.passes[i].2 *= 1.7;
                            let slower = changed.checked().unwrap();
                            let wrong = left(offer, &v["axis"], &slower["passes"][i]);
                            assert!(wrong.is_empty(), "seed {seed}, pass {i}: {offer}, at {}: {wrong:#?}", changed.passes[i].2);
                        }
                        continue;
                    }
                    // By another curve no pass becomes worse, and this one becomes better.
                    for (k, before) in passes.iter().enumerate() {
                        let (was, is) = (violations(before), violations(&after["passes"][k]));
                        assert!(is.len() < was.len() + usize::from(k != i), "seed {seed}, pass {i}: {offer}: pass {k}: {was:#?} {is:#?}");
                    }
                }
            }
        }
    }
    taken
}

#[test]
fn every_offer_that_is_taken_keeps_its_promise() {
    let [paces, keys, shapes, values, weights] = take_offers(0..200);
    assert!(
        paces > 100 && keys > 50 && shapes > 10 && values > 10 && weights > 0,
        "{paces} paces, {keys} keys, {shapes} shapes, {values} values, {weights} weights"
    );
}

/// The same over more seeds: `cargo test --test it offers:: -- --ignored`.
#[test]
#[ignore = "minutes"]
fn every_offer_of_many_shots_keeps_its_promise() {
    take_offers(1_000..9_000);
}
