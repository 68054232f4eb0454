//! Rows for controllers: every number against its definition, whatever the rate, the threads, the pieces of work and the target.

use std::io::{self, Write};

use crate::inside::common::{CycleSpec, Program as Layers, any_program, axis, axis_at, checked, group_at, moving, shot, stage};
use movewright::check::Report;
use movewright::output::rows::interpolation::{Departure, departures, worst};
use movewright::output::rows::{Extent, RowRate, RowsError, Table, Tracks};
use movewright::program::Program;
use movewright::shot::{Exposure, Pass, Shape};
use movewright::stage::{AxisId, Stage, Unit};
use movewright::time::Seconds;
use proptest::prelude::*;

/// Three axes: one by keys, one beating, one reversed and standing at half a step.
fn marsh() -> Report {
    marsh_with(|stage| {
        let held = Pass::new(stage, "held", Exposure::Held, 12.0, 90.0, 1.5, vec![]).unwrap();
        vec![moving(stage, "picture", 0.5), held, moving(stage, "slow", 7.3)]
    })
}

/// The same with other passes.
fn marsh_with(passes: impl Fn(&Stage) -> Vec<Pass>) -> Report {
    let (mut a, mut b, mut c) = (axis("rise"), axis("wing"), axis("yaw"));
    a.home = 12.5;
    b.unit = Unit::Degree;
    b.drive.gear_ratio = 1.7;
    c.drive.reverse = true;
    let stage = stage(vec![a, b, c]);
    let programs = [
        Layers {
            tracks: vec![(Shape::NaturalCubic, None, vec![(1.0, 0.0), (14.0, 55.0), (31.0, -20.0), (40.0, 11.0)])],
            ..Layers::default()
        },
        Layers {
            cycles: vec![CycleSpec {
                period: 11.0,
                phase: 0.2,
                keys: vec![(0.0, -18.0), (0.35, 42.0), (0.6, 10.0)],
                amount: vec![],
                rate: vec![(1.0, 1.0), (30.0, 1.6)],
            }],
            drifts: vec![(7, 3.0, 20.0)],
            ..Layers::default()
        },
        Layers { tracks: vec![(Shape::StopAtKeys, None, vec![(3.0, 0.005), (20.0, 7.0), (30.0, 7.005)])], ..Layers::default() },
    ];
    checked(&stage, &shot(&stage, (1, 40), &programs, passes(&stage)))
}

/// The tracks of a pass.
fn tracks(report: &Report, pass: usize) -> Tracks<'_> {
    let pass = &report.passes[pass];
    Tracks::new(&pass.program, pass).unwrap()
}

fn text(table: &Table<'_>) -> String {
    let mut out = Vec::new();
    table.write(&mut out, &mut |_| {}).unwrap();
    String::from_utf8(out).unwrap()
}

