//! Plates on rods and on wires, at the command line: counts against geometry computed here, homes that exist, and figures near a fold.

use num_dual::{Dual3_64, DualNum};
use serde_json::Value;

use crate::case::{Case, STAGE, axis, pass, shot};

/// Three actuators of 640 steps per mm.
const STEPS: f64 = 640.0;

#[derive(Clone, Copy)]
struct Plate {
    radius: f64,
    azimuths: [f64; 3],
    length: f64,
    hangs: bool,
}

impl Plate {
    /// Heights of the actuators for heave (mm), pitch and roll (deg): the far end of each rod is where the vertical line of its actuator meets the sphere around
    /// the plate's point, below the plate or above it. Front, right and up; pitch raises the front, roll raises the left.
    fn heights(&self, [heave, pitch, roll]: [f64; 3]) -> Option<[f64; 3]> {
        let ((sp, cp), (sr, cr)) = (pitch.to_radians().sin_cos(), roll.to_radians().sin_cos());
        let mut all = [0.0; 3];
        for (height, azimuth) in all.iter_mut().zip(self.azimuths) {
            let (right, front) = azimuth.to_radians().sin_cos();
            let (x, y) = (self.radius * front, self.radius * right);
            // Rolled about the front, then pitched about the right.
            let (rolled_y, rolled_up) = (y * cr, -y * sr);
            let (held_x, held_up) = (x * cp - rolled_up * sp, x * sp + rolled_up * cp);
            let aside = (held_x - x).powi(2) + (rolled_y - y).powi(2);
            let span = (self.length * self.length - aside).sqrt();
            if !(span > 0.0) {
                return None;
            }
            let away = if self.hangs { span - self.length } else { self.length - span };
            *height = heave + held_up + away;
        }
        Some(all)
    }

    /// How the three heights answer to heave, pitch and roll, as a determinant: 0 at a dead centre.
    fn determinant(&self, pitch: f64, roll: f64) -> Option<f64> {
        let e = 1e-5;
        let slope = |dp: f64, dr: f64| {
            let (a, b) = (self.heights([0.0, pitch + dp, roll + dr])?, self.heights([0.0, pitch - dp, roll - dr])?);
            Some([0, 1, 2].map(|i| (a[i] - b[i]) / (2.0 * e)))
        };
        let (p, r) = (slope(e, 0.0)?, slope(0.0, e)?);
        Some((p[1] * r[2] - p[2] * r[1]) - (p[0] * r[2] - p[2] * r[0]) + (p[0] * r[1] - p[1] * r[0]))
    }

    /// True where the plate comes from level to this tilt, straight, far from every dead centre.
    fn is_regular_from_level(&self, pitch: f64, roll: f64) -> bool {
        let level = self.determinant(0.0, 0.0).unwrap();
        (0..=200).map(|i| f64::from(i) / 200.0).all(|u| self.determinant(u * pitch, u * roll).is_some_and(|d| d / level > 0.1))
    }

    fn stage(&self, homes: [f64; 3], limits: [f64; 3]) -> String {
        let axes: Vec<String> = ["a", "b", "c"]
            .iter()
            .zip(homes)
            .map(|(name, home)| axis(name, "mm", [-600.0, 600.0], limits, &format!("home = {home:?}\nmicrosteps = 16\ntravel_per_rev = 5")))
            .collect();
        let carried = if self.hangs { "carried_from = \"above\"\n" } else { "" };
        format!(
            "{STAGE}[[group]]\nname = \"heron\"\n{}[[group.mechanism]]\nkind = \"swashplate\"\naxes = [\"a\", \"b\", \"c\"]\nradius = {}\nazimuths = {:?}\nrod_length = {:?}\n{carried}",
            axes.concat(),
            self.radius,
            self.azimuths,
            self.length
        )
    }
}

const FAST: [f64; 3] = [1e5, 1e6, 1e8];

fn track(channel: &str, shape: &str, keys: &[(i64, f64)]) -> String {
    let keys: Vec<String> = keys.iter().map(|(frame, value)| format!("[{frame}, {value:?}]")).collect();
    format!("{{ channel = \"heron.{channel}\", shape = \"{shape}\", keys = [{}] }}", keys.join(", "))
}

