//! Measurements of an axis with planted faults and seeded noise; what is found, what is not, and the lines that mend the stage file.

use std::fs;
use std::path::Path;

use movewright::input;
use movewright::number::Generator;
use movewright::output::rig_json::{self, Measured};
use movewright::rig::residual::Shape;
use movewright::rig::targets::Targets;
use movewright::rig::{Approach, AxisSheet, Calibration, Finding, Measurement, Reading};
use movewright::stage::{Axis, Stage};

use crate::inside::common::json_schema::Validator;

const STAGE: &str = r#"format = 1
name = "Marsh stage"
[motor.frame42]
full_steps_per_rev = 200
[[group]]
name = "camera"
[[group.axis]]
name = "track"
unit = "mm"
travel = [0, 1500]
home = 100
max_velocity = 25
max_acceleration = 12
max_jerk = 24
motor = "frame42"
microsteps = 16
gear_ratio = 3
travel_per_rev = 60
reverse = false
backlash = 0.2
[[group.axis]]
name = "pan"
unit = "deg"
travel = [-170, 170]
max_velocity = 2
max_acceleration = 1.5
max_jerk = 3
motor = "frame42"
microsteps = 16
gear_ratio = 90
reverse = true
"#;

fn stage_of(text: &str) -> Stage {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("stage.toml");
    fs::write(&path, text).unwrap();
    input::load_stage(&path).unwrap()
}

fn axis<'s>(stage: &'s Stage, name: &str) -> &'s Axis {
    stage.axis(stage.axis_of_name(name).unwrap())
}

/// What the machine really is.
#[derive(Clone, Copy)]
struct Machine {
    /// Steps of one unit, with sign.
    steps_per_unit: f64,
    backlash: f64,
    bow: f64,
    /// Period and amplitude.
    wave: [f64; 2],
    /// Standard deviation of a reading.
    noise: f64,
}

/// What the stage file says, with little noise.
fn as_stated(axis: &Axis, noise: f64) -> Machine {
    let way = if axis.drive().is_reversed() { -1.0 } else { 1.0 };
    Machine {
        steps_per_unit: way * axis.drive().steps_per_unit(),
        backlash: axis.backlash().unwrap_or(0.0),
        bow: 0.0,
        wave: [1.0, 0.0],
        noise,
    }
}

/// Readings at the positions of the sheet, the machine driven by whole steps; the gauge has its zero somewhere.
fn readings(axis: &Axis, machine: Machine, seed: u64) -> Vec<Reading> {
    let targets = Targets::of(axis).unwrap();
    let (first, last) = (targets.targets[0].position, targets.targets[targets.targets.len() - 1].position);
    let mut generator = Generator::new(seed);
    // Twelve numbers of 0 to 1 less six: close to normal, standard deviation 1.
    let mut normal = || (0..12).map(|_| generator.unit()).sum::<f64>() - 6.0;
    let mut readings = Vec::new();
    for _ in 0..targets.approaches {
        for approach in [Approach::Up, Approach::Down] {
            for target in &targets.targets {
                let u = 2.0 * (target.position - first) / (last - first) - 1.0;
                let steps = axis.count(target.position).unwrap() as f64;
                let there = steps / machine.steps_per_unit;
                // The load is behind the motor by half the backlash: on its own way.
                let moved = approach.sign() * (machine.steps_per_unit * axis.drive().steps(1.0)).signum();
                let wave = machine.wave[1] * (core::f64::consts::TAU * there / machine.wave[0]).sin();
                let measured =
                    37.5 + there - moved * machine.backlash / 2.0 + machine.bow * (1.0 - u * u) + wave + machine.noise * normal();
                readings.push(Reading { commanded: target.position, measured, approach });
            }
        }
    }
    readings
}

fn judged(axis: &Axis, machine: Machine, seed: u64) -> Calibration {
    Calibration::of(axis, &Measurement::new(axis, readings(axis, machine, seed)).unwrap()).unwrap()
}

/// Names of what 200 seeded measurements find, with how often; each case has seeds that no other has.
fn found(axis: &Axis, machine: Machine, case: u64) -> Vec<(String, usize)> {
    let mut counts = std::collections::BTreeMap::new();
    for seed in 200 * case..200 * (case + 1) {
        for finding in judged(axis, machine, seed).findings {
            let name = match finding {
                Finding::Periodic(Shape::MotorTurn(_), _) => "motor turn".to_owned(),
                Finding::Periodic(..) => "output turn".to_owned(),
                other => other.name().to_owned(),
            };
            *counts.entry(name).or_insert(0) += 1;
        }
    }
    counts.into_iter().collect()
}