/// Every number of a table against the definition at its own instant.
fn hold_to_definition(tracks: &Tracks<'_>, (numerator, denominator): (u64, u64), axes: usize) {
    let rate = RowRate::parse(&format!("{numerator}/{denominator}")).unwrap();
    let program = tracks.program();
    let (stage, clock) = (program.compiled().stage(), program.clock());
    let table = Table::new(tracks, rate).unwrap().with_derivatives(1).with_shutter(true);
    let text = text(&table);
    let mut lines = text.lines();
    assert_eq!(lines.next().unwrap().split(',').count(), 2 + 2 * axes);
    let mut rows = 0;
    for (k, line) in lines.enumerate() {
        let cells: Vec<&str> = line.split(',').collect();
        let t: f64 = cells[0].parse().unwrap();
        assert_eq!(t.to_bits(), ((k as u64 * denominator) as f64 / numerator as f64).to_bits(), "row {k}");
        for i in 0..axes {
            assert_eq!(cells[1 + i], tracks.count(i, Seconds(t)).unwrap().to_string(), "row {k} axis {i}");
            // After the end everything stands where it came to rest.
            let here = program.motion(axis_at(stage, i), Seconds(t.min(program.end().0))).unwrap();
            assert_eq!(cells[1 + i], stage.axes()[i].count(here.position).unwrap().to_string(), "row {k} axis {i}");
            let v = stage.axes()[i].drive().steps(here.velocity);
            let written: f64 = cells[1 + axes + i].parse().unwrap();
            assert_eq!(written.to_bits(), ((v * 1000.0).round_ties_even() / 1000.0 + 0.0).to_bits(), "row {k} axis {i}: {v}");
        }
        assert_eq!(cells[1 + 2 * axes], if clock.is_open(Seconds(t)) { "1" } else { "0" });
        rows = k + 1;
    }
    assert_eq!(rows as u64, table.rows());
    // In whole numbers: the last row is the first one that is not before the end.
    let tenths = (clock.pace().get() * 10.0).round() as u64;
    assert_eq!(tenths as f64 / 10.0, clock.pace().get());
    let end = (10 * clock.begin_seconds() + tenths * clock.frames()) * numerator;
    let at = |row: usize| 10 * row as u64 * denominator;
    assert!(at(rows - 2) < end && end <= at(rows - 1), "{rows} rows at {rate}");
}

