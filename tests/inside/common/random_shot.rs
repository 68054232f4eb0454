//! Shots from seeds: what a seed asks for, at any scale of positions.

use movewright::compile::Compiled;
use movewright::number::generator::Generator;
use movewright::shot::{Copy, Cycle, Drift, Exposure, Key, Pass, Shape, Shot, ShotSpec, Track};
use movewright::stage::{Axis, AxisSpec, GroupSpec, Stage, Unit};
use movewright::time::{FrameRate, FrameSpan, Timecode};

use super::dense::Dense;
use super::group_at;

pub fn pick(g: &mut Generator, n: usize) -> usize {
    ((g.unit() * n as f64) as usize).min(n - 1)
}

pub fn chance(g: &mut Generator, p: f64) -> bool {
    g.unit() < p
}

/// What one seed asks for, at a scale of 1.
pub struct Plan {
    pub frames: (i64, i64),
    pub axes: usize,
    pub copy: Option<(f64, f64)>,
    pub steps: f64,
    pub layers: Vec<Layered>,
    pub paces: Vec<(Exposure, f64, f64, f64)>,
    pub room: Room,
    pub step_rate: bool,
}

/// How far off the limits lie.
#[derive(Clone, Copy, PartialEq)]
pub enum Room {
    Generous,
    Each([f64; 4]),
}

pub enum Layered {
    Track(usize, Shape, Option<f64>, Vec<(f64, f64)>),
    Cycle(usize, f64, f64, Vec<(f64, f64)>, Vec<(f64, f64)>, Vec<(f64, f64)>),
    Drift(usize, i64, f64, f64),
}

pub fn value(g: &mut Generator, lattice: bool) -> f64 {
    if lattice { pick(g, 3) as f64 - 1.0 } else { g.between(-1.0, 1.0) + g.between(-1.0, 1.0) }
}

pub fn track(g: &mut Generator, axis: usize, frames: (i64, i64), lattice: bool) -> Layered {
    let shape = Shape::ALL[pick(g, Shape::ALL.len())].1;
    let crowded = chance(g, 0.03);
    let ends_inside = chance(g, 0.85);
    let mut frame = frames.0 as f64 + if lattice { pick(g, 8) as f64 - 1.0 } else { g.between(-1.0, 8.0) };
    let mut keys = Vec::new();
    let mut closest = f64::INFINITY;
    for i in 0..1 + pick(g, 8) {
        if i > 0 {
            let gap = match (lattice, crowded) {
                (true, _) => 1.0 + pick(g, 12) as f64,
                (false, true) => g.between(0.25, 1.0),
                (false, false) => g.between(1.0, 24.0),
            };
            frame += gap;
            if ends_inside && frame > frames.1 as f64 {
                break;
            }
            closest = closest.min(gap);
        }
        keys.push((frame, value(g, lattice)));
    }
    let most = if closest.is_finite() { 0.5 * closest * (1.0 - 1e-9) } else { 4.0 };
    let blend = match shape {
        Shape::Linear | Shape::Cosine | Shape::CatmullRom if chance(g, 0.7) => {
            Some(if chance(g, 0.1) && shape == Shape::Cosine { 0.0 } else { g.between(0.2, 1.0) * most })
        }
        _ => None,
    };
    Layered::Track(axis, shape, blend, keys)
}

pub fn beat(g: &mut Generator, axis: usize, frames: (i64, i64), lattice: bool) -> Layered {
    let n = 1 + pick(g, 4);
    let keys = (0..n).map(|i| ((i as f64 + if lattice { 0.0 } else { g.between(0.0, 0.6) }) / n as f64, 0.3 * value(g, lattice))).collect();
    let along = |g: &mut Generator, low: f64, high: f64| {
        let mut frame = frames.0 as f64;
        (0..pick(g, 4))
            .map(|_| {
                frame += g.between(3.0, 20.0);
                (frame, g.between(low, high))
            })
            .collect()
    };
    let (period, phase) = if lattice { (6.0 + pick(g, 40) as f64, 0.25 * pick(g, 4) as f64) } else { (g.between(6.0, 60.0), g.unit()) };
    let amount = if chance(g, 0.5) { along(g, 0.0, 2.0) } else { vec![] };
    let rate = if chance(g, 0.5) { along(g, 0.3, 2.0) } else { vec![] };
    Layered::Cycle(axis, period, phase, keys, amount, rate)
}

