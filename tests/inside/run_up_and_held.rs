//! From rest into the first exposure, to rest after the last, and from rest to rest between held ones.

use crate::inside::common::{Program, axis, axis_at, checked, compiled, curve, fixes, group_at, moving, shot, stage, violations};
use movewright::check::{Limit, Part};
use movewright::compile::Edge;
use movewright::shot::{Exposure, Pass, Shape};
use movewright::stage::PacedPeaks;
use movewright::time::Seconds;

/// A straight line through both cuts: moving at `speed` units a frame from before the first to after the last exposure.
fn through(speed: f64) -> Program {
    Program { tracks: vec![(Shape::NaturalCubic, None, vec![(0.0, 0.0), (100.0, 100.0 * speed)])], ..Program::default() }
}

#[test]
fn an_axis_moving_at_the_cut_comes_from_rest_in_the_fewest_whole_frames() {
    let pace = 2.0;
    // Speed 1 unit a frame is 0.5 unit/s. From rest in n frames the cubic velocity peaks at 1.5 v/(n T) in acceleration and 6 v/(n T)^2 in jerk
    // (D, derivatives of 3u^2 - 2u^3). With A = 0.08 that is n = 4.6875: 5 frames, if jerk allows.
    let mut spec = axis("bridge");
    spec.limits.acceleration = 0.08;
    let s = stage(vec![spec]);
    let h = shot(&s, (1, 50), &[through(1.0)], vec![moving(&s, "picture", pace)]);
    let mv = compiled(&s, &h);
    assert_eq!((mv.run_up(), mv.run_down()), (5, 5));
    assert!(mv.no_room().is_empty());
    let c = curve(&mv, 0);
    assert_eq!((c.start(), c.end()), (0.5 - 5.0, 50.5 + 5.0));
    let (start, end) = (c.jet(c.start()).unwrap(), c.piece(c.len() - 1).unwrap().jet(c.end()));
    assert_eq!((start.v, start.a), (0.0, 0.0));
    assert!(end.v.abs() < 1e-14 && end.a.abs() < 1e-14);
    // It rests L v/2 before the edge.
    assert!((start.p - (0.5 - 2.5)).abs() < 1e-12);
    let report = mv.check().unwrap();
    assert!(report.within_limits());
    let up = report.passes[0].axes[axis_at(&s, 0)].run_up.unwrap();
    assert!((up.acceleration.value - 1.5 * 0.5 / 10.0).abs() < 1e-12, "{}", up.acceleration.value);
    assert_eq!(report.passes[0].program.clock().running(), Seconds(2.0 * (50.0 + 10.0)));
    // One frame fewer exceeds the limit.
    let short = movewright::compile::ends::piece(Edge::RunUp, movewright::motion::quintic::Node { p: 0.5, v: 1.0, a: 0.0 }, 4.0);
    let piece = movewright::motion::curve::Piece { index: 0, start: 0.0, end: 4.0, quintic: &short };
    assert!(!PacedPeaks::new(&movewright::motion::Peaks::of_piece(&piece), pace).are_within(&s.axes()[0]));
}

#[test]
fn the_length_is_one_number_for_all_axes_and_passes_set_by_the_fastest() {
    let spec = |name: &str, a: f64| {
        let mut s = axis(name);
        s.limits.acceleration = a;
        s
    };
    let s = stage(vec![spec("bridge", 0.08), spec("trolley", 0.02)]);
    let programs = [through(1.0), through(1.0)];
    let slow = shot(&s, (1, 50), &programs, vec![moving(&s, "picture", 4.0)]);
    let both = shot(&s, (1, 50), &programs, vec![moving(&s, "picture", 4.0), moving(&s, "rods", 2.0)]);
    // 1.5 x 0.25 / (4 n) <= 0.02 asks for 4.69; at pace 2, 1.5 x 0.5 / (2 n) <= 0.02 asks for 18.75.
    assert_eq!(compiled(&s, &slow).run_up(), 5);
    assert_eq!(compiled(&s, &both).run_up(), 19);
}

#[test]
fn at_rest_at_both_cuts_there_is_no_run_up() {
    let s = stage(vec![axis("bridge")]);
    let program = Program { tracks: vec![(Shape::MinimumJerk, None, vec![(1.0, 0.0), (50.0, 300.0)])], ..Program::default() };
    let h = shot(&s, (1, 50), &[program], vec![moving(&s, "picture", 2.0)]);
    let mv = compiled(&s, &h);
    assert_eq!((mv.run_up(), mv.run_down()), (0, 0));
    assert_eq!(mv.check().unwrap().passes[0].program.clock().running(), Seconds(100.0));
}

