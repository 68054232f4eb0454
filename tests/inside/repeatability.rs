//! The same move every time: one input, one output, whatever else is on the stage and however it is run.

use crate::inside::common::{Program, any_program, axis, column, compiled, curve, group_at, moving, shot, shot_with, stage, table};
use movewright::output::columns::Column;
use movewright::shot::{Copy, Shape};
use movewright::stage::{Axis, GroupSpec, Stage};
use proptest::prelude::*;

fn with_threads<T: Send>(n: usize, f: impl FnOnce() -> T + Send) -> T {
    rayon::ThreadPoolBuilder::new().num_threads(n).build().unwrap().install(f)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

    #[test]
    fn a_key_comes_back_bit_for_bit_at_its_frame(
        shape in prop::sample::select(vec![Shape::MinimumJerk, Shape::Monotone, Shape::NaturalCubic, Shape::StopAtKeys]),
        keys in crate::inside::common::any_keys(110.0),
    ) {
        let s = stage(vec![axis("bridge")]);
        let program = Program { tracks: vec![(shape, None, keys.clone())], ..Program::default() };
        let shot = shot(&s, (1, 160), &[program], vec![moving(&s, "picture", 12.0)]);
        let mv = compiled(&s, &shot);
        for (frame, value) in keys {
            prop_assert_eq!(curve(&mv, 0).at(frame).unwrap().to_bits(), value.to_bits(), "frame {}", frame);
        }
    }

    #[test]
    fn equal_keys_of_a_monotone_track_are_one_count_on_every_frame(value in -400.0..400.0_f64, other in -400.0..400.0_f64) {
        let s = stage(vec![axis("bridge")]);
        let program = Program { tracks: vec![(Shape::Monotone, None, vec![(1.0, other), (20.0, value), (70.0, value), (90.0, other)])], ..Program::default() };
        let shot = shot(&s, (1, 100), &[program], vec![moving(&s, "picture", 12.0)]);
        let mv = compiled(&s, &shot);
        let counts = column(&table(&mv, 0, Column::Steps), "heron.bridge");
        prop_assert!(counts[19..70].iter().all(|c| *c == counts[19]), "{:?}", &counts[19..70]);
    }

    #[test]
    fn other_axes_other_passes_and_threads_change_no_column(programs in prop::collection::vec(any_program(), 3)) {
        let s = stage(vec![axis("bridge"), axis("trolley"), axis("hoist")]);
        let both = shot(&s, (1, 120), &programs, vec![moving(&s, "picture", 12.0), moving(&s, "rods", 12.0)]);
        let whole = with_threads(1, || table(&compiled(&s, &both), 0, Column::Steps));
        for n in [2, 7] {
            prop_assert_eq!(&whole, &with_threads(n, || table(&compiled(&s, &both), 0, Column::Steps)));
        }
        prop_assert_eq!(&whole, &table(&compiled(&s, &both), 1, Column::Steps));
        for (i, name) in ["bridge", "trolley", "hoist"].iter().enumerate() {
            let lone_stage = stage(vec![axis(name)]);
            let lone = shot(&lone_stage, (1, 120), &programs[i..=i], vec![moving(&lone_stage, "picture", 12.0)]);
            let alone = table(&compiled(&lone_stage, &lone), 0, Column::Steps);
            let full = format!("heron.{name}");
            prop_assert_eq!(column(&whole, &full), column(&alone, &full));
        }
    }

    #[test]
    fn a_delayed_copy_shifts_the_column(program in any_program(), delay in 1..20_i64) {
        let one = |n: &str| GroupSpec { name: n.into(), axes: vec![Axis::new(axis("bridge")).unwrap()] };
        let s = Stage::new("marsh", 0.25, vec![one("heron_a"), one("heron_b")]).unwrap();
        let copy = Copy::new(group_at(&s, 0), group_at(&s, 1), delay as f64, vec![]).unwrap();
        let shot = shot_with(&s, (1, 160), &[program], vec![moving(&s, "picture", 12.0)], vec![copy]);
        let mv = compiled(&s, &shot);
        let t = table(&mv, 0, Column::Units);
        let (a, b) = (column(&t, "heron_a.bridge"), column(&t, "heron_b.bridge"));
        let d = usize::try_from(delay).unwrap();
        for n in d..160 {
            let (x, y): (f64, f64) = (a[n - d].parse().unwrap(), b[n].parse().unwrap());
            // Polynomials are shifted exactly; fits of the shifted signal have knots of their own: a sixteenth of a step each.
            prop_assert!((x - y).abs() <= 2.0 / 1600.0 + 1e-6, "frame {}: {x} {y}", n + 1);
        }
    }

    #[test]
    fn trap_scaling_every_length_by_a_power_of_two_scales_the_bits(program in any_program(), k in -20..20_i32) {
        let f = 2.0_f64.powi(k);
        let scaled = Program {
            tracks: program.tracks.iter().map(|(s, b, keys)| (*s, *b, keys.iter().map(|(t, v)| (*t, v * f)).collect())).collect(),
            cycles: program.cycles.iter().cloned().map(|mut c| { c.keys.iter_mut().for_each(|v| v.1 *= f); c }).collect(),
            drifts: program.drifts.iter().map(|(s, a, p)| (*s, a * f, *p)).collect(),
        };
        let spec = |f: f64| {
            let mut a = axis("bridge");
            a.travel = [-600.0 * f, 600.0 * f];
            a.limits.velocity = 40.0 * f;
            a.limits.acceleration = 20.0 * f;
            a.limits.jerk = 40.0 * f;
            a.drive.travel_per_rev *= f;
            a
        };
        let (s1, s2) = (stage(vec![spec(1.0)]), stage(vec![spec(f)]));
        let (h1, h2) = (shot(&s1, (1, 120), &[program], vec![moving(&s1, "picture", 12.0)]), shot(&s2, (1, 120), &[scaled], vec![moving(&s2, "picture", 12.0)]));
        let (m1, m2) = (compiled(&s1, &h1), compiled(&s2, &h2));
        prop_assert_eq!(curve(&m1, 0).len(), curve(&m2, 0).len());
        for (p, q) in curve(&m1, 0).pieces().zip(curve(&m2, 0).pieces()) {
            prop_assert_eq!(p.quintic.0.map(|c| (c * f).to_bits()), q.quintic.0.map(f64::to_bits));
        }
        prop_assert_eq!(table(&m1, 0, Column::Steps), table(&m2, 0, Column::Steps));
    }

    #[test]
    fn trap_a_mirrored_program_counts_the_mirrored_steps(program in any_program()) {
        let mirrored = Program {
            tracks: program.tracks.iter().map(|(s, b, keys)| (*s, *b, keys.iter().map(|(t, v)| (*t, -v)).collect())).collect(),
            cycles: program.cycles.iter().cloned().map(|mut c| { c.keys.iter_mut().for_each(|v| v.1 = -v.1); c }).collect(),
            drifts: program.drifts.iter().map(|(s, a, p)| (*s, -a, *p)).collect(),
        };
        let s = stage(vec![axis("bridge")]);
        let (h1, h2) = (shot(&s, (1, 120), &[program], vec![moving(&s, "picture", 12.0)]), shot(&s, (1, 120), &[mirrored], vec![moving(&s, "picture", 12.0)]));
        let one = column(&table(&compiled(&s, &h1), 0, Column::Steps), "heron.bridge");
        let two = column(&table(&compiled(&s, &h2), 0, Column::Steps), "heron.bridge");
        for (a, b) in one.iter().zip(&two) {
            prop_assert_eq!(a.parse::<i64>().unwrap(), -b.parse::<i64>().unwrap());
        }
    }

    #[test]
    fn a_count_is_within_half_a_step_of_its_position(program in any_program()) {
        let s = stage(vec![axis("bridge")]);
        let shot = shot(&s, (1, 120), &[program], vec![moving(&s, "picture", 12.0)]);
        let mv = compiled(&s, &shot);
        let counts = column(&table(&mv, 0, Column::Steps), "heron.bridge");
        for (n, c) in (1..).zip(&counts) {
            let p = curve(&mv, 0).at(f64::from(n)).unwrap() * 100.0;
            let c: f64 = c.parse().unwrap();
            prop_assert!((p - c).abs() <= 0.5 + 1e-12 * p.abs(), "frame {n}: {p} {c}");
        }
    }
}

/// Integer positions, never sums of rounded differences: after a hundred thousand frames the count is the key's own.
#[test]
fn trap_counts_do_not_drift() {
    let s = stage(vec![axis("bridge")]);
    let program = Program { tracks: vec![(Shape::NaturalCubic, None, vec![(0.0, 0.0), (100_000.0, 3333.333)])], ..Program::default() };
    let shot = shot(&s, (0, 100_000), &[program], vec![moving(&s, "picture", 12.0)]);
    let counts = column(&table(&compiled(&s, &shot), 0, Column::Steps), "heron.bridge");
    assert_eq!(counts[100_000], "333333");
    assert_eq!(counts[50_000], "166667");
}
