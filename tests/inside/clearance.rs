//! What must not meet: near misses between two frames are found, and what stands exactly at its gap passes.

use crate::inside::common::bodies::{around, ball, body, groups, keyed, slide, turn, turning, v};
use crate::inside::common::{axis, axis_at, checked, compiled, curve, group_at, moving, shot, violations};
use movewright::check::clearance::{Against, Nearest, Proof};
use movewright::check::{Approval, Limit, Report, Subject, words};
use movewright::compile::Compiled;
use movewright::program::Leg;
use movewright::shot::{Exposure, Pass, Shape};
use movewright::stage::{Capsule, KeepOut, Obstacle, Stage, Surroundings};
use movewright::time::FrameTime;

fn one(report: &Report) -> Nearest {
    let all = report.passes[0].clearance.as_ref().unwrap();
    assert_eq!(all.pairs.len(), 1);
    all.pairs[0]
}

/// Two herons cross at right angles: one along X through the origin, the other along Z; both straight, at a few hundred mm per frame.
fn crossing(clearance: f64, late: f64) -> Compiled {
    let stage = groups(vec![("heron_a", vec![axis("along")]), ("heron_b", vec![axis("across")])])
        .with_bodies(
            vec![
                body("heron_a", vec![slide(0, [1.0, 0.0, 0.0])], &["heron_a.along"], vec![ball(10.0)]),
                body("heron_b", vec![slide(0, [0.0, 0.0, 1.0])], &["heron_b.across"], vec![ball(5.0)]),
            ],
            around(clearance),
        )
        .unwrap();
    // Both pass the origin at 400 mm per frame, the second `late` frames later.
    let straight = |late: f64| keyed(Shape::NaturalCubic, &[(0.0, 400.0 * (-30.4 - late)), (60.0, 400.0 * (29.6 - late))]);
    let shot = shot(&stage, (1, 50), &[straight(0.0), straight(late)], vec![moving(&stage, "picture", 12.0)]);
    compiled(&stage, &shot)
}

#[test]
fn a_near_miss_between_two_frames_is_found() {
    // Positions 400 (t - t0) and 400 (t - t0 - d) at right angles are nearest at t0 + d/2, by 400 d / sqrt 2.
    let compiled = crossing(100.0, 0.2);
    let stage = compiled.stage();
    let report = compiled.check().unwrap();
    let n = one(&report);
    let exact = 400.0 * 0.2 / 2.0_f64.sqrt() - 15.0;
    // The scene is some 28 m wide: 1e-6 of it is 0.03 mm, below and never above, but for rounding of 12 m.
    assert!(n.gap <= exact + 1e-9 && exact - n.gap <= n.tolerance && n.tolerance < 0.06, "{n:?} {exact}");
    assert!((n.at - 30.5).abs() < 0.05, "{n:?}");
    assert_eq!((n.group, n.against, n.proof), (group_at(stage, 0), Against::Group(group_at(stage, 1)), Proof::Tight));
    // At the frames themselves they are far more than what is kept apart.
    for t in [30.0, 31.0] {
        let place = |b: usize| compiled.pose_at(None, &stage.bodies()[b], FrameTime(t)).unwrap().position;
        assert!((place(0) - place(1)).length() - 15.0 > 150.0);
    }
    let found: Vec<_> = report.passes[0].violations.iter().filter(|v| v.limit == Limit::Clearance).collect();
    assert_eq!(found.len(), 1);
    assert_eq!((found[0].subject, found[0].allowed, found[0].value), (Subject::Pair(n, axis_at(stage, 0)), 100.0, n.gap));
    let text = words::violation(&compiled, found[0]);
    assert!(text.starts_with("heron_a and heron_b are 41.5") && text.contains("at frame 30.50; required clearance 100 mm"), "{text}");
}

#[test]
fn exactly_at_the_gap_passes_and_a_hair_inside_does_not() {
    let exact = 400.0 * 0.2 / 2.0_f64.sqrt() - 15.0;
    let report = crossing(exact, 0.2).check().unwrap();
    assert!(report.within_limits(), "{:?}", report.passes[0].violations);
    let tolerance = one(&report).tolerance;
    assert!(!crossing(exact + 2.0 * tolerance, 0.2).check().unwrap().within_limits());
}