#[test]
fn every_number_is_that_of_its_own_instant() {
    let report = marsh();
    for pass in 0..3 {
        let tracks = tracks(&report, pass);
        for rate in [(1, 1), (1, 10), (24, 1), (100, 1), (2997, 100), (30_000, 1001), (1000, 7)] {
            hold_to_definition(&tracks, rate, 3);
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]
    #[test]
    fn rows_of_any_choreography_are_those_of_the_curve(
        a in any_program(), b in any_program(), pace in 0.01..3.0_f64, hz in 0.5..60.0_f64, reverse in any::<bool>(), home in -40.0..40.0_f64
    ) {
        let (mut first, mut second) = (axis("rise"), axis("yaw"));
        first.home = home;
        second.drive.reverse = reverse;
        second.drive.gear_ratio = 1.0 / 3.0;
        let stage = stage(vec![first, second]);
        let shot = shot(&stage, (0, 120), &[a, b], vec![moving(&stage, "picture", pace)]);
        let report = checked(&stage, &shot);
        let compiled = &report.compiled;
        let tracks = tracks(&report, 0);
        // The definition once more, from the curve alone.
        let start = -0.5 - f64::from(compiled.run_up());
        let there = tracks.program().clock().begin().0;
        prop_assert!(there >= 0.0 && there.fract() == 0.0);
        let thousandths = (hz / pace * 1000.0).round();
        let rate = RowRate::parse(&format!("{thousandths}/1000")).unwrap();
        let table = text(&Table::new(&tracks, rate).unwrap());
        for (k, line) in table.lines().skip(1).enumerate() {
            let t = k as f64 * 1000.0 / thousandths;
            let x = start + (t - there) / pace;
            for (i, n) in line.split(',').skip(1).enumerate() {
                let axis = &stage.axes()[i];
                let count = n.parse::<i64>().unwrap();
                let curve = compiled.axes()[axis_at(&stage, i)].curve();
                if t < there {
                    // From home to the start and, before it, as far back as play and margin: the law is monotone on either leg.
                    let (home, from) = (axis.home(), curve.at(curve.start()).unwrap());
                    let back = 1.0 + 2.0 * axis.backlash().unwrap_or(0.0) + 200.0 / axis.drive().steps_per_unit();
                    let p = axis.home() + count as f64 / axis.drive().steps_per_unit() * if axis.drive().is_reversed() { -1.0 } else { 1.0 };
                    prop_assert!(home.min(from) - back <= p && p <= home.max(from) + back);
                    if k == 0 {
                        prop_assert_eq!(count, 0);
                    }
                } else {
                    let p = curve.at(x.min(curve.end())).unwrap();
                    prop_assert_eq!(count, axis.count(p).unwrap());
                }
            }
        }
    }
}

/// Curves that crawl along half steps by a few last bits: the quick evaluation is never certain there and would be wrong on some.
#[test]
fn trap_positions_at_half_steps_round_as_defined() {
    let mut specs = Vec::new();
    let mut programs = Vec::new();
    for i in 0..24_u32 {
        let mut spec = axis(&format!("wire_{i}"));
        spec.drive.travel_per_rev = [0.3, 0.7, 1.1, 60.0][i as usize % 4];
        spec.drive.gear_ratio = [1.0, 1.7, 3.0][i as usize % 3];
        spec.drive.reverse = i % 5 == 0;
        spec.home = 0.1 * f64::from(i % 7);
        let steps_per_unit = 200.0 * spec.drive.gear_ratio / spec.drive.travel_per_rev;
        let half = spec.home + (f64::from(37 * i) + 0.5) / steps_per_unit;
        let keys = (0..30).map(|k| (f64::from(k) * 10.0, half * (1.0 + f64::from(k % 7 - 3) * f64::EPSILON))).collect();
        programs.push(Layers { tracks: vec![(Shape::StopAtKeys, None, keys)], ..Layers::default() });
        specs.push(spec);
    }
    let stage = stage(specs);
    let report = checked(&stage, &shot(&stage, (0, 295), &programs, vec![moving(&stage, "picture", 1.0)]));
    let tracks = tracks(&report, 0);
    hold_to_definition(&tracks, (10, 1), 24);
    hold_to_definition(&tracks, (16, 1), 24);
    let count = |i: usize, t: f64| tracks.count(i, Seconds(t));
    let both = (0..24).filter(|i| count(*i, 0.5).is_some_and(|n| (0..296).any(|t| count(*i, f64::from(t)) != Some(n))));
    assert!(both.count() > 5, "the case must cross half steps");
}

#[test]
fn rows_on_a_frame_are_the_column_of_that_frame() {
    let report = marsh();
    let compiled = &report.compiled;
    for (index, pass) in compiled.shot().passes().iter().enumerate() {
        let tracks = tracks(&report, index);
        let frames = crate::inside::common::table(compiled, index, movewright::output::columns::Column::Steps);
        for (i, name) in compiled.stage().axis_names().iter().enumerate() {
            for (n, want) in (1..).zip(crate::inside::common::column(&frames, name)) {
                let run_up = if pass.exposure() == Exposure::Moving { f64::from(compiled.run_up()) } else { 0.0 };
                let t = tracks.program().clock().begin().0 + (f64::from(n) - 0.5 + run_up) * pass.pace().get();
                // Where seconds and pace are no binary fractions, frame time is right to its last bit and no further.
                let near =
                    [t, t * (1.0 + f64::EPSILON), t * (1.0 - f64::EPSILON)].map(|t| tracks.count(i, Seconds(t)).unwrap().to_string());
                assert!(near.contains(&want), "{} {name} frame {n}: {near:?} {want}", pass.name());
            }
        }
    }
}

/// The move to start: from home, at rest, to the start, within every limit by central differences, and with the play taken up from one side.
#[test]
fn every_axis_comes_from_home_to_its_start_within_its_limits() {
    let report = marsh();
    for pass in &report.passes {
        let program = &pass.program;
        let clock = program.clock();
        let there = clock.begin().0;
        assert!(there >= 1.0 && there.fract() == 0.0, "{there}");
        for (id, axis) in report.compiled.stage().each_axis() {
            let (i, motion) = (id.index(), |t: f64| program.motion(id, Seconds(t)).unwrap());
            assert_eq!(motion(0.0).position, axis.home());
            let (l, n) = (axis.limits(), 4000);
            let h = there / f64::from(n);
            let v = |k: i32| motion(h * f64::from(k)).velocity;
            for k in 1..n - 1 {
                let (before, here, after) = (v(k - 1), v(k), v(k + 1));
                assert!(here.abs() <= l.velocity * (1.0 + 1e-9), "{} {i}: {here}", pass.name());
                let a = (after - before) / (2.0 * h);
                assert!(a.abs() <= l.acceleration * (1.0 + 1e-6), "{} {i}: {a}", pass.name());
            }
            // It stands on the step of the start when the run-up begins, to the last bit of the curve.
            let (last, first) = (motion(there - 1e-9), motion(there));
            assert!((last.position - first.position).abs() < 1e-9 && last.velocity.abs() < 1e-6, "{} {i}: {last:?} {first:?}", pass.name());
        }
        assert_eq!(clock.frame_at(Seconds(there)), clock.start_frame());
        let opens = clock.first_opening().0;
        for (t, open) in [(0.0, false), (0.5, false), (opens - 1e-6, false), (opens + 1e-6, true)] {
            assert_eq!(clock.is_open(Seconds(t)), open, "{t}");
        }
    }
}

#[test]
fn a_held_axis_stands_while_exposed_and_moves_in_between() {
    let report = marsh();
    let (compiled, program) = (&report.compiled, &report.passes[1].program);
    let s = program.pass().shutter().fraction();
    let begin = program.clock().begin().0;
    assert_eq!(program.end().0, begin + 40.0 * 12.0);
    let motion = |id: AxisId, t: f64| program.motion(id, Seconds(t)).unwrap();
    let open = |t: f64| program.clock().is_open(Seconds(t));
    let mut moved = 0;
    for n in 1..=40 {
        let at = |x: f64| begin + (x - 0.5) * 12.0;
        let middle = f64::from(n);
        let (opens, closes) = (at(middle - s / 2.0), at(middle + s / 2.0));
        for id in compiled.stage().axis_ids() {
            let station = compiled.axes()[id].curve().at(middle).unwrap();
            for j in 0..=20 {
                // Settling comes before the opening; the first frame has nothing to settle from.
                let t = opens - 1.5 + (closes - opens + 1.5) * f64::from(j) / 20.0;
                if begin <= t {
                    assert_eq!(motion(id, t.min(closes)).position.to_bits(), station.to_bits(), "frame {n} axis {id:?}");
                }
            }
            if n < 40 && compiled.axes()[id].curve().at(middle + 1.0).unwrap() != station {
                // The move is on its way right after the shutter closes.
                assert!(motion(id, closes + 1e-3).velocity != 0.0);
                moved += 1;
            }
        }
        assert!(!open(opens - 1e-6) && open(opens + 1e-6));
        assert!(open(closes - 1e-6) && !open(closes + 1e-6));
    }
    assert!(moved > 80);
    // A move longer than the time between exposures has no rows.
    let hasty = marsh_with(|stage| vec![Pass::new(stage, "hasty", Exposure::Held, 0.01, 359.0, 0.0, vec![]).unwrap()]);
    let pass = &hasty.passes[0];
    assert!(matches!(Tracks::new(&pass.program, pass), Err(RowsError::DoesNotFit { .. })));
}

#[test]
fn the_bytes_do_not_depend_on_threads_or_pieces() {
    let report = marsh();
    for (index, pass) in report.passes.iter().enumerate() {
        let tracks = tracks(&report, index);
        let table = |pieces| {
            let t = Table::new(&tracks, RowRate::parse(&30.0.to_string()).unwrap()).unwrap();
            t.with_derivatives(1).with_shutter(true).in_pieces_of(pieces)
        };
        let want = text(&table(0));
        for pieces in [1, 7, 64, 1000, 100_000] {
            for threads in [1, 2, 5] {
                let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
                assert!(pool.install(|| text(&table(pieces))) == want, "{} pieces of {pieces}, {threads} threads", pass.name());
            }
        }
    }
}

#[test]
fn headers_name_axes_and_quantities() {
    let report = marsh();
    let tracks = tracks(&report, 0);
    let table = || Table::new(&tracks, RowRate::parse(&1.0.to_string()).unwrap()).unwrap();
    assert_eq!(table().header(), "t_s,heron.rise,heron.wing,heron.yaw");
    assert_eq!(table().of_axes(&[2]).with_derivatives(1).with_shutter(true).header(), "t_s,heron.yaw,heron.yaw:steps_per_s,shutter");
    // One axis alone has the column it has among all.
    let (all, one) = (text(&table()), text(&table().of_axes(&[1])));
    assert_eq!(crate::inside::common::column(&all, "heron.wing"), crate::inside::common::column(&one, "heron.wing"));
    assert!(!all.contains(['"', '\r']) && all.ends_with('\n'));
}

#[test]
fn parked_axes_stand_at_home_and_the_shutter_opens_for_photographed_frames_alone() {
    let parked = |stage: &Stage| vec![Pass::new(stage, "empty", Exposure::Moving, 0.5, 180.0, 0.0, vec![group_at(stage, 0)]).unwrap()];
    let report = marsh_with(parked);
    let (compiled, program) = (&report.compiled, &report.passes[0].program);
    let tracks = tracks(&report, 0);
    let text = text(&Table::new(&tracks, RowRate::parse(&100.0.to_string()).unwrap()).unwrap().with_derivatives(1).with_shutter(true));
    let (up, down) = (program.clock().begin().0 + f64::from(compiled.run_up()) * 0.5, f64::from(compiled.run_down()) * 0.5);
    let mut open = 0;
    for line in text.lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        assert_eq!(cells[1..7], ["0", "0", "0", "0.000", "0.000", "0.000"]);
        let t: f64 = cells[0].parse().unwrap();
        if cells[7] == "1" {
            assert!(up < t && t < program.end().0 - down);
            open += 1;
        }
    }
    // 40 frames of 0.5 s at 180 degrees: 0.25 s each, 25 rows (to one, where the window's ends fall on rows).
    assert!((960..=1040).contains(&open), "{open}");
    let first = axis_at(compiled.stage(), 0);
    assert_eq!(program.motion(first, Seconds(-1e-9)), None);
    assert_eq!(program.motion(first, Seconds(program.end().0 * (1.0 + 1e-15))), None);
    assert_eq!(program.motion(axis_at(&stage(vec![axis("other")]), 0), Seconds(0.0)), None);
    assert_eq!(tracks.count(3, Seconds(0.0)), None);
}