pub fn plan(seed: u64) -> Plan {
    // Neighbouring seeds are neighbouring states of the stream: they are mixed first.
    let mut stirred = Generator::new(seed);
    let g = &mut Generator::new(stirred.bits());
    let first = [1, 1, 1001, -40, 86_400][pick(g, 5)];
    let frames = (first, first + 23 + pick(g, 37) as i64);
    let copy = chance(g, 0.15).then(|| (if chance(g, 0.5) { pick(g, 12) as f64 } else { g.between(0.0, 12.0) }, g.between(-2.0, 2.0)));
    let axes = if copy.is_some() { 1 } else { 1 + pick(g, 3) };
    let lattice = chance(g, 0.3);
    let mut layers = Vec::new();
    for axis in 0..axes {
        // Mostly a track alone, which is taken over as it is; else sums, which are fitted.
        match pick(g, 10) {
            0 => {}
            1 => layers.push(beat(g, axis, frames, lattice)),
            2 => layers.push(Layered::Drift(axis, pick(g, 1000) as i64, g.between(0.01, 0.5), g.between(12.0, 90.0))),
            3 => {
                layers.push(track(g, axis, frames, lattice));
                layers.push(beat(g, axis, frames, lattice));
            }
            4 => {
                layers.push(track(g, axis, frames, lattice));
                layers.push(Layered::Drift(axis, pick(g, 1000) as i64, g.between(0.01, 0.2), g.between(12.0, 90.0)));
            }
            5 => {
                layers.push(track(g, axis, frames, lattice));
                layers.push(track(g, axis, frames, lattice));
            }
            _ => layers.push(track(g, axis, frames, lattice)),
        }
    }
    let pace = (g.between(0.04_f64.ln(), 12.0_f64.ln())).exp();
    let mut paces = vec![(Exposure::Moving, pace, 180.0, 0.0)];
    if chance(g, 0.3) {
        paces.push((Exposure::Held, pace * g.between(0.5, 20.0), g.between(30.0, 200.0), 0.0));
    }
    if chance(g, 0.2) {
        paces.push((Exposure::Moving, pace * g.between(0.5, 2.0), 360.0, 0.0));
    }
    let near = |g: &mut Generator| match pick(g, 5) {
        0 => 1.0 - 1e-6,
        1 | 2 => 1.0 + 1e-6,
        3 => g.between(1.0, 3.0),
        _ => g.between(0.4, 1.0),
    };
    // What never rests seldom has a run-up within tight limits, and looking for one is slow.
    let restless = layers.iter().any(|l| !matches!(l, Layered::Track(..)));
    let room = if chance(g, if restless { 0.8 } else { 0.2 }) { Room::Generous } else { Room::Each([near(g), near(g), near(g), near(g)]) };
    Plan { frames, axes, copy, steps: g.between(2.0, 6.0), layers, paces, room, step_rate: chance(g, 0.3) }
}

/// Limits at a scale of 1: travel, velocity, acceleration, jerk, step rate in units a second.
#[derive(Clone, Copy)]
pub struct Bounds {
    pub travel: [f64; 2],
    pub rates: [f64; 3],
    pub rate: Option<f64>,
    /// True where nothing the shot does comes near a limit, whatever run-up it needs.
    pub generous: bool,
}

pub const LOOSE: Bounds = Bounds { travel: [-90.0, 90.0], rates: [1e5; 3], rate: None, generous: false };

