//! How far hanging figures swing: published pendulums, SciPy's integration, an integration of our own by another method, faults planted and the same at the limit.

use movewright::bounds::Effort;
use movewright::check::swing::found::SwingReport;
use movewright::check::{Cause, Limit, Report};
use movewright::compile::Compiled;
use movewright::motion::pendulum::collocation::{Driven, POINTS, Stepped, is_resolved, step};
use movewright::motion::pendulum::free::Free;
use movewright::motion::pendulum::greatest::{Greatest, Swinging};
use movewright::motion::pendulum::{GRAVITY, State, length, period};
use movewright::program::Program;
use movewright::program::hanging::hung::Unknown;
use movewright::time::{FrameTime, Seconds};
use proptest::prelude::*;

use crate::inside::common::inputs::Inputs;

/// A figure under a bridge (x) and a trolley (z), hoisted by an axis; the swing's keys follow.
pub(super) fn inputs(swing: &str, pass: &str, tracks: &str) -> Inputs {
    let axis = |name: &str, limits: [f64; 3]| {
        format!(
            "[[group.axis]]\nname = \"{name}\"\nunit = \"mm\"\ntravel = [-3000, 3000]\nmax_velocity = {}\nmax_acceleration = {}\nmax_jerk = {}\nmotor = \"m\"\n\
             microsteps = 10\ntravel_per_rev = 20\n",
            limits[0], limits[1], limits[2]
        )
    };
    let axes = axis("bridge", [60.0, 20.0, 40.0]) + &axis("trolley", [30.0, 10.0, 40.0]) + &axis("hoist", [60.0, 30.0, 60.0]);
    let stage = format!(
        "format = 1\nname = \"Marsh\"\n[motor.m]\nfull_steps_per_rev = 200\n[[group]]\nname = \"heron\"\n{axes}\
         [[group.joint]]\nslide = [1, 0, 0]\nchannel = \"bridge\"\n[[group.joint]]\nname = \"trolley\"\nslide = [0, 0, -1]\nchannel = \"trolley\"\n\
         [[group.joint]]\nslide = [0, 1, 0]\nchannel = \"hoist\"\n[group.swing]\njoint = \"trolley\"\n{swing}"
    );
    let shot = format!(
        "format = 1\nname = \"Over the reeds\"\nstage = \"stage.toml\"\nframe_rate = \"24\"\nframes = [1, 40]\n{tracks}[[pass]]\nname = \"beauty\"\n{pass}"
    );
    Inputs::new(stage, shot)
}

const MOVING: &str = "exposure = \"moving\"\nseconds_per_frame = 2\nshutter = 180\n";
const HELD: &str = "exposure = \"held\"\nseconds_per_frame = 20\nshutter = 90\nsettle = 2\n";
const TRACKS: &str = "[[track]]\nchannel = \"heron.bridge\"\nkeys = [[1, 300], [14, 420], [40, 380]]\n[[track]]\nchannel = \"heron.trolley\"\nshape = \"natural_cubic\"\n\
                      keys = [[1, 0], [20, 60], [40, 30]]\n[[track]]\nchannel = \"heron.hoist\"\nshape = \"monotone\"\nkeys = [[5, 0], [25, 400]]\n";
const SWING: &str = "length = 1600\nlength_channel = \"hoist\"\nlength_per_unit = -1\ndamping = 0.01\n";

pub(super) fn compiled(inputs: &Inputs) -> Compiled {
    let loaded = inputs.load().unwrap_or_else(|r| panic!("{r}"));
    Compiled::compile(loaded.stage, loaded.shot).unwrap_or_else(|e| panic!("{e:?}"))
}

fn checked(inputs: &Inputs) -> Report {
    compiled(inputs).checked().unwrap()
}

fn first(report: &Report) -> &SwingReport {
    report.passes[0].swings.first().unwrap()
}

