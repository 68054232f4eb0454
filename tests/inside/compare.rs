//! Takes held against their pass: published measurements, numerical stability, planted causes, and what a log may leave out.

use movewright::measure::statistics::{Statistics, spread};
use movewright::measure::{AxisFacts, Comparison, Input, LogError, LogUnits, Options, compare};
use movewright::number::Generator;
use proptest::prelude::*;
use serde_json::Value;

/// Measurements as statistics: each target from one side is a frame, its repetitions are takes.
fn measured(targets: &[f64], sides: &[&[[f64; 5]; 5]]) -> Statistics {
    let mut s = Statistics::default();
    let mut frame = 0;
    for side in sides {
        for (target, positions) in targets.iter().zip(*side) {
            s.add(frame, &positions.map(|p| p - target));
            frame += 1;
        }
    }
    s
}

fn near(found: Option<f64>, published: f64, tolerance: f64) {
    let found = found.unwrap();
    assert!((found - published).abs() <= tolerance, "{found} instead of {published}");
}

const A_TARGETS: [f64; 5] = [-4.0, -2.0, 0.0, 2.0, 4.0];
const A_FORWARD: [[f64; 5]; 5] = [
    [-3.99861, -3.98366, -3.98366, -3.95012, -3.95335],
    [-2.00655, -1.98836, -1.98109, -1.9419, -1.93341],
    [-0.02782, -0.00802, -0.01005, 0.01986, 0.0344],
    [1.97474, 1.99616, 2.00181, 2.03495, 2.04909],
    [4.00316, 4.00397, 4.00963, 4.03024, 4.05165],
];
const A_BACKWARD: [[f64; 5]; 5] = [
    [-4.10205, -4.01598, -3.99861, -3.99254, -3.96143],
    [-2.11969, -2.02392, -2.00251, -1.99968, -1.9617],
    [-0.13005, -0.02904, -0.01489, -0.01126, 0.01622],
    [1.94767, 1.97191, 1.98848, 2.00949, 2.02323],
    [3.94983, 3.98054, 3.98538, 4.01731, 4.03024],
];

/// Source: ecmc_target_muts_logger, muts/data/week42_22/xyz/target_x_report_8A.md at 61b551aa (mm); R and A from one side as printed there.
/// D: the range of the means over both sides is 0.06354 by its definition.
#[test]
fn published_measurements_a() {
    for (side, repeatability, accuracy) in [(&A_FORWARD, 0.12529, 0.14139), (&A_BACKWARD, 0.23715, 0.24337)] {
        let s = measured(&A_TARGETS, &[side]);
        near(s.repeatability().map(|g| g.value), repeatability, 2e-5);
        near(s.accuracy(), accuracy, 2e-5);
    }
    let both = measured(&A_TARGETS, &[&A_FORWARD, &A_BACKWARD]);
    near(both.accuracy(), 0.24337, 2e-5);
    near(both.mean_range(), 0.06354, 1e-5);
    assert_eq!(both.repeatability().unwrap().frame, 6, "the second target from behind");
}

const B_TARGETS: [f64; 5] = [-10.0, -4.88, 0.24, 5.36, 10.48];
const B_FORWARD: [[f64; 5]; 5] = [
    [-10.00008102, -10.00010202, -10.00008702, -10.00009202, -10.00010002],
    [-4.88008702, -4.88009702, -4.88009702, -4.88009502, -4.88008202],
    [0.23992798, 0.23990998, 0.23991198, 0.23991298, 0.23991298],
    [5.35989798, 5.35991398, 5.35991398, 5.35990698, 5.35992198],
    [10.47989998, 10.47988798, 10.47987098, 10.47989098, 10.47990298],
];
const B_BACKWARD: [[f64; 5]; 5] = [
    [-10.00009902, -10.00009402, -10.00008202, -10.00009102, -10.00009402],
    [-4.88010302, -4.88010402, -4.88009502, -4.88011102, -4.88009302],
    [0.23991398, 0.23989798, 0.23990898, 0.23992398, 0.23990098],
    [5.35992798, 5.35990798, 5.35990498, 5.35989698, 5.35991898],
    [10.47989598, 10.47987398, 10.47986998, 10.47985898, 10.47989298],
];

