//! One verdict on every limit: whoever is asked, a limit is exceeded or it is not.
//!
//! What: the limit is set relative to the exact peak that the library reports, to 1 - 1e-12, 1, 1 + 1e-10 and 1 + 1e-8 of use. Then the pass, the axis's tightest
//! limit, the page's use of each frame, the JSON, the mark `!` of the table and the exit status of `check` must agree; only 1 + 1e-8 is exceeded.
//! Moves are random, of shapes whose curves are polynomials and rest at both cuts, so that a limit changes nothing in the curve and no run-up stands beside it.
//! Limits: clearance is no matter of one axis, so neither the table's mark nor the tightest limit of an axis shows it; the others must agree.

use std::collections::BTreeSet;
use std::path::Path;
use std::process::Command;

use movewright::report::{Limit, Report};
use movewright::{Compiled, input};
use proptest::prelude::*;
use serde_json::Value;

/// Shares of the limit, and whether it is exceeded.
const SHARES: [(f64, bool); 4] = [(1.0 - 1e-12, false), (1.0, false), (1.0 + 1e-10, false), (1.0 + 1e-8, true)];

/// What is brought to its limit.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Case {
    Velocity,
    Acceleration,
    Jerk,
    StepRate,
    Travel,
    Torque,
    Rail,
    HeldTravel,
    HeldTorque,
    HeldTime,
    Stopping,
    HeldStopping,
}

const CASES: [Case; 12] = [
    Case::Velocity,
    Case::Acceleration,
    Case::Jerk,
    Case::StepRate,
    Case::Travel,
    Case::Torque,
    Case::Rail,
    Case::HeldTravel,
    Case::HeldTorque,
    Case::HeldTime,
    Case::Stopping,
    Case::HeldStopping,
];

/// The files of a case, with everything that may stand at a limit; generous as it begins.
#[derive(Debug, Clone)]
struct Machine {
    limits: [f64; 3],
    step_rate: f64,
    upper: f64,
    torque: f64,
    gap: f64,
    /// s from a fault to the start of the stop.
    reaction: f64,
    held: bool,
    pace: f64,
    shape: &'static str,
    blend: Option<f64>,
    keys: Vec<(f64, f64)>,
}

/// Lower end of the travel, mm.
const LOWER: f64 = -1e4;

impl Machine {
    fn new(held: bool, shape: &'static str, keys: &[(f64, f64)]) -> Machine {
        Machine {
            limits: if held { [50.0, 20.0, 40.0] } else { [1e5; 3] },
            step_rate: 1e7,
            upper: 1e4,
            torque: 100.0,
            gap: 1.0,
            reaction: 0.0,
            held,
            pace: if held { 1e4 } else { 2.0 },
            shape,
            blend: None,
            keys: keys.to_vec(),
        }
    }

    fn stage(&self) -> String {
        let ([v, a, j], rate, upper, torque, gap) = (self.limits, self.step_rate, self.upper, self.torque, self.gap);
        let group = |name: &str, own: &str| {
            format!(
                "[[group]]\nname = \"{name}\"\n[[group.axis]]\nname = \"bridge\"\nunit = \"mm\"\nmotor = \"m\"\ntravel_per_rev = 2\nmicrosteps = 4\n{own}\n\
                 [group.rail]\nname = \"north\"\nchannel = \"bridge\"\nreach = [40, 60]\ngap = {gap:?}\n"
            )
        };
        let driven = format!(
            "travel = [{LOWER:?}, {upper:?}]\nmax_velocity = {v:?}\nmax_acceleration = {a:?}\nmax_jerk = {j:?}\nmax_step_rate = {rate:?}\n\
             load = {{ mass = 4, friction = 3, vertical = false, efficiency = 0.9 }}"
        );
        let still = "travel = [0, 10000]\nhome = 5000\nmax_velocity = 100\nmax_acceleration = 100\nmax_jerk = 100";
        format!(
            "format = 1\nname = \"marsh\"\nscale = 0.25\nreaction = {:?}\n[motor.m]\nfull_steps_per_rev = 200\nrotor_inertia = 5.4e-6\n\
             torque = [[0, {torque:?}], [1e6, {torque:?}]]\n{}{}",
            self.reaction,
            group("heron_a", &driven),
            group("heron_b", still)
        )
    }

    fn shot(&self) -> String {
        let exposure = if self.held { "held" } else { "moving" };
        let blend = self.blend.map_or(String::new(), |b| format!("blend = {b:?}\n"));
        let keys: Vec<[f64; 2]> = self.keys.iter().map(|(f, v)| [*f, *v]).collect();
        format!(
            "format = 1\nname = \"reeds\"\nstage = \"stage.toml\"\nframe_rate = \"24\"\nframes = [1, 60]\n[[pass]]\nname = \"picture\"\nexposure = \"{exposure}\"\n\
             seconds_per_frame = {:?}\nshutter = 180\n[[track]]\nchannel = \"heron_a.bridge\"\nshape = \"{}\"\n{blend}keys = {keys:?}\n",
            self.pace, self.shape
        )
    }

