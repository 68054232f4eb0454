//! The page's map of use against the check, and plots of held passes.

use crate::inside::common::{Program, axis, checked, compiled, moving, shot, stage};
use movewright::check::usage::usage;
use movewright::page::{page, plot};
use movewright::shot::{Exposure, Pass, Shape};
use serde_json::Value;

/// The data a page carries.
fn data(text: &str) -> Value {
    let begin = text.find("type=\"application/json\">").unwrap() + "type=\"application/json\">".len();
    let end = begin + text[begin..].find("</script>").unwrap();
    serde_json::from_str(&text[begin..end]).unwrap()
}

/// The same move with the limit at its peak and a hair below: one cell of one axis is over, or none.
#[test]
fn a_fault_between_frames_is_in_its_cell_and_at_the_limit_there_is_none() {
    let cells = |share: f64| {
        let mut fast = axis("bridge");
        let program = || vec![keyed_program(), Program::default()];
        let still = axis("hoist");
        let wide = stage(vec![axis("bridge"), still.clone()]);
        let h = shot(&wide, (1, 40), &program(), vec![moving(&wide, "picture", 2.0)]);
        let peak = checked(&wide, &h).passes[0].axes.first().unwrap().photographed.velocity;
        fast.limits.velocity = peak.value * share;
        let s = stage(vec![fast, still]);
        let h = shot(&s, (1, 40), &program(), vec![moving(&s, "picture", 2.0)]);
        let report = checked(&s, &h);
        let rows = usage(&report.passes[0]);
        assert!(rows.iter().nth(1).unwrap().iter().all(|u| u.share() == 0.0));
        let first = rows.first().unwrap().iter().enumerate();
        let over: Vec<usize> = first.clone().filter(|(_, u)| u.share() > 1.0 + 1e-9).map(|(n, _)| n + 1).collect();
        assert!(first.clone().all(|(_, u)| u.is_exceeded() == (u.share() > 1.0 + 1e-9)));
        let text = page(&report).unwrap();
        let shown: Vec<usize> = data(&text)["passes"][0]["usage"][0]
            .as_array()
            .unwrap()
            .iter()
            .enumerate()
            .filter(|(_, u)| u.as_u64().unwrap() > 1000)
            .map(|(n, _)| n + 1)
            .collect();
        assert_eq!(over, shown);
        (over, peak.frame.0, report.within_limits())
    };
    let (over, frame, within) = cells(1.0);
    assert!(over.is_empty() && within);
    let (over, _, within) = cells(1.0 - 1e-6);
    assert!(over.len() == 1 && (over[0] as f64 - frame).abs() <= 0.5 && !within, "{over:?} {frame}");
}

fn keyed_program() -> Program {
    Program { tracks: vec![(Shape::MinimumJerk, None, vec![(1.0, 0.0), (11.3, 20.0), (14.6, 75.0), (40.0, 90.0)])], ..Program::default() }
}

#[test]
fn a_plot_of_a_held_pass_has_positions_alone() {
    let s = stage(vec![axis("bridge")]);
    let held = Pass::new(&s, "held", Exposure::Held, 12.0, 90.0, 0.0, vec![]).unwrap();
    let h = shot(&s, (1, 40), &[keyed_program()], vec![held]);
    let text = plot(&compiled(&s, &h), &h.passes()[0], "heron.bridge").unwrap();
    assert!(text.contains("position, mm") && !text.contains("velocity"));
}

/// What is drawn of loads has at most 256 points a curve, however long the pass, and the check's own peak among them; a stage without loads has none of it.
#[test]
fn curves_of_loads_are_bounded_and_hold_the_peak() {
    const SWING: &str =
        "length = 1600\nlimit = 0.5\n[group.hang]\nmass = 2\ncentre = [0, -30, 4]\nwires = [[90, 0, 0], [-45, 0, 78], [-45, 0, -78]]\n";
    let text = |swing: &str| {
        let tracks = "[[track]]\nchannel = \"heron.bridge\"\nkeys = [[1, 300], [14, 420], [900, 380]]\n";
        let passes = "exposure = \"moving\"\nseconds_per_frame = 12\nshutter = 180\n[[pass]]\nname = \"held\"\nexposure = \"held\"\nseconds_per_frame = 20\nshutter = 90\n";
        let mut inputs = crate::inside::swing::inputs(swing, passes, tracks).with("shot.toml", "frames = [1, 40]", "frames = [1, 900]");
        if swing.is_empty() {
            inputs = inputs.with("stage.toml", "[group.swing]\njoint = \"trolley\"\n", "");
        }
        let report = crate::inside::swing::compiled(&inputs).checked().unwrap();
        (page(&report).unwrap(), report)
    };
    let (with, report) = text(SWING);
    let all = data(&with);
    for (i, pass) in report.passes.iter().enumerate() {
        let own = &all["passes"][i]["loads"][0];
        let exposed = pass.swings[0].found.unwrap().exposed.value;
        let drawn: Vec<f64> = own["swings"][0]["exposed"].as_array().unwrap().iter().map(|x| x.as_f64().unwrap()).collect();
        let most = drawn.iter().copied().fold(0.0, f64::max);
        assert!(drawn.len() == 256 && (most - exposed).abs() <= 1e-3 * exposed && exposed > 0.0, "{most} {exposed}");
        let frames = own["wires"]["frames"].as_array().unwrap();
        assert!(frames.len() > 200 && frames.len() <= 256 && own["wires"]["shares"][2].as_array().unwrap().len() == frames.len());
        let settling = own["settling"].as_array().unwrap();
        assert_eq!(settling.len(), i);
        assert!(settling.iter().all(|s| (200..=256).contains(&s["needs"].as_array().unwrap().len())));
    }
    let (without, _) = text("");
    assert!(!without.contains("\"loads\":") && !without.contains("group carries"));
}