/// Source: ecmccfg, examples/test/fat_sat/report.md at 072a917e; printed means are cut off at five places, hence 2e-8.
/// D: the range of the means over both sides is 3.68e-5 by its definition.
#[test]
fn published_measurements_b() {
    for (side, repeatability, accuracy) in [(&B_FORWARD, 5.033e-5, 6.428e-5), (&B_BACKWARD, 6.29e-5, 8.881e-5)] {
        let s = measured(&B_TARGETS, &[side]);
        near(s.repeatability().map(|g| g.value), repeatability, 2e-8);
        near(s.accuracy(), accuracy, 2e-8);
    }
    let both = measured(&B_TARGETS, &[&B_FORWARD, &B_BACKWARD]);
    near(both.accuracy(), 8.881e-5, 2e-8);
    near(both.mean_range(), 3.68e-5, 2e-8);
}

/// D, by hand: positions {1,2,3}, {4,5,6}, {0,0,0}, {-1,0,1}: s 1, 1, 0, 1; A = 5 + 2 - (0 - 2) = 9, range of means 5.
#[test]
fn a_set_worked_by_hand() {
    let mut s = Statistics::default();
    for (frame, x) in [[1.0, 2.0, 3.0], [4.0, 5.0, 6.0], [0.0, 0.0, 0.0], [-1.0, 0.0, 1.0]].iter().enumerate() {
        s.add(i64::try_from(frame).unwrap(), x);
    }
    assert_eq!(s.repeatability().unwrap().value, 4.0);
    assert_eq!((s.accuracy(), s.mean_range()), (Some(9.0), Some(5.0)));
    assert_eq!(s.largest_deviation().map(|g| (g.value, g.frame)), Some((6.0, 1)));
    assert_eq!(s.pass_to_pass().map(|g| (g.value, g.frame)), Some((2.0, 0)));
}

/// NIST StRD, NumAcc2 to NumAcc4 (from memory): 1001 values around v, standard deviation exactly 0.1.
/// A value near 1e7 is itself off by 2^-30, so its deviation can be no better than that over 0.1: 1e-8.
#[test]
fn large_values_lose_nothing() {
    for (v, tolerance) in [(1.2, 1e-14), (1_000_000.2, 2e-9), (10_000_000.2, 2e-8)] {
        let values: Vec<f64> = (0..1001)
            .map(|i| {
                if i == 0 {
                    v
                } else if i % 2 == 1 {
                    v - 0.1
                } else {
                    v + 0.1
                }
            })
            .collect();
        let (mean, s) = spread(&values).unwrap();
        assert!((mean - v).abs() <= 1e-15 * v, "{mean}");
        assert!((s.unwrap() - 0.1).abs() <= tolerance, "{s:?}");
    }
}

fn facts(microsteps: u32, reversed: bool) -> AxisFacts {
    AxisFacts {
        name: "heron.lift".into(),
        unit: "mm",
        steps_per_unit: 100.0,
        reversed,
        microsteps,
        backlash: None,
        pixels_per_unit: Some(4.0),
    }
}

fn input(name: &str, text: &str) -> Input<std::io::Cursor<Vec<u8>>> {
    Input { name: name.into(), reader: std::io::Cursor::new(text.as_bytes().to_vec()) }
}

fn log(header: &str, rows: impl Iterator<Item = (i64, i64)>) -> String {
    rows.fold(format!("frame,{header}\n"), |t, (frame, n)| t + &format!("{frame},{n}\n"))
}

fn run(pass: &str, takes: &[&str], axes: &[AxisFacts], options: &Options) -> Result<Comparison, LogError> {
    let takes = takes.iter().enumerate().map(|(i, t)| input(&format!("take {}", i + 1), t)).collect();
    compare(input("pass", pass), takes, axes, options)
}

/// Steps of a pass that turns round twice: up to frame 40, down to 70, up again.
fn path(frame: i64) -> i64 {
    match frame {
        ..=40 => frame * 30,
        41..=70 => 1200 - (frame - 40) * 20,
        _ => 600 + (frame - 70) * 25,
    }
}

fn pass() -> String {
    log("heron.lift", (1..=100).map(|f| (f, path(f))))
}

fn take(deviation: impl Fn(i64) -> i64) -> String {
    log("heron.lift", (1..=100).map(|f| (f, path(f) + deviation(f))))
}

