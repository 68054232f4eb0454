//! Passes register on integers, planted faults are named, and an edit changes no more than it must.

use crate::inside::common::{Program, axis_at, compiled, curve, group_at, moving};
use movewright::check::changes::{self, Changes};
use movewright::check::register::{Instant, Registration, instants, register};
use movewright::compile::Compiled;
use movewright::program;
use movewright::shot::{Exposure, Pass, Shape, Shot};
use movewright::stage::{Axis, GroupSpec, Stage};
use proptest::prelude::*;

fn pass(stage: &Stage, name: &str, exposure: Exposure, pace: f64, shutter: f64, park: Vec<usize>) -> Pass {
    let park = park.into_iter().map(|g| group_at(stage, g)).collect();
    Pass::new(stage, name, exposure, pace, shutter, 0.0, park).unwrap()
}

/// The registration of every pass of a shot.
fn registration(compiled: &Compiled) -> Registration {
    let programs = program::Program::all(compiled).unwrap();
    register(&programs.iter().map(AsRef::as_ref).collect::<Vec<_>>())
}

/// Two groups: a camera of one axis, a heron of two with backlash.
fn marsh() -> Stage {
    let axes = |names: &[&str]| {
        names
            .iter()
            .map(|n| {
                let mut a = crate::inside::common::axis(n);
                a.backlash = Some(0.05);
                Axis::new(a).unwrap()
            })
            .collect()
    };
    let group = |name: &str, names: &[&str]| GroupSpec { name: name.into(), axes: axes(names) };
    Stage::new("marsh", 0.25, vec![group("camera", &["track"]), group("heron", &["lift", "wing"])]).unwrap()
}

fn track(shape: Shape, keys: &[(f64, f64)]) -> Program {
    Program { tracks: vec![(shape, None, keys.to_vec())], ..Default::default() }
}

/// The lift turns round at frame 20.4, between two exposures.
fn programs() -> Vec<Program> {
    vec![
        track(Shape::MinimumJerk, &[(1.0, 0.0), (40.0, 90.0)]),
        track(Shape::Monotone, &[(1.0, 0.0), (20.4, 30.0), (40.0, -10.0)]),
        track(Shape::Monotone, &[(5.0, 0.0), (30.0, 8.0)]),
    ]
}

#[test]
fn passes_of_one_shot_register_and_what_is_parked_is_said() {
    let stage = marsh();
    let passes = vec![
        pass(&stage, "picture", Exposure::Moving, 12.0, 180.0, vec![]),
        pass(&stage, "rods", Exposure::Moving, 8.0, 180.0, vec![]),
        pass(&stage, "mist", Exposure::Moving, 8.0, 90.0, vec![]),
        pass(&stage, "empty", Exposure::Held, 8.0, 180.0, vec![1]),
    ];
    let shot = crate::inside::common::shot(&stage, (1, 40), &programs(), passes);
    let r = registration(&compiled(&stage, &shot));
    assert!(r.registers());
    let told: Vec<_> = r.pairs.iter().map(|p| (p.first, p.second, p.live, p.parked.clone(), p.same_blur)).collect();
    let heron = vec![axis_at(&stage, 1), axis_at(&stage, 2)];
    assert_eq!(
        told,
        [
            (0, 1, 3, vec![], true),
            (0, 2, 3, vec![], false),
            (0, 3, 1, heron.clone(), false),
            (1, 2, 3, vec![], false),
            (1, 3, 1, heron.clone(), false),
            (2, 3, 1, heron, false),
        ]
    );
}

#[test]
fn an_axis_that_misses_is_named_with_its_first_frame_and_instant() {
    let stage = marsh();
    let passes = vec![moving(&stage, "picture", 12.0), moving(&stage, "rods", 8.0)];
    let shot = crate::inside::common::shot(&stage, (1, 40), &programs(), passes.clone());
    let mut other = programs();
    other[1] = track(Shape::Monotone, &[(1.0, 0.0), (20.4, 30.0), (36.0, -10.0), (40.0, -10.0)]);
    let changed = crate::inside::common::shot(&stage, (1, 40), &other, passes);
    let (a, b) = (compiled(&stage, &shot), compiled(&stage, &changed));
    // The first pass from one shot, the second from the other.
    let programs = [&a, &b].map(|c| program::Program::all(c).unwrap());
    let r = register(&[&programs[0][0], &programs[1][1]]);
    assert!(!r.registers());
    let miss = r.pairs[0].misses[0];
    assert_eq!((r.pairs[0].misses.len(), miss.axis), (1, axis_at(&stage, 1)));
    // By the counts themselves: nothing differs before, and this instant does.
    let count = |m: &Compiled, t: f64| stage.axes()[1].count(curve(m, 1).at(t).unwrap());
    let instant = |f: i64| {
        let named = [(Instant::Open, -0.25), (Instant::Middle, 0.0), (Instant::Close, 0.25)];
        named.into_iter().find(|(_, h)| count(&a, f as f64 + h) != count(&b, f as f64 + h)).map(|(i, _)| i)
    };
    let first = (1..=40).find_map(|f| instant(f).map(|i| (f, i)));
    assert_eq!(first, Some((miss.frame, miss.instant)));
    assert_eq!(miss.frames, (1..=40).filter(|f| instant(*f).is_some()).count());
}

