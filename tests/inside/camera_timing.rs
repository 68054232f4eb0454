//! Time that the camera needs between exposures: at the limit and past it, the pace that follows, rows that open earlier.

use movewright::check::{Limit, Report, Violation};
use movewright::verify::FaultKind;

use super::shortest::folder;
use super::swing::{compiled, inputs};
use crate::inside::common::folder::{repair, rows, set_rows, verdict_of};
use crate::inside::common::inputs::Inputs;

const TRACK: &str = "[[track]]\nchannel = \"heron.bridge\"\nshape = \"minimum_jerk\"\nkeys = [[3, 300], [38, 340]]\n";

fn with(timing: &str, pass: &str) -> Inputs {
    inputs("length = 1600\n", pass, TRACK).with("stage.toml", "[motor.m]", &format!("[camera_timing]\n{timing}[motor.m]"))
}

fn moving(shutter: f64) -> String {
    format!("exposure = \"moving\"\nseconds_per_frame = 10\nshutter = {shutter}\n")
}

fn report(timing: &str, pass: &str) -> Report {
    compiled(&with(timing, pass)).checked().unwrap()
}

fn found(timing: &str, pass: &str) -> Vec<Violation> {
    let all = report(timing, pass).passes.remove(0).violations;
    assert!(all.iter().all(|v| v.limit == Limit::Camera), "{all:?}");
    all
}

/// 10 s per frame at 342 deg leave half a second closed.
#[test]
fn the_shutter_must_be_closed_long_enough() {
    assert!(found("dead_s = 0.5\n", &moving(342.0)).is_empty());
    let over = found("dead_s = 0.5\n", &moving(342.1));
    assert_eq!(over.len(), 1);
    assert!((over[0].value - 10.0 * 17.9 / 360.0).abs() < 1e-12 && over[0].allowed == 0.5, "{over:?}");
    let text = movewright::check::words::violation(&report("dead_s = 0.5\n", &moving(342.1)).compiled, &over[0]);
    assert!(text.contains("a shutter of up to 342.0 deg leaves that at this pace"), "{text}");
    // A whole turn never closes; the next trigger may not come before the shutter has closed either.
    assert_eq!(found("dead_s = 0.5\n", &moving(360.0))[0].value, 0.0);
    assert_eq!(found("latency_s = 0.2\n", &moving(355.0)).len(), 1);
    assert!(found("latency_s = 0.1\n", &moving(355.0)).is_empty());
    assert!(found("", &moving(360.0)).is_empty());
}

#[test]
fn no_exposure_is_longer_than_the_camera_makes() {
    assert!(found("longest_s = 5\n", &moving(180.0)).is_empty());
    let over = found("longest_s = 4.999\n", &moving(180.0));
    assert!(over.len() == 1 && over[0].value == 5.0 && over[0].fixes.is_empty(), "{over:?}");
}

/// 3 s closed at half a turn are 6 s per frame, far slower than the axes need; what is given was tried, and a thousandth less fails.
#[test]
fn the_camera_sets_the_pace_where_it_is_the_slowest() {
    let of = |timing: &str, pace: f64| report(timing, &moving(180.0).replace("= 10\n", &format!("= {pace}\n"))).passes.remove(0);
    let free = of("", 10.0).runnable.seconds_per_frame.unwrap();
    let held_up = of("dead_s = 3\n", 10.0);
    assert!(free < 3.0, "{free}");
    assert_eq!(held_up.runnable.seconds_per_frame, Some(6.0));
    assert!(of("dead_s = 3\n", 6.0).violations.is_empty() && of("dead_s = 3\n", 5.994).violations.len() == 1);
    assert!(
        movewright::check::words::runnable(held_up.program.compiled().stage(), &held_up.runnable)
            .contains("limited by camera of the camera")
    );
    // Slower paces within what was promised would expose for too long.
    assert_eq!(of("dead_s = 3\nlongest_s = 7\n", 10.0).runnable.seconds_per_frame, None);
    assert_eq!(of("dead_s = 3\nlongest_s = 12\n", 10.0).runnable.seconds_per_frame, Some(6.0));
    let still = "exposure = \"held\"\nseconds_per_frame = 40\nshutter = 180\nsettle = 1\n";
    assert_eq!(report("dead_s = 18\n", still).passes[0].runnable.seconds_per_frame, Some(36.0));
}

/// Frames that follow each other as fast as they can leave the camera their move and `settle`.
#[test]
fn frames_of_their_own_length_count_too() {
    let pass =
        |settle: f64| format!("exposure = \"held\"\nseconds_per_frame = 24\nshutter = 90\nsettle = {settle}\ninterval = \"shortest\"\n");
    let over = found("dead_s = 4\n", &pass(1.0));
    // The first frames do not move.
    assert!(over.len() == 1 && (over[0].value - 1.0).abs() < 2e-6 && over[0].at.frame().unwrap().0 < 3.0, "{over:?}");
    assert!(found("dead_s = 4\n", &pass(4.0)).is_empty());
}

#[test]
fn rows_trigger_earlier_by_the_latency() {
    let pass = moving(180.0);
    let mut files = folder(&with("latency_s = 1.3\n", &pass), "2");
    let plain = folder(&with("latency_s = 0\n", &pass), "2");
    let opened =
        |rows: &[Vec<String>]| rows[1..].iter().filter(|r| r.last().unwrap() == "1").map(|r| r[0].parse().unwrap()).collect::<Vec<f64>>();
    let (early, on_time) = (opened(&rows(&files, "beauty.rows.csv")), opened(&rows(&plain, "beauty.rows.csv")));
    // Two rows per second: 1.3 s are two rows more for each of 40 frames.
    assert_eq!((early.len(), on_time.len()), (40 * 12, 40 * 10));
    assert!((early[0] - (on_time[0] - 1.0)).abs() < 1e-9);
    assert!(verdict_of(&files).holds(), "{:?}", verdict_of(&files).faults);
    // A trigger that is missing is found.
    let mut table = rows(&files, "beauty.rows.csv");
    let first = table.iter().position(|r| r.last().unwrap() == "1").unwrap();
    *table[first].last_mut().unwrap() = "0".to_owned();
    set_rows(&mut files, "beauty.rows.csv", &table);
    repair(&mut files);
    assert!(verdict_of(&files).faults.iter().any(|f| f.kind == FaultKind::Rows));
}

#[test]
fn slips_are_named() {
    for (timing, key) in
        [("dead_s = -0.5\n", "dead_s"), ("latency_s = 5000\n", "latency_s"), ("longest_s = 0\n", "longest_s"), ("dead = 1\n", "dead")]
    {
        let rejected = with(timing, &moving(180.0)).load().err().unwrap();
        assert_eq!(rejected.diagnostics().len(), 1, "{timing}: {rejected}");
        assert!(rejected.to_string().contains(key), "{rejected}");
    }
}
