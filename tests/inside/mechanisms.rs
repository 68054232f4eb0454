//! Figures and camera as mechanisms, from the files to the steps: what is animated is what is seen, what is compiled is what turns.

use crate::inside::common::{checked, compiled};
use movewright::check::{Limit, words};
use movewright::compile::{CompileError, Compiled, FitError};
use movewright::input::{self, Loaded, Rejection};
use movewright::mechanism::Vector;
use movewright::signal::{AxisSignal, Layers};
use movewright::stage::Driver;
use movewright::time::FrameTime;

const STAGE: &str = r#"format = 1
name = "Marsh"
scale = 0.25
[motor.m]
full_steps_per_rev = 200
[[group]]
name = "camera"
[[group.axis]]
name = "track"
unit = "mm"
travel = [0, 9000]
max_velocity = 300
max_acceleration = 150
max_jerk = 600
motor = "m"
travel_per_rev = 60
microsteps = 16
[[group.axis]]
name = "pan"
unit = "deg"
travel = [-170, 170]
max_velocity = 30
max_acceleration = 20
max_jerk = 60
motor = "m"
gear_ratio = 90
microsteps = 16
[[group.axis]]
name = "tilt"
unit = "deg"
travel = [-80, 80]
max_velocity = 30
max_acceleration = 20
max_jerk = 60
motor = "m"
gear_ratio = 90
microsteps = 16
[[group.joint]]
slide = [1, 0, 0]
channel = "track"
offset = [0, 900, 4000]
[[group.joint]]
turn = [0, 1, 0]
channel = "pan"
[[group.joint]]
turn = [1, 0, 0]
channel = "tilt"
[group.lens]
focal_length = 35
film_back = [36, 24]
pixels = [3600, 2400]
[[group]]
name = "heron_a"
[[group.axis]]
name = "bridge"
unit = "mm"
travel = [0, 9000]
max_velocity = 300
max_acceleration = 150
max_jerk = 600
motor = "m"
travel_per_rev = 60
microsteps = 16
[[group.axis]]
name = "fore"
unit = "mm"
travel = [-80, 80]
max_velocity = 30
max_acceleration = 20
max_jerk = 60
motor = "m"
travel_per_rev = 5
microsteps = 16
[[group.axis]]
name = "left"
unit = "mm"
travel = [-80, 80]
max_velocity = 30
max_acceleration = 20
max_jerk = 60
motor = "m"
travel_per_rev = 5
microsteps = 16
[[group.axis]]
name = "right"
unit = "mm"
travel = [-80, 80]
max_velocity = 30
max_acceleration = 20
max_jerk = 60
motor = "m"
travel_per_rev = 5
microsteps = 16
[[group.axis]]
name = "leg_wire"
unit = "mm"
travel = [-100, 200]
max_velocity = 30
max_acceleration = 20
max_jerk = 60
motor = "m"
travel_per_rev = 5
microsteps = 16
[[group.mechanism]]
kind = "swashplate"
axes = ["fore", "left", "right"]
radius = 150
azimuths = [0, 120, 240]
[[group.mechanism]]
kind = "limb_wire"
axis = "leg_wire"
channel = "leg"
arm = 120
guide = [0, 200]
neutral = 0
mass = 0.4
centre_of_mass = 80
inertia = 0.004
[[group.joint]]
slide = [1, 0, 0]
channel = "bridge"
offset = [0, 1600, 0]
[[group.joint]]
slide = [0, 1, 0]
channel = "heave"
[[group.joint]]
turn = [1, 0, 0]
channel = "pitch"
[[group]]
name = "heron_b"
like = "heron_a"
"#;

const SHOT: &str = r#"format = 1
name = "Over the reeds"
stage = "stage.toml"
frame_rate = "24"
frames = [1, 96]
[[track]]
channel = "camera.track"
keys = [[1, 1000], [96, 5000]]
[[track]]
channel = "heron_a.bridge"
keys = [[1, 2000], [96, 6000]]
[[track]]
channel = "heron_a.heave"
keys = [[1, 0], [40, 15], [96, -5]]
[[track]]
channel = "heron_a.pitch"
keys = [[1, 0], [50, 6], [96, -4]]
[[cycle]]
channel = "heron_a.roll"
period = 30
keys = [[0, -3], [0.5, 4]]
amount = [[1, 0], [20, 1]]
[[track]]
channel = "heron_a.leg"
keys = [[1, 5], [60, 40], [96, 10]]
[[copy]]
from = "heron_a"
to = "heron_b"
delay = 6
scale = { roll = -1 }
[[aim]]
camera = "camera"
channels = ["pan", "tilt"]
at = "heron_a"
offset = [0, -50, 20]
[[pass]]
name = "picture"
exposure = "moving"
seconds_per_frame = 12
shutter = 180
"#;