fn count(found: &[(String, usize)], name: &str) -> usize {
    found.iter().find(|(n, _)| n == name).map_or(0, |(_, count)| *count)
}

#[test]
fn noise_alone_is_found_in_fewer_than_one_of_a_hundred() {
    let stage = stage_of(STAGE);
    let mut all = Vec::new();
    for (i, name) in ["camera.track", "camera.pan"].into_iter().enumerate() {
        let axis = axis(&stage, name);
        // From a few steps of noise to a twentieth.
        for (j, steps) in [5.0, 0.5, 0.05].into_iter().enumerate() {
            all.extend(found(axis, as_stated(axis, steps / axis.drive().steps_per_unit()), (3 * i + j) as u64));
        }
    }
    let findings: usize = all.iter().map(|(_, n)| n).sum();
    println!("{findings} in 1200 measurements: {all:?}");
    assert!(findings < 12, "{all:?}");
}

/// Each fault is ten times the noise, which is 2 steps; nothing else is named but by the chance above.
#[test]
fn a_planted_fault_of_ten_times_the_noise_is_named_and_no_other() {
    let stage = stage_of(STAGE);
    let (mut others, mut case) = (Vec::new(), 100);
    for name in ["camera.track", "camera.pan"] {
        let axis = axis(&stage, name);
        let noise = 2.0 / axis.drive().steps_per_unit();
        let good = as_stated(axis, noise);
        let motor_turn = 1.0 / axis.drive().motor_revs_per_unit();
        let mut faults = vec![
            ("scale", Machine { steps_per_unit: good.steps_per_unit * 1.01, ..good }),
            ("sign", Machine { steps_per_unit: -good.steps_per_unit, ..good }),
            ("backlash", Machine { backlash: good.backlash + 10.0 * noise, ..good }),
            ("bow", Machine { bow: -10.0 * noise, ..good }),
            ("motor turn", Machine { wave: [motor_turn, 10.0 * noise], ..good }),
            ("sides", Machine { backlash: -10.0 * noise, ..good }),
        ];
        if name == "camera.track" {
            faults.push(("output turn", Machine { wave: [60.0, 10.0 * noise], ..good }));
        }
        for (fault, machine) in faults {
            case += 1;
            let found = found(axis, machine, case);
            assert!(count(&found, fault) >= 198, "{name}, {fault}: {found:?}");
            others.extend(found.into_iter().filter(|(n, _)| n != fault).map(|(n, k)| format!("{name}, {fault}: {n} {k}")));
            let many = others.iter().any(|o| o.rsplit(' ').next().unwrap().parse::<usize>().unwrap() > 3);
            assert!(!many, "{others:?}");
        }
    }
    println!("others in 13 x 200 measurements: {others:?}");
    assert!(others.len() <= 13, "{others:?}");
}

/// Without noise half a step decides: a little less is none, a little more is one.
#[test]
fn what_stays_below_half_a_step_is_no_finding() {
    let stage = stage_of(STAGE);
    let axis = axis(&stage, "camera.track");
    let step = 1.0 / axis.drive().steps_per_unit();
    let good = as_stated(axis, 1e-4 * step);
    let length = axis.travel().upper - axis.travel().lower;
    for (share, is) in [(0.45, false), (0.55, true)] {
        let by = share * step;
        for (name, machine) in [
            ("scale", Machine { steps_per_unit: good.steps_per_unit / (1.0 + by / length), ..good }),
            ("backlash", Machine { backlash: good.backlash - by, ..good }),
            ("bow", Machine { bow: by, ..good }),
            ("motor turn", Machine { wave: [20.0, by], ..good }),
        ] {
            let names: Vec<_> = found(axis, machine, 300);
            assert_eq!(count(&names, name) == 200, is, "{name} {share}: {names:?}");
            assert!(is || count(&names, name) == 0, "{name} {share}: {names:?}");
        }
    }
    // A backlash that is above none by less is none either; one reading out of line by more is a bad place.
    let none = judged(axis, good, 1);
    assert!(none.agrees(), "{:?}", none.findings);
    let mut rows = readings(axis, good, 1);
    let bad = rows[0].commanded;
    rows.iter_mut().filter(|r| r.commanded == bad && r.approach == Approach::Up).for_each(|r| r.measured += 0.9 * step);
    let judged = Calibration::of(axis, &Measurement::new(axis, rows).unwrap()).unwrap();
    assert!(
        matches!(judged.findings.as_slice(), [Finding::Uneven(u)] if u.position == bad && u.deviation > 0.5 * step),
        "{:?}",
        judged.findings
    );
}