/// Peak until the end of the program and while the shutter is open, by the classical Runge-Kutta method with steps of 2 ms, from the motion of each axis second by second.
fn by_small_steps(program: &Program, damping: f64) -> [f64; 2] {
    let stage = program.compiled().stage();
    let [bridge, trolley, hoist] = ["bridge", "trolley", "hoist"].map(|n| stage.axis_of_name(&format!("heron.{n}")).unwrap());
    let rate = |t: f64, y: [f64; 4]| {
        let of = |axis| program.motion(axis, Seconds(t.min(program.end().0))).unwrap();
        let (l, l1) = (1600.0 - of(hoist).position, -of(hoist).velocity);
        let (ax, az) = (of(bridge).acceleration, -of(trolley).acceleration);
        let k = (2.0 * l1 + 2.0 * damping * (GRAVITY * l).sqrt()) / l;
        let [x, z, vx, vz] = y;
        ([vx, vz, -k * vx - (GRAVITY * x + ax) / l, -k * vz - (GRAVITY * z + az) / l], l)
    };
    let (h, end) = (2e-3, program.end().0);
    let (mut y, mut most) = ([0.0; 4], [0.0_f64; 2]);
    let add = |y: [f64; 4], k: [f64; 4], h: f64| core::array::from_fn(|i| y[i] + h * k[i]);
    let steps = (end / h) as u64;
    for i in 0..steps {
        let t = i as f64 * h;
        let (k1, l) = rate(t, y);
        let (k2, _) = rate(t + 0.5 * h, add(y, k1, 0.5 * h));
        let (k3, _) = rate(t + 0.5 * h, add(y, k2, 0.5 * h));
        let (k4, _) = rate(t + h, add(y, k3, h));
        let size = l * (y[0] * y[0] + y[1] * y[1]).sqrt();
        most[0] = most[0].max(size);
        if program.clock().is_open(Seconds(t)) {
            most[1] = most[1].max(size);
        }
        y = core::array::from_fn(|i| y[i] + h / 6.0 * (k1[i] + 2.0 * k2[i] + 2.0 * k3[i] + k4[i]));
    }
    most
}

#[test]
fn moving_and_held_passes_swing_as_small_steps_say() {
    for pass in [MOVING, HELD] {
        for damping in [0.0, 0.03] {
            let inputs = inputs(&SWING.replace("0.01", &damping.to_string()), pass, TRACKS);
            let report = checked(&inputs);
            let found = first(&report).found.unwrap();
            let [peak, exposed] = by_small_steps(&report.passes[0].program, damping);
            // 1e-3 is promised; small steps of 2 ms miss an extreme by 1e-5 of it.
            assert!((found.peak.value - peak).abs() <= 1e-4 * peak, "{pass} {found:?} {peak}");
            assert!((found.exposed.value - exposed).abs() <= 1e-4 * peak, "{pass} {found:?} {exposed}");
            assert!(exposed > 0.02 * peak && peak > 1.0, "{peak} {exposed}: too little to compare");
        }
    }
}

/// A hoist that is a drum, and one that a joint turns: the same answers by other ways.
#[test]
fn a_drum_and_a_turning_joint_swing_like_their_plain_equals() {
    let plain = inputs(SWING, MOVING, TRACKS);
    let wanted = first(&checked(&plain)).found.unwrap();
    // A joint that turns by nothing before the trolley: every instant is asked with jets.
    let turned = plain
        .clone()
        .with("stage.toml", "[[group.joint]]\nname = \"trolley\"", "[[group.joint]]\nturn = [0, 1, 0]\nchannel = \"yaw\"\n[[group.joint]]\nname = \"trolley\"")
        .with(
            "stage.toml",
            "[[group.joint]]\nslide = [1, 0, 0]",
            "[[group.axis]]\nname = \"yaw\"\nunit = \"deg\"\ntravel = [-9, 9]\nmax_velocity = 9\nmax_acceleration = 9\nmax_jerk = 9\nmotor = \"m\"\n[[group.joint]]\nslide = [1, 0, 0]",
        );
    let found = first(&checked(&turned)).found.unwrap();
    assert!((found.peak.value - wanted.peak.value).abs() < 1e-6 * wanted.peak.value, "{found:?} {wanted:?}");
    assert!((found.exposed.value - wanted.exposed.value).abs() < 1e-6 * wanted.peak.value);
    // A drum of thin rope: height in proportion to the turn.
    let drum = plain
        .with(
            "stage.toml",
            "name = \"hoist\"\nunit = \"mm\"\ntravel = [-3000, 3000]",
            "name = \"drum\"\nunit = \"deg\"\ntravel = [-30000, 30000]",
        )
        .with(
            "stage.toml",
            "max_velocity = 60\nmax_acceleration = 30\nmax_jerk = 60",
            "max_velocity = 600\nmax_acceleration = 300\nmax_jerk = 600",
        )
        .with(
            "stage.toml",
            "[[group.joint]]\nslide = [1, 0, 0]",
            "[[group.mechanism]]\nkind = \"drum\"\naxis = \"drum\"\nchannel = \"hoist\"\nradius = 25\n[[group.joint]]\nslide = [1, 0, 0]",
        );
    let report = checked(&drum);
    let found = first(&report).found.unwrap();
    // The move to start of the drum's axis may last as long as before or not; the bridge is slowest.
    assert!((found.peak.value - wanted.peak.value).abs() < 1e-3 * wanted.peak.value, "{found:?} {wanted:?}");
}

