//! A gobo flickers only in moving passes in which it turns, each with its own shutter.

use serde_json::Value;

use crate::case::{Case, STAGE, axis, shot};

/// A gobo of 12 openings that turns 640 deg in 50 frames: at most 1.875 x 12.8 = 24 deg per frame (T. Flash, N. Hogan 1985), so 0.8 openings per frame. The
/// findings on the light, by kind, with their sentence.
fn light(passes: &str) -> Vec<(String, String)> {
    let gobo = axis("turn", "deg", [-1000.0, 1000.0], [1e3, 1e3, 1e4], "openings = 12");
    let figure = axis("bridge", "mm", [-1000.0, 1000.0], [1e3, 1e3, 1e4], "travel_per_rev = 10");
    let stage = format!("{STAGE}[[group]]\nname = \"gobo\"\n{gobo}[[group]]\nname = \"heron\"\n{figure}");
    let tracks = ["gobo.turn", "heron.bridge"].map(|c| format!("{{ channel = \"{c}\", keys = [[5, 0], [55, 640]] }}"));
    let checked = Case::new(&stage, &shot([1, 60], &tracks.join(", "), passes)).check();
    let all = checked.json["findings"].as_array().unwrap();
    let text = |f: &Value, key: &str| f[key].as_str().unwrap().to_owned();
    all.iter()
        .filter(|f| f["axis"] == "gobo.turn")
        .map(|f| (text(f, "kind"), text(f, "message")))
        .filter(|f| f.0 != "torque_unchecked")
        .collect()
}

fn pass(name: &str, exposure: &str, shutter: u32, park: &str) -> String {
    format!("{{ name = \"{name}\", exposure = \"{exposure}\", seconds_per_frame = 60, shutter = {shutter}, park = [{park}] }}")
}

#[test]
fn a_gobo_is_judged_by_the_shutters_of_the_passes_in_which_it_turns() {
    let half = pass("beauty", "moving", 180, "");
    // Held: it stands during every exposure. Parked: it stands throughout.
    for other in [pass("clean", "held", 270, ""), pass("clean", "moving", 270, "\"gobo\""), pass("clean", "held", 270, "\"gobo\"")] {
        for passes in [format!("{half}, {other}"), format!("{other}, {half}")] {
            let found = light(&passes);
            assert!(
                matches!(&found[..], [(kind, said)] if kind == "openings" && said.contains("0.4 openings per exposure")),
                "{passes}: {found:?}"
            );
        }
    }
    // 0.8 x 270 / 360 = 0.6 openings in an exposure: more than half a one.
    let long = pass("matte", "moving", 270, "\"heron\"");
    let found = light(&format!("{half}, {long}"));
    assert!(matches!(&found[..], [(kind, _)] if kind == "flicker"), "{found:?}");
    assert_eq!(light(&pass("clean", "held", 270, "")), []);
    assert_eq!(light(&pass("clean", "moving", 270, "\"gobo\"")), []);
}