/// Estimates are as near as their standard errors say: within two of them in about 95 of 100.
#[test]
fn standard_errors_are_true() {
    let stage = stage_of(STAGE);
    let axis = axis(&stage, "camera.track");
    let machine = Machine { steps_per_unit: 157.3, backlash: 0.31, ..as_stated(axis, 0.05) };
    let (mut scale, mut backlash, n) = (0, 0, 400);
    for seed in 1..=n {
        let c = judged(axis, machine, seed);
        scale += usize::from((c.steps_per_unit.value - 157.3).abs() <= 2.0 * c.steps_per_unit.error);
        let b = c.backlash.unwrap();
        backlash += usize::from((b.value - 0.31).abs() <= 2.0 * b.error);
    }
    // Binomial: 380 expected, standard deviation 4.4.
    assert!((360..=396).contains(&scale) && (360..=396).contains(&backlash), "{scale} {backlash}");
}

/// The stage file with the lines that are offered, loaded again: it has the measured scale and direction, and the same machine then agrees with it.
#[test]
fn the_lines_for_the_stage_file_are_true() {
    for name in ["camera.track", "camera.pan"] {
        for (factor, backlash) in [(1.01, 0.0), (-1.0, 0.0), (-0.5, 0.4), (1.0003, 0.3), (1.0, 0.35), (16.0, 0.0)] {
            let stage = stage_of(STAGE);
            let before = axis(&stage, name);
            let noise = 2.0 / before.drive().steps_per_unit();
            let good = as_stated(before, noise);
            let machine = Machine { steps_per_unit: good.steps_per_unit * factor, backlash: good.backlash + backlash, ..good };
            // Measured well, so that readings of the usual noise do not contradict it.
            let c = judged(before, Machine { noise: 0.05 * noise, ..machine }, 7);
            assert!(!c.lines.is_empty(), "{name} {factor} {backlash}: {:?}", c.findings);
            let (_, local) = name.split_once('.').unwrap();
            let (head, rest) = STAGE.split_once(&format!("name = \"{local}\"\n")).unwrap();
            let end = rest.find("[[").unwrap_or(rest.len());
            let keys: Vec<&str> = c.lines.iter().map(|l| l.key).collect();
            let kept: String = rest[..end].lines().filter(|l| !keys.iter().any(|k| l.starts_with(k))).map(|l| format!("{l}\n")).collect();
            let added: String = c.lines.iter().map(|l| format!("{} = {}\n", l.key, l.value)).collect();
            let text = format!("{head}name = \"{local}\"\n{kept}{added}{}", &rest[end..]);
            let stage = stage_of(&text);
            let after = axis(&stage, name);
            assert_eq!(after.drive().is_reversed(), machine.steps_per_unit < 0.0);
            let off = (after.drive().steps_per_unit() - c.steps_per_unit.value).abs();
            let stated = (c.steps_per_unit.value - before.drive().steps_per_unit()).abs();
            assert!(
                off <= c.steps_per_unit.error / 19.0 || (!keys.contains(&"travel_per_rev") && stated <= 5.0 * c.steps_per_unit.error),
                "{text}"
            );
            if keys.contains(&"backlash") {
                assert!((after.backlash().unwrap() - c.backlash.unwrap().value).abs() <= c.backlash.unwrap().error / 19.0, "{text}");
            }
            // Readings of the same machine, driven by the counts of the corrected file.
            let again = judged(after, machine, 8);
            assert!(again.agrees(), "{name} {factor} {backlash}: {:?}\n{text}", again.findings);
        }
    }
}

/// What the file says of an axis: codes with line and column.
fn refused(text: &str) -> Vec<(&'static str, u32, u32)> {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("camera.track.csv");
    fs::write(&path, text).unwrap();
    let stage = stage_of(STAGE);
    let rejection = input::load_measurement(&path, axis(&stage, "camera.track")).unwrap_err();
    rejection
        .diagnostics()
        .iter()
        .map(|d| (d.code.slug(), d.place.as_ref().map_or(0, |p| p.line), d.place.as_ref().map_or(0, |p| p.column)))
        .collect()
}

