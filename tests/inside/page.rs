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
