//! A part of a pass as a program of its own: the counts of its frames are those of the whole, the play of the gears is taken up as it was, and it may begin anywhere.

use std::path::Path;

use crate::inside::common::{Program as Layers, axis, axis_at, checked, moving, shot, stage};
use movewright::check::Report;
use movewright::check::register::instants;
use movewright::compile::{Compiled, Direction};
use movewright::input::{self, positions};
use movewright::output::rows::{Extent, RowRate, Table, Tracks};
use movewright::program::{NoPlan, Part, Program};
use movewright::shot::{Exposure, Pass, Shape};
use movewright::stage::PerAxis;
use movewright::time::{FrameSpan, FrameTime};

fn demo() -> Compiled {
    let loaded = input::load(&Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/herons/shot.toml")).unwrap_or_else(|e| panic!("{e}"));
    Compiled::compile(loaded.stage, loaded.shot).unwrap()
}

fn home(compiled: &Compiled) -> PerAxis<f64> {
    PerAxis::new(compiled.stage(), |id| compiled.stage().axis(id).home())
}

fn part_of(program: &Program, part: Part) -> Result<Report, NoPlan> {
    program.part(part, home(program.compiled())).unwrap().checked()
}

fn frames(first: i64, last: i64) -> Part {
    Part::Frames(FrameSpan::new(first, last).unwrap())
}

/// The counts of every axis at opening, middle and close of every frame of a program, by its own clock.
fn counts(program: &Program, span: FrameSpan) -> Vec<(i64, f64, Vec<i64>)> {
    let mut all = Vec::new();
    for frame in span.frames() {
        for offset in instants(program.pass()) {
            let t = program.clock().seconds_at(FrameTime(frame as f64 + offset));
            let stage = program.compiled().stage();
            let count = |id| stage.axis(id).count(program.motion(id, t).unwrap().position).unwrap();
            all.push((frame, offset, stage.axis_ids().map(count).collect()));
        }
    }
    all
}

/// Every pass of the demo, moving and held: opening, middle and close of every frame of a part have the counts of the whole; and positions of the curve are the same to the
/// last bit. A run-up of its own is no longer than a limit asks for.
#[test]
fn a_part_of_the_demo_has_the_counts_of_the_whole() {
    let whole = demo();
    for program in Program::all(&whole).unwrap() {
        for (first, last) in [(1, 1), (57, 60), (118, 140), (280, 288)] {
            let part = frames(first, last);
            let compiled = program.part(part, home(&whole)).unwrap();
            let own = Program::one(&compiled, 0).unwrap().unwrap();
            assert_eq!(counts(&program, part.frames()), counts(&own, part.frames()), "{} {first}..{last}", program.pass().name());
            for id in whole.stage().axis_ids() {
                for t in (first..=last).flat_map(|f| [-0.5, -0.25, 0.0, 0.25, 0.5].map(|o| f as f64 + o)) {
                    let (a, b) = (whole.motion(id).curve().at(t).unwrap(), compiled.motion(id).curve().at(t).unwrap());
                    assert_eq!(a.to_bits(), b.to_bits(), "{} at {t}", whole.stage().axis_name(id));
                }
            }
            assert!(compiled.run_up() <= 4096 && compiled.no_room().is_empty());
        }
    }
}

/// A part of a test pass exposes the frames that the test pass exposes there, counted from the first frame of the shot, on the same counts.
#[test]
fn a_part_of_a_test_pass_exposes_its_frames() {
    let demo = demo();
    let frames_of_shot = demo.shot().frames();
    let passes = demo.shot().passes().iter().map(|p| p.clone().with_every(Some(8), Some(frames_of_shot)).unwrap()).collect();
    let whole = demo.with_passes(passes).unwrap();
    for program in Program::all(&whole).unwrap() {
        let compiled = program.part(frames(20, 40), home(&whole)).unwrap();
        let own = Program::one(&compiled, 0).unwrap().unwrap();
        let exposed: Vec<i64> = own.clock().exposed().frames().collect();
        assert_eq!(exposed, [25, 33], "{}", program.pass().name());
        for frame in exposed {
            let span = FrameSpan::new(frame, frame).unwrap();
            assert_eq!(counts(&program, span), counts(&own, span), "{} {frame}", program.pass().name());
        }
        assert!(program.part(frames(26, 32), home(&whole)).is_err());
    }
}

/// The part of the demo that the guide shoots again holds every limit, from home.
#[test]
fn a_part_of_the_demo_is_judged_and_holds() {
    let whole = demo();
    let program = Program::one(&whole, 0).unwrap().unwrap();
    let report = part_of(&program, frames(118, 121)).unwrap();
    assert_eq!(report.passes.len(), 1);
    let found: Vec<String> = report.passes[0].violations.iter().map(|v| format!("{:?} {:?}", v.limit, v.cause)).collect();
    assert_eq!(found, Vec::<String>::new());
}

/// Up to frame 10, standing there to 30, then down again: whoever begins on the way stands must come from below, as the pass did.
fn stands_between() -> Report {
    let mut a = axis("rise");
    a.backlash = Some(0.5);
    a.drive.microsteps = 10;
    let stage = stage(vec![a]);
    let keys = vec![(1.0, 0.0), (10.0, 40.0), (30.0, 40.0), (40.0, 5.0)];
    let layers = [Layers { tracks: vec![(Shape::StopAtKeys, None, keys)], ..Layers::default() }];
    let held = Pass::new(&stage, "held", Exposure::Held, 60.0, 90.0, 1.5, vec![]).unwrap();
    let passes = vec![moving(&stage, "picture", 20.0), held];
    checked(&stage, &shot(&stage, (1, 40), &layers, passes))
}

#[test]
fn backlash_is_taken_up_from_the_side_from_which_the_pass_came() {
    let report = stands_between();
    let id = axis_at(report.compiled.stage(), 0);
    for pass in &report.passes {
        for (part, side) in [
            (frames(20, 25), Direction::Up),
            (frames(20, 40), Direction::Up),
            (frames(5, 7), Direction::Up),
            (frames(33, 36), Direction::Down),
            (Part::At(FrameSpan::new(20, 20).unwrap()), Direction::Up),
            (Part::At(FrameSpan::new(35, 35).unwrap()), Direction::Down),
            (Part::At(FrameSpan::new(40, 40).unwrap()), Direction::Down),
            (Part::At(FrameSpan::new(1, 1).unwrap()), Direction::Up),
        ] {
            let compiled = pass.program.part(part, home(&report.compiled)).unwrap();
            let own = Program::one(&compiled, 0).unwrap().unwrap();
            let approach = own.way().approaches()[id].unwrap();
            let what = format!("{} {part:?}: {approach:?}", pass.name());
            assert_eq!(approach.direction, Some(side), "{what}");
            let sign = if side == Direction::Up { 1.0 } else { -1.0 };
            assert!(!approach.has_room || sign * (approach.start - approach.from) > 0.5, "{what}");
        }
    }
    // Of its own, a part that goes down after standing would come from above.
    let alone = report.compiled.with(
        report
            .compiled
            .shot()
            .of_frames(report.compiled.stage(), FrameSpan::new(20, 40).unwrap(), report.passes[0].program.pass().clone())
            .unwrap(),
    );
    let alone = Program::one(&alone.unwrap(), 0).unwrap().unwrap();
    assert_eq!(alone.way().approaches()[id].unwrap().direction, Some(Direction::Down));
}

fn text(report: &Report, extent: Extent, hz: &str) -> Vec<Vec<String>> {
    let pass = &report.passes[0];
    let tracks = Tracks::new(&pass.program, pass).unwrap().reaching(extent);
    let table = Table::new(&tracks, RowRate::parse(hz).unwrap()).unwrap().with_derivatives(1).with_shutter(true).with_frame(true);
    let mut text = Vec::new();
    table.write(&mut text, &mut |_| {}).unwrap();
    String::from_utf8(text).unwrap().lines().skip(1).map(|l| l.split(',').map(str::to_owned).collect()).collect()
}

/// The way to a frame ends there at rest, on the count of mid-exposure, and exposes nothing; a moving and a held pass alike.
#[test]
fn the_way_to_a_frame_ends_on_its_count() {
    let report = stands_between();
    let axis = &report.compiled.stage().axes()[0];
    let curve = report.compiled.motion(axis_at(report.compiled.stage(), 0)).curve();
    for pass in &report.passes {
        for frame in [1, 6, 20, 35, 40] {
            let there = part_of(&pass.program, Part::At(FrameSpan::new(frame, frame).unwrap())).unwrap().exposing_nothing();
            assert!(there.within_limits());
            for hz in ["100", "7", "0.3"] {
                let rows = text(&there, Extent::ToStart, hz);
                let last = rows.last().unwrap();
                let count = axis.count(curve.at(frame as f64).unwrap()).unwrap();
                assert_eq!(last[1..], [count.to_string(), "0.000".to_owned(), "0".to_owned(), String::new()], "frame {frame} at {hz}");
                assert!(rows.iter().all(|r| r[3] == "0" && r[4].is_empty()));
                let (t, begin) = (last[0].parse::<f64>().unwrap(), there.passes[0].program.clock().begin().0);
                let hz: f64 = hz.parse().unwrap();
                assert!(begin <= t && t - 1.0 / hz < begin, "{t} {begin}");
            }
        }
    }
}

/// From where the machine stands: the first row is that, the frames are as from home, and the return leads home.
#[test]
fn a_part_begins_where_the_machine_stands() {
    let report = stands_between();
    let stage = report.compiled.stage();
    let file = tempfile::NamedTempFile::new().unwrap();
    let read = |text: &str| {
        std::fs::write(file.path(), text).unwrap();
        positions::read(file.path(), stage)
    };
    let name = stage.axis_names()[0].clone();
    let stands = read(&format!("axis,steps\n{name},321\n")).unwrap();
    let program = &report.passes[0].program;
    let there = program.part(frames(12, 14), stands).unwrap().checked().unwrap();
    assert!(there.within_limits());
    let rows = text(&there, Extent::ReturnHome, "50");
    assert_eq!(rows[0][1..3], ["321", "0.000"]);
    assert_eq!(rows.last().unwrap()[1..3], ["0", "0.000"]);
    let span = FrameSpan::new(12, 14).unwrap();
    assert_eq!(counts(program, span), counts(&there.passes[0].program, span));
    for (text, said) in [
        ("axis;steps\n", "expected `axis,steps`"),
        ("axis,steps\n", "has no line for axis"),
        ("axis,steps\nheron.rise\n", "is not `axis,steps`"),
        ("axis,steps\nx.y,1\n", "has no axis `x.y`"),
        (&format!("axis,steps\n{name},1.5\n"), "not a whole number"),
        (&format!("axis,steps\n{name},nan\n"), "not a whole number"),
        (&format!("axis,steps\n{name},9223372036854775807\n"), "outside its travel"),
        (&format!("axis,steps\n{name},1\n{name},1\n"), "has a line already"),
    ] {
        let error = read(text).unwrap_err().to_string();
        assert!(error.contains(said), "{said}: {error}");
    }
    assert!(positions::read(Path::new("/nowhere/at/all.csv"), stage).is_err());
}