fn good() -> String {
    let rows = [100, 400, 800, 1200].map(|x| format!("{x},{x}.01,+\n{x},{x}.02,-\n{x},{x}.03,1\n"));
    format!("commanded,measured,direction\n{}", rows.concat())
}

#[test]
fn what_is_wrong_with_a_measurement_is_named_with_its_place() {
    let with = |from: &str, to: &str| {
        assert!(good().contains(from));
        refused(&good().replacen(from, to, 1))
    };
    assert_eq!(with("400,400.01", "400,NaN"), [("not-a-number", 5, 5)]);
    assert_eq!(with("400,400.01", "400,inf"), [("not-a-number", 5, 5)]);
    assert_eq!(with("400,400.01", ",400.01"), [("not-a-number", 5, 1)]);
    assert_eq!(with("400,400.01", "400,1e12"), [("out-of-range", 5, 5)]);
    assert_eq!(with("400,400.01", "1500.1,400.01"), [("out-of-range", 5, 1)]);
    assert_eq!(with("400,400.01", "-0.1,400.01"), [("out-of-range", 5, 1)]);
    assert_eq!(with("400.01,+", "400.01,up"), [("unknown-direction", 5, 12)]);
    assert_eq!(with("400.01,+", "400.01,"), [("unknown-direction", 5, 12)]);
    assert_eq!(with("400.01,+", "400.01,0"), [("unknown-direction", 5, 12)]);
    assert_eq!(with("400,400.01,+", "400,400,01,+"), [("wrong-count", 5, 12)]);
    assert_eq!(with("400,400.01,+", "400,400.01"), [("wrong-count", 5, 11)]);
    assert_eq!(with("measured,", "seen,"), [("missing-column", 1, 11)]);
    assert_eq!(with("measured,", "commanded,"), [("duplicate-name", 1, 11)]);
    assert_eq!(with("commanded,measured,direction", "commanded;measured;direction"), [("missing-column", 1, 1)]);
    assert_eq!(refused("commanded,measured\n1,1\n"), [("missing-column", 1, 1)]);
    assert_eq!(refused("").iter().map(|r| r.0).collect::<Vec<_>>(), ["empty-file"]);
    assert_eq!(refused("commanded,measured,direction\n"), [("too-few-readings", 1, 1)]);
    assert_eq!(refused("commanded,measured,direction\n100,100,+\n"), [("too-few-readings", 1, 1)]);
    // The same position all the time, or two positions.
    let same: String = (0..20).map(|i| format!("{},100.{i},+\n", if i % 2 == 0 { 100 } else { 200 })).collect();
    assert_eq!(refused(&format!("commanded,measured,direction\n{same}")), [("too-few-readings", 1, 1)]);
    let rows = |n: usize| format!("commanded,measured,direction\n{}", "100,100,+\n".repeat(n));
    assert_eq!(refused(&rows(10_001)), [("too-many", 10_002, 1)]);
    assert_eq!(refused(&rows(10_000)), [("too-few-readings", 1, 1)]);
    assert_eq!(refused(&rows(500_000)).first().unwrap().0, "file-too-large");
    let not_text = tempfile::tempdir().unwrap();
    fs::write(not_text.path().join("camera.track.csv"), [b'c', 0xff]).unwrap();
    let stage = stage_of(STAGE);
    assert!(input::load_measurement(&not_text.path().join("camera.track.csv"), axis(&stage, "camera.track")).is_err());
    assert!(input::load_measurement(Path::new("/nowhere/camera.track.csv"), axis(&stage, "camera.track")).is_err());
}

#[test]
fn blank_readings_are_counted_and_left_out() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("camera.track.csv");
    fs::write(&path, good() + "1400,,+\n1400,,-\n\n,,\n").unwrap();
    let stage = stage_of(STAGE);
    let file = input::load_measurement(&path, axis(&stage, "camera.track")).unwrap();
    assert_eq!((file.measurement.readings().len(), file.blank), (12, 2));
}

