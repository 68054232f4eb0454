//! Focus that follows, from the files to the steps: distances by closed formulas, pulls by hand, speed judged on the ring, refusals, and `verify`.

use crate::inside::common::folder::{export, files_of, repair, shift, verdict_of};
use crate::inside::common::{checked, compiled};
use movewright::check::Limit;
use movewright::compile::Compiled;
use movewright::input::{self, Loaded, Rejection};

fn axis(name: &str, unit: &str, travel: &str, home: f64, max_velocity: f64) -> String {
    format!(
        "[[group.axis]]\nname = \"{name}\"\nunit = \"{unit}\"\ntravel = {travel}\nhome = {home}\nmax_velocity = {max_velocity}\nmax_acceleration = 9000\nmax_jerk = 90000\n\
         motor = \"m\"\nmicrosteps = 16\ntravel_per_rev = 60\n"
    )
}

/// A camera that turns about its own pupil at [0, 1000, 4000], and a heron on a rail at z = 1000 across its look.
fn stage(max_velocity: f64) -> String {
    let camera = [
        axis("pan", "deg", "[-170, 170]", 0.0, 900.0),
        axis("tilt", "deg", "[-80, 80]", 0.0, 900.0),
        axis("focus_distance", "mm", "[200, 9000]", 3000.0, max_velocity),
        axis("spare", "deg", "[-80, 80]", 0.0, 900.0),
    ];
    let limb = "[[group.limb]]\nname = \"head\"\npivot = [0, 100, 0]\nturn = [0, 0, 1]\nchannel = \"nod\"\n";
    format!(
        "format = 1\nname = \"Marsh\"\n[point]\nreeds = [300, 900, 3000]\nhut = [0, 1000, -2000]\nback = [0, 1000, 3960]\n[motor.m]\nfull_steps_per_rev = 200\n[[group]]\n\
         name = \"camera\"\n{}[[group.joint]]\nturn = [0, 1, 0]\nchannel = \"pan\"\noffset = [0, 1000, 4000]\n[[group.joint]]\nturn = [1, 0, 0]\nchannel = \"tilt\"\n\
         [group.lens]\nfocal_length = 50\nfilm_back = [24.9, 18.7]\npixels = [4096, 3072]\nfilm_plane = 100\n[[group]]\nname = \"heron\"\n{}{}[[group.joint]]\n\
         slide = [1, 0, 0]\nchannel = \"bridge\"\noffset = [0, 600, 1000]\n{limb}[[group]]\nname = \"wall\"\n{}",
        camera.concat(),
        axis("bridge", "mm", "[-2000, 2000]", 0.0, 900.0),
        axis("nod", "deg", "[-80, 80]", 0.0, 900.0),
        axis("slide", "mm", "[-80, 80]", 0.0, 900.0),
    )
}

const AIM: &str = "[[aim]]\ncamera = \"camera\"\nchannels = [\"pan\", \"tilt\"]\nat = \"heron\"\n";

fn shot(pulls: &str, more: &str) -> String {
    format!(
        "format = 1\nname = \"Reeds\"\nstage = \"stage.toml\"\nframe_rate = \"24\"\nframes = [1, 97]\n[[track]]\nchannel = \"heron.bridge\"\nkeys = [[1, -900], [97, 1100]]\n\
         [[focus]]\ncamera = \"camera\"\nchannel = \"focus_distance\"\npulls = {pulls}\n{more}[[pass]]\nname = \"beauty\"\nexposure = \"moving\"\nseconds_per_frame = 1\nshutter = 180\n"
    )
}

fn load(stage: &str, shot: &str) -> Result<Loaded, Rejection> {
    input::parse("shot.toml", &|name| Ok(if name == "shot.toml" { shot } else { stage }.as_bytes().to_vec()))
}

/// The focus axis at these frames.
fn distances(shot: &str, frames: &[f64]) -> Vec<f64> {
    let Loaded { stage, shot, .. } = load(&stage(900.0), shot).unwrap_or_else(|r| panic!("{r}"));
    let move_ = compiled(&stage, &shot);
    let curve = move_.axes()[stage.axis_of_name("camera.focus_distance").unwrap()].curve();
    frames.iter().map(|t| curve.at(*t).unwrap()).collect()
}

/// A sixteenth of a step is what a fitted axis may be off.
const CLOSE: f64 = 60.0 / 3200.0 / 16.0;

fn bridge(t: f64) -> f64 {
    let u = (t - 1.0) / 96.0;
    -900.0 + 2000.0 * u * u * u * (10.0 - 15.0 * u + 6.0 * u * u)
}

