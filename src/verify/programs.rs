//! Limits of the other parts of a pass judged again where the folder says that they hold: move to start, run-up and run-down, the moves between stations.
//!
//! What: positions come from the pass worked out anew ([`Timeline`], [`Stations`]); the speeds of a run-up are those of its polynomial, of a move those of its law. Looked at are sixteen
//! instants of every frame of a run-up or run-down, nine of every move between stations, and sixty-five of each leg to the start. Channels follow from the axes by the stage's geometry.
//! Limits: instants only; the return home is not looked at. On the move to start gaps are judged where rows are written, as in the check.

use super::columns::Against;
use super::edge::{About, Instant, Side};
use super::fault::{FaultKind, Faults};
use super::gaps::Gaps;
use super::judge::{report, span};
use super::limb::Limbs;
use super::oracle::{State, steps_per_unit};
use super::stations::Stations;
use super::timeline::{Departures, Timeline};
use super::torque::Motor;
use crate::mechanism::Mechanism;
use crate::shot::{Exposure, Pass};
use crate::stage::{Axis, AxisId, ChannelId};

/// Instants of a frame of a run.
const A_FRAME: f64 = 16.0;

/// Spaces of a move between stations, and of a leg to the start.
const A_MOVE: u8 = 8;
const A_LEG: u8 = 64;

/// A limit is exceeded where its utilisation is above 1 by more than this; more by as much where a curve was fitted.
const SLACK: f64 = 1e-9;
const FITTED_SHARE: f64 = 1e-3;

/// What is judged of one pass.
struct Parts<'a> {
    what: Against<'a>,
    timeline: Timeline<'a>,
    pass: &'a Pass,
    file: String,
    motors: Vec<Option<Motor>>,
    limbs: Limbs<'a>,
    gaps: Option<Gaps<'a>>,
    /// Channels that bodies and rails hang on.
    channels: Vec<ChannelId>,
}

/// Judges every pass. `runs` are the frames of run-up and run-down that the manifest states; `rows` is true where rows are written.
pub(super) fn judge(what: Against<'_>, runs: (u32, u32), rows: bool, faults: &mut Faults) {
    let departures = Departures::of(&what);
    let states = span(&what);
    let states: Vec<&State> = states.iter().map(std::rc::Rc::as_ref).collect();
    for pass in what.shot.passes() {
        let timeline = Timeline::new(&what, pass, runs, &departures);
        let stage = what.stage;
        let mut channels: Vec<ChannelId> = stage.bodies().iter().flat_map(|b| b.every_channel().iter().copied()).collect();
        channels.extend(stage.bodies().iter().filter_map(|b| b.rail().map(|r| r.channel)));
        channels.sort();
        channels.dedup();
        let mut parts = Parts {
            what,
            timeline,
            pass,
            file: format!("{}.steps.csv", pass.name()),
            motors: stage.axes().iter().map(Motor::of).collect(),
            limbs: Limbs::of(stage, pass),
            gaps: Gaps::new((what.oracle, stage, pass), &states),
            channels,
        };
        parts.way(rows, faults);
        match pass.exposure() {
            Exposure::Moving => [Side::Start, Side::End].into_iter().for_each(|side| parts.run(side, faults)),
            Exposure::Held => parts.moves(faults),
        }
    }
}