    fn write(&self, dir: &Path) {
        std::fs::write(dir.join("stage.toml"), self.stage()).unwrap();
        std::fs::write(dir.join("shot.toml"), self.shot()).unwrap();
    }

    fn report(&self, dir: &Path) -> Report {
        self.write(dir);
        let loaded = input::load(&dir.join("shot.toml")).unwrap_or_else(|r| panic!("{r}"));
        Compiled::new(loaded.stage, loaded.shot).unwrap().check().unwrap()
    }

    /// The same with the limit of a case so far off that what the report gives is this share of it.
    fn at(&self, case: Case, generous: &Report, share: f64) -> Machine {
        let json = json(generous);
        let pass = &json["passes"][0];
        let driven = &pass["axes"][0];
        let of = |value: &Value| value.as_f64().unwrap();
        let peak = |name: &str| of(&driven[name]["peak"]);
        let mut m = self.clone();
        match case {
            Case::Velocity => m.limits[0] = peak("velocity") / share,
            Case::Acceleration => m.limits[1] = peak("acceleration") / share,
            Case::Jerk => m.limits[2] = peak("jerk") / share,
            Case::StepRate => m.step_rate = peak("step_rate") / share,
            // Share of the length from the lower end.
            Case::Travel | Case::HeldTravel => m.upper = LOWER + (of(&driven["position"]["max"]) - LOWER) / share,
            Case::Torque | Case::HeldTorque => m.torque = peak("torque") / share,
            Case::Rail => m.gap = (of(&pass["clearance"][0]["gap_mm"]) + of(&pass["clearance"][0]["tolerance_mm"])) * share,
            // The end of the travel is moved until what is left of it is this share.
            Case::Stopping | Case::HeldStopping => {
                let temp = tempfile::tempdir().unwrap();
                let found = |m: &Machine| {
                    let told: Value = serde_json::from_str(&m.report(temp.path()).json().unwrap()).unwrap();
                    let s = &told["passes"][0]["stopping"][0];
                    (of(&s["distance"]), of(&s["room"]))
                };
                // Where just as much is left as is needed the least room is known most closely.
                let mut known = found(&m);
                for _ in 0..12 {
                    let (distance, room) = known;
                    if (0.0..1e-6 * distance).contains(&(room - distance)) {
                        break;
                    }
                    m.upper += distance * (1.0 + 1e-7) - room;
                    known = found(&m);
                }
                let (distance, room) = known;
                m.upper += distance / share - room;
            }
            // Half of the slot is the open shutter.
            Case::HeldTime => {
                let moves = pass["held"]["moves"].as_array().unwrap();
                m.pace = 2.0 * moves.iter().map(|m| of(&m["seconds"])).fold(0.0, f64::max) / share;
            }
        }
        m
    }
}

fn json(report: &Report) -> Value {
    serde_json::from_str(&report.json().unwrap()).unwrap()
}

/// The axes that the table marks.
fn marked(table: &str) -> BTreeSet<&str> {
    let lines = table.lines().filter_map(|l| l.strip_prefix("! "));
    lines.map(|l| l.split_whitespace().next().unwrap()).collect()
}

/// Every verdict there is on the files in `dir`, held against what is expected.
fn agree(dir: &Path, report: &Report, exceeded: bool, what: &str) {
    let pass = &report.passes[0];
    assert_eq!(pass.within_limits(), !exceeded, "{what}: the pass, {:?}", pass.violations);
    assert_eq!(report.within_limits(), !exceeded, "{what}: the report");
    assert_eq!(pass.violations.is_empty(), !exceeded, "{what}: violations");
    assert_eq!(report.approve().is_err(), exceeded, "{what}: approval");
    let own = json(report);
    let violations = own["passes"][0]["violations"].as_array().unwrap();
    // A gap has bodies and no axis.
    let violated: BTreeSet<&str> = violations.iter().filter_map(|v| v["axis"].as_str()).collect();
    let names = report.compiled().stage().axis_names();
    let tightest: BTreeSet<&str> =
        names.iter().zip(pass.axes.iter()).filter(|(_, a)| a.tightest().utilisation.is_exceeded()).map(|(name, _)| name.as_str()).collect();
    assert_eq!(tightest, violated, "{what}: the tightest limits");
    page_agrees(report, violations, what);
    let check = |json: bool| {
        let mut c = Command::new(env!("CARGO_BIN_EXE_movewright"));
        c.arg("check").arg(dir.join("shot.toml")).args(json.then_some("--json")).output().unwrap()
    };
    let table = check(false);
    let text = String::from_utf8(table.stdout).unwrap();
    assert_eq!(marked(&text), violated, "{what}: marks of the table\n{text}");
    assert_eq!(table.status.code(), Some(i32::from(exceeded)), "{what}: exit status");
    let told = check(true);
    assert_eq!(told.status.code(), Some(i32::from(exceeded)), "{what}: exit status with --json");
    let told: Value = serde_json::from_slice(&told.stdout).unwrap();
    let (whole, pass_json) = (&told["within_limits"], &told["passes"][0]);
    assert_eq!((whole.as_bool(), pass_json["within_limits"].as_bool()), (Some(!exceeded), Some(!exceeded)), "{what}: JSON");
    let limits: Vec<&str> = pass_json["violations"].as_array().unwrap().iter().map(|v| v["limit"].as_str().unwrap()).collect();
    assert_eq!(limits, pass.violations.iter().map(|v| v.limit.name()).collect::<Vec<_>>(), "{what}");
}

