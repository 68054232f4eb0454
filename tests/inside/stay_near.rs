//! The fit against what a library that was not used for it says of the same curves, and against its own promises.
//!
//! `fixtures/recordings/curves.json` is written by `tests/golden/stay_near.py`: knots of FITPACK's smoothing splines of degree five at the same worst miss, the least jerk over our knots by a conic solver,
//! and, by a linear program, how far samples are missed at best without each inner knot.

use movewright::bounds::{Allowance, Budget};
use movewright::motion::quintic::{Node, Quintic};
use movewright::motion::stay_near::{self, CannotFit, Ends, Fit};
use movewright::number::{Generator, elementary};

/// The curve near samples, with the usual budget.
fn fit(samples: &[(f64, f64)], within: f64, ends: Ends) -> Result<Fit, CannotFit> {
    stay_near::fit(samples, within, ends, Allowance::new(Budget::Usual).most(samples.len()))
}

/// The curve of a seed, as the script makes it: sums of sines with noise.
fn curve(seed: u64) -> (Vec<(f64, f64)>, f64) {
    let mut g = Generator::new(seed);
    let n = 150 + g.bits() % 250;
    let noise = [0.0, 0.05, 0.2][usize::try_from(g.bits() % 3).unwrap()];
    let waves: Vec<[f64; 3]> =
        (0..2 + g.bits() % 4).map(|_| [g.between(-30.0, 30.0), g.between(20.0, 200.0), g.between(0.0, 6.0)]).collect();
    let samples = (0..n).map(|i| {
        let t = 1.0 + i as f64;
        let clean: f64 = waves.iter().map(|[a, period, phase]| a * elementary::sin(core::f64::consts::TAU * t / period + phase)).sum();
        (t, clean + noise * g.between(-1.7, 1.7))
    });
    (samples.collect(), 0.5_f64.max(4.0 * noise))
}

fn jerk(nodes: &[(f64, Node)]) -> f64 {
    let pairs = nodes.iter().zip(nodes.iter().skip(1));
    pairs
        .map(|((f0, n0), (f1, n1))| {
            let [_, _, _, c3, c4, c5] = Quintic::between(*n0, *n1, f1 - f0).0;
            let h = f1 - f0;
            (36.0 * c3 * c3 + 192.0 * c4 * c4 + 720.0 * c5 * c5 + 144.0 * c3 * c4 + 240.0 * c3 * c5 + 720.0 * c4 * c5) / (h * h * h * h * h)
        })
        .sum()
}

#[test]
fn knots_are_few_and_needed_and_the_jerk_is_least() {
    let text = include_str!("../../fixtures/recordings/curves.json");
    let goldens: Vec<serde_json::Value> = serde_json::from_str(text).unwrap();
    assert_eq!(goldens.len(), 100);
    let (mut ratios, mut compared) = (Vec::new(), 0);
    for golden in &goldens {
        let seed = golden["seed"].as_u64().unwrap();
        let (samples, within) = curve(seed);
        let ends = if seed % 2 == 1 { Ends::Rest } else { Ends::Straight };
        let fit = fit(&samples, within, ends).unwrap();
        assert!(fit.worst <= within, "seed {seed}");
        let knots: Vec<f64> = fit.nodes.iter().map(|(f, _)| *f).collect();
        let known: Vec<f64> = golden["knots"].as_array().unwrap().iter().map(|k| k.as_f64().unwrap()).collect();
        assert_eq!(knots, known, "seed {seed}: run tests/golden/stay_near.py again and read what it says");
        if let Some(least) = golden["least_jerk"].as_f64() {
            let found = jerk(&fit.nodes);
            compared += 1;
            assert!((found / least - 1.0).abs() <= 1e-5, "seed {seed}: {found} {least}");
        }
        if let Some(missed) = golden["missed_without_a_knot"].as_f64() {
            assert!(missed > 1.0, "seed {seed}: a knot could go: {missed}");
        }
        ratios.push(knots.len() as f64 / golden["fitpack_knots"].as_f64().unwrap());
    }
    assert_eq!(compared, 10);
    ratios.sort_by(f64::total_cmp);
    assert!(ratios[50] <= 1.25, "{ratios:?}");
}

#[test]
fn a_constant_is_an_exact_hold_and_ends_at_rest_are_at_rest() {
    let held = fit(&[(1.0, 5.0), (2.0, 5.0), (9.0, 5.0)], 0.5, Ends::Straight).unwrap();
    assert!(held.nodes.len() == 2 && held.nodes.iter().all(|(_, n)| *n == Node::rest(5.0)), "{held:?}");
    let near = fit(&[(1.0, 5.0), (2.0, 5.5), (9.0, 4.75)], 0.5, Ends::Straight).unwrap();
    assert!(near.nodes.len() == 2 && near.nodes.iter().all(|(_, n)| *n == Node::rest(5.125)), "{near:?}");
    let (samples, within) = curve(3);
    let rest = fit(&samples, within, Ends::Rest).unwrap();
    for (_, node) in [rest.nodes.first().unwrap(), rest.nodes.last().unwrap()] {
        assert_eq!((node.v, node.a), (0.0, 0.0));
    }
}