/// The counts of the three actuators by frame, from the written folder, which `verify` recomputes.
fn counts(stage: &str, frames: [i64; 2], tracks: &[String]) -> Vec<(i64, [f64; 3])> {
    let case = Case::new(stage, &shot(frames, &tracks.join(", "), &pass("p", "moving", 12.0)));
    for args in [&["compile", "shot.toml", "--out", "out"][..], &["verify", "out"]] {
        let out = case.run(args);
        let said = String::from_utf8_lossy(&out.stderr).into_owned() + &String::from_utf8_lossy(&out.stdout);
        assert_eq!(out.status.code(), Some(0), "{args:?}: {said}");
    }
    let text = std::fs::read_to_string(case.path().join("out/p.steps.csv")).unwrap();
    let rows = text.lines().skip(1).map(|line| line.split(',').collect::<Vec<_>>());
    rows.map(|cells| (cells[0].parse().unwrap(), [2, 3, 4].map(|i| cells[i].parse().unwrap()))).collect()
}

/// Half a step of rounding and a sixteenth of the fit.
fn agree(count: f64, height: f64, home: f64) -> bool {
    (count - (height - home) * STEPS).abs() <= 0.5 + 0.0625
}

#[test]
fn a_plate_hung_from_above_leans_the_other_way_than_one_on_rods() {
    let keys: Vec<[f64; 4]> =
        vec![[1.0, 0.0, 0.0, 0.0], [9.0, 12.0, 21.5, -8.0], [17.0, -6.5, 30.0, 17.25], [25.0, 3.0, -24.0, -11.0], [33.0, 0.0, 5.0, 28.5]];
    for (azimuths, length) in [([0.0, 240.0, 120.0], 120.0), ([-60.0, 60.0, 180.0], 70.0), ([10.0, 140.0, 250.0], 600.0)] {
        let [below, above] = [false, true].map(|hangs| {
            let plate = Plate { radius: 90.0, azimuths, length, hangs };
            let tracks: Vec<String> = ["heave", "pitch", "roll"]
                .iter()
                .enumerate()
                .map(|(i, channel)| track(channel, "natural_cubic", &keys.iter().map(|k| (k[0] as i64, k[i + 1])).collect::<Vec<_>>()))
                .collect();
            let found = counts(&plate.stage([0.0; 3], FAST), [1, 33], &tracks);
            let at = |frame: f64| found.iter().find(|f| f.0 == frame as i64).unwrap().1;
            for [frame, heave, pitch, roll] in &keys {
                let heights = plate.heights([*heave, *pitch, *roll]).unwrap();
                for (count, height) in at(*frame).into_iter().zip(heights) {
                    assert!(agree(count, height, 0.0), "{azimuths:?} {length} above {hangs} frame {frame}: {count} {}", height * STEPS);
                }
            }
            at(17.0)
        });
        assert!(below.into_iter().zip(above).all(|(b, a)| b > a), "{below:?} {above:?}");
    }
}

/// Homes of tilted plates on short and long rods. Each pose is reached from level far from any dead centre, which is asserted here.
#[test]
fn homes_that_a_plate_can_reach_from_level_are_accepted_however_steep() {
    // Azimuths, rod length for a radius of 100 mm, tilt and its direction.
    let steep = [
        ([0.0, 120.0, 240.0], 30.0, 42.46, 152.0),
        ([0.0, 120.0, 240.0], 84.1, 73.6, 221.0),
        ([30.0, 150.0, 250.0], 70.8, 73.02, 87.0),
        ([0.0, 90.0, 200.0], 40.1, 50.09, 234.0),
        ([-60.0, 60.0, 180.0], 36.2, 49.54, 66.0),
        ([0.0, 120.0, 240.0], 98.3, 81.93, 130.0),
        ([0.0, 120.0, 240.0], 600.0, 79.0, 40.0),
    ];
    for (azimuths, length, tilt, direction) in steep {
        for hangs in [false, true] {
            let plate = Plate { radius: 100.0, azimuths, length, hangs };
            let (ahead, aside) = (f64::to_radians(direction).cos(), f64::to_radians(direction).sin());
            // Hung from above everything is upside down.
            let sign = if hangs { -1.0 } else { 1.0 };
            let (pitch, roll) = (sign * tilt * ahead, sign * tilt * aside);
            assert!(plate.is_regular_from_level(pitch, roll), "{azimuths:?} {length} {pitch} {roll}");
            let homes = plate.heights([0.0, pitch, roll]).unwrap();
            // Roll and heave are not driven: they stay as they are at home, so the counts show that they were found right.
            let to = 0.9 * pitch;
            let found = counts(&plate.stage(homes, FAST), [1, 9], &[track("pitch", "minimum_jerk", &[(1, pitch), (9, to)])]);
            for (frame, pose) in [(1, [0.0, pitch, roll]), (9, [0.0, to, roll])] {
                let at = found.iter().find(|f| f.0 == frame).unwrap().1;
                let heights = plate.heights(pose).unwrap();
                for ((count, height), home) in at.into_iter().zip(heights).zip(homes) {
                    assert!(agree(count, height, home), "{azimuths:?} {length} {pose:?}: {at:?} {heights:?}");
                }
            }
        }
    }
}

