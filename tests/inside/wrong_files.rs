//! A stage, a shot and keys that are right, for tests that plant mistakes in them.

use std::collections::BTreeMap;
use std::fs;

use movewright::input::{self, Rejection, Unreadable};

pub const STAGE: &str = r#"format = 1
name = "Marsh stage"
[motor.frame57]
full_steps_per_rev = 200
torque = [[0, 1.7], [300, 1.6]]
[[group]]
name = "camera"
[[group.axis]]
name = "track"
unit = "mm"
travel = [0, 9000]
max_velocity = 300
max_acceleration = 150
max_jerk = 600
motor = "frame57"
travel_per_rev = 60
load = { mass = 80, friction = 25 }
[[group]]
name = "heron_a"
[[group.axis]]
name = "roll"
unit = "deg"
travel = [-45, 45]
max_velocity = 20
max_acceleration = 20
max_jerk = 100
motor = "frame57"
[[group]]
name = "heron_b"
like = "heron_a"
"#;

pub const SHOT: &str = r#"format = 1
name = "Herons leave the marsh"
stage = "stage.toml"
frame_rate = "24"
frames = [1, 336]
timecode_start = "10:00:00:00"
[[track]]
channel = "camera.track"
shape = "linear"
blend = 4
keys = [[1, 0.0], [120, 1800.0], [336, 7400.0]]
[[track]]
keys = "keys.csv"
[[cycle]]
channel = "heron_a.roll"
period = 30
keys = [[0.0, -18], [0.35, 42], [0.6, 10]]
amount = [[1, 0], [40, 1]]
[[drift]]
channel = "heron_a.roll"
seed = 11
amplitude = 3
period = 48
[[copy]]
from = "heron_a"
to = "heron_b"
scale = { roll = -1 }
[[pass]]
name = "picture"
exposure = "moving"
seconds_per_frame = 12
shutter = 180
[[pass]]
name = "rods"
exposure = "held"
seconds_per_frame = 12
shutter = 180
settle = 3
park = ["camera"]
"#;

pub const KEYS: &str = "frame,heron_b.roll,heron_a.roll\n1,0,\n60,5,2\n90,,1\n";

/// Files by the name the shot gives them.
#[derive(Clone)]
pub struct Files(pub BTreeMap<&'static str, Vec<u8>>);

impl Files {
    pub fn right() -> Files {
        Files([("shot.toml", SHOT), ("stage.toml", STAGE), ("keys.csv", KEYS)].map(|(n, t)| (n, t.as_bytes().to_vec())).into())
    }

    pub fn with(&self, name: &'static str, bytes: impl Into<Vec<u8>>) -> Files {
        let mut files = self.clone();
        files.0.insert(name, bytes.into());
        files
    }

    /// The files with the first `from` of one of them replaced.
    pub fn with_change(&self, name: &'static str, from: &str, to: &str) -> Files {
        let text = String::from_utf8(self.0[name].clone()).unwrap();
        assert!(text.contains(from), "{name} has no {from:?}");
        self.with(name, text.replacen(from, to, 1))
    }

    pub fn parse(&self) -> Result<input::Loaded, Rejection> {
        input::parse("shot.toml", &|name| self.0.get(name).cloned().ok_or(Unreadable::Missing))
    }

    pub fn load(&self) -> Result<input::Loaded, Rejection> {
        let dir = tempfile::tempdir().unwrap();
        for (name, bytes) in &self.0 {
            fs::write(dir.path().join(name), bytes).unwrap();
        }
        input::load(&dir.path().join("shot.toml"))
    }
}

/// Code, file, line and column of every mistake.
pub fn told(rejection: &Rejection) -> Vec<(&'static str, String, u32, u32)> {
    rejection
        .diagnostics()
        .iter()
        .map(|d| match &d.place {
            Some(place) => (d.code.slug(), rejection.sources().get(place.file).unwrap().name().to_owned(), place.line, place.column),
            None => (d.code.slug(), String::new(), 0, 0),
        })
        .collect()
}

pub fn check_text(rejection: &Rejection) {
    for d in rejection.diagnostics() {
        for text in [&d.title, &d.found, &d.allowed, &d.help] {
            assert!(!text.ends_with('.') || text.ends_with("..."), "full stop: {text}");
            assert!(!text.contains('\n'), "{text:?}");
        }
        assert!(!d.title.is_empty());
    }
}
