//! Nothing is missed between samples, and nothing is reported that is not there: peaks against dense sampling, fits against signals.

use crate::inside::common::{Program, any_program, axis, axis_at, checked, compiled, moving, shot, stage};
use movewright::check::{Limit, Subject};
use movewright::compile::tolerance::pace_at;
use movewright::motion::Curve;
use movewright::shot::Shape;
use movewright::signal::Layers;
use proptest::prelude::*;

/// Greatest absolute value of a derivative by sampling `n` places a piece, both ends of every piece included.
fn sampled(curve: &Curve, range: std::ops::Range<usize>, n: u32) -> [f64; 3] {
    let mut most = [0.0_f64; 3];
    for piece in curve.pieces().skip(range.start).take(range.len()) {
        for i in 0..=n {
            let j = piece.quintic.jet(f64::from(i) / f64::from(n), piece.length());
            most = [most[0].max(j.v.abs()), most[1].max(j.a.abs()), most[2].max(j.j.abs())];
        }
    }
    most
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, ..ProptestConfig::default() })]

    /// Between samples a gap g apart a curve with second derivative at most D hides at most D g^2 / 8; for jerk that is bounded by
    /// the piece's coefficients.
    #[test]
    fn sampling_never_exceeds_a_reported_peak_and_comes_close(program in any_program()) {
        let s = stage(vec![axis("bridge")]);
        let shot = shot(&s, (1, 120), &[program], vec![moving(&s, "picture", 12.0)]);
        let compiled = compiled(&s, &shot);
        let m = compiled.axes().first().unwrap();
        let n = 200;
        let seen = sampled(m.curve(), m.photographed(), n);
        let peaks = [m.peaks().velocity.value, m.peaks().acceleration.value, m.peaks().jerk.value];
        for (k, (peak, seen)) in peaks.iter().zip(seen).enumerate() {
            prop_assert!(seen <= peak * (1.0 + 1e-12) + 1e-300, "derivative {}: sampled {seen} over {peak}", k + 1);
            // A parabola through an extreme loses at most (1/(2n))^2 x curvature; curvature of these pieces is within 1e4 of the peak itself.
            prop_assert!(*peak <= seen * (1.0 + 1e4 / f64::from(4 * n * n)) + 1e-9, "derivative {}: {peak} far above {seen}", k + 1);
        }
    }

    /// The tolerances of the compiler: a sixteenth of a step, a thousandth of each limit at the pace at which the signal on the piece is at one of them.
    #[test]
    fn a_fitted_curve_stays_within_its_tolerances_of_the_signal(program in any_program()) {
        let mut spec = axis("bridge");
        spec.limits.velocity = 40.0;
        spec.limits.acceleration = 20.0;
        spec.limits.jerk = 40.0;
        let limits = spec.limits;
        let s = stage(vec![spec]);
        let shot = shot(&s, (1, 120), &[program], vec![moving(&s, "picture", 12.0)]);
        let compiled = compiled(&s, &shot);
        let signal = Layers::of(&shot, movewright::bounds::Budget::Usual, None).unwrap().signal(&s, &shot, s.channel("heron.bridge").unwrap()).unwrap();
        let m = compiled.axes().first().unwrap();
        // A knot nearer than 1e-5 frames to another is one with it: places that near to a knot are left out.
        for piece in m.curve().pieces().skip(m.photographed().start).take(m.photographed().len()) {
            let (uncut, middle) = (m.curve().uncut(&piece), piece.start + 0.5 * piece.length());
            let pace = (0..=100)
                .map(|i| {
                    let s = signal.jet(uncut.start + uncut.length() * f64::from(i) / 100.0, middle);
                    pace_at(s.v, s.a, s.j, limits.velocity, limits.acceleration, limits.jerk)
                })
                .fold(1e-3, f64::max);
            // What counts as standing, 2^-20 of a step, is not asked for more closely.
            let most = |limit: f64| (limit / 1000.0).max(1.0 / (100.0 * 1_048_576.0));
            for i in 0..40 {
                let u = (f64::from(i) + 0.5) / 40.0;
                let t = piece.start + u * piece.length();
                let (p, q) = (piece.quintic.jet(u, piece.length()), signal.jet(t, t));
                prop_assert!((p.p - q.p).abs() <= 1.0 / 1600.0, "position at {t}: {} {}", p.p, q.p);
                prop_assert!((p.v - q.v).abs() <= most(limits.velocity * pace), "velocity at {t}");
                prop_assert!((p.a - q.a).abs() <= most(limits.acceleration * pace * pace), "acceleration at {t}");
                prop_assert!((p.j - q.j).abs() <= most(limits.jerk * pace * pace * pace), "jerk at {t}: {} {}", p.j, q.j);
            }
        }
    }

    /// Pieces join: position, velocity and acceleration from both sides of every knot, run-up and run-down included.
    #[test]
    fn trap_every_join_is_verified(program in any_program()) {
        let s = stage(vec![axis("bridge")]);
        let shot = shot(&s, (1, 120), &[program], vec![moving(&s, "picture", 12.0)]);
        let compiled = compiled(&s, &shot);
        let pieces: Vec<_> = compiled.axes().first().unwrap().curve().pieces().collect();
        for w in pieces.windows(2) {
            let (l, r) = (w[0].quintic.jet(1.0, w[0].length()), w[1].quintic.jet(0.0, w[1].length()));
            let h = w[0].length().min(w[1].length());
            let size = w[0].quintic.0.iter().chain(&w[1].quintic.0).map(|c| c.abs()).sum::<f64>();
            // Rounding of sums with factors up to 20 over h^k; and a piece shorter than a sixteenth of a frame misses its end by
            // h^5/720 of the fifth derivative, 1.3e-9 of it at most: a ten-thousandth of a step for these programs, at 100 steps a mm.
            for (x, y, k, short) in [(l.p, r.p, 1.0, 1e-6), (l.v, r.v, h, 0.0), (l.a, r.a, h * h, 0.0)] {
                prop_assert!((x - y).abs() * k <= size * 20.0 * 1e-14 + 1e-12 + short, "at {}: {x} {y}", w[1].start);
            }
        }
    }
}

