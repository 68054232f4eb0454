//! Small shots from a seed, as text: axes on slides, some with loads, a limb on a wire, a plate, an obstacle, a copy.

use std::collections::BTreeSet;

use movewright::input;
use serde_json::Value;

use crate::case;
use crate::generator::Generator;

pub struct Track {
    pub channel: String,
    pub shape: String,
    pub keys: Vec<(f64, f64)>,
}

pub struct Input {
    stage: String,
    tracks: Vec<Track>,
    /// Name, exposure, seconds per frame.
    pub passes: Vec<(&'static str, &'static str, f64)>,
    more: String,
}

const SHAPES: [&str; 5] = ["natural_cubic", "minimum_jerk", "minimum_jerk", "monotone", "stop_at_keys"];

/// Between two numbers above 0, each factor as likely as any other.
fn scaled(g: &mut Generator, low: f64, high: f64) -> f64 {
    low * (high / low).powf(g.unit())
}

fn choice<T: Copy>(g: &mut Generator, of: &[T]) -> T {
    of[(g.unit() * of.len() as f64) as usize]
}

impl Input {
    /// One to three axes on slides, some with loads, and beside them a limb on a wire, a plate, an obstacle, or a copy of it all.
    pub fn from_seed(seed: u64) -> Input {
        let mut g = Generator::new(seed);
        let g = &mut g;
        let kind = choice(
            g,
            &["plain", "plain", "plain", "torque", "torque", "torque", "torque", "body", "body", "copy", "copy", "limb", "plate"],
        );
        let mut stage = "[[group]]\nname = \"heron\"\n".to_owned();
        let mut tracks = Vec::new();
        let limits = |g: &mut Generator| [scaled(g, 20.0, 400.0), scaled(g, 5.0, 150.0), scaled(g, 20.0, 500.0)];
        let drive = "microsteps = 16\ntravel_per_rev = 20\n";
        for name in ["x", "y", "z"].iter().take(1 + (2.0 * g.unit()) as usize) {
            let travel = [g.between(-60.0, 0.0).round(), g.between(100.0, 340.0).round()];
            let load = match kind {
                "torque" => format!(
                    "load = {{ mass = {:.1}, friction = 10, vertical = {}, efficiency = 0.9 }}",
                    scaled(g, 5.0, 100.0),
                    g.unit() < 0.5
                ),
                _ => String::new(),
            };
            stage.push_str(&case::axis(name, "mm", travel, limits(g), &format!("{drive}{load}")));
            tracks.push(track(g, name, [f64::max(travel[0], -20.0) + 5.0, f64::min(travel[1], 300.0) - 5.0]));
        }
        let mut head = case::STAGE.to_owned() + "rotor_inertia = 4e-5\ntorque = [[0, 0.6], [200, 0.4], [600, 0.03]]\n";
        let mut more = String::new();
        match kind {
            "limb" => {
                stage.push_str(&case::axis("leg_wire", "mm", [-300.0, 300.0], limits(g), drive));
                let (guide, inertia) = (choice(g, &["[-170, 100]", "[0, 200]", "[30, 150]"]), scaled(g, 0.003, 3.0));
                stage.push_str(&format!(
                    "[[group.mechanism]]\nkind = \"limb_wire\"\naxis = \"leg_wire\"\nchannel = \"leg\"\narm = 120\nguide = {guide}\nneutral = 20\nmass = 0.4\ncentre_of_mass = 80\ninertia = {inertia}\n"
                ));
                let most = choice(g, &[80.0, 80.0, 100.0]);
                tracks.push(track(g, "leg", [-25.0, most]));
            }
            "plate" => {
                for name in ["a", "b", "c"] {
                    stage.push_str(&case::axis(name, "mm", [-80.0, 80.0], limits(g), drive));
                }
                let rod = choice(g, &[40, 60, 200]);
                stage.push_str(&format!(
                    "[[group.mechanism]]\nkind = \"swashplate\"\naxes = [\"a\", \"b\", \"c\"]\nradius = 100\nazimuths = [0, 120, 240]\nrod_length = {rod}\n"
                ));
                tracks.push(track(g, "pitch", [-20.0, 20.0]));
                tracks.push(track(g, "roll", [-20.0, 20.0]));
            }
            "body" => {
                head = head.replace("\n[motor", "\nclearance = 10\n[motor");
                let at = choice(g, &[-60, -45, 320, 1000]);
                stage.push_str("[[group.joint]]\nslide = [1, 0, 0]\nchannel = \"x\"\n[[group.envelope]]\nfrom = [0, 0, 0]\nto = [5, 0, 0]\nradius = 10\n");
                stage.push_str(&format!("[[obstacle]]\nname = \"post\"\nfrom = [{at}, -50, 0]\nto = [{at}, 50, 0]\nradius = 5\n"));
            }
            "copy" => {
                stage.push_str("[[group]]\nname = \"crane\"\nlike = \"heron\"\n");
                more = format!("copy = [{{ from = \"heron\", to = \"crane\", delay = {} }}]\n", (9.0 * g.unit()).round());
            }
            _ => {}
        }
        let mut passes = vec![("p", "moving", scaled(g, 0.03, 1.5))];
        if g.unit() < 0.25 {
            passes.push(("q", "moving", scaled(g, 0.03, 3.0)));
        }
        if g.unit() < 0.2 {
            passes.push(("h", "held", scaled(g, 0.3, 20.0)));
        }
        Input { stage: head + &stage, tracks, passes, more }
    }

