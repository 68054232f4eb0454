//! Stepping motors against published numbers: from a position to a pulse rate, through the whole way from stage to columns.
//!
//! Tolerances are half a unit of the last printed digit; `from memory` where no text of the source was at hand. Steps per millimetre, pulse
//! counts and speed conversions of a drive alone are tested beside the drive; the time of a take, beside the clock.

use crate::inside::common::{Program, axis_at, column, compiled, moving, shot, stage, table};
use movewright::check::{Limit, Part, Report};
use movewright::motion::Quintic;
use movewright::motion::bernstein;
use movewright::motion::curve::{Curve, CurveBuilder};
use movewright::number::whole;
use movewright::output::columns::Column;
use movewright::shot::{Shape, Shot};
use movewright::stage::drive::{Drive, DriveSpec};
use movewright::stage::{Axis, AxisSpec, GroupSpec, Stage, Unit};

#[track_caller]
fn near(what: &str, found: f64, printed: f64, tolerance: f64) {
    assert!((found - printed).abs() <= tolerance, "{what}: found {found}, printed {printed}");
}

fn drive(full: i64, gear: f64, travel: f64) -> Drive {
    Drive::new(DriveSpec { full_steps_per_rev: full, microsteps: 1, gear_ratio: gear, travel_per_rev: travel, reverse: false }).unwrap()
}

/// Source: D. Austin, "Generate stepper-motor speed profiles in real time", Embedded Systems Programming, 2004-12-30: 300 rev/min of a 1.8
/// degree motor, counted by a timer of 1 MHz, are 1000 counts a step.
#[test]
fn timer_count_at_a_constant_speed() {
    let motor = drive(200, 1.0, 360.0);
    assert_eq!(motor.offset(1.0), 1.8);
    let degrees_a_second = 300.0 / 60.0 * 360.0;
    assert_eq!(1e6 / motor.steps(degrees_a_second), 1000.0);
}

/// One second from rest at a constant acceleration.
fn ramp(acceleration: f64) -> Curve {
    let mut builder = CurveBuilder::starting_at(0.0, 1);
    builder.push(1.0, Quintic([0.0, 0.0, 0.5 * acceleration, 0.0, 0.0, 0.0]));
    builder.finish().unwrap()
}

/// The instant of a step, from the curve's values alone.
fn bisected(curve: &Curve, drive: &Drive, step: f64) -> f64 {
    let (mut below, mut above) = (curve.start(), curve.end());
    for _ in 0..60 {
        let mid = 0.5 * (below + above);
        if drive.steps(curve.at(mid).unwrap()) < step { below = mid } else { above = mid }
    }
    0.5 * (below + above)
}

/// The instant of a step, from the piece's polynomial and the finder of all roots.
fn rooted(curve: &Curve, drive: &Drive, step: f64) -> f64 {
    let piece = curve.piece(0).unwrap();
    let [c0, c1, c2, c3, c4, c5] = piece.quintic.0;
    assert_eq!(c5, 0.0, "the finder takes polynomials to degree four");
    let mut found = Vec::new();
    bernstein::roots([c0 - drive.offset(step), c1, c2, c3, c4], &mut |u| found.push(u));
    assert_eq!(found.len(), 1, "{found:?}");
    piece.start + found[0] * piece.length()
}

/// Source: I. Dubrov, stepgen, README, after D. Austin: at 1000 steps/s^2 from rest a timer of 1 MHz counts 2242 from step 99 to step 100;
/// the law is t_n = sqrt(2n/a).
#[test]
fn step_interval_on_a_ramp_of_constant_acceleration() {
    let motor = drive(200, 1.0, 360.0);
    // 1000 steps/s^2 of 1.8 degrees.
    let curve = ramp(1800.0);
    for instant in [bisected, rooted] {
        let ticks = (instant(&curve, &motor, 100.0) - instant(&curve, &motor, 99.0)) * 1e6;
        near("interval", ticks, 2242.0, 0.5);
        assert_eq!(ticks.round(), 2242.0);
        for n in 1..500 {
            let n = f64::from(n);
            let (found, law) = (instant(&curve, &motor, n), (2.0 * n / 1000.0).sqrt());
            // A position is right to 2^-51 or so of itself; its square root to half of that. The finder itself stops within 2^-44 of a piece.
            near("t_n", found, law, 1.0 / 17_592_186_044_416.0);
        }
    }
    // Half a second in, 125 steps are done: the nearest whole step changes half a step before the step is reached.
    assert_eq!(motor.count(curve.at(0.5).unwrap()), Some(125));
    assert_eq!(motor.count(curve.at((2.0_f64 * 124.49 / 1000.0).sqrt()).unwrap()), Some(124));
    assert_eq!(motor.count(curve.at((2.0_f64 * 124.51 / 1000.0).sqrt()).unwrap()), Some(125));
}