/// Looking straight ahead, depths are differences of z: 1000 mm to the reeds, 6000 to the hut. Half way of a pull 1 / distance is the mean of both (D).
#[test]
fn a_pull_mixes_reciprocals_and_holds_before_and_after() {
    let (near, far) = (1100.0, 6100.0);
    let found = distances(&shot("[[20, \"reeds\"], [60, \"hut\"], [80, \"hut\"]]", ""), &[1.0, 20.0, 30.0, 40.0, 60.0, 70.0, 97.0]);
    let mixed = |u: f64| {
        let w = u * u * u * (10.0 - 15.0 * u + 6.0 * u * u);
        1.0 / ((1.0 - w) / near + w / far)
    };
    for (found, exact) in found.iter().zip([near, near, mixed(0.25), mixed(0.5), far, far, far]) {
        assert!((found - exact).abs() <= CLOSE, "{found} {exact}");
    }
    assert!((mixed(0.5) - 2.0 * near * far / (near + far)).abs() < 1e-9);
}

/// Turning about its pupil C and aimed at A, a camera sees B at the depth (B - C) (A - C) / |A - C| (D): the camera's own turning is in the distance.
#[test]
fn depth_counts_along_the_look_of_an_aimed_camera() {
    let frames: Vec<f64> = (0..=96).map(|i| 1.0 + f64::from(i)).collect();
    for (target, b) in [("reeds", Some([300.0, -100.0, -1000.0])), ("heron", None)] {
        let found = distances(&shot(&format!("[[1, \"{target}\"]]"), AIM), &frames);
        for (t, found) in frames.iter().zip(found) {
            let a = [bridge(*t), -400.0, -3000.0];
            let b = b.unwrap_or(a);
            let dot = |u: [f64; 3], v: [f64; 3]| u[0] * v[0] + u[1] * v[1] + u[2] * v[2];
            let exact = dot(a, b) / dot(a, a).sqrt() + 100.0;
            assert!((found - exact).abs() <= CLOSE, "{target} {t}: {found} {exact}");
        }
    }
    // A limb is in focus at its own origin: nearer to nothing here, but 100 mm higher, which tilts nothing: the same depth.
    let still = distances(&shot("[[1, \"heron.head\"]]", ""), &[1.0, 50.0, 97.0]);
    assert!(still.iter().all(|d| (d - 3100.0).abs() <= CLOSE), "{still:?}");
}

/// Frames of the pull are choreography frames of the camera's group, and the heron stands where its own retime puts it.
#[test]
fn pulls_are_read_at_the_time_of_the_camera() {
    let later = "[[retime]]\ngroups = [\"camera\"]\ndelay = 12\n";
    let found = distances(&shot("[[20, \"reeds\"], [60, \"hut\"]]", later), &[32.0, 52.0, 72.0]);
    for (found, exact) in found.iter().zip([1100.0, 2.0 * 1100.0 * 6100.0 / 7200.0, 6100.0]) {
        assert!((found - exact).abs() <= CLOSE, "{found} {exact}");
    }
}

/// The ring is fastest somewhere in the pull: its speed by differences of ten thousand places, at the limit and beyond it.
#[test]
fn the_speed_of_the_pull_is_a_limit() {
    let text = shot("[[20, \"reeds\"], [60, \"hut\"]]", "");
    let value = |t: f64| {
        let u = (t - 20.0) / 40.0;
        let w = u * u * u * (10.0 - 15.0 * u + 6.0 * u * u);
        1.0 / ((1.0 - w) / 1100.0 + w / 6100.0)
    };
    let peak = (1..100_000).map(|i| 20.0 + f64::from(i) * 4e-4).map(|t| (value(t + 1e-4) - value(t - 1e-4)) / 2e-4).fold(0.0, f64::max);
    for (limit, exceeded) in [(peak * 1.001, false), (peak * 0.999, true)] {
        let Loaded { stage, shot, .. } = load(&stage(limit), &text).unwrap_or_else(|r| panic!("{r}"));
        let report = checked(&stage, &shot);
        assert_eq!(report.passes[0].violations.iter().any(|v| v.limit == Limit::Velocity), exceeded, "{limit}");
    }
}

#[test]
fn a_target_that_cannot_be_in_focus_is_an_error_with_its_frame() {
    // 40 mm before the pupil and 100 mm of film plane: 140 mm are beyond the focal length of 50 mm, but not on the scale of the ring, whose travel is a limit.
    let Loaded { stage, shot: text, .. } = load(&stage(9000.0), &shot("[[1, \"back\"]]", "")).unwrap();
    assert!(checked(&stage, &text).passes[0].violations.iter().any(|v| v.limit == Limit::Position));
    // With the camera turned round the hut is 6000 mm behind it.
    let (code, said) = {
        let text = shot("[[1, \"hut\"]]", "[[track]]\nchannel = \"camera.pan\"\nkeys = [[1, 0], [97, 150]]\n");
        let Loaded { stage, shot, .. } = load(&self::stage(900.0), &text).unwrap();
        let error = Compiled::compile(stage, shot).unwrap_err().remove(0);
        (error.flaw().code.slug(), error.to_string())
    };
    assert!(
        code == "cannot-focus" && said.contains("at frame") && said.contains("`hut`") && said.contains("focal length of 50 mm"),
        "{said}"
    );
}