/// The golden table: pieces of a quintic each, from rest, by closed form where the length is constant and by steps.
#[test]
fn scipy_integrates_to_the_same() {
    const MOVES: [[f64; 4]; 6] = [
        [3.0, 40.0, 0.0, 0.0],
        [0.2, 0.3, -0.5, 0.0],
        [5.0, 0.0, 25.0, -300.0],
        [11.0, -60.0, 10.0, 0.0],
        [2.5, 0.0, 0.0, 450.0],
        [20.0, 5.0, 0.0, 0.0],
    ];
    const CASES: [[f64; 2]; 4] = [[1600.0, 0.0], [1600.0, 0.01], [700.0, 0.02], [2500.0, 0.2]];
    let text = include_str!("../golden/pendulum.csv");
    let mut rows =
        text.lines().filter(|l| !l.starts_with('#')).skip(1).map(|l| l.split(',').map(|n| n.parse().unwrap()).collect::<Vec<f64>>());
    for [l0, damping] in CASES {
        let (mut state, mut base) = (State::default(), l0);
        for [lasts, x, z, longer] in MOVES {
            let rest = |d: f64| [0.0, 60.0 * d, -180.0 * d, 120.0 * d].map(|c| c / (lasts * lasts));
            let jet = |u: f64, d: f64| {
                let q = movewright::motion::Quintic([0.0, 0.0, 0.0, 10.0 * d, -15.0 * d, 6.0 * d]);
                q.jet(u, lasts)
            };
            let free = (longer == 0.0).then(|| Free::new(&state, base, damping, lasts, [rest(x), rest(z)]));
            let driven = |t: f64| {
                let (l, a) = (jet(t / lasts, longer), [jet(t / lasts, x).a, jet(t / lasts, z).a]);
                Driven { length: [base + l.p, l.v, l.a], acceleration: a }
            };
            // Steps of 1/64 of a quarter: below half a radian for all.
            let mut stepped = state;
            for quarter in 0..4 {
                for i in 0..64 {
                    let (t, h) = (lasts * (f64::from(quarter) / 4.0 + f64::from(i) / 256.0), lasts / 256.0);
                    let points = POINTS.map(|c| driven(t + c * h));
                    assert!(is_resolved(&points, &driven(t + h)));
                    stepped = step(&stepped, damping, h, &points).unwrap();
                }
                let row = rows.next().unwrap();
                let t = lasts * f64::from(quarter + 1) / 4.0;
                let l = driven(t).length[0];
                // The greatest swing is some mm; what DOP853 keeps of 1e-13 and our rounding are far below 1e-9 mm.
                let near = |found: [f64; 2], what: &str| {
                    assert!((found[0] - row[2]).abs() < 1e-8 && (found[1] - row[3]).abs() < 1e-8, "{what}: {found:?} {row:?}");
                };
                near(stepped.angle.map(|q| l * q), "steps");
                if let Some(free) = &free {
                    near(free.at(t), "closed form");
                }
            }
            (state, base) = (stepped, base + longer);
        }
    }
    assert!(rows.next().is_none());
}