/// A feed at constant speed: distance in mm and speed in mm/min, taken at a second a frame, with a step rate the electronics can follow.
struct Feed {
    stage: Stage,
    shot: Shot,
    last: i64,
}

impl Feed {
    fn new(spec: DriveSpec, distance: f64, feed: f64, step_rate: f64) -> Feed {
        let mut axis = AxisSpec::new("table", Unit::Millimetre, [-1e4, 1e4], [1e4, 1e4, 1e4]);
        axis.drive = spec;
        axis.limits.step_rate = Some(step_rate);
        let stage = stage(vec![axis]);
        let seconds = distance * 60.0 / feed;
        let last = whole::nearest(seconds).unwrap();
        assert_eq!(whole::real(last), seconds, "these feeds take whole seconds");
        // A natural cubic through two keys is a straight line, and goes on beyond them.
        let keys = vec![(0.0, 0.0), (seconds, distance)];
        let program = Program { tracks: vec![(Shape::NaturalCubic, None, keys)], ..Program::default() };
        let shot = shot(&stage, (0, last), &[program], vec![moving(&stage, "picture", 1.0)]);
        Feed { stage, shot, last }
    }

    fn checked(&self) -> (Report, Vec<String>) {
        let mv = compiled(&self.stage, &self.shot);
        let steps = column(&table(&mv, 0, Column::Steps), "heron.table");
        (mv.check().unwrap(), steps)
    }
}

/// Source: M. P. Groover, Automation, Production Systems and Computer-Integrated Manufacturing, positioning table problems; from memory. 200
/// steps, 5:1, 2.4 threads a cm, 25 cm at 75 cm/min: 60,000 pulses, 900 rev/min, 3000 Hz. 200 steps, pitch 7.5 mm, 120 mm at 300 mm/min:
/// 3200, 40, 133.33. 48 steps, 5:1, pitch 6 mm, 250 mm at 500 mm/min: 10,000, 416.667, 333.333. (full, gear, travel, distance, feed, pulses,
/// rev/min, half digit, Hz, half digit)
#[test]
fn positioning_tables_end_to_end() {
    let rows = [
        (200, 5.0, 10.0 / 2.4, 250.0, 750.0, 60_000, (900.0, 1e-9), (3000.0, 1e-9)),
        (200, 1.0, 7.5, 120.0, 300.0, 3200, (40.0, 1e-9), (133.33, 0.005)),
        (48, 5.0, 6.0, 250.0, 500.0, 10_000, (416.667, 0.0005), (333.333, 0.0005)),
    ];
    for (full, gear, travel, distance, feed, pulses, rpm, hertz) in rows {
        let spec = DriveSpec { full_steps_per_rev: full, microsteps: 1, gear_ratio: gear, travel_per_rev: travel, reverse: false };
        let exact = f64::from(pulses) / (distance * 60.0 / feed);
        // At the limit it may go.
        let at_limit = Feed::new(spec, distance, feed, exact);
        let (report, steps) = at_limit.checked();
        assert!(report.within_limits(), "{:?}", report.passes[0].violations);
        assert_eq!(steps.len(), usize::try_from(at_limit.last).unwrap() + 1);
        assert_eq!(steps.first().map(String::as_str), Some("0"));
        assert_eq!(steps.last().unwrap(), &pulses.to_string());
        let photographed = report.passes[0].axes[axis_at(&at_limit.stage, 0)].photographed;
        near("Hz", photographed.step_rate.value, hertz.0, hertz.1);
        let motor = at_limit.stage.axes()[0].drive().motor_revs_per_unit();
        near("rev/min", photographed.velocity.value * motor * 60.0, rpm.0, rpm.1);
        // Equal intervals: no row is further from its share than half a step.
        for (i, s) in steps.iter().enumerate() {
            near("steps", s.parse().unwrap(), exact * i as f64, 0.5);
        }
        // A thousandth less, and it is reported: step rate, in the photographed part, with both numbers.
        let over = Feed::new(spec, distance, feed, 0.999 * exact).checked().0;
        assert!(!over.within_limits());
        let told = over.passes[0].violations.iter().find(|v| v.limit == Limit::StepRate && v.part == Part::Photographed).unwrap();
        near("found", told.value, hertz.0, hertz.1);
        near("allowed", told.allowed, 0.999 * exact, 1e-9 * exact);
    }
}