#[test]
fn standing_still_exactly_at_the_gap_passes() {
    let stage = groups(vec![("heron_a", vec![axis("along")])])
        .with_bodies(
            vec![body("heron_a", vec![slide(0, [1.0, 0.0, 0.0])], &["heron_a.along"], vec![ball(0.1)])],
            Surroundings {
                obstacles: vec![Obstacle {
                    name: "post".into(),
                    shape: Capsule { from: v([0.5, -1.0, 0.0]), to: v([0.5, 1.0, 0.0]), radius: 0.1 },
                }],
                keep_out: vec![KeepOut { name: "lamp".into(), least: v([-1.0, 0.4, -1.0]), greatest: v([1.0, 2.0, 1.0]) }],
                clearance: 0.3,
                ..Surroundings::default()
            },
        )
        .unwrap();
    let shot = shot(&stage, (1, 5), &[], vec![moving(&stage, "picture", 1.0)]);
    let report = checked(&stage, &shot);
    assert!(report.within_limits(), "{:?}", report.passes[0].violations);
    let pairs = &report.passes[0].clearance.as_ref().unwrap().pairs;
    assert_eq!(pairs.iter().map(|n| n.against).collect::<Vec<_>>(), [Against::Obstacle(0), Against::KeepOut(0)]);
    assert!(pairs.iter().all(|n| (n.gap - 0.3).abs() < 1e-9));
}

/// Boxes around parts that overlap are no distance apart, whatever the parts are: a deeper overlap behind the first one was once left out. Found by the dense sampling of
/// `clearance_oracle`.
#[test]
fn of_several_overlaps_the_deepest_is_reported() {
    let at = |x: f64, y: f64, radius: f64| Capsule { from: v([x, y, 0.0]), to: v([x, y, 0.0]), radius };
    let stage = groups(vec![("heron_a", vec![axis("along")]), ("heron_b", vec![axis("along")])])
        .with_bodies(
            vec![
                body("heron_a", vec![slide(0, [1.0, 0.0, 0.0])], &["heron_a.along"], vec![at(0.0, 0.0, 10.0), at(0.0, 60.0, 14.0)]),
                body("heron_b", vec![slide(0, [1.0, 0.0, 0.0])], &["heron_b.along"], vec![at(15.0, 0.0, 10.0), at(8.0, 60.0, 10.0)]),
            ],
            Surroundings {
                obstacles: vec![Obstacle {
                    name: "reed".into(),
                    shape: Capsule { from: v([0.0, 0.0, 11.0]), to: v([0.0, 60.0, 11.0]), radius: 2.0 },
                }],
                keep_out: vec![KeepOut { name: "lamp".into(), least: v([-100.0, -90.0, -90.0]), greatest: v([-5.0, 90.0, 90.0]) }],
                ..around(20.0)
            },
        )
        .unwrap();
    for exposure in [Exposure::Moving, Exposure::Held] {
        let pass = Pass::new(&stage, "picture", exposure, 10.0, 180.0, 0.0, vec![]).unwrap();
        let report = checked(&stage, &shot(&stage, (1, 5), &[], vec![pass]));
        let pairs = &report.passes[0].clearance.as_ref().unwrap().pairs;
        for (against, gap) in
            [(Against::Group(group_at(&stage, 1)), 8.0 - 24.0), (Against::Obstacle(0), 11.0 - 16.0), (Against::KeepOut(0), 5.0 - 14.0)]
        {
            let n = pairs.iter().find(|n| n.group == group_at(&stage, 0) && n.against == against).unwrap();
            assert!(n.gap <= gap + 1e-9 && gap - n.gap <= n.tolerance, "{exposure:?} {n:?} {gap}");
        }
    }
}

/// A rod of 1000 mm swings like a clock's hand past a post that only its middle reaches, between two frames.
#[test]
fn a_swinging_rod_meets_a_post_between_frames() {
    let rod = Capsule { from: v([0.0; 3]), to: v([1000.0, 0.0, 0.0]), radius: 4.0 };
    let stage = |x: f64| {
        groups(vec![("heron_a", vec![turning("yaw")])])
            .with_bodies(
                vec![body("heron_a", vec![turn(0, [0.0, 1.0, 0.0], [0.0; 3])], &["heron_a.yaw"], vec![rod])],
                Surroundings {
                    obstacles: vec![Obstacle {
                        name: "reed".into(),
                        shape: Capsule { from: v([x, 3.0, 0.0]), to: v([x, 50.0, 0.0]), radius: 1.0 },
                    }],
                    ..around(0.0)
                },
            )
            .unwrap()
    };
    // Half a turn in a frame and a half would be seen by no sample: 120 deg per frame through 0 at frame 10.4.
    let program = keyed(Shape::NaturalCubic, &[(0.0, -1248.0), (20.0, 1152.0)]);
    for (x, gap) in [(500.0, 3.0 - 5.0), (1006.0, (6.0_f64 * 6.0 + 9.0).sqrt() - 5.0)] {
        let s = stage(x);
        let h = shot(&s, (8, 12), core::slice::from_ref(&program), vec![moving(&s, "picture", 1.0)]);
        let n = one(&checked(&s, &h));
        assert!(n.gap <= gap + 1e-9 && gap - n.gap <= n.tolerance, "{n:?} {gap}");
        assert_eq!(n.is_kept(), x > 1000.0);
    }
}