/// Support acceleration in pulses on an undamped pendulum, derived in textbooks on cranes: residual swing after a trapezoid of speed with ramps ta and cruise tc is
/// (4a/g) |sin(w ta/2) sin(w (ta + tc)/2)|; L = 1 m, a = 0.1 m/s2, ta = 0.6 s, tc = 1.7 s: 0.8370165 deg. A ramp of a whole period leaves nothing.
#[test]
fn a_trapezoid_leaves_the_published_residual() {
    let residual = |ta: f64, tc: f64| {
        let mut state = State::default();
        for (lasts, a) in [(ta, 100.0), (tc, 0.0), (ta, -100.0)] {
            state = Free::new(&state, 1000.0, 0.0, lasts, [[a, 0.0, 0.0, 0.0], [0.0; 4]]).state(lasts);
        }
        let w = (GRAVITY / 1000.0).sqrt();
        (state.angle[0].powi(2) + (state.rate[0] / w).powi(2)).sqrt()
    };
    assert!((residual(0.6, 1.7).to_degrees() - 0.837_016_5).abs() < 5e-8);
    let t0 = period(1000.0);
    assert!(residual(t0, 1.7) < 1e-14 && residual(0.6, t0 - 0.6) < 1e-14);
}

/// Varying length, a pendulum that is let go at rest from 0.1 rad while it is paid out: L = 1 + 0.2 t m, small angles: to be compared with the exact equation's
/// 0.0559341784 rad at 5 s, which the small-angle equation may miss by theta^2/16 of the phase.
#[test]
fn a_pendulum_that_is_paid_out_swings_as_derived() {
    let mut state = State { angle: [0.1, 0.0], rate: [0.0; 2] };
    let driven = |t: f64| Driven { length: [1000.0 + 200.0 * t, 200.0, 0.0], acceleration: [0.0; 2] };
    for i in 0..100 {
        let t = f64::from(i) * 0.05;
        state = step(&state, 0.0, 0.05, &POINTS.map(|c| driven(t + 0.05 * c))).unwrap();
    }
    assert!((state.angle[0] - 0.055_934_178_4).abs() < 1e-3, "{state:?}");
}

#[test]
fn a_swing_beyond_its_limit_is_found_and_the_same_at_the_limit_is_not() {
    let of = |limit: f64| inputs(&format!("{SWING}limit = {limit}\n"), MOVING, TRACKS);
    let report = checked(&of(1e6));
    let swing = first(&report).found.unwrap().exposed;
    assert!(report.passes[0].violations.iter().all(|v| v.limit != Limit::Swing));
    let at = checked(&of(swing.value));
    assert!(at.passes[0].violations.iter().all(|v| v.limit != Limit::Swing));
    let over = checked(&of(swing.value * 0.999_999));
    let found: Vec<_> = over.passes[0].violations.iter().filter(|v| v.limit == Limit::Swing).collect();
    assert_eq!(found.len(), 1);
    let frame = over.passes[0].program.clock().frame_at(Seconds(swing.at));
    assert!(found[0].frame() == Some(frame.0) && (found[0].value - swing.value).abs() == 0.0 && !over.within_limits());
    // The shutter is open there.
    let n = frame.0.round();
    assert!((frame.0 - n).abs() <= 0.25 + 1e-9, "{frame:?}");
    let pace = over.passes[0].runnable.seconds_per_frame.unwrap();
    assert!(pace > 2.0, "{pace}: the pass's own pace swings too far");
    // The pace as it is printed was tried with its swing too.
    let paces = [pace, over.passes[0].runnable.shown.unwrap()];
    for pace in paces {
        let slower = of(swing.value * 0.999_999).with("shot.toml", "seconds_per_frame = 2\n", &format!("seconds_per_frame = {pace}\n"));
        assert!(checked(&slower).passes[0].violations.iter().all(|v| v.limit != Limit::Swing), "{pace}");
    }
}