#[test]
fn homes_that_no_plate_has_are_refused() {
    let plate = Plate { radius: 100.0, azimuths: [0.0, 120.0, 240.0], length: 20.0, hangs: false };
    let tracks = track("heave", "minimum_jerk", &[(1, 0.0), (9, 5.0)]);
    let said = Case::new(&plate.stage([90.0, -90.0, -90.0], FAST), &shot([1, 9], &tracks, &pass("p", "moving", 12.0))).refusal();
    assert!(
        said.contains("error[impossible-home]") && said.contains("no pose of the plate has its actuators at 90, -90 and -90 mm"),
        "{said}"
    );
}

/// Jerk of the actuator at azimuth -60 deg, mm per frame3, so many frames after the first of the keys (0, 0), (23, most), (46, 0): the natural cubic through these is
/// most (1.5 u - 0.5 u^3) up to its middle, u = frames / 23.
fn jerk_of_a_roll(most: f64, frames: f64, length: f64) -> f64 {
    let u = Dual3_64::from(frames).derivative() / 23.0;
    let roll = (u * 1.5 - u.powi(3) * 0.5) * most.to_radians();
    let y = 100.0 * (-60.0_f64).to_radians().sin();
    let aside = (roll.cos() - 1.0) * y;
    (-roll.sin() * y - (-aside * aside + length * length).sqrt()).v3
}

/// A plate on short rods that rolls to within a share of where a rod folds: the fit ends at 1/4096 frame, and what is then uncertain is said.
#[test]
fn a_figure_near_a_fold_is_given_with_its_uncertainty() {
    let plate = Plate { radius: 100.0, azimuths: [-60.0, 60.0, 180.0], length: 30.0, hangs: false };
    let limits = [50.0, 20.0, 60.0];
    // |y| (1 - cos roll) = L with |y| = 100 sin 60 deg.
    let folded = (1.0 - 30.0 / (100.0 * 0.75_f64.sqrt())).acos().to_degrees();
    let figures = |share: f64| {
        let most = folded * (1.0 - share);
        let case = Case::new(
            &plate.stage([0.0; 3], limits),
            &shot([1, 24], &track("roll", "natural_cubic", &[(-11, 0.0), (12, most), (35, 0.0)]), &pass("p", "moving", 60.0)),
        );
        let found = case.json();
        let told = found["passes"][0]["axes"][0]["jerk"]["peak"].as_f64().unwrap();
        let of = |f: &&Value| f["kind"] == "near_singular" && f["axis"] == "heron.a";
        let notes: Vec<Value> = found["findings"].as_array().unwrap().iter().filter(of).cloned().collect();
        // The last second before the fold, finely: the jerk peaks within a thousandth of a frame of it.
        let near = (0..=200_000).map(|i| 23.0 - f64::from(i) * 1e-7);
        let far = (0..=20_000).map(|i| 23.0 - f64::from(i) * 5e-4);
        let truth = near.chain(far).map(|t| jerk_of_a_roll(most, t, 30.0).abs()).fold(0.0, f64::max) / 216_000.0;
        (told, truth, notes)
    };
    let (told, truth, notes) = figures(1e-9);
    let uncertain: f64 = notes.iter().map(|n| n["value"].as_f64().unwrap() / 100.0 * limits[2]).sum();
    assert!((told - truth).abs() > 1e-3 * limits[2], "the fit is off: {told} {truth}");
    assert!((told - truth).abs() <= uncertain && uncertain < 0.2 * limits[2], "{told} {truth} {uncertain}");
    let said = notes[0]["message"].as_str().unwrap();
    assert!(said.contains("close to singular: the jerk there is uncertain by up to"), "{said}");
    let (told, truth, notes) = figures(1e-2);
    assert!((told - truth).abs() <= 1e-3 * limits[2] && notes.is_empty(), "{told} {truth} {notes:?}");
}