/// The page's use of each frame, in thousandths rounded up: above 1000 at the worst instant of every violation, and nowhere but within one.
fn page_agrees(report: &Report, violations: &[Value], what: &str) {
    let page = report.page().unwrap();
    let begin = page.find("type=\"application/json\">").unwrap() + "type=\"application/json\">".len();
    let data: Value = serde_json::from_str(page[begin..].split("</script>").next().unwrap()).unwrap();
    let (first, pass) = (data["first"].as_i64().unwrap(), &data["passes"][0]);
    let over = pass["over"].as_array().unwrap();
    assert_eq!(over.len(), violations.len(), "{what}: the page lists other violations");
    let used = |axis: &Value| {
        let row = pass["usage"][usize::try_from(axis.as_u64().unwrap()).unwrap()].as_array().unwrap();
        (first..).map(|n| n as f64).zip(row.iter().map(|u| u.as_u64().unwrap() > 1000)).collect::<Vec<_>>()
    };
    for (v, shown) in violations.iter().zip(over) {
        let at = v["frame"].as_f64().unwrap();
        assert!(used(&shown["axis"]).iter().any(|(n, over)| (at - n).abs() <= 0.5 && *over), "{what}: the page does not show {v}");
    }
    for axis in 0..report.compiled().stage().axis_names().len() {
        let axis = Value::from(axis);
        for (n, exceeded) in used(&axis) {
            let within =
                over.iter().any(|v| v["axis"] == axis && v["from"].as_f64().unwrap() <= n + 0.5 && n - 0.5 <= v["to"].as_f64().unwrap());
            assert!(within || !exceeded, "{what}: the page shows an exceeded limit at frame {n}, and no violation is there");
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 12, max_shrink_iters: 64, ..ProptestConfig::default() })]

    #[test]
    fn every_verdict_on_a_limit_is_one(
        shape in prop::sample::select(vec!["minimum_jerk", "monotone", "stop_at_keys"]),
        start in 1.0..12.0_f64,
        steps in prop::collection::vec((3.0..12.0_f64, 20.0..400.0_f64), 2..5),
    ) {
        let mut keys = vec![(start, 0.0)];
        for (i, (frames, by)) in steps.iter().enumerate() {
            let (f, v) = keys[i];
            keys.push((f + frames, if i % 2 == 0 { v + by } else { v - 0.5 * by }));
        }
        prop_assume!(keys.last().unwrap().0 <= 60.0);
        let temp = tempfile::tempdir().unwrap();
        for case in CASES {
            let held = matches!(case, Case::HeldTravel | Case::HeldTorque | Case::HeldTime | Case::HeldStopping);
            // With so long a reaction an axis is far from standing where it is fast.
            let reaction = if matches!(case, Case::Stopping | Case::HeldStopping) { 10.0 } else { 0.0 };
            let machine = Machine { reaction, ..Machine::new(held, shape, &keys) };
            let generous = machine.report(temp.path());
            agree_quietly(&generous);
            // Where next to nothing is needed, the travel is the scale; where the lower end leaves less room, the upper one says nothing.
            if reaction > 0.0 && !is_at_the_end(&machine.at(case, &generous, 1.0).report(temp.path())) {
                continue;
            }
            for (share, exceeded) in SHARES {
                let report = machine.at(case, &generous, share).report(temp.path());
                agree(temp.path(), &report, exceeded, &format!("{case:?} at {share:?}"));
            }
        }
    }
}

/// True where the first axis needs some way to stop, and just as much is left.
fn is_at_the_end(report: &Report) -> bool {
    let of = |key: &str| json(report)["passes"][0]["stopping"][0][key].as_f64().unwrap_or(0.0);
    let (distance, room) = (of("distance"), of("room"));
    distance > 0.1 && (room - distance).abs() < 1e-6 * distance
}

/// Far from every limit, with nothing beside the photographed span.
fn agree_quietly(generous: &Report) {
    assert!(generous.within_limits(), "{:?}", generous.passes[0].violations);
    assert_eq!((generous.compiled().run_up(), generous.compiled().run_down()), (0, 0));
}

/// A step in acceleration exceeds any limit of jerk, wherever it lies: within a frame, and between two.
#[test]
fn a_step_is_one_verdict() {
    let temp = tempfile::tempdir().unwrap();
    for first in [10.0, 10.25, 10.5] {
        let machine = Machine { blend: Some(0.0), ..Machine::new(false, "cosine", &[(first, 0.0), (40.5, 30.0), (50.5, 10.0)]) };
        let report = machine.report(temp.path());
        assert!(report.passes[0].violations.iter().all(|v| v.limit == Limit::Jerk) && report.passes[0].violations.len() == 3);
        agree(temp.path(), &report, true, &format!("a step at {first}"));
    }
}