/// A further mode that swings too far, the same at the limit, and the shortest period that a mode may have.
#[test]
fn a_further_mode_keeps_the_limit_too() {
    let of = |limit: f64| inputs(&format!("{SWING}limit = {limit}\nmodes = [{{ period_s = 4 }}]\n"), MOVING, TRACKS);
    let swings = |report: &Report| -> Vec<Cause> {
        report.passes[0].violations.iter().filter(|v| v.limit == Limit::Swing).map(|v| v.cause).collect()
    };
    let generous = checked(&of(1e6));
    let [pendulum, mode] = [0, 1].map(|i| generous.passes[0].swings[i].found.unwrap().exposed.value);
    assert!(mode > pendulum, "{mode} {pendulum}");
    assert_eq!(swings(&checked(&of(mode))), []);
    assert_eq!(swings(&checked(&of(mode * 0.999_999))), [Cause::Swing(Some(0))]);
    let quick = checked(&inputs(&format!("{SWING}modes = [{{ period_s = 0.05 }}]\n"), MOVING, TRACKS));
    assert!(quick.passes[0].swings[1].found.is_ok(), "{:?}", quick.passes[0].swings[1].found);
}

#[test]
fn a_further_mode_is_driven_like_a_pendulum_of_its_period() {
    let t = 1.34;
    let with_mode = inputs(&format!("{SWING}modes = [{{ period_s = {t}, damping = 0.02 }}]\n"), MOVING, TRACKS);
    let alone = inputs(&format!("length = {}\ndamping = 0.02\n", length(t)), MOVING, TRACKS);
    let (a, b) = (checked(&with_mode), checked(&alone));
    let (mode, pendulum) = (a.passes[0].swings.get(1).unwrap(), first(&b));
    let (x, y) = (mode.found.unwrap(), pendulum.found.unwrap());
    assert!(mode.mode == Some(0) && (mode.period - t).abs() < 1e-12);
    assert!((x.peak.value - y.peak.value).abs() < 1e-6 * y.peak.value && (x.exposed.value - y.exposed.value).abs() < 1e-6 * y.peak.value);
}

#[test]
fn a_parked_figure_hangs_still_and_a_pendulum_without_length_is_said() {
    let parked = checked(&inputs(SWING, &format!("{MOVING}park = [\"heron\"]\n"), TRACKS));
    let found = first(&parked).found.unwrap();
    assert_eq!((found.peak, found.exposed), (Greatest::default(), Greatest::default()));
    // Hoisted to 399 mm within the photographed span, the pendulum is refused with its frame; only in the run-down, the swing is not known.
    let loaded = inputs(&SWING.replace("1600", "399"), MOVING, TRACKS).load().unwrap();
    let refused = Compiled::compile(loaded.stage, loaded.shot).unwrap_err();
    let flaw = refused[0].flaw();
    assert_eq!((refused.len(), flaw.code()), (1, "no-length"));
    assert!(flaw.found.contains("-1.000 mm at frame") && refused[0].place().is_some(), "{flaw:?}");
    let at_the_end = TRACKS.replace("\"monotone\"\nkeys = [[5, 0], [25, 400]]", "\"natural_cubic\"\nkeys = [[1, 0], [40, 398.9]]");
    let none = checked(&inputs(&SWING.replace("1600", "404.5").replace("0.01", "0.01\nlimit = 5"), MOVING, &at_the_end));
    assert!(matches!(first(&none).found, Err(Unknown::NoLength(_))) && !none.within_limits());
    assert!(none.notes.iter().any(|n| n.kind.name() == "swing_not_computed"));
}

/// How long a held pass must rest is asked four times over of each mode: where the budget lets the swings be known and no more, the rest is said not to be computed.
#[test]
fn a_time_to_settle_that_is_not_computed_is_said() {
    let modes: Vec<String> = (0..12).map(|i| format!("{{ period_s = {}, damping = 0.02 }}", 0.5 + 0.01 * f64::from(i))).collect();
    let swing = format!("{SWING}limit = 500\nmodes = [{}]\n", modes.join(", "));
    let of = |frames: &str| checked(&inputs(&swing, HELD, TRACKS).with("shot.toml", "frames = [1, 40]", frames));
    let (short, long) = (of("frames = [1, 40]"), of("frames = [1, 5000]"));
    let said = |report: &Report| report.notes.iter().filter(|n| n.kind.name() == "settling_not_computed").count();
    assert_eq!((short.passes[0].settling.len(), said(&short)), (13, 0));
    assert!(long.passes[0].swings.iter().all(|s| s.found.is_ok()));
    assert_eq!((long.passes[0].settling.len() < 13, said(&long)), (true, 1));
}