/// A writer that takes so many bytes and then finds the pipe closed.
struct Closing(usize);

impl Write for Closing {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        if self.0 == 0 {
            return Err(io::Error::from(io::ErrorKind::BrokenPipe));
        }
        let n = self.0.min(bytes.len());
        self.0 -= n;
        Ok(n)
    }
    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

#[test]
fn a_writer_that_fails_ends_the_work_with_its_error() {
    let report = marsh();
    let tracks = tracks(&report, 0);
    for bytes in [0, 10, 1000, 100_000] {
        let table = Table::new(&tracks, RowRate::parse(&1000.0.to_string()).unwrap()).unwrap();
        match table.write(&mut Closing(bytes), &mut |_| {}) {
            Err(RowsError::Io(e)) => assert_eq!(e.kind(), io::ErrorKind::BrokenPipe),
            other => panic!("{other:?}"),
        }
    }
}

/// How far each way of going between rows is from the curve, by dense sampling.
fn sampled(program: &Program, axis: usize, hz: f64) -> [f64; 3] {
    let stage = program.compiled().stage();
    let (id, spu) = (axis_at(stage, axis), stage.axes()[axis].drive().steps_per_unit());
    let motion = |t: f64| program.motion(id, Seconds(t.min(program.end().0))).unwrap();
    let rows = RowRate::parse(&hz.to_string()).unwrap().rows_of(program, Extent::Program).unwrap();
    let at = |k: u64| motion(k as f64 / hz);
    let h = 1.0 / hz;
    let mut worst = [0.0_f64; 3];
    for k in 1..rows - 2 {
        let [a, b, c, d] = [k - 1, k, k + 1, k + 2].map(at);
        for j in 1..16 {
            let u = f64::from(j) / 16.0;
            let p = motion((k as f64 + u) * h).position;
            let hermite = |v0: f64, v1: f64| {
                let (u2, u3) = (u * u, u * u * u);
                b.position * (2.0 * u3 - 3.0 * u2 + 1.0)
                    + v0 * h * (u3 - 2.0 * u2 + u)
                    + c.position * (3.0 * u2 - 2.0 * u3)
                    + v1 * h * (u3 - u2)
            };
            let ways = [
                b.position + u * (c.position - b.position),
                hermite(b.velocity, c.velocity),
                hermite((c.position - a.position) * 0.5 * hz, (d.position - b.position) * 0.5 * hz),
            ];
            for (w, way) in worst.iter_mut().zip(ways) {
                *w = w.max((way - p).abs() * spu);
            }
        }
    }
    worst
}