/// Nothing of what stands is walked along where it stands on one count: one count beside it is a miss in every frame.
#[test]
fn an_axis_that_stands_on_the_next_count_misses_in_every_frame() {
    let stage = marsh();
    let passes = vec![moving(&stage, "picture", 12.0), pass(&stage, "empty", Exposure::Held, 12.0, 180.0, vec![])];
    let steps = stage.axes()[2].drive().steps_per_unit();
    let of = |counts: f64| {
        let mut programs = programs();
        programs[2] = track(Shape::Monotone, &[(1.0, counts / steps), (40.0, counts / steps)]);
        let shot = crate::inside::common::shot(&stage, (1, 40), &programs, passes.clone());
        program::Program::all(&compiled(&stage, &shot)).unwrap()
    };
    let (here, there) = (of(800.0), of(801.0));
    assert!(register(&[&here[0], &here[1]]).registers());
    let misses = register(&[&here[0], &there[1]]).pairs[0].misses.clone();
    let told: Vec<_> = misses.iter().map(|m| (m.axis, m.frame, m.frames, m.first, m.second)).collect();
    assert_eq!(told, [(axis_at(&stage, 2), 1, 40, Some(800), Some(801))]);
}

#[test]
fn an_exposure_that_passes_come_into_from_different_sides_is_named() {
    let stage = marsh();
    let passes =
        vec![pass(&stage, "picture", Exposure::Moving, 12.0, 180.0, vec![]), pass(&stage, "empty", Exposure::Held, 12.0, 180.0, vec![])];
    // Up to 20.4 and a little down again by 21: a moving pass comes into frame 21 from above, a held one, going straight from where it stood at 20, from below.
    let mut p = programs();
    p[1] = track(Shape::Monotone, &[(1.0, 0.0), (20.0, 29.5), (20.4, 30.0), (20.8, 29.9), (40.0, 29.9)]);
    let shot = crate::inside::common::shot(&stage, (1, 40), &p, passes);
    let r = registration(&compiled(&stage, &shot));
    assert!(r.registers());
    let approaches = &r.pairs[0].approaches;
    assert_eq!(approaches.len(), 1, "{approaches:?}");
    assert_eq!((approaches[0].axis, approaches[0].frame, approaches[0].backlash), (axis_at(&stage, 1), 21, Some(0.05)));
}

fn compare(stage: &Stage, old: &Shot, new: &Shot) -> Changes {
    changes::between(&compiled(stage, old), &compiled(stage, new))
}

#[test]
fn an_edit_changes_its_axis_and_the_passes_that_show_it() {
    let stage = marsh();
    let passes = |pace: f64, shutter: f64| {
        vec![
            pass(&stage, "picture", Exposure::Moving, 12.0, 180.0, vec![]),
            pass(&stage, "empty", Exposure::Moving, pace, shutter, vec![1]),
        ]
    };
    let old = crate::inside::common::shot(&stage, (1, 40), &programs(), passes(12.0, 180.0));
    let same = compare(&stage, &old, &old);
    assert!(same.axes.is_empty() && same.passes.iter().all(|p| p.good && p.reasons.is_empty()));
    let mut edited = programs();
    edited[2] = track(Shape::Monotone, &[(5.0, 0.0), (30.0, 9.0)]);
    let c = compare(&stage, &old, &crate::inside::common::shot(&stage, (1, 40), &edited, passes(12.0, 180.0)));
    assert_eq!(c.axes.len(), 1);
    assert_eq!((c.axes[0].axis.as_str(), c.axes[0].change, c.axes[0].last_frame), ("heron.wing", "changed", Some(40)));
    assert!(c.axes[0].first_frame.is_some_and(|f| (6..10).contains(&f)));
    let good: Vec<_> = c.passes.iter().map(|p| (p.pass.as_str(), p.good)).collect();
    assert_eq!(good, [("picture", false), ("empty", true)], "the heron is parked in the empty pass");
    // Another pace still registers; another shutter does not blur alike; more frames were never photographed.
    let good = |new: &Shot| compare(&stage, &old, new).passes.iter().map(|p| p.good).collect::<Vec<_>>();
    assert_eq!(good(&crate::inside::common::shot(&stage, (1, 40), &programs(), passes(8.0, 180.0))), [true, true]);
    assert_eq!(good(&crate::inside::common::shot(&stage, (1, 40), &programs(), passes(12.0, 90.0))), [true, false]);
    assert_eq!(good(&crate::inside::common::shot(&stage, (1, 41), &programs(), passes(12.0, 180.0))), [false, false]);
    assert_eq!(good(&crate::inside::common::shot(&stage, (5, 30), &programs(), passes(12.0, 180.0))), [true, true]);
}

