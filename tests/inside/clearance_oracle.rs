//! Clearance against dense sampling: nothing sampled is nearer than what is reported, through chains and mechanisms.

use crate::inside::common::bodies::{around, body, groups, keyed, slide, turn, turning, v};
use crate::inside::common::{axis, compiled, curve, group_at, moving, shot};
use movewright::bounds::Budget;
use movewright::check::clearance::{ClearanceReport, Proof, clearance, distance};
use movewright::compile::Compiled;
use movewright::mechanism::{CarriedFrom, JointSpec, LimbWire, LimbWireSpec, Swashplate, SwashplateSpec, Vector};
use movewright::program::Program;
use movewright::shot::Shape;
use movewright::stage::{BodySpec, Capsule, KeepOut, MachineSpec, Obstacle, Surroundings};
use movewright::time::FrameTime;
use proptest::prelude::*;

#[test]
fn mechanisms_are_followed_back_to_what_is_seen() {
    let radius = 100.0;
    for rod_length in [None, Some(250.0)] {
        let plate = Swashplate::new(SwashplateSpec { radius, azimuths: [0.0, 120.0, 240.0], rod_length, carried_from: CarriedFrom::Below })
            .unwrap();
        let wire = LimbWire::new(LimbWireSpec { arm: 80.0, guide: [0.0, 200.0], neutral: 0.0 }).unwrap();
        let stage = groups(vec![("heron_a", vec![axis("one"), axis("two"), axis("three"), axis("wing_wire")])])
            .with_machines(vec![
                MachineSpec::new(
                    plate,
                    ["heron_a.heave", "heron_a.pitch", "heron_a.roll"],
                    ["heron_a.one", "heron_a.two", "heron_a.three"],
                ),
                MachineSpec::new(wire, ["heron_a.wing"], ["heron_a.wing_wire"]),
            ])
            .unwrap()
            .with_bodies(
                vec![body(
                    "heron_a",
                    vec![
                        slide(0, [0.0, 1.0, 0.0]),
                        turn(1, [1.0, 0.0, 0.0], [0.0; 3]),
                        turn(2, [0.0, 0.0, 1.0], [0.0; 3]),
                        turn(3, [0.0, 0.0, 1.0], [30.0, 0.0, 0.0]),
                    ],
                    &["heron_a.heave", "heron_a.pitch", "heron_a.roll", "heron_a.wing"],
                    vec![Capsule { from: v([0.0; 3]), to: v([200.0, 0.0, 0.0]), radius: 6.0 }],
                )],
                Surroundings {
                    obstacles: vec![Obstacle {
                        name: "reed".into(),
                        shape: Capsule { from: v([150.0, 120.0, -40.0]), to: v([150.0, 400.0, -40.0]), radius: 3.0 },
                    }],
                    ..around(1.0)
                },
            )
            .unwrap();
        let keys = |k: &[(f64, f64)]| keyed(Shape::NaturalCubic, k);
        let programs = [
            keys(&[(1.0, 0.0), (12.0, 30.0), (30.0, 0.0)]),
            keys(&[(1.0, 0.0), (10.0, 12.0), (30.0, -8.0)]),
            keys(&[(1.0, 5.0), (14.0, -15.0), (30.0, 0.0)]),
            keys(&[(1.0, -20.0), (13.0, 35.0), (30.0, -10.0)]),
        ];
        let h = shot(&stage, (1, 30), &programs, vec![moving(&stage, "picture", 3.0)]);
        let mv = compiled(&stage, &h);
        let report = of_first_pass(&mv);
        let n = report.pairs[0];
        let (sampled, _) = sampled(&mv, 4000);
        assert!(n.gap <= sampled + 1e-9 && sampled - n.gap <= n.tolerance + 1e-4 && n.proof == Proof::Tight, "{n:?} {sampled}");
    }
}

/// Every gap of the first pass.
fn of_first_pass(mv: &Compiled) -> ClearanceReport {
    clearance(&Program::all(mv).unwrap()[0], 0.0).unwrap()
}

/// The least gap of the first body from everything, at an instant.
fn gap_at(mv: &Compiled, t: f64) -> f64 {
    let stage = mv.stage();
    let mut least = f64::INFINITY;
    let placed: Vec<Vec<([Vector; 2], f64)>> = stage
        .bodies()
        .iter()
        .map(|b| {
            let pose = mv.pose_at(None, b, FrameTime(t)).unwrap();
            b.solids().iter().map(|c| (c.ends.map(|hold| pose.out_fixed(hold.at)), c.radius)).collect()
        })
        .collect();
    for (a, r) in &placed[0] {
        for (b, s) in placed.iter().skip(1).flatten() {
            least = least.min(distance::segments(*a, *b).distance - r - s);
        }
        for o in &stage.surroundings().obstacles {
            least = least.min(distance::segments(*a, [o.shape.from, o.shape.to]).distance - r - o.shape.radius);
        }
        for o in &stage.surroundings().keep_out {
            least = least.min(distance::from_box(*a, o.least, o.greatest).distance - r);
        }
    }
    least
}

