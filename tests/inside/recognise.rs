//! Logs of another pass, another rate, other units and other frame numbers, planted in seeded moves: named; at the limit, and where none fits: nothing.

use movewright::measure::{Asked, AxisFacts, Candidate, FittingPass, Input, LogUnits, recognise};
use movewright::number::Generator;

const SEEDS: u64 = 16;
const FRAMES: i64 = 240;
const NAMES: [&str; 4] = ["camera.track", "camera.pan", "heron.lift", "heron.yaw"];
/// The axes that the clean pass leaves at home.
const PARKED: [usize; 2] = [2, 3];

fn facts() -> Vec<AxisFacts> {
    let of = |name: &&str| AxisFacts {
        name: (*name).into(),
        unit: "mm",
        steps_per_unit: 400.0,
        reversed: name.ends_with("yaw"),
        microsteps: 8,
        backlash: None,
        pixels_per_unit: None,
    };
    NAMES.iter().map(of).collect()
}

/// Sum of twelve uniform numbers less six: spread 1.
fn normal(g: &mut Generator) -> f64 {
    (0..12).map(|_| g.unit()).sum::<f64>() - 6.0
}

/// Where an axis is at a time, steps; the seed decides its way.
fn at(seed: u64, axis: usize, frame: f64) -> f64 {
    let mut g = Generator::new(17 * seed + axis as u64);
    let (a, b) = (g.unit(), g.unit());
    // A parabola up and one down: smooth, and without a sine.
    let wave = |cycles: f64, phase: f64| {
        let u = (frame / FRAMES as f64 * cycles + phase).rem_euclid(1.0);
        if u < 0.5 { 16.0 * u * (0.5 - u) } else { -16.0 * (u - 0.5) * (1.0 - u) }
    };
    6000.0 * wave(1.5, a) + 2000.0 * wave(4.0, b)
}

/// A table: for each row its number and where every axis is.
fn table(rows: impl Iterator<Item = (i64, Vec<f64>)>, digits: usize) -> String {
    let cells = |row: &[f64]| row.iter().map(|x| format!("{x:.digits$}")).collect::<Vec<_>>().join(",");
    rows.fold(format!("frame,{}\n", NAMES.join(",")), |text, (frame, row)| text + &format!("{frame},{}\n", cells(&row)))
}

fn parked(row: Vec<f64>) -> Vec<f64> {
    row.into_iter().enumerate().map(|(axis, x)| if PARKED.contains(&axis) { 0.0 } else { x }).collect()
}

/// Steps as the stage's units, home at 10.
fn in_units(row: Vec<f64>) -> Vec<f64> {
    row.into_iter().enumerate().map(|(axis, x)| 10.0 + x.round_ties_even() / if axis == 3 { -400.0 } else { 400.0 }).collect()
}

fn all(seed: u64, frame: f64) -> Vec<f64> {
    (0..NAMES.len()).map(|axis| at(seed, axis, frame)).collect()
}

fn input(name: &str, text: String) -> Input<std::io::Cursor<Vec<u8>>> {
    Input { name: name.to_owned(), reader: std::io::Cursor::new(text.into_bytes()) }
}

/// What a log is recognised as in a folder of two passes that was asked for one of them.
fn found(seed: u64, asked: &str, units: LogUnits, log: String, unexplained: Option<&[String]>) -> Vec<FittingPass> {
    let frames = || (1..=FRAMES).map(|f| (f, all(seed, f as f64)));
    let clean = || frames().map(|(f, row)| (f, parked(row)));
    let tables = [
        ("picture", LogUnits::Steps, table(frames(), 0)),
        ("picture", LogUnits::Units, table(frames().map(|(f, row)| (f, in_units(row))), 6)),
        ("clean", LogUnits::Steps, table(clean(), 0)),
        ("clean", LogUnits::Units, table(clean().map(|(f, row)| (f, in_units(row))), 6)),
    ];
    let candidates = tables.map(|(pass, units, text)| Candidate { pass: pass.to_owned(), units, table: input(pass, text) });
    let (found, unreadable) =
        recognise(input("take", log), Asked { pass: asked, units, unexplained }, candidates.into(), &facts()).unwrap();
    assert_eq!(unreadable, [""; 0]);
    found
}

fn every_axis() -> Vec<String> {
    NAMES.map(str::to_owned).to_vec()
}

fn noisy(row: Vec<f64>, spread: f64, g: &mut Generator) -> Vec<f64> {
    row.into_iter().map(|x| x + spread * normal(g)).collect()
}

