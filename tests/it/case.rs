//! A stage and a shot as files in a folder of their own, and the program run on them as a person runs it.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::Value;
use tempfile::TempDir;

/// Standard gravity. Unit: m/s2. Source: 3rd General Conference on Weights and Measures, 1901.
pub const GRAVITY: f64 = 9.806_65;

/// The folder, removed with the value. The shot is `shot.toml`.
pub struct Case(TempDir);

/// Twelve frames of the demo, in a folder of their own: the path of the shot, and the folder, removed with the value.
pub fn short_herons() -> (PathBuf, TempDir) {
    let dir = tempfile::tempdir().unwrap();
    for entry in std::fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/herons")).unwrap() {
        let path = entry.unwrap().path();
        let text = std::fs::read_to_string(&path).unwrap();
        std::fs::write(dir.path().join(path.file_name().unwrap()), text.replace("frames = [1, 288]", "frames = [100, 111]")).unwrap();
    }
    (dir.path().join("shot.toml"), dir)
}

/// What `check` prints, in both forms, and its exit status.
pub struct Checked {
    pub json: Value,
    pub text: String,
    pub status: i32,
}

impl Case {
    pub fn new(stage: &str, shot: &str) -> Case {
        let case = Case(tempfile::tempdir().unwrap());
        case.write("stage.toml", stage);
        case.write("shot.toml", shot);
        case
    }

    pub fn path(&self) -> &Path {
        self.0.path()
    }

    pub fn write(&self, name: &str, text: &str) -> PathBuf {
        let path = self.path().join(name);
        std::fs::write(&path, text).unwrap();
        path
    }

    /// Runs the program in the folder.
    pub fn run(&self, args: &[&str]) -> Output {
        Command::new(env!("CARGO_BIN_EXE_movewright")).current_dir(self.path()).args(args).output().unwrap()
    }

    /// The check of the shot, which must be a verdict: broken input is a mistake of the test.
    pub fn check(&self) -> Checked {
        let (json, (text, status)) = (self.json(), self.verdict(&["check", "shot.toml"]));
        assert_eq!(json["within_limits"], status == 0);
        Checked { json, text, status }
    }

    /// The same as JSON alone.
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.verdict(&["check", "shot.toml", "--json"]).0).unwrap()
    }

    fn verdict(&self, args: &[&str]) -> (String, i32) {
        let out = self.run(args);
        let status = out.status.code().unwrap();
        assert!(status < 2, "{}", String::from_utf8_lossy(&out.stderr));
        (String::from_utf8(out.stdout).unwrap(), status)
    }

    /// What the program says of a shot that cannot be compiled.
    pub fn refusal(&self) -> String {
        let out = self.run(&["check", "shot.toml"]);
        assert_eq!(out.status.code(), Some(2), "{}", String::from_utf8_lossy(&out.stdout));
        // Lines are broken for a terminal: a sentence is looked for as one.
        String::from_utf8(out.stderr).unwrap().split_whitespace().collect::<Vec<_>>().join(" ")
    }
}

impl Checked {
    /// Violations of the first pass: axis, limit and part.
    pub fn violations(&self) -> Vec<[&str; 3]> {
        let all = self.json["passes"][0]["violations"].as_array().unwrap();
        all.iter().map(|v| ["axis", "limit", "part"].map(|key| v[key].as_str().unwrap_or_default())).collect()
    }

    /// The text in one line.
    pub fn sentence(&self) -> String {
        self.text.split_whitespace().collect::<Vec<_>>().join(" ")
    }
}

/// The head of a stage with one motor `m` of 200 steps.
pub const STAGE: &str = "format = 1\nname = \"Small\"\n[motor.m]\nfull_steps_per_rev = 200\n";

/// An axis on motor `m`: limits of velocity, acceleration and jerk; `more` is further lines.
pub fn axis(name: &str, unit: &str, [lower, upper]: [f64; 2], [v, a, j]: [f64; 3], more: &str) -> String {
    format!(
        "[[group.axis]]\nname = \"{name}\"\nunit = \"{unit}\"\ntravel = [{lower}, {upper}]\nmax_velocity = {v}\nmax_acceleration = {a}\nmax_jerk = {j}\nmotor = \"m\"\n{more}\n"
    )
}

/// A shot of these frames; tables in braces, comma between.
pub fn shot([first, last]: [i64; 2], tracks: &str, passes: &str) -> String {
    format!(
        "format = 1\nname = \"Small\"\nstage = \"stage.toml\"\nframe_rate = \"24\"\nframes = [{first}, {last}]\ntrack = [{tracks}]\npass = [{passes}]\n"
    )
}

/// Two axes that move without pause over 41 frames, `g.turn` with backlash there and back; passes in braces.
pub fn two_axes(first: i64, passes: &[impl AsRef<str>]) -> Case {
    let stage = [
        STAGE.to_owned(),
        "[[group]]\nname = \"g\"\n".to_owned(),
        axis("x", "mm", [-500.0, 500.0], [20.0, 20.0, 80.0], "travel_per_rev = 60\nmicrosteps = 10"),
        axis("turn", "deg", [-500.0, 500.0], [20.0, 20.0, 80.0], "backlash = 0.5\nmicrosteps = 10"),
    ];
    let keys = |keys: [(i64, f64); 3]| keys.map(|(after, value)| format!("[{}, {value}]", first + after)).join(", ");
    let track = |channel: &str, list: String| format!("{{ channel = \"{channel}\", shape = \"natural_cubic\", keys = [{list}] }}");
    let tracks = [track("g.x", keys([(0, 11.0), (15, 170.0), (40, 205.0)])), track("g.turn", keys([(0, 40.0), (23, 130.0), (40, 5.0)]))];
    let passes: Vec<&str> = passes.iter().map(AsRef::as_ref).collect();
    Case::new(&stage.concat(), &shot([first, first + 40], &tracks.join(", "), &passes.join(", ")))
}

/// A pass with a shutter of 180 deg.
pub fn pass(name: &str, exposure: &str, pace: f64) -> String {
    format!("{{ name = \"{name}\", exposure = \"{exposure}\", seconds_per_frame = {pace}, shutter = 180 }}")
}