    /// Texts of the stage file and the shot file.
    pub fn texts(&self) -> [String; 2] {
        let each = |t: &Track| {
            let keys: Vec<String> = t.keys.iter().map(|(frame, value)| format!("[{frame:?}, {value:?}]")).collect();
            format!("{{ channel = \"{}\", shape = \"{}\", keys = [{}] }}", t.channel, t.shape, keys.join(", "))
        };
        let tracks: Vec<String> = self.tracks.iter().map(each).collect();
        let passes: Vec<String> = self.passes.iter().map(|(name, exposure, pace)| case::pass(name, exposure, *pace)).collect();
        [self.stage.clone(), case::shot([1, 32], &tracks.join(", "), &passes.join(", ")) + &self.more]
    }

    /// The check of the input as text; `None` where it cannot be compiled.
    pub fn checked(&self) -> Option<Value> {
        let [stage, shot] = self.texts();
        let file = |name: &str| Ok(if name == "shot.toml" { &shot } else { &stage }.as_bytes().to_vec());
        let loaded = input::parse("shot.toml", &file).unwrap_or_else(|r| panic!("{r}"));
        let (compiled, _) = loaded.compile().ok()?;
        serde_json::from_str(&compiled.check().ok()?.json().unwrap()).ok()
    }

    /// Gives the limb other parts, as they stand in a stage file.
    pub fn weigh(&mut self, [mass, centre, inertia]: [&str; 3]) {
        let (before, rest) = self.stage.split_once("mass = 0.4\ncentre_of_mass = 80\ninertia = ").unwrap();
        let after = rest.split_once('\n').unwrap().1;
        self.stage = format!("{before}mass = {mass}\ncentre_of_mass = {centre}\ninertia = {inertia}\n{after}");
    }

    pub fn copied(&self) -> Input {
        let copied = |t: &Track| Track { channel: t.channel.clone(), shape: t.shape.clone(), keys: t.keys.clone() };
        Input {
            stage: self.stage.clone(),
            tracks: self.tracks.iter().map(copied).collect(),
            passes: self.passes.clone(),
            more: self.more.clone(),
        }
    }

    pub fn track(&mut self, channel: &str) -> &mut Track {
        self.tracks.iter_mut().find(|t| t.channel == channel).unwrap_or_else(|| panic!("no track of {channel}"))
    }
}

fn track(g: &mut Generator, channel: &str, [low, high]: [f64; 2]) -> Track {
    let n = 2 + (3.0 * g.unit()) as usize;
    // Some move at the cuts.
    let [first, span] = if g.unit() < 0.7 { [1.0, 32.0] } else { [-6.0, 51.0] };
    let mut frames = BTreeSet::new();
    while frames.len() < n {
        frames.insert((first + span * g.unit()).floor() as i64);
    }
    let keys = frames.into_iter().map(|f| (f as f64, (100.0 * g.between(low, high)).round() / 100.0)).collect();
    Track { channel: format!("heron.{channel}"), shape: choice(g, &SHAPES).to_owned(), keys }
}