#[test]
fn without_room_the_pass_is_refused_and_says_how_much_it_needs() {
    let run = |lower: f64| {
        let mut spec = axis("bridge");
        spec.travel = [lower, 1000.0];
        spec.home = 10.0;
        let s = stage(vec![spec]);
        let h = shot(&s, (1, 50), &[through(1.0)], vec![moving(&s, "picture", 2.0)]);
        let mv = compiled(&s, &h);
        (mv.check().unwrap(), mv.no_room().to_vec())
    };
    // The edge stands at 0.5; the shortest run-up, one frame, starts half a unit before: at 0.
    let (fine, room) = run(0.0);
    assert!(fine.within_limits() && room.is_empty());
    let (report, room) = run(0.1);
    assert_eq!((room[0].axis.index(), room[0].edge), (0, Edge::RunUp));
    let v = &report.passes[0].violations;
    assert!(v.iter().all(|v| v.part == Part::RunUp && v.limit == Limit::Position) && !v.is_empty());
    let said = violations(&report.passes[0]);
    assert!(said[0].contains("no run-up of 1 to") && said[0].contains("needs 0.1 mm more"), "{said:?}");
}

fn held(s: &movewright::stage::Stage, pace: f64, shutter: f64, settle: f64) -> Pass {
    Pass::new(s, "empty", Exposure::Held, pace, shutter, settle, vec![]).unwrap()
}

/// Rest to rest with a = 2, j = 10, v out of reach: h = 1 takes 1.628285686 s (L. Biagiotti, C. Melchiorri, Trajectory Planning for Automatic
/// Machines and Robots, 2008, 3.4.3 case 2.a; D from T = h/v + v/a + a/j).
#[test]
fn held_moves_take_the_textbook_time_and_all_end_together() {
    let spec = |name: &str| {
        let mut a = axis(name);
        a.limits.velocity = 10.0;
        a.limits.acceleration = 2.0;
        a.limits.jerk = 10.0;
        a
    };
    let s = stage(vec![spec("bridge"), spec("trolley")]);
    let programs = [through(1.0), through(0.25)];
    let h = shot(&s, (1, 10), &programs, vec![held(&s, 4.0, 180.0, 0.0)]);
    let report = checked(&s, &h);
    let p = &report.passes[0];
    let moves = p.program.stations().unwrap().moves();
    assert_eq!(moves.len(), 9);
    for m in moves {
        assert!((m.seconds.0 - 1.628285686).abs() < 1e-9, "{}", m.seconds.0);
        assert_eq!(m.slowest, Some(axis_at(&s, 0)));
    }
    assert!(report.within_limits());
    let clock = p.program.clock();
    assert_eq!((clock.frames(), clock.running()), (10, Seconds(40.0)));
    // The slower axis is stretched to the same time: 0.25 units alone would take less, so its peaks shrink.
    assert!(p.axes[axis_at(&s, 1)].photographed.acceleration.value < 2.0 * 0.5);
    assert!((p.axes[axis_at(&s, 0)].photographed.acceleration.value - 2.0).abs() < 1e-12);
}

#[test]
fn a_held_move_that_does_not_fit_is_refused_and_at_the_limit_passes() {
    let mut a = axis("bridge");
    a.limits.velocity = 10.0;
    a.limits.acceleration = 2.0;
    a.limits.jerk = 10.0;
    let s = stage(vec![a]);
    let run = |pace: f64, settle: f64| {
        let h = shot(&s, (1, 10), &[through(1.0)], vec![held(&s, pace, 180.0, settle)]);
        checked(&s, &h)
    };
    let t = run(4.0, 0.0).passes[0].program.stations().unwrap().moves()[0].seconds.0;
    assert!(run(2.0 * t, 0.0).within_limits());
    let over = run(2.0 * t * 0.9999, 0.0);
    let v = &over.passes[0].violations;
    // Nine moves of one axis in a row are one violation with their span.
    assert_eq!((v.len(), v[0].span), (1, (1.0, 10.0)));
    assert_eq!((v[0].subject.axis().index(), v[0].limit), (0, Limit::Acceleration));
    assert!(v[0].value > v[0].allowed && v[0].allowed == 2.0);
    let advice = fixes(&over.passes[0]);
    assert!(advice.iter().any(|a| a.contains("s per frame or slower")), "{advice:?}");
    // Settling takes from the same time.
    assert!(run(2.0 * t + 2.0, 1.0).within_limits());
    assert!(!run(2.0 * t + 2.0, 1.0001).within_limits());
}

#[test]
fn a_parked_group_stays_at_home_and_asks_for_no_run_up() {
    let s = stage(vec![axis("bridge")]);
    let pass = Pass::new(&s, "empty", Exposure::Moving, 2.0, 180.0, 0.0, vec![group_at(&s, 0)]).unwrap();
    let h = shot(&s, (1, 50), &[through(1.0)], vec![pass]);
    let mv = compiled(&s, &h);
    assert_eq!(mv.run_up(), 0);
    let report = mv.check().unwrap();
    assert!(report.passes[0].axes[axis_at(&s, 0)].parked && report.passes[0].fastest.limited_by.is_none());
    let t = crate::inside::common::table(&mv, 0, movewright::output::columns::Column::Steps);
    assert!(crate::inside::common::column(&t, "heron.bridge").iter().all(|c| c == "0"));
}