/// Source: the same; from memory. Pitch 4 mm and a resolution of 0.015 mm: 267 steps after rounding up, 1.348 degrees a step, 179.775 mm/min at
/// 200 Hz. One step fewer would not do: 266 are coarser than asked.
#[test]
fn control_resolution_of_a_screw() {
    let screw = drive(267, 1.0, 4.0);
    near("degrees a step", screw.offset(1.0) * screw.motor_revs_per_unit() * 360.0, 1.348, 0.0005);
    near("mm/min", screw.offset(200.0) * 60.0, 179.775, 0.0005);
    assert!(screw.offset(1.0) <= 0.015 && drive(266, 1.0, 4.0).offset(1.0) > 0.015);
}

/// Four groups of sixteen axes.
fn sixty_four_axes() -> Stage {
    let group = |name: &str| GroupSpec {
        name: name.into(),
        axes: (0..16)
            .map(|i| {
                let mut axis = AxisSpec::new(&format!("axis_{i}"), Unit::Millimetre, [-2000.0, 2000.0], [400.0, 400.0, 400.0]);
                axis.drive = DriveSpec { microsteps: 16, travel_per_rev: 40.0, ..DriveSpec::default() };
                Axis::new(axis).unwrap()
            })
            .collect(),
    };
    Stage::new("marsh", 1.0, ["camera", "heron_a", "heron_b", "heron_c"].map(group).into()).unwrap()
}

/// Sixty-four axes run for two hours (the size of a large stage and the length of a long take; common practice, no source). The longest take that
/// fits has 1440 frames at 5 s per frame, 342 at 21 s.
#[test]
fn a_take_of_two_hours_with_64_axes() {
    let stage = sixty_four_axes();
    assert_eq!(stage.axes().len(), 64);
    for (pace, last) in [(5.0, 1440_i64), (21.0, 342)] {
        // Every axis goes from rest to rest over its own distance, some backwards.
        let distance = |i: usize| (i as f64 - 24.5) * 8.0;
        let programs: Vec<Program> = (0..64)
            .map(|i| Program {
                tracks: vec![(Shape::MinimumJerk, None, vec![(1.0, 0.0), (last as f64, distance(i))])],
                ..Program::default()
            })
            .collect();
        let shot = shot(&stage, (1, last), &programs, vec![moving(&stage, "beauty", pace)]);
        let mv = compiled(&stage, &shot);
        let report = mv.check().unwrap();
        assert!(report.within_limits());
        let pass = &report.passes[0];
        let take = 2.0 * 3600.0;
        let running = pass.program.clock().running().0;
        assert!(take - pace < running && running <= take, "{running}");
        assert_eq!((pass.axes.len(), mv.run_up(), mv.run_down()), (64, 0, 0));
        let columns = table(&mv, 0, Column::Steps);
        assert_eq!(columns.lines().count() as i64, last + 1);
        assert!(columns.lines().all(|l| l.split(',').count() == 66));
        let middle = (last as f64 + 1.0) / 2.0;
        let seconds = (last as f64 - 1.0) * pace;
        for (id, name) in stage.axis_ids().zip(stage.axis_names()) {
            let (i, axis) = (id.index(), &mv.axes()[id]);
            // All of them are under way in the middle of the take, each at the peak of its law: 1.875 h/T (T. Flash, N. Hogan 1985).
            let peak = 1.875 * distance(i).abs() / seconds;
            // A dozen roundings.
            near("peak", pass.axes[id].photographed.velocity.value, peak, peak * 1e-14);
            near("speed at the middle", axis.curve().jet(middle).unwrap().v.abs() / pace, peak, peak * 1e-14);
            // 80 steps a millimetre: the last row is a whole number of steps already.
            let steps = column(&columns, name);
            assert_eq!(steps.last().unwrap().parse::<f64>().unwrap(), distance(i) * 80.0);
        }
    }
}