fn causes(take: &str, axis: AxisFacts) -> Vec<(&'static str, f64, i64)> {
    let c = run(&pass(), &[take], &[axis], &Options::default()).unwrap();
    c.causes.iter().map(|l| (l.cause, l.amount, l.frame)).collect()
}

#[test]
fn planted_causes_are_found_with_their_frame_and_size() {
    assert_eq!(causes(&take(|_| 0), facts(10, false)), []);
    assert_eq!(causes(&take(|_| -30), facts(10, false)), [("offset", -30.0, 1)]);
    // Positive travel counts negative steps: in the direction of travel the offset is the other way.
    assert_eq!(causes(&take(|_| -30), facts(10, true)), [("offset", 30.0, 1)]);
    assert_eq!(causes(&take(|f| if f < 53 { 0 } else { -40 }), facts(10, false)), [("lost_steps", -40.0, 53)]);
    assert_eq!(
        causes(
            &take(|f| if f < 53 {
                0
            } else if f < 88 {
                -40
            } else {
                -60
            }),
            facts(10, false)
        ),
        [("lost_steps", -40.0, 53), ("lost_steps", -20.0, 88)]
    );
    assert_eq!(causes(&take(|f| if (41..=70).contains(&f) { 3 } else { -3 }), facts(10, false)), [("backlash", 6.0, 41)]);
    let slip = causes(&take(|f| f / 5), facts(10, false));
    assert_eq!((slip[0].0, slip[0].2), ("drift", 1));
    assert!((slip[0].1 - 19.8).abs() < 1.0, "{slip:?}");
    let mut g = Generator::new(3);
    let noise: Vec<i64> = (0..101).map(|_| if g.unit() < 0.5 { 0 } else { 1 }).collect();
    assert_eq!(causes(&take(|f| noise[usize::try_from(f).unwrap()]), facts(10, false)), []);
}

#[test]
fn one_take_has_no_statistics_that_need_two() {
    let c = run(&pass(), &[&take(|f| f % 3)], &[facts(10, false)], &Options::default()).unwrap();
    let a = serde_json::to_value(&c).unwrap()["axes"][0].clone();
    for key in ["repeatability", "accuracy", "pass_to_pass"] {
        assert_eq!(a[key], Value::Null, "{key}");
    }
    assert_eq!((a["axis"].as_str(), a["unit"].as_str(), a["takes"].as_u64()), (Some("heron.lift"), Some("mm"), Some(1)));
    assert_eq!((a["largest_deviation"].as_f64(), a["mean_range"].as_f64()), (Some(0.02), Some(0.02)));
    assert_eq!((a["steps"]["largest_deviation"].as_f64(), a["pixels"]["largest_deviation"].as_f64()), (Some(2.0), Some(0.08)));
    assert_eq!((a["largest_deviation_frame"].as_i64(), c.within_tolerance), (Some(2), true));
}

#[test]
fn frames_over_a_tolerance_are_counted_once_a_frame() {
    let takes = [take(|f| if f == 7 { 4 } else { 0 }), take(|f| if f == 7 || f == 9 { -5 } else { 0 })];
    let takes: Vec<&str> = takes.iter().map(String::as_str).collect();
    for (options, over) in [
        (Options { tolerance_steps: Some(3.0), ..Options::default() }, 2),
        (Options { tolerance_steps: Some(4.0), ..Options::default() }, 2),
        (Options { tolerance_steps: Some(5.0), ..Options::default() }, 0),
        // 0.19 px is 4.75 steps at 4 px/mm and 100 steps/mm.
        (Options { tolerance_pixels: Some(0.19), ..Options::default() }, 2),
        (Options { tolerance_pixels: Some(0.21), tolerance_steps: Some(100.0), ..Options::default() }, 0),
    ] {
        let c = run(&pass(), &takes, &[facts(10, false)], &options).unwrap();
        assert_eq!((c.axes[0].frames_over, c.within_tolerance), (over, over == 0), "{options:?}");
    }
    let c = run(&pass(), &takes, &[facts(10, false)], &Options::default()).unwrap();
    assert_eq!((c.axes[0].steps.pass_to_pass, c.axes[0].pass_to_pass_frame), (Some(9.0), Some(7)));
}