fn load(stage: &str, shot: &str) -> Result<Loaded, Rejection> {
    input::parse("shot.toml", &|name| Ok(if name == "shot.toml" { shot.as_bytes().to_vec() } else { stage.as_bytes().to_vec() }))
}

fn loaded() -> Loaded {
    load(STAGE, SHOT).unwrap_or_else(|r| panic!("{r}"))
}

#[test]
fn motors_do_what_the_plate_s_geometry_says_and_the_way_back_gives_what_was_animated() {
    let Loaded { stage, shot, .. } = loaded();
    let mv = compiled(&stage, &shot);
    let layers = Layers::of(&shot, movewright::bounds::Budget::Usual, None).unwrap();
    for group in ["heron_a", "heron_b"] {
        for name in ["heave", "pitch", "roll", "leg"] {
            let full = format!("{group}.{name}");
            let channel = stage.channel(&full).unwrap();
            let signal = layers.signal(&stage, &shot, channel).unwrap();
            for i in 0..200 {
                let t = 0.7 + f64::from(i) * 0.478;
                let seen = mv.channel_at(None, channel, FrameTime(t)).unwrap();
                let asked = signal.jet(t, t).p;
                // Each actuator is within 1/16 step (640 steps a mm) of its formula; at a radius of 150 mm that is 1e-4 mm and 1e-4 deg.
                assert!((seen - asked).abs() < 2e-4, "{full} at {t}: {seen} {asked}");
            }
        }
    }
    assert!(matches!(stage.driver(stage.axis_of_name("heron_b.left").unwrap()), Driver::Machine(..)));
    // The plate at rest with its axes at home: an undriven pitch stays at 0.
    let undriven = SHOT.replace("[[track]]\nchannel = \"heron_a.pitch\"\nkeys = [[1, 0], [50, 6], [96, -4]]\n", "");
    assert_ne!(undriven, SHOT);
    let Loaded { stage, shot, .. } = load(STAGE, &undriven).unwrap_or_else(|r| panic!("{r}"));
    let signal = Layers::of(&shot, movewright::bounds::Budget::Usual, None)
        .unwrap()
        .signal(&stage, &shot, stage.channel("heron_a.pitch").unwrap())
        .unwrap();
    assert_eq!(signal.jet(50.0, 50.0).p, 0.0);
}

#[test]
fn the_aimed_point_is_in_the_middle_of_the_picture_at_every_sub_frame() {
    let Loaded { stage, shot, .. } = loaded();
    let layers = Layers::of(&shot, movewright::bounds::Budget::Usual, None).unwrap();
    let mv = compiled(&stage, &shot);
    let camera = stage.bodies().iter().find(|b| b.lens().is_some()).unwrap();
    let heron = stage.body_of(stage.group_of_name("heron_a").unwrap()).unwrap();
    let lens = camera.lens().unwrap();
    let middle = lens.axis();
    let pan = AxisSignal::of(&stage, &shot, &layers, stage.axis_of_name("camera.pan").unwrap()).unwrap();
    let tilt = AxisSignal::of(&stage, &shot, &layers, stage.axis_of_name("camera.tilt").unwrap()).unwrap();
    let track = AxisSignal::of(&stage, &shot, &layers, stage.axis_of_name("camera.track").unwrap()).unwrap();
    for i in 0..=300 {
        let t = 0.6 + f64::from(i) * 0.319;
        // As signals: to the solver's own 1e-10 rad, 3.5e-7 of these pixels.
        let values = [track.jet(t, t).p, pan.jet(t, t).p, tilt.jet(t, t).p];
        let exact = camera.chain().pose(|i| values[i]);
        let channels: Vec<f64> = heron.channels().iter().map(|c| layers.signal(&stage, &shot, *c).unwrap().jet(t, t).p).collect();
        let target = heron.chain().pose(|i| channels[i]).out_fixed(Vector::new(0.0, -50.0, 20.0));
        let seen = lens.project(&exact, target).unwrap();
        assert!((seen.right - middle.right).abs() < 1e-6 && (seen.down - middle.down).abs() < 1e-6, "{t}: {seen:?}");
        // As compiled: within the fits' sixteenths of a step, 800 steps per degree, 61 pixels per degree: 5e-3 pixels and the heron's own.
        let pose = mv.pose_at(None, camera, FrameTime(t)).unwrap();
        let at = mv.pose_at(None, heron, FrameTime(t)).unwrap().out_fixed(Vector::new(0.0, -50.0, 20.0));
        let seen = lens.project(&pose, at).unwrap();
        assert!((seen.right - middle.right).abs() < 0.02 && (seen.down - middle.down).abs() < 0.02, "{t}: {seen:?}");
    }
}