/// A post beside the bridge: the gap is less by the peak of the swing, on the way and in the pass alike. A clearance that the swing uses up is not kept; the same at the limit is.
#[test]
fn a_figure_that_swings_needs_its_peak_beside_what_is_required() {
    let with = |swings: bool, clearance: &str| {
        let more = "[[group.envelope]]\nfrom = [0, -20, 0]\nto = [0, 20, 0]\nradius = 15\n[[obstacle]]\nname = \"post\"\nfrom = [460, -500, 0]\nto = [460, 500, 0]\nradius = 5\n";
        let mut inputs = inputs(&format!("{SWING}{more}"), MOVING, TRACKS).with(
            "stage.toml",
            "name = \"Marsh\"\n",
            &format!("name = \"Marsh\"\nclearance = {clearance}\n"),
        );
        if !swings {
            inputs = inputs.with("stage.toml", &format!("[group.swing]\njoint = \"trolley\"\n{SWING}"), "");
        }
        checked(&inputs)
    };
    let near = |report: &Report| *report.passes[0].clearance.as_ref().unwrap().worst().unwrap();
    let (still, swung) = (with(false, "0"), with(true, "0"));
    let peak = first(&swung).found.unwrap().peak.value;
    let (a, b) = (near(&still), near(&swung));
    assert!(peak > 0.5 && (a.gap - peak - b.gap).abs() < 1e-9 && b.swing == peak, "{a:?} {b:?} {peak}");
    let back = first(&swung).found.unwrap().return_home.value;
    let home = |report: &Report| report.passes[0].way_clearance[1].1.as_ref().unwrap().pairs[0].gap;
    assert!((home(&still) - back - home(&swung)).abs() < 1e-9);
    // At what is left it passes, a hair above it fails; without the swing the same clearance is kept.
    let left = b.gap + b.tolerance;
    assert!(with(true, &left.to_string()).within_limits());
    let above = (left * (1.0 + 1e-8)).to_string();
    let (over, kept) = (with(true, &above), with(false, &above));
    assert!(kept.within_limits() && over.passes[0].violations.iter().any(|v| v.limit == Limit::Clearance));
    let text = movewright::check::words::violation(&over.compiled, &over.passes[0].violations[0]);
    assert!(text.contains("taken off for swing"), "{text}");
}

/// How far 1.6 m under the bridge alone swing every 2 ms of a program, by the classical Runge-Kutta method.
pub(super) fn under_the_bridge(program: &Program, z: f64) -> Vec<f64> {
    let bridge = program.compiled().stage().axis_of_name("heron.bridge").unwrap();
    let (l, h) = (1600.0, STEP);
    let w = (GRAVITY / l).sqrt();
    let a = |t: f64| program.motion(bridge, Seconds(t.min(program.end().0))).unwrap().acceleration;
    let f = |q: f64, v: f64, a: f64| -2.0 * z * w * v - (GRAVITY * q + a) / l;
    let (mut q, mut v, mut all) = (0.0_f64, 0.0_f64, Vec::new());
    for k in 0..=(program.end().0 / h) as u64 {
        let t = k as f64 * h;
        all.push((l * q).abs());
        let (a0, am, a1) = (a(t), a(t + 0.5 * h), a(t + h));
        let k1 = (v, f(q, v, a0));
        let k2 = (v + 0.5 * h * k1.1, f(q + 0.5 * h * k1.0, v + 0.5 * h * k1.1, am));
        let k3 = (v + 0.5 * h * k2.1, f(q + 0.5 * h * k2.0, v + 0.5 * h * k2.1, am));
        let k4 = (v + h * k3.1, f(q + h * k3.0, v + h * k3.1, a1));
        q += h / 6.0 * (k1.0 + 2.0 * k2.0 + 2.0 * k3.0 + k4.0);
        v += h / 6.0 * (k1.1 + 2.0 * k2.1 + 2.0 * k3.1 + k4.1);
    }
    all
}

pub(super) const STEP: f64 = 2e-3;