#[test]
fn logs_in_units_are_held_against_units() {
    let pass = "frame,timecode,heron.lift\n1,00:00:00:00,0.123456\n2,00:00:00:01,-4.000000\n";
    let options = Options { units: LogUnits::Units, ..Options::default() };
    let c = run(pass, &["frame,heron.lift\n1,0.133456\n2,-4\n"], &[facts(10, true)], &options).unwrap();
    let a = &c.axes[0];
    assert!((a.units.largest_deviation.unwrap() - 0.01).abs() < 1e-12 && (a.steps.largest_deviation.unwrap() - 1.0).abs() < 1e-10);
}

#[test]
fn a_log_may_leave_out_axes_and_frames_and_it_is_said() {
    let mut axes = vec![facts(10, false), facts(10, false), facts(10, false)];
    axes[1].name = "heron.yaw".into();
    axes[2].name = "camera.pan".into();
    let pass = "frame,heron.lift,heron.yaw,camera.pan\n1,10,20,30\n2,11,21,31\n3,12,22,32\n";
    let takes = ["frame,heron.yaw,heron.lift\n1,20,11\n3,22,\n", "frame,heron.lift\n1,10\n2,14\n3,12\n"];
    let c = run(pass, &takes, &axes, &Options::default()).unwrap();
    assert_eq!(c.not_logged, ["camera.pan"]);
    assert_eq!((c.takes[0].frames, c.takes[0].frames_missing, c.takes[0].axes_missing.clone()), (2, 1, vec!["camera.pan".to_owned()]));
    assert_eq!((c.takes[1].frames, c.takes[1].axes_missing.len()), (3, 2));
    let (lift, yaw) = (&c.axes[0], &c.axes[1]);
    assert_eq!((lift.takes, lift.frames, lift.steps.pass_to_pass, lift.steps.largest_deviation), (2, 3, Some(1.0), Some(3.0)));
    assert_eq!((yaw.takes, yaw.frames, yaw.steps.repeatability, yaw.steps.largest_deviation), (1, 2, None, Some(0.0)));
}

#[test]
fn frames_that_the_pass_does_not_have_are_refused() {
    for frames in [0..=3_i64, 100..=101] {
        let text = log("heron.lift", frames.map(|f| (f, 0)));
        let told = run(&pass(), &[&text], &[facts(1, false)], &Options::default()).unwrap_err().to_string();
        assert!(told.contains("which pass does not have"), "{told}");
    }
}

proptest! {
    /// The streaming answer against the definitions, written out over whole columns.
    #[test]
    fn streaming_gives_what_the_definitions_give(
        takes in prop::collection::vec(prop::collection::vec(-50..50_i64, 40), 2..6),
        large in prop::sample::select(vec![0_i64, 1_000_000_000_000]),
    ) {
        let pass = log("heron.lift", (0..40).map(|f| (f, large + 3 * f)));
        let logs: Vec<String> = takes.iter().map(|t| log("heron.lift", t.iter().zip(0..).map(|(d, f)| (f, large + 3 * f + d)))).collect();
        let logs: Vec<&str> = logs.iter().map(String::as_str).collect();
        let c = run(&pass, &logs, &[facts(1, false)], &Options::default()).unwrap();
        let n = takes.len() as f64;
        let (mut repeatability, mut high, mut low, mut most, mut between) = (0.0_f64, f64::MIN, f64::MAX, 0, 0);
        for f in 0..40 {
            let x: Vec<f64> = takes.iter().map(|t| t[f] as f64).collect();
            let mean = x.iter().sum::<f64>() / n;
            let s = (x.iter().map(|x| (x - mean) * (x - mean)).sum::<f64>() / (n - 1.0)).sqrt();
            repeatability = repeatability.max(4.0 * s);
            high = high.max(mean + 2.0 * s);
            low = low.min(mean - 2.0 * s);
            let at: Vec<i64> = takes.iter().map(|t| t[f]).collect();
            most = most.max(at.iter().map(|d| d.abs()).max().unwrap());
            between = between.max(at.iter().max().unwrap() - at.iter().min().unwrap());
        }
        let a = c.axes[0].steps;
        // Sums of a few numbers below 100: 1e-12 is a thousand roundings.
        prop_assert!((a.repeatability.unwrap() - repeatability).abs() <= 1e-12 * repeatability.max(1.0));
        prop_assert!((a.accuracy.unwrap() - (high - low)).abs() <= 1e-10);
        prop_assert_eq!(a.largest_deviation, Some(most as f64));
        prop_assert_eq!(a.pass_to_pass, Some(between as f64));
    }
}