#[test]
fn a_log_of_another_pass_is_named() {
    for seed in 0..SEEDS {
        for spread in [0.0, 3.0] {
            let mut g = Generator::new(seed);
            let mut of = |pass: &str| {
                let rows = (1..=FRAMES).map(|f| (f, if pass == "clean" { parked(all(seed, f as f64)) } else { all(seed, f as f64) }));
                table(rows.map(|(f, row)| (f, noisy(row, spread, &mut g))).collect::<Vec<_>>().into_iter(), 0)
            };
            for (is, asked) in [("clean", "picture"), ("picture", "clean")] {
                let log = of(is);
                // Axes that stand at home have a known cause, `frozen`: another pass is named nevertheless.
                for unexplained in [Vec::new(), every_axis()] {
                    let found = found(seed, asked, LogUnits::Steps, log.clone(), Some(&unexplained));
                    let [one] = found.as_slice() else { panic!("{seed} {is} {spread}: {found:?}") };
                    assert_eq!((one.pass.as_str(), one.rows, one.for_frames, one.log_units), (is, 1, 1, "steps"), "{one:?}");
                    assert_eq!((one.axes, one.axes_off), (2, 0), "{one:?}");
                    assert_eq!(one.message, format!("fits pass {is}, not {asked} (2 axes that deviate from {asked} fit)"));
                }
                let found = self::found(seed, is, LogUnits::Steps, log, Some(&every_axis()));
                assert_eq!(found, [], "{seed}: a log of the pass that was asked for");
            }
        }
    }
}

#[test]
fn a_log_at_another_rate_is_named_whatever_its_frame_numbers() {
    for (rows, frames, said) in [
        (2, 1, ", with 2 rows per frame"),
        (1, 2, ", with 1 row for every 2 frames"),
        (3, 1, ", with 3 rows per frame"),
        (1, 4, ", with 1 row for every 4 frames"),
        (10, 1, ", with 10 rows per frame"),
        (25, 24, ", with 25 rows for every 24 frames"),
        (24, 30, ", with 24 rows for every 30 frames"),
    ] {
        for seed in 0..SEEDS {
            let mut g = Generator::new(seed);
            let first = if seed % 2 == 0 { 1 } else { 1001 };
            // The first and the last frame have a row where the rate allows it.
            let n = (FRAMES - 1) * rows / frames + 1;
            let row = |j: i64| noisy(all(seed, 1.0 + (j * frames) as f64 / rows as f64), 2.0, &mut g);
            let logged: Vec<Vec<f64>> = (0..n).map(row).collect();
            let log = table((first..).zip(logged), 0);
            let found = found(seed, "picture", LogUnits::Steps, log, (first == 1).then(every_axis).as_deref());
            let [one] = found.as_slice() else { panic!("{rows}/{frames} {seed}: {found:?}") };
            let simplest = (rows * one.for_frames, one.rows * frames);
            assert_eq!((one.pass.as_str(), simplest.0, one.axes), ("picture", simplest.1, 4), "{one:?}");
            assert!(one.message.starts_with(&format!("fits pass picture{said}")) || rows == 24, "{}", one.message);
            assert_eq!(one.message.contains(", if its first row, 1001, is frame 1"), first == 1001, "{}", one.message);
        }
    }
}

#[test]
fn units_read_as_steps_and_steps_read_as_units_are_named_with_a_home_that_is_not_zero() {
    for seed in 0..SEEDS {
        let rows = || (1..=FRAMES).map(|f| (f, all(seed, f as f64)));
        let units = table(rows().map(|(f, row)| (f, in_units(row))), 4);
        for (asked, log, said) in [
            (LogUnits::Steps, units, ", in mm and deg: use --log-units units"),
            (LogUnits::Units, table(rows(), 0), ", in steps: use --log-units steps"),
        ] {
            let found = found(seed, "picture", asked, log, Some(&[]));
            let [one] = found.as_slice() else { panic!("{seed}: {found:?}") };
            assert!(one.pass == "picture" && one.message.starts_with(&format!("fits pass picture{said}")), "{}", one.message);
        }
    }
}

/// Numbers from 0 on, or from 1001: frames that the pass has not.
#[test]
fn other_frame_numbers_are_named() {
    for first in [0_i64, 1001] {
        let log = table((0..FRAMES).map(|i| (first + i, all(3, 1.0 + i as f64))), 0);
        let found = found(3, "picture", LogUnits::Steps, log, None);
        let [one] = found.as_slice() else { panic!("{first}: {found:?}") };
        assert_eq!((one.first_row, one.first_frame, one.pass.as_str()), (first, 1, "picture"));
        assert_eq!(one.message, format!("fits pass picture, if its first row, {first}, is frame 1 (4 axes fit)"));
    }
}

/// One axis that slipped in three that fit is allowed; two in four are not.
#[test]
fn a_fault_beside_it_hides_nothing_and_two_do() {
    for (slipped, named) in [(vec![0], true), (vec![0, 1], false)] {
        for seed in 0..SEEDS {
            let off = |(axis, x): (usize, f64), f: i64| if slipped.contains(&axis) && f > 100 { x + 160.0 } else { x };
            let row = |f: i64| all(seed, 1.0 + (f - 1) as f64 / 2.0).into_iter().enumerate().map(|cell| off(cell, f)).collect();
            let found = found(seed, "picture", LogUnits::Steps, table((1..=FRAMES).map(|f| (f, row(f))), 0), Some(&every_axis()));
            assert_eq!(!found.is_empty(), named, "{seed} {slipped:?}: {found:?}");
            assert!(found.iter().all(|f| (f.rows, f.for_frames, f.axes, f.axes_off) == (2, 1, 3, 1)), "{found:?}");
        }
    }
}

