//! What was shot yesterday does not move because something else is asked for today: counts of a frame depend on signals, axes and knots, not on passes or on `frames`.
//!
//! What: the demo with a fast pass added, and photographed over other spans; random shots with passes added, removed and put in another order, and photographed over other
//! spans. Positions at shutter open, middle and close of every frame in both are the same to the last bit, and so are the counts.

use std::fs;
use std::path::Path;

use movewright::check::changes;
use movewright::check::register::instants;
use movewright::compile::{CompileError, Compiled};
use movewright::input;
use movewright::number::generator::Generator;
use movewright::shot::{Exposure, Shot};
use rayon::prelude::*;

use crate::inside::common::random_shot::{self, Layered, bounds_of, built, chance, pick, plan};

/// Axis, frame time and both positions where two moves differ in a bit of a position or in a count, at these offsets from every frame of both.
fn moved(one: &Compiled, other: &Compiled, offsets: &[f64]) -> Vec<String> {
    let stage = one.stage();
    assert_eq!(stage.axis_names(), other.stage().axis_names());
    let mut found = Vec::new();
    for (id, axis) in stage.each_axis() {
        let (x, y) = (one.axes()[id].curve(), other.axes()[id].curve());
        for frame in one.shot().frames().frames().filter(|f| other.shot().frames().contains(*f)) {
            for offset in offsets {
                let t = frame as f64 + offset;
                let (p, q) = (x.at(t).unwrap(), y.at(t).unwrap());
                if p.to_bits() != q.to_bits() || axis.count(p) != axis.count(q) {
                    found.push(format!("{} at {t}: {p:?} and {q:?}", stage.axis_names()[id.index()]));
                }
            }
        }
    }
    found
}

/// Shutter open, middle and close of the passes of both, and of a shutter that never closes.
fn offsets(shots: &[&Shot]) -> Vec<f64> {
    let mut all: Vec<f64> = shots.iter().flat_map(|s| s.passes()).flat_map(instants).chain([-0.5, 0.0, 0.5]).collect();
    all.sort_by(f64::total_cmp);
    all.dedup();
    all
}

/// The demo with `from` replaced by `to` in its shot file or its routine.
fn demo(edits: &[(&str, &str)]) -> Compiled {
    compiled_demo(edits).unwrap()
}

fn compiled_demo(edits: &[(&str, &str)]) -> Result<Compiled, Vec<CompileError>> {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/herons");
    let folder = tempfile::tempdir().unwrap();
    for entry in fs::read_dir(&source).unwrap() {
        let path = entry.unwrap().path();
        fs::copy(&path, folder.path().join(path.file_name().unwrap())).unwrap();
    }
    for (from, to) in edits {
        // In the shot or in the routine that it calls.
        let read = |name: &&str| fs::read_to_string(folder.path().join(name)).unwrap();
        let file = ["shot.toml", "take_off.toml"].into_iter().find(|name| read(name).contains(from)).unwrap_or_else(|| panic!("{from}"));
        fs::write(folder.path().join(file), read(&file).replacen(from, to, 1)).unwrap();
    }
    let loaded = input::load(&folder.path().join("shot.toml")).unwrap_or_else(|e| panic!("{}", e.render(false)));
    Compiled::compile(loaded.stage, loaded.shot)
}

/// In an earlier demo, this pass at 2 s per frame moved heron_a.wing_wire_left at frames 89 and 98 and two wires of heron_b at 190 and 202.
#[test]
fn a_fast_pass_added_to_the_demo_moves_no_count_of_another() {
    let before = demo(&[]);
    let fast = "[[pass]]\nname = \"quick\"\nexposure = \"moving\"\nseconds_per_frame = 2\nshutter = 360\nlight = \"stage\"\n\n[[pass]]";
    let after = demo(&[("[[pass]]", fast)]);
    assert_eq!(after.shot().passes().len(), before.shot().passes().len() + 1);
    let found = moved(&before, &after, &offsets(&[before.shot(), after.shot()]));
    assert!(found.is_empty(), "{found:#?}");
}

/// In an earlier demo, 300 frames instead of 336 moved the slide of a gobo at frames 192 and 288.
#[test]
fn another_span_of_the_demo_moves_no_count_where_cycle_start_is_written() {
    const WRITTEN: (&str, &str) = ("frames = [1, 288]", "frames = [1, 288]\ncycle_start = 1");
    let whole = demo(&[WRITTEN]);
    let unwritten = demo(&[]);
    assert_eq!(moved(&whole, &unwritten, &[-0.5, -0.25, 0.0, 0.25, 0.5]), Vec::<String>::new());
    for frames in ["[1, 250]", "[10, 288]", "[57, 58]", "[100, 100]", "[-12, 300]"] {
        let part = demo(&[WRITTEN, ("frames = [1, 288]", &format!("frames = {frames}"))]);
        let found = moved(&whole, &part, &offsets(&[whole.shot()]));
        assert!(found.is_empty(), "{frames}: {found:#?}");
    }
}