#[test]
fn what_cannot_follow_focus_is_refused_where_it_is_written() {
    let found = |stage: &str, shot: &str| -> Vec<(&'static str, u32)> {
        let rejection = load(stage, shot).err().unwrap_or_else(|| panic!("{shot}"));
        rejection.diagnostics().iter().map(|d| (d.code.slug(), d.place.as_ref().unwrap().line)).collect()
    };
    let stage = stage(900.0);
    let good = shot("[[1, \"reeds\"]]", "");
    assert!(load(&stage, &good).is_ok());
    let with = |from: &str, to: &str| {
        assert!(good.contains(from), "{from}");
        good.replace(from, to)
    };
    assert_eq!(found(&stage, &with("channel = \"focus_distance\"", "channel = \"spare\"")), [("unsuitable-focus-channel", 11)]);
    assert_eq!(found(&stage, &with("channel = \"focus_distance\"", "channel = \"focus\"")), [("unknown-channel", 11)]);
    assert_eq!(found(&stage, &with("camera = \"camera\"", "camera = \"wall\"")), [("unknown-channel", 11)]);
    assert_eq!(found(&stage.replace("film_plane = 100\n", ""), &good), [("missing-film-plane", 10)]);
    assert_eq!(found(&stage, &with("[[1, \"reeds\"]]", "[]")), [("no-keys", 12)]);
    assert_eq!(found(&stage, &with("[[1, \"reeds\"]]", "[[1, \"reeds\"], [1, \"hut\"]]")), [("keys-out-of-order", 12)]);
    assert_eq!(found(&stage, &with("[[1, \"reeds\"]]", "[[1, \"reed\"]]")), [("unknown-group", 12)]);
    assert_eq!(found(&stage, &with("[[1, \"reeds\"]]", "[[1, \"heron.hed\"]]")), [("unknown-limb", 12)]);
    assert_eq!(found(&stage, &with("[[1, \"reeds\"]]", "[[1, \"wall\"]]")), [("missing-body", 12)]);
    assert_eq!(found(&stage, &with("[[1, \"reeds\"]]", "[[\"reeds\", 1]]")), [("wrong-type", 12)]);
    let track = "[[track]]\nchannel = \"camera.focus_distance\"\nkeys = [[1, 900]]\n";
    assert_eq!(found(&stage, &shot("[[1, \"reeds\"]]", track)), [("driven-twice", 9)]);
    let twice = "[[focus]]\ncamera = \"camera\"\nchannel = \"focus_distance\"\npulls = [[1, \"hut\"]]\n";
    assert_eq!(found(&stage, &shot("[[1, \"reeds\"]]", twice)), [("driven-twice", 13)]);
}

#[test]
fn verify_finds_the_distance_again_and_a_count_that_is_off() {
    let temp = tempfile::tempdir().unwrap();
    let source = temp.path().join("in");
    std::fs::create_dir(&source).unwrap();
    let text = shot("[[1, \"reeds\"], [30, \"reeds\"], [60, \"heron\"], [80, \"heron.head\"], [90, \"hut\"]]", AIM);
    for (name, text) in [("stage.toml", stage(900.0)), ("shot.toml", text)] {
        std::fs::write(source.join(name), text).unwrap();
    }
    let loaded = input::load(&source.join("shot.toml")).unwrap_or_else(|r| panic!("{r}"));
    let out = temp.path().join("out");
    export(&loaded.stage, &loaded.shot, &loaded.sources.for_copying(), &out);
    let files = files_of(&out);
    assert_eq!(verdict_of(&files).faults, []);
    let column = 2 + loaded.stage.axis_names().iter().position(|n| n == "camera.focus_distance").unwrap();
    for row in [10, 45, 70, 85, 95] {
        let mut damaged = files.clone();
        let (axis, frame) = shift(&mut damaged, "beauty", row, column, 1);
        repair(&mut damaged);
        let faults = verdict_of(&damaged).faults;
        assert!(faults.iter().any(|f| f.axis.as_deref() == Some(&axis) && f.frame == Some(frame)), "{row}: {faults:?}");
    }
    // The same choreography pulled three frames later is another.
    let mut damaged = files;
    let later = String::from_utf8(damaged["source/shot.toml"].clone()).unwrap().replace("[60, \"heron\"]", "[63, \"heron\"]");
    damaged.insert("source/shot.toml".into(), later.into_bytes());
    repair(&mut damaged);
    assert!(verdict_of(&damaged).faults.iter().any(|f| f.axis.as_deref() == Some("camera.focus_distance")));
}