/// The least gap at `n` moments, and around each that could hide a lesser one at 64 more; and how far it can still be above the least of all: what changes from a moment
/// to the next is the most that either hides.
fn sampled(mv: &Compiled, n: u32) -> (f64, f64) {
    let (from, to) = (curve(mv, 0).start(), curve(mv, 0).end());
    let spacing = (to - from) / f64::from(n);
    let at = |i: f64| gap_at(mv, (from + spacing * i).clamp(from, to));
    let gaps: Vec<f64> = (0..=n).map(|i| at(f64::from(i))).collect();
    let change = gaps.windows(2).map(|w| (w[1] - w[0]).abs()).fold(0.0, f64::max);
    let coarse = gaps.iter().copied().fold(f64::INFINITY, f64::min);
    let near = (0..=n).zip(&gaps).filter(|(_, gap)| **gap <= coarse + change);
    let fine = near.flat_map(|(i, _)| (-32..=32_i32).map(move |k| f64::from(i) + f64::from(k) / 32.0)).map(at).fold(coarse, f64::min);
    (fine, change / 32.0)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 40, ..ProptestConfig::default() })]
    /// Whatever two chains of a slide and two turns do: no sample is nearer than what is reported, and the report is within its
    /// tolerance plus what lies between samples (by the greatest change from one to the next).
    #[test]
    fn nothing_sampled_is_nearer(
        a in prop::collection::vec((-300.0..300.0_f64, -90.0..90.0_f64, -90.0..90.0_f64), 3),
        b in prop::collection::vec((-300.0..300.0_f64, -90.0..90.0_f64, -90.0..90.0_f64), 3),
        far in prop::array::uniform3(-500.0..500.0_f64),
    ) {
        let axes = || vec![axis("bridge"), turning("yaw"), turning("roll")];
        let joints = |offset: [f64; 3]| vec![
            JointSpec { offset, ..slide(0, [1.0, 0.2, 0.0]) },
            turn(1, [0.0, 1.0, 0.0], [0.0; 3]),
            turn(2, [0.0, 0.0, 1.0], [0.0, -120.0, 0.0]),
        ];
        let rods = || vec![
            Capsule { from: v([-150.0, 0.0, 0.0]), to: v([150.0, 0.0, 0.0]), radius: 12.0 },
            Capsule { from: v([0.0, 0.0, 0.0]), to: v([0.0, 120.0, 0.0]), radius: 3.0 },
        ];
        let names = |g: &str| ["bridge", "yaw", "roll"].map(|n| format!("{g}.{n}"));
        let spec = |name: &str, offset| BodySpec {
            joints: joints(offset), channels: names(name).to_vec(), envelope: rods().into_iter().map(Into::into).collect(), ..BodySpec::new(name)
        };
        let stage = groups(vec![("heron_a", axes()), ("heron_b", axes())])
            .with_bodies(
                vec![spec("heron_a", [0.0; 3]), spec("heron_b", far)],
                Surroundings { keep_out: vec![KeepOut { name: "lamp".into(), least: v([400.0, 0.0, -60.0]), greatest: v([500.0, 90.0, 300.0]) }], ..around(20.0) },
            )
            .unwrap();
        let track = |k: [f64; 3]| keyed(Shape::NaturalCubic, &[(1.0, k[0]), (9.0, k[1]), (16.0, k[2])]);
        let of = |c: &[(f64, f64, f64)]| [
            track([c[0].0, c[1].0, c[2].0]), track([c[0].1, c[1].1, c[2].1]), track([c[0].2, c[1].2, c[2].2]),
        ];
        let programs: Vec<_> = of(&a).into_iter().chain(of(&b)).collect();
        let h = shot(&stage, (1, 16), &programs, vec![moving(&stage, "picture", 3.0)]);
        // Bodies whose cores cross need more than the usual budget; here the search itself is tried.
        let mv = Compiled::within(Budget::Large, stage.clone(), h.clone()).unwrap();
        let report = of_first_pass(&mv);
        let found = report.pairs.iter().filter(|n| n.group == group_at(&stage, 0)).map(|n| n.gap).fold(f64::INFINITY, f64::min);
        let worst = *report.worst().unwrap();
        let (fine, between) = sampled(&mv, 1600);
        prop_assert!(found <= fine + 1e-9, "{found} above {fine}");
        let hidden = between + 1e-3 * fine.abs().max(1.0);
        prop_assert!(worst.group != group_at(&stage, 0) || fine - found <= worst.tolerance + hidden, "{found} far below {fine}");
        prop_assert!(worst.proof == Proof::Tight && report.pairs.iter().all(|n| n.is_kept() || n.proof == Proof::Tight), "{report:?}");
    }
}
