//! Held passes whose frames take only as long as each needs: openings as small steps say, counts as ever, the written clock found again and edits named, refusals.

use movewright::check::{Approval, Limit};
use movewright::output::Export;
use movewright::output::handoff::sampling::Wishes;
use movewright::output::rows::RowRate;
use movewright::time::Seconds;
use movewright::verify::FaultKind;

use super::swing::{STEP, compiled, inputs, under_the_bridge};
use crate::inside::common::folder::{Files, files_of, repair, rows, set_rows, verdict_of};
use crate::inside::common::inputs::Inputs;

const TRACK: &str = "[[track]]\nchannel = \"heron.bridge\"\nkeys = [[1, 300], [20, 700], [40, 380]]\n";

fn pass(more: &str) -> String {
    format!("exposure = \"held\"\nseconds_per_frame = 24\nshutter = 90\n{more}")
}

fn held(swing: &str, more: &str) -> Inputs {
    inputs(&format!("length = 1600\n{swing}"), &pass(more), TRACK)
}

const SHORTEST: &str = "settle = 1.5\ninterval = \"shortest\"\n";

/// Every exposure keeps the limit; where a frame rests longer than `settle` asks for, the swing is at the limit just as the shutter opens, so that no earlier opening would do.
#[test]
fn each_frame_opens_as_early_as_the_swing_allows() {
    let limit = 0.4;
    let report = compiled(&held(&format!("damping = 0.03\nlimit = {limit}\n"), SHORTEST)).checked().unwrap();
    let found = &report.passes[0];
    assert!(found.violations.iter().all(|v| v.limit != Limit::Swing), "{:?}", found.violations);
    let program = &found.program;
    let (clock, moves) = (program.clock(), program.stations().unwrap().moves());
    let swing = under_the_bridge(program, 0.03);
    let at = |t: f64| swing[(t / STEP) as usize];
    let mut tight = 0;
    for i in 0..40 {
        let (opens, closes) = ((clock.begin() + clock.opens(i)).0, (clock.begin() + clock.closes(i)).0);
        let exposed = swing[(opens / STEP).ceil() as usize..=(closes / STEP) as usize].iter().copied().fold(0.0, f64::max);
        assert!(exposed <= limit * 1.001, "{i}: {exposed}");
        let Some(before) = i.checked_sub(1) else { continue };
        let rest = opens - (clock.begin() + clock.closes(before)).0 - moves[before].seconds.0;
        assert!(rest >= 1.5 - 1e-9, "{i}: {rest}");
        if rest > 1.5 + 1e-3 {
            tight += 1;
            assert!((at(opens) - limit).abs() < 0.01 * limit, "{i}: {} at {opens}", at(opens));
        } else {
            assert!(rest < 1.5 + 3e-6, "{i}: {rest}");
        }
        // What the report says the frame needs is what it gets.
        let needs = &found.settling[0].frames;
        assert!((needs[i].max(1.5) - rest).abs() < 1e-4, "{i}: {} {rest}", needs[i]);
    }
    assert!(tight > 10 && tight < 39, "{tight}");
    assert!(((clock.closes(39) + program.saved().unwrap()).0 - 40.0 * 24.0).abs() < 1e-5);
    // Frame time and seconds lead back to each other, exposures and what lies between them alike.
    for k in 0..2000_u32 {
        let t = program.end().0 * f64::from(k) / 2000.0;
        if t >= clock.begin().0 {
            let back = clock.seconds_at(clock.frame_at(Seconds(t))).0;
            assert!((back - t).abs() < 1e-9 * t, "{t} {back}");
        }
    }
}

/// Without figures that must hang still each frame takes its move, `settle` and its exposure.
#[test]
fn without_a_limit_only_settle_counts() {
    let report = compiled(&held("", SHORTEST)).checked().unwrap();
    let program = &report.passes[0].program;
    let moves: f64 = program.stations().unwrap().moves().iter().map(|m| m.seconds.0).sum();
    let clock = program.clock();
    assert!((clock.running().0 - clock.opens(0).0 - moves - 39.0 * 1.5 - 40.0 * 6.0).abs() < 1e-4);
    assert!(report.within_limits(), "{:?}", report.passes[0].violations);
}