/// Each frame's rest from the end of its move, as small steps say: the last instant before the next move at which the swing is beyond the limit. Nothing rests long enough here.
#[test]
fn each_frame_of_a_held_pass_needs_what_small_steps_say() {
    let limit = 0.4;
    let tracks = "[[track]]\nchannel = \"heron.bridge\"\nkeys = [[1, 300], [20, 700], [40, 380]]\n";
    let pass = "exposure = \"held\"\nseconds_per_frame = 90\nshutter = 90\n";
    let report = checked(&inputs(&format!("length = 1600\ndamping = 0.03\nlimit = {limit}\n"), pass, tracks));
    let needs = &report.passes[0].settling;
    assert_eq!((needs.len(), needs[0].frames.len()), (1, 40));
    let program = &report.passes[0].program;
    let mut beyond = vec![0.0_f64; 40];
    let clock = program.clock();
    let close = |i: usize| clock.begin().0 + (i as f64 + 0.5 + 0.125) * 90.0;
    let moves = program.stations().unwrap().moves();
    for (k, after) in under_the_bridge(program, 0.03).into_iter().skip(1).enumerate() {
        let t = k as f64 * STEP;
        // The frame that is exposed next, and since when it rests.
        for i in 1..40 {
            let arrival = close(i - 1) + moves[i - 1].seconds.0;
            if arrival <= t && t < close(i) && after > limit {
                beyond[i] = t + STEP - arrival;
            }
        }
    }
    for (i, (found, wanted)) in needs[0].frames.iter().zip(&beyond).enumerate().skip(1) {
        assert!((found - wanted).abs() < 0.02, "{i}: {found} {wanted}");
    }
    assert!(needs[0].longest.0 > 5.0 && needs[0].guessed[2] > 1.3 * needs[0].longest.0, "{needs:?}");
}

/// The move to start swings the figure, and the pass opens at once: a rest of some seconds is offered, and one second less is not enough.
#[test]
fn a_rest_before_the_run_up_that_suffices_is_offered() {
    let still = "[[track]]\nchannel = \"heron.bridge\"\nkeys = [[1, 300], [40, 300]]\n";
    let with = |settle: f64| {
        let pass = format!("{MOVING}settle = {settle}\n");
        checked(&inputs("length = 1600\ndamping = 0.05\nlimit = 0.5\n", &pass, still))
    };
    let none = with(0.0);
    let found = none.passes[0].violations.iter().find(|v| v.limit == Limit::Swing).unwrap();
    let text = movewright::check::words::fix(&none.compiled, found, &found.fixes[0]);
    let settle: f64 = text.split("`settle = ").nth(1).unwrap().split('`').next().unwrap().parse().unwrap();
    assert!(settle >= 1.0, "{text}");
    assert!(with(settle).within_limits() && !with(settle - 1.0).within_limits(), "{text}");
    // The rest is time of the program, and the rows are later by it.
    let begin = |r: &Report| r.passes[0].program.clock().begin().0;
    assert_eq!(begin(&with(settle)), begin(&none) + settle);
}

/// A camera 2 m before the figure, 50 mm, 100 pixels per mm of film: 2.5 px for each mm sideways.
#[test]
fn the_exposed_swing_has_its_size_in_the_picture() {
    let camera = "[[group]]\nname = \"camera\"\n[[group.axis]]\nname = \"track\"\nunit = \"mm\"\ntravel = [-100, 100]\nmax_velocity = 10\nmax_acceleration = 10\nmax_jerk = 10\n\
                  motor = \"m\"\ntravel_per_rev = 20\n[[group.joint]]\noffset = [400, 0, 2000]\nslide = [1, 0, 0]\nchannel = \"track\"\n\
                  [group.lens]\nfocal_length = 50\nfilm_back = [36, 24]\npixels = [3600, 2400]\n[[group]]\nname = \"heron\"\n";
    let still = "[[track]]\nchannel = \"heron.bridge\"\nkeys = [[1, 300], [14, 420], [40, 380]]\n";
    let plain = inputs("length = 1600\n", MOVING, still);
    let seen = plain.clone().with("stage.toml", "[[group]]\nname = \"heron\"\n", camera);
    let report = checked(&seen);
    let swing = first(&report);
    let (px, mm) = (swing.pixels.unwrap(), swing.found.unwrap().exposed.value);
    // Along the line of sight it moves by less: 400 mm aside at most, a fifth of the depth.
    assert!((px - 2.5 * mm).abs() < 1e-3 * px, "{px} {mm}");
    assert_eq!(first(&checked(&plain)).pixels, None);
}