#[test]
fn no_interpolation_departs_further_than_said() {
    let report = marsh();
    for (index, pass) in report.passes.iter().enumerate() {
        let (program, tracks) = (&pass.program, tracks(&report, index));
        for hz in [0.7, 3.0, 11.0] {
            for Departure { axis, linear, hermite, catmull_rom, half_step_rate } in
                departures(&tracks, RowRate::parse(&hz.to_string()).unwrap())
            {
                let found = sampled(program, axis, hz);
                // Sampling sees positions to their last bits.
                let room = 1.0 + 1e-9;
                for (found, bound) in found.into_iter().zip([linear, hermite, catmull_rom]) {
                    assert!(found <= bound * room + 1e-9, "{} {axis} {hz}: {found} {bound}", pass.name());
                }
                // The closed form: at this rate the bound is half a step.
                let near = (half_step_rate * 1000.0).round() / 1000.0;
                let at_half =
                    departures(&tracks, RowRate::parse(&near.to_string()).unwrap())[axis].linear * (near / half_step_rate).powi(2);
                assert!((at_half - 0.5).abs() < 1e-12, "{at_half}");
            }
        }
    }
    // The bounds are of use: at a rate that resolves the motion straight lines come within a tenth of theirs.
    let (program, tracks) = (&report.passes[0].program, tracks(&report, 0));
    let all = departures(&tracks, RowRate::parse(&40.0.to_string()).unwrap());
    let (axis, bound) = worst(&all, |d| d.linear).unwrap();
    assert!(sampled(program, axis, 40.0)[0] > 0.9 * bound);
}