/// The axes that an error concerns.
fn concerned(error: &CompileError) -> &[String] {
    match error {
        CompileError::Axes { axes, .. } => axes,
        other => panic!("{other}"),
    }
}

#[test]
fn what_cannot_be_reached_is_told_with_channel_frame_and_range() {
    let far = SHOT.replace("keys = [[1, 5], [60, 40], [96, 10]]", "keys = [[1, 5], [60, 170], [96, 10]]");
    let Loaded { stage, shot, .. } = load(STAGE, &far).unwrap_or_else(|r| panic!("{r}"));
    let errors = Compiled::compile(stage, shot).unwrap_err();
    assert!(errors.iter().any(|e| matches!(e, CompileError::Axes { error: FitError::OutOfReach { .. }, .. })), "{errors:?}");
    assert_eq!(concerned(&errors[0]), ["heron_a.leg_wire"]);
    let said = errors[0].to_string();
    assert!(said.contains("`heron_a.leg`") && said.contains("at frame") && said.contains("the mechanism reaches"), "{said}");
    let behind = SHOT.replace("at = \"heron_a\"\n", "").replace("offset = [0, -50, 20]", "offset = [3000, 900, 9000]");
    let behind = behind.replace("[-170, 170]", "[-20, 20]");
    let stage = STAGE.replace("[-170, 170]", "[-20, 20]");
    let Loaded { stage, shot, .. } = load(&stage, &behind).unwrap_or_else(|r| panic!("{r}"));
    let errors = Compiled::compile(stage, shot).unwrap_err();
    assert!(concerned(&errors[0]).contains(&"camera.pan".to_owned()), "{errors:?}");
    assert!(errors[0].to_string().contains("the aim of `camera`") && errors[0].to_string().contains("at frame"), "{}", errors[0]);
}

#[test]
fn mistakes_of_mechanisms_joints_and_aims_have_their_place() {
    for (stage_edit, shot_edit, code, phrase) in [
        (("kind = \"swashplate\"", "kind = \"swashplat\""), ("", ""), "unknown-choice", "swashplate"),
        (("axes = [\"fore\", \"left\", \"right\"]", "axes = [\"fore\", \"left\", \"rigth\"]"), ("", ""), "unknown-axis", "heron_a.rigth"),
        (("radius = 150", "radius = -1"), ("", ""), "out-of-range", "radius"),
        (("channel = \"heave\"", "channel = \"heav\""), ("", ""), "unknown-channel", "heron_a.heav"),
        (("focal_length = 35", "focal_length = 0"), ("", ""), "out-of-range", "focal_length"),
        (("", ""), ("channels = [\"pan\", \"tilt\"]", "channels = [\"pan\", \"track\"]"), "", "camera"),
        (("", ""), ("channel = \"heron_a.heave\"", "channel = \"heron_a.fore\""), "unknown-channel", "heron_a.fore"),
        (("", ""), ("channel = \"camera.track\"", "channel = \"camera.pan\""), "driven-twice", "camera.pan"),
        (("inertia = 0.004", "inertia = 0.0001"), ("", ""), "impossible-mechanism", "inertia"),
        (("channel = \"leg\"", "channel = \"Leg\""), ("", ""), "invalid-name", "`Leg`"),
        (("channel = \"leg\"", "channel = \"crane.leg\""), ("", ""), "unknown-group", "`crane.leg`"),
    ] {
        let edit = |text: &str, (from, to): (&str, &str)| if from.is_empty() { text.to_owned() } else { text.replacen(from, to, 1) };
        let rejection = load(&edit(STAGE, stage_edit), &edit(SHOT, shot_edit)).expect_err(phrase);
        let said = rejection.to_string();
        assert!(said.contains(phrase), "{phrase}: {said}");
        assert!(rejection.diagnostics().iter().any(|d| code.is_empty() || d.code == code), "{code}: {said}");
        assert!(rejection.diagnostics().iter().all(|d| d.place.is_some()), "{said}");
    }
}