pub fn built(plan: &Plan, bounds: &[Bounds], scale: f64) -> Result<(Stage, Shot), String> {
    let wrong = |flaws: &dyn std::fmt::Debug| format!("not accepted: {flaws:?}");
    let axis = |i: usize, b: &Bounds| {
        let mut s =
            AxisSpec::new(&format!("lift_{i}"), Unit::Millimetre, b.travel.map(|x| x * scale), b.rates.map(|x| (x * scale).min(1e12)));
        s.home = 0.0_f64.clamp(s.travel[0], s.travel[1]);
        s.drive.travel_per_rev = scale;
        s.drive.gear_ratio = 10.0_f64.powf(plan.steps) / 200.0;
        let per_unit = 10.0_f64.powf(plan.steps) / scale;
        s.limits.step_rate = b.rate.map(|r| (r * scale * per_unit).min(1e9));
        Axis::new(s).map_err(|f| wrong(&f))
    };
    let axes: Vec<Axis> = bounds.iter().take(plan.axes).enumerate().map(|(i, b)| axis(i, b)).collect::<Result<_, _>>()?;
    let mut groups = vec![GroupSpec { name: "heron_a".into(), axes }];
    if plan.copy.is_some() {
        groups.push(GroupSpec { name: "heron_b".into(), axes: vec![axis(0, &bounds[1])?] });
    }
    let stage = Stage::new("marsh", 0.25, groups).map_err(|f| wrong(&f))?;
    let rate = FrameRate::parse("24").unwrap();
    let mut spec = ShotSpec {
        name: "reeds".into(),
        frame_rate: rate,
        frames: FrameSpan::new(plan.frames.0, plan.frames.1).unwrap(),
        timecode_start: Timecode::from_count(0, rate),
        tracks: vec![],
        cycles: vec![],
        drifts: vec![],
        copies: vec![],
        passes: vec![],
    };
    let channel = |axis: usize| stage.channel(&stage.axis_names()[axis]).unwrap();
    let keys = |k: &[(f64, f64)], scale: f64| k.iter().map(|(f, v)| Key::new(*f, v * scale)).collect::<Vec<_>>();
    for layer in &plan.layers {
        match layer {
            Layered::Track(axis, shape, blend, k) => {
                spec.tracks.push(Track::new(channel(*axis), *shape, *blend, keys(k, scale)).map_err(|f| wrong(&f))?);
            }
            Layered::Cycle(axis, period, phase, k, amount, rate) => {
                let cycle = Cycle::new(channel(*axis), *period, *phase, keys(k, scale), keys(amount, 1.0), keys(rate, 1.0));
                spec.cycles.push(cycle.map_err(|f| wrong(&f))?);
            }
            Layered::Drift(axis, seed, amplitude, period) => {
                spec.drifts.push(Drift::new(channel(*axis), *seed, amplitude * scale, *period).map_err(|f| wrong(&f))?);
            }
        }
    }
    if let Some((delay, factor)) = plan.copy {
        spec.copies
            .push(Copy::new(group_at(&stage, 0), group_at(&stage, 1), delay, vec![("lift_0".into(), factor)]).map_err(|f| wrong(&f))?);
    }
    for (i, (exposure, pace, shutter, settle)) in plan.paces.iter().enumerate() {
        spec.passes.push(Pass::new(&stage, &format!("pass_{i}"), *exposure, *pace, *shutter, *settle, vec![]).map_err(|f| wrong(&f))?);
    }
    let shot = Shot::new(&stage, spec).map_err(|f| wrong(&f))?;
    Ok((stage, shot))
}

pub fn compiled(stage: &Stage, shot: &Shot) -> Result<Compiled, String> {
    Compiled::new(stage.clone(), shot.clone()).map_err(|e| format!("refused to compile: {e:?}"))
}

/// The limits a plan asks for, set by the peaks of its curves at loose limits.
pub fn bounds_of(plan: &Plan) -> Result<Vec<Bounds>, String> {
    let count = plan.axes + usize::from(plan.copy.is_some());
    let (stage, shot) = built(plan, &vec![LOOSE; count], 1.0)?;
    let compiled = compiled(&stage, &shot)?;
    let pace = plan.paces[0].1;
    Ok(compiled
        .axes()
        .iter()
        .map(|m| {
            let d = Dense::of(m.curve().pieces().skip(m.photographed().start).take(m.photographed().len()));
            let size = (d.most - d.least).max(1e-3);
            let per = [pace, pace * pace, pace * pace * pace];
            let own = |k: usize| if d.rates[k] > 0.0 { d.rates[k] } else { size } / per[k];
            // A run-up at great speed needs more travel than numbers have at the largest scale.
            match if d.rates[0] > 5.0 { Room::Each([1.5; 4]) } else { plan.room } {
                Room::Generous => {
                    let most = d.rates.iter().fold(size, |a, b| a.max(*b));
                    Bounds { travel: [d.least - 50.0, d.most + 50.0], rates: per.map(|p| 1e3 * most / p), rate: None, generous: true }
                }
                Room::Each([travel, v, a, j]) => {
                    let (middle, half) = (0.5 * (d.least + d.most), 0.5 * size * travel);
                    let rate = plan.step_rate.then(|| own(0) * v * 0.9);
                    Bounds { travel: [middle - half, middle + half], rates: [own(0) * v, own(1) * a, own(2) * j], rate, generous: false }
                }
            }
        })
        .collect())
}
