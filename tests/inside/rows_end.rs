//! Where rows end: the last row is the first one that is not before the end of the program, at rest, whatever pace and rate; and `verify` holds folders to it.

use std::path::Path;

use crate::inside::common::{Program as Layers, axis, axis_at, checked, moving, shot, stage};
use movewright::check::{Approval, Report};
use movewright::output::Export;
use movewright::output::rows::{Extent, RowRate, Table, Tracks};
use movewright::shot::{Exposure, Pass, Shape};
use movewright::stage::Stage;
use movewright::time::Seconds;
use movewright::verify::{FaultKind, Source, verify};

/// Paces in tenths of a second per frame.
const PACES: std::ops::RangeInclusive<u64> = 39..=49;

/// Rates as they are written, and as a ratio.
const RATES: [(&str, u64, u64); 6] =
    [("8", 8, 1), ("10", 10, 1), ("12", 12, 1), ("24", 24, 1), ("30000/1001", 30_000, 1001), ("100", 100, 1)];

/// Two axes that move at both edges of the photographed span, one that stands at its last frames; a moving and a held pass at every pace.
fn reeds() -> Report {
    let passes = |stage: &Stage| {
        let pace = |tenths: u64| tenths as f64 / 10.0;
        let moving = PACES.map(|p| moving(stage, &format!("moving_{p}"), pace(p)));
        let held = PACES.map(|p| Pass::new(stage, &format!("held_{p}"), Exposure::Held, pace(p), 90.0, 0.5, vec![]).unwrap());
        moving.chain(held).collect()
    };
    let mut axes = vec![axis("rise"), axis("yaw"), axis("bow")];
    axes[1].drive.reverse = true;
    for a in &mut axes {
        (a.limits.velocity, a.limits.acceleration, a.limits.jerk) = (300.0, 200.0, 200.0);
    }
    let keyed = |keys: &[(f64, f64)]| Layers { tracks: vec![(Shape::NaturalCubic, None, keys.to_vec())], ..Layers::default() };
    let programs = [
        keyed(&[(-10.0, 0.0), (4.0, 55.0), (12.0, -20.0), (30.0, 11.0)]),
        keyed(&[(-10.0, 3.0), (9.0, 40.0), (30.0, -60.0)]),
        Layers { tracks: vec![(Shape::MinimumJerk, None, vec![(2.0, 0.0), (9.0, 7.0)])], ..Layers::default() },
    ];
    let stage = stage(axes);
    let report = checked(&stage, &shot(&stage, (1, 14), &programs, passes(&stage)));
    assert!(report.within_limits(), "{:?}", report.passes.iter().flat_map(|p| &p.violations).next());
    assert!(report.compiled.run_down() > 0);
    report
}

#[test]
fn the_last_row_is_at_rest_and_the_first_not_before_the_end() {
    let report = reeds();
    for pass in &report.passes {
        let tracks = Tracks::new(&pass.program, pass).unwrap();
        let (clock, tenths) = (pass.program.clock(), (pass.program.clock().pace().get() * 10.0).round() as u64);
        for (written, numerator, denominator) in RATES {
            let about = format!("{} at {written}", pass.name());
            let table = Table::new(&tracks, RowRate::parse(written).unwrap()).unwrap().with_derivatives(1);
            let mut text = Vec::new();
            table.write(&mut text, &mut |_| {}).unwrap();
            let text = String::from_utf8(text).unwrap();
            let rows: Vec<Vec<&str>> = text.lines().skip(1).map(|l| l.split(',').collect()).collect();
            let last = rows.len() - 1;
            assert_eq!(table.rows(), rows.len() as u64, "{about}");
            // The end in tenths of a second, rows in tenths times the rate: whole numbers.
            let end = (10 * clock.begin_seconds() + tenths * clock.frames()) * numerator;
            let at = |row: usize| 10 * row as u64 * denominator;
            assert!(at(last - 1) < end && end <= at(last), "{about}: {} rows", rows.len());
            let t = |row: usize| rows[row][0].parse::<f64>().unwrap();
            assert!(t(last - 1) < pass.program.end().0 && pass.program.end().0 <= t(last) * (1.0 + 1e-15), "{about}");
            assert_eq!(rows[last][4..], ["0.000"; 3], "{about}: the last row moves");
            for (i, axis) in report.compiled.stage().axes().iter().enumerate() {
                let curve = report.compiled.axes()[axis_at(report.compiled.stage(), i)].curve();
                let rest = match pass.program.pass().exposure() {
                    Exposure::Moving => curve.end(),
                    Exposure::Held => 14.0,
                };
                let rest = axis.count(curve.at(rest).unwrap()).unwrap();
                assert_eq!(rows[last][1 + i], rest.to_string(), "{about}: axis {i}");
                assert_eq!(tracks.count(i, Seconds(t(last) + 100.0)), Some(rest), "{about}: axis {i} after the end");
            }
        }
    }
}