#[test]
fn a_screen_s_flicker_is_reported_and_warned_of_above_half_an_opening_an_exposure() {
    // Twelve openings; 180 deg shutter. Rest to rest over h deg in 50 frames peaks at 1.875 h/50 deg per frame (T. Flash, N. Hogan 1985): half an opening an
    // exposure is 12 x v / 360 x 1/2 = 1/2, v = 30 deg per frame, h = 800.
    for (h, kind) in [(799.0, "openings"), (801.0, "flicker")] {
        let stage = STAGE.replacen(
            "name = \"pan\"\nunit = \"deg\"\ntravel = [-170, 170]",
            "name = \"pan\"\nunit = \"deg\"\nopenings = 12\ntravel = [-1000, 1000]",
            1,
        );
        let aim = SHOT.find("[[aim]]").unwrap();
        let pass = SHOT.find("[[pass]]").unwrap();
        let shot = format!("{}[[track]]\nchannel = \"camera.pan\"\nkeys = [[20, 0], [70, {h}]]\n{}", &SHOT[..aim], &SHOT[pass..]);
        let Loaded { stage, shot, .. } = load(&stage, &shot).unwrap_or_else(|r| panic!("{r}"));
        let report = checked(&stage, &shot);
        let found: Vec<_> = report.notes.iter().filter(|n| ["openings", "flicker"].contains(&n.kind.name())).collect();
        assert_eq!((found.len(), found[0].kind.name()), (1, kind));
        assert!((found[0].value.unwrap() - 12.0 * 1.875 * h / 50.0 / 360.0).abs() < 1e-9);
    }
}

/// A hoist on a drum of two layers, three turns on at height 0.
fn with_drum(keys: &str) -> Result<Loaded, Rejection> {
    let axis = r#"[[group.axis]]
name = "hoist_drum"
unit = "deg"
travel = [-1000, 30000]
max_velocity = 600
max_acceleration = 100
max_jerk = 100
motor = "m"
gear_ratio = 60
[[group.mechanism]]
kind = "drum"
axis = "hoist_drum"
channel = "hoist"
radius = 25
rope_diameter = 1
turns_per_layer = 10
layers = 2
wound = 3
rope_area = 0.4
rope_modulus = 100000
mass = 12
rope_length = 2500
"#;
    let stage =
        STAGE.replacen("[[group.mechanism]]\nkind = \"swashplate\"", &format!("{axis}[[group.mechanism]]\nkind = \"swashplate\""), 1);
    let shot = SHOT.replacen("[[cycle]]", &format!("[[track]]\nchannel = \"heron_a.hoist\"\nkeys = {keys}\n[[cycle]]"), 1);
    load(&stage, &shot)
}

#[test]
fn a_drum_turns_for_its_height_reports_its_stretch_and_never_passes_between_layers() {
    // Seven turns are left in the first layer: 7 x 2 pi x 25.5 mm = 1121.5 mm (D: the rope's middle lies half its diameter above the drum).
    let Loaded { stage, shot, .. } = with_drum("[[1, 0], [90, 1100]]").unwrap_or_else(|r| panic!("{r}"));
    let mv = compiled(&stage, &shot);
    let drum = stage.axis_of_name("heron_a.hoist_drum").unwrap();
    let curve = mv.axes()[drum].curve();
    let turned = curve.at(90.0).unwrap() - curve.at(1.0).unwrap();
    assert!((turned - 1100.0 / (2.0 * std::f64::consts::PI * 25.5) * 360.0).abs() < 1e-6 * turned, "{turned}");
    let report = mv.check().unwrap();
    let f = report.notes.iter().find(|n| n.kind.name() == "rope_stretch" && n.axis == Some(drum)).unwrap();
    // F L / (A E): 12 x 9.80665 N x 2500 mm / (0.4 mm2 x 100000 N/mm2) = 7.355 mm, at the lowest place.
    assert!((f.value.unwrap() - 12.0 * 9.80665 * 2500.0 / (0.4 * 100_000.0)).abs() < 1e-9, "{f:?}");
    let Loaded { stage, shot, .. } = with_drum("[[1, 0], [90, 1130]]").unwrap_or_else(|r| panic!("{r}"));
    let errors = Compiled::compile(stage, shot).unwrap_err();
    assert!(errors[0].to_string().contains("one layer of rope to the next"), "{}", errors[0]);
}