/// A velocity that exceeds its limit for a fraction of a frame, between two frames: no table of frames shows it, the check must.
#[test]
fn a_fault_between_two_frames_is_found_and_the_same_move_at_the_limit_passes() {
    let program = Program { tracks: vec![(Shape::StopAtKeys, None, vec![(10.0, 0.0), (11.0, 1.0), (12.0, 0.0)])], ..Program::default() };
    // Peak speed of the rest-to-rest quintic: 1.875 units a frame at frame 10.5, between frames (T. Flash, N. Hogan 1985).
    let pace = 4.0;
    let at_limit = 1.875 / pace;
    for (limit, fine) in [(at_limit * 0.999, false), (at_limit, true), (at_limit * 1.001, true)] {
        let mut spec = axis("bridge");
        spec.limits.velocity = limit;
        let s = stage(vec![spec]);
        let shot = shot(&s, (1, 20), std::slice::from_ref(&program), vec![moving(&s, "picture", pace)]);
        let report = checked(&s, &shot);
        assert_eq!(report.within_limits(), fine, "limit {limit}");
        if !fine {
            let v = &report.passes[0].violations;
            assert_eq!(v.len(), 2, "up and down again");
            assert_eq!((v[0].limit, v[0].subject), (Limit::Velocity, Subject::Axis(axis_at(&s, 0))));
            assert!((v[0].frame().unwrap() - 10.5).abs() < 1e-9 && (v[0].value - at_limit).abs() < 1e-12);
            let b = v[0].between.unwrap();
            assert_eq!((b.before.unwrap().1, b.after.unwrap().1), (10.0, 11.0));
        }
    }
}

/// Slowing a move by k divides its derivatives by k, k^2, k^3; so the closed form's pace is exactly at a limit.
#[test]
fn trap_the_fastest_pace_is_the_border() {
    for (limits, which) in [([2.0, 1e5, 1e5], Limit::Velocity), ([1e5, 2.0, 1e5], Limit::Acceleration), ([1e5, 1e5, 2.0], Limit::Jerk)] {
        let mut spec = axis("bridge");
        spec.limits.velocity = limits[0];
        spec.limits.acceleration = limits[1];
        spec.limits.jerk = limits[2];
        let s = stage(vec![spec]);
        let program =
            Program { tracks: vec![(Shape::MinimumJerk, None, vec![(5.0, 0.0), (20.0, 300.0), (40.0, 100.0)])], ..Program::default() };
        let at = |pace: f64| {
            let shot = shot(&s, (1, 48), std::slice::from_ref(&program), vec![moving(&s, "picture", pace)]);
            checked(&s, &shot)
        };
        let fastest = at(100.0).passes[0].fastest;
        assert_eq!(fastest.limited_by, Some((axis_at(&s, 0), which)));
        let pace = fastest.seconds_per_frame.unwrap();
        assert!(at(pace).within_limits());
        let over = at(pace * 0.9999);
        assert!(over.passes[0].violations.iter().all(|v| v.limit == which) && !over.within_limits());
    }
}
