//! Offers for things that come too near: a delay of a copy, a retime of a figure, each written into the shot to the letter; and messages that name the copy.

use crate::case::{Case, STAGE, axis, pass, shot};

/// Two figures on one line, the crane 60 mm ahead of the heron; 30 mm from middle to middle are required.
fn stage() -> String {
    let group = |name: &str, at: i32| {
        format!(
            "[[group]]\nname = \"{name}\"\n{}[[group.joint]]\nslide = [1, 0, 0]\nchannel = \"x\"\noffset = [{at}, 0, 0]\n[[group.envelope]]\nfrom = [0, 0, -5]\nto = [0, 0, 5]\nradius = 10\n",
            axis("x", "mm", [-100.0, 900.0], [200.0, 200.0, 900.0], "travel_per_rev = 10")
        )
    };
    STAGE.replace("\n[motor", "\nclearance = 10\n[motor") + &group("heron", 0) + &group("crane", 60)
}

const KEYS: &str = "{ channel = \"heron.x\", keys = [[10, 0], [50, 300]] }";

/// The one offer of a kind in the first pass, for its violation of clearance.
fn offer(case: &Case, kind: &str) -> (String, usize) {
    let checked = case.check();
    let all = checked.json["passes"][0]["violations"].as_array().unwrap();
    let near: Vec<_> = all.iter().filter(|v| v["limit"] == "clearance").collect();
    let advice: Vec<&str> = near.iter().flat_map(|v| v["advice"].as_array().unwrap()).map(|a| a.as_str().unwrap()).collect();
    (advice.iter().find(|a| a.starts_with(kind)).unwrap_or_else(|| panic!("{kind}: {advice:?}")).to_string(), near.len())
}

fn number_after(text: &str, word: &str) -> f64 {
    text.split(word).nth(1).unwrap().split('`').next().unwrap().parse().unwrap()
}

fn within(case: &Case) -> bool {
    case.check().status == 0
}

#[test]
fn a_copy_that_lags_too_far_is_offered_the_greatest_delay_that_keeps_clear() {
    let copied = |delay: f64| {
        let more = format!("copy = [{{ from = \"heron\", to = \"crane\", delay = {delay} }}]\n");
        Case::new(&stage(), &(shot([1, 80], KEYS, &pass("p", "moving", 2.0)) + &more))
    };
    let case = copied(9.0);
    let (text, count) = offer(&case, "write `delay = ");
    assert_eq!(count, 1);
    assert!(text.contains("in the copy from heron to crane: ") && text.ends_with(" then keep their clearance"), "{text}");
    let delay = number_after(&text, "`delay = ");
    assert!(delay < 9.0 && within(&copied(delay)) && !within(&copied(delay + 1.0)), "{text}");
}

#[test]
fn a_figure_of_its_own_is_offered_a_retime() {
    let tracks = format!("{KEYS}, {{ channel = \"crane.x\", keys = [[19, 0], [59, 300]] }}");
    let later = |more: &str| Case::new(&stage(), &(shot([1, 80], &tracks, &pass("p", "moving", 2.0)) + more));
    let case = later("");
    let (text, _) = offer(&case, "add a retime");
    let delay = number_after(&text, "`delay = ");
    let group = text.split("groups = [\"").nth(1).unwrap().split('"').next().unwrap();
    assert!(within(&later(&format!("[[retime]]\ngroups = [\"{group}\"]\ndelay = {delay}\n"))), "{text}");
    let nearer = delay - delay.signum();
    assert!(!within(&later(&format!("[[retime]]\ngroups = [\"{group}\"]\ndelay = {nearer}\n"))), "{text}");
}

/// What stands still is passed on the same way however late: no delay is offered.
#[test]
fn no_delay_is_offered_for_an_obstacle() {
    let post = "[[obstacle]]\nname = \"post\"\nfrom = [150, 15, -50]\nto = [150, 15, 50]\nradius = 5\n";
    let case = Case::new(&(stage() + post), &shot([1, 80], KEYS, &pass("p", "moving", 2.0)));
    let checked = case.check();
    let text = checked.sentence();
    assert!(checked.status == 1 && !text.contains("`delay") && !text.contains("a retime"), "{text}");
}

#[test]
fn a_violation_of_a_copy_names_the_copy_and_its_delay() {
    let more = "copy = [{ from = \"heron\", to = \"crane\", delay = -3, scale = { x = 4 } }]\n";
    let case = Case::new(&stage(), &(shot([1, 80], KEYS, &pass("p", "moving", 0.5)) + more));
    let text = case.check().sentence();
    assert!(text.contains("through the copy from heron with `delay = -3`"), "{text}");
}

/// A retime moves keys on film: messages name the frame at which they are seen.
#[test]
fn keys_are_named_by_their_frame_on_film() {
    let more = "retime = [{ delay = 12 }]\n";
    let case =
        Case::new(&stage(), &(shot([1, 80], "{ channel = \"heron.x\", keys = [[10, 0], [20, 950]] }", &pass("p", "moving", 2.0)) + more));
    let text = case.check().sentence();
    assert!(text.contains("key 1 (frame 22, shot.toml:6)") && text.contains("key 2 (frame 32, shot.toml:6)"), "{text}");
}
