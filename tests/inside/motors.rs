//! Motors: time within a band of resonance by hand, steps that show one by one, loads that are heavy beside the rotor; each planted, and the same where it is right.

use movewright::check::Report;
use movewright::compile::Compiled;

use crate::inside::common::inputs::Inputs;

/// A figure on a bridge at 12.5 mm per frame, 2 m before a camera with 2.5 px for each mm there; one step is `microsteps` of 0.1 mm.
fn inputs(motor: &str, microsteps: u32, more: &str, by: f64, pass: &str) -> Inputs {
    let axis = |name: &str, microsteps: u32, more: &str| {
        format!(
            "[[group.axis]]\nname = \"{name}\"\nunit = \"mm\"\ntravel = [-900, 900]\nmax_velocity = 60\nmax_acceleration = 20\nmax_jerk = 40\nmotor = \"m\"\nmicrosteps = {microsteps}\n\
             travel_per_rev = 20\n{more}"
        )
    };
    let stage = format!(
        "format = 1\nname = \"Marsh\"\n[motor.m]\nfull_steps_per_rev = 200\nrotor_inertia = 1e-5\n{motor}[[group]]\nname = \"camera\"\n{}\
         [[group.joint]]\noffset = [250, 0, 2000]\nslide = [1, 0, 0]\nchannel = \"track\"\n[group.lens]\nfocal_length = 50\nfilm_back = [36, 24]\npixels = [3600, 2400]\n\
         [[group]]\nname = \"heron\"\n{}[[group.joint]]\nslide = [1, 0, 0]\nchannel = \"bridge\"\n",
        axis("track", 64, ""),
        axis("bridge", microsteps, more)
    );
    let shot = format!(
        "format = 1\nname = \"Along the reeds\"\nstage = \"stage.toml\"\nframe_rate = \"24\"\nframes = [1, 40]\n\
         [[track]]\nchannel = \"heron.bridge\"\nshape = \"natural_cubic\"\nkeys = [[1, 0], [40, {}]]\n[[pass]]\nname = \"beauty\"\n{pass}",
        39.0 * by
    );
    Inputs::new(stage, shot)
}

const PASS: &str = "exposure = \"moving\"\nseconds_per_frame = 1.25\nshutter = 180\n";

fn notes(inputs: &Inputs, kind: &str) -> Vec<(Option<f64>, Option<f64>)> {
    let loaded = inputs.load().unwrap_or_else(|r| panic!("{r}"));
    let report: Report = Compiled::compile(loaded.stage, loaded.shot).unwrap_or_else(|e| panic!("{e:?}")).checked().unwrap();
    report.notes.iter().filter(|n| n.kind.name() == kind).map(|n| (n.frame.map(|f| f.0), n.value)).collect()
}

/// 12.5 mm per frame at 1.25 s are 10 mm/s, 100 full steps/s: within 60 to 110 throughout forty exposures of 0.625 s, and beside 101 to 120.
#[test]
fn time_within_a_band_is_that_of_the_exposures() {
    let with = |band: &str, pass: &str| notes(&inputs(&format!("resonance = [{band}]\n"), 10, "", 12.5, pass), "resonance");
    let found = with("[60, 110]", PASS);
    assert!(
        matches!(found[..], [(Some(frame), Some(seconds))] if (seconds - 25.0).abs() < 1e-6 && (frame - 0.75).abs() < 1e-9),
        "{found:?}"
    );
    assert!(with("[100.001, 120]", PASS).is_empty() && with("[20, 99.999]", PASS).is_empty());
    assert_eq!(with("[20, 99.999], [100.001, 120], [99, 101]", PASS).len(), 1);
    assert!(with("[60, 110]", &PASS.replace("180", "360")).iter().all(|(_, s)| (s.unwrap() - 50.0).abs() < 1e-6));
    assert!(with("[60, 110]", "exposure = \"held\"\nseconds_per_frame = 20\nshutter = 180\n").is_empty());
}

/// 1.2 mm per frame, 0.6 mm during an exposure: six steps of 0.1 mm, 0.25 px each and a little more where the figure is off the axis; twelve of half of that are smooth, and worth less than a quarter pixel.
#[test]
fn few_large_steps_within_an_exposure_are_a_note() {
    let of = |microsteps: u32, by: f64| notes(&inputs("", microsteps, "", by, PASS), "grain");
    assert!(of(2, 1.2).is_empty() && of(1, 2.0).is_empty(), "{:?} {:?}", of(2, 1.2), of(1, 2.0));
    let coarse = inputs("", 1, "", 1.2, PASS).with("stage.toml", "focal_length = 50", "focal_length = 55");
    let found = notes(&coarse, "grain");
    assert!(matches!(found[..], [(Some(_), Some(px))] if (px - 0.275).abs() < 1e-3), "{found:?}");
}

/// 1 kg on 20 mm per turn: (0.02 / 2 pi)^2 = 1.013e-5 kg m2, as much as the rotor; 9.8 kg are within ten times it, 9.9 kg are not.
#[test]
fn a_load_that_is_heavy_beside_the_rotor_is_a_note() {
    let of = |mass: f64| notes(&inputs("", 10, &format!("load = {{ mass = {mass} }}\n"), 1.0, PASS), "inertia_ratio");
    assert!(of(9.86).is_empty());
    let found = of(9.88);
    assert!(
        matches!(found[..], [(None, Some(ratio))] if (ratio - 9.88 * (0.02 / std::f64::consts::TAU).powi(2) / 1e-5).abs() < 1e-9),
        "{found:?}"
    );
}