#[test]
fn a_box_is_kept_out_of_by_the_whole_capsule() {
    let rod = Capsule { from: v([-300.0, 0.0, 0.0]), to: v([300.0, 0.0, 0.0]), radius: 20.0 };
    let stage = groups(vec![("heron_a", vec![axis("lift")])])
        .with_bodies(
            vec![body("heron_a", vec![slide(0, [0.0, 1.0, 0.0])], &["heron_a.lift"], vec![rod])],
            Surroundings {
                keep_out: vec![KeepOut { name: "lamp".into(), least: v([-50.0, 500.0, -50.0]), greatest: v([50.0, 800.0, 50.0]) }],
                ..around(30.0)
            },
        )
        .unwrap();
    // A parabola's top between frames: natural cubic through three keys tops near 460 mm; 500 - 20 - top is left.
    let h = shot(
        &stage,
        (1, 20),
        &[keyed(Shape::NaturalCubic, &[(1.0, 0.0), (10.3, 460.0), (20.0, 0.0)])],
        vec![moving(&stage, "picture", 1.0)],
    );
    let mv = compiled(&stage, &h);
    let top = mv.axes()[axis_at(&stage, 0)].peaks().greatest;
    let report = mv.check().unwrap();
    let n = one(&report);
    let exact = 480.0 - top.value;
    assert!(n.gap <= exact + 1e-9 && exact - n.gap <= n.tolerance && (n.at - top.at).abs() < 0.1, "{n:?} {top:?}");
    let said = violations(&report.passes[0]);
    assert!(said[0].contains("the box lamp"), "{said:?}");
}

#[test]
fn parked_figures_stand_at_home_and_still_stand_in_the_way() {
    let mut along = axis("along");
    along.home = -250.0;
    let stage = groups(vec![("heron_a", vec![along]), ("heron_b", vec![axis("along")])])
        .with_bodies(
            vec![
                body("heron_a", vec![slide(0, [1.0, 0.0, 0.0])], &["heron_a.along"], vec![ball(10.0)]),
                body("heron_b", vec![slide(0, [1.0, 0.0, 0.0])], &["heron_b.along"], vec![ball(10.0)]),
            ],
            around(5.0),
        )
        .unwrap();
    let program = [
        keyed(Shape::MinimumJerk, &[(1.0, 400.0), (40.0, 600.0)]),
        keyed(Shape::MinimumJerk, &[(1.0, 0.0), (20.0, -200.0), (40.0, 100.0)]),
    ];
    let park = |name: &str, park: Vec<usize>| {
        let park = park.into_iter().map(|g| group_at(&stage, g)).collect();
        Pass::new(&stage, name, Exposure::Moving, 1.0, 180.0, 0.0, park).unwrap()
    };
    let h = shot(
        &stage,
        (1, 40),
        &program,
        vec![park("picture", vec![]), park("alone", vec![0]), park("again", vec![]), park("empty", vec![0, 1])],
    );
    let mv = compiled(&stage, &h);
    let report = mv.check().unwrap();
    let gaps: Vec<f64> = report.passes.iter().map(|p| p.clearance.as_ref().unwrap().pairs[0].gap).collect();
    // In the second pass the first heron waits at -250, and the second comes down to some -200.
    let least = mv.axes()[axis_at(&stage, 1)].peaks().least.value;
    assert!((-205.0..=-200.0).contains(&least), "{least}");
    for (gap, expected) in gaps.iter().zip([380.0, least + 230.0, 380.0, 230.0]) {
        assert!((gap - expected).abs() < 1e-2, "{gaps:?}");
    }
    assert!(report.within_limits());
}

fn bridges(reach: [f64; 2], gap: f64) -> Stage {
    let rail = |group: &str, name: &str| {
        let mut b = body(group, vec![], &[], vec![]);
        b.rail = Some(("north".into(), name.into(), reach, gap));
        b
    };
    groups(vec![("heron_a", vec![axis("bridge")]), ("heron_b", vec![axis("bridge")]), ("heron_c", vec![axis("bridge")])])
        .with_bodies(
            vec![rail("heron_a", "heron_a.bridge"), rail("heron_b", "heron_b.bridge"), rail("heron_c", "heron_c.bridge")],
            around(0.0),
        )
        .unwrap()
}

