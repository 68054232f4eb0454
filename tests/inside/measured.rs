//! A measured ring from its table to the steps: the axis does what the table says at every instant, its limits are judged, and `verify` finds a count that is off.

use crate::inside::common::folder::{export, files_of, repair, shift, verdict_of};
use crate::inside::common::{checked, compiled};
use movewright::check::Limit;
use movewright::input::{self, Loaded};

/// A focus ring whose points lie on `axis(value)`, with this greatest speed.
fn stage(points: &[[f64; 2]], over: &str, max_velocity: f64) -> String {
    format!(
        "format = 1\nname = \"Marsh\"\n[motor.m]\nfull_steps_per_rev = 200\n[[group]]\nname = \"camera\"\n[[group.axis]]\nname = \"focus\"\nunit = \"deg\"\n\
         travel = [-1, 400]\nhome = 145\nmax_velocity = {max_velocity}\nmax_acceleration = 900\nmax_jerk = 90000\nmotor = \"m\"\nmicrosteps = 16\ngear_ratio = 4\n\
         [[group.mechanism]]\nkind = \"table\"\naxis = \"focus\"\nchannel = \"focus_distance\"\nchannel_unit = \"mm\"\nover = \"{over}\"\npoints = {points:?}\n"
    )
}

const SHOT: &str = "format = 1\nname = \"Reeds\"\nstage = \"stage.toml\"\nframe_rate = \"24\"\nframes = [1, 97]\n[[track]]\nchannel = \"camera.focus_distance\"\n\
                    keys = [[1, 700], [97, 2500]]\n[[pass]]\nname = \"beauty\"\nexposure = \"moving\"\nseconds_per_frame = 1\nshutter = 180\n";

fn load(stage: &str) -> Loaded {
    let read = |name: &str| Ok(if name == "shot.toml" { SHOT } else { stage }.as_bytes().to_vec());
    input::parse("shot.toml", &read).unwrap_or_else(|r| panic!("{r}"))
}

/// Minimum jerk from 700 to 2500 mm in 96 frames (T. Flash, N. Hogan 1985) and its speed per frame.
fn distance(t: f64) -> [f64; 2] {
    let u = (t - 1.0) / 96.0;
    [700.0 + 1800.0 * u * u * u * (10.0 - 15.0 * u + 6.0 * u * u), 1800.0 / 96.0 * 30.0 * u * u * (1.0 - u) * (1.0 - u)]
}

/// Points on 174 deg m over the distance: over the reciprocal a straight line, so the ring's angle is known at every distance.
fn hyperbola() -> Vec<[f64; 2]> {
    [600.0, 900.0, 1500.0, 3000.0, 1e6].iter().map(|x| [*x, 174_000.0 / x]).collect()
}

#[test]
fn the_ring_turns_as_the_table_says_and_crossing_points_costs_no_accuracy() {
    let Loaded { stage, shot, .. } = load(&stage(&hyperbola(), "reciprocal", 900.0));
    let move_ = compiled(&stage, &shot);
    let axis = stage.axis_of_name("camera.focus").unwrap();
    let curve = move_.axes()[axis].curve();
    let step = 360.0 / (200.0 * 16.0 * 4.0);
    for i in 0..=9600 {
        let t = 1.0 + f64::from(i) / 100.0;
        let exact = 174_000.0 / distance(t)[0];
        assert!((curve.at(t).unwrap() - exact).abs() <= step / 16.0, "{t}");
    }
    // A ring that is no hyperbola has jumps of jerk at its points: the fit has knots there and stays within what is allowed.
    let mut bent = hyperbola();
    bent[2][1] = 121.0;
    for over in ["reciprocal", "value"] {
        let Loaded { stage, shot, .. } = load(&self::stage(&bent, over, 900.0));
        let report = checked(&stage, &shot);
        assert!(report.notes.iter().all(|n| n.kind.name() != "near_singular"), "{over}");
        assert!(report.compiled.axes()[axis].curve().len() < 200, "{over}: {}", report.compiled.axes()[axis].curve().len());
    }
}

/// The ring is fastest where 174 000 v / x^2 is greatest: found by looking at ten thousand places.
#[test]
fn its_speed_is_judged_like_that_of_any_axis() {
    let rate = |t: f64| 174_000.0 * distance(t)[1] / (distance(t)[0] * distance(t)[0]);
    let peak = (0..=96_000).map(|i| rate(1.0 + f64::from(i) / 1000.0)).fold(0.0, f64::max);
    for (limit, exceeded) in [(peak * 1.001, false), (peak * 0.999, true)] {
        let Loaded { stage, shot, .. } = load(&stage(&hyperbola(), "reciprocal", limit));
        let report = checked(&stage, &shot);
        let found = report.passes[0].violations.iter().any(|v| v.limit == Limit::Velocity);
        assert_eq!(found, exceeded, "{limit}");
        let axis = stage.axis_of_name("camera.focus").unwrap();
        assert!((report.passes[0].axes[axis].photographed.velocity.value.abs() - peak).abs() <= 1e-3 * peak);
    }
}

#[test]
fn verify_finds_the_ring_again_and_a_count_that_is_off() {
    let temp = tempfile::tempdir().unwrap();
    let source = temp.path().join("in");
    std::fs::create_dir(&source).unwrap();
    let rows = hyperbola().iter().map(|[x, y]| format!("{x},{y}\n")).collect::<String>();
    let text = stage(&[], "reciprocal", 900.0).replace("points = []", "points = \"ring.csv\"");
    for (name, text) in [("stage.toml", text), ("shot.toml", SHOT.to_owned()), ("ring.csv", format!("focus_distance,focus\n{rows}"))] {
        std::fs::write(source.join(name), text).unwrap();
    }
    let loaded = input::load(&source.join("shot.toml")).unwrap_or_else(|r| panic!("{r}"));
    let out = temp.path().join("out");
    export(&loaded.stage, &loaded.shot, &loaded.sources.for_copying(), &out);
    let files = files_of(&out);
    assert!(files.contains_key("source/ring.csv"));
    assert_eq!(verdict_of(&files).faults, []);
    let mut damaged = files.clone();
    let (axis, frame) = shift(&mut damaged, "beauty", 40, 2, 1);
    repair(&mut damaged);
    let faults = verdict_of(&damaged).faults;
    assert!(faults.iter().any(|f| f.axis.as_deref() == Some(&axis) && f.frame == Some(frame)), "{faults:?}");
    // Another ring in source/ is not the one that was compiled.
    let mut damaged = files;
    let ring = String::from_utf8(damaged["source/ring.csv"].clone()).unwrap().replace("1500,116", "1500,118");
    damaged.insert("source/ring.csv".into(), ring.into_bytes());
    repair(&mut damaged);
    assert!(verdict_of(&damaged).faults.iter().any(|f| f.axis.as_deref() == Some(&axis)));
}