pub(super) fn folder(inputs: &Inputs, rate: &str) -> Files {
    let temp = tempfile::tempdir().unwrap();
    let loaded = inputs.load().unwrap_or_else(|r| panic!("{r}"));
    let sources = loaded.sources.for_copying();
    let report = compiled(inputs).checked().unwrap();
    let approval = Approval::within_limits(&report).unwrap();
    let export =
        Export { parts: None, approval, sources: &sources, replace: false, wishes: Wishes::default(), rows: RowRate::parse(rate).ok() };
    let out = temp.path().join("out");
    export.write(&out, &mut |_| {}).unwrap();
    files_of(&out)
}

#[test]
fn counts_stay_and_the_written_clock_is_found_again() {
    let swing = "damping = 0.03\nlimit = 0.4\n";
    let evenly = folder(
        &inputs(&format!("length = 1600\n{swing}"), "exposure = \"held\"\nseconds_per_frame = 90\nshutter = 24\nsettle = 60\n", TRACK),
        "7",
    );
    let mut files = folder(&held(swing, SHORTEST), "30000/1001");
    assert_eq!(files["beauty.steps.csv"], evenly["beauty.steps.csv"]);
    let verdict = verdict_of(&files);
    assert!(verdict.holds(), "{:?}", verdict.faults);
    // Rows of an open shutter, by the table of moves.
    let moves = rows(&files, "beauty.moves.csv");
    assert_eq!(moves[0].join(","), "from_frame,to_frame,seconds,slowest,opens_s");
    let opens: Vec<f64> = moves[1..].iter().map(|r| r[4].parse().unwrap()).collect();
    for row in &rows(&files, "beauty.rows.csv")[1..] {
        let t: f64 = row[0].parse().unwrap();
        if t >= opens[0] && t < opens[38] + 5.9 {
            let open = opens.iter().any(|o| *o <= t && t < o + 6.0);
            let edge = opens.iter().any(|o| (o - t).abs() < 1e-9 || (o + 6.0 - t).abs() < 1e-9);
            assert!(edge || row.last().unwrap() == if open { "1" } else { "0" }, "{row:?}");
        }
    }
    // An opening too early for move and settling; one that the rows do not have; a first opening that is another.
    let untouched = files.clone();
    let set = |files: &mut Files, row: usize, to: f64| {
        let mut table = rows(files, "beauty.moves.csv");
        table[row][4] = format!("{to:.6}");
        set_rows(files, "beauty.moves.csv", &table);
        repair(files);
    };
    let seconds: f64 = moves[5][2].parse().unwrap();
    set(&mut files, 5, opens[3] + 6.0 + seconds + 1.4);
    let found = verdict_of(&files);
    assert!(found.faults.iter().any(|f| f.kind == FaultKind::Moves), "{:?}", found.faults);
    files.clone_from(&untouched);
    set(&mut files, 39, opens[38] + 1.0);
    let found = verdict_of(&files);
    assert!(found.faults.iter().any(|f| f.kind == FaultKind::Rows), "{:?}", found.faults);
}

#[test]
fn what_never_settles_or_never_stops_is_refused() {
    let never = compiled(&held("damping = 0\nlimit = 0.4\n", SHORTEST)).checked().err().unwrap().to_string();
    assert!(never.contains("group `heron` does not settle within 0.4 mm and an hour before frame"), "{never}");
    let moving =
        inputs("length = 1600\n", "exposure = \"moving\"\nseconds_per_frame = 12\nshutter = 180\ninterval = \"shortest\"\n", TRACK);
    let refused = moving.load().err().unwrap().to_string();
    assert!(refused.contains("frames of a moving pass all take `seconds_per_frame`"), "{refused}");
}