#[test]
fn uneven_crowded_and_far_samples_are_followed_or_refused() {
    let mut g = Generator::new(5);
    for k in [1e-3, 1.0, 1e5] {
        let mut t = -50.0;
        let samples: Vec<(f64, f64)> = (0..300)
            .map(|i| {
                t += if i % 17 == 0 { 9.0 } else { 0.04 + g.unit() };
                (t, k * (2000.0 + 40.0 * elementary::sin(t / 20.0) + g.between(-0.2, 0.2)))
            })
            .collect();
        let near = fit(&samples, 0.5 * k, Ends::Straight).unwrap();
        assert!(near.worst <= 0.5 * k && near.nodes.len() < 100, "{k} {} {}", near.worst, near.nodes.len());
        // Closer than the noise: knots crowd, and no sample is missed all the same.
        let close = fit(&samples[..60], 0.1 * k, Ends::Rest).unwrap();
        assert!(close.worst <= 0.1 * k && close.nodes.len() > 5);
    }
    assert_eq!(fit(&[(1.0, 0.0)], 1.0, Ends::Rest), Err(CannotFit::Malformed));
    assert_eq!(fit(&[(1.0, 0.0), (1.0, 2.0)], 1.0, Ends::Rest), Err(CannotFit::Malformed));
    assert_eq!(fit(&[(1.0, 0.0), (2.0, f64::NAN)], 1.0, Ends::Rest), Err(CannotFit::Malformed));
    assert_eq!(fit(&[(1.0, 0.0), (2.0, 3.0)], 0.0, Ends::Rest), Err(CannotFit::Malformed));
}

/// Samples one frame apart.
fn sampled(n: u32, value: impl FnMut(f64) -> f64) -> Vec<(f64, f64)> {
    (0..n).map(f64::from).zip((0..n).map(f64::from).map(value)).collect()
}

/// A smooth motion with a little noise.
fn smooth(n: u32, noise: f64) -> Vec<(f64, f64)> {
    let mut g = Generator::new(7);
    sampled(n, |t| 40.0 * elementary::sin(t / 15.0) + 25.0 * elementary::sin(t / 6.1) + noise * g.between(-1.7, 1.7))
}

/// Noise alone.
fn noise(n: u32) -> Vec<(f64, f64)> {
    let mut g = Generator::new(7);
    sampled(n, |_| g.between(-1.7, 1.7))
}

/// What honest samples cost is what the budget gives for each of them, and does not grow with their number.
#[test]
fn the_work_of_a_smooth_motion_is_that_of_its_samples() {
    let each = |n: u32, noise: f64| fit(&smooth(n, noise), 0.5, Ends::Straight).unwrap().cost / u64::from(n);
    let allowance = Allowance::new(Budget::Usual);
    let given = allowance.most(1) - allowance.most(0);
    for noise in [0.0, 0.1] {
        let (few, many) = (each(2_500, noise), each(20_000, noise));
        assert!(few < given && many < given && 2 * many < 3 * few, "{noise}: {few} {many} of {given}");
    }
}

/// A hundred samples of noise with a distance of a millionth of it once cost half a minute: rounding kept one sample outside, and it was pulled without end.
#[test]
fn where_rounding_decides_that_is_known_soon() {
    assert_eq!(stay_near::fit(&noise(100), 1e-6, Ends::Straight, 10_000_000), Err(CannotFit::TooClose));
}

#[test]
fn more_work_than_is_allowed_is_refused() {
    let samples = noise(300);
    let cost = fit(&samples, 1e-3, Ends::Straight).unwrap().cost;
    let with = |most: u64| stay_near::fit(&samples, 1e-3, Ends::Straight, most).map(|fit| fit.cost);
    assert_eq!((with(cost), with(cost - 1)), (Ok(cost), Err(CannotFit::TooCostly { samples: 300, most: cost - 1 })));
}

/// Recordings share what any shot may cost, and each has what its samples are worth.
#[test]
fn recordings_of_a_shot_share_an_allowance() {
    let mut allowance = Allowance::new(Budget::Usual);
    let (usual, each) = (allowance.most(0), allowance.most(1) - allowance.most(0));
    // No more than its samples are worth: nothing is taken from what is shared.
    allowance.take(1000, 1000 * each);
    assert_eq!(allowance.most(7), usual + 7 * each);
    allowance.take(1000, 1000 * each + usual - 5);
    assert_eq!((allowance.most(0), allowance.most(10)), (5, 10 * each + 5));
    assert_eq!(Allowance::new(Budget::Large).most(3), 1000 * (usual + 3 * each));
}

/// Not run with the others: `cargo test --release --lib stay_near -- --ignored --nocapture` prints the seconds.
#[test]
#[ignore = "a measurement of time"]
fn a_hundred_thousand_samples_take_less_than_a_second() {
    let samples = smooth(100_000, 0.1);
    let start = std::time::Instant::now();
    let fit = fit(&samples, 0.5, Ends::Straight).unwrap();
    let seconds = start.elapsed().as_secs_f64();
    assert!(seconds < 1.0, "{} knots in {seconds} s", fit.nodes.len());
}

#[test]
#[ignore = "prints what tests/golden/stay_near.py reads"]
fn print_the_fits() {
    for seed in 0..100 {
        let (samples, within) = curve(seed);
        let ends = if seed % 2 == 1 { Ends::Rest } else { Ends::Straight };
        let fit = fit(&samples, within, ends).unwrap();
        let knots: Vec<f64> = fit.nodes.iter().map(|(f, _)| *f).collect();
        let line = serde_json::json!({"seed": seed, "within": within, "rest": ends == Ends::Rest, "knots": knots, "samples": samples});
        use std::io::Write as _;
        writeln!(std::io::stdout(), "FIT {line}").unwrap();
    }
}