fn written(report: &Report, rate: &str, to: &Path) {
    let sources = [("shot.toml".to_owned(), b"reeds".to_vec())];
    let rows = Some(RowRate::parse(rate).unwrap());
    Export {
        parts: None,
        approval: Approval::within_limits(report).unwrap(),
        sources: &sources,
        replace: false,
        wishes: movewright::output::handoff::sampling::Wishes::default(),
        rows,
    }
    .write(to, &mut |_| {})
    .unwrap();
}

#[test]
fn folders_with_rows_of_every_pace_and_rate_hold() {
    let report = reeds();
    let (stage, shot) = (report.compiled.stage(), report.compiled.shot());
    let source = |path: &Path| Ok(Source { stage: stage.clone(), shot: shot.clone(), files: vec![path.to_owned()] });
    let temp = tempfile::tempdir().unwrap();
    // With a row in 50 s there is none at most frames, and the last one is the nearest to the last frame.
    for (written_rate, ..) in RATES.into_iter().chain([("0.02", 1, 50), ("1/7", 1, 7)]) {
        let out = temp.path().join(written_rate.replace('/', "_"));
        written(&report, written_rate, &out);
        assert_eq!(verify(&out, &source).unwrap().faults, [], "{written_rate}");
    }
    // One row more or less than the rule says, a last row that has not come to rest, another rate: each is a fault of the rows or the manifest alone.
    let out = temp.path().join("10");
    let file = out.join("moving_41.rows.csv");
    let sound = (std::fs::read_to_string(&file).unwrap(), std::fs::read_to_string(out.join("manifest.json")).unwrap());
    let told = |rows: &str, manifest: &dyn Fn(&mut serde_json::Value)| {
        std::fs::write(&file, rows).unwrap();
        let mut m: serde_json::Value = serde_json::from_str(&sound.1).unwrap();
        manifest(&mut m);
        let (length, hash) = movewright::output::staged::hash_of(&file).unwrap();
        let listed = m["files"].as_array_mut().unwrap().iter_mut().find(|f| f["path"] == "moving_41.rows.csv").unwrap();
        (listed["bytes"], listed["blake3"]) = (length.into(), hash.into());
        std::fs::write(out.join("manifest.json"), serde_json::to_string(&m).unwrap()).unwrap();
        verify(&out, &source).unwrap().faults.iter().map(|f| (f.kind, f.message.clone())).collect::<Vec<_>>()
    };
    fn entry(m: &mut serde_json::Value) -> &mut serde_json::Value {
        let pass = m["passes"].as_array_mut().unwrap().iter_mut().find(|p| p["name"] == "moving_41").unwrap();
        &mut pass["rows"]
    }
    assert_eq!(told(&sound.0, &|_| {}), []);
    let lines: Vec<&str> = sound.0.lines().collect();
    let (last, count) = (lines.len() - 1, lines.len() as u64 - 1);
    let joined = |lines: &[&str]| lines.iter().map(|l| format!("{l}\n")).collect::<String>();
    let faulty = |rows: &str, manifest: &dyn Fn(&mut serde_json::Value), said: &str| {
        let found = told(rows, manifest);
        assert!(found.len() == 1 && found[0].0 == FaultKind::Rows && found[0].1.contains(said), "{said}: {found:?}");
    };
    faulty(&joined(&lines[..last]), &|m| entry(m)["rows"] = (count - 1).into(), "the first that is not before the end");
    let more =
        format!("{}{}\n", sound.0, lines[last].replacen(lines[last].split(',').next().unwrap(), &format!("{}", count as f64 / 10.0), 1));
    faulty(&more, &|m| entry(m)["rows"] = (count + 1).into(), "the first that is not before the end");
    let mut cells: Vec<String> = lines[last].split(',').map(str::to_owned).collect();
    cells[2] = (cells[2].parse::<i64>().unwrap() + 6).to_string();
    faulty(&format!("{}{}\n", joined(&lines[..last]), cells.join(",")), &|_| {}, "after the end");
    faulty(&sound.0, &|m| entry(m)["rate"] = "10 Hz".into(), "which is no rate");
    faulty(&sound.0, &|m| entry(m)["rate"] = "10000/1001".into(), "rate_hz");
    faulty(&sound.0, &|m| entry(m)["duration_s"] = 1.into(), "duration_s");
    faulty(&sound.0, &|m| entry(m)["first_opening_s"] = 1.into(), "first_opening_s");
    faulty(&sound.0, &|m| entry(m)["move_to_start_s"] = 0.5.into(), "no whole number of seconds");
    // The last station of a held pass is known to a step.
    let file = out.join("held_41.rows.csv");
    let text = std::fs::read_to_string(&file).unwrap();
    std::fs::write(out.join("manifest.json"), &sound.1).unwrap();
    std::fs::write(out.join("moving_41.rows.csv"), &sound.0).unwrap();
    let (rest, line) = text.trim_end().rsplit_once('\n').unwrap();
    let mut cells: Vec<String> = line.split(',').map(str::to_owned).collect();
    cells[1] = (cells[1].parse::<i64>().unwrap() + 1).to_string();
    std::fs::write(&file, format!("{rest}\n{}\n", cells.join(","))).unwrap();
    let kinds: Vec<FaultKind> = verify(&out, &source).unwrap().faults.iter().map(|f| f.kind).collect();
    assert_eq!(kinds, [FaultKind::Changed, FaultKind::Rows]);
}