/// The wing is moved by 0.4 of a step at frame 1 and less from there on. There both versions round to the same count in the middle and differ at the close
/// only (0.15 and 0.54 steps); at frame 5 they are 2.4 and 2.6 steps, one count apart, for half the shift.
#[test]
fn less_than_a_step_may_be_one_count_in_another_frame_than_the_worst() {
    let stage = marsh();
    let step = 1.0 / stage.axis(axis_at(&stage, 2)).drive().steps_per_unit();
    let shot = |from: f64, slope: f64| {
        let mut p = programs();
        p[2] = track(Shape::NaturalCubic, &[(1.0, from * step), (9.0, (from + 8.0 * slope) * step)]);
        crate::inside::common::shot(&stage, (1, 9), &p, vec![moving(&stage, "picture", 12.0)])
    };
    let c = compare(&stage, &shot(0.0, 0.6), &shot(0.4, 0.55));
    assert_eq!(c.axes.len(), 1);
    let wing = &c.axes[0];
    assert_eq!((wing.first_frame, wing.at_frame, wing.max_steps), (Some(1), Some(1), Some(1)), "{wing:?}");
    assert!(wing.max_units.is_some_and(|by| (by - 0.4 * step).abs() < 1e-9 * step), "{wing:?}");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(32))]

    #[test]
    fn every_live_axis_registers_at_any_pace_and_shutter(
        programs in prop::collection::vec(crate::inside::common::any_program(), 3),
        paces in prop::collection::vec(0.5..60.0_f64, 3),
        shutters in prop::collection::vec(prop::sample::select(vec![5.0, 90.0, 172.8, 180.0, 360.0]), 3),
        park in prop::collection::vec(prop::collection::vec(0..2_usize, 0..2), 3),
        held in any::<bool>(),
    ) {
        let stage = marsh();
        let passes: Vec<Pass> = (0..3)
            .map(|i| {
                let exposure = if held && i == 2 { Exposure::Held } else { Exposure::Moving };
                pass(&stage, &format!("pass_{i}"), exposure, paces[i], shutters[i], park[i].clone())
            })
            .collect();
        let shot = crate::inside::common::shot(&stage, (1, 60), &programs, passes.clone());
        let r = registration(&compiled(&stage, &shot));
        prop_assert!(r.registers());
        for p in &r.pairs {
            let (a, b) = (&passes[p.first], &passes[p.second]);
            prop_assert_eq!(p.same_blur, instants(a) == instants(b));
            prop_assert_eq!(p.live + p.parked.len(), 3);
        }
    }

    /// One key of a monotone track moves the curve between its neighbours' neighbours at most, since slopes at its neighbours depend on it. The exposures around
    /// those two keys reach a quarter of a frame inside.
    #[test]
    fn a_local_edit_of_a_monotone_track_changes_its_neighbourhood_only(
        values in prop::collection::vec(-300..300_i32, 8),
        which in 0..8_usize,
        by in prop::sample::select(vec![-40_i32, -3, 1, 25]),
    ) {
        let stage = marsh();
        let keys = |v: &[i32]| v.iter().enumerate().map(|(i, v)| (1.0 + 10.0 * i as f64, f64::from(*v))).collect::<Vec<_>>();
        let shot = |v: &[i32]| {
            let p = vec![track(Shape::Monotone, &keys(v))];
            crate::inside::common::shot(&stage, (1, 71), &p, vec![moving(&stage, "picture", 1e4)])
        };
        let mut edited = values.clone();
        edited[which] += by;
        let c = compare(&stage, &shot(&values), &shot(&edited));
        let at = 1 + 10 * i64::try_from(which).unwrap();
        prop_assert_eq!(c.axes.len(), 1);
        let (first, last) = (c.axes[0].first_frame.unwrap(), c.axes[0].last_frame.unwrap());
        prop_assert!(at - 20 <= first && first <= at && at <= last && last <= at + 20, "{} to {} about {}", first, last, at);
    }
}