#[test]
fn a_mechanism_s_channel_handed_on_twice_must_exist_at_the_end_and_does_where_it_does() {
    let chain = SHOT.replacen("[[aim]]", "[[copy]]\nfrom = \"heron_b\"\nto = \"heron_c\"\ndelay = 6\n[[aim]]", 1);
    let whole = format!("{STAGE}[[group]]\nname = \"heron_c\"\nlike = \"heron_a\"\n");
    let Loaded { stage, shot, .. } = load(&whole, &chain).unwrap_or_else(|r| panic!("{r}"));
    assert!(Compiled::new(stage, shot).is_ok());
    // A third heron without plate and wires: what reaches it through the second is missing there.
    let axis = "[[group.axis]]\nname = \"bridge\"\nunit = \"mm\"\ntravel = [0, 9000]\nmax_velocity = 300\nmax_acceleration = 150\nmax_jerk = 600\nmotor = \"m\"\ntravel_per_rev = 60\n";
    let bare = format!("{STAGE}[[group]]\nname = \"heron_c\"\n{axis}");
    let said = load(&bare, &chain).expect_err("heron_c has no heave").to_string();
    // Told once for the copy, with every channel that is missing.
    assert!(said.contains("`heron_c` lacks 4 channels") && said.contains("found: heave, leg, pitch, roll, "), "{said}");
    assert_eq!(said.matches("error[").count(), 1, "{said}");
}

#[test]
fn a_leg_let_down_faster_than_it_falls_is_over_a_limit_of_its_own_and_slower_it_is_not() {
    // From 40 to -30 deg in two frames: 10/sqrt 3 x 70/4 = 101 deg/frame2 (T. Flash, N. Hogan 1985); gravity gives at most 4495 deg/s2: the border lies near
    // T = sqrt(101/4495) = 0.150 s per frame, a little above where the leg hangs out less than level.
    let slack = |pace: &str| {
        let shot = SHOT.replace("keys = [[1, 5], [60, 40], [96, 10]]", "shape = \"stop_at_keys\"\nkeys = [[40, 40], [42, -30]]");
        let shot = shot.replace("seconds_per_frame = 12", &format!("seconds_per_frame = {pace}"));
        let Loaded { stage, shot, .. } = load(STAGE, &shot).unwrap_or_else(|r| panic!("{r}"));
        let report = checked(&stage, &shot);
        let v = report.passes[0].violations.iter().filter(|v| v.limit == Limit::Slack);
        // The axis of the wire says so too.
        for (id, name) in stage.axis_ids().zip(stage.axis_names()) {
            let t = report.passes[0].axes[id].tightest();
            let slack = v.clone().any(|v| v.subject.axis() == id);
            assert!(!slack || t.utilisation.is_exceeded(), "{name}: {t:?}");
        }
        v.map(|v| (stage.axis_name(v.subject.axis()).to_owned(), words::violation(&report.compiled, v), v.frame().unwrap()))
            .collect::<Vec<_>>()
    };
    let found = slack("0.145");
    let (axis, said, frame) = &found[0];
    assert!(axis == "heron_a.leg_wire" && (40.0..42.0).contains(frame) && said.contains("cannot keep the wire taut"), "{found:?}");
    assert!(found.iter().any(|(axis, ..)| axis == "heron_b.leg_wire"), "the copy six frames later too: {found:?}");
    assert!(slack("0.2").is_empty() && slack("12").is_empty());
}