/// D: the curves that Peano's kernels pick attain the constants of the Hermite bound, so no smaller ones would do.
#[test]
fn the_constants_of_the_cubic_are_attained() {
    // Jerk 1, then -1: f(1/2) = 1/48, f(1) = 1/8, f'(1) = 1/4, f(0) = f'(0) = 0.
    let middle: f64 = (0.0 + 1.0 / 8.0) / 2.0 + (0.0 - 1.0 / 4.0) / 8.0;
    assert!((middle - 1.0 / 48.0 - 1.0 / 96.0).abs() < 1e-15);
    // Acceleration 1, -1, 1 with changes at 1/4 and 3/4: f(1/2) = 1/16, f(1) = 1/8 - 1/16 + ... by summing the pieces.
    let (mut p, mut v) = (0.0_f64, 0.0_f64);
    let mut half = 0.0;
    for (h, a) in [(0.25, 1.0), (0.25, -1.0), (0.25, -1.0), (0.25, 1.0)] {
        p += v * h + a * h * h / 2.0;
        v += a * h;
        if v == 0.0 && half == 0.0 {
            half = p;
        }
    }
    let middle = p / 2.0 - v / 8.0;
    assert!(((middle - half).abs() - 1.0 / 16.0).abs() < 1e-15, "{middle} {half}");
}