/// A leg goes past its wire's dead centre some frames after the shot: the interval that leads there is fitted as far as it is photographed, the same for every span.
#[test]
fn what_goes_out_of_reach_after_the_shot_is_fitted_up_to_its_end() {
    const FAR: (&str, &str) = (
        "keys = [[18, -73.0], [32, -80.0], [56, -60.0], [120, -6.0]]",
        "shape = \"monotone\"\nkeys = [[18, -73.0], [32, -80.0], [56, -60.0], [120, -6.0], [300, -6.0], [420, -600.0]]",
    );
    const WRITTEN: (&str, &str) = ("frames = [1, 288]", "frames = [1, 312]\ncycle_start = 1");
    let whole = demo(&[FAR, WRITTEN]);
    for frames in ["[1, 305]", "[301, 318]"] {
        let part = demo(&[FAR, WRITTEN, ("frames = [1, 312]", &format!("frames = {frames}"))]);
        let found = moved(&whole, &part, &offsets(&[whole.shot()]));
        assert!(found.is_empty(), "{frames}: {found:#?}");
    }
    let Err(refused) = compiled_demo(&[FAR, ("frames = [1, 288]", "frames = [1, 400]")]) else { panic!("frame 400 is out of reach") };
    let text = refused.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n");
    assert!(text.contains("heron_a.leg") && text.contains("at frame 3"), "{text}");
}

/// Without the line cycles and drifts begin with the first frame; `changes` says why so much has changed.
#[test]
fn cycles_that_move_with_the_first_frame_are_explained() {
    let told = |new: &[(&str, &str)]| {
        let changes = changes::between(&demo(&[]), &demo(new));
        let reasons: Vec<String> = changes.passes.iter().flat_map(|p| p.reasons.clone()).filter(|r| r.contains("cycle_start")).collect();
        (changes.axes.len(), reasons)
    };
    let (axes, reasons) = told(&[("frames = [1, 288]", "frames = [11, 288]")]);
    assert!(axes > 20, "{axes}");
    assert_eq!(
        reasons.first().unwrap(),
        "cycles and drifts now count from frame 11, was frame 1; `cycle_start` is missing, so they begin at the first frame: \
         write `cycle_start = 1` to keep them unchanged"
    );
    let (axes, reasons) = told(&[("frames = [1, 288]", "frames = [11, 288]\ncycle_start = 1")]);
    assert_eq!((axes, reasons.len()), (0, 0));
    let (axes, reasons) = told(&[("frames = [1, 288]", "frames = [1, 288]\ncycle_start = 3.5")]);
    assert!(axes > 20);
    assert_eq!(
        reasons.first().unwrap(),
        "cycles and drifts now count from frame 3.5, was frame 1; write `cycle_start = 1` to keep them unchanged"
    );
}

/// Shots from seeds: a choreography, then another list of passes, then another span.
#[test]
fn random_shots_keep_their_counts_whatever_else_is_asked_for() {
    let shots: u64 = std::env::var("MOVEWRIGHT_RANDOM_SHOTS").ok().and_then(|n| n.parse().ok()).unwrap_or(600);
    let faults: Vec<String> = (0..shots).into_par_iter().flat_map_iter(faults_of).collect();
    assert!(faults.is_empty(), "{} faults, the first: {:#?}", faults.len(), &faults[..faults.len().min(5)]);
}

fn faults_of(seed: u64) -> Vec<String> {
    let mut plan = plan(seed);
    let g = &mut Generator::new(seed ^ 0x5EED);
    let Ok(bounds) = bounds_of(&plan) else { return vec![format!("seed {seed}: no bounds")] };
    // Knots on half frames too, where exposures of 360 degrees and the span begin and end.
    if chance(g, 0.3) {
        for layer in &mut plan.layers {
            if let Layered::Track(.., keys) = layer {
                keys.iter_mut().for_each(|k| k.0 = (2.0 * k.0).round() / 2.0);
                keys.dedup_by(|a, b| a.0 == b.0);
            }
        }
    }
    let start = plan.frames.0 as f64 + if chance(g, 0.5) { 0.0 } else { g.between(-30.0, 30.0) };
    let make = |p: &random_shot::Plan| {
        let (stage, shot) = built(p, &bounds, 1.0)?;
        let shot = shot.with_cycle_start(start).map_err(|e| e.to_string())?;
        random_shot::compiled(&stage, &shot)
    };
    let first = match make(&plan) {
        Ok(made) => made,
        // Rounding keys to half frames may leave a corner without room.
        Err(e) => return if e.contains("not accepted") { Vec::new() } else { vec![format!("seed {seed}: {e}")] },
    };
    let (frames, passes) = (plan.frames, plan.paces.clone());
    let mut faults = Vec::new();
    for variant in 0..6 {
        plan.frames = frames;
        plan.paces.clone_from(&passes);
        match variant {
            0 => plan.paces.insert(0, (Exposure::Moving, 0.001, 360.0, 0.0)),
            1 => plan.paces = vec![(Exposure::Held, 4000.0, 90.0, 0.0), (Exposure::Moving, 4000.0, 90.0, 0.0)],
            2 => plan.paces.reverse(),
            3 => plan.frames.0 += 1 + pick(g, 20) as i64,
            4 => plan.frames = (frames.0 - pick(g, 40) as i64, frames.1 - pick(g, 20) as i64),
            _ => plan.frames.1 += 1 + pick(g, 100) as i64,
        }
        let other = match make(&plan) {
            Ok(made) => made,
            Err(e) => {
                faults.push(format!("seed {seed} variant {variant}: {e}"));
                continue;
            }
        };
        let found = moved(&first, &other, &offsets(&[first.shot(), other.shot()]));
        faults.extend(found.first().map(|f| format!("seed {seed} variant {variant}: {f}, and {} more", found.len() - 1)));
    }
    faults
}