impl Parts<'_> {
    fn run(&mut self, side: Side, faults: &mut Faults) {
        let [up, down] = self.timeline.runs;
        let frames = if side == Side::Start { up } else { down };
        if !(frames > 0.0) {
            return;
        }
        let (from, to) = self.what.shot.frames().photographed();
        let edge = if side == Side::Start { from } else { to };
        self.allow_for(edge);
        let count = frames * A_FRAME;
        let mut k = 0.0;
        while k <= count {
            let u = k / count;
            let t = if side == Side::Start { from - frames * (1.0 - u) } else { to + frames * (1.0 - u) };
            let mut positions = Vec::with_capacity(self.timeline.tracks.len());
            for ((id, axis), track) in self.what.stage.each_axis().zip(&self.timeline.tracks) {
                let instant = track.edges.as_ref().map(|[a, b]| if side == Side::Start { a } else { b }.run(side, frames, u));
                positions.push(instant.map_or(track.start, |i| i.position));
                if let Some(instant) = instant.filter(|_| self.what.oracle.is_known(id)) {
                    self.rates(id, axis, &instant, t, faults);
                }
            }
            self.too_near(&positions, super::dense::nearest_frame(t), &format!("at frame {t}"), faults);
            k += 1.0;
        }
    }

    /// Travel, rates and torque of an axis in a run.
    fn rates(&self, id: AxisId, axis: &Axis, instant: &Instant, t: f64, faults: &mut Faults) {
        let (name, symbol, pace, l) = (self.what.stage.axis_name(id), axis.unit().symbol(), self.pass.pace().get(), axis.limits());
        let most = 1.0 + SLACK + if self.what.oracle.is_fitted(id) { FITTED_SHARE } else { 0.0 };
        let frame = super::dense::nearest_frame(t);
        let mut say = |kind: &str, found: f64, per: &str, limit: f64| {
            faults.at(FaultKind::Limits, &self.file, Some(name), frame, || {
                format!("{kind} {found:.6} {per} at frame {t}, limit {limit} {per}")
            });
        };
        let travel = axis.travel();
        let room = SLACK * (travel.upper - travel.lower) + instant.position.room;
        let position = instant.position.value;
        if !(travel.lower - room <= position && position <= travel.upper + room) {
            say("position", position, symbol, if position < travel.lower { travel.lower } else { travel.upper });
        }
        let least = |a: About, n: u8| (a.value.abs() - a.room).max(0.0) / (0..n).map(|_| pace).product::<f64>();
        let (v, a, j) = (least(instant.speed, 1), least(instant.acceleration, 2), least(instant.jerk, 3));
        for (kind, found, per, limit) in
            [("velocity", v, "/s", l.velocity), ("acceleration", a, "/s2", l.acceleration), ("jerk", j, "/s3", l.jerk)]
        {
            if !(found <= limit * most) {
                say(kind, found, &format!("{symbol}{per}"), limit);
            }
        }
        if let Some(rate) = l.step_rate.filter(|rate| !(v * steps_per_unit(axis) <= rate * most)) {
            say("step rate", v * steps_per_unit(axis), "steps/s", rate);
        }
        if let Some(motor) = self.motors.get(id.index()).and_then(Option::as_ref)
            && !(motor.share(v, a) <= most)
        {
            say("torque", motor.demand(a), "N m", motor.supply(v));
        }
    }

    /// The moves between stations: torque, slack wires, gaps. How long they take is judged with their table.
    fn moves(&mut self, faults: &mut Faults) {
        let stations = Stations::new(self.what, self.pass, None, None);
        let (first, all) = (stations.first(), stations.moves());
        for index in 0..all.max(1) {
            let step = stations.step_of(if all > 0 { index } else { -1 });
            let left = first + index * stations.step();
            self.allow_for(left as f64);
            let seconds = step.seconds.value;
            let moves = seconds > 0.0;
            let place = |i: usize, t: f64| {
                step.axes.get(i).map_or((f64::NAN, f64::NAN, f64::NAN), |(from, law)| {
                    let m = if moves { law.lasting(seconds).at(t) } else { law.at(0.0) };
                    (from.value + m.position, m.velocity, m.acceleration)
                })
            };
            for k in 0..=A_MOVE {
                let t = seconds * f64::from(k) / f64::from(A_MOVE);
                let at = || format!("{t:.3} s after frame {left}");
                for ((id, _), motor) in self.what.stage.each_axis().zip(&self.motors) {
                    let (Some(motor), false) = (motor, self.pass.parks(self.what.stage, id)) else { continue };
                    let (_, v, a) = place(id.index(), t);
                    if !(motor.share(v, a) <= 1.0 + SLACK + 2.0 * FITTED_SHARE) {
                        faults.at(FaultKind::Limits, &self.file, Some(self.what.stage.axis_name(id)), left, || {
                            format!("torque {:.6} N m {}; the motor has {:.6} N m", motor.demand(a), at(), motor.supply(v))
                        });
                    }
                }
                let positions: Vec<About> = (0..step.axes.len()).map(|i| About { value: place(i, t).0, room: 0.0 }).collect();
                self.limbs.judge(&|i, t| place(i, t.clamp(0.0, seconds)).0, t, seconds / 64.0, &mut |name, why| {
                    faults.at(FaultKind::Limits, &self.file, Some(name), left, || format!("{}: {why}", at()));
                });
                self.too_near(&positions, left, &at(), faults);
            }
        }
    }

    /// The move to start: slack wires, and gaps where rows are written.
    fn way(&mut self, rows: bool, faults: &mut Faults) {
        let (from, _) = self.what.shot.frames().photographed();
        let first = super::exposed::first(self.what.shot, self.pass);
        let from = if self.pass.wedge().is_some() { first as f64 } else { from };
        self.allow_for(from);
        for [begin, end] in self.timeline.legs() {
            if !(begin < end) {
                continue;
            }
            for k in 0..=A_LEG {
                let t = begin + (end - begin) * f64::from(k) / f64::from(A_LEG);
                let at = || format!("{t:.3} s after the start of the move to start");
                let place = |i: usize, t: f64| {
                    let home = || self.what.stage.axes().get(i).map_or(f64::NAN, Axis::home);
                    let about = self.timeline.tracks.get(i).and_then(|track| self.timeline.on_the_way(track, t).next());
                    about.unwrap_or_else(|| About { value: home(), room: 0.0 })
                };
                self.limbs.judge(&|i, t| place(i, t.clamp(begin, end)).value, t, (end - begin) / 256.0, &mut |name, why| {
                    faults.at(FaultKind::Limits, &self.file, Some(name), first, || format!("{}: {why}", at()));
                });
                if rows {
                    let positions: Vec<About> = (0..self.timeline.tracks.len()).map(|i| place(i, t)).collect();
                    self.too_near(&positions, first, &at(), faults);
                }
            }
        }
    }

    fn allow_for(&mut self, t: f64) {
        let (oracle, pass) = (self.what.oracle, self.pass);
        if let Some(gaps) = &mut self.gaps {
            gaps.allow_for(oracle, Some(pass), &oracle.state(t));
        }
    }

    /// Gaps with the axes at these positions.
    fn too_near(&self, positions: &[About], frame: i64, at: &str, faults: &mut Faults) {
        let Some(gaps) = &self.gaps else { return };
        let stage = self.what.stage;
        let axis = |id: AxisId| positions.get(id.index()).map(|a| a.value).filter(|x| x.is_finite()).ok_or(());
        let back = |m: &dyn Mechanism, axes: &[f64], channels: &mut [f64]| m.to_channels_at_rest(axes, channels).map_err(|_| ());
        // A mechanism that cannot stand so is out of reach, which is another limit.
        let Ok(values) = stage.channel_values(&self.channels, &axis, &back) else { return };
        let value = |c: ChannelId| self.channels.binary_search(&c).ok().and_then(|i| values.get(i)).copied().unwrap_or(f64::NAN);
        // An axis that may be off moves a body by no more than that, or by its angle times the size of the scene.
        let off = stage.axes().iter().zip(positions).map(|(axis, about)| match axis.unit() {
            crate::stage::Unit::Millimetre => about.room,
            crate::stage::Unit::Degree => about.room * core::f64::consts::TAU / 360.0 * gaps.scene(),
        });
        let off: f64 = off.sum();
        for near in gaps.too_near(&value).into_iter().filter(|near| near.gap + 2.0 * off < near.required) {
            report(stage, self.pass, &near, frame, &|| at.to_owned(), faults);
        }
    }
}
