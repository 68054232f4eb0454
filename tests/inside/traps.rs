//! Numerical traps that trajectory systems are known to fall into, each as a case of its own. Others are `trap_...` beside what
//! they guard: holds, boundaries, joins, roots, scale, mirror, drift of counts.

use crate::inside::common::{CycleSpec, Program, axis, checked, column, compiled, moving, shot, stage, table};
use movewright::check::Limit;
use movewright::compile::Compiled;
use movewright::output::columns::Column;
use movewright::shot::Shape;

/// A polynomial expanded about time zero and read an hour later is wrong by millions of steps; in local time it does not know the hour.
#[test]
fn trap_a_move_late_in_a_long_shot_counts_the_same_steps() {
    let s = stage(vec![axis("bridge")]);
    let keys = |shift: f64| vec![(10.0 + shift, 0.0), (33.0 + shift, 271.25), (70.0 + shift, -40.5)];
    for shape in [Shape::MinimumJerk, Shape::Monotone, Shape::NaturalCubic, Shape::StopAtKeys] {
        let counts = |shift: i64| {
            let p = Program { tracks: vec![(shape, None, keys(shift as f64))], ..Program::default() };
            let h = shot(&s, (1 + shift, 80 + shift), &[p], vec![moving(&s, "picture", 12.0)]);
            column(&table(&compiled(&s, &h), 0, Column::Steps), "heron.bridge")
        };
        assert_eq!(counts(0), counts(50_000_000), "{shape:?}");
    }
}

/// One axis with nothing to do among others, moves of nothing and of a step, a return to the start: every harmless input compiles.
#[test]
fn trap_harmless_moves_compile() {
    for keys in [
        vec![(1.0, 0.0)],
        vec![(1.0, 0.0), (2.0, 0.0)],
        vec![(1.0, 0.0), (2.0, 0.01)],
        vec![(1.0, 0.0), (2.0, 5e-9)],
        vec![(1.0, 3.0), (10.0, 50.0), (20.0, 3.0)],
        vec![(1.0, 0.0), (1.000_001, 0.0), (48.0, 1.0)],
    ] {
        for shape in Shape::ALL.map(|s| s.1) {
            let s = stage(vec![axis("bridge"), axis("still")]);
            let p = Program { tracks: vec![(shape, None, keys.clone())], ..Program::default() };
            let h = shot(&s, (1, 48), &[p, Program::default()], vec![moving(&s, "picture", 12.0)]);
            let compiled = Compiled::new(s, h).unwrap_or_else(|e| panic!("{shape:?} {keys:?}: {e:?}"));
            assert!(compiled.axes().iter().nth(1).unwrap().never_moves());
            let counts = column(&table(&compiled, 0, Column::Steps), "heron.bridge");
            assert_eq!(counts.len(), 48);
        }
    }
}

/// A frame's worth of motion squeezed between two keys a hair apart exceeds every limit, and is reported, not divided by.
#[test]
fn trap_keys_a_hair_apart_are_over_a_limit_not_a_crash() {
    let s = stage(vec![axis("bridge")]);
    for gap in [1e-3, 1e-6] {
        let p = Program { tracks: vec![(Shape::StopAtKeys, None, vec![(10.0, 0.0), (10.0 + gap, 100.0)])], ..Program::default() };
        let h = shot(&s, (1, 48), &[p], vec![moving(&s, "picture", 1.0)]);
        let report = checked(&s, &h);
        let v = &report.passes[0].violations;
        assert!(v.iter().any(|v| v.limit == Limit::Velocity && (v.value / (1.875 * 100.0 / gap) - 1.0).abs() < 1e-6), "{v:?}");
        assert!(v.iter().any(|v| v.limit == Limit::Jerk));
    }
}