/// With the return home the rows before the end of the program are those without it; then each is on the planned way, and the last is home, at rest.
#[test]
fn the_return_home_follows_the_program_and_ends_at_home() {
    let report = reeds();
    for pass in report.passes.iter().step_by(3) {
        let (end, over) = (pass.program.end().0, pass.program.duration().0);
        assert!(over > end + 1.0);
        for (written, numerator, denominator) in RATES {
            let about = format!("{} at {written}", pass.name());
            let rate = RowRate::parse(written).unwrap();
            let rows = |returns: bool| {
                let tracks = Tracks::new(&pass.program, pass).unwrap().reaching(if returns { Extent::ReturnHome } else { Extent::Program });
                let table = Table::new(&tracks, rate).unwrap().with_derivatives(1).with_shutter(true).with_frame(true);
                let mut text = Vec::new();
                table.in_pieces_of(37).write(&mut text, &mut |_| {}).unwrap();
                String::from_utf8(text).unwrap().lines().map(str::to_owned).collect::<Vec<_>>()
            };
            let (without, with) = (rows(false), rows(true));
            let before = 1 + without.iter().skip(1).filter(|l| l.split(',').next().unwrap().parse::<f64>().unwrap() <= end).count();
            assert_eq!(with[..before], without[..before], "{about}");
            assert!(with[0].ends_with(",shutter,frame"));
            let rows = with.len() - 2;
            let at = |row: usize| (row as u64 * denominator) as f64 / numerator as f64;
            assert!(at(rows - 1) < over && over <= at(rows) + 1e-9, "{about}: {rows} rows, {over} s");
            for line in &with[before..] {
                let cells: Vec<&str> = line.split(',').collect();
                let t: f64 = cells[0].parse().unwrap();
                assert_eq!(cells[7..], ["0", ""], "{about}: the shutter is closed");
                for (i, axis) in report.compiled.stage().axes().iter().enumerate() {
                    let id = axis_at(report.compiled.stage(), i);
                    let piece = *pass.program.timeline(id).iter().find(|p| t <= p.end).unwrap_or(pass.program.timeline(id).last().unwrap());
                    let h = piece.end - piece.start;
                    let jet = piece.quintic.jet(((t - piece.start) / h).min(1.0), h);
                    let (steps, speed) = (cells[1 + i].parse::<f64>().unwrap(), cells[4 + i].parse::<f64>().unwrap());
                    let drive = axis.drive();
                    let sign = if drive.is_reversed() { -1.0 } else { 1.0 };
                    let exact = sign * (jet.p - axis.home()) * drive.steps_per_unit();
                    assert!((steps - exact).abs() <= 0.5 + 1e-6, "{about}: {t} s, axis {i}: {steps}, {exact}");
                    assert!((speed - sign * jet.v * drive.steps_per_unit()).abs() <= 0.001 + 1e-6, "{about}: {t} s, axis {i}");
                }
            }
            let last: Vec<&str> = with[rows + 1].split(',').collect();
            assert_eq!(last[1..], ["0", "0", "0", "0.000", "0.000", "0.000", "0", ""], "{about}: home, at rest");
        }
    }
}