/// A length of a millimetre under a pass of days: refused by the budget, not computed for minutes.
#[test]
fn work_is_bounded() {
    let pass = "exposure = \"moving\"\nseconds_per_frame = 86400\nshutter = 180\n";
    let swing = "length = 500\nlength_channel = \"hoist\"\nlength_per_unit = -0.001\n";
    let report = checked(&inputs(swing, pass, TRACKS));
    assert!(matches!(first(&report).found, Err(Unknown::Budget)));
    let work = report.compiled.work();
    assert!(work.left(Effort::Swings) == 0);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, ..ProptestConfig::default() })]
    /// No sample is above the greatest swing found, and it is taken on.
    #[test]
    fn the_greatest_swing_is_no_less_than_any_sample(
        l in 50.0..5000.0_f64, damping in 0.0..0.2_f64, lasts in 0.2..60.0_f64,
        a in prop::array::uniform8(-100.0..100.0_f64), s in prop::array::uniform4(-0.1..0.1_f64),
    ) {
        prop_assume!((GRAVITY / l).sqrt() * lasts > 0.5);
        let state = State { angle: [s[0], s[1]], rate: [s[2], s[3]] };
        let free = Free::new(&state, l, damping, lasts, [[a[0], a[1], a[2], a[3]], [a[4], a[5], a[6], a[7]]]);
        let mut found = Greatest::default();
        found.take_in(&free, 7.0, 0.0, lasts);
        let size = |t: f64| { let [x, z] = free.at(t); (x * x + z * z).sqrt() };
        for i in 0..=4000 {
            prop_assert!(size(lasts * f64::from(i) / 4000.0) <= found.value * (1.0 + 1.01e-5));
        }
        prop_assert!((size(found.at - 7.0) - found.value).abs() <= 1e-9 * found.value);
        // The closed form begins where it was said to, and steps go the same way.
        let first = free.state(0.0);
        prop_assert!((first.angle[0] - s[0]).abs() < 1e-9 && (first.rate[1] - s[3]).abs() < 1e-8, "{first:?}");
        let driven = |t: f64| {
            let u = t / lasts;
            let of = |k: usize| a[k] + u * (a[k + 1] + u * (a[k + 2] + u * a[k + 3]));
            Driven { length: [l, 0.0, 0.0], acceleration: [of(0), of(4)] }
        };
        let n = ((GRAVITY / l).sqrt() * lasts / 0.4).ceil();
        let (h, mut at) = (lasts / n, state);
        for i in 0..n as u32 {
            let t = f64::from(i) * h;
            let next = step(&at, damping, h, &POINTS.map(|c| driven(t + c * h))).unwrap();
            let path = Stepped::new((&at, &driven(t)), (&next, &driven(t + h)), damping, h);
            let [x, z] = path.at(0.5 * h);
            let [wx, wz] = free.at(t + 0.5 * h);
            prop_assert!((x - wx).abs() + (z - wz).abs() <= 1e-6 * found.value, "{x} {wx} {z} {wz}");
            at = next;
        }
        let last = free.state(lasts);
        prop_assert!((at.angle[0] - last.angle[0]).abs() + (at.angle[1] - last.angle[1]).abs() < 1e-7, "{at:?} {last:?}");
    }
}

/// The instant of a peak lies within the program, and frames are given from the run-up on.
#[test]
fn a_peak_has_its_instant() {
    let report = checked(&inputs(SWING, MOVING, TRACKS));
    let p = &report.passes[0].program;
    let found = first(&report).found.unwrap();
    assert!(0.0 < found.peak.at && found.peak.at <= p.end().0);
    let opens = p.clock().seconds_at(FrameTime(1.0 - 0.25)).0;
    assert!(found.exposed.at >= opens - 1e-9);
}
