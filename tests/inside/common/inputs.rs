//! Input files in memory, as text that a test changes: the herons, a small shot with one of everything, and shots made to size.

use std::collections::BTreeMap;
use std::path::PathBuf;

use movewright::input::{self, Loaded, Rejection, Unreadable};

/// Names and texts of the files of a shot; the shot is `shot.toml`.
#[derive(Debug, Clone)]
pub struct Inputs(pub BTreeMap<String, String>);

impl Inputs {
    /// A folder below `fixtures`.
    pub fn of(folder: &str) -> Inputs {
        let dir = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("fixtures").join(folder);
        let files = std::fs::read_dir(dir).unwrap().map(|e| e.unwrap().path());
        let read = |path: PathBuf| (path.file_name().unwrap().to_str().unwrap().to_owned(), std::fs::read_to_string(path).unwrap());
        Inputs(files.map(read).collect())
    }

    /// Stage and shot of these texts.
    pub fn new(stage: String, shot: String) -> Inputs {
        Inputs([("stage.toml".to_owned(), stage), ("shot.toml".to_owned(), shot)].into())
    }

    /// The same with a text replaced, which stands there once or more; the first is meant.
    pub fn with(mut self, file: &str, from: &str, to: &str) -> Inputs {
        let text = self.0.get_mut(file).unwrap();
        assert!(text.contains(from), "{file} has no `{from}`");
        *text = text.replacen(from, to, 1);
        self
    }

    pub fn load(&self) -> Result<Loaded, Rejection> {
        let reader = |asked: &str| self.0.get(asked).map(|t| t.clone().into_bytes()).ok_or(Unreadable::Missing);
        input::parse("shot.toml", &reader)
    }

    pub fn bytes(&self) -> usize {
        self.0.values().map(String::len).sum()
    }
}

/// Frames, passes and layers of a shot made to size.
#[derive(Debug, Clone)]
pub struct Sized {
    pub groups: usize,
    /// Further lines of each group, after its axis.
    pub group: &'static str,
    pub frames: usize,
    pub passes: usize,
    pub pace: f64,
    /// Lines of the shot.
    pub layers: String,
}

impl Default for Sized {
    fn default() -> Sized {
        Sized { groups: 1, group: "", frames: 200, passes: 1, pace: 12.0, layers: String::new() }
    }
}

impl Sized {
    /// Groups `g0`, `g1` ..., each with an axis `x` in mm, 100 steps a mm.
    pub fn inputs(&self) -> Inputs {
        let mut stage = "format = 1\nname = \"made to size\"\n[motor.m]\nfull_steps_per_rev = 200\n".to_owned();
        for i in 0..self.groups {
            stage += &format!(
                "[[group]]\nname = \"g{i}\"\n[[group.axis]]\nname = \"x\"\nunit = \"mm\"\ntravel = [-2000, 2000]\nmax_velocity = 50\nmax_acceleration = 20\n\
                 max_jerk = 40\nmotor = \"m\"\nmicrosteps = 10\ntravel_per_rev = 20\n{}\n",
                self.group.replace("{i}", &i.to_string()).replace("{x}", &(400 * i).to_string())
            );
        }
        let mut shot = format!(
            "format = 1\nname = \"made to size\"\nstage = \"stage.toml\"\nframe_rate = \"24\"\nframes = [1, {}]\n{}",
            self.frames, self.layers
        );
        for i in 0..self.passes {
            shot += &format!("[[pass]]\nname = \"p{i}\"\nexposure = \"moving\"\nseconds_per_frame = {}\nshutter = 180\n", self.pace);
        }
        Inputs::new(stage, shot)
    }
}

/// So many drifts on a channel, each of another period.
pub fn drifts(channel: &str, n: usize) -> String {
    let of = |i: usize| format!("[[drift]]\nchannel = \"{channel}\"\nseed = {i}\namplitude = 0.5\nperiod = {}\n", 30.0 + 0.37 * i as f64);
    (0..n).map(of).collect()
}

/// So many cycles on a channel, each of another period.
pub fn cycles(channel: &str, n: usize) -> String {
    let of = |i: usize| {
        format!(
            "[[cycle]]\nchannel = \"{channel}\"\nperiod = {}\nkeys = [[0.0, -0.2], [0.4, 0.2], [0.7, 0.1]]\n",
            20.0 + 0.37 * (i % 50) as f64 + 1e-3 * i as f64
        )
    };
    (0..n).map(of).collect()
}

/// A track through so many keys, from frame 1 to 200.
pub fn track(channel: &str, n: usize) -> String {
    let key = |i: usize| format!("[{}, {}]", 1.0 + 199.0 * i as f64 / n as f64, 10.0 + ((i * 7) % 13) as f64 / n as f64);
    let keys: Vec<String> = (0..n).map(key).collect();
    format!("[[track]]\nchannel = \"{channel}\"\nkeys = [{}]\n", keys.join(", "))
}

/// So many copies, each from the group before.
pub fn chain(n: usize) -> String {
    (0..n).map(|i| format!("[[copy]]\nfrom = \"g{i}\"\nto = \"g{}\"\ndelay = 0.01\n", i + 1)).collect()
}