/// What leaves more than a tenth of the deviation is not named: noise of a twelfth and of an eighth of how far the passes are apart.
#[test]
fn at_the_limit() {
    let rms = |axis: usize| ((1..=FRAMES).map(|f| at(5, axis, f as f64).powi(2)).sum::<f64>() / FRAMES as f64).sqrt();
    let apart = PARKED.map(rms);
    for (share, named) in [(1.0 / 12.0, true), (1.0 / 8.0, false)] {
        for seed in 0..SEEDS {
            let mut g = Generator::new(seed);
            let mut row = |f: i64| -> Vec<f64> {
                let row = parked(all(5, f as f64));
                row.iter().enumerate().map(|(axis, x)| x + if axis < 2 { 0.0 } else { share * apart[axis - 2] * normal(&mut g) }).collect()
            };
            let rows: Vec<(i64, Vec<f64>)> = (1..=FRAMES).map(|f| (f, row(f))).collect();
            let found = found(5, "picture", LogUnits::Steps, table(rows.into_iter(), 0), Some(&every_axis()));
            assert_eq!(!found.is_empty(), named, "{share} {seed}: {found:?}");
        }
    }
}

/// Another shot, noise, and faults of every kind fit nothing.
#[test]
fn nothing_is_claimed_where_none_fits() {
    for seed in 0..SEEDS {
        let logs: [&dyn Fn(i64, Vec<f64>) -> Vec<f64>; 7] = [
            &|f, _| all(seed + 1000, f as f64),
            &|_, row| row.iter().map(|x| x + 30.0).collect(),
            &|f, row| row.iter().map(|x| if f < 100 { *x } else { x - 40.0 }).collect(),
            &|_, row| row.iter().map(|x| 1.01 * x).collect(),
            &|_, row| row.iter().map(|x| -x).collect(),
            &|f, row| if f < 120 { row } else { all(seed, 120.0) },
            &|f, _| all(seed, (f - 1) as f64),
        ];
        for (i, log) in logs.iter().enumerate() {
            let mut g = Generator::new(seed);
            for (spread, unexplained) in [(0.0, every_axis()), (20.0, every_axis()), (3.0, Vec::new())] {
                let rows: Vec<(i64, Vec<f64>)> = (1..=FRAMES).map(|f| (f, noisy(log(f, all(seed, f as f64)), spread, &mut g))).collect();
                let found = found(seed, "picture", LogUnits::Steps, table(rows.into_iter(), 0), Some(&unexplained));
                assert_eq!(found, [], "{i} {seed} {spread}");
            }
        }
    }
    // Too few rows to say anything.
    let few = table((1..=7).map(|f| (f, parked(all(1, f as f64)))), 0);
    assert_eq!(found(1, "picture", LogUnits::Steps, few, Some(&every_axis())), []);
    let enough = table((1..=8).map(|f| (f, parked(all(1, f as f64)))), 0);
    assert_eq!(found(1, "picture", LogUnits::Steps, enough, Some(&every_axis())).len(), 1);
}

/// A move that is straight at its start: half as far is as well twice the rows. A fault explains it, so no rate is claimed.
#[test]
fn a_scale_is_no_rate() {
    let pass = (1..=100).map(|f| (f, vec![100.0 * f as f64; 4]));
    let log = (1..=100).map(|f| (f, vec![100.0 + 50.0 * (f - 1) as f64; 4]));
    let of = |unexplained: &[String]| {
        let candidate = Candidate { pass: "picture".to_owned(), units: LogUnits::Steps, table: input("picture", table(pass.clone(), 0)) };
        let asked = Asked { pass: "picture", units: LogUnits::Steps, unexplained: Some(unexplained) };
        recognise(input("take", table(log.clone(), 0)), asked, vec![candidate], &facts()).unwrap().0.len()
    };
    assert_eq!((of(&[]), of(&every_axis())), (0, 1));
}

/// A dozen rows that run through the whole move.
#[test]
fn a_short_log_at_another_rate_is_named() {
    for seed in 0..SEEDS {
        let mut g = Generator::new(seed);
        let rows: Vec<(i64, Vec<f64>)> = (0..24).map(|i| (i + 1, noisy(all(seed, 1.0 + 10.0 * i as f64), 2.0, &mut g))).collect();
        let log = |n: usize| table(rows.iter().take(n).cloned(), 0);
        for n in [12, 24] {
            let found = found(seed, "picture", LogUnits::Steps, log(n), Some(&every_axis()));
            let [one] = found.as_slice() else { panic!("{seed} {n}: {found:?}") };
            assert_eq!((one.rows, one.for_frames, one.axes_off), (1, 10, 0), "{one:?}");
        }
        assert_eq!(found(seed, "picture", LogUnits::Steps, log(7), Some(&every_axis())), []);
    }
}