/// Counts near 2^53 are exact to the step: f64 positions and i64 counts, never f32.
#[test]
fn trap_large_counts_are_exact() {
    let mut a = axis("bridge");
    a.travel = [0.0, 8e8];
    a.limits.velocity = 1e12;
    a.limits.acceleration = 1e12;
    a.limits.jerk = 1e12;
    a.drive.travel_per_rev = 1.0 / 32_768.0;
    // 200 steps x 32768 a millimetre: 6,553,600; at 7e8 mm that is 4.6e15, half of 2^53.
    let s = stage(vec![a]);
    let p = Program { tracks: vec![(Shape::Monotone, None, vec![(1.0, 700_000_000.0), (2.0, 700_000_000.125)])], ..Program::default() };
    let h = shot(&s, (1, 3), &[p], vec![moving(&s, "picture", 12.0)]);
    let counts = column(&table(&compiled(&s, &h), 0, Column::Steps), "heron.bridge");
    assert_eq!(counts, ["4587520000000000", "4587520000819200", "4587520000819200"]);
}

/// Half a step goes to the even neighbour, on both sides of zero, and the same with the axis reversed.
#[test]
fn trap_half_steps_have_one_rule() {
    for reverse in [false, true] {
        let mut a = axis("bridge");
        a.drive.reverse = reverse;
        let s = stage(vec![a]);
        let values = [0.005, 0.015, 0.025, -0.005, -0.015, -0.025];
        let keys = values.iter().enumerate().map(|(i, v)| (1.0 + i as f64, *v)).collect();
        let p = Program { tracks: vec![(Shape::StopAtKeys, None, keys)], ..Program::default() };
        let h = shot(&s, (1, 6), &[p], vec![moving(&s, "picture", 12.0)]);
        let counts = column(&table(&compiled(&s, &h), 0, Column::Steps), "heron.bridge");
        let want = if reverse { ["0", "-2", "-2", "0", "2", "2"] } else { ["0", "2", "2", "0", "-2", "-2"] };
        assert_eq!(counts, want);
    }
}

/// A beat too fast for the shot's length is refused before memory is: work is bounded.
#[test]
fn trap_work_is_bounded() {
    let s = stage(vec![axis("wing")]);
    let cycle = CycleSpec { period: 1.0, phase: 0.0, keys: vec![(0.0, 0.0), (0.5, 1.0)], amount: vec![], rate: vec![(0.0, 100.0)] };
    let p = Program { cycles: vec![cycle], ..Program::default() };
    let h = shot(&s, (0, 999_999), &[p], vec![moving(&s, "picture", 12.0)]);
    let errors = Compiled::compile(s, h).unwrap_err();
    assert!(errors[0].to_string().contains("heron.wing") && errors[0].to_string().contains("longer period"), "{}", errors[0]);
}

/// Differences of rounded counts carry noise of 2^(k-1) steps per frame^k: a slow crawl within every limit must not be refused for them.
#[test]
fn trap_limits_are_checked_on_the_curve_not_on_rounded_counts() {
    let mut a = axis("bridge");
    // A fifth of a step per frame at 1 s per frame: second differences of counts reach a whole step/s^2, a hundred times this limit.
    a.limits.acceleration = 1e-4;
    a.limits.jerk = 1e-4;
    let s = stage(vec![a]);
    let p = Program { tracks: vec![(Shape::NaturalCubic, None, vec![(-400.0, 0.0), (400.0, 1.6)])], ..Program::default() };
    let h = shot(&s, (1, 100), &[p], vec![moving(&s, "picture", 1.0)]);
    let compiled = compiled(&s, &h);
    assert!(compiled.check().unwrap().within_limits());
    let c: Vec<i64> = column(&table(&compiled, 0, Column::Steps), "heron.bridge").iter().map(|c| c.parse().unwrap()).collect();
    let second = c.windows(3).map(|w| (w[2] - 2 * w[1] + w[0]).abs()).max().unwrap();
    assert!(second >= 1, "the counts are as noisy as they should be");
}