#[test]
fn another_unit_an_axis_that_does_not_move_and_sides_that_are_places_are_refused() {
    let stage = stage_of(STAGE);
    let axis = axis(&stage, "camera.track");
    let rows = readings(axis, as_stated(axis, 0.01), 1);
    let code = |change: &dyn Fn(Reading) -> Reading| {
        let rows = rows.iter().copied().map(change).collect();
        Calibration::of(axis, &Measurement::new(axis, rows).unwrap()).map(|c| c.findings).unwrap_err()
    };
    let metres = code(&|r| Reading { measured: r.measured / 1000.0, ..r });
    assert!(metres.code == "other-unit" && metres.help.contains("metres"), "{metres}");
    assert_eq!(code(&|r| Reading { measured: 12.0, ..r }).code, "other-unit");
    let apart = |r: Reading| match r.commanded {
        low if low < 500.0 => Reading { commanded: 100.0, approach: Approach::Up, ..r },
        middle if middle < 1000.0 => Reading { commanded: 1400.0, approach: Approach::Down, ..r },
        _ => Reading { commanded: 1401.0, approach: Approach::Down, ..r },
    };
    let sides = code(&apart);
    assert_eq!(sides.code, "too-few-readings", "{sides}");
}

/// Readings to a hundredth with no other noise repeat exactly: what is smaller than a hundredth is not found in them.
#[test]
fn what_the_gauge_cannot_show_is_no_finding() {
    let stage = stage_of(STAGE);
    let axis = axis(&stage, "camera.pan");
    let coarse = |backlash: f64| {
        let rows = readings(axis, Machine { backlash, ..as_stated(axis, 0.0) }, 1);
        let rows = rows.into_iter().map(|r| Reading { measured: (r.measured * 100.0).round() / 100.0, ..r }).collect();
        let measurement = Measurement::new(axis, rows).unwrap();
        assert!(measurement.resolution() > 0.009);
        Calibration::of(axis, &measurement).unwrap()
    };
    assert!(coarse(0.006).agrees(), "{:?}", coarse(0.006).findings);
    assert_eq!(coarse(0.04).findings, [Finding::Backlash]);
}

/// One side gives a scale and no backlash; one reading each gives no repeatability.
#[test]
fn what_the_readings_do_not_give_is_none() {
    let stage = stage_of(STAGE);
    let axis = axis(&stage, "camera.track");
    let rows = readings(axis, as_stated(axis, 0.01), 1);
    let n = Targets::of(axis).unwrap().targets.len();
    let up: Vec<Reading> = rows.iter().copied().filter(|r| r.approach == Approach::Up).collect();
    let c = Calibration::of(axis, &Measurement::new(axis, up).unwrap()).unwrap();
    assert!(c.backlash.is_none() && c.corrected.reversal.is_none() && c.corrected.repeatability.is_none() && c.agrees());
    assert!(c.corrected.repeatability_up.is_some() && c.corrected.accuracy.is_some());
    let once: Vec<Reading> = rows.into_iter().take(2 * n).collect();
    let c = Calibration::of(axis, &Measurement::new(axis, once).unwrap()).unwrap();
    assert!(c.corrected.repeatability.is_none() && c.corrected.accuracy.is_none() && c.corrected.reversal.is_some());
    assert!(!c.residual.targets_judged);
}

#[test]
fn the_document_has_its_schema() {
    let schema = Validator::new(rig_json::schema()).unwrap();
    let stage = stage_of(STAGE);
    let sheets: Vec<AxisSheet<'_>> = stage.axis_ids().map(|id| AxisSheet::of(&stage, id)).collect();
    let check = |measured: Option<&Measured<'_>>| {
        let document = serde_json::from_str(&rig_json::text(stage.name(), &sheets, measured).unwrap()).unwrap();
        assert_eq!(schema.faults(&document), Vec::<String>::new());
    };
    check(None);
    let axis = axis(&stage, "camera.track");
    let good = as_stated(axis, 0.01);
    let machines = [good, Machine { steps_per_unit: -1.1 * good.steps_per_unit, bow: 1.0, wave: [20.0, 1.0], backlash: 0.5, ..good }];
    for machine in machines {
        let measurement = Measurement::new(axis, readings(axis, machine, 3)).unwrap();
        let calibration = Calibration::of(axis, &measurement).unwrap();
        check(Some(&Measured {
            file: "camera.track.csv",
            axis: "camera.track",
            measurement: &measurement,
            blank: 0,
            calibration: &calibration,
        }));
    }
}