/// The column `frame` is the frame whose slot the instant is in, while its shutter is open: from the definition of frame time.
#[test]
fn the_frame_is_there_while_its_shutter_is_open_and_empty_otherwise() {
    let report = reeds();
    for pass in &report.passes {
        let tracks = Tracks::new(&pass.program, pass).unwrap();
        let table = Table::new(&tracks, RowRate::parse("10").unwrap()).unwrap().with_shutter(true).with_frame(true);
        let mut text = Vec::new();
        table.write(&mut text, &mut |_| {}).unwrap();
        let clock = pass.program.clock();
        let tenths = (clock.pace().get() * 10.0).round() as u64;
        let run_up = if pass.program.pass().exposure() == Exposure::Moving { u64::from(report.compiled.run_up()) } else { 0 };
        let open = pass.program.pass().shutter().degrees();
        let mut seen = std::collections::BTreeSet::new();
        for (row, line) in String::from_utf8(text).unwrap().lines().skip(1).enumerate() {
            let cells: Vec<&str> = line.split(',').collect();
            let (shutter, frame) = (cells[4], cells[5]);
            // Tenths of a second since the first slot: a slot has as many as the pace.
            let since = (row as u64).checked_sub(10 * clock.begin_seconds() + run_up * tenths);
            let slot = since.map(|s| (s / tenths, s % tenths)).filter(|(n, _)| *n < 14);
            let inside = |part: u64| (part as f64 / tenths as f64 - 0.5).abs() * 360.0;
            // At the very edge the last bit of frame time decides; there shutter and frame need only agree.
            let expected = slot.filter(|(_, part)| inside(*part) < 0.5 * open - 1e-6).map(|(n, _)| (n + 1).to_string());
            let edge = slot.is_some_and(|(_, part)| (inside(part) - 0.5 * open).abs() <= 1e-6);
            assert_eq!(shutter == "1", !frame.is_empty(), "{} row {row}", pass.name());
            if !edge {
                assert_eq!(frame, expected.unwrap_or_default(), "{} row {row}", pass.name());
            }
            seen.extend((!frame.is_empty()).then(|| frame.to_owned()));
        }
        assert_eq!(seen.len(), 14, "{}", pass.name());
    }
}