/// The first bridge runs to 300 and back, the second starts at 1000 and comes to 500 out of step, the third stands at -400.
fn bridge_programs() -> [crate::inside::common::Program; 3] {
    [
        keyed(Shape::MinimumJerk, &[(1.0, 0.0), (20.5, 300.0), (40.0, 0.0)]),
        keyed(Shape::NaturalCubic, &[(1.0, 1000.0), (23.7, 500.0), (40.0, 1200.0)]),
        keyed(Shape::MinimumJerk, &[(1.0, -400.0)]),
    ]
}

#[test]
fn carriages_on_one_rail_keep_their_gap() {
    let s = bridges([40.0, 60.0], 25.0);
    let h = shot(&s, (1, 40), &bridge_programs(), vec![moving(&s, "picture", 3.0), moving(&s, "slow", 30.0)]);
    let mv = compiled(&s, &h);
    let report = mv.check().unwrap();
    let [a, b, c] = [0, 1, 2].map(|i| group_at(&s, i));
    let pairs = &report.passes[0].clearance.as_ref().unwrap().pairs;
    assert_eq!(pairs.iter().map(|n| (n.group, n.against)).collect::<Vec<_>>(), [(c, Against::Rail(a)), (a, Against::Rail(b))]);
    assert_eq!(report.passes[1].clearance.as_ref().unwrap().pairs, *pairs);
    let (a, b) = (curve(&mv, 0), curve(&mv, 1));
    let mut least = f64::INFINITY;
    let n = 40_000;
    for i in 0..=n {
        let t = a.start() + (a.end() - a.start()) * f64::from(i) / f64::from(n);
        least = least.min(b.at(t).unwrap() - a.at(t).unwrap() - 100.0);
    }
    // 1 ms of a frame hides at most 1/8 of a few mm/frame^2 times 1e-6.
    let found = pairs[1];
    assert!(found.gap <= least + 1e-9 && least - found.gap < 1e-4, "{found:?} {least}");
    assert!(found.at.fract() != 0.0 && found.proof == Proof::Tight);
    assert_eq!(pairs[0].gap, 300.0);

    // Exactly that gap passes; a hundredth of a millimetre more does not, and the message names frame and axes.
    let at = |gap: f64| {
        let s = bridges([40.0, 60.0], gap);
        let h = shot(&s, (1, 40), &bridge_programs(), vec![moving(&s, "picture", 3.0)]);
        checked(&s, &h)
    };
    // After a fault both would come nearer than that, by less than a tenth of a millimetre.
    let exactly = at(found.gap);
    assert!(exactly.passes[0].violations.iter().all(|v| v.limit == Limit::Stopping), "{:?}", exactly.passes[0].violations);
    assert!(at(found.gap - 0.1).within_limits());
    let over = at(found.gap + 0.01);
    let v = &over.passes[0].violations[0];
    assert_eq!((v.limit, v.subject.axis(), v.allowed), (Limit::Clearance, axis_at(&s, 0), found.gap + 0.01));
    let said = violations(&over.passes[0]);
    assert!(said[0].contains("the carriage of heron_a.bridge and that of heron_b.bridge are"), "{said:?}");
}

