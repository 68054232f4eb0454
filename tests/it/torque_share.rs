//! Torque use is the greatest share that demand has of supply, not the share where least is left.

use std::f64::consts::PI;

use serde_json::Value;

use crate::case::{Case, GRAVITY, STAGE, axis, pass, shot};

/// A carriage on a screw of 10 mm, without gears: mass in kg, friction in N, efficiency 0.9, rotor inertia 1e-6 kg m2.
struct Load {
    mass: f64,
    friction: f64,
    vertical: bool,
    /// rev/min, N m.
    table: Vec<(f64, f64)>,
}

impl Load {
    fn demand(&self, acceleration: f64) -> f64 {
        let weight = if self.vertical { self.mass * GRAVITY } else { 0.0 };
        let force = self.mass * acceleration.abs() * 1e-3 + weight + self.friction;
        1e-6 * 2.0 * PI * 0.1 * acceleration.abs() + force * 0.01 / (2.0 * PI * 0.9)
    }

    fn supply(&self, speed: f64) -> f64 {
        let rpm = speed.abs() * 6.0;
        let rows = self.table.iter().zip(self.table.iter().skip(1));
        rows.filter(|(a, b)| a.0 <= rpm && rpm <= b.0).map(|(a, b)| a.1 + (b.1 - a.1) * (rpm - a.0) / (b.0 - a.0)).next().unwrap_or(0.0)
    }

    /// The greatest share over a motion given as speed and acceleration (mm/s, mm/s2) at a hundred thousand places.
    fn share(&self, motion: impl Fn(f64) -> (f64, f64)) -> f64 {
        let at = |i: i32| motion(f64::from(i) / 100_000.0);
        (0..=100_000).map(at).map(|(v, a)| self.demand(a) / self.supply(v)).fold(0.0, f64::max)
    }

    /// Where least torque is left, and the share there.
    fn share_where_least_is_left(&self, motion: impl Fn(f64) -> (f64, f64)) -> f64 {
        let all = (0..=100_000).map(|i| motion(f64::from(i) / 100_000.0)).map(|(v, a)| (self.demand(a), self.supply(v)));
        all.reduce(|x, y| if y.1 - y.0 < x.1 - x.0 { y } else { x }).map(|(d, s)| d / s).unwrap()
    }

    /// What the program says of a move of so many mm from frame 1 to frame `last`.
    fn checked(&self, way: f64, last: i64, exposure: &str, pace: f64, jerk: f64) -> Value {
        let rows: Vec<String> = self.table.iter().map(|(rpm, nm)| format!("[{rpm}, {nm}]")).collect();
        let load = format!(
            "travel_per_rev = 10\nload = {{ mass = {}, friction = {}, vertical = {}, efficiency = 0.9 }}",
            self.mass, self.friction, self.vertical
        );
        let carriage = axis("bridge", "mm", [-1000.0, 1000.0], [1000.0, 1000.0, jerk], &load);
        let stage = format!("{STAGE}rotor_inertia = 1e-6\ntorque = [{}]\n[[group]]\nname = \"heron\"\n{carriage}", rows.join(", "));
        let track = format!("{{ channel = \"heron.bridge\", keys = [[1, 0], [{last}, {way}]] }}");
        Case::new(&stage, &shot([1, last], &track, &pass("p", exposure, pace))).json()["passes"][0].clone()
    }
}

fn told(pass: &Value) -> f64 {
    let torque = &pass["axes"][0]["torque"];
    torque["peak"].as_f64().unwrap() / torque["limit"].as_f64().unwrap()
}

/// From rest to rest over a way in so many seconds, u^3 (10 - 15 u + 6 u^2): T. Flash, N. Hogan 1985.
fn minimum_jerk(way: f64, seconds: f64) -> impl Fn(f64) -> (f64, f64) {
    move |u| {
        let (v, a) = (30.0 * u * u * (1.0 - u) * (1.0 - u), 60.0 * u * (1.0 - u) * (1.0 - 2.0 * u));
        (v * way / seconds, a * way / (seconds * seconds))
    }
}

#[test]
fn the_torque_of_a_moving_pass_is_its_greatest_share_of_the_supply() {
    let heavy = Load { mass: 188.6, friction: 0.9, vertical: false, table: vec![(0.0, 1.0), (600.0, 0.2234), (1200.0, 0.05)] };
    let light = Load { mass: 134.1, friction: 3.1, vertical: false, table: vec![(0.0, 1.0), (600.0, 0.2031), (1200.0, 0.05)] };
    let hung = Load { mass: 9.0, friction: 2.0, vertical: true, table: vec![(0.0, 1.0), (500.0, 0.3), (1200.0, 0.2)] };
    for (load, way, seconds) in [(&heavy, 633.3, 6.2422), (&light, 494.9, 4.8623), (&hung, 300.0, 3.5)] {
        let motion = minimum_jerk(way, seconds);
        let (most, left) = (load.share(&motion), load.share_where_least_is_left(&motion));
        // 47 frames from key to key.
        let found = told(&load.checked(way, 48, "moving", seconds / 47.0, 10_000.0));
        // 1e5 places find the greatest to their square.
        assert!((found / most - 1.0).abs() < 1e-7, "{found} {most} {left}");
    }
    let motion = minimum_jerk(633.3, 6.2422);
    assert!(heavy.share(&motion) > 1.5 * heavy.share_where_least_is_left(&motion), "the first load tells one from the other");
}

/// A move that only its jerk limits: jerk J for a time t, -J for 2t, J for t; way 2 J t^3. With 400 mm/s3 and 100 mm t is half a second.
#[test]
fn the_torque_of_a_held_pass_is_its_greatest_share_of_the_supply() {
    let (jerk, t) = (400.0, 0.5);
    let motion = |u: f64| {
        // The second half is the first backwards.
        let time = 2.0 * t * u;
        if time < t {
            (0.5 * jerk * time * time, jerk * time)
        } else {
            let left = 2.0 * t - time;
            (jerk * (t * t - 0.5 * left * left), jerk * left)
        }
    };
    for (mass, exceeded) in [(260.0, true), (215.0, true), (150.0, false)] {
        let load = Load { mass, friction: 2.0, vertical: false, table: vec![(0.0, 0.1), (310.0, 0.095), (601.0, 0.015)] };
        let (most, left) = (load.share(motion), load.share_where_least_is_left(motion));
        assert_eq!(most > 1.0, exceeded, "{most}");
        let pass = load.checked(100.0, 2, "held", 6.0, jerk);
        let found = told(&pass);
        assert!((found / most - 1.0).abs() < 1e-7 && most > left, "{found} {most} {left}");
        assert_eq!(pass["within_limits"], !exceeded, "{most} {pass}");
    }
}