/// Two carriages whose homes and starts stand in another order would meet on the way to the start, though the move itself keeps them apart.
#[test]
fn carriages_that_would_meet_on_the_move_to_start_are_noted_and_get_no_rows() {
    let looked_at = |start: f64, gap: f64| {
        let rail = |group: &str, name: &str| {
            let mut b = body(group, vec![], &[], vec![]);
            b.rail = Some(("north".into(), name.into(), [40.0, 60.0], gap));
            b
        };
        let mut second = axis("bridge");
        second.home = 500.0;
        let s = groups(vec![("heron_a", vec![axis("bridge")]), ("heron_b", vec![second])])
            .with_bodies(vec![rail("heron_a", "heron_a.bridge"), rail("heron_b", "heron_b.bridge")], around(0.0))
            .unwrap();
        let programs = [keyed(Shape::MinimumJerk, &[(1.0, 1000.0), (40.0, 1100.0)]), keyed(Shape::MinimumJerk, &[(1.0, start)])];
        let h = shot(&s, (1, 40), &programs, vec![moving(&s, "picture", 3.0)]);
        let report = checked(&s, &h);
        let noted = report.notes.iter().find(|n| n.kind.name() == "move_to_start_clearance").map(|n| words::note(&report.compiled, n));
        let (leg, on_the_way) = &report.passes[0].way_clearance[0];
        let n = on_the_way.as_ref().unwrap().pairs[0];
        assert_eq!((*leg, noted.is_none()), (Leg::MoveToStart, report.passes[0].way_is_clear(Leg::MoveToStart)));
        let dir = tempfile::tempdir().unwrap();
        let sources = [("shot.toml".to_owned(), b"format = 1\n".to_vec())];
        let rows = movewright::output::rows::RowRate::parse(&1.0.to_string()).ok();
        let written = Approval::within_limits(&report).is_some_and(|approval| {
            let export = movewright::output::Export {
                parts: None,
                approval,
                sources: &sources,
                replace: false,
                wishes: movewright::output::handoff::sampling::Wishes::default(),
                rows,
            };
            export.write(&dir.path().join("out"), &mut |_| {}).is_ok()
        });
        (n, noted, report.within_limits(), written)
    };
    // From 0 to 1000 and from 500 to 600: at the end of the way the first is past the second.
    let (n, noted, within, written) = looked_at(600.0, 25.0);
    assert!((n.gap - (600.0 - 1000.0 - 100.0)).abs() < 1e-6 && n.proof == Proof::Tight, "{n:?}");
    let noted = noted.unwrap();
    assert!(
        noted.starts_with("pass picture, move to start: the carriage of heron_a.bridge and that of heron_b.bridge overlap by 500 mm"),
        "{noted}"
    );
    assert!(within && !written, "the move keeps them apart, and no controller is fed");
    // At 2000 the way ends 900 apart and began 400 apart: the least is at home, and exactly that may be kept.
    let (n, noted, _, written) = looked_at(2000.0, 400.0);
    assert!((n.gap - 400.0).abs() < 1e-9 && noted.is_none() && written, "{n:?} {noted:?}");
    let (_, noted, _, written) = looked_at(2000.0, 400.01);
    assert!(noted.is_some() && !written);
}

#[test]
fn carriages_that_change_places_have_lost_their_order() {
    let s = bridges([0.0, 0.0], 0.0);
    let mut programs = bridge_programs();
    programs[0] = keyed(Shape::MinimumJerk, &[(1.0, 0.0), (20.0, 2000.0), (40.0, 3000.0)]);
    let h = shot(&s, (1, 40), &programs, vec![moving(&s, "picture", 3.0)]);
    let report = checked(&s, &h);
    let said = violations(&report.passes[0]);
    assert!(report.passes[0].violations[0].value < -1000.0 && said[0].contains("overlap by"), "{said:?}");
}

/// Held: all axes leave a station together and arrive together, so what stays apart in step stays apart between exposures too.
#[test]
fn between_held_exposures_axes_move_in_step() {
    let s = bridges([0.0, 0.0], 0.0);
    let line = |from: f64, by: f64| keyed(Shape::NaturalCubic, &[(0.0, from), (10.0, from + 10.0 * by)]);
    let programs = [line(0.0, 40.0), line(100.0, 40.0), line(-500.0, 0.0)];
    let pass = Pass::new(&s, "picture", Exposure::Held, 100.0, 180.0, 0.0, vec![]).unwrap();
    let h = shot(&s, (1, 9), &programs, vec![pass]);
    let report = checked(&s, &h);
    let n = report.passes[0].clearance.as_ref().unwrap().pairs[1];
    assert!((n.gap - 100.0).abs() < 1e-9 && n.proof == Proof::Tight, "{n:?}");

    let crossed = crossing(0.0, 0.2);
    let stage = crossed.stage();
    let pass = Pass::new(stage, "picture", Exposure::Held, 100.0, 180.0, 0.0, vec![]).unwrap();
    // One goes away from the origin, the other comes to it.
    let near = |by: f64| keyed(Shape::NaturalCubic, &[(0.0, 300.0), (10.0, 300.0 + by)]);
    let h = shot(stage, (1, 9), &[near(1.0), near(-1.0)], vec![pass]);
    let n = one(&checked(stage, &h));
    // Apart by d from 300 to either side they are 2 x 300^2 + 2 d^2 apart, squared: least at the first station.
    let least = (300.1_f64 * 300.1 + 299.9 * 299.9).sqrt() - 15.0;
    assert!(n.gap <= least + 1e-9 && least - n.gap <= n.tolerance && n.proof == Proof::Tight, "{n:?} {least}");
}
